--- The sheet for the bench: what it says of a pack, in text, Markdown and
-- HTML. Readings are invented; figures worked by hand stand beside each check.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"
local invented = require "invented"

local function F (text) return (tostring(text):gsub("%s+", " ")) end

local pouch = amp.module{ name = "7s2p pouch", chemistry = invented.curve,
  series = 7, parallel = 2, nominal_v = 25.55, mass_kg = 17.5,
  capacity_ah = amp.claimed(112) }
local lot = amp.readings.text(invented.pallet, { module = pouch, sep = ";",
  columns = { ah = "ah_c3_25c" } })
lot = lot:with("6", { r10s_mohm = 2.0 }):accepted()
local plan = amp.match(lot, { series = 2, parallel = 5 })
local pack = plan:pack{ cell_v_min = 3.30, cell_v_max = 4.10 }
local sheet = pack:sheet()
local text = sheet:text()
check.equal(text, tostring(sheet), "print shows the text")

-- each module once in the plan, by the order of the plan
local drawn = text:match("PLAN\n(.-)VOLTAGES")
for s, ids in ipairs(plan.string_first.strings) do
  check.ok(drawn:find("string " .. s .. "%s+%-|%-%-%[%- +" .. ids[1] ..
    " %+%]%-%-%[%- +" .. ids[2] .. " %+%]"), "string " .. s .. " as matched")
end

-- 9 stands at 25.40 / 7 = 3.6286 V, 41.71 %; the middle of the ten, 25.75 V,
-- at 51.07 %: 9.36 % of 93.75 Ah = 8.8 Ah
check.has(F(text), "Module 9 alone: put in 8.8 Ah?; after a rest 25.75 V.")
check.has(text, "+8.8?", "and in the table")
check.has(text, "charge_not_level")
-- each string at its last module, 25.76 + 25.74 V; 14 x 4.10 and 3.30 V
check.has(F(text), "4 1.2 25.74 51 level 25.74 ______ 51.50 ______")
check.has(F(text), "Each module: 23.10 V empty, 28.70 full; each string " ..
  "46.20, 57.40.")
check.equal(select(2, text:gsub("Module %w+ alone", "")), 1, "9 and no other")
check.has(F(text), "string-first. 57.4 V full, 46.2 V empty, 14 groups")
-- 14 x 4.18 (the curve's end) and 3.00 V; 14 x 4.10 and 3.30 V
check.has(text, "charger: full, no equalising                     4.10    57.4")
check.has(text, "inverter: cuts out                               3.30    46.2")
-- counted from the pack: 5 links, 10 leads, 20 terminals, a board a string
check.has(F(text), "5 links, 10 leads, 2 bars, 20 joints on terminals.")
check.has(F(text), "5 BMS, 14 groups, 15 wires each to be chosen")
check.has(F(text), "5 string fuses, at the terminal to be chosen")
check.has(F(text), "Not given: inverter, main cable, main fuse, BMS, place " ..
  "and duty.")
check.has(F(text), "A competent electrician, the insurer and the local " ..
  "authority decide.")
check.has(F(text), "the other strings carry 25 % more", "one of five lost")
for line in text:gmatch("[^\n]+") do
  check.ok(#line <= 78, "at most 78 columns: " .. line)
end
for _, word in ipairs{ "safe", "compliant", "guaranteed" } do
  check.ok(not text:lower():find("%f[%a]" .. word .. "%f[%A]"), word)
end

-- what was given is on it: sizes, lengths, 19.8 J of 12 mF at 57.4 V
local full = pack:sheet{
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, surge_w = 6000, efficiency_pct = 92, idle_w = 32,
    capacitance_uf = 12000 },
  cable = amp.cable{ one_way_m = 1.8, area_mm2 = 50, ampacity_a = 150 },
  fuse = amp.fuse{ rating_a = 100, voltage_v = 80, interrupt_ka = 20 } }
local given = F(full)
check.has(given, "3.6 m main cable, 4 lugs, 2 more a switch 50 mm2", "there and back")
check.has(given, "main fuse, nearest the bar 100 A, 80 V DC, 20 kA")
check.has(given, "19.8 J a pulse")
check.has(given, "inverter: never above 60.0")
check.has(given, "interrupt_below_short")
check.has(given, "Not given: BMS, place and duty.")
check.has(given, "things could not be looked at: pack:check says which")
local raised = 0
for _, row in ipairs(pack:check{}) do
  raised = raised + 1
  check.has(F(text), row.caution .. " " .. F(row.what), "as pack:check has it")
end
check.ok(raised >= 3, "several")
check.has(F(pack:sheet{ cable = amp.cable{ one_way_ft = 10, awg = "2/0" } }),
  "6.1 m main cable, 4 lugs, 2 more a switch 2/0 AWG")
check.has(F(pack:sheet{ precharge = amp.precharge{ v = 57.4,
  capacitance_uf = 12000, current_a = 2 } }), "28.7 ohm, 19.8 J a pulse")
check.has(F(pack:sheet{ inverter = amp.inverter{ v_min = 45, v_max = 58,
  power_w = 3000, efficiency_pct = 92 } }), "to be chosen: 100 A",
  "72.5 A by 1.25, the next size")

-- the least of fuse, cable and BMS lasts; the charger stops where the inverter
-- ends; what is usable lies inside its window; what does not fit is marked
local eight = amp.module{ chemistry = "nmc111", series = 8, capacity_ah = 112 }
local six = amp.pack{ module = eight, series = 2, parallel = 3 }
local thin = { cable = amp.cable{ one_way_m = 2, area_mm2 = 16,
    ampacity_a = 70 },
  fuse = amp.fuse{ rating_a = 125, voltage_v = 80, interrupt_ka = 20 } }
local function thin_with (more)
  local o = {}
  for key, value in pairs(thin) do o[key] = value end
  for key, value in pairs(more) do o[key] = value end
  return six:sheet(o)
end
check.has(F(six:sheet(thin)), "Current that lasts: under 70 A, the cable's.")
check.has(F(six:sheet{ fuse = thin.fuse }), "under 125 A, the fuse's. Not " ..
  "counted in that: cable and links.")
check.has(F(thin_with{ bms = { discharge_a = 60, charge_a = 40 } }),
  "under 60 A, the BMS's; charging under 40 A, the BMS's.")
check.has(F(thin_with{ bms = amp.bms{ discharge_a = 100, charge_a = 20,
  each_string = true } }), "under 70 A, the cable's; charging under 60 A, 3 " ..
  "BMS's.")
check.has(F(thin_with{ fuse = thin.fuse:with{ rating_a = 63 } }),
  "under 63 A, the fuse's.")
local shy = amp.inverter{ v_min = 42, v_max = 60, v_abs_max = 64,
  power_w = 2000, surge_w = 4000, efficiency_pct = 92, idle_w = 10,
  capacitance_uf = 12000 }
local low = thin_with{ inverter = shy }
-- 60 V over 16 groups
check.has(F(low), "charger: full, no equalising, the inverter's v_max 3.75 60.0")
check.has(F(low), "inverter: cuts out 3.30 52.8")
check.has(F(thin_with{ inverter = shy:with{ v_min = 54.4 } }),
  "inverter: cuts out, its v_min 3.40 54.4")
check.has(F(thin_with{ inverter = shy:with{ v_min = 66, v_max = 70,
  v_abs_max = 75 } }), "charger: not settable: see series_not_reachable - -")
local left = six:check{ inverter = shy }.usable_kwh
check.ok(left < 0.7 * six.usable_kwh, "much lies above 60 V")
check.has(F(low), string.format("usable %.1f kWh inside the inverter's " ..
  "window (%.1f by the pack's)", left, six.usable_kwh))
check.has(F(low), string.format("%.2f of %.1f kWh stay", left * 2 / 3, left))
check.has(F(low), "125 A, 80 V DC, 20 kA; does not fit: fuse_above_cable")
check.has(F(thin_with{ fuse = thin.fuse:with{ voltage_v = 60 } }),
  "fuse_above_cable, fuse_voltage_below_full")
check.has(F(thin_with{ inverter = shy:with{ power_w = 4000 } }),
  "16 mm2; does not fit: cable_below_load, fuse_above_cable")
check.ok(not given:find("not fit: fuse_", 1, true) and
  given:find("20 kA; does not fit: interrupt_below_short", 1, true),
  "what fits is not marked")

-- a BMS that was given is printed as it is set, with the cell's own limit
-- beside a setting that passes it; 16 groups
check.has(F(thin_with{ bms = { cell_v_min = 3.00, cell_v_max = 4.15,
  charge_min_c = 2, each_string = true } }), "BMS cuts charge, as given " ..
  "4.15 66.4 charger: full, no equalising 4.10 65.6 inverter: cuts out 3.30 " ..
  "52.8 BMS cuts discharge, as given 3.00 48.0")
local lax = F(thin_with{ bms = { cell_v_min = 2.60, cell_v_max = 4.25,
  charge_min_c = -5, discharge_a = 60 } })
check.has(lax, "BMS cuts charge, as given: above the cell's 4.20 V 4.25 68.0")
check.has(lax, "cuts discharge, as given: below the cell's 2.70 V 2.60 41.6")
check.has(lax, "This BMS lets no charge begin below -5 C: too cold, no " ..
  "charging below 0 C in the coldest cell.")
check.has(lax, "given: 2.60 to 4.25 V, 60 A out; does not fit: bms_beyond_cell")
check.has(F(thin_with{ bms = { cell_v_max = 4.05, charge_min_c = 2 } }),
  "BMS cuts charge, as given: inside the window 4.05 64.8")
check.has(F(thin_with{ bms = { cell_v_max = 4.15, charge_min_c = 2 } }),
  "BMS cuts discharge, not given: within the cell's own limit 2.70 43.2")
check.has(F(thin_with{ bms = { charge_min_c = 2 } }),
  "This BMS lets no charge begin below 2 C in the coldest cell.")
check.has(F(thin_with{ bms = {} }), "No charging below 0 C in the coldest " ..
  "cell: at which temperature this BMS stops is not given.")

-- parts as plain tables of the same keys
check.equal(F(six:sheet{ inverter = { v_min = 42, v_max = 60, v_abs_max = 64,
  power_w = 2000, surge_w = 4000, efficiency_pct = 92, idle_w = 10,
  capacitance_uf = 12000 }, cable = { one_way_m = 2,
  area_mm2 = 16, ampacity_a = 70 }, fuse = { rating_a = 125, voltage_v = 80,
  interrupt_ka = 20 } }), F(low), "the same page")
check.raises(function () six:sheet{ cable = { one_way_m = 2, area_mm = 16 } }
end, "did you mean 'area_mm2'?")

-- parallel-first: levels, one board, links between levels
local side = plan:pack{ order = "parallel_first", cell_v_min = 3.30,
  cell_v_max = 4.10 }:sheet()
check.has(F(side), "4 bars, 1 link in series, 20 joints on terminals.")
check.has(F(side), "1 BMS, 14 groups, 15 wires")
check.has(F(side), "Level 2: join ")
check.has(F(side), "A failed module leaves its level to the others")
check.has(F(side), "10 module fuses, at the terminal")

-- the other forms hold the same
local html = sheet:html()
check.has(html, "@page{size:A4", "for one sheet of A4")
check.has(html, "<svg ", "with the plan drawn")
check.has(html, "default-src 'none'", "and nothing from elsewhere")
for _, word in ipairs{ "<script", "http:", "https:", "url(", "<img" } do
  check.ok(not html:find(word, 1, true), "no " .. word)
end
check.equal(select(2, html:gsub('class="box"', "")),
  select(2, text:gsub("%[ %]", "")), "a box for each step")
check.has(sheet:markdown(), "- [ ] Module 9 alone")
check.equal(html, pack:sheet():html(), "the same bytes again")

-- ids and titles are text, whatever stands in them
local odd = amp.pack{ module = pouch:with{ name = '<b>&"9"', cell_v_min = 3.3,
  cell_v_max = 4.1 }, series = 1, parallel = 1 }:sheet{ title = "<i>|x" }
check.has(odd:html(), "&lt;b&gt;&amp;&quot;9&quot;")
check.ok(not odd:html():find("<b>", 1, true), "no markup from a name")
check.has(odd:markdown(), "# \\<i\\>\\|x")
local steering = amp.pack{ name = "a\27]0;b\7\xc2\x9bc", module = pouch:with{
  name = "x\ny\xff", cell_v_min = 3.3, cell_v_max = 4.1 }, series = 1,
  parallel = 1 }:sheet()
for _, form in ipairs{ steering:text(), steering:html() } do
  check.ok(not form:find("[\27\7\xff]") and not form:find("\xc2\x9b", 1, true),
    "nothing steers a terminal")
  check.has(form, "x y?", "one line")
end
check.raises(function () return pack:sheet{ title = "a\nb" } end, "one line")

-- modules alike have no names: by their places; readings by id
local plain = amp.pack{ module = pouch:with{ cell_v_min = 3.3,
  cell_v_max = 4.1 }, series = 2, parallel = 2 }
check.has(F(plain:sheet()), "4 modules of 4 without a reading")
check.has(F(plain:sheet()), "1.2 is the second of the first string")
check.has(F(plain:sheet()), "its first current is not told")
local named = {}
for i, id in ipairs{ "1", "2", "3", "4" } do
  named[i] = pouch:with{ name = id, cell_v_min = 3.3, cell_v_max = 4.1,
    r10s_mohm = amp.measured(2) }
end
local own = amp.pack{ strings = { { named[1], named[2] },
  { named[3], named[4] } } }
check.has(own:sheet{ lot = lot }:text(), "25.74", "as the lot has it")
check.has(F(own:sheet{ lot = lot }),
  "All modules stand within 2 % of charge: nothing to put in.")
check.ok(not own:sheet():text():find("25.74", 1, true), "else unread")

-- LFP between its knees: full first; over 60 V: said; 160 modules: no list
local iron = amp.module{ chemistry = "lfp", series = 8, capacity_ah = 105 }
check.has(F(amp.pack{ module = iron, series = 2, parallel = 2 }:sheet()),
  "Bring every module full by itself")
local large = F(amp.pack{ module = iron, series = 4, parallel = 40 }:sheet())
check.has(large, "above_60_v the full pack has 110 V")
check.has(large, "320 covers, bolts, washers")

-- names of 20 and of 40 letters, umlauts among them: no line passes 78
-- columns, and what is shortened stands whole below with its place
local function fits (page, what)
  for line in tostring(page):gmatch("[^\n]+") do
    check.ok(utf8.len(line) <= 78, what .. ": " .. line)
  end
end
for _, letters in ipairs{ 20, 40 } do
  local long, rest = {}, ("\u{fc}bel"):rep(letters // 4 - 2)
  for i = 1, 4 do
    long[i] = pouch:with{ cell_v_min = 3.3, cell_v_max = 4.1,
      r10s_mohm = amp.measured(2), name = ("S\u{e4}ure %d "):format(i) ..
      rest }
  end
  local page = amp.pack{ strings = { { long[1], long[2] },
    { long[3], long[4] } } }:sheet()
  fits(page:text(), "a name of " .. letters)
  check.has(page:text(), "S\u{e4}ure 1 ")
  check.has(page:text(), "In full:\n  1.1 S\u{e4}ure 1 " ..
    rest .. "\n  1.2 ")
  check.has(page:text(), "..  1.1")
  check.has(page:markdown(), "1 " .. rest .. " |")
end
check.ok(not text:find("In full:", 1, true), "none is shortened here")

-- what is set is told at the terminals, what is a charge at rest. 95 % of LFP
-- rests at 3.343 V (16 x = 53.5), nothing to charge to: common practice has
-- 3.45 V (docs/model/chemistry.md), 55.2 V. 10 % rests at 3.203 V = 51.2 V,
-- and the cut-out lies where check's surge leaves it.
local part = iron:with{ soc_min_pct = 10, soc_max_pct = 95,
  r10s_mohm = amp.measured(4) }
local flat = amp.pack{ module = part, series = 2, parallel = 2 }
local strong = { v_min = 42, v_max = 56, v_abs_max = 60, power_w = 5000,
  surge_w = 12000, efficiency_pct = 93, capacitance_uf = 12000 }
local seen, said = flat:check{ inverter = strong }, flat:sheet{
  inverter = strong }
check.close(seen.v_full, 55.2, 1e-9)
check.close(seen.v_empty, 51.248, 1e-9)
check.ok(seen.v_surge < seen.v_load and seen.v_load < seen.v_empty, "sags")
check.has(F(said), "53.5 V full at rest (55.2 V charging), 51.2 V empty at rest")
check.has(F(said), "charger: full, no equalising, common practice 3.45 55.2")
check.has(F(said), "empty at rest, 10 % 3.20 51.2 inverter: cuts out, under " ..
  string.format("load %.2f %.1f", seen.v_surge / 16, seen.v_surge))
check.has(F(said), string.format("full load leaves %.1f V, a surge of seconds %.1f V",
  seen.v_load, seen.v_surge))
check.has(F(said), "no voltage stands for 95 % of charge")
check.has(F(said), "to stay at 95 % somebody has to count Ah")
check.has(F(said), "over 55.2 V DC")
for _, word in ipairs{ "Charger: ", "Cut-out: " } do
  check.has(said:text(), "\n" .. word, "a paragraph of its own")
  check.has(said:html(), '<p class="note">' .. word)
  check.has(said:markdown(), "\n\n" .. word)
end
check.has(F(flat:sheet()), "inverter: cuts out, at rest: see below 3.20 51.2")
check.has(F(flat:sheet()), "full by itself, 27.60 V until the current is small,")
check.has(F(amp.pack{ module = part:with{ soc_min_pct = 35 }, series = 2,
  parallel = 2 }:sheet()), "inverter: cuts out, common practice 3.00 48.0")
check.has(F(flat:sheet{ inverter = strong, bms = { cell_v_min = 3.15 } }),
  "inverter: cuts out, above the BMS cut > 3.15 > 50.4")
-- a BMS inside the window: the charger stays below its cut, the cut-out above,
-- and the page doesn't say that the trip is the last resort as if it were
local inner = flat:sheet{ inverter = strong, bms = { cell_v_min = 3.15,
  cell_v_max = 3.38 } }
check.has(F(inner), "BMS cuts charge, as given: inside the window 3.38 54.1 " ..
  "charger: full, below the BMS cut < 3.38 < 54.1")
check.has(F(inner), string.format("This one, as given, comes before or with " ..
  "a charge to 3.45 and a cut-out at %.2f V a group, which the pack's " ..
  "window wants: set one of them otherwise.", seen.v_surge / 16))
check.has(F(inner), "Charger: below the BMS cut of 3.38 V a group it ends under " ..
  "common practice (no source), 3.45: it may neither fill")
check.ok(not F(inner):find("It fills the cells", 1, true), "nor that it fills")
-- at the cut is too late; a hundredth inside it is not
local volt = amp.pack{ module = iron, series = 2, parallel = 2,
  cell_v_min = 3.0, cell_v_max = 3.5 }
check.has(F(volt:sheet{ bms = { cell_v_min = 3.0, cell_v_max = 3.5 } }),
  "charger: full, below the BMS cut < 3.50 < 56.0 inverter: cuts " ..
  "out, above the BMS cut > 3.00 > 48.0")
local outer = F(volt:sheet{ bms = { cell_v_min = 2.99, cell_v_max = 3.51 } })
check.has(outer, "charger: full, no equalising 3.50 56.0 inverter: cuts out " ..
  "3.00 48.0")
check.has(outer, "A BMS trip is the last resort, not the daily limit.")
check.ok(not outer:find("This one, as given", 1, true), "nothing crosses")
-- an inverter that ends below practice; an end beyond the knee; out of reach
local shortly = F(flat:sheet{ inverter = { v_min = 42, v_max = 54,
  power_w = 3000 } })
check.has(shortly, "charger: full, no equalising, the inverter's v_max 3.38 54.0")
check.has(shortly, "ends at 3.38 V a group, common practice (no source) at " ..
  "3.45: it may neither fill these cells nor balance them.")
check.ok(not shortly:find("It fills the cells", 1, true), "nor says it does")
local brim = F(flat:with{ soc_max_pct = 100 }:sheet())
check.has(brim, "charger: full, no equalising, 100 % at rest 3.60 57.6")
check.has(brim, "common practice (no source) ends at 3.45 V a group")
check.ok(not F(flat:sheet{ inverter = { v_min = 90, v_max = 120,
  power_w = 3000 } }):find("Charger: ", 1, true), "nothing to say out of reach")
-- an end below the flat part: 20 % of LFP rests at 3.241 V (51.9 V), and 55.2
-- V would fill what is to stay low; full by itself, before it is joined, still
local lowly = flat:with{ soc_min_pct = 5, soc_max_pct = 20 }
local stay = F(lowly:sheet{ inverter = strong })
check.has(stay, "charger: 20 % at rest; no voltage holds it 3.24 51.9")
check.has(stay, "Charger: no voltage setting holds 20 % of charge: 3.24 V a")
check.has(stay, "51.9 V full at rest, ")
check.ok(not stay:find("charger: full", 1, true), "is not told to fill it")
check.has(stay, "full by itself, 27.60 V until the current is small,")
check.has(stay, "over 55.2 V DC")
check.close(lowly:check{ inverter = strong }.v_full, 16 * 3.241, 0.02)
local lows = amp.layouts(part:with{ soc_min_pct = 5, soc_max_pct = 20 },
  amp.inverter(strong))
check.close(lows[2].v_full, 16 * 3.241, 0.02)
-- what the inverter's v_max takes of the setting is said under layouts too
local shy_v = "v_max ends a charge at 3.38 V a group"
check.has(F(amp.layouts(part, amp.inverter{ v_min = 42, v_max = 54,
  power_w = 3000 })), shy_v)
check.ok(not F(amp.layouts(part, amp.inverter(strong))):find("ends a charge",
  1, true), "56 V hold 55.2")

-- volts that were given are settings, whatever the curve
check.has(F(amp.pack{ module = iron, series = 2, parallel = 2,
  cell_v_min = 3.0, cell_v_max = 3.5 }:sheet()),
  "charger: full, no equalising 3.50 56.0 inverter: cuts out 3.00 48.0")
-- 90 and 10 % of nmc111: 4.060 and 3.475 V at rest, by its table
local slope = F(six:with{ soc_min_pct = 10, soc_max_pct = 90 }:sheet{
  inverter = shy })
check.has(slope, "charger: full, no equalising, the inverter's v_max 3.75 60.0")
check.has(slope, "empty at rest, 10 % 3.48 55.6 inverter: cuts out, under load")
check.has(F(six:with{ soc_max_pct = 90 }:sheet()),
  "charger: full, no equalising, 90 % at rest 4.06 65.0")

-- what a failed module leaves, in every shape; the part of a or b is 'each',
-- that of c 90/112 of it. Of strings {a, b} and {c, c} the lesser stays.
local a, b = eight:with{ name = "a" }, eight:with{ name = "b" }
local c = eight:with{ name = "c", capacity_ah = 90 }
local each = amp.pack{ module = eight, series = 1, parallel = 1 }.usable_kwh
local function fails (keys)
  return F(amp.pack(keys):sheet{})
end
local function stays (keys, words, kwh)
  check.has(fails(keys), string.format("A failed module %s: %.2f of ", words,
    kwh), keys.order)
end
for _, keys in ipairs{ { strings = { { a, b } } },
  { module = { a, b }, series = 2, parallel = 1 },
  { module = eight, series = 2, parallel = 1 } } do
  check.has(fails(keys), "A failed module ends all of it: there is no second " ..
    "string.")
  keys.order = "parallel_first"
  check.has(fails(keys), "A failed module that is alone on its level ends all " ..
    "of it.")
end
check.has(F(amp.match(lot, { series = 2, parallel = 1 }):pack{}:sheet{}),
  "A failed module ends all of it", "of a plan")
check.has(F(amp.match(lot, { series = 2, parallel = 1 }):pack{
  order = "parallel_first" }:sheet{}), "alone on its level ends all of it")
check.has(fails{ module = eight, series = 1, parallel = 1 },
  "Failed, the module ends all of it.")
check.has(fails{ strings = { { a, b }, { c } }, order = "parallel_first" },
  "alone on its level ends all of it")
for order, words in pairs{ string_first = "takes its string out",
  parallel_first = "leaves its level to the others" } do
  stays({ module = { eight, eight }, series = 1, parallel = 2, order = order },
    words, each)
  stays({ module = { a, c }, series = 1, parallel = 2, order = order }, words,
    each * 90 / 112)
  stays({ module = { a, b, c, c }, series = 2, parallel = 2, order = order },
    words, 2 * each * 90 / 112)
  stays({ strings = { { a }, { b }, { b } }, order = order }, words, 2 * each)
  check.ok(not fails{ module = { a, b, c, c }, series = 2, parallel = 2,
    order = order }:find("ends all", 1, true), "others carry on")
end
check.has(fails{ module = { a, b }, series = 1, parallel = 2 },
  "the other string carries 100 % more")
check.equal(amp.pack{ module = { a, b }, series = 1, parallel = 2 }:without(
  1).usable_kwh, each, "without a string of a list")

-- wrong calls
check.raises(function () return pack:sheet{ fuze = 1 } end,
  "sheet: unknown key 'fuze' (did you mean 'fuse'?)")
check.raises(function () return pack:sheet{ fuse = 100 } end,
  "sheet: fuse must be amp.fuse{} or a table of its keys (got number)")
check.raises(function () return pack:sheet(5) end, "a table of named keys")
check.raises(function () return sheet:write("sheet.pdf") end,
  "must end in .txt, .md or .html (got sheet.pdf)")
check.raises(function () return sheet.txt end, "did you mean 'text'?")
check.raises(function () sheet.title = "x" end, "a sheet never changes")
check.raises(function () return sheet.text{} end, "call it with a colon")
check.done()
