--- A duty run on a pack: the sums are laws, not numbers of their own: what is
-- asked for is served or unserved, energy balances, the trace adds up to the
-- sums, and pack:life finds the same year.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local module = amp.module{ name = "8s1p", chemistry = "lfp", series = 8,
  parallel = 1, capacity_ah = 105, tested_ah = amp.measured(96),
  r10s_mohm = amp.measured(9), mass_kg = 21.5, soc_min_pct = 10,
  soc_max_pct = 95, soh_end_pct = 70, life_model = amp.life_model{
    calendar_pct_per_year = 1, cycle_pct_per_efc = 0.004 } }
local pack = amp.pack{ module = module, series = 2, parallel = 2 }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, efficiency_pct = 92, idle_w = 20 }
local hut = amp.profile.daily{ load_kwh = 4, dc_load_w = 15,
  solar_kwp = 2.4, sun_hours = { 1, 2, 3, 4, 5, 5, 5, 5, 4, 3, 2, 1 },
  round_trip_pct = 98, temp_c = 12 }

-- asked for = served + unserved, in the year and in each month
local year = pack:simulate(hut, { inverter = inverter })
local asked = 365 * (4 + 0.015 * 24)
check.close(year.asked_kwh, asked, 1e-9)
check.close(year.served_kwh + year.unserved_kwh, asked, 1e-6)
check.equal(#year.months, 13)
local days = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 }
local sum = { unserved_kwh = 0, curtailed_kwh = 0, in_kwh = 0, out_kwh = 0,
  loss_kwh = 0, unserved_h = 0 }
local keys = { "unserved_kwh", "curtailed_kwh", "in_kwh", "out_kwh",
  "loss_kwh", "unserved_h" }
for m = 1, 12 do
  local row = year.months[m]
  check.close(row.served_kwh + row.unserved_kwh, days[m] * asked / 365, 1e-6)
  check.ok(row.soc_low_pct <= row.soc_mean_pct + 1e-9, "low is below mean")
  check.ok(row.soc_low_pct > 10 - 1e-6, "never below what may be used")
  for _, key in ipairs(keys) do sum[key] = sum[key] + row[key] end
end
for _, key in ipairs(keys) do
  check.close(year.months[13][key], sum[key], 1e-6, key)
  check.close(year[key], sum[key], 1e-6, key)
end

-- energy: what goes in comes out, is heat or stays
check.close(year.balance_kwh, 0, 1e-9)
check.close(year.in_kwh - year.out_kwh - year.loss_kwh, year.stored_kwh, 1e-6)
check.close(year.stored_kwh, 0, 0.01, "a settled year starts as it ends")
-- the way: 92 % of what goes through the inverter arrives, idle 20 W while
-- there is energy, 2 % of what goes into the battery is lost before it
local ac = year.served_kwh - year.dc_served_kwh
local most = ac * (1 / 0.92 - 1) + 0.020 * 8760 +
  year.in_kwh * (1 / 0.98 - 1)
check.ok(year.conversion_kwh <= most + 1e-6, "no more than the way can lose")
check.ok(year.conversion_kwh >= most - 0.020 * year.unserved_h - 1e-6,
  "nor less: only the idle draw rests while load isn't met")

-- winter is short, and it is said when
check.ok(year.unserved_kwh > 1 and year.curtailed_kwh > 1, "both happen")
check.ok(year.first_unserved_h < year.last_unserved_h)
check.has(tostring(year), "kWh unserved in")
check.has(tostring(year), "first on 1\nJanuary 00:00, last until 31 December")
check.has((tostring(year):gsub("\n", " ")),
  "Energy balance closed to 0.000001 kWh.")
check.has(tostring(year), "Not checked: fuses")

-- the same year as a case taken to years finds; its load is AC alone
local life = pack:life(hut, { inverter = inverter, draws = 1 })
check.close(life.unserved_kwh, year.unserved_kwh - year.dc_unserved_kwh, 1e-9)
check.equal(life.curtailed_kwh, year.curtailed_kwh, "to the last bit")
check.close(life.efc, year.efc, 1e-9)

-- and the same as compare finds for an offer of those modules
local table_of_one = amp.compare({ amp.offer{ name = "H", module = module,
  count = 4, price_lot = 1, tax = "none", dud_pct = 0 } },
  amp.need{ duty = hut, inverter = inverter, currency = "EUR" },
  { draws = 1 })
check.equal(table_of_one[1].layout, "16s, 2 strings")
check.equal(table_of_one[1].curtailed_kwh, year.curtailed_kwh)
check.close(table_of_one[1].unserved_kwh, life.unserved_kwh, 1e-9)

-- a load beyond the inverter is unserved from the first moment: 4 of 7 kW
local small = amp.profile.daily{ load_w = 7000, solar_kwp = 100,
  sun_hours = 24, temp_c = 12 }
local too_large = pack:simulate(small, { inverter = inverter })
check.equal(too_large.first_unserved_h, 0)
check.equal(too_large.last_unserved_h, 8760)
check.close(too_large.unserved_h, 8760, 1e-6)
check.ok(too_large.unserved_kwh >= 4 * 8760 - 1e-6)
check.has(tostring(too_large), "first on 1\nJanuary 00:00")
check.has(tostring(too_large), "31 December 24:00")

-- a load that is met all year, from a supply as large as needed
local easy = pack:simulate(amp.profile.daily{ from_battery_kwh = 2,
  months = { 7, 8 }, temp_c = 12 }, { inverter = inverter })
check.equal(easy.first_unserved_h, nil)
check.equal(easy.unserved_kwh, 0)
check.equal(easy.supply_kwh, nil)
check.equal(easy.curtailed_kwh, nil, "what is left of enough is no loss")
check.equal(easy.months[1].curtailed_kwh, nil)
check.ok(not easy:trace{ every = 1000 }:csv():find "curtailed")
check.equal(#easy.months, 3)
check.has(tostring(easy), "All of the 124 kWh asked for is served.")

-- the trace adds up to the sums; means over steps keep them
local trace = year:trace()
check.equal(#trace, 52560)
local function energy (t, key, minutes)
  local kwh = 0
  for i = 1, #t do kwh = kwh + t[i][key] * minutes / 6e4 end
  return kwh
end
check.close(energy(trace, "unserved_w", 10), year.unserved_kwh, 1e-6)
check.close(energy(trace, "curtailed_w", 10), year.curtailed_kwh, 1e-6)
check.close(energy(trace, "power_w", 10), year.out_kwh - year.in_kwh, 1e-6)
check.equal(trace[52560].time_h, 8760)
check.close(trace[52560].soc_pct, year.soc_end_pct, 1e-9)
local days_of = year:trace{ every = 144 }
check.equal(#days_of, 365)
check.close(energy(days_of, "unserved_w", 1440), year.unserved_kwh, 1e-6)
check.close(days_of[31].soc_pct, trace[31 * 144].soc_pct, 1e-9,
  "end of day 31")
check.has(year:trace{ every = 10000 }:csv(), "time_h,soc_pct,current_a,")

-- a long duty in minutes has more rows than a trace may have
local minutes = { "time_s,load_w" }
for minute = 0, 139 * 1440 - 1 do
  minutes[#minutes + 1] = minute * 60 .. ",9"
end
local long = pack:simulate(amp.profile.text(table.concat(minutes, "\n")))
check.raises(function () return long:trace() end,
  "200160 rows are more than 200000: give every = 2 or more")
check.equal(#long:trace{ every = 1440 }, 139)

-- three days at 0.3 kW: 21.6 kWh asked of a full pack, which holds less
local three = { "time_s,load_w" }
for hour = 0, 71 do three[#three + 1] = hour * 3600 .. ",300" end
local duty = amp.profile.text(table.concat(three, "\n"))
local full = pack:simulate(duty)
check.close(full.soc_start_pct, 95, 1e-9)
check.close(full.served_kwh + full.unserved_kwh, 21.6, 1e-6)
-- 0.85 x 2 x 96 Ah x 51.2 V nominal is 8.36 kWh; heat and the voltage of the
-- lower half take some of it
check.close(full.served_kwh, 8.36, 0.3)
check.close(-full.stored_kwh, full.out_kwh + full.loss_kwh, 1e-9)
check.close(full.out_kwh, full.served_kwh, 1e-4, "but for the step's error")
check.has(tostring(full), "on day 2")
local empty = pack:simulate(duty, { start = "settled" })
check.close(empty.served_kwh, 0, 1e-9, "the days before left nothing")

-- a settled short duty is the one that a life is counted from, a year of it
local sunny = { "time_s,load_w,pv_w" }
for hour = 0, 71 do
  sunny[#sunny + 1] = hour * 3600 .. ",300," ..
    (hour % 24 == 12 and 5000 or 0)
end
duty = amp.profile.text(table.concat(sunny, "\n"))
local settled = pack:simulate(duty, { start = "settled" })
check.ok(settled.unserved_kwh > 0.1 and settled.served_kwh > 1, "it is short")
check.close(settled.stored_kwh, 0, 1e-3)
check.close(pack:life(duty, { draws = 1 }).unserved_kwh,
  settled.unserved_kwh * 365 / 3, 1e-6)

-- what it refuses
check.raises(function () pack:simulate(3) end, "duty must be a profile")
check.raises(function () pack:simulate(hut, { inverer = inverter }) end,
  "did you mean 'inverter'?")
check.raises(function () pack:simulate(hut, { start = "half" }) end,
  'start must be "full" or "settled" (got half)')
check.raises(function () return year.unserved_kw end,
  "a run has no 'unserved_kw' (did you mean 'unserved_kwh'?)")
check.raises(function () year.efc = 1 end, "a run never changes")
for _, every in ipairs{ 0, 1.5, -1, "x" } do
  check.raises(function () year:trace{ every = every } end,
    "every must be a whole number")
end

-- the months in other forms, and a chart
check.equal(year:csv(), year.months:csv())
check.has(year:plot{ "soc_pct" }:svg(), "<svg")
check.raises(function () return year:plot{ "soc" } end, "soc_pct")

-- an inverter whose efficiency goes by load: 10 % of 3 kW at 70 %, steady
local bad = amp.inverter{ power_w = 3000, efficiency_at = { { 10, 70 },
  { 50, 94 }, { 100, 91 } } }
local flat = amp.inverter{ power_w = 3000, efficiency_pct = 70 }
local even = amp.profile.daily{ load_w = 300, solar_kwp = 6, sun_hours = 4,
  months = { 6 }, temp_c = 15 }
local a, b = pack:simulate(even, { inverter = bad }),
  pack:simulate(even, { inverter = flat })
check.close(a.out_kwh, b.out_kwh, 1e-9, "10 % of the load is at 70 %")
check.equal(a.months[1].unserved_kwh, 0)
check.ok(pack:simulate(even, { inverter = bad:with{ efficiency_pct = 94 } })
  .out_kwh < a.out_kwh, "one efficiency replaces the curve")
check.raises(function ()
  return amp.inverter{ efficiency_at = { { 10, 70 } } }
end, "wants power_w")
check.raises(function ()
  return bad:with{ efficiency_at = { { 10, 70 }, { 5, 80 } } }
end, "point 2 of efficiency_at: load_pct must rise")

-- strings that never carry more than C/20 have no largest share of the current,
-- and a test that only charges has no share of the charge out
local gentle = amp.module{ chemistry = "nmc811", series = 7, parallel = 3,
  capacity_ah = 100, r10s_mohm = 5 }
local beside = amp.pack{ strings = { { gentle },
  { gentle:with{ capacity_ah = 90 } } } }
local idle = beside:simulate(amp.profile.steps{ { discharge_a = 1,
  hours = 3 } })
check.ok(not tostring(idle):find("largest share", 1, true) and
  tostring(idle):find("gave most", 1, true), "under C/20 prints")
local fill = beside:simulate(amp.profile.steps{ { charge_a = 1, hours = 1 } })
check.ok(fill.strings[1].share_pct == nil or
  fill.strings[1].share_pct == fill.strings[1].share_pct, "no NaN share")

-- what a phase asks beyond the limit that ends it is no energy that was served
local beyond = beside:simulate(amp.profile.steps{ { discharge_w = 1e6,
  hours = 1 } })
check.ok(not tostring(beyond):find("is served", 1, true) and
  tostring(beyond):find("A test at the terminals", 1, true), "a test says so")
local counted = beside:simulate(amp.log.text("time_s,current_a\n0,0\n" ..
  "3600,-50\n7200,20\n"):profile())
check.equal(counted.conversion_kwh, nil)

-- a small module beside large ones is driven past what it holds; one without
-- mass to speak of boils: neither is told as if it were a forecast
local flood = amp.pack{ strings = { { gentle:with{ capacity_ah = 5000 },
  gentle:with{ capacity_ah = 0.1 } }, { gentle, gentle } } }
local driven = flood:simulate(amp.profile.steps{ { discharge_a = 100,
  hours = 10 } })
local past = false
for i = 1, #driven.groups do
  past = past or driven.groups[i].soc_high_pct > 101 or
    driven.groups[i].soc_low_pct < -1
end
check.ok(past and tostring(driven):find("is no forecast", 1, true),
  "driven past its charge is said")
local boiled = amp.pack{ strings = { { gentle:with{ mass_kg = 0.01,
  capacity_ah = 90 } }, { gentle:with{ mass_kg = 0.01 } } } }
local boil = boiled:simulate(amp.profile.steps{ { discharge_a = 900,
  hours = 1 } })
check.ok((boil.temp_max_c > 100) and
  tostring(boil):find("where none lives", 1, true), "cells boil, said so")

check.done()
