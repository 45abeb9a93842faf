--- The cold store of a market garden: the numbers of its bench side, worked by
-- hand, each out of a call. Offers are invented. Money: test_economics.lua.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"
local invented = require "invented"

local function F (text) return (tostring(text):gsub("%s+", " ")) end

-- 5 kW; 42.0 .. 58.4 V may be set, 60.0 V must never be passed
local inverter = amp.inverter{ v_min = 42.0, v_max = 58.4, v_abs_max = 60.0,
  power_w = 5000, efficiency_pct = 93 }
local C1 = amp.module{ name = "4s1p", chemistry = invented.curve, series = 4,
  nominal_v = 14.6, capacity_ah = amp.claimed(94), cell_v_min = 3.20,
  cell_v_max = 4.10 }
local C2 = amp.module{ name = "14s1p", chemistry = invented.curve,
  series = 14, nominal_v = 51.1, capacity_ah = amp.claimed(37),
  tested_ah = amp.measured(32.55), cell_v_min = 3.30, cell_v_max = 4.10 }

-- nameplate 21.96 and 18.91 kWh
local function nameplate (module, count)
  return amp.offer{ module = module, count = count, price_each = 1,
    tax = "none" }.nameplate_kwh
end
check.close(nameplate(C1, 16), 21.96, 0.005, "nameplate: C1")
check.close(nameplate(C2, 10), 18.91, 0.005, "nameplate: C2")

-- groups of four: 12s or 16s, never 14s. 12s: 49.2 V full, its floor 42.0
-- V = 3.50 V a cell = 18.0 %: 75.8 %; 15 modules 20.59 kWh, 15.61 of it
local counts = amp.layouts(C1, inverter, { groups = 14, parallel = 5 })
check.has(F(counts), "cannot make 14 in series: 12 or 16", "counts")
local twelve = counts[3]
check.equal(twelve.fits, true, "counts: 12s")
check.close(twelve.v_full, 49.2, 1e-9, "counts: 12s")
check.close(twelve.v_empty, 42.0, 1e-9, "counts: clipped by the inverter")
check.close(twelve.soc_min_pct, 18.0, 0.05, "counts: 12s")
check.close(twelve.soc_max_pct, 93.8, 0.05, "counts: 12s")
check.close(twelve.usable_pct, 75.8, 0.05, "counts: 12s")
local fifteen = amp.pack{ module = C1, series = 3, parallel = 5 }
check.close(fifteen.tested_kwh, 20.59, 0.005, "counts: 15, as claimed")
local feeding = fifteen:autonomy(amp.profile.daily{ from_battery_kwh = 6.4,
  temp_c = 15 }, inverter)
check.close(feeding.usable_kwh, 15.61, 0.005, "counts: 15 modules, 12s")
-- 16s: 65.6 V at 4.10 V, refused; held to 58.4 V = 3.65 V = 46.0 %, floor
-- 3.20 = 3.3 %: 42.7 % of 21.96 = 9.37 kWh, 9.04 by energy; no margin
check.equal(counts[4].fits, false, "counts: 16s")
check.has(counts[4].why, "reach 65.6 V when full, over the absolute 60 V")
local held = C1:with{ cell_v_max = 3.65 }
local sixteen = amp.layouts(held, inverter)[4]
check.equal(sixteen.fits, true, "counts: 16s held")
check.close(sixteen.v_full, 58.4, 1e-9, "counts: 16s held")
check.close(sixteen.soc_min_pct, 3.3, 0.05, "counts: 16s held")
check.close(sixteen.soc_max_pct, 46.0, 1e-9, "counts: 16s held")
check.close(sixteen.usable_pct, 42.7, 0.05, "counts: 16s held")
check.close(sixteen.margin_v, 1.6, 1e-9, "counts: 16s held")
local held_pack = amp.pack{ module = held, series = 4, parallel = 4 }
check.close(held_pack.usable_kwh, 9.37, 0.005, "counts: 16s held")
check.close(held_pack.tested_kwh * sixteen.usable_energy_pct / 100, 9.04,
  0.005, "counts: 16s held, by energy")
-- sag: 1.1 kW is 25.7 A at 46 V (about 69 %), 28.2 A at the floor; start
-- 141 and 155 A
local running = inverter:with{ power_w = 1100, surge_w = 5.5 * 1100 }
for _, w in ipairs{ { 46, 25.7, 141 }, { 42, 28.2, 155 } } do
  local circuit = amp.circuit{ inverter = running, at_v = w[1] }
  check.close(circuit.current_a, w[2], 0.05, "counts: running at " .. w[1])
  check.close(circuit.surge_a, w[3], 0.5, "counts: start at " .. w[1])
end
local at_46 = amp.layouts(C1:with{ cell_v_max = 46 / 12 }, inverter)[3]
check.close(at_46.soc_max_pct, 69, 0.5, "counts: 46 V at rest")
local sagging = amp.layouts(C1:with{ r10s_mohm = 1.5 }, running,
  { parallel = 5 })
check.close(sagging[3].lasting_a, 28.2, 0.05, "counts")
check.close(sagging[3].surge_a, 155, 0.5, "counts")
check.ok(sagging[3].surge_floor_pct > twelve.soc_min_pct + 1,
  "counts: under load the floor comes earlier")
check.has(F(sagging), "surge of seconds 155 A", "counts: the sag is stated")

-- 14s 57.4 and 46.2 V, ten side by side; 32.55 Ah = 88.0 % of claim, sd
-- 1.909, half width 15.3; 16.63 kWh tested, 14.78 usable
local fourteen = amp.layouts(C2, inverter)[1]
check.equal(fourteen.fits, true, "14s")
check.close(fourteen.v_full, 57.4, 1e-9, "14s")
check.close(fourteen.v_empty, 46.2, 1e-9, "14s")
local tests = amp.tested({ 33.9, 31.2 }, { of = 10 })
check.close(tests.value, 32.55, 1e-9, "14s")
check.close(tests.sd, 1.909, 5e-4, "14s")
check.close(tests.half_width, 15.3, 0.05, "14s")
local pack = amp.pack{ module = C2, series = 1, parallel = 10 }
check.close(pack.tested_kwh, 16.63, 0.005, "14s")
check.close(pack.usable_kwh, 14.78, 0.005, "14s")

-- 6.4/0.93 = 6.88 kWh a night; the rest is reserve
local night = amp.profile.daily{ from_battery_kwh = 6.4, temp_c = 15 }
check.close(pack:autonomy(night, inverter).need_kwh, 6.88, 0.005, "a night")
check.ok(pack.usable_kwh > 6.88, "a night: more than a night")

-- C2 151 cycles a year, 28.0/(1.6 + 1.208) = 9.96 years; C1 at 85 %
-- 143.5 and 9.1; C3 163.5 and 30/1.854 = 16.2
local nickel_law = amp.life_model{ calendar_pct_per_year = 1.6,
  cycle_pct_per_efc = 0.008 }
local iron_law = amp.life_model{ calendar_pct_per_year = 1.2,
  cycle_pct_per_efc = 0.004 }
local C3 = amp.module{ name = "16s boxed", chemistry = "lfp", series = 16,
  nominal_v = 51.2, capacity_ah = amp.claimed(100), soh_pct = 100 }
local function years (module, series, strings, law, soh_end)
  return amp.pack{ module = module:with{ life_model = law,
    soh_end_pct = soh_end }, series = series, parallel = strings }
    :life(night, { inverter = inverter, draws = 1, horizon_years = 30 })
end
local two = years(C2, 1, 10, nickel_law, 60)
check.close(two.soh_start_pct, 88.0, 0.05, "years: C2")
check.close(two.efc, 151, 0.5, "years: C2 cycles a year")
check.close(two.years, 9.96, 0.005, "years: C2")
local one = years(C1:with{ soh_pct = 85 }, 3, 5, nickel_law, 60)
check.close(one.efc, 143.5, 0.05, "years: C1 cycles a year")
check.close(one.years, 9.1, 0.05, "years: C1")
local three = years(C3, 1, 3, iron_law, 70)
check.close(three.efc, 163.5, 0.05, "years: C3 cycles a year")
check.close(three.years, 16.2, 0.05, "years: C3")

-- lead-acid, 6.88 of 24 kWh = 28.7 % a night; its life is the user's, and
-- no law of lithium is copied to it
local C4 = amp.module{ name = "2 V 500 Ah", chemistry = "lead_acid",
  series = 1, nominal_v = 2, capacity_ah = amp.claimed(500), soh_pct = 100,
  soc_min_pct = 50, soc_max_pct = 100 }
local lead = amp.pack{ module = C4, series = 24, parallel = 1 }
check.close(lead.tested_kwh, 24, 1e-9, "lead-acid")
check.close(100 * lead:autonomy(night, inverter).need_kwh / lead.tested_kwh,
  28.7, 0.05, "lead-acid: depth of a night")
for _, law in ipairs{ "lfp_throughput", "nmc_voltage_depth" } do
  local l = years(C4, 24, 1, law, 80)
  check.equal(l.years, nil, "lead-acid: " .. law)
  check.has(l.years_why, law .. " was fitted to lithium cells", "lead-acid")
end
check.ok(years(C4, 24, 1, amp.life_model{ cycles_at_dod = { { 50, 750 },
  { 80, 225 } } }, 80).years > 1, "lead-acid: the user's own table")

-- modules of full voltage want no matching in series; a slow night they
-- share by capacity, a short pulse by resistance
local function module_of (ah, mohm)
  return C2:with{ name = ah .. " Ah", tested_ah = amp.measured(ah),
    r10s_mohm = amp.measured(mohm) }
end
local side = amp.pack{ strings = { { module_of(33.9, 10) },
  { module_of(31.2, 20) } } }
local slow = side:simulate(amp.profile.steps{ { discharge_a = 4,
  hours = 12 } }, { start = "full" })
check.close(slow.strings[1].share_pct, 100 * 33.9 / (33.9 + 31.2), 0.3,
  "mixed: a night of 12 hours")
local pulse = side:simulate(amp.profile.steps{ { discharge_a = 20,
  time_s = 1 }, step_s = 0.01 }, { start = "full" })
check.close(pulse.strings[1].share_pct, 100 * 20 / 30, 0.3, "mixed: a second")
check.done()
