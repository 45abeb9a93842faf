--- Bad input: damaged files and impossible values are refused with their
-- place, and nothing is guessed. The files are written out here as texts;
-- what must happen stands beside each. All invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local header = "offer,cell,modules,capacity_ah,voltage_v,soh_pct,price_eur\n"
local good = "A,NMC,8,60,7.4,82,95.50\n"
local options = { columns = { price_lot = "price_eur" } }

local function read (text, changes)
  local opts = { columns = options.columns }
  for key, value in pairs(changes or {}) do opts[key] = value end
  return amp.offers.text(text, opts)
end

-- refused, at the line of this file, with the place in the text
local function refused (text, words, what, changes)
  local at = debug.getinfo(2, "l").currentline
  local ok, message = pcall(read, text, changes)
  if not check.ok(not ok, "line " .. at .. ": should have raised") then
    return ""
  end
  for _, part in ipairs(type(words) == "table" and words or { words }) do
    check.has(message, part, what or "line " .. at)
  end
  check.has(message, "test_badinput.lua:", "the script's line")
  check.ok(not message:find("[\0-\8\14-\31\127]"), "no control bytes")
  return message
end

-- plain_ok.csv: the control case
local plain = read(header .. good .. "B,LFP,12,100,12.8,91,140\n")
check.equal(#plain, 2)
check.equal(plain[1].name, "A")
check.equal(plain[1].count, 8)
check.equal(plain[1].price_lot, 95.5)
check.equal(plain[1].module.series, 2, "7.4 V of NMC are two groups")
check.equal(plain[2].module.series, 4)
check.close(plain[1].nameplate_kwh, 8 * 7.4 * 60 / 1000, 1e-9)

-- nul_bytes.csv: never 6 Ah for 60
refused(header .. "A,NMC,8,6\0000,7.4,82,95.50\n", { "text:2:", "NUL byte" })
-- huge_exponent.csv
refused(header .. "A,NMC,8,1e999,7.4,82,95.50\n",
  { "text:2:9:", "1e999", "out of range" })
refused(header .. "B,LFP,12,100,12.8,91,1e-999\n",
  { "text:2:", "price_", "1e-999" }, "a price that is nothing")
refused(header .. "C,LFP,12,-1e400,12.8,91,140\n", { "text:2:", "-1e400" })
-- ragged.csv
refused(header .. "A,NMC,8,60,7.4,82\n", { "text:2:", "6 of 7 fields" })
refused(header .. good .. "B,LFP,12,100,12.8,91,140,extra,more\n",
  { "text:3:", "9" })
check.equal(#read(header .. good .. "\n" .. "C,LFP,4,50,12.8,88,70\n"), 2,
  "a blank line is skipped")
-- bom.csv, crlf.csv, no_final_newline.csv
check.equal(read("\xEF\xBB\xBF" .. header .. good)[1].name, "A")
local crlf = read((header .. good):gsub("\n", "\r\n") .. "")
check.equal(#crlf, 1)
check.equal(crlf[1].price_lot, 95.5)
check.equal(#read(header .. good:sub(1, -2)), 1)
-- negative_capacity.csv
refused(header .. "A,NMC,8,-60,7.4,82,95.50\n",
  { "text:2:9:", "capacity_ah", "-60" })
refused(header .. "B,LFP,-12,100,12.8,91,140\n",
  { "text:2:7:", "count", "-12" })
refused(header .. "C,LFP,4,50,-12.8,88,70\n", { "text:2:", "-12.8" })
refused(header .. "C,LFP,2.5,50,12.8,88,70\n", { "whole number", "2.5" })
-- unit_mixup.csv: 60000 never counts as Ah
refused((header:gsub("capacity_ah", "capacity_mah")) ..
  "A,NMC,8,60000,7.4,82,95.50\n",
  { "text:1:", "'capacity_mah'", "did you mean 'capacity_ah'?" })
refused(header .. "A,NMC,8,60000,7.4,82,95.50\n", { "text:2:9:", "60000" })
-- duplicate_headers.csv
refused((header:gsub("voltage_v", "capacity_ah")) .. good,
  { "text:1:", "named twice", "columns 4 and 5" })
-- locale_commas.csv: read with the option, else refused with the hint
local commas = header:gsub(",", ";") .. "A;NMC;8;60,5;7,4;82;95,50\n"
refused(commas, { "text:2:9:", "60,5", "decimal = ','" })
local read_commas = read(commas, { decimal = "," })
check.equal(read_commas[1].price_lot, 95.5)
check.close(read_commas[1].nameplate_kwh, 8 * 7.4 * 60.5 / 1000, 1e-9,
  "60,5 is neither 60 nor 605")
local marks = read(commas .. "B;LFP;12;1.000,0;12,8;91;1.140,00\n",
  { decimal = "," })
check.close(marks[2].module.capacity_ah.value, 1000, 0, "never 1.0")
check.equal(marks[2].price_lot, 1140)
-- excel_quotes.csv: comma, quotes and line break stay data
local quoted = read(header ..
  '"A, the ""blue"" lot",NMC,8,60,7.4,82,"95.50"\n' ..
  '"B\nsecond line",LFP,12,"100",12.8,91,140\n')
check.equal(#quoted, 2)
check.equal(quoted[1].name, 'A, the "blue" lot')
check.equal(quoted[2].name, "B\nsecond line")
check.equal(quoted[2].price_lot, 140)
-- soh_out_of_range.csv
-- (0.82 is taken as 0.82 % with a warning: check_badinput.sh)
check.equal(read(header .. "A,NMC,8,60,7.4,0.82,95.50\n")[1].soh_pct, 0.82)
refused(header .. "B,LFP,12,100,12.8,182,140\n", { "text:2:", "182" })
refused(header .. "C,LFP,4,50,12.8,-5,70\n", { "text:2:", "-5" })
refused(header .. "D,LFP,4,50,12.8,0,70\n", { "text:2:", "soh_pct", "0" })
-- empty.csv, header_only.csv
refused("", "empty")
refused(header, "no rows")
-- long_line.lua (a smaller one: the whole is in check_badinput.sh)
refused("offer,price_eur\n\"" .. ("x"):rep(100000), { "text:2:", "field" })
-- what is cut to 40 characters, and what a terminal would obey
local message = refused(header .. "A,NMC,8," .. ("9x"):rep(300) ..
  ",7.4,82,1\n", "9x9x")
check.ok(not message:find(("9x"):rep(21), 1, true), "it is cut to 40 characters")
check.ok(#message < 600, "and the whole stays short")
refused(header .. "A,NMC,8,\27[2J60,7.4,82,1\n", "\\x1b")
-- other words
refused(header .. "A,nickel,8,60,7.4,82,95.50\n", { "text:2:", "nickel" })
refused(header .. "A,NMC,8,60,5.5,82,95.50\n", { "text:2:", "5.5" })
refused("offer,module,count,price_each\nA,7s2p,3,200\n", "7s2p", nil,
  { modules = {} })
refused(header .. good, "unknown key 'colums'", nil, { colums = {} })

-- load_gap.csv, load_backwards.csv
local function duty_refused (rows, words)
  local ok, why = pcall(amp.profile.text, "time_s,power_w\n" .. rows,
    { columns = { load_w = "power_w" } })
  check.ok(not ok, "should have raised")
  for _, part in ipairs(words) do check.has(why, part) end
  check.has(why, "test_badinput.lua:")
end
duty_refused("0,500\n900,520\n1800,\n", { "text:4:", "gap" })
duty_refused("0,500\n900,520\n1800,nan\n2700,510\n", { "text:4:", "nan" })
duty_refused("0,500\n900,520\n450,530\n", { "text:4:", "time goes back" })
duty_refused("0,500\n900,520\n1800,530\n1800,510\n",
  { "text:5:", "time repeats" })
duty_refused("0,500\n900,-200\n1800,530\n", { "text:3:", "negative" })
duty_refused("0,500\n900,520\n2000,530\n", { "text:4:", "gap" })
check.raises(function () amp.profile.text("time_s,lod_w\n0,1\n", {}) end,
  "did you mean 'load_w'?")

-- ---- what a script says itself: named at its own line ----
local module = amp.module{ name = "M", chemistry = "nmc111", series = 7,
  parallel = 2, capacity_ah = 112, soh_pct = 80, mass_kg = 17.5,
  soh_end_pct = 60, soc_min_pct = 5, soc_max_pct = 94,
  life_model = amp.life_model{ calendar_pct_per_year = 1.5,
                               cycle_pct_per_efc = 0.008 } }
local function offer_with (changes)
  local keys = { name = "H1", module = module, count = 4, price_lot = 900,
    tax = "included", dud_pct = 0 }
  for key, value in pairs(changes) do keys[key] = value end
  return amp.offer(keys)
end

local function fails (changes, words)
  local ok, why = pcall(offer_with, changes)
  check.ok(not ok, words)
  check.has(why, words)
  check.has(why, 'offer "H1"')
  check.has(why, "test_badinput.lua:")
end
fails({ prise_lot = 3 },
  "unknown key 'prise_lot' (did you mean 'price_lot'?)")
fails({ count = "four" }, "count must be a number (got string)")
fails({ freight = -1 }, "freight must lie in 0")
fails({ dud_pct = 0 / 0 }, "(got nan)")
fails({ tested_ah = math.huge },
  "tested_ah must lie in 0.1 .. 5000 Ah (got inf)")
fails({ price_lot = -math.huge }, "(got -inf)")
fails({ price_each = 318 }, "give price_each or price_lot, not both")
-- with one of the two replaces the other: no contradiction
check.equal(offer_with{}:with{ price_each = 225 }.price_lot, nil)

local need = amp.need{ currency = "EUR", horizon_years = 10,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, efficiency_pct = 92, idle_w = 20 },
  duty = amp.profile.daily{ from_battery_kwh = 2, temp_c = 15 } }

-- a row that cannot be answered keeps its reason, readable by code
local function reason (offer, key, asked)
  local t = amp.compare({ offer_with{ name = "other" }, offer },
    asked or need, { draws = 20 })
  check.ok(t[1].levelised, "the other offer has its answer")
  check.equal(t[2][key], nil, "no number")
  return t:cell(2, key).why
end
-- mixed currencies without a rate
check.has(reason(offer_with{ currency = "USD" }, "total"),
  "no rate from USD to EUR")
local rated = amp.compare({ offer_with{ currency = "USD" } },
  need:with{ rates = { USD = 0.88, dated = "2026-07-01" } }, { draws = 5 })
check.close(rated[1].landed, 900 * 0.88, 1e-9)
-- no SoH: no years; the rest stands
local unknown = amp.module{ name = "U", chemistry = "nmc111", series = 7,
  parallel = 2, capacity_ah = 112, soh_end_pct = 60,
  life_model = amp.life_model{ calendar_pct_per_year = 1.5,
                               cycle_pct_per_efc = 0.008 } }
check.has(reason(offer_with{ module = unknown }, "years"), "SoH")
check.ok(amp.compare({ offer_with{ module = unknown } }, need,
  { draws = 5 })[1].total)
-- a tax status that nobody told
check.has(reason(amp.offer{ name = "T", module = module, count = 4,
  price_lot = 900, dud_pct = 0 }, "total"), "tax")
-- a series count that the window cannot take
check.has(reason(offer_with{ module = module:with{ series = 20,
  nominal_v = 73 } }, "layout"), "V")
local tall = amp.sweep{ over = { series = { 2, 3 } }, draws = 5,
  case = function (c)
    return { pack = amp.pack{ module = module, series = c.series,
      parallel = 2 }, need = need, cost = 900 }
  end }
check.ok(tall[1].years)
check.has(tall:cell(2, "years").why, "60 V")
for _, l in ipairs(amp.layouts(module, amp.inverter{ v_min = 42, v_max = 58,
                                                     v_abs_max = 60 })) do
  check.ok(l.fits or l.why:find("V", 1, true), "each count says why not")
end
check.done()
