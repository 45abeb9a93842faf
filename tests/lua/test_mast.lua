--- A radio mast on a hill: the numbers of its bench side, worked by hand, each
-- out of a call. Readings are invented. Money: test_economics.lua.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"
local invented = require "invented"

local function F (text) return (tostring(text):gsub("%s+", " ")) end

-- equipment on 24 V, 21.6 .. 29.0 V; the charger goes up to 28.4 V
local bus = amp.inverter{ v_min = 21.6, v_max = 28.4, v_abs_max = 29.0 }
local R1 = amp.module{ name = "4s3p", chemistry = invented.curve, series = 4,
  parallel = 3, nominal_v = 14.6, capacity_ah = amp.claimed(150),
  cell_v_min = 3.00, cell_v_max = 4.10 }
local R2 = amp.module{ name = "7s1p", chemistry = invented.curve, series = 7,
  nominal_v = 25.55, capacity_ah = amp.claimed(60),
  tested_ah = amp.measured(51.35), cell_v_min = 3.20, cell_v_max = 4.05 }
local R3 = amp.module{ name = "12 V AGM", chemistry = "lead_acid", series = 6,
  nominal_v = 12, capacity_ah = amp.claimed(100), soc_min_pct = 50,
  soc_max_pct = 100 }

-- nameplate 13.14, 12.264, 9.60 kWh
for i, w in ipairs{ { R1, 6, 13.14 }, { R2, 8, 12.264 }, { R3, 8, 9.60 } } do
  check.close(amp.offer{ name = "R" .. i, module = w[1], count = w[2],
    price_each = 1, tax = "none" }.nameplate_kwh, w[3], 1e-9, "lot R" .. i)
end

-- 8s would be 32.8 V when full; held to 28.4 V = 3.55 V a cell 25 %: at
-- most 3.285 of 13.14 kWh, 3.06 by energy; one module, 16.4 V, is below
local asked = amp.layouts(R1, bus)
check.equal(asked[1].fits, false, "8s: one module is below the bus")
check.has(asked[1].why, "16.4 V")
check.equal(asked[2].fits, false, "8s: two, full, are above it")
check.has(asked[2].why, "reach 32.8 V when full, over the absolute 29 V")
local held = R1:with{ cell_v_max = 28.4 / 8 }
local eight = amp.layouts(held, bus)[2]
check.equal(eight.fits, true, "8s: held to 28.4 V")
check.close(eight.soc_max_pct, 25, 1e-9, "8s: SoC at 3.55 V")
local clipped = amp.pack{ module = held, series = 2, parallel = 3 }
check.close(clipped.tested_kwh, 13.14, 1e-9, "8s")
check.close(clipped.usable_kwh, 3.285, 1e-9, "8s: by charge")
check.close(clipped.tested_kwh * eight.usable_energy_pct / 100, 3.06, 0.005,
  "8s: by energy")

-- 7s 28.35 V at 4.05, 22.4 V at 3.20; 3.3 to 90 % = 86.7 %
local seven = amp.layouts(R2, bus)[1]
check.equal(seven.fits, true, "7s")
check.close(seven.v_full, 28.35, 1e-9, "7s")
check.close(seven.v_empty, 22.4, 1e-9, "7s")
check.close(seven.soc_min_pct, 3.3, 0.05, "7s")
check.close(seven.soc_max_pct, 90, 1e-9, "7s")
check.close(seven.usable_pct, 86.7, 0.05, "7s")

-- two of eight: 51.35, 1.768, 13.8 Ah, and the band is printed
local seller = amp.tested({ 52.6, 50.1 }, { of = 8, by = "seller" })
check.close(seller.value, 51.35, 1e-9, "two tests")
check.close(seller.sd, 1.768, 5e-4, "two tests")
check.close(seller.half_width, 13.8, 0.05, "two tests")
check.has(tostring(seller), "95 % of means between")
check.has(tostring(seller), "by seller")

-- 85 W always and 150 W for two hours: 2.34 kWh a day; eight modules
-- 10.50 tested, 9.10 usable, 3.9 days; seven 9.18, 7.96, 3.4; six 7.87,
-- 6.82, 2.9: five days are 11.7 kWh. R3 at 50 %: 4.8 kWh, 2.05 days
local day = { "time_s,dc_load_w" }
for h = 0, 23 do
  day[#day + 1] = h * 3600 .. "," .. (h >= 18 and h < 20 and 235 or 85)
end
local duty = amp.profile.text(table.concat(day, "\n") .. "\n",
  { temp_c = 25 })
for _, w in ipairs{ { 8, 10.50, 9.10, 3.9 }, { 7, 9.18, 7.96, 3.4 },
  { 6, 7.87, 6.82, 2.9 } } do
  local pack = amp.pack{ module = R2, series = 1, parallel = w[1] }
  local what = "days: " .. w[1] .. " modules"
  check.close(pack.tested_kwh, w[2], 0.005, what)
  check.close(pack.usable_kwh, w[3], 0.005, what)
  check.close(pack:autonomy(duty).days, w[4], 0.05, what)
end
local agm = amp.pack{ module = R3, series = 2, parallel = 4 }
check.close(agm.usable_kwh, 4.8, 1e-9, "days: R3")
check.close(agm:autonomy(duty).need_kwh, 2.34, 1e-9, "days: a day")
check.close(agm:autonomy(duty).days, 2.05, 0.005, "days: R3")
check.close(5 * agm:autonomy(duty).need_kwh, 11.7, 1e-9, "days: five days")

-- December 1.2 x 2.2 x 0.75 = 1.98 kWh a day against 2.34, and no battery
-- helps; 1.49 kWp or a load of 1.88 kWh a day, at 0.95, would
local function december (kwp, kwh)
  return amp.profile.daily{ dc_load_w = kwh / 0.024, solar_kwp = kwp,
    sun_hours = 2.2, performance_pct = 75, months = 12, temp_c = 5 }
end
local pack = amp.pack{ module = R2, series = 1, parallel = 8 }
local dark = pack:autonomy(december(1.2, 2.34))
check.close(dark.supply_kwh, 1.98, 1e-9, "December: sun")
check.close(dark.need_kwh, 2.34, 1e-9, "December: load")
check.has(F(dark), "short by 0.36 before battery losses. A larger battery " ..
  "only bridges it longer.")
check.close(0.95 * pack:autonomy(december(1.49, 2.34)).supply_kwh, 2.34,
  0.005, "December: an array that would do")
check.close(0.95 * dark.supply_kwh, pack:autonomy(december(1.2, 1.88))
  .need_kwh, 0.005, "December: a load that would do")

-- the readings as they were typed
local typed = invented.stands_in("scenarios/2-radio-mast.md", invented.mast)
if typed == nil then
  print("skipped: the page it was typed in (AMPSTEAD_SHARED is not set)")
else
  check.ok(typed, "the readings as they were typed")
end
local lot = amp.readings.text(invented.mast, { module = R2 })
local judged = lot:judge()
check.equal(judged.accept, 6, "days: six, F and G are not judged")
check.equal(judged[6].verdict, "not judged", "F is not accepted")
-- six good groups at 3.66 V: 24.86 - 21.96 = 2.90 V
check.has(judged[6].why, "one group at about 2.91 V. The module's voltage " ..
  "cannot tell: measure its groups", "F")
check.equal(judged[7].verdict, "not judged", "G")
check.has(judged[7].why, "its share of a current has bounds only", "G")
-- 0.75 V/(14 + 14/7 + 4) = 37.5 A, 0.73C of 51.35; 22.5 % of 51.35 x 7/8
local joined = amp.paralleling(lot:without("F"), lot:get("F"),
  { lead_mohm = 4 })
check.close(joined.current_a, 37.5, 0.05, "F")
check.close(joined.current_a / 51.35, 0.73, 0.005, "F: as C-rate")
check.close(joined.soc_high_pct - joined.soc_low_pct, 22.5, 0.05, "F")
check.close(joined.ah, 10.1, 0.05, "F")
local bounds = amp.busbar{ string_mohm = { 14, 14, 13, 15, 14, false, 14 },
  current_a = 9.8 }:table()
check.equal(bounds.bound, true, "G: shares are bounds")
local with_g = amp.pack{ strings = { { R2:with{ r10s_mohm = 14 } }, { R2 } } }
check.equal(with_g:short_circuit().bound, true, "G: so is the short circuit")
check.has(tostring(with_g:short_circuit()), "At least")

-- 22 ft one way, 10 AWG: 235 W at 24 V = 9.8 A, 0.437 V, 1.8 %; at 21.6
-- V 10.9 A, 0.485 V, 2.2 %, under 3 %; the mean 97.5 W = 4.06 A, 0.181 V
for _, w in ipairs{ { 235, 24, 9.8, 0.437, 1.8 },
  { 235, 21.6, 10.9, 0.485, 2.2 }, { 97.5, 24, 4.06, 0.181, 0.75 } } do
  local circuit = amp.circuit{ inverter = bus:with{ power_w = w[1],
    efficiency_pct = 100 }, at_v = w[2] }
  check.close(circuit.current_a, w[3], w[3] < 5 and 0.005 or 0.05, "lead")
  local cable = amp.cable{ one_way_ft = 22, awg = 10, v = w[2],
    current_a = circuit.current_a, drop_max_pct = 3 }
  check.close(cable.drop_v, w[4], 6e-4, "lead")
  check.close(cable.drop_pct, w[5], 0.05, "lead")
  check.ok(not tostring(cable):find("drop_above_limit", 1, true), "lead: 3 %")
end
check.close(amp.cable{ awg = 10, ampacity_a = 30 }.area_mm2, 5.26, 0.005,
  "lead")

-- 104 F: 4.24 %/year; 81.4 cycles a year: 5.2 years against 11.9 at 25 C
local fading = R2:with{ soh_end_pct = 60, life_model = amp.life_model{
  calendar_pct_per_year = 1.5, cycle_pct_per_efc = 0.008, at_c = 25,
  doubling_k = 10 } }
local aged = amp.pack{ module = fading, series = 1, parallel = 8 }
local function years (temp)
  temp.from_battery_kwh = 2.34
  return aged:life(amp.profile.daily(temp), { draws = 1 })
end
check.close(years{ temp_f = 104 }.years, 5.2, 0.05, "heat: in the enclosure")
check.close(years{ temp_f = 104 }.years, years{ temp_c = 40 }.years, 1e-12,
  "heat: 104 F = 40 C")
check.close(years{ temp_c = 25 }.years, 11.9, 0.05, "heat: at 25 C")
check.close(years{ temp_c = 25 }.efc, 81.4, 0.05, "heat: cycles a year")
check.close(years{ temp_c = 25 }.soh_start_pct, 85.6, 0.05, "heat")

-- must be refused: years of untested modules, a state of health by voltage
local untested = amp.pack{ module = amp.module{ chemistry = invented.curve,
  series = 7, capacity_ah = amp.claimed(60), soh_end_pct = 60,
  life_model = fading.life_model }, series = 1, parallel = 8 }
local refused = untested:life(duty, { draws = 1 })
check.equal(refused.years, nil, "no years without a test")
check.has(refused.years_why, "neither a tested capacity nor a SoH was given")
check.ok(not tostring(judged):find("SoH", 1, true), "no SoH from voltages")
check.equal(lot:mean("ah").mean, nil, "no capacity either")
check.done()
