--- Which module goes where, from a script. Lots are invented; figures worked
-- by hand stand beside each check.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p", chemistry = "nmc111", series = 7,
  parallel = 2, nominal_v = 25.55, capacity_ah = amp.claimed(112) }

-- rows of {id, ah, r10s_mohm}, all at one voltage
local function lot_of (list, module)
  local rows = {}
  for i, r in ipairs(list) do
    rows[i] = { id = r[1], ah = r[2], r10s_mohm = r[3] or 2.0, ocv_v = 25.7,
      group_min_v = 3.670, group_max_v = 3.673 }
  end
  return amp.lot{ module = module or pouch, readings = rows }
end

-- 100, 90, 80, 70 Ah as 2s2p. Strings (100, 90) (80, 70): 90 + 70 = 160 Ah;
-- positions (100, 70) (90, 80): 170 Ah; x 2 x 25.55 V
local four = lot_of{ { "a", 100 }, { "b", 90 }, { "c", 80 }, { "d", 70 } }
local plan = amp.match(four, { series = 2, parallel = 2 })
check.close(plan.string_first.ah, 160, 1e-9, "string-first")
check.close(plan.parallel_first.ah, 170, 1e-9, "parallel-first")
check.close(plan.parallel_first.kwh, 170 * 51.1 / 1000, 1e-9, "in kWh")
check.ok(plan.string_first.proven and plan.parallel_first.proven, "proven")
check.equal(table.concat(plan.string_first.strings[1], " "), "a b",
  "strings by id")
check.equal(table.concat(plan.parallel_first.positions[1], " "), "a d",
  "positions by id")
-- 160 x 2 of 340 Ah is used: 5.9 % idle
check.close(plan.string_first.unused_pct, 100 * (1 - 320 / 340), 1e-9, "idle")
local text = tostring(plan)
check.has(text, "4 of 4 modules, 2 in series and 2 side by side.")
-- 170 / 160 - 1 is 6.25 % to the bit: up, as tables round and printf does not
check.has(text, "String-first 8.18 kWh, parallel-first 8.69 kWh: 6.3 % more.")
check.has(text, "string / position 1                          a b               a d")
check.has(text, "proven")
for line in text:gmatch("[^\n]+") do
  check.ok(#line <= 78, "at most 78 columns")
end

-- without a: its string is out, 70 Ah are left; in the other order its
-- position keeps the 70 of d
local f = plan:failures()
check.equal(f[1].id, "a", "a row a module")
check.close(f[1].string_first_lost_kwh, 90 * 51.1 / 1000, 1e-9, "a string out")
check.close(f[1].parallel_first_lost_kwh, 100 * 51.1 / 1000, 1e-9,
  "a position weakened")
check.close(f[3].string_first_lost_kwh, 70 * 51.1 / 1000, 1e-9, "c takes 70")
-- two equal strings, one gone: the other carries twice as much
check.close(f[1].string_first_surge_pct, 100, 1e-9, "the others carry")

-- five equal strings, one gone: +25 % each
local ten = {}
for i = 1, 11 do ten[i] = { tostring(i), 93.75, 2.0 } end
local five = amp.match(lot_of(ten), { series = 2, parallel = 5 })
check.close(five:failures()[1].string_first_surge_pct, 25, 1e-9,
  "one of five equal strings")
check.equal(#five.string_first.spares, 1, "eleven, one spare")
check.close(five:failures()[1].string_first_with_spare_kwh, 0, 1e-9,
  "which takes its place")
check.close(five.string_first.kwh, 10 * 25.55 * 93.75 / 1000, 1e-9,
  "10 x 25.55 V x 93.75 Ah = 23.95 kWh")

-- resistance second: 1 with 4, 2 with 3: both strings 3.9 mohm
local r = amp.match(lot_of{ { "1", 90, 1.8 }, { "2", 90, 1.9 },
  { "3", 90, 2.0 }, { "4", 90, 2.1 } }, { series = 2, parallel = 2 })
check.close(r.string_first.stress, 1, 1e-9, "both strings 3.9 mohm")
check.equal(table.concat(r.string_first.strings[1], " "), "2 3",
  "the middle ones together")

-- what is not accepted is left out, and said
local mixed = amp.lot{ module = pouch, readings = {
  { id = "1", ocv_v = 25.7, ah = 90, r10s_mohm = 2 },
  { id = "2", ocv_v = 25.7, ah = 91, r10s_mohm = 2 },
  { id = "3", ocv_v = 25.7, r10s_mohm = 2 },
  { id = "4", ocv_v = 25.7, ah = 92, r10s_mohm = 2, remark = "swollen" } } }
local left = tostring(amp.match(mixed, { series = 1, parallel = 3 }))
check.has(left, "module_not_accepted  left out: 4 (quarantine).")
check.has(left, "Capacity of 1 of 3 modules is not tested: the mean of 3 " ..
  "tested, 91.0 Ah")
check.has(left, "?", "and marked as assumed")
check.raises(function () amp.match(mixed, { series = 2, parallel = 2 }) end,
  "2 in series and 2 side by side are 4 modules, and 3 are accepted (left " ..
  "out: 4 (quarantine))")

-- a remark that nobody read goes on, also through accepted(); a plain one not
local noted = four:with("b", { remark = "aufgebl\u{e4}ht" })
  :with("c", { remark = "label missing" })
for _, of in ipairs{ noted, noted:accepted() } do
  check.has(tostring(amp.match(of, { series = 2, parallel = 2 })),
    'remark_to_read  nobody read: b "aufgebl\u{e4}ht": look at these')
end
check.has(tostring(amp.match(lot_of{ { "x", 98 }, { "y", 78 } },
  { series = 2, parallel = 2, owned = noted:without("c", "d") })),
  'nobody read: b* "aufgebl\u{e4}ht"')
check.ok(not text:find("remark_to_read", 1, true), "and none without")

-- who waits for a reading only, and would make it up: 3 has none
local waiting = amp.lot{ module = pouch, readings = {
  { id = "1", ocv_v = 25.7, ah = 90, r10s_mohm = 2 },
  { id = "2", ocv_v = 25.7, ah = 91, r10s_mohm = 2 },
  { id = "3", ocv_v = 25.7, ah = 90 },
  { id = "4", ocv_v = 25.7, ah = 92, r10s_mohm = 2 },
  { id = "5", ocv_v = 25.7, ah = 92, r10s_mohm = 2, remark = "swollen" } } }
local function flat (x) return (tostring(x):gsub("%s+", " ")) end
for _, of in ipairs{ waiting, waiting:accepted() } do
  check.raises(function () amp.match(of, { series = 2, parallel = 2 }) end,
    "3 are accepted (left out: 3 (not judged), 5 (quarantine)); 3, not " ..
    "judged, would complete them: lot:judge() says what is wanted")
  local short = amp.match(of, { series = 2, parallel = 1 })
  check.has(flat(short), "3, not judged, would complete one more string of 2 " ..
    "with " .. short.string_first.spares[1], "with the spare")
end
check.ok(not flat(amp.match(waiting, { series = 1, parallel = 3 }))
  :find("would complete one more string of 2", 1, true), "no spare, no pair")

-- joining what is owned already: mixed, or in strings of its own. Owned 100
-- and 80, bought 98 and 78: apart 80 + 78 = 158 Ah; mixed (100, 98) (80, 78):
-- 98 + 78 = 176
local owned = lot_of{ { "a", 100 }, { "b", 80 } }
local bought = lot_of{ { "x", 98 }, { "y", 78 } }
local joined = amp.match(bought, { series = 2, parallel = 2, owned = owned })
check.close(joined.string_first.ah, 176, 1e-9, "mixed")
check.close(joined.apart_ah, 158, 1e-9, "apart")
check.has(tostring(joined), "* owned already. String-first, 176 Ah mixed and " ..
  "158 Ah with the owned ones in")
check.has(tostring(joined), "x a*")
check.raises(function ()
  amp.match(bought, { series = 2, parallel = 2, owned = lot_of(
    { { "a", 100 }, { "b", 80 } }, pouch:with{ chemistry = "lfp" }) })
end, "chemistry_mixed: nmc111 of 7 groups and lfp of 7 groups are not joined")

-- more than 24 by chance: the bound is stated
local many = {}
for i = 1, 40 do
  many[i] = { "m" .. i, 90 + (i * 37 % 41) * 0.2371 + (i * 11 % 17) * 0.0713 }
end
local big = amp.match(lot_of(many), { series = 4, parallel = 10 })
check.ok(big.parallel_first.gap_pct <= 0.1, "within 0.1 % of any")
check.ok(big.parallel_first.ah <= big.parallel_first.bound_ah, "bound")
check.has(tostring(big), "within ")

-- a pack of it holds what the plan says
local pack = plan:pack{ order = "parallel_first", cell_v_min = 3.3,
  cell_v_max = 4.1 }
check.close(pack.tested_kwh, plan.parallel_first.kwh, 1e-9, "the same kWh")
check.equal(pack.groups, 14, "14 groups")

check.equal(pack.strings[1][1].name, "a", "with the modules by id")
check.equal(pack.strings[2][1].tested_ah.value, 70, "as they were read")
check.equal(pack.strings[2][1].tested_ah.basis, "measured", "and measured")
check.close(plan:pack{ cell_v_min = 3.3, cell_v_max = 4.1 }.tested_kwh,
  plan.string_first.kwh, 1e-9, "string-first unless said")

-- the window of the plan is the pack's, unless it has its own
local half = amp.match(four, { series = 2, parallel = 2, soc_min_pct = 20,
  soc_max_pct = 70 })
check.close(half.string_first.usable_kwh, half.string_first.kwh / 2, 1e-9,
  "half of the charge")
check.close(half:pack().usable_kwh, half.string_first.kwh / 2, 1e-9,
  "in the pack too")
check.close(half:pack{ soc_max_pct = 95 }.usable_kwh,
  half.string_first.kwh * 0.75, 1e-9, "or the pack's own")
check.ok(not tostring(half):find("usable kWh%s+[%d.]+%?"), "nothing assumed")
check.ok(text:find("usable kWh%s+[%d.]+%?"), "daily limits are assumed")

-- a window of 3.30 to 4.10 V is 5.0 to 93.8 % of the invented curve: of ten
-- at 93.75 Ah 21.28 kWh, of eight 17.03; by hand
local curve = amp.chemistry{ name = "invented", interp = "linear",
  ocv_v = { {0, 3.00}, {5, 3.30}, {10, 3.42}, {20, 3.52}, {30, 3.58},
    {40, 3.62}, {50, 3.67}, {60, 3.75}, {70, 3.84}, {80, 3.93}, {90, 4.05},
    {100, 4.18} }, v_min = 3.0, v_max = 4.2 }
local equal = lot_of(ten, pouch:with{ chemistry = curve })
for strings, want in pairs{ [5] = 21.28, [4] = 17.03 } do
  check.close(amp.match(equal, { series = 2, parallel = strings }):pack{
    cell_v_min = 3.30, cell_v_max = 4.10 }.usable_kwh, want, 0.005,
    strings .. " strings")
end

-- modules of full voltage each need no matching: both orders hold the sum
local full = amp.match(lot_of({ { "1", 33.9 }, { "2", 31.2 }, { "3", 32.5 } },
  pouch:with{ capacity_ah = amp.claimed(37) }), { series = 1, parallel = 3 })
check.close(full.string_first.ah, 97.6, 1e-9, "the sum of all")
check.close(full.parallel_first.ah, 97.6, 1e-9, "in either order")

-- more than a pack lists: equal modules that hold as much
local crowd = {}
for i = 1, 132 do crowd[i] = { "c" .. i, 90 + i % 7 } end
local wide = amp.match(lot_of(crowd), { series = 2, parallel = 66 })
check.close(wide:pack{ order = "parallel_first" }.tested_kwh,
  wide.parallel_first.kwh, 1e-9, "132 modules")

-- modules that stand apart in charge
local low = amp.match(lot_of{ { "1", 90 }, { "2", 90 }, { "3", 90 } }:with("3",
  { ocv_v = 25.40, group_min_v = 3.627, group_max_v = 3.630 }),
  { series = 1, parallel = 3 })
check.has(tostring(low), "charge_not_level  the modules stand between")
check.ok(not text:find("charge_not_level", 1, true), "and not where level")

-- iron phosphate on its plateau: voltages tell no charge, and 33 mV a group
-- are much of it; 8 x 3.300 and 8 x 3.333 V
local function iron (third)
  return amp.match(amp.readings.text("id;ocv_v;group_min_v;group_max_v;" ..
    "r10s_mohm;ah\n1;26.40;3.299;3.301;1.9;95\n2;26.40;3.299;3.301;1.9;96\n" ..
    "3;" .. third .. ";1.9;95\n4;26.41;3.300;3.302;2.0;95\n", { module =
      amp.module{ name = "8s", chemistry = "lfp", series = 8,
        capacity_ah = amp.claimed(100) } }), { series = 2, parallel = 2 })
end
local apart, flat_on = iron "26.66;3.331;3.334", iron "26.40;3.299;3.301"
check.has(flat(apart), "charge_not_level the modules rest between 3.300 and " ..
  "3.333 V a group: on this flat curve 33 mV may be much of the charge")
check.ok(not flat(flat_on):find("charge_not_level", 1, true))
check.has(flat(flat_on), "On this flat curve rest voltage tells no charge: " ..
  "bring each module full by itself before joining.")
check.ok(not text:find("flat curve", 1, true), "nickel's tells it")
local stood = apart:pack{ cell_v_min = 3.0, cell_v_max = 3.45 }
check.has(stood:balance():cell(1, "hours").why, "the modules rested at 3.300 " ..
  "to 3.333 V a group, between the knees of a curve on which that tells no")
check.ok(not tostring(stood:balance()):find("full together", 1, true))
check.has(low:pack():balance():cell(1, "hours").why, "% when read, and how " ..
  "their groups stood is not told")
check.has(tostring(stood), "16 groups, 51.2 V nominal, 190 Ah, 9.73 kWh " ..
  "(measured)")
check.raises(function () return stood:with{ series = 4 } end,
  "series = 4 beside strings of 2")
check.equal(#stood:without("1").strings, 1, "taken out as before")

-- ---- the bench part of a user's script, where it is at hand ----

local shared = os.getenv("AMPSTEAD_SHARED")
local script = shared and io.open(shared .. "/contract/3-pallet.lua")
if script then
  local lines, printed = {}, {}
  for line in script:lines() do
    lines[#lines + 1] = line:gsub('"arrived%.csv"', string.format("%q",
      shared .. "/contract/arrived.csv"))
    if line:find("amp.paralleling", 1, true) then break end
  end
  script:close()
  local env = setmetatable({ print = function (x)
    printed[#printed + 1] = tostring(x)
  end }, { __index = _G })
  assert(load(table.concat(lines, "\n"), "=3-pallet.lua", "t", env))()
  check.equal(#printed, 4, "four answers")
  check.has(printed[1], "12 modules: 9 accept, 1 not judged, 1 quarantine, " ..
    "1 reject.")
  check.has(printed[2], "2 of 12 tested: mean 93.8 Ah")
  check.has(printed[3], "10 of 10 modules, 2 in series and 5 side by side.")
  check.has(printed[4], "About 71.4 A flow")
else
  print("skipped: the bench part of a user's script")
end

-- ---- wrong calls ----

local function raises (fn, words) check.raises(fn, words) end
raises(function () amp.match(four) end, "a table of options is wanted")
raises(function () amp.match(four, { series = 2 }) end,
  "parallel must be a whole number, 1 .. 1000")
raises(function () amp.match(four, { series = 1.5, parallel = 2 }) end,
  "series must be a whole number, 1 .. 1000 (got 1.5)")
raises(function () amp.match(four, { series = 2, paralel = 2 }) end,
  "unknown key 'paralel' (did you mean 'parallel'?)")
raises(function () amp.match(four, { series = 0/0, parallel = 2 }) end,
  "series must be a whole number, 1 .. 1000 (got nan)")
raises(function () amp.match(four, { series = 2, parallel = 2,
  owned = four }) end, "owned is the very lot")
raises(function () return plan:pack(5) end, "a table of keys is wanted")
raises(function () return plan.failures{} end,
  "failures: call it with a colon, plan:failures()")
raises(function () amp.match({}, { series = 2, parallel = 2 }) end,
  "a lot of readings is wanted (got table)")
raises(function () amp.match(amp.readings.text("id,ocv_v\n1,25.7\n"),
  { series = 1, parallel = 1 }) end, "which module is it?")
raises(function () return plan.strings end, "a plan has no 'strings'")
raises(function () plan.series = 3 end, "a plan never changes")
raises(function () return plan:pack{ order = "diagonal" } end,
  "order must be \"string_first\" or \"parallel_first\" (got 'diagonal')")

-- nothing idle is a plain 0, without the rounding of the sum: 183.1 Ah a level
local level = amp.match(lot_of({ { "1", 91.55, 2.0 }, { "2", 94.2, 2.1 },
  { "3", 91.55, 1.9 }, { "4", 88.9, 2.4 } }, pouch), { series = 2,
  parallel = 2 })
check.equal(level.parallel_first.unused_pct, 0)

check.done()
