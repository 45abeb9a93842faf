--- Cautions: the registry, and a script's own.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

-- ---- the registry as a table ----

local all = amp.cautions()
check.ok(#all > 90, "the whole registry")
local joining = amp.cautions{ at = "joining" }
check.ok(#joining > 0 and #joining < #all, "some are raised at joining")
for i = 1, #joining do
  check.has(joining[i].at, "joining", joining[i].id)
end
check.raises(function () amp.cautions{ at = "joinin" } end,
  "did you mean 'joining'?")
local one = amp.cautions{ id = "fuse_above_cable" }
check.equal(one[1].id, "fuse_above_cable", "one by its name")
check.has(tostring(one), "the cable burns before the fuse opens", "in words")
check.raises(function () amp.cautions{ id = "fuse_above_cabel" } end,
  "did you mean 'fuse_above_cable'?")
check.raises(function () amp.cautions{ where = "offer" } end,
  "unknown key 'where'")
check.raises(function () amp.cautions "offer" end, "table of named keys")

-- ---- a script's own ----

local function nothing () end
local own = amp.caution{ id = "no_fire_detector", test = nothing,
  what = "no detector in the room" }
check.equal(own.id, "no_fire_detector", "keys read back")
check.equal(own.test, nothing, "the test too")
check.equal(own.who, "whoever wrote it", "who decides, unless given")
check.has(tostring(own), "no detector in the room", "it prints what it is")
check.raises(function () own.id = "x" end, "a caution never changes")
check.raises(function () return own.wht end, "did you mean 'what'?")
for _, bad in ipairs{ "", "ab", "Fire", "2_fast", "no fire", "no\0fire",
  ("a"):rep(48) } do
  check.raises(function () amp.caution{ id = bad, test = nothing } end,
    "caution: id must be", "'" .. bad .. "'")
end
check.raises(function () amp.caution{ test = nothing } end,
  "caution: id is wanted")
check.raises(function () amp.caution{ id = "fuse_above_cable",
  test = nothing } end, "is one of the program's own")
check.raises(function () amp.caution{ id = "mine_own" } end,
  "test must be a function")
check.raises(function () amp.caution{ id = "mine_own", test = nothing,
  tests = 1 } end, "did you mean 'test'?")
check.raises(function () amp.caution{ id = "mine_own", test = nothing,
  what = "two\nlines" } end, "what must be one line")

-- ---- one input that raises each, and one that does not ----

local pouch = amp.module{ name = "7s2p", chemistry = "nmc111", series = 7,
  parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5,
  r10s_mohm = amp.measured(1.9), soh_end_pct = 60,
  life_model = amp.life_model{ calendar_pct_per_year = 1.5,
    cycle_pct_per_efc = 0.008 } }
local iron = pouch:with{ name = "8s1p", chemistry = "lfp", series = 8,
  parallel = 1, capacity_ah = amp.claimed(105) }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, surge_w = 6000, efficiency_pct = 92, idle_w = 32 }
local duty = amp.profile.daily{ load_kwh = 3, solar_kwp = 2.4, temp_c = 12,
  performance_pct = 70, months = { 5, 6, 7, 8 },
  sun_hours = { 4.9, 5.3, 5.6, 5.0 } }
local need = amp.need{ currency = "EUR", duty = duty, inverter = inverter }
local offer = amp.offer{ name = "A", module = pouch, count = 12,
  price_lot = 2000, freight = 200, dated = "2026-11-01", tax = "included",
  dud_pct = 5, tested_ah = amp.measured(95, 1), bos = 600,
  costs = { { "tests", 60 } } }

-- an answer raises an id when its .cautions holds the word and what it prints
-- names it; 'told' ones stand there in the words that follow
local told = { few_tests = "Test more", kinds_of_cost_disagree =
  "Cheapest by the median", deficit_no_battery_cures = "short by",
  years_beyond_data = "outside", years_without_soh = "neither a tested",
  charge_below_freezing = "Charged below 0 C", cells_too_hot =
  "where none lives", string_share_uneven = "gave most" }

local function names (answer, id)
  return (" " .. answer.cautions .. " "):find(" " .. id .. " ", 1, true) ~= nil
end

local function raises_it (answer, id)
  local text = tostring(answer)
  return names(answer, id) and
    text:find(told[id] or id, 1, true) ~= nil
end

local function compared (changes, asked, other)
  local list = { offer:with(changes) }
  if other then list[2] = offer:with(other):with{ name = "B" } end
  return amp.compare(list, need:with(asked or {}), { draws = 50 })
end

local function asked (keys)
  return compared({}, { duty = duty:with(keys) })
end

local with_inverter = function (keys)
  return compared({}, { inverter = inverter:with(keys) })
end

-- rows of a lot: what judge names for id "x" among good neighbours
local good = "\na;25.75;3.677;3.681;1.9;95;20;;\nb;25.76;3.678;3.682;1.8;" ..
  "96;20;;\nc;25.74;3.676;3.680;2.0;94;20;;\nd;25.75;3.677;3.681;1.9;95;20;;"
local head = "id;ocv_v;group_min_v;group_max_v;r10s_mohm;ah;temp_c;date;remark"

local function judged (row, rest)
  local lot = amp.readings.text(head .. (rest or good) .. "\n" .. row .. "\n",
    { module = pouch })
  local t = lot:judge()
  local ids = {}
  for i = 1, #t do
    if t[i].id == "x" then ids[#ids + 1] = t[i].cautions end
  end
  return { cautions = table.concat(ids, " ") }
end
local plain_row = "x;25.75;3.677;3.681;1.9;95;20;;"

-- what judge raises: a row; it is not raised by the plain one
local rows = {
  group_below_reject = "x;23.9;1.8;3.681;1.9;95;20;;",
  one_group_discharged = "x;24.4;2.3;3.681;1.9;95;20;;",
  group_deeply_discharged = "x;16.9;2.4;2.42;1.9;95;20;;",
  group_spread_wide = "x;25.6;3.60;3.681;1.9;95;20;;",
  group_spread_uneven = "x;25.7;3.65;3.68;1.9;95;20;;",
  group_spread_above_lot = "x;25.75;3.664;3.681;1.9;95;20;;",
  group_above_limit = "x;29.6;4.22;4.24;1.9;95;20;;",
  group_leaks = { "x;25.75;3.677;3.681;1.9;95;20;2026-01-01;\n" ..
    "x;25.73;3.655;3.680;1.9;95;20;2026-01-15;" },
  self_discharge_high = { "x;25.75;3.677;3.681;1.9;95;20;2026-01-01;\n" ..
    "x;25.0;3.570;3.574;1.9;95;20;2026-01-15;" },
  self_discharge_above_lot = { [[
x;25.75;3.677;3.681;1.9;95;20;2026-01-01;
x;25.735;3.675;3.679;1.9;95;20;2026-06-30;]], [[

a;25.75;3.677;3.681;1.9;95;20;2026-01-01;
a;25.7480;3.6767;3.6807;1.9;95;20;2026-06-30;
b;25.75;3.677;3.681;1.9;95;20;2026-01-01;
b;25.7480;3.6767;3.6807;1.9;95;20;2026-06-30;
c;25.75;3.677;3.681;1.9;95;20;2026-01-01;
c;25.7480;3.6767;3.6807;1.9;95;20;2026-06-30;]] },
  voltage_rose_between_dates = { "x;25.0;3.57;3.575;1.9;95;20;2026-01-01;\n" ..
    "x;25.75;3.677;3.681;1.9;95;20;2026-01-15;" },
  remark_of_damage = "x;25.75;3.677;3.681;1.9;95;20;;swollen side",
  damage_denied = "x;25.75;3.677;3.681;1.9;95;20;;not swollen",
  remark_cut = "x;25.75;3.677;3.681;1.9;95;20;;" .. ("gut "):rep(60),
  remark_to_read = "x;25.75;3.677;3.681;1.9;95;20;;blauer Aufkleber",
  voltage_not_at_rest = "x;25.75;3.677;3.681;1.9;95;20;;right after charging",
  resistance_two_wire = "x;25.75;3.677;3.681;1.9;95;20;;two-wire meter",
  row_makes_no_sense = "x;-25.75;3.677;3.681;1.9;95;20;;",
  voltage_not_given = "x;;;;1.9;95;20;;",
  groups_disagree_with_module = "x;25.4;3.677;3.681;1.9;95;20;;",
  voltage_cannot_be = "x;257.5;;;1.9;95;20;;",
  groups_not_measured = "x;25.75;;;1.9;95;20;;",
  module_apart_groups_unknown = "x;24.4;;;1.9;95;20;;",
  module_hot_or_fahrenheit = "x;25.75;3.677;3.681;1.9;95;68;;",
  resistance_not_given = "x;25.75;3.677;3.681;;95;20;;",
  resistance_like_ohms = "x;25.75;3.677;3.681;0.0019;95;20;;",
  resistance_not_comparable = "x;25.75;3.677;3.681;1.9;95;2;;",
  resistance_above_lot = "x;25.75;3.677;3.681;2.7;95;20;;",
  resistance_far_above_lot = "x;25.75;3.677;3.681;4.2;95;20;;",
  capacity_not_tested = "x;25.75;3.677;3.681;1.9;;20;;",
  capacity_above_nameplate = "x;25.75;3.677;3.681;1.9;130;20;;",
  capacity_low = "x;25.75;3.677;3.681;1.9;60;20;;",
  charge_below_lot = "x;25.2;3.598;3.602;1.9;95;20;;",
  charge_above_lot = "x;27.3;3.898;3.902;1.9;95;20;;" }

local function lot_of (text)
  return amp.readings.text(head .. text .. "\n", { module = pouch })
end

-- matched with a second lot, owned already, of this module
local function joined_by (module)
  return amp.match(lot_of(good), { series = 1, parallel = 8,
    owned = amp.readings.text(head .. good .. "\n", { module = module }) })
    :table()
end

local function cable (keys)
  keys.one_way_m = keys.one_way_m or 1.8
  return amp.cable(keys):table()
end

local function circuit (keys)
  local spec = { current_a = 72, v_full = 57.4, short_ka = 3,
    fuse = { rating_a = 100, voltage_v = 80, interrupt_ka = 20 },
    cable = { one_way_m = 1.8, area_mm2 = 50, ampacity_a = 150,
      current_a = 72, v = 48 } }
  for key, value in pairs(keys) do
    if key == "fuse" or key == "cable" then
      for k, v in pairs(value) do
        spec[key][k] = v
        if v == false then spec[key][k] = nil end
      end
    else
      spec[key] = value or nil
    end
  end
  spec.fuse, spec.cable = amp.fuse(spec.fuse), amp.cable(spec.cable)
  return amp.circuit(spec):table()
end

-- the findings that a circuit has under this name, also those not judged
local function found (t, id)
  for i = 1, #t do
    if t[i].caution == id then return { cautions = id } end
  end
  return { cautions = "" }
end

local function in_circuit (id, keys, otherwise)
  return { function () return found(circuit(keys), id) end,
    function () return found(circuit(otherwise or {}), id) end }
end

local function precharge (keys)
  return amp.precharge{ v = 57.4, capacitance_uf = 12000, r_ohm = 28.7,
    load_ohm = keys.load_ohm, resistor_w = keys.resistor_w,
    resistor_j = keys.resistor_j }:table()
end

local a, b = { ocv_v = 25.75, r10s_mohm = 1.9 },
  { ocv_v = 25.40, r10s_mohm = 2.0 }
local function joined (opts, x, y)
  return amp.paralleling(x or a, y or b, opts)
end

local function pack (keys)
  if not keys.strings then
    keys.module, keys.series = keys.module or pouch, keys.series or 2
    keys.parallel = keys.parallel or 2
  end
  return amp.pack(keys)
end

local cold = amp.profile.daily{ from_battery_kwh = 3, temp_c = -10,
  solar_kwp = 3, sun_hours = { 3 }, months = { 1 }, performance_pct = 70 }

local function ran (p, d)
  return p:simulate(d or duty, { inverter = inverter })
end

-- {raises, does not}: functions that give an answer
local cases = {
  bos_left_out = { function () return amp.compare({ amp.offer{ name = "A",
      module = pouch, count = 12, price_lot = 1, tax = "none" } }, need,
      { draws = 20 }) end, function () return compared{} end },
  freight_left_out = { function () return amp.compare({ amp.offer{ name = "A",
      module = pouch, count = 12, price_lot = 1, tax = "none" } }, need,
      { draws = 20 }) end, function () return compared{} end },
  price_without_date = { function () return amp.compare({ amp.offer{
      name = "A", module = pouch, count = 12, price_lot = 1,
      tax = "none" } }, need, { draws = 20 }) end,
    function () return compared{} end },
  tests_and_disposal_left_out = { function () return amp.compare({ amp.offer{
      name = "A", module = pouch, count = 12, price_lot = 1, tax = "none",
      dud_pct = 5 } }, need, { draws = 20 }) end,
    function () return compared{} end },
  price_old = { function () return compared({}, {}, { dated = "2026-01-31" })
    end, function () return compared({}, {}, { dated = "2026-08-31" }) end },
  duds_zero_untested = { function () return compared{ dud_pct = 0,
      tested_ah = amp.claimed(95) } end,
    function () return compared{ dud_pct = 0 } end },
  few_tests = { function () return compared{
      tested_ah = amp.tested({ 96.1, 91.4 }, { of = 12 }) } end,
    function () return compared{ tested_ah = amp.tested({ 96, 95, 95, 96,
      95, 96 }, { of = 12 }) } end },
  samples_picked_by_seller = { function () return compared{
      tested_ah = amp.tested({ 96.1, 91.4 }, { of = 12, by = "seller" }) } end,
    function () return compared{ tested_ah = amp.tested({ 96.1, 91.4 },
      { of = 12 }) } end },
  nameplate_beside_tested = { function () return amp.compare({ offer,
      amp.offer{ name = "B", module = pouch, count = 12, price_lot = 1,
        tax = "included" } }, need, { draws = 20 }) end,
    function () return compared({}, {}, {}) end },
  nameplate_for_tested = { function ()
      local m = pouch:with{ tested_ah = amp.measured(90) }
      return amp.compare({ amp.offer{ name = "A", module = m, count = 12,
        price_per_kwh = 50, tax = "included", soh_pct = 95 } }, need,
        { draws = 20 }) end, function () return compared{} end },
  tax_status_mixed = { function () return compared({}, {}, { tax = "none" })
    end, function () return compared({}, {}, {}) end },
  used_bare_against_new_boxed = { function () return amp.compare({ offer,
      amp.offer{ name = "B", module = pouch, count = 12, price_lot = 1,
        tax = "included" } }, need, { draws = 20 }) end,
    function () return compared({}, {}, {}) end },
  kinds_of_cost_disagree = { function () return compared({}, {},
      { price_lot = 1500, tested_ah = amp.measured(60, 1) }) end,
    function () return compared({}, {}, { price_lot = 2500 }) end },
  fraction_for_percent = { function () return compared{ dud_pct = 0.05 } end,
    function () return compared{ dud_pct = 5 } end },
  price_like_cents = { function () return compared({}, {
      import_at = { { 22, 6, 18 }, { 6, 22, 36 } } }) end,
    function () return compared({}, { charge_price = 0.30,
      import_at = { { 22, 6, 0.18 }, { 6, 22, 0.36 } } }) end },
  full_cycle_every_day = { function () return pack{ parallel = 1,
      module = pouch:with{ soh_pct = 90 } }:life(amp.profile.daily{
      from_battery_kwh = 6, temp_c = 15 }) end,
    function () return pack{ module = pouch:with{ soh_pct = 90 } }:life(duty)
    end },
  cycle_life_of_new_cells = { function () return pack{ module = pouch:with{
      soh_pct = 80, life_model = amp.life_model{ cycles_at_dod = { { 50, 3000 },
        { 80, 1500 } } } } }:life(duty) end,
    function () return pack{ module = pouch:with{ soh_pct = 99,
      life_model = amp.life_model{ cycles_at_dod = { { 50, 3000 },
        { 80, 1500 } } } } }:life(duty) end },
  years_beyond_data = { function () return pack{ module = pouch:with{
      soh_pct = 90, life_model = "nmc_voltage_depth" } }:life(duty:with{
        temp_c = -5 }) end,
    function () return pack{ module = pouch:with{ soh_pct = 90 } }:life(duty)
    end },
  deficit_no_battery_cures = { function () return asked{ load_kwh = 30 } end,
    function () return asked{ load_kwh = 3 } end },
  label_disagrees = { function () return compared{ module = pouch:with{
      nominal_v = 28.8 } } end, function () return compared{
      module = pouch:with{ nominal_v = 25.6 } } end },
  resistance_like_ohms = { function () return compared{ module = pouch:with{
      r10s_mohm = 0.0019 } } end, function () return compared{} end },
  capacitance_like_millifarads = { function () return with_inverter{
      capacitance_uf = 12 } end, function () return with_inverter{
      capacitance_uf = 12000 } end },
  capacity_like_milliamp_hours = { function () return compared{
      tested_ah = amp.measured(95), module = pouch:with{ capacity_ah = 2900 } }
    end, function () return compared{} end },
  idle_draw_left_out = { function () return with_inverter{ idle_w = 0 } end,
    function () return compared{} end },
  watts_like_kilowatts = { function () return with_inverter{ power_w = 3 } end,
    function () return compared{} end },
  load_at_full_duty = { function () return compared({}, { duty =
      amp.profile.daily{ load_w = 150, temp_c = 12 } }) end,
    function () return compared({}, { duty = amp.profile.daily{ load_w = 25,
      temp_c = 12 } }) end },
  remark_of_damage = { function () return compared{
      remark = "one side swollen" } end, function () return compared{
      remark = "not swollen" } end },
  load_like_sum_of_peaks = { function () return compared({}, { duty =
      amp.profile.daily{ load_w = 1500, temp_c = 12 } }) end,
    function () return compared({}, { duty = amp.profile.daily{ load_w = 25,
      temp_c = 12 } }) end },
  load_like_kilowatts = { function () return compared({}, { duty =
      amp.profile.daily{ load_w = 0.15, temp_c = 12 } }) end,
    function () return compared({}, { duty = amp.profile.daily{ load_w = 25,
      temp_c = 12 } }) end },
  load_like_watt_hours = { function () return asked{ load_kwh = 3140 } end,
    function () return asked{ load_kwh = 3.14 } end },
  load_above_inverter = { function () return compared({}, { duty =
      amp.profile.daily{ load_w = 3500, temp_c = 12 } }) end,
    function () return compared({}, { duty = amp.profile.daily{ load_w = 2500,
      temp_c = 12 } }) end },
  sun_same_all_year = { function () return asked{ sun_hours = 3 } end,
    function () return asked{ sun_hours = { 3, 3, 4, 3 } } end },
  temperature_not_given = { function () return compared({}, { duty =
      amp.profile.daily{ load_kwh = 3 } }) end,
    function () return compared{} end },
  temperature_like_fahrenheit = { function () return asked{ temp_c = 59.5 } end,
    function () return asked{ temp_c = 20 } end },
  charge_not_level = { function () return amp.match(lot_of(good ..
      "\nx;25.45;3.634;3.638;1.9;95;20;;"), { series = 1, parallel = 5 })
      :table() end,
    function () return amp.match(lot_of(good), { series = 1, parallel = 4 })
      :table() end },
  module_not_accepted = { function () return amp.match(lot_of(good ..
      "\nx;23.9;1.8;3.681;1.9;95;20;;"), { series = 1, parallel = 4 })
      :table() end,
    function () return amp.match(lot_of(good), { series = 1, parallel = 4 })
      :table() end },
  series_capacity_uneven = { function () return amp.match(lot_of(good ..
      "\ne;25.75;3.677;3.681;1.9;72;20;;"), { series = 5, parallel = 1 })
      :table() end,
    function () return amp.match(lot_of(good), { series = 2, parallel = 2 })
      :table() end },
  generation_mixed = { function () return joined_by(pouch:with{
      capacity_ah = 128 }) end, function () return joined_by(pouch) end },
  tests_not_alike = { function () return lot_of(good ..
      "\nx;25.75;3.677;3.681;1.9;95;5;;"):mean("ah") end,
    function () return lot_of(good):mean("ah") end },
  window_crossed = { function () return amp.layouts(pouch, inverter:with{
      v_max = 55, v_abs_max = 56, v_min = 50 }) end,
    function () return amp.layouts(pouch, inverter) end },
  surge_sag_crosses_cutout = { function () return amp.layouts(pouch,
      inverter:with{ v_min = 48, surge_w = 30000 }) end,
    function () return amp.layouts(pouch, inverter, { parallel = 5 }) end },
  no_margin_to_limit = { function () return amp.layouts(pouch, inverter:with{
      v_max = 57.9, v_abs_max = 58 }) end,
    function () return amp.layouts(pouch, inverter) end },
  groups_not_a_multiple = { function () return amp.layouts(pouch, inverter,
      { groups = 16 }) end, function () return amp.layouts(pouch, inverter,
      { groups = 14 }) end },
  joined_by_flat_voltage = { function () return joined({ module = iron },
      { ocv_v = 26.3, r10s_mohm = 2 }, { ocv_v = 26.32, r10s_mohm = 2 }) end,
    function () return joined{ module = pouch } end },
  joining_above_limit = { function () return joined{ fuse_a = 30 } end,
    function () return joined{ fuse_a = 300 } end },
  resistance_missing = { function () return joined({}, { ocv_v = 25.8 }) end,
    function () return joined{} end },
  area_like_awg = { function () return cable{ area_mm2 = 2, current_a = 72 }
    end, function () return cable{ area_mm2 = 35, current_a = 72 } end },
  cable_by_drop_only = { function () return cable{ area_mm2 = 50,
      current_a = 72 } end, function () return cable{ area_mm2 = 50,
      current_a = 72, ampacity_a = 150 } end },
  cable_by_ampacity_only = { function () return cable{ area_mm2 = 50,
      ampacity_a = 150 } end, function () return cable{ area_mm2 = 50,
      current_a = 72, ampacity_a = 150 } end },
  cable_below_load = in_circuit("cable_below_load",
    { cable = { ampacity_a = 60 } }),
  drop_above_limit = { function () return cable{ area_mm2 = 4, current_a = 72,
      v = 48, drop_max_pct = 2 } end, function () return cable{
      area_mm2 = 50, current_a = 72, v = 48, drop_max_pct = 2 } end },
  fuse_above_cable = in_circuit("fuse_above_cable",
    { cable = { ampacity_a = 90 } }),
  fuse_below_load = in_circuit("fuse_below_load", { fuse = { rating_a = 80 } }),
  fuse_voltage_below_full = in_circuit("fuse_voltage_below_full",
    { fuse = { voltage_v = 32 } }),
  fuse_for_alternating_current = in_circuit("fuse_for_alternating_current",
    { fuse = { alternating = true } }),
  breaker_polarised = in_circuit("breaker_polarised",
    { fuse = { polarised = true } }),
  interrupt_below_short = in_circuit("interrupt_below_short",
    { fuse = { interrupt_ka = 2 } }),
  interrupt_within_range_of_short = in_circuit(
    "interrupt_within_range_of_short", { fuse = { interrupt_ka = 40 },
    pack = pack{}, short_ka = false, v_full = false }),
  short_circuit_unknown = { function () return pack{ module = amp.module{
      chemistry = "nmc111", series = 7, parallel = 2, capacity_ah = 112 } }
      :short_circuit() end, function () return pack{}:short_circuit() end },
  above_60_v = in_circuit("above_60_v", { v_full = 115, fuse = {
    voltage_v = 150 } }),
  surge_above_fuse = in_circuit("surge_above_fuse", { surge_a = 300 }),
  surge_time_missing = in_circuit("surge_time_missing", { surge_a = 300,
    fuse = { curve = { { 150, 1000 }, { 300, 10 }, { 600, 0.1 } } } },
    { surge_a = 300, surge_s = 2,
      fuse = { curve = { { 150, 1000 }, { 300, 10 }, { 600, 0.1 } } } }),
  surge_outlasts_fuse = in_circuit("surge_outlasts_fuse", { surge_a = 300,
    surge_s = 60,
    fuse = { curve = { { 150, 1000 }, { 300, 10 }, { 600, 0.1 } } } },
    { surge_a = 300, surge_s = 2,
      fuse = { curve = { { 150, 1000 }, { 300, 10 }, { 600, 0.1 } } } }),
  short_circuit_only_bounded = { function () return pack{ strings = {
      { pouch, pouch }, { pouch, amp.module{ chemistry = "nmc111", series = 7,
        parallel = 2, capacity_ah = 112 } } } }:short_circuit() end,
    function () return pack{}:short_circuit() end },
  link_without_constant = { function () return amp.fuse_link{
      metal = "nickel_plated_steel", diameter_mm = 0.3 }:table() end,
    function () return amp.fuse_link{ metal = "copper", diameter_mm = 0.3 }
      :table() end },
  link_thin = { function () return amp.fuse_link{ metal = "copper",
      diameter_mm = 0.1 }:table() end, function () return amp.fuse_link{
      metal = "copper", diameter_mm = 0.3 }:table() end },
  link_end_cooled = { function () return amp.fuse_link{ metal = "copper",
      diameter_mm = 0.3, length_mm = 8 }:table() end, function ()
      return amp.fuse_link{ metal = "copper", diameter_mm = 0.3,
        length_mm = 60 }:table() end },
  precharge_with_load_on = { function () return precharge{ load_ohm = 30 } end,
    function () return precharge{} end },
  resistor_by_watts_only = { function () return precharge{ resistor_w = 50 }
    end, function () return precharge{ resistor_w = 50, resistor_j = 100 } end },
  resistor_energy_below_pulse = { function () return precharge{
      resistor_j = 10 } end, function () return precharge{ resistor_j = 100 }
    end },
  isolation_too_low = { function () return amp.isolation{ v = 340,
      side_v = 190, side_loaded_v = 171, across_kohm = 50 }:table() end,
    function () return amp.isolation{ v = 340, side_v = 190,
      side_loaded_v = 171, across_kohm = 500 }:table() end },
  charge_below_freezing = { function () return ran(pack{}, cold) end,
    function () return ran(pack{}) end },
  cells_too_hot = { function () return ran(pack{ module = pouch:with{
      mass_kg = 0.01 }, parallel = 1 }, amp.profile.steps{ { discharge_a = 900,
      hours = 1 } }) end, function () return ran(pack{}) end },
  string_share_uneven = { function () return ran(pack{ strings = {
      { pouch, pouch }, { pouch:with{ r10s_mohm = 4 },
        pouch:with{ r10s_mohm = 4 } } } }) end,
    function () return ran(pack{}) end } }

for id, row in pairs(rows) do
  local text, rest = row, nil
  if type(row) == "table" then text, rest = row[1], row[2] end
  cases[id] = { function () return judged(text, rest) end,
    function () return judged(plain_row) end }
end

-- refused: the call raises, with the words that the registry has
local function try (fn) return function () return fn end end
local refusals = {
  currency_without_rate = { function () return tostring(compared{
      currency = "USD" }) end, function () return tostring(compared{}) end },
  tax_not_known = { try(function () amp.offer{ module = pouch, count = 2,
      price_lot = 1 }:landed() end), try(function () offer:landed() end) },
  price_given_twice = { try(function () amp.offer{ module = pouch, count = 2,
      price_lot = 1, price_each = 1 } end), try(function () amp.offer{
      module = pouch, count = 2, price_lot = 1 } end) },
  nothing_to_compare = { try(function () amp.compare({}, need) end),
    try(function () compared{} end) },
  no_such_number = { try(function () amp.offer{ module = pouch, count = 2,
      price_lot = 0 / 0 } end), try(function () amp.offer{ module = pouch,
      count = 2, price_lot = 1 } end) },
  not_a_number = { try(function () pouch:with{ mass_kg = "17,5" } end),
    try(function () pouch:with{ mass_kg = 17.5 } end) },
  not_a_whole_number = { try(function () pack{ series = 3.5 } end),
    try(function () pack{ series = 3 } end) },
  chemistry_mixed = { try(function () pack{ strings = { { pouch, pouch },
      { pouch, pouch:with{ chemistry = "lmo_blend" } } } } end),
    try(function () pack{ strings = { { pouch, pouch } } } end) },
  charge_above_cell_limit = { try(function () pouch:with{ cell_v_max = 4.5 }
    end), try(function () pouch:with{ cell_v_max = 4.1 } end) },
  years_without_soh = { function () return tostring(pack{}:life(duty)) end,
    function () return tostring(pack{ module = pouch:with{
      soh_pct = 90 } }:life(duty)) end } }

-- adverts: a whole one, and one with a column changed
local advert_columns = { "name", "module", "count", "price", "price is",
  "freight", "tax", "claimed", "tested ah", "soh", "duds", "seen", "remark" }
local whole = { name = "x", module = "7s2p", count = "12", price = "245",
  ["price is"] = "each", freight = "260", tax = "included",
  claimed = "112 Ah, 84 %", duds = "5 %", seen = "2026-06-28" }

local function advert (column, text, others)
  local lines = { table.concat(advert_columns, ";") }
  local function put (row, name)
    local fields = {}
    for i, key in ipairs(advert_columns) do
      fields[i] = key == "name" and name or key == column and row == whole and
        text or whole[key] or ""
    end
    lines[#lines + 1] = table.concat(fields, ";")
  end
  put({}, "a") -- a whole one, so that there is a row
  for i = 1, others or 0 do -- at prices of their own
    put({}, "b" .. i)
    lines[#lines] = lines[#lines]:gsub("245", 245 + i)
  end
  put(whole, "x")
  local q = amp.offers.text(table.concat(lines, "\n") .. "\n",
    { modules = { ["7s2p"] = pouch }, currency = "EUR" }):questions()
  local ids = {}
  for i = 1, #q do
    if q[i].who == "x" then ids[#ids + 1] = q[i].id end
  end
  return { cautions = table.concat(ids, " ") }
end

for id, change in pairs{
  module_not_known = { "module", "9s9p" }, count_not_given = { "count", "" },
  price_not_given = { "price", "" }, price_of_what = { "price is", "" },
  number_two_ways = { "price", "2.450" },
  decimal_comma_not_told = { "price", "245,5" },
  currencies_mixed = { "freight", "90 GBP", { "price", "245 EUR" } },
  price_lot_and_each_disagree = { "remark", "price of the lot?" },
  capacity_and_energy_disagree = { "claimed", "112 Ah, 9 kWh" },
  claim_without_unit = { "claimed", "112" },
  soh_given_twice = { "soh", "60" },
  more_tests_than_modules = { "tested ah", ("90 "):rep(13) },
  premium_in_remark = { "remark", "premium 15 %" },
  price_per_kwh_of_what = { "price is", "per kWh" },
  count_only_about = { "remark", "about twelve" },
  number_only_about = { "price", "~245" },
  number_is_a_range = { "price", "245-260" },
  price_negotiable = { "price", "245 VB" },
  dollar_of_which = { "price", "$245" }, duds_of_what = { "duds", "5" },
  date_not_read = { "seen", "5/6/2026" }, advert_old = { "seen",
    "2026-01-05" }, duds_not_given = { "duds", "" },
  price_far_off = { "price", "99000", nil, 4 } } do
  cases[id] = { function ()
    local second = change[3]
    if second then whole[second[1]] = second[2] end
    local got = advert(change[1], change[2], change[4])
    if second then whole[second[1]] = "245" end
    return got
  end, function () return advert("price", "246") end }
end
cases.listing_alike = { function () return advert("remark", "in the barn") end,
  function () return advert("price", "245") end }
cases.listing_twice = { function () return advert("price", "245") end,
  function () return advert("price", "246") end }
local function advert_taxed (text)
  local ids = advert("tax", text).cautions
  local text_of = amp.offers.text(table.concat(advert_columns, ";") ..
    "\nx;7s2p;12;245;each;260;" .. text .. ";;;;;;\ny;7s2p;12;245;each;" ..
    "260;included;;;;;;\n", { modules = { ["7s2p"] = pouch } })
  return ids, tostring(text_of:questions())
end
refusals.tax_by_margin = { try(function () amp.offer{ module = pouch,
    count = 2, price_lot = 1, tax = "margin" } end),
  try(function () amp.offer{ module = pouch, count = 2, price_lot = 1,
    tax = "none" } end) }
refusals.tax_rate_not_given = { try(function () amp.offer{ module = pouch,
    count = 2, price_lot = 1, tax = "excluded" } end),
  try(function () amp.offer{ module = pouch, count = 2, price_lot = 1,
    tax = "excluded", tax_pct = 20 } end) }
check.equal((advert_taxed "margin scheme"):match("^%S+"), "tax_by_margin")
check.equal((advert_taxed "excluded"):match("^%S+"), "tax_rate_not_given")
check.has(select(2, advert_taxed "excluded"), "at what rate?")

-- a refusal is an error, or the reason that stands in the answer
local function refused_with (fn)
  local got = fn()
  if type(got) == "string" then return got end
  local ok, message = pcall(got)
  return ok and "" or tostring(message)
end

-- raised by pack:check alone: tests/lua/test_check.lua has their cases
local elsewhere = io.open(here .. "/tests/lua/test_check.lua", "rb")
local their = elsewhere and elsewhere:read("a")
if elsewhere then elsewhere:close() end

for i = 1, #all do
  local id, at = all[i].id, all[i].at
  if all[i].refused then
    local case = refusals[id]
    if check.ok(case, id .. " has a case") then
      check.has(refused_with(case[1]), all[i].refused, id)
      check.ok(not refused_with(case[2]):find(all[i].refused, 1, true),
        id .. " is not refused")
    end
  elseif at == "pack" then
    check.ok(their == nil or their:find(id, 1, true), id .. " is tested in " ..
      "test_check.lua")
  elseif check.ok(cases[id], id .. " has a case") then
    local raised, quiet = cases[id][1](), cases[id][2]()
    local bare = getmetatable(raised) == nil -- names alone
    check.ok(bare and names(raised, id) or not bare and raises_it(raised, id),
      id .. " is raised: " .. raised.cautions)
    check.ok(not names(quiet, id), id .. " is not raised")
  end
end
-- ---- the same at other places ----

local hot = amp.log.text("time_s,current_a,voltage_v,temp_c\n" ..
  "0,1,3.7,77\n10,1,3.69,77\n20,1,3.68,78\n")
check.has(tostring(hot), "temperature_like_fahrenheit: up to 78", "of a log")
local mild = amp.log.text("time_s,current_a,voltage_v,temp_c\n" ..
  "0,1,3.7,25\n10,1,3.69,25\n20,1,3.68,26\n")
check.ok(not tostring(mild):find("fahrenheit", 1, true), "25 C is told plainly")

local function discharge (amps)
  return amp.log.text(string.format("time_s,current_a,voltage_v\n0,%g,3.7\n" ..
    "3600,%g,3.3\n7200,%g,2.9\n", amps, amps, amps))
end
check.ok(raises_it(amp.readings.capacity({ discharge(30), discharge(45) },
  { v_end = 3.0 }), "tests_not_alike"), "logs of two currents")
check.ok(not names(amp.readings.capacity({ discharge(30), discharge(30) },
  { v_end = 3.0 }), "tests_not_alike"), "and of one")

local swept = amp.sweep{ over = { parallel = { 1, 2, 3, 4 } }, draws = 20,
  case = function (c)
    return { pack = pack{ parallel = c.parallel, module = pouch:with{
      soh_pct = 90 } }, cost = 1000, need = need:with{ duty = duty:with{
        sun_hours = 3, load_kwh = 30 } } }
  end }
check.ok(raises_it(swept, "sun_same_all_year"), "in a sweep")
check.ok(names(swept, "deficit_no_battery_cures"), "with a deficit")
check.equal(select(2, tostring(swept):gsub("sun_same_all_year", "")), 1,
  "said once for all cases")
check.ok(raises_it(pack{}:autonomy(amp.profile.daily{ load_w = 150 }),
  "load_at_full_duty"), "of an autonomy")
check.ok(raises_it(ran(pack{}, amp.profile.daily{ load_w = 150, solar_kwp = 1,
  sun_hours = 3 }), "sun_same_all_year"), "of a run")

-- what was left out stands in one line; owners are counted beyond three
local function bare_offers (n)
  local list = {}
  for i = 1, n do
    list[i] = amp.offer{ name = "H" .. i, module = pouch, count = 12,
      price_lot = 1, tax = "none" }
  end
  return tostring(amp.compare(list, need, { draws = 20 })):gsub("%s+", " ")
end
check.has(bare_offers(2), "left out bos_left_out (H1 H2);", "by name")
check.has(bare_offers(4), "bos_left_out (4 of them)", "counted")

-- ---- inside: names, and a script's own on a pack ----

-- the part 'cautions' of the Lua half: it was read above
local cautions = debug.getregistry()["ampstead.loaded"].cautions
check.equal(cautions.line("above_60_v", "words")[1], "above_60_v", "a line")
check.raises(function () cautions.line("above_60v", "words") end,
  "internal fault: no caution is called 'above_60v'")
check.raises(function () cautions.collector():add("bos_left", "A") end,
  "internal fault")

local function looked (test)
  return cautions.look(amp.caution{ id = "mine_own", test = test }, "pack",
    { of = "asked" })
end
check.equal(looked(function () end), nil, "nil: not raised")
check.equal(looked(function () return false end), nil, "false: not raised")
local raised = looked(function (a_pack, what)
  return a_pack .. what.of
end)
check.equal(raised[1], "mine_own", "words: raised")
check.equal(raised[2], "packasked", "the test gets pack and what was asked")
check.equal(raised.unknown, nil, "raised, not unknown")
local unlooked = looked(function () return nil, "no camera" end)
check.equal(unlooked[2], "not looked at: no camera", "nil and why")
check.ok(unlooked.unknown, "is not known")
local failed = looked(function () error("oh\nno", 0) end)
check.equal(failed[2], "could not be looked at: oh no", "one that fails")
check.ok(failed.unknown, "is told, not raised")
check.has(looked(function () error({}) end)[2], "could not be looked at",
  "whatever it raises")
local mute = setmetatable({}, { __tostring = function () error "no" end })
check.equal(looked(function () error(mute) end)[2],
  "could not be looked at: without words", "even one without words")
check.has(looked(function () return 7 end)[2], "(got number)",
  "and what it returns must be words")
check.has(looked(function () return " " end)[2], "(got none)",
  "blanks are no words")
check.equal(#looked(function () return ("x"):rep(900) end)[2], 303,
  "a long text is cut, and says so")
check.raises(function () cautions.own_list("check", { own, own }) end,
  "check: two cautions are called 'no_fire_detector'")
check.raises(function () cautions.own_list("check", { "x" }) end,
  "no. 1 of cautions must be amp.caution{}")
check.equal(#cautions.own_list("check", own), 1, "one alone is a list")

for id in pairs(cases) do
  local row = all:where{ id = id }
  check.equal(#row, 1, id .. " stands in the registry")
end

check.done()
