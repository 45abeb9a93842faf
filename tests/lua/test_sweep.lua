--- Sweeps: order of the rows, cases that say no, and laws between rows. The
-- module, load and prices of examples/02-limits.lua, all invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local module = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112),
  tested_ah = amp.measured(93.8, 3.0), r10s_mohm = amp.measured(1.9, 0.1),
  mass_kg = 17.5 }
local house = amp.profile.daily{ solar_kwp = 4.2, sun_hours = 2.9,
  performance_pct = 75, temp_c = 15, load_w = 230 }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, efficiency_pct = 92, idle_w = 32 }

local function case (c)
  if c.strings == 4 and c.temp_c == 25 then return nil, "no room for four" end
  return { pack = amp.pack{ module = module, series = 2, parallel = c.strings,
      soc_min_pct = 10, soc_max_pct = 90 },
    need = amp.need{ currency = "EUR", horizon_years = 20, discount_pct = 5,
      duty = house:with{ temp_c = c.temp_c }, inverter = inverter },
    cost = 640 + 780 * c.strings, soh_end_pct = 60,
    life_model = { "nmc_voltage_depth", "lmo_stress" } }
end
local over = { temp_c = { 10, 25 }, strings = { 2, 4 } }
local t = amp.sweep{ over = over, case = case, draws = 40 }

-- keys of 'over' in name order, the last one fastest
check.equal(#t, 4)
local seen = {}
for i, row in ipairs(t) do seen[i] = row.strings .. "/" .. row.temp_c end
check.equal(table.concat(seen, " "), "2/10 2/25 4/10 4/25")
check.equal(t:keys()[1], "strings")
check.equal(t:keys()[2], "temp_c")
check.equal(math.type(t[1].strings), "integer")

-- a case that says no keeps its row and its reason
check.equal(t[4].levelised, nil)
check.equal(t:cell(4, "levelised").why, "no room for four")
check.equal(t:sort("levelised")[4].strings, 4)
check.equal(t:sort("levelised")[4].temp_c, 25)

-- twice the strings hold twice the energy, and cost what the case said
check.close(t[3].usable_kwh, 2 * t[1].usable_kwh, 1e-6)
check.close(t[1].total, 640 + 780 * 2, 1e-9)
-- the kWh of 2 strings: 4 modules x 93.8 Ah x 25.55 V x 80 % = 7.67 kWh; the
-- open-circuit table decides the last per cents
check.close(t[1].usable_kwh, 7.67, 0.02 * 7.67)
check.ok(t[3].unserved_kwh <= t[1].unserved_kwh,
  "a larger battery leaves no more unserved")
-- both models age a warm cell faster (Schmalstieg 2014, Xu 2018: the rate
-- rises with temperature)
check.ok(t[2].years <= t[1].years, "a warm room shortens life")

check.equal(#t:where{ strings = 2 }, 2)
local shown = t:columns{ "strings", "temp_c", "usable_kwh", "years",
  "levelised" }:text()
check.has(shown, "strings")
for line in shown:gmatch("[^\n]+") do check.ok(#line <= 78, line) end
check.has(t:where{ strings = 2 }:plot{ x = "temp_c", y = "years" }:svg(),
  "<svg")
check.has(t:text(), "draws 40")

-- same settings, same bytes; one value may stand without a list
check.equal(amp.sweep{ over = over, case = case, draws = 40 }:csv(), t:csv())
check.equal(#amp.sweep{ over = { strings = 2, temp_c = 10 }, case = case,
  draws = 5 }, 1)

-- a month that is short in every case is said once. A day: 230 W x 24 h / 0.92
-- + 32 W x 24 h = 6.77 kWh; 2.4 kWp x 1.5 h x 75 % = 2.70 kWh
local dark = amp.sweep{ over = { strings = { 2, 4 } }, draws = 5,
  case = function (c)
    local got = case{ strings = c.strings, temp_c = 10 }
    got.need = got.need:with{ duty = house:with{ solar_kwp = 2.4,
      sun_hours = 1.5 } }
    return got
  end }
check.has(dark:heads()[1],
  "sun 2.70 kWh a day, load 6.77: short by 4.07 before battery losses.")
check.ok(not table.concat(t:heads()):find("short by"))

local function at_this_file (fn, words)
  check.raises(fn, words)
  check.raises(fn, "test_sweep.lua:")
end
at_this_file(function () local _ = amp.sweep{ over = {}, case = case } end,
  "over names nothing")
at_this_file(function ()
  local _ = amp.sweep{ over = { a = {} }, case = case }
end,
  "over.a is empty")
at_this_file(function ()
  local _ = amp.sweep{ over = { years = { 1 } }, case = case }
end, "a result column is")
at_this_file(function () local _ = amp.sweep{ over = over } end, "case")
at_this_file(function ()
  local _ = amp.sweep{ over = over, case = case, drawes = 3 }
end, "did you mean 'draws'?")
at_this_file(function ()
  local _ = amp.sweep{ over = { a = 1 }, case = function () return 3 end }
end, "must give a table")
at_this_file(function ()
  local _ = amp.sweep{ over = { a = 1 },
    case = function () return { pck = 1 } end }
end, "case (a 1): unknown key 'pck' (did you mean 'pack'?)")
at_this_file(function ()
  local _ = amp.sweep{ over = { a = 1 }, case = function () return {} end }
end, "needs a pack or an offer")
check.raises(function ()
  local _ = amp.sweep{ over = { a = 1 },
    case = function () error("mine") end }
end, "mine")
check.done()
