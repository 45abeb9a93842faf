-- A hut that is closed in winter: what the cold locks out, what it takes to
-- warm the pack, how long the telemetry may run, and whether a heater pays.
-- Readings and places are invented. Runs in a second.
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, mass_kg = 17.5, capacity_ah = amp.claimed(112),
  tested_ah = amp.measured(93.75, 3), r10s_mohm = amp.measured(2.01, 0.1),
  cell_v_min = 3.30, cell_v_max = 4.10 }
local pack = amp.pack{ name = "hut", module = pouch, series = 2, parallel = 5 }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, surge_w = 6000, efficiency_pct = 92, idle_w = 32 }
local place = amp.place{ coldest_c = -12, warmest_c = 30, floor_kpa = 2.0,
  floor_m2 = 1.2, extra_kg = 45, stack_high = 3, idle_w = 6 }

-- 1. open from May to October: what stands out, no circuit told yet
local season = amp.profile.daily{ load_kwh = 3.14, months = amp.range(5, 10),
  temp_c = 12, solar_kwp = 2.4, performance_pct = 70,
  sun_hours = { 4.9, 5.3, 5.6, 5.0, 3.6, 2.1 } }
local r = pack:check{ duty = season, inverter = inverter, place = place }
print(r)
print()
print(("floor %.2f kPa of 2.0, at least %.2f m2; telemetry %.0f days, " ..
  "with the inverter on %.0f"):format(r.floor_kpa, r.floor_least_m2,
  r.idle_days, r.idle_on_days))
print()

-- 2. from -12 to 5 C: what stays in the cells; then with a heater of 300 W
print(("%.3f kWh stay in the cells"):format(
  pack:warm{ from_c = -12, to_c = 5 }.stored_kwh))
print(pack:warm{ from_c = -12, to_c = 5, heater_w = 300 })
print()

-- 3. what if it were used all year? Locked out in the cold, and heated
local year = amp.profile.daily{ load_kwh = 1.2, solar_kwp = 2.4,
  performance_pct = 70, temp_c = { -9, -8, -4, 1, 7, 11, 14, 13, 9, 4, -3,
    -8 }, sun_hours = { 1.6, 2.4, 3.6, 4.4, 4.9, 5.3, 5.6, 5.0, 3.6, 2.1, 1.5,
    1.3 } }
local cold = pack:with{ name = "locked out", current_limits = "lithium" }
local heated = cold:with{ name = "heated", heater_w = 300 }
local boxed = heated:with{ name = "heated, boxed", cooling_w_per_k = 0.1 }
for _, p in ipairs{ cold, heated, boxed } do
  local run = p:simulate(year, { inverter = inverter })
  print(("%-14s unserved %5.1f kWh a year, heater %6.1f"):format(p.name,
    run.unserved_kwh, run.heater_kwh or 0))
end
