--- Readings from the bench: as typed, judged, averaged, joined. The lots are
-- invented; figures worked by hand stand beside each check.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"
local invented = require "invented"

local nickel = amp.chemistry{ name = "invented", interp = "linear",
  ocv_v = { {0, 3.00}, {5, 3.30}, {10, 3.42}, {20, 3.52}, {30, 3.58},
    {40, 3.62}, {50, 3.67}, {60, 3.75}, {70, 3.84}, {80, 3.93}, {90, 4.05},
    {100, 4.18} }, v_min = 3.0, v_max = 4.2 }

-- ---- a pallet of twelve, 7s2p ----

local pallet = invented.pallet
local pouch = amp.module{ name = "7s2p", chemistry = nickel, series = 7,
  parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5,
  tested_ah = amp.measured(93.75) }
local opts = { module = pouch, sep = ";", columns = { ah = "ah_c3_25c" } }
local lot = amp.readings.text(pallet, opts)

check.equal(#lot, 12, "twelve rows")
check.equal(lot:get("3").ah, 96.1, "keys read back")
check.equal(lot:get("4").ah, nil, "a gap stays a gap")
check.has(tostring(lot), "12 modules as read (7s2p).", "it prints")

local j = lot:judge()
local want = { ["5"] = "quarantine", ["6"] = "not judged", ["11"] = "reject" }
for i = 1, #j do
  check.equal(j[i].verdict, want[j[i].id] or "accept", "module " .. j[i].id)
end
check.equal(j.accept, 9, "nine accepted")
check.equal(math.type(j.accept), "integer", "counted")
local said = tostring(j)
check.has(said, "12 modules: 9 accept, 1 not judged, 1 quarantine, 1 reject.")
-- 6 x 3.678 + 2.310 = 24.378, which agrees with 24.38
check.has(said, "11 reject: one group stands at 2.310 V, below 2.500 V, the " ..
  "others at 3.678 V\non average")
check.has(said, '5 quarantine: seen: "white crust at one lower corner".')
check.has(said, "6 not judged: 2.6 mohm is 1.37 times the median 1.9 mohm")
check.has(j[6].why, "its groups are 17 mV apart, the lot's median is 4 mV")
-- 25.40 / 7 = 3.629 V, about 42 % against 51 %
check.has(said, "9 accept: only lower in charge (42 % against 51 %, 3.629 V " ..
  "a group)")
check.has(said, "resistance_retest_times 1.3", "thresholds stand in it")
check.ok(j[11].cautions:find("one_group_discharged", 1, true),
  "cautions by name")
check.close(j[6].spread_mv, 17, 1e-9, "groups of 6 apart")
check.ok(said:find("11 reject", 1, true) < said:find("5 quarantine", 1, true)
  and said:find("5 quarantine", 1, true) < said:find("6 not judged", 1, true),
  "the gravest first")
for _, word in ipairs{ "safe", "compliant", "guaranteed" } do
  check.ok(not said:lower():find(word, 1, true), "no output says " .. word)
end

-- retested, 6 is the tenth: five strings of two
local mended = lot:with("6", { r10s_mohm = 2.0,
  remark = "retested, clean lugs" })
check.equal(#mended:accepted(), 10, "ten after the retest")
check.equal(lot:get("6").r10s_mohm, 2.6, "a lot never changes")
check.equal(#lot:without("5", "11"), 10, "without two")
check.equal(lot:judge{ resistance_retest_times = 1.4 }[6].verdict, "accept",
  "the user's own threshold")
check.has(tostring(lot:judge{ resistance_retest_times = 1.4 }),
  "resistance_retest_times 1.4 (yours)")

-- 96.1 and 91.4: mean 93.75, sd 3.323, 12.706 x 3.323 / sqrt 2 x
-- sqrt(10/12) = 27.26: between 66 and 121
local m = lot:mean("ah")
check.close(m.mean, 93.75, 1e-9, "mean of two")
check.close(m.sd, 3.323, 5e-4, "their spread")
check.close(m.half_width, 27.26, 0.005, "95 % half width")
check.has(tostring(m), "2 of 12 tested: mean 93.8 Ah; for the lot's mean " ..
  "anything between 66.5 and 121\nAh (95 %): not enough, test more.")
check.close(lot:without("11"):mean("ah").of, 12, 0,
  "the lot is what was delivered")
check.has(tostring(lot:mean("temp_c")), "No mean: no reading of the lot has")
check.equal(lot:mean("temp_c").mean, nil, "and no number")
check.has(tostring(lot:without("3"):mean("ah")),
  "One test says nothing of the spread")
check.raises(function () return lot:mean("r10s") end,
  "no reading has 'r10s' (did you mean 'r10s_mohm'?)")

-- joining 9 to 2: 0.35 V / (2.0 + 1.9 + 1.0) = 71 A; (51.07 - 41.71) % of
-- 93.75 Ah / 2 = 4.4 Ah
local join = amp.paralleling(lot:get("9"), lot:get("2"), { lead_mohm = 1.0 })
check.close(join.current_a, 71.4, 0.05, "first current of two readings")
check.close(join.ah, 4.4, 0.05, "charge that moves")
check.close(join.soc_high_pct, 51.07, 0.01, "from")
check.close(join.soc_low_pct, 41.71, 0.01, "to")

-- 93.75 Ah at 31.25 A: 3 h; 12 modules, 5 at a time: 3 rounds
check.close(lot:bench_time{ current_a = 31.25, channels = 5 }.hours, 9, 1e-9,
  "hours on the bench")
check.close(lot:bench_time{ current_a = 31.25, channels = 5, passes = 2,
  rest_h = 1 }.hours, 24, 1e-9, "two passes, an hour of rest each")
check.raises(function () return lot:bench_time{ channels = 2 } end,
  "current_a must be a number above 0")

-- two tests at 5 and 25 C are not alike; two at 20 and 25 C are
local function tested (first)
  return tostring(amp.readings.text("id,ah,temp_c\n1,90," .. first ..
    "\n2,95,25\n"):mean("ah"))
end
check.has(tested("5"), "tests_not_alike  tested between 5 and 25 C")
check.ok(not tested("20"):find("tests_not_alike", 1, true), "20 and 25 are")

-- seller's two of eight, 52.6 and 50.1: 51.35, sd 1.768, 12.706 x 1.768 /
-- sqrt 2 x sqrt(6/8) = 13.8 Ah; two of ten, 33.9 and 31.2: 32.55, 1.909, 15.3
local function two_of (a, b, n)
  local rows = { { id = "1", ah = a }, { id = "2", ah = b } }
  for i = 3, n do rows[i] = { id = tostring(i), ocv_v = 25.6 } end
  return amp.lot{ readings = rows }:mean("ah")
end
check.close(two_of(52.6, 50.1, 8).mean, 51.35, 1e-9, "two of eight")
check.close(two_of(52.6, 50.1, 8).sd, 1.768, 5e-4, "two of eight, sd")
check.close(two_of(52.6, 50.1, 8).half_width, 13.8, 0.05, "two of eight")
check.close(two_of(33.9, 31.2, 10).mean, 32.55, 1e-9, "two of ten")
check.close(two_of(33.9, 31.2, 10).sd, 1.909, 5e-4, "two of ten, sd")
check.close(two_of(33.9, 31.2, 10).half_width, 15.3, 0.05, "two of ten")

-- 36 A; the second group falls 0.1 V each 100 s from 3.25 V and passes 3.0 V
-- after 250 s: 2.5 Ah
local function group (v)
  local rows = { "time_s,current_a,voltage_v" }
  for i = 1, 5 do
    rows[i + 1] = string.format("%d,%d,%.2f", 100 * (i - 1), i == 1 and 0 or
      36, v[i])
  end
  return amp.log.text(table.concat(rows, "\n") .. "\n")
end
local high = group{ 3.60, 3.59, 3.58, 3.57, 3.56 }
local weak = group{ 3.25, 3.15, 3.05, 2.95, 2.85 }
local c = amp.readings.capacity({ high, weak }, { v_end = 3.0 })
check.close(c.ah, 2.5, 1e-9, "ended by the first group")
check.equal(c.first, 2, "which it says")
check.close(c.kwh, 36 * 250 * (3.5875 + 3.125) / 3.6e6, 1e-12, "both groups")
check.has(tostring(c), "2.50 Ah until group 2 reached 3 V a group.")
check.has(tostring(amp.readings.capacity(high, { v_end = 3.0 })),
  "No capacity: no group reaches the limit of 3 V: the charge is at least 4 Ah")
-- a module of two: 6.85 V at first, 6.5 V after 318 s: a bound
local both = group{ 6.85, 6.74, 6.63, 6.52, 6.41 }
local b = amp.readings.capacity(both, { v_end = 3.25, groups = 2 })
check.close(b.ah, 0.01 * (300 + 100 * 0.02 / 0.11), 1e-9, "by the module")
check.has(tostring(b), "At most 3.18 Ah: the module's voltage stood for 2 " ..
  "groups at 3.25 V a group")
check.raises(function () return amp.readings.capacity(high, {}) end,
  "v_end must lie above 0")
check.raises(function () return amp.readings.capacity({}, { v_end = 3 }) end,
  "1 .. 64 logs are wanted")
check.raises(function () return amp.readings.capacity(7, { v_end = 3 }) end,
  "must be a log")

-- ---- eight modules of which nobody opened the lid, 7s1p ----

local mast = amp.readings.text([[
module,OCV (V),R mOhm
A,25.62,14
B,25.60,14
C,25.64,13
D,25.58,15
E,25.61,14
F,24.86,14
G,25.63,
H,25.59,14
]], { module = amp.module{ name = "7s1p", chemistry = nickel, series = 7,
  capacity_ah = amp.claimed(60), tested_ah = amp.measured(51.35) } })
local mj = mast:judge()
for i = 1, #mj do
  check.equal(mj[i].verdict,
    ({ F = "not judged", G = "not judged" })[mj[i].id] or "accept",
    "module " .. mj[i].id)
end
-- six good groups and one: 24.86 - 6 x 25.605/7 = 2.91 V
check.has(mj[6].why, "one group at about 2.91 V. The module's voltage " ..
  "cannot tell: measure its groups")
check.has(mj[7].why, "no resistance: its share of a current has bounds only")
check.has(tostring(mj), "nothing is known of a single\ngroup")
check.equal(#mast:accepted(), 6, "six")

-- F to the other seven: 0.75 V / (14 + 14/7 + 4) = 37.5 A, 0.73 C of 51.35;
-- about 22.5 % of 51.35 Ah x 7/8 = 10.1 Ah
local f = amp.paralleling(mast:without("F"), mast:get("F"),
  { lead_mohm = 4.0 })
check.close(f.current_a, 37.5, 0.005, "F to seven peers")
check.close(f.current_a / 51.35, 0.73, 0.005, "as a C-rate")
check.close(f.ah, 10.1, 0.05, "charge that moves")
check.close(f.soc_high_pct - f.soc_low_pct, 22.5, 0.05, "apart by")

-- G has no resistance: a bound, and it says so
local g = amp.paralleling(mast:get("G"), mast:get("F"), { lead_mohm = 4.0 })
check.equal(g.bound, true, "a missing resistance gives a bound")
check.close(g.current_a, 0.77 / 18e-3, 1e-6, "the most that can flow")

-- ---- what people type ----

local typed = amp.readings.text("id;ocv_v;r10s_mohm;ah\n03;25,76;1,9;?\n" ..
  "3;25,75;n/a;96,1\n", {})
check.equal(typed:get("03").ocv_v, 25.76, "decimal commas are seen")
check.equal(typed:get("3").r10s_mohm, nil, "n/a is a gap")
check.equal(typed:get("03").id, "03", "an id is text")
check.equal(typed:get(3).ocv_v, 25.75, "a number finds its text")
check.raises(function () return typed:get("4") end,
  'no module has the id "4"')
check.raises(function () return typed:judge() end,
  "Chemistry and groups in series are wanted")

local notes = amp.readings.text([[
id    OCV V    group min mV    remark
3     25.76    3679            from the left corner
M4    25.75                    label gone
]])
check.equal(notes:get("3").group_min_v, 3.679, "aligned columns, mV")
check.equal(notes:get("M4").remark, "label gone", "and gaps between them")

local bad = amp.readings.text("id,ocv_v,ah\n1,25.76,90\n2,25.75,-60\n" ..
  "1,25.76,90\n")
check.has(tostring(bad), "line 3 makes no sense: ah must lie in 0.1 .. 5000 " ..
  "Ah (got -60)")
check.has(tostring(bad), "id 1 stands twice")
check.raises(function () return bad:get("2") end, "mend it by lot:with")
check.equal(bad:with("2", { ah = 60 }):get("2").ah, 60, "mended")

local function raises (text, words, o)
  check.raises(function () return amp.readings.text(text, o) end, words)
end
raises("id,ah\n1,-60\n", "text:2:1: no row can be used: ah must lie in")
raises("id,ocv_v\n1,25.7,9\n", "text:2:1: line 2 has 3 fields")
raises("id,ocv_v,ah\n1,26,4,95\n", "line 2 has 4 fields, the header 3: " ..
  "'1,26,4,95': a decimal comma?")
raises("id,volume\n1,2\n", "column 2, 'volume', is not known")
raises("id,R\n1,2\n", "does not say its unit")
raises("id,ocv_v\n1,2\n", "unknown key 'colums' (did you mean 'columns'?)",
  { colums = {} })
raises("id,ocv_v\n1,2\n", "unknown key 'ocv_mv' (did you mean 'ocv_v'?)",
  { columns = { ocv_mv = "x" } })
raises("id,ocv_v\n1,2\n", "decimal must be ',' or '.'", { decimal = ";" })
check.raises(function () return amp.readings.csv("nowhere.csv") end,
  "nowhere.csv")
check.raises(function () return amp.readings.text() end,
  "readings: a text is wanted (got no value)")
check.raises(function () return lot.get() end,
  "get: call it with a colon on a lot, lot:get()")
check.raises(function () return lot:mean{} end, "the key of a reading")
check.raises(function () return lot:bench_time{ current_a = 1/0 } end,
  "current_a must be a number above 0")
raises("id,ah\n1,2\n", "sep and decimal are the same mark",
  { sep = ",", decimal = "," })
check.raises(function () return lot:with("6", { ah = -3 }) end,
  'reading: ah must lie in 0.1 .. 5000 Ah (got -3)')
check.raises(function () return lot:with("6", { amp_hours = 3 }) end,
  "unknown key 'amp_hours'")
check.raises(function () return lot:judge{ resistance_retest_times = 0 } end,
  "resistance_retest_times must lie in 1 .. 10 times (got 0)")
check.raises(function () return lot:judge{ resistance = 2 } end,
  "unknown key 'resistance'")
check.raises(function () lot.of = 3 end, "a lot never changes")

-- a lot may be written in the script as well
local own = amp.lot{ module = pouch, readings = {
  { id = "1", ocv_v = 25.76, r10s_mohm = 1.9 },
  amp.reading{ id = "2", ocv_v = 25.75, r10s_mohm = 1.9 },
  { id = "3", ocv_v = 25.76, r10s_mohm = 1.8, date = "2026-11-25" } } }
check.equal(own:judge().accept, 3, "judged like any other")
check.equal(own:get("3").date, "2026-11-25", "with its date")
check.raises(function () return amp.lot{ readings = {
  { id = "1", ocv_v = 25.7 }, { id = "1", ocv_v = 25.7 } } } end,
  "id 1 stands twice")

-- ---- damaged files, where they are at hand ----

local shared = os.getenv("AMPSTEAD_SHARED")
if shared then
  local function read (name, more)
    local o = { columns = { id = "offer", ah = "capacity_ah",
      ocv_v = "voltage_v" }, skip = { "cell", "modules", "soh_pct",
      "price_eur" } }
    for key, value in pairs(more or {}) do o[key] = value end
    return amp.readings.csv(shared .. "/badinput/" .. name .. ".csv", o)
  end
  check.equal(#read("plain_ok"), 2, "the control case")
  check.equal(read("bom"):get("A").ocv_v, 7.4, "a byte order mark")
  check.equal(read("crlf"):get("B").ah, 100, "CR LF")
  check.equal(#read("no_final_newline"), 1, "no final newline")
  check.equal(#read("excel_quotes"), 2, "quotes and a line break in them")
  check.equal(read("locale_commas"):get("A").ah, 60.5, "decimal commas")
  check.has(tostring(read("locale_commas")), "'1.000,0' is not a number")
  for name, words in pairs{ nul_bytes = ":2:", ragged = "line 2 has 6 of 7",
    empty = "empty", header_only = "no rows",
    duplicate_headers = "columns 4 and 5" } do
    check.raises(function () return read(name) end, words, name)
  end
  for name, ids in pairs{ huge_exponent = { "A", "C" },
    negative_capacity = { "A", "C" } } do
    for _, id in ipairs(ids) do
      check.raises(function () return read(name):get(id) end,
        "makes no sense", name .. " " .. id)
    end
  end
  check.raises(function () return read("plain_ok", { skip = {} }) end,
    "'cell', is not known", "an unknown header")
  -- the header's mAh and mV are converted; 100 mAh and 12.8 mV are nonsense
  local mixed = read("unit_mixup", { columns = { id = "offer",
    ah = "capacity_mah", ocv_v = "voltage_mv" } })
  check.equal(mixed:get("A").ah, 60, "60000 mAh are 60 Ah")
else
  print("skipped: damaged files (AMPSTEAD_SHARED is not set)")
end

-- a slip of the typing is asked, quoted as it stands, and goes no further:
-- 7 x 3.301 and the module's 26.40 leave 3.293 V for the lowest group
local iron = amp.module{ name = "8s", chemistry = "lfp", series = 8,
  capacity_ah = amp.claimed(100) }
local lot_of_slips = amp.readings.text("id;OCV V;group min mV;group max mV;R mOhm\n" ..
  "1;26,40;3299;3301;1,9\n2;26,40;3,299;3301;1,9\n3;26,41;3300;3302;1,9\n" ..
  "4;26,40;3300;3301;2,0\n5;26,40;1500;3301;2,0\n6;264;;;2,0\n" ..
  "7;2,64;;;0,002\n8;26,40;330;3301;2,0\n", { module = iron })
local slips = lot_of_slips:judge()
local function why (i) return (slips[i].why:gsub("%s+", " ")) end
for _, i in ipairs{ 2, 5, 6, 7, 8 } do
  check.equal(slips[i].verdict, "not judged", "slip " .. i)
  check.equal(slips[i].group_v, nil, "in no column")
  check.equal(slips[i].spread_mv, nil)
  check.equal(slips[i].soc_pct, nil)
end
local printed = tostring(lot_of_slips)
check.has((printed:gsub("%s+", " ")), "2 line 3: group_min_v makes no sense, " ..
  "check the cell '3,299': 3299 mV, or 3.299 V?")
check.ok(not printed:find("?.", 1, true), "one mark at the end")
check.has(why(2), "line 3: group_min_v makes no sense, check the cell " ..
  "'3,299': 3299 mV, or 3.299 V?")
check.has(why(5), "which lies in 13.801 V .. 24.607 V: a reading error or a " ..
  "group left out; no charge before it is read again")
check.has(why(6), "264 V makes no sense (33.0 V a group, the lot's median is " ..
  "26.400 V); check the cell: module 264 V, or 26.4 V?")
check.has(why(7), "or 26.4 V? No charge before it is read again")
check.has(why(7), "0.002 mohm is below 0.02 mohm: typed in ohm?")
check.equal(slips[7].r10s_mohm, nil, "nor in the column")
check.has(why(8), "check the cell: lowest group 0.33 V, or 3.3 V? No charge")
local slipped = tostring(slips)
check.ok(not slipped:find("never charge it again", 1, true), "no verdict")
check.ok(not slipped:find("?.", 1, true), "and one mark at the end")
check.ok(not slipped:find("3.771", 1, true), "no average that cannot be")

-- what nobody read stands in the first sentences, with its text; what lists
-- know decides, and a plain remark says nothing
local noted = amp.readings.text("id;ocv_v;r10s_mohm;remark\n" ..
  "4;25.76;1.9;Deckel geschmolzen\n5;25.76;1.9;ok\n" ..
  "6;25.76;1.9;blue label\n7;25.76;1.9;blue label\n" ..
  "8;25.76;1.9;hot during charge\n9;25.76;1.9;dropped it once\n" ..
  "10;25.76;;Wasserschaden\n", { module = pouch }):judge()
check.has(tostring(noted):gsub("%s+", " "), "7 modules: 4 accept, 1 not " ..
  "judged, 2 quarantine. 3 accepted modules carry a remark that was not " ..
  'read: 4 "Deckel geschmolzen", 6 7 "blue label": look at them again.')
check.has(tostring(noted), '8 quarantine: seen: "hot during charge".')
check.has(tostring(noted), '9 quarantine: seen: "dropped it once".')
check.has(tostring(noted):gsub("%s+", " "), '10 not judged: no resistance: ' ..
  'its share of a current has bounds only; remark, not read: "Wasserschaden"')
check.has(noted[1].why, 'remark, not read: "Deckel geschmolzen"')
check.equal(noted[2].why, nil, "ok is ok")
check.ok(not said:find("not read", 1, true), "and none, where none is")
-- more texts than a sentence bears are counted
local rows = { "id;ocv_v;r10s_mohm;remark" }
for i = 1, 15 do rows[i + 1] = i .. ";25.76;1.9;Kiste " .. i end
check.has(tostring(amp.readings.text(table.concat(rows, "\n") .. "\n",
  { module = pouch }):judge()):gsub("%s+", " "), '12 "Kiste 12" and 3 more ' ..
  "(lot:judge(), .why): look at them again.")

-- one stands empty beside full ones: told whatever else is said of it
local empty = amp.readings.text("id;ocv_v;group_min_v;group_max_v;" ..
  "r10s_mohm\n1;26.12;3.729;3.733;2.0\n2;26.10;3.727;3.732;2.1\n" ..
  "3;26.11;3.728;3.733;1.9\n4;26.11;3.728;3.733;2.0\n" ..
  "5;20.40;2.91;2.92;2.2\n", { module = pouch }):judge()
check.equal(empty[5].verdict, "not judged")
check.has(empty[5].why, "fewer than 3 readings")
check.has(empty[5].why, "far lower in charge (0 % against")
check.ok(not (empty[1].why or ""):find("far lower", 1, true), "not the others")

-- a row without an id has its line, and no name
local nameless = amp.readings.text("id,ocv_v,r10s_mohm\n1,25.76,1.9\n" ..
  ",25.7,1.9\n", { module = amp.module{ chemistry = "nmc111", series = 7,
  capacity_ah = 112 } }):judge():text()
check.has(nameless, "the row not judged: line 3: id is wanted.")
check.ok(not nameless:find("nil", 1, true))

-- a remark that was cut bars its module, also in a copy of the row, and until
-- a shorter one stands there
local long = amp.readings.text("id,ocv_v,r10s_mohm,remark\n1,25.7,1.9," ..
  ("gut "):rep(60) .. "\n2,25.7,1.9,ok\n", { module = pouch })
check.equal(long:judge().not_judged, 1, "cut")
check.has(long:judge():text(), "remark cut, read the sheet")
check.equal(long:with("1", { r10s_mohm = 1.8 }):judge().not_judged, 1, "still")
check.equal(long:with("1", { remark = "gut" }):judge().not_judged, 0, "put")
check.equal(long:with("2", { remark = ("gut "):rep(60) .. "swollen" })
  :judge().quarantine, 1, "read before it was cut")
check.done()
