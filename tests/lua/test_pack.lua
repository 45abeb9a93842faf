--- Packs of unequal modules and groups: what they hold in both orders, who
-- carries how much, which group ends it, strings taken out, balance, warmth.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local function module (name, ah, mohm, groups)
  return amp.module{ name = name, chemistry = "nmc111", series = 7,
    parallel = 2, capacity_ah = amp.claimed(112),
    tested_ah = amp.measured(ah), r10s_mohm = amp.measured(mohm),
    mass_kg = 17.5, groups = groups, soc_min_pct = 5, soc_max_pct = 95,
    soh_end_pct = 55 }
end

-- three strings of two: 90 + 80 + 70 = 240 Ah string-first, the lesser of 279
-- and 255 parallel-first, times 14 groups of 3.65 V
local strings = { { module("1", 100, 1.9), module("2", 90, 1.8) },
  { module("3", 80, 2.2), module("4", 95, 1.9) },
  { module("5", 99, 1.8), module("6", 70, 2.6) } }
local first = amp.pack{ strings = strings }
local level = amp.pack{ strings = strings, order = "parallel_first" }
check.close(first.tested_kwh, 240 * 14 * 3.65 / 1000, 1e-9)
check.close(level.tested_kwh, 255 * 14 * 3.65 / 1000, 1e-9)
check.close(level.usable_kwh / level.tested_kwh, 0.9, 1e-9)
check.equal(first.groups, 14)
check.close(first.mass_kg, 105, 1e-9)
local flat = amp.pack{ series = 2, parallel = 3, module = { strings[1][1],
  strings[1][2], strings[2][1], strings[2][2], strings[3][1],
  strings[3][2] } }
check.equal(flat.tested_kwh, first.tested_kwh)

-- modules listed that are all one are the plain pack, to the bit
local one = module("x", 93, 1.9)
local plain = amp.pack{ module = one, series = 2, parallel = 3 }
local listed = amp.pack{ strings = { { one, one }, { one, one },
  { one, one } } }
local day = amp.profile.daily{ load_kwh = 6, solar_kwp = 3, sun_hours = 3,
  temp_c = 15 }
check.equal(listed.tested_kwh, plain.tested_kwh)
check.equal(tostring(listed:simulate(day).out_kwh),
  tostring(plain:simulate(day).out_kwh))

-- parallel-first holds more, so it serves more
local short = amp.profile.daily{ load_kwh = 22, solar_kwp = 11,
  sun_hours = 2.8, temp_c = 15 }
local a, b = first:simulate(short), level:simulate(short)
check.ok(b.served_kwh > a.served_kwh, "parallel-first serves more")
check.close(a.served_kwh + a.unserved_kwh, 22 * 365, 1e-6)
check.ok(a.share_error_pct > 0 and a.share_error_pct < 0.1, "shared")
check.close(a.balance_kwh, 0, 1e-6)
check.ok(level:autonomy(day).days > first:autonomy(day).days, "autonomy")
local opts = { life_model = amp.life_model{ calendar_pct_per_year = 1,
  cycle_pct_per_efc = 0.01 }, draws = 20 }
local years, more = first:life(short, opts), level:life(short, opts)
check.ok(more.years > years.years, "and lasts longer")
check.close(years.tested_kwh, first.tested_kwh, 1e-6)

-- who carries how much: the shares of three strings are all of it
local share = 0
for i = 1, 3 do share = share + a.strings[i].share_pct end
check.close(share, 100, 1e-6)
check.ok(a.strings[1].share_max_pct > 100 / 3, "one carries more than even")
check.has(tostring(a), "string 1 gave most")
local trace = a:trace{ every = 300 }
for i = 1, #trace, 40 do
  local t = trace[i]
  check.close(t.string_1_a + t.string_2_a + t.string_3_a, t.current_a, 1e-6)
end
check.equal(plain:simulate(day).strings, nil)

-- the weak group of one module ends it, and is named
local weak = module("w", 93, 1.9, { [4] = { capacity_ah = 60 } })
local pack = amp.pack{ module = { one, weak }, series = 2, parallel = 1 }
local run = pack:simulate(amp.profile.daily{ load_kwh = 4, temp_c = 15 },
  { start = "full" })
check.close(pack.tested_kwh, 60 * 14 * 3.65 / 1000, 1e-9)
check.has(tostring(run), 'string 1, module 2 ("w"), group 4, 1 times')
check.equal(run.groups[3].empty_times, 1)

-- a cell of two with a blown link is half of the group
local blown = amp.pack{ series = 1, parallel = 1,
  module = module("b", 93, 1.9, { [1] = { blown = 1 } }) }
check.close(blown.tested_kwh, 46.5 * 7 * 3.65 / 1000, 1e-9)

-- taken out: the string of module 3; parallel-first the module alone
check.close(first:without("3").tested_kwh, 160 * 14 * 3.65 / 1000, 1e-9)
check.close(first:without(1).tested_kwh, 150 * 14 * 3.65 / 1000, 1e-9)
check.close(level:without("3").tested_kwh, 199 * 14 * 3.65 / 1000, 1e-9)
check.close(level:without("3").mass_kg, 87.5, 1e-9)
check.equal(plain:without(2).parallel, 2)
check.close(plain:without(2).tested_kwh, plain.tested_kwh * 2 / 3, 1e-9)

-- by hand: 8 Ah at 0.1 A are 80 h
local uneven = {}
for i = 1, 7 do uneven[i] = { soc_pct = i == 3 and 58 or 50 } end
local top = amp.pack{ module = module("u", 100, 1.9, uneven), series = 1,
  parallel = 1, bleed_a = 0.1, bleed_above_v = 3.9 }
local balance = top:balance()
check.close(balance.ah, 8, 1e-9)
check.close(balance.hours, 80, 1e-6)
check.close(balance.lost_ah, 8, 1e-9)
check.equal(balance.group, 3)
check.equal(top:with{ bleed_a = 0 }:balance().hours, nil)
-- a charge that nobody told is not known, and why
check.equal(plain:balance().ah, nil)
check.has(plain:balance():cell(1, "hours").why, "no group is told: groups = {")
check.has(tostring(plain:balance()), "Not known how its groups stand: bring " ..
  "every module full")
local alike = {}
for i = 1, 7 do alike[i] = { soc_pct = 50 } end
local even = amp.pack{ module = module("e", 100, 1.9, alike), series = 1,
  parallel = 1 }
check.equal(even:balance().ah, 0, "told, and level")
check.has(tostring(even:balance()), "All groups are full together.")

-- strings say which module stands where: no other shape beside them
check.raises(function () return first:with{ series = 4 } end,
  "series = 4 beside strings of 2: strings say which module stands where")
check.raises(function () return first:with{ parallel = 4 } end,
  "parallel = 4 beside 3 strings")
check.equal(first:with{ series = 2, parallel = 3 }.tested_kwh,
  first.tested_kwh, "the same shape again")
check.has(tostring(first), "together              14 groups, 51.1 V nominal, ")
check.has(tostring(first), " Ah, ")
check.has(tostring(top:with{ bleed_a = 1e-9 }:balance()),
  "takes over a year")
check.ok(not tostring(balance):find("over a year", 1, true))

-- by hand: 175 kg by 17 K are 0.826 kWh; losses come on top
local ten = amp.pack{ module = one, series = 2, parallel = 5 }
local warm = ten:warm{ from_c = -12, to_c = 5, heater_w = 500 }
check.close(warm.stored_kwh, 0.826, 0.0005)
check.close(warm.kwh, warm.stored_kwh + warm.lost_kwh, 1e-12)
check.ok(warm.lost_kwh > 0.05 and warm.lost_kwh < 0.5, "some is lost")
check.close(warm.kwh, 0.5 * warm.hours, 1e-9)
-- without a heater: what stays in the cells, and no guess of time and losses
local unheated = ten:warm{ from_c = -12, to_c = 5 }
check.close(unheated.stored_kwh, 175 * 17 / 3600, 1e-9)
check.close(unheated.hold_w, warm.hold_w, 1e-9)
check.equal(unheated.kwh, nil)
check.has(unheated:cell(1, "kwh").why, "heater_w is not given")

-- the same in the run: the heater goes on at once, off at the wanted 5 C
local winter = amp.profile.steps and amp.profile.daily{ dc_load_w = 0,
  load_kwh = 0, temp_c = -12, months = { 1 } }
-- the same in Fahrenheit: 14 F are -10 C, 41 F are 5 C
local warmed = ten:with{ heater_w = 500, heater_on_f = 41 }
check.equal(warmed.heater_on_f, 41)
check.equal(warmed:with{ heater_on_c = 4 }.heater_on_f, nil, "replaced")
check.close(warmed:warm{ from_f = 14, to_f = 41, ambient_f = 14 }.hours,
  warmed:warm{ from_c = -10, to_c = 5, ambient_c = -10 }.hours, 1e-9)
check.raises(function () warmed:warm{ from_f = 14, from_c = -10, to_c = 5 } end,
  "give from_c or from_f, not both")
check.raises(function () warmed:warm{ from_f = 1400, to_c = 5 } end,
  "from_f must lie in -76 .. 140 F (got 1400)")
local heated = ten:with{ heater_w = 500, heater_on_c = 4, heater_off_c = 5,
  heater_from = "outside" }:simulate(winter, { start = "full" })
check.close(heated.temp_max_c, 5, 0.01)
-- a month: the first warming, then what holding between 4 and 5 C takes
local hold = 16.5 / 17 * warm.hold_w / 1000 * 365 * 24
check.close(heated.heater_kwh / (warm.kwh + hold), 1, 0.02)
check.equal(heated.out_kwh, 0)

-- fed by the pack it may cost more than it saves, and that is said
local frozen = amp.profile.daily{ load_kwh = 1.2, solar_kwp = 2.4,
  performance_pct = 70, temp_c = { -9, -8, -4, 1, 7, 11, 14, 13, 9, 4, -3,
    -8 }, sun_hours = { 1.6, 2.4, 3.6, 4.4, 4.9, 5.3, 5.6, 5.0, 3.6, 2.1, 1.5,
    1.3 } }
local hut = { inverter = amp.inverter{ v_min = 42, v_max = 58,
  efficiency_pct = 92, idle_w = 32 } }
local shut = ten:with{ current_limits = "lithium" }
local function unserved (p) return p:simulate(frozen, hut).unserved_kwh end
local open = shut:with{ heater_w = 300 }
check.ok(unserved(open) > unserved(shut), "in an open room")
local said = tostring(open:simulate(frozen, hut)):gsub("\n", " ")
check.has(said, "it costs more than it saves")
local boxed = open:with{ cooling_w_per_k = 0.1 }
check.ok(unserved(boxed) < unserved(shut), "in a box")
check.has(tostring(boxed:simulate(frozen, hut)), "it saves")
check.ok(not tostring(shut:simulate(frozen, hut)):find("heater takes", 1,
  true))

-- cold: nothing goes in below 0 C, and what that costs is counted
local cold = amp.profile.daily{ load_kwh = 1, solar_kwp = 2, sun_hours = 2,
  temp_c = { -5, -5, 5, 8, 12, 15, 18, 18, 12, 8, 3, -5 } }
local bare = ten:simulate(cold)
check.ok(bare.cold_charge_h > 10, "charged below 0 C")
check.has(tostring(bare), "Charged below 0 C")
local locked = ten:with{ current_limits = "lithium" }:simulate(cold)
check.equal(locked.cold_charge_h, 0)
check.ok(locked.cold_curtailed_kwh > 1 and locked.cold_h > 10, "counted")
check.has(tostring(locked), "Temperature held the current back")
check.has(tostring(locked):gsub("%s+", " "), "kWh not served in these hours. " ..
  "What is not served later, since less went in, stands in unserved alone.")
check.has(tostring(locked), "Not checked: fuses, cable. ")
check.has(tostring(bare), "Not checked: fuses, cable, cold charging.")
-- own points: none flows warmer than the last of them, and that is said
local own = ten:with{ current_limits = { discharge = { { -20, 0.5 },
  { 0, 1 } } } }:simulate(cold)
check.has(tostring(own), "current_limits  discharge from -20 to 0 C (first and")
check.has(tostring(own), "cold charging.")
check.equal(own.months[7].out_kwh, 0, "July lies outside")

-- a fuse of 50 A that 9 kW for an hour opens
local peak = {}
for h = 1, 24 do peak[h] = h == 3 and 9000 or 0 end
local surge = amp.profile.daily{ load_w = peak, solar_kwp = 3, sun_hours = 3,
  temp_c = 15 }
local fused = amp.pack{ strings = strings,
  string_fuse = { rating_a = 50, time_s = 5 } }:simulate(surge,
  { start = "full" })
check.close(fused.first_opened_h, 2, 0.02)
check.has(tostring(fused), "The fuse of string")
check.ok(fused.unserved_kwh > 0, "with all of them open")

-- refusals at the user's line
local function refuses (words, fn, ...)
  local ok, err = pcall(fn, ...)
  check.ok(not ok, "refused")
  check.has(tostring(err), words)
end
refuses("blown must lie in 0 .. 1", module, "m", 90, 1.9,
  { [2] = { blown = 2 } })
refuses("did you mean 'blown'", module, "m", 90, 1.9, { [2] = { blow = 1 } })
refuses("groups go by number, 1 .. 7", module, "m", 90, 1.9, { [8] = {} })
refuses("charge is given of some groups, not of group 1", module, "m", 90,
  1.9, { [2] = { soc_pct = 50 } })
refuses("they cannot stand side by side", amp.pack,
  { strings = { { one }, { one, one } } })
-- what would stand past a hole or under a name is not left out in silence
refuses("strings must be a list without holes or names (1 places in a row, " ..
  "2 things in it)", amp.pack,
  { strings = { [1] = { one, one }, [3] = { one, one } } })
refuses("a string must be a list without holes or names", amp.pack,
  { strings = { { one, one }, { one, one, spare = one } } })
refuses("module must be a list without holes or names", amp.pack,
  { module = { one, one, spare = one }, series = 2, parallel = 1 })
refuses("3 modules are listed, 2 in series times 2 in parallel are 4",
  amp.pack, { module = { one, one, one }, series = 2, parallel = 2 })
refuses("bleed_a wants bleed_above_v", amp.pack, { module = one, series = 2,
  parallel = 1, bleed_a = 0.1 })
refuses("a larger current must not take longer", amp.pack, { module = one,
  series = 2, parallel = 1, string_fuse = { curve = { { 100, 5 }, { 200,
    9 } } } })
refuses("cell_v_min must lie below cell_v_max (got 4.1 and 3.5)", amp.pack,
  { module = one, series = 2, parallel = 1, cell_v_min = 4.1,
    cell_v_max = 3.5 })
refuses("soc_min_pct must lie below soc_max_pct (got 90 and 20)", amp.pack,
  { strings = { { one }, { one } }, soc_min_pct = 90, soc_max_pct = 20 })
refuses("curve: a point's current must lie in 0.001 .. 1000000 A (got -1)",
  amp.fuse, { rating_a = 100, curve = { { -1, 5 } } })
-- fields of curves and heaters are told as they were given, in C and A
local function limits (charge)
  return { module = one, series = 2, parallel = 1,
    current_limits = { charge = charge } }
end
refuses("current_limits: a point's temp_c must lie in 10 .. 226.85 C (got 5)",
  amp.pack, limits{ { 10, 1 }, { 5, 1 } })
refuses("heater_off_c must lie in 5.1 .. 126.85 C (got 3)", amp.pack,
  { module = one, series = 2, parallel = 1, heater_w = 100, heater_on_c = 5,
    heater_off_c = 3 })
refuses("string_fuse: rating_a, or a point's current, must lie in", amp.pack,
  { module = one, series = 2, parallel = 1,
    string_fuse = { rating_a = -1, time_s = 3 } })
refuses("no module of pack is called 'zz'", first.without, first, "zz")
refuses("end at -", ten.warm, ten, { from_c = -12, to_c = 5, heater_w = 5 })
refuses("a string with a module missing", amp.pack,
  { strings = { { one, false }, { one, one } } })

-- ---- a heater that would end beyond any cell ----

local heavy = amp.module{ chemistry = "lfp", series = 8, capacity_ah = 105,
  mass_kg = 20 }
local hot = amp.pack{ module = heavy, series = 2, parallel = 1 }:warm{
  from_c = -60, to_c = 60, heater_w = 1e5 }
check.equal(hot.end_c, nil)
check.has(hot:cell(1, "end_c").why, "far beyond any cell")
check.ok(hot.hours > 0)
local mild = amp.pack{ module = heavy, series = 2, parallel = 1 }:warm{
  from_c = 0, to_c = 10, heater_w = 100 }
check.close(mild.end_c, 100 / 2.23, 0.1, "its losses take all of 100 W")

check.done()
