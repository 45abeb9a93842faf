--- The wording of errors: they name the line of the script, the object, the
-- key, the limit and the value, in the reader's unit.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local base = { name = "H1", chemistry = "nmc111", series = 7, parallel = 2,
  capacity_ah = 112 }
local good = amp.module(base)

local function module (changes)
  return function () return good:with(changes) end
end

local function offer (changes)
  local keys = { name = "H1", module = good, count = 12, price_lot = 2950,
    tax = "included" }
  for key, value in pairs(changes) do keys[key] = value end
  return function () return amp.offer(keys) end
end

-- of many keys that are wrong the first in the order of their bytes is named,
-- whatever order the interpreter keeps them in
local function wrong (more)
  local keys = more or {}
  for i = 9, 1, -1 do keys["zz" .. i] = "zz" .. i end
  return keys
end
local list = amp.table{ columns = { "n", "k" }, rows = { { n = 1, k = 2 } } }
check.raises(function () amp.module(wrong()) end, "unknown key 'zz1'")
check.raises(function () list:where(wrong{ n = 1 }) end, "no column 'zz1'")
check.raises(function () list:where(wrong{ true }) end, "where takes {column")
check.raises(function () list:plot(wrong{ x = "n" }) end, "unknown key 'zz1'")
check.raises(function () amp.table(wrong()) end, "unknown key 'zz1'")
check.raises(module{ groups = { [3] = wrong() } }, "unknown key 'zz1'")
check.raises(module{ groups = { [5] = wrong(), [2] = wrong{ blown = "x" } } },
  "blown must be")
check.raises(function () amp.readings.text("id,ocv_v\n1,3", {
  columns = wrong() }) end, "unknown key 'zz1'")
check.raises(function () amp.readings.text("id,ocv_v\n1,3", { columns = {
  temp_c = "a", ah = "b", id = "c", remark = "d" } }) end, "column 'b'")
check.raises(function () amp.module{ [2] = 1, [true] = 2, [print] = 3 } end,
  "keys are names (got a boolean without a name)")
check.raises(module{ ["name\0x"] = "H2" }, "keys are names (got a string " ..
  "with a NUL)")
check.raises(function () list:plot{ x = "n", y = "k", ["by\0x"] = 1 } end,
  "unknown key '?'")

-- limits, in the unit of the key, at the line of the script
check.raises(module{ tested_ah = -3 },
  'module "H1": tested_ah must lie in 0.1 .. 5000 Ah (got -3)')
local line = debug.getinfo(1, "l").currentline
local _, message = pcall(function () return good:with{ tested_ah = -3 } end)
check.has(message, "test_errors.lua:" .. line + 1 .. ": ")
check.raises(module{ tested_ah = 0 / 0 }, "(got nan)")
check.raises(module{ tested_ah = math.huge }, "(got inf)")
check.raises(module{ tested_ah = amp.between(50, 6000) }, "(got 6000)")
check.raises(module{ series = 7.5 }, "series must be a whole number (got 7.5)")
check.raises(module{ series = "7" }, "series must be a number (got string)")
check.raises(module{ mass_kg = amp.claimed(17) }, "mass_kg must be a number")
check.raises(module{ soc_min_pct = 90, soc_max_pct = 20 }, "soc_max_pct")
check.raises(module{ soh_pct = 182 }, "(got 182)")
check.raises(module{ soh_pct = 0 }, "(got 0)")
check.raises(module{ tested_ah = 100, soh_pct = 70 }, "disagree")

-- words: the nearest known one is offered
check.raises(module{ capcity_ah = 112 },
  'module "H1": unknown key \'capcity_ah\' (did you mean \'capacity_ah\'?)')
check.raises(module{ r10s_mOhm = 2 }, "did you mean 'r10s_mohm'?")
check.raises(module{ capacity = 112 }, "did you mean 'capacity_ah'?")
check.raises(module{ colour = "red" }, "unknown key 'colour'")
check.raises(module{ chemistry = "nmc112" }, "did you mean 'nmc111'?")
check.raises(module{ life_model = "lmo_stres" }, "did you mean 'lmo_stress'?")
check.raises(module{ [1] = 5 }, "keys are names")
check.raises(function () amp.module(3) end, "one table of keys is wanted")
check.raises(function () amp.module{ series = 7 } end, "chemistry is wanted")

local steady = amp.profile.daily{ load_w = 300, temp_c = 15 }
-- of several the first in byte order is named, in every run
for i = 1, 20 do
  local a, b = "za" .. i, "zb" .. i
  check.raises(function ()
    amp.pack{ module = good, series = 2, parallel = 1 }:warm{ [b] = 1, [a] = 0 }
  end, "warm: unknown key '" .. a .. "'")
  check.raises(function () amp.savings{ [b] = 1, [a] = 2 } end,
    "unknown key '" .. a .. "'")
  check.raises(function ()
    amp.offers.text("price\n1\n", { [b] = 1, [a] = 2 })
  end, "unknown key '" .. a .. "'")
  check.raises(function ()
    amp.need{ duty = steady, rates = { [b] = -1, [a] = -1, USD = 1 } }
  end, "the rate of " .. a)
end
-- a change never drops another one of the same copy
local lot = offer{}()
for _ = 1, 20 do
  check.raises(function () lot:with{ price_each = 2, price_lot = 3 } end,
    "give price_each or price_lot, not both")
end

-- names are seen, currencies are words
for _, unseen in ipairs{ "", " ", "\t \n", "\u{A0}", "\u{200B}\u{FEFF}" } do
  check.raises(offer{ name = unseen }, "name has no visible character")
  check.raises(module{ name = unseen }, "name has no visible character")
  check.raises(function ()
    amp.alternative{ name = unseen, kind = "grid" }
  end, "name has no visible character")
end
check.equal(module{ name = "\u{E9}" }().name, "\u{E9}")
for _, word in ipairs{ "", " ", "EU R", "9", "ABCDEFGHI", "\u{20AC}", 5 } do
  check.raises(offer{ currency = word }, type(word) == "number" and
    "currency must be" or "currency must be a word of 1 to 8 letters")
  check.raises(function () amp.need{ duty = steady, currency = word } end,
    "currency must be a word of 1 to 8 letters")
  check.raises(function () lot:landed{ currency = word } end,
    "currency must be a word of 1 to 8 letters")
end

-- what is not a number has no sign, whoever writes it
for _, v in ipairs{ 0 / 0, -(0 / 0) } do
  check.raises(function () lot:accepted{ series = v } end, "(got nan)")
  check.raises(function () lot:chance{ good = v } end, "chance: ")
  check.raises(module{ tested_ah = v }, "(got nan)")
end

-- limits of the whole build, not of a field that nobody gave
check.raises(function ()
  amp.pack{ module = good, series = 500, parallel = 1 }:check{}
end, "V; above 2000 V nothing is looked at")

-- offers
check.raises(offer{ price_each = 245 }, "give price_each or price_lot, not both")
check.raises(offer{ tax = "incl" }, 'tax must be "included", "excluded"')
check.raises(offer{ tax = "excluded" }, "tax_pct is wanted")
check.raises(offer{ count = 0 }, "count must lie in 1 .. 100000")
check.raises(offer{ dud_pct = 101 }, "dud_pct must lie in 0 .. 100 %")
check.raises(offer{ price_lot = -5 }, "price_lot must lie in 0")
check.raises(offer{ costs = { { "crane" } } }, "costs")
check.raises(offer{ module = 5 }, "module = amp.module{} is wanted")
check.raises(function ()
  amp.offer{ module = good, count = 3, price_lot = 5 }:landed()
end, "tax")
check.raises(function () offer{}():chance{ good = 13 } end, "0 .. 12")
check.raises(function () amp.tested({ 1, 2, 3 }, { of = 2 }) end, "lot of 2")
check.raises(function () amp.tested({ 1 }) end, "of =")
check.raises(function () amp.claimed(5, -1) end, "standard deviation")
check.raises(function () amp.between(2, 1) end, "2 is above 1")

-- duties, inverters, life models
check.raises(function () amp.profile.daily{ load_w = { 1, 2 } } end,
  "load_w must hold 1 or 24 numbers (got 2)")
check.raises(function () amp.profile.daily{ load_w = 1, months = { 13 } } end,
  "months must lie in 1 .. 12 (got 13)")
check.raises(function () amp.profile.daily{ load_w = 1, months = { 5, 5 } } end,
  "month 5 is named twice")
check.raises(function () amp.profile.daily{ load_w = 1, temp_c = 400 } end,
  "temp_c must lie in -50 .. 70 C (got 400)")
check.raises(function () amp.profile.daily{ load_w = 1, solar_kwp = 2 } end,
  "sun_hours is wanted beside solar_kwp")
check.raises(function ()
  amp.profile.daily{ load_w = 1, solar_kwp = 2, months = { 5, 6, 7 },
    sun_hours = { 1, 2 } }
end, "one number for each month named (got 2)")
check.raises(function () amp.inverter{ v_min = 58, v_max = 42 } end,
  "v_min must lie below v_max")
check.raises(function () amp.life_model{} end, "give calendar_pct_per_year")
check.raises(function () amp.life_model{ fade = 5 } end,
  "fade must be a function")
check.raises(function () amp.range(1, 2, 0) end, "range")
check.raises(function () amp.at_least "99.0" end, "wants at least 99.0")
check.raises(function () amp.at_least "latest" end, "a version such as")
check.raises(function () amp.levelised{ first = 5, years = 2 } end,
  "kwh is wanted")

-- damaged text: file, line and column; nothing is guessed
local function offers (text, opts)
  return function () return amp.offers.text(text, opts) end
end
local head = "offer,cell,modules,capacity_ah,voltage_v,soh_pct,price_each\n"
check.raises(offers(head .. "A,NMC,8,-60,7.4,82,95.50"),
  "text:2:9: capacity_ah must lie in 0.1 .. 5000 Ah (got -60)")
check.raises(offers(head .. "A,NMC,-8,60,7.4,82,95.50"),
  "count must be a whole number above 0 (got '-8')")
check.raises(offers(head .. "A,NMC,8,60,7.4,182,95.50"), "(got 182)")
check.raises(offers(head .. "A,NMC,8,60,7.4,0,95.50"), "soh_pct")
check.raises(offers(head .. "A,NMC,8,60,7.4,82,1e-999"), "price")
check.raises(offers(head .. "A,NMC,8,1e999,7.4,82,95"), "text:2:9")
check.raises(offers(head .. "A,NMC,8,60,9.9,82,95"), "no whole number")
check.raises(offers(head .. "A,NMC,8,6\0000,7.4,82,95"), "NUL")
check.raises(offers(head .. "A,NMC,8,60,7.4,82"), "6 of 7 fields")
check.raises(offers((head:gsub("_ah", "_mah")) .. "A,NMC,8,6,7.4,82,9"),
  "(did you mean 'capacity_ah'?)")
check.raises(offers(head), "no rows")
check.raises(offers(""), "empty")
check.raises(offers((head:gsub("voltage_v", "capacity_ah")) .. "A,NMC,8,6,7,8,9"),
  "named twice")
check.raises(offers((head:gsub("modules", "count,modules")) ..
  "A,NMC,8,8,60,7.4,82,9"), "both give count")
local dots = head:gsub(",", ";")
check.raises(offers(dots .. "A;NMC;8;60,5;7,4;82;95,50"), "decimal = ','")
check.equal(amp.offers.text(dots .. "A;NMC;8;1.000,0;7,4;82;95,50",
  { decimal = "," })[1].module.capacity_ah.value, 1000, "never 1.0")
check.equal(amp.offers.text(dots .. "A;NMC;8;60,5;7,4;82;95,50",
  { decimal = "," })[1].module.capacity_ah.value, 60.5)

local function load_of (text)
  return function () return amp.profile.text(text) end
end
check.raises(load_of("time_s,load_w\n0,5\n900,\n1800,5"), "text:3:5: a gap")
check.raises(load_of("time_s,load_w\n0,5\n900,5\n450,5"),
  "text:4:1: time goes back here (got '450')")
check.raises(load_of("time_s,load_w\n0,5\n900,5\n900,5"), "time repeats here")
check.raises(load_of("time_s,load_w\n0,5\n900,-5\n1800,5"), "text:3:5: negative")
check.raises(load_of("time_s,power_w\n0,5\n900,5"),
  "unknown column 'power_w'")
check.raises(function () amp.profile.csv("no such file.csv") end,
  "no such file.csv")

-- sums over currencies need a rate: the row says so, the others stand
local duty = amp.profile.daily{ load_kwh = 3, temp_c = 15 }
local need = amp.need{ currency = "EUR", duty = duty,
  inverter = amp.inverter{ v_min = 20, v_max = 60 } }
local t = amp.compare({ offer{ name = "in dollars", currency = "USD" }(),
  offer{}() }, need, { draws = 1 })
check.equal(t[1].total, nil)
check.has(t:cell(1, "total").why, "no rate from USD to EUR")
check.ok(t[2].total ~= nil)
local rated = amp.compare({ offer{ currency = "USD" }() },
  need:with{ rates = { USD = 0.88, dated = "2026-07-01" } }, { draws = 1 })
check.close(rated[1].landed, 2950 * 0.88, 1e-9)

-- a key that was not given reads as nil, one that is another object's too;
-- one that is nearly a key is a slip
check.equal(amp.inverter{ v_min = 42, v_max = 58 }.refused, nil)
check.equal(amp.inverter{ v_min = 42, v_max = 58 }.power_w, nil)
check.raises(function () return amp.inverter{ v_min = 42, v_max = 58 }.v_mn end,
  "inverter: no key 'v_mn' (did you mean 'v_min'?)")

check.done()
