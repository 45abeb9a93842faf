--- Cable, busbar, fuse links, fuse, circuit, short circuit, pre-charge,
-- layouts and joining from Lua: values by hand, and the wording.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"
local invented = require "invented"

local who_decides = "A competent electrician, the insurer and the local"

local function decides (answer, what)
  local text = tostring(answer)
  check.has(text, who_decides, what .. " says who decides")
  check.has(text, "checked  ", what .. " says what was looked at")
  check.has(text, "not checked  ", what .. " says what was not")
  check.ok(not text:lower():find("%f[%a]safe%f[%A]"), what .. " promises")
end

-- the nickel-rich table of invented.lua
local nickel_rich = amp.chemistry{ name = "invented", interp = "linear",
  ocv_v = { {0, 3.00}, {5, 3.30}, {10, 3.42}, {20, 3.52}, {30, 3.58},
    {40, 3.62}, {50, 3.67}, {60, 3.75}, {70, 3.84}, {80, 3.93}, {90, 4.05},
    {100, 4.18} }, v_min = 3.0, v_max = 4.18 }

-- ---- cable ----

-- C9: 72.46 A, 1.8 m one way, 50 mm2: 0.0913 V, 0.2 % of 45 V
local main = amp.cable{ one_way_m = 1.8, area_mm2 = 50, current_a = 72.46,
  v = 45 }
check.close(main.drop_v, 0.0913, 5e-5, "the hut's main cable")
check.close(main.drop_pct, 0.2, 0.05)
check.equal(main.ampacity_a, nil, "no table gives 50 mm2 an ampacity")
check.has(tostring(main), "1.8 m of 50 mm2 one way drop 0.0913 V at 72.5 A")
check.has(tostring(main), "cable_by_drop_only")
check.has(tostring(main), "0.0175 ohm mm2/m at 20 C", "what was taken")
decides(main, "a cable")
check.close(main:table().drop_v, 0.0913, 5e-5, "one row reads directly")
check.close(main:table()[1].area_mm2, 50, 1e-9)

-- mast: 22 ft, 10 AWG, 235 W: 0.437 V 1.8 % at 24 V, 0.485 V 2.2 % at 21.6;
-- average 4.06 A 0.181 V; 5.261 mm2
for _, w in ipairs{ {235, 24, 0.437, 1.8}, {235, 21.6, 0.485, 2.2},
  {97.5, 24, 0.181, 0.75} } do
  local c = amp.cable{ one_way_ft = 22, awg = 10, current_a = w[1] / w[2],
    v = w[2], drop_max_pct = 3 }
  check.close(c.drop_v, w[3], 6e-4, "the mast's drop at " .. w[2] .. " V")
  check.close(c.drop_pct, w[4], 0.05)
  check.close(c.area_mm2, 5.261, 5e-4)
  check.equal(c.awg, 10, "keys read back as given")
  check.close(c.ampacity_a, 35, 0)
end
check.has(tostring(amp.cable{ one_way_m = 10, awg = 10, current_a = 30,
  v = 24, drop_max_pct = 3 }), "drop_above_limit")
check.has(tostring(amp.cable{ one_way_m = 1, awg = 10, current_a = 40,
  v = 24 }), "cable_below_load")
check.has(tostring(amp.cable{ one_way_m = 1, awg = 10, current_a = 30,
  v = 24 }), "fuse_above_cable", "1.25 x 30 A pass the 35 A column")
-- 1.25 x 154 A are 192.5: what must be carried is never told rounded down
local up = tostring(amp.cable{ one_way_m = 2, area_mm2 = 70, current_a = 154,
  v = 48, ampacity_a = 180 })
check.ok(up:find("must carry A +193\n") and up:find("a fuse of 193 A", 1, true),
  "one way in both lines")
check.ok(tostring(amp.cable{ one_way_m = 2, area_mm2 = 70, current_a = 153.7,
  v = 48, ampacity_a = 180 }):find("must carry A +193\n"), "192.1 upwards")
check.has(tostring(amp.cable{ awg = "2/0", lug_c = 75, insulation_c = 90,
  fuse_a = 100 }), "cable_by_ampacity_only")

-- size by both: drop asks for 36.5 mm2, 125 A for the table's 50
local table_of = { {10, 50}, {16, 68}, {25, 89}, {35, 110}, {50, 135} }
local sized = amp.cable{ one_way_m = 2, current_a = 100, v = 48,
  drop_max_pct = 2, ampacities = table_of }
check.close(sized.area_mm2, 50, 1e-9, "ampacity decides")
check.close(sized.area_by_drop_mm2, 10, 1e-9)
check.has(tostring(sized), "The size that does: 50 mm2.")
check.has(tostring(amp.cable{ one_way_m = 1.8, current_a = 92, v = 48,
  drop_max_pct = 1 }), "By drop alone: 16 mm2; its ampacity is not known.")
check.equal(amp.cable{ sizes = "awg", fuse_a = 100 }.awg, "3")
check.equal(amp.cable{ sizes = "awg", fuse_a = 150 }.awg, "1/0")
check.close(amp.cable{ awg = "4/0" }.area_mm2, 107.2, 0.05)
-- 35 mm2 class 5, 5 m, 150 A: 0.8310 V at 20 C, 0.9943 V at 70 C
local five = amp.cable{ one_way_m = 5, area_mm2 = 35, current_a = 150,
  resistance_by = "iec_class_5" }
check.close(five.drop_v, 0.8310, 5e-5)
check.close(five:with{ temp_c = 70 }.drop_v, 0.9943, 5e-5)
check.close(five.loss_w, 124.65, 5e-3)

-- 35 mm2, k 143.1: 0.2508 s at 10 kA, 2240 A for 5 s; outside the law's times
-- nothing
local short_time = amp.cable{ area_mm2 = 35, insulation_c = 90,
  ampacity_a = 150 }
check.close(short_time:stands_s(10000), 0.2505, 5e-4)
check.has(select(2, short_time:stands_s(30000)), "less than 0.1 s")
check.has(select(2, short_time:stands_s(1000)), "more than 5 s")
check.close(amp.cable{ area_mm2 = 35, ampacity_a = 150 }:stands_s(10000),
  (115 * 35 / 1e4) ^ 2, 2e-4)
check.raises(function () return short_time:stands_s(-1) end, "above 0")

check.raises(function () return amp.cable{ one_way_m = -1, area_mm2 = 5 } end,
  "cable: one_way_m must lie in 0 .. 10000 m (got -1)")
check.raises(function () return amp.cable{ area_mm2 = 5, awg = 10 } end,
  "give area_mm2 or awg, not both")
check.raises(function () return amp.cable{ awg = "5/0" } end,
  "awg must be 4/0, 3/0, 2/0, 1/0 or 0 .. 40")
check.raises(function () return amp.cable{ awg = 10.5 } end, "gauge")
check.raises(function () return amp.cable{ current_a = 5 } end,
  "nothing to pick a size by")
check.raises(function () return amp.cable{ area_mm2 = 5, metal = "tin" } end,
  "metal must be copper or aluminium (got 'tin')")
check.raises(function () return amp.cable{ area_mm2 = 5, onew_ay_m = 2 } end,
  "unknown key 'onew_ay_m'")
check.raises(function () return amp.cable{ area_mm2 = 51, one_way_m = 1,
  current_a = 1, resistance_by = "iec_class_2" } end, "does not list")
check.raises(function () return amp.cable{ area_mm2 = 5,
  ampacities = { {16, 80}, {10, 60} } } end, "must rise in size")
check.raises(function () return amp.cable{ area_mm2 = 5, lug_c = 80 } end,
  "60, 75 or 90")
check.raises(function () return amp.cable{ area_mm2 = 5 }:drop() end, "drop")

-- ---- busbar ----

-- two strings of 10 mohm, 1 mohm between: 6/11 and 5/11 of 110 A at one end,
-- halves across, by hand
local bar = amp.busbar{ string_mohm = 10, strings = 2, segment_mohm = 1,
  current_a = 110 }
check.close(bar:table()[1].current_a, 60, 1e-9)
check.close(bar.most_a, 60, 1e-9)
check.close(bar:with{ take_off = "diagonal" }.most_a, 55, 1e-9)
check.close(amp.busbar{ string_mohm = {2, 4}, current_a = 90 }.most_a, 60,
  1e-9, "without a rail by conductance")
decides(bar, "a busbar")
-- mast: G is not measured, so bounds: 13 mohm at most 1.756 A of 9.8, G all
local guess = amp.busbar{ string_mohm = {14, 14, 13, 15, 14, false, 14},
  current_a = 9.8 }:table()
check.equal(guess.bound, true)
check.close(guess[3].current_a, 1.756, 1e-3)
check.close(guess[3].least_a, 0, 1e-3)
check.close(guess[6].current_a, 9.8, 1e-3)
check.has(tostring(guess), "resistance_missing")
check.raises(function () return amp.busbar{ string_mohm = {14, false},
  string_v = {25, 26}, current_a = 1 } end, "at one voltage alone")
check.raises(function () return amp.busbar{ string_mohm = {2, 4},
  strings = 3, current_a = 1 } end, "one figure a string (got 2 for 3)")
check.raises(function () return amp.busbar{ string_mohm = 2,
  current_a = 1 } end, "busbar: strings is wanted")
check.raises(function () return amp.busbar{ string_mohm = {2, 4} } end,
  "current_a is wanted")
check.raises(function () return amp.busbar{ string_mohm = {2, 4}, plus_at = 3,
  current_a = 1 } end, "there are 2 strings")

-- ---- fuse links ----

-- Preece, 0.25 mm: copper 10.00, aluminium 7.41 A; nickel has no constant
local link = amp.fuse_link{ metal = "copper", diameter_mm = 0.25,
  length_mm = 15 }
check.close(link.fusing_a, 10.00, 0.006)
check.close(amp.fuse_link{ metal = "aluminium",
  diameter_mm = 0.25 }.fusing_a, 7.41, 0.006)
check.has(tostring(link), "Fuses at about 10.0 A, steady: 8.00 to 15.0 A.")
check.has(tostring(link), "link_end_cooled")
check.has(tostring(amp.fuse_link{ metal = "copper", diameter_mm = 0.1 }),
  "link_thin")
decides(link, "a link")
local nickel = amp.fuse_link{ metal = "nickel", diameter_mm = 0.25 }
check.equal(nickel.fusing_a, nil, "no constant, no current")
check.has(tostring(nickel), "link_without_constant")
check.has((tostring(nickel):gsub("%s+", " ")), "so there is no verdict")
check.raises(function () return nickel:cascade{ cells = 2, cell_mohm = 30,
  v = 3.7, current_a = 1 } end, "without one there is no verdict")
check.equal(nickel:with{ fusing_a = 12 }.low_a, 12.0)
-- Onderdonk, 0.1 mm: 22.7 A for 10 ms; at 1 s it reads too low
local thin = amp.fuse_link{ metal = "copper", diameter_mm = 0.1 }
check.close(thin:melting_a(0.01), 22.7, 0.05)
local none, why = thin:melting_a(1)
check.equal(none, nil)
check.has(why, "reads too low there")
check.has(select(2, nickel:melting_a(0.01)), "copper alone")
check.raises(function () return amp.fuse_link{ metal = "brass",
  diameter_mm = 1 } end, "metal must be copper, aluminium,")
check.raises(function () return amp.fuse_link{ metal = "copper" } end,
  "diameter_mm is wanted")

-- ten cells, 60 A: 8 A hold, 15 A go; two gone 7.5 A, three gone 8.57, six
-- gone 15, seven gone 20; by hand
local open_link = amp.fuse_link{ metal = "copper", diameter_mm = 0.25 }
local fall = open_link:cascade{ cells = 10, cell_mohm = 30, v = 3.7,
  current_a = 60 }
check.equal(fall.hold, 2.0)
check.equal(fall.may, 6.0)
check.close(fall[4].link_a, 60 / 7, 1e-9)
check.equal(fall[8].state, "follow")
check.close(fall[1].group_v, 3.52, 1e-9)
check.close(fall.group_low_a, 80, 0.05)
check.has(tostring(fall), "2 of 10 links may go and the rest hold")
decides(fall, "a cascade")
check.has(tostring(open_link:cascade{ cells = 2, cell_mohm = 30, v = 3.7,
  current_a = 10 }), "both links carry the same")
check.has(tostring(open_link:cascade{ cells = 2, cell_mohm = 30, v = 3.7,
  current_a = 60 }), "is more than they surely")
local unequal = open_link:cascade{ cell_mohm = {20, 20, 10}, v = 3.7,
  current_a = 40 }
check.equal(unequal[2].went, 3, "the strong cell goes first")
check.raises(function () return open_link:cascade{ cells = 2.5, v = 3,
  cell_mohm = 1, current_a = 1 } end, "cells must be a whole number (got 2.5)")
check.raises(function () return open_link:cascade{ cells = 2, v = 3,
  cell_mohm = 1, current_a = -1 } end,
  "cascade: current_a must lie in 0 .. 100000 A (got -1)")
check.raises(function () return open_link:cascade{ cells = 2, v = 3 } end,
  "cell_mohm is wanted")
check.raises(function () return open_link:cascade{ cells = 2, cell_mohm = 1,
  v = 3, curent_a = 1 } end, "unknown key 'curent_a'")

local cells_of = amp.module{ chemistry = "nmc111", series = 4, parallel = 10,
  capacity_ah = 30, r10s_mohm = 12 }
local from = open_link:cascade{ module = cells_of, current_a = 60 }
check.close(from[1].group_v, 3.65 - 60 * 0.003, 0.1, "v and cells by module")
check.equal(#from, 11)

-- links that the module knows: 10 x 8 A hold; the same cascade; joining
-- keeps their limit
local linked = cells_of:with{ link = open_link }
check.close(linked.links_hold_a, 80, 0.05)
check.equal(cells_of.links_hold_a, nil)
check.close(linked:cascade{ current_a = 60 }[4].link_a, 60 / 7, 1e-9)
check.raises(function () return cells_of:cascade{ current_a = 60 } end,
  "the module has no link")
check.raises(function () return cells_of:with{ link = "thin" } end,
  "module: link must be a fuse_link (got string)")
check.equal(amp.paralleling({ ocv_v = 14.0, r10s_mohm = 2 }, { ocv_v = 14.8,
  r10s_mohm = 2 }, { module = linked }).limit_by, "link")

-- ---- short circuit ----

-- hut: ten resistances add to 20.1 mohm: 5 x 57.4 V / 4.02 mohm = 71.4 kA
local pouch = amp.module{ name = "7s2p", chemistry = nickel_rich, series = 7,
  parallel = 2, capacity_ah = amp.claimed(112), tested_ah = amp.measured(93.75),
  r10s_mohm = amp.measured(2.01), cell_v_min = 3.30, cell_v_max = 4.10 }
local hut = amp.pack{ name = "hut", module = pouch, series = 2, parallel = 5 }
local short = hut:short_circuit()
check.close(short.bus_ka, 71.4, 0.05)
check.close(short.high_ka, 2 * short.bus_ka, 1e-9)
check.close(short.into_string_ka, 71.4 * 4 / 5, 0.05)
check.equal(short:cell(1, "bus_ka").basis, "measured")
check.equal(short:cell(1, "high_ka").basis, "assumed")
check.has(tostring(short), "No verdict from this alone.")
decides(short, "a short circuit")
-- 5 x 57.4 V over 4.02 mohm, 1 mohm outside: 57.4 / (0.804 + 1) = 31.8 kA
check.close(hut:short_circuit{ out_mohm = 1 }.low_ka, 57.4 / 1.804, 1e-6)
-- the same ten as they are: 71.6 to 72.1 kA by the pairing (1.9 1.9 1.8 2.1
-- 1.9 2.6 1.8 2.2 2.0 1.9 mohm); parallel-first 57.4 V over two levels
local each = {}
for i, r in ipairs{ 1.9, 1.9, 1.8, 2.1, 1.9, 2.6, 1.8, 2.2, 2.0, 1.9 } do
  each[i] = pouch:with{ r10s_mohm = amp.measured(r) }
end
local function paired (...)
  local strings = {}
  for s, pair in ipairs{ ... } do
    strings[s] = { each[pair[1]], each[pair[2]] }
  end
  return amp.pack{ strings = strings }:short_circuit().bus_ka
end
check.close(paired({6, 3}, {8, 7}, {4, 1}, {9, 2}, {5, 10}), 71.6, 0.05)
check.close(paired({3, 7}, {1, 2}, {5, 10}, {9, 4}, {8, 6}), 72.1, 0.05)
check.close(hut:with{ order = "parallel_first" }:short_circuit().bus_ka, 71.4,
  0.05)
-- joints of 0.5 mohm between and leads of 1: 57.4 / ((4.02 + 1.5) / 5)
check.close(hut:with{ link_mohm = 0.5, lead_mohm = 1 }:short_circuit().bus_ka,
  57.4 * 5 / 5.52, 0.01)
-- one module unread: at least the other four strings
each[10] = amp.module{ chemistry = nickel_rich, series = 7, parallel = 2,
  capacity_ah = 112, cell_v_min = 3.30, cell_v_max = 4.10 }
local four_known = amp.pack{ strings = { {each[6], each[3]}, {each[8], each[7]},
  {each[4], each[1]}, {each[9], each[2]}, {each[5], each[10]} } }
  :short_circuit()
check.equal(four_known.bound, true)
check.close(four_known.bus_ka, 57.4 * (1 / 4.4 + 2 / 4.0 + 1 / 3.9), 0.01)
check.equal(four_known.high_ka, nil)
check.has(tostring(four_known), "At least")
local unread = amp.pack{ module = amp.module{ chemistry = "nmc111", series = 7,
  capacity_ah = 112 }, series = 2, parallel = 5 }
check.equal(unread:short_circuit().bus_ka, nil)
check.has(tostring(unread:short_circuit()), "short_circuit_unknown")
check.raises(function () return hut:short_circuit{ lead = 1 } end,
  "short_circuit: unknown key 'lead'")

-- ---- fuse and circuit ----

local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, surge_w = 6000, efficiency_pct = 92, idle_w = 32,
  capacitance_uf = 12000 }
local cable = amp.cable{ one_way_m = 1.8, area_mm2 = 50, ampacity_a = 150 }
local fuse = amp.fuse{ rating_a = 100, voltage_v = 80, interrupt_ka = 20 }
local function circuit (keys)
  local all = { pack = hut, inverter = inverter, cable = cable, fuse = fuse,
    at_v = 45 }
  for key, value in pairs(keys or {}) do all[key] = value end
  return amp.circuit(all)
end
-- C6: 3000 W/0.92/45 V = 72.46 A; x 1.25 = 90.6 A -> 100 A; surge 145 A
local built = circuit()
check.close(built.current_a, 72.46, 5e-3)
check.close(built.fuse_least_a, 90.6, 0.05)
check.close(built.fuse_next_a, 100, 0)
check.close(built.surge_a, 145, 0.5)
check.close(built.v_full, 57.4, 1e-9)
check.close(built.drop_pct, 0.2, 0.05)

local function names (c)
  local found = {}
  for _, row in ipairs(c:table()) do
    found[row.caution] = row.unknown and "unknown" or "wrong"
  end
  return found
end
local found = names(built)
check.equal(found.interrupt_below_short, "wrong")
check.equal(found.surge_above_fuse, "unknown", "the curve is not guessed")
check.equal(#built:table(), 2)
decides(built, "a circuit")
check.has(tostring(built), "72.5 A last at 45 V: a fuse of 90.6 A or more, " ..
  "the next standard one is 100 A.")
check.equal(names(circuit{ fuse = fuse:with{ rating_a = 160 } })
  .fuse_above_cable, "wrong")
check.equal(names(circuit{ fuse = fuse:with{ rating_a = 80 } })
  .fuse_below_load, "wrong")
check.equal(names(circuit{ fuse = fuse:with{ voltage_v = 48 } })
  .fuse_voltage_below_full, "wrong")
check.equal(names(circuit{ fuse = fuse:with{ alternating = true } })
  .fuse_for_alternating_current, "wrong")
check.equal(names(circuit{ fuse = fuse:with{ polarised = true } })
  .breaker_polarised, "wrong")
check.equal(names(circuit{ cable = cable:with{ ampacity_a = 70 } })
  .cable_below_load, "wrong")
check.equal(names(circuit{ drop_max_pct = 1.5,
  cable = cable:with{ one_way_m = 18 } }).drop_above_limit, "wrong")
check.equal(names(circuit{ v_full = 114.8 }).above_60_v, "wrong")
check.equal(names(circuit{ pack = unread }).interrupt_below_short, "unknown",
  "no resistance, no verdict")
check.equal(names(circuit{ short_ka = 5 }).interrupt_below_short, nil)
-- a curve that holds 145 A for 55 s: 5 s of surge pass, two minutes do not
local curved = fuse:with{ curve = { {120, 100}, {480, 1} } }
local t, most = curved:opens_after_s(240)
check.close(t, 10, 1e-9, "half way on log paper")
check.equal(most, false)
check.equal(select(2, fuse:opens_after_s(145)) ~= nil, true)
check.has(select(2, fuse:opens_after_s(145)), "time-current curve is wanted")
check.has(select(2, curved:opens_after_s(110)), "the curve begins at 120 A")
local passes = names(circuit{ fuse = curved, surge_s = 5 })
check.equal(passes.surge_above_fuse, nil)
check.equal(passes.surge_outlasts_fuse, nil)
check.equal(names(circuit{ fuse = curved, surge_s = 120 })
  .surge_outlasts_fuse, "wrong")
check.equal(names(circuit{ fuse = curved }).surge_time_missing, "unknown")

check.raises(function () return amp.fuse{ voltage_v = 80 } end,
  "fuse: rating_a is wanted")
check.raises(function () return amp.fuse{ rating_a = 100,
  curve = { {200, 1}, {100, 2} } } end, "fuse: curve: point 2: a larger ")
check.has(tostring(amp.circuit{}), "nothing, for want of data")
check.has(tostring(amp.circuit{}), "not judged: fuse against load")
check.has(tostring(amp.cable{ area_mm2 = 5 }), "nothing, for want of data")
check.raises(function () return amp.fuse{ rating_a = 100, curve = { 3 } } end,
  "point 1 must be {A, s}")
check.raises(function () return circuit{ fuse = cable } end,
  "fuse must be a fuse (got cable)")

-- ---- pre-charge, isolation, balancing ----

-- C7: 12 mF at 57.4 V = 19.77 J; 28.7 ohm for 2 A, tau 0.344 s
local pre = amp.precharge{ v = 57.4, capacitance_uf = 12000, current_a = 2 }
check.close(pre.r_ohm, 28.7, 1e-9)
check.close(pre.tau_s, 0.344, 5e-4)
check.close(pre.energy_j, 19.77, 5e-3)
check.equal(pre.completes, true)
decides(pre, "a pre-charge")
-- 51.2 V, 33 ohm, 15 mF: 1.4829 s, 2.2796 s, 1.9482 s; 3413 A without
local other = amp.precharge{ v = 51.2, capacitance_uf = 15000, r_ohm = 33,
  loop_mohm = 15 }
check.close(other.t95_s, 1.4829, 5e-5)
check.close(other.t99_s, 2.2796, 5e-5)
check.close(other.within_1v_s, 1.9482, 5e-5)
check.close(other.bare_a, 3413, 0.5)
local v, a, j = other:at_s(0.495)
check.close(v / 51.2, 0.6321, 6e-5, "one time constant")
check.close(a, (51.2 - v) / 33, 1e-9)
check.close(j, 19.661 * (1 - math.exp(-2)), 1e-3)
check.close(amp.precharge{ v = 800, capacitance_uf = 500, time_s = 0.5,
  done_pct = 95 }.r_ohm, 333.81, 5e-3)
local loaded = amp.precharge{ v = 57.4, capacitance_uf = 12000, r_ohm = 28.7,
  load_ohm = 100 }
check.equal(loaded.completes, false)
check.close(loaded.end_v, 44.6, 5e-3)
check.has(tostring(loaded), "precharge_with_load_on")
check.ok(not tostring(pre):find("precharge_with_load_on", 1, true))
check.raises(function () return amp.precharge{ v = 50, capacitance_uf = 1 } end,
  "one of current_a, r_ohm and time_s is wanted")
check.raises(function () return amp.precharge{ v = 50, capacitance_uf = 1,
  r_ohm = 1, time_s = 1 } end, "give r_ohm or time_s, not both")

-- C13 and C10
local isolation = amp.isolation{ v = 340, side_v = 190, side_loaded_v = 171,
  across_kohm = 50 }
check.close(isolation.kohm, 9.94, 5e-3)
check.close(isolation.ohm_per_v, 29.2, 0.05)
check.has(tostring(isolation), "isolation_too_low")
check.ok(not tostring(isolation:with{ across_kohm = 500 })
  :find("isolation_too_low", 1, true))
check.raises(function () return isolation:with{ side_v = 150 } end,
  "larger of both sides")
local balance = amp.balancing{ ah = 8, balance_a = 0.1 }
check.close(balance.hours, 80, 1e-9)
check.close(amp.balancing{ spread_pct = 8, capacity_ah = 100,
  balance_a = 0.1 }.hours, 80, 1e-9)
check.raises(function () return amp.balancing{ balance_a = 1 } end,
  "ah, or spread_pct and capacity_ah, is wanted")
decides(isolation, "isolation")
decides(balance, "balancing")

-- ---- layouts ----

local two = amp.layouts(pouch, inverter, { parallel = 5, coldest_c = -12 })
check.equal(two[1].fits, false)
check.close(two[2].v_full, 57.4, 1e-9)
check.close(two[2].margin_v, 2.6, 1e-9)
check.close(two[2].usable_pct, 88.8, 0.05)
check.close(23.953 * two[2].usable_pct / 100, 21.28, 0.01, "usable kWh")
check.ok(two[2].surge_cold_sag_v > two[2].surge_sag_v, "sags more in the cold")
check.close(two[2].surge_a, 6000 / 0.92 / 42, 1e-6)
check.has(tostring(two), "14s  lasting full load 77.6 A, ")

-- cold store: modules of 4 groups, 42.0 .. 58.4 V: 12s 75.8 % from 18.0, 14
-- cannot be made, 16 would be 65.6 V
local four = amp.module{ chemistry = nickel_rich, series = 4, capacity_ah = 94,
  cell_v_min = 3.20, cell_v_max = 4.10, r10s_mohm = 1.5 }
local store = amp.inverter{ v_min = 42, v_max = 58.4, v_abs_max = 60,
  power_w = 1100, surge_w = 6050, efficiency_pct = 93 }
local counts = amp.layouts(four, store, { groups = 14, parallel = 5 })
check.close(counts[3].soc_min_pct, 18.0, 0.05)
check.close(counts[3].usable_pct, 75.8, 0.05)
check.close(counts[3].lasting_a, 28.2, 0.05)
check.close(counts[3].surge_a, 155, 0.5)
check.close(counts[3].surge_floor_pct, 19.2, 0.05, "0.14 V of sag, by hand")
check.close(counts[3].surge_mid_v, 44.48, 0.01)
check.equal(counts[4].fits, false)
check.has(counts[4].why, "65.6 V")
check.has((tostring(counts):gsub("%s+", " ")), "cuts out at 19.2 % instead " ..
  "of 18.0")
check.has(tostring(counts), "groups_not_a_multiple")
check.has(tostring(counts), "cannot make 14 in series: 12 or 16")
check.ok(not tostring(two):find("groups_not_a_multiple", 1, true))
check.has(tostring(amp.layouts(pouch, inverter:with{ v_abs_max = 58 })),
  "no_margin_to_limit")
check.raises(function () return amp.layouts(four, store, { paralel = 2 }) end,
  "layouts: unknown key 'paralel' (did you mean 'parallel'?)")

-- ---- joining ----

-- hut: 9 to 2, 71 A, 4.4 Ah; mast: F to seven peers 37.5 A, 10.1 Ah
local nine = { ocv_v = 25.40, r10s_mohm = 2.0, ah = 93.75 }
local joined = amp.paralleling(nine, { ocv_v = 25.75, r10s_mohm = 1.9,
  ah = 93.75 }, { lead_mohm = 1.0, module = pouch, link_a = 8, lead_a = 60 })
check.close(joined.current_a, 71.4, 0.05)
check.close(joined.ah, 4.4, 0.05)
check.close(joined.link_a, 71.43 / 2, 0.01)
check.close(joined.limit_a, 16, 0)
check.equal(joined.limit_by, "link")
check.equal(joined.within, false)
check.close(joined.dv_most_v, 16 * 4.9e-3, 1e-9)
check.close(joined.resistor_mohm, 0.35 / 16 * 1e3 - 4.9, 1e-6)
check.has(tostring(joined), "joining_above_limit")
check.ok(joined.half_s < joined.tenth_s and joined.tenth_s <
  joined.hundredth_s)
decides(joined, "a joining")
local calm = amp.paralleling(nine, { ocv_v = 25.41, r10s_mohm = 1.9 },
  { lead_mohm = 1.0, module = pouch, lead_a = 60 })
check.equal(calm.within, true)
check.ok(not tostring(calm):find("joining_above_limit", 1, true))
local prismatic = amp.module{ chemistry = nickel_rich, series = 7,
  capacity_ah = 60, tested_ah = 51.35 }
local mast = amp.readings.text(invented.mast, { module = prismatic,
  columns = { id = "module", ocv_v = "OCV (V)",
  r10s_mohm = "R mOhm" } })
local peers = amp.paralleling(mast:without("F"), mast:get("F"),
  { lead_mohm = 4 })
check.close(peers.current_a, 37.5, 0.05)
check.close(peers.ah, 10.1, 0.05)
check.close(peers.current_most_a, 0.75 / 18e-3, 0.01, "G may be next to none")
check.has(tostring(peers), "resistance_missing")
check.has(tostring(amp.paralleling({ ocv_v = 25.4 }, { ocv_v = 25.7,
  r10s_mohm = 2 })), "resistance_missing")

-- LFP between its knees: equal states of charge are asked for
local iron = amp.module{ chemistry = "lfp", series = 8, capacity_ah = 105 }
local flat = amp.paralleling({ ocv_v = 26.40, r10s_mohm = 2 }, { ocv_v = 26.40,
  r10s_mohm = 2 }, { module = iron })
check.equal(flat.flat, true)
check.equal(flat.ah, nil)
check.ok(flat.ah_most > 10, "the plateau may hide much")
check.has(tostring(flat), "joined_by_flat_voltage")
local counted = amp.paralleling({ ocv_v = 26.41, r10s_mohm = 2 },
  { ocv_v = 26.40, r10s_mohm = 2 }, { module = iron, soc_a_pct = 60,
  soc_b_pct = 50 })
check.close(counted.ah, 5.25, 1e-6)
check.ok(not tostring(counted):find("joined_by_flat_voltage", 1, true))
check.raises(function () return amp.paralleling(nine, nine,
  { lead_a = -1 }) end, "paralleling: lead_a must lie in 0.001 .. 100000 A")

-- 60, 45 and 40 %: the first two before the third, 131 and 146 A
local straight = amp.chemistry{ name = "straight", interp = "linear",
  ocv_v = { {0, 3.4}, {100, 4.4} }, v_min = 3.3, v_max = 4.5 }
local long = amp.module{ chemistry = straight, series = 14, capacity_ah = 100 }
local order = amp.joining_order({ { id = "x", ocv_v = 56.0, r10s_mohm = 8 },
  { id = "y", ocv_v = 53.9, r10s_mohm = 8 }, { ocv_v = 53.2, r10s_mohm = 8 } },
  { module = long })
check.close(order[2].current_a, 131.25, 1e-6)
check.close(order[3].current_a, 1.75 / 12e-3, 1e-6)
check.equal(order[3].which, "no. 3")
check.close(order[2].ah, 7.5, 1e-6)
check.close(order.most_a, 1.75 / 12e-3, 1e-6)
check.has(tostring(order), "no first current is above 146 A")
check.raises(function () return amp.joining_order{ nine } end,
  "a list of 2 .. 32 strings is wanted")
check.raises(function () return amp.joining_order({ { ocv_v = 26.4,
  r10s_mohm = 2 }, { ocv_v = 26.3, r10s_mohm = 2 } }, { module = iron }) end,
  "full is surest")

check.raises(function ()
  return amp.fuse_link{ metal = "copper", diameter_mm = 0.3,
    length_mm = 5 }:cascade{ cells = 74, cell_mohm = 60, v = 3.6,
    current_a = 100, strings = 0 / 0 }
end, "cascade: strings must be a whole number in 1 .. 1000", "no count")

-- temperatures in Fahrenheit: 68 F are 20 C, 14 F are -10 C
check.close(amp.cable{ one_way_m = 2, area_mm2 = 70, current_a = 154, v = 48,
  temp_f = 140 }.drop_v, amp.cable{ one_way_m = 2, area_mm2 = 70,
  current_a = 154, v = 48, temp_c = 60 }.drop_v, 1e-12)
check.close(amp.layouts(pouch, inverter, { coldest_f = 14 })[2].surge_cold_sag_v,
  amp.layouts(pouch, inverter, { coldest_c = -10 })[2].surge_cold_sag_v, 1e-9)
check.raises(function () amp.layouts(pouch, inverter, { coldest_f = 14,
  coldest_c = -10 }) end, "give coldest_c or coldest_f, not both")

-- a unit never stands alone on its line
local thick = amp.pack{ module = amp.module{ chemistry = "lfp", series = 4,
  capacity_ah = 200, r10s_mohm = amp.measured(4) }, series = 4, parallel = 2 }
check.ok(not tostring(thick:short_circuit()):find("\nkA *\n"), "kA alone")

check.done()
