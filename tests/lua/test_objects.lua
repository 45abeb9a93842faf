--- Objects: keys read back as given, copies with changes, printing, values
-- with their basis, and the small calls. Expected numbers carry their source.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local module = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5,
  tested_ah = amp.measured(93.75, 3.0) }

-- keys read back as given, and never change
check.equal(module.series, 7)
check.equal(module.chemistry, "nmc111")
check.equal(module.capacity_ah.value, 112)
check.equal(module.capacity_ah.basis, "claimed")
check.equal(module.tested_ah.sd, 3.0)
check.equal(module.soh_pct, nil)
check.raises(function () module.series = 8 end, "a module never changes")
local hours = { 4.9, 5.3 }
local day = amp.profile.daily{ load_kwh = 3, solar_kwp = 1, months = { 5, 6 },
  sun_hours = hours, temp_c = 12 }
hours[1] = 99
day.sun_hours[2] = 99
check.equal(day.sun_hours[1], 4.9, "a list given is copied")
check.equal(day.sun_hours[2], 5.3, "a list read is a copy")

-- nameplate: 112 Ah x 7 x 3.65 V = 2.8616 kWh; tested 93.75 Ah: 2.39531
check.close(module.nameplate_kwh, 2.8616, 1e-9)
check.close(module.tested_kwh, 2.3953125, 1e-9)

-- with: a changed copy; siblings replace each other; units of the reader
local heavy = module:with{ mass_lb = 40 }
check.equal(heavy.mass_kg, nil)
check.equal(heavy.mass_lb, 40)
check.equal(module.mass_kg, 17.5)
local offer = amp.offer{ name = "H1", module = module, count = 12,
  price_lot = 2950, premium_pct = 15, freight = 260, fees = 85,
  tax = "excluded", tax_pct = 20, dud_pct = amp.claimed(10),
  remark = "white crust \27[31m" }
check.equal(offer:with{ price_each = 245 }.price_lot, nil)
check.equal(offer:with{ price_each = 245 }.price_each, 245)
check.equal(offer.module.name, "7s2p pouch")

-- printing: name, every key with unit and basis, defaults; no addresses
local text = tostring(module)
check.has(text, 'module "7s2p pouch"')
check.has(text, "112 Ah, claimed")
check.has(text, "93.75 Ah, measured, sd 3")
check.has(text, "17.5 kg")
check.has(text, "r10s_mohm: a default by chemistry is taken, assumed")
check.has(tostring(amp.module{ chemistry = "nmc111", series = 7,
  capacity_ah = amp.measured(48, 2) }), "what was measured belongs in")
check.ok(not text:find("0x", 1, true), "no addresses")
check.has(tostring(offer), "white crust \\x1b[31m")
check.has(tostring(day), "{4.9, 5.3} h")
check.has(tostring(amp.module{ chemistry = "lfp", series = 8,
  capacity_ah = 105 }), "105 Ah, assumed")

-- values: two tests of twelve, mean 93.75, half width 27.26 Ah
-- by hand: t(1) = 12.706, lot factor sqrt(1 - 2/12)
local two = amp.tested({ 96.1, 91.4 }, { of = 12 })
check.close(two.value, 93.75, 1e-12)
check.close(two.half_width, 27.26, 0.01)
check.equal(two.basis, "measured")
check.equal(amp.tested({ 96.1, 91.4 }, { of = 12, by = "seller" }).basis,
  "claimed")
check.has(tostring(two), "2 of 12 tested")
check.has(tostring(amp.tested({ 96.1 }, { of = 12 })), "one test")
check.equal(amp.between(1, 2).value, 1.5)
check.equal(amp.between(1, 2).basis, "assumed")
check.equal(amp.between(3, 3).spread, "fixed")

-- money: landed cost of a lot bought at auction, by hand:
-- (2950 x 1.15 + 260 + 85) x 1.20 = 4485.00
local landed = offer:landed()
check.close(landed.total, 4485.00, 1e-9)
check.close(landed.premium, 442.5, 1e-9)
local sum = 0
for _, line in ipairs(landed.lines) do sum = sum + line[2] end
check.close(sum, landed.total, 1e-9)
-- binomial, N = 12, p = 0.10, at least 10: 0.8891; 45/66 = 0.6818
check.close(offer:chance{ good = 10 }, 0.8891, 5e-5)
check.close(offer:chance{ duds = 2, tested = 2 }, 45 / 66, 1e-12)
-- annuity factor of 10 years at 5 % is 7.7217: 5763 / (577.76 x 7.7217)
check.close(amp.levelised{ first = 5763, years = 10, discount_pct = 5,
  kwh = 577.76 }, 5763 / (577.76 * 7.7217), 1e-4)

-- packs: ten modules, 3.30 .. 4.10 V a group: 14 groups, 57.4 V full
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, efficiency_pct = 92, idle_w = 32 }
local pack = amp.pack{ module = module, series = 2, parallel = 5,
  cell_v_min = 3.30, cell_v_max = 4.10 }
check.equal(pack.groups, 14)
check.close(pack.tested_kwh, 23.953125, 1e-9)
check.equal(pack.mass_kg, 175.0)
local duty = amp.profile.daily{ load_kwh = 3.14, months = amp.range(5, 10),
  temp_c = 12, solar_kwp = 2.4, performance_pct = 70,
  sun_hours = { 4.9, 5.3, 5.6, 5.0, 3.6, 2.1 } }
local days = pack:autonomy(duty, inverter)
-- 3.14 / 0.92 + 0.032 x 24 = 4.181 kWh a day; October, 2.4 x 2.1 x 0.7
check.close(days.need_kwh, 3.14 / 0.92 + 0.032 * 24, 1e-9)
check.close(days.supply_kwh, 2.4 * 2.1 * 0.7, 1e-9)
check.equal(days.month, 10)
check.equal(math.type(days.month), "integer", "prints as 10")
check.close(days.days, pack.usable_kwh / days.need_kwh, 1e-9)
check.close(duty.year_kwh, 3.14 * 184, 1e-6, "184 days, May to October")
local fits = amp.layouts(module:with{ cell_v_min = 3.3, cell_v_max = 4.1 },
  inverter)
check.equal(fits[1].fits, false)
check.ok(fits[1].why and #fits[1].why > 0, "a reason stands there")
check.equal(fits[2].groups, 14)
check.close(fits[2].v_full, 57.4, 1e-9)
check.close(fits[2].v_empty, 46.2, 1e-9)

-- years: (SoH now - SoH end) / (calendar + cycle x EFC a year), with
-- the EFC that the simulated first year counts; 1 %, as EFC rise with fade
local lived = amp.pack{ module = module:with{ tested_ah = 112 * 0.837,
  soh_end_pct = 60, life_model = amp.life_model{ calendar_pct_per_year = 1.5,
  cycle_pct_per_efc = 0.008 } }, series = 2, parallel = 5,
  cell_v_min = 3.3, cell_v_max = 4.1 }:life(duty,
  { inverter = inverter, draws = 4, horizon_years = 30 })
check.close(lived.years, 23.7 / (1.5 + 0.008 * lived.efc),
  0.01 * lived.years)
check.equal(lived.years_beyond, false)
check.close(lived.usable_kwh, 10 * 25.55 * 93.744 * 0.888 / 1000, 0.3,
  "88.8 % of the tested kWh, or a little more by this table")
check.equal(lived.total, nil, "no money where none was asked")
check.raises(function () pack:life(duty, { invertr = inverter }) end,
  "did you mean 'inverter'?")

-- Fahrenheit: 104 F is 40 C exactly
local warm = amp.profile.daily{ load_w = 100, temp_f = 104 }
check.equal(warm.temp_f, 104)
check.equal(warm:with{ temp_c = 40 }.temp_f, nil)

-- bids: the ceiling gives back the target when it is offered
local need = amp.need{ currency = "EUR", duty = duty, inverter = inverter }
local target = amp.bid_ceiling(offer, need, { target = 200, per = "nameplate" })
local at = amp.compare({ offer:with{ price_lot = target } }, need, { draws = 1 })
check.close(at[1].total / (12 * 2.8616), 200, 1e-6)

-- without premium, freight and the rest the total is the price and its tax
-- of 20 %, so by hand the price is target x usable kWh / 1.2
local plain = offer:with{ premium_pct = 0, freight = 0, fees = 0 }
local per_usable = amp.bid_ceiling(plain, need, { target = 120 })
local usable = amp.compare({ plain }, need)[1].usable_kwh
check.close(per_usable, 120 * usable / 1.2, 1e-3) -- medians of both
check.close(amp.compare({ plain:with{ price_lot = per_usable } },
  need)[1].per_usable, 120, 1e-9, "as the column has it")

-- cycles: ASTM E1049-85 (2017), figure 6: 3 x 0.5, 4 x 1.5, 6 x 0.5,
-- 8 x 1.0, 9 x 0.5
local count = {}
for _, c in ipairs(amp.rainflow{ -2, 1, -3, 5, -1, 3, -4, 4, -2 }) do
  count[c.range] = (count[c.range] or 0) + c.count
end
check.equal(count[3.0], 0.5)
check.equal(count[4.0], 1.5)
check.equal(count[6.0], 0.5)
check.equal(count[8.0], 1.0)
check.equal(count[9.0], 0.5)

-- a user's own chemistry and cell
local own = amp.chemistry{ name = "mine", interp = "linear",
  ocv_v = { { 0, 3.0 }, { 50, 3.6 }, { 100, 4.2 } } }
local mine = amp.module{ chemistry = own, series = 10, capacity_ah = 50 }
check.close(mine.nameplate_kwh, 50 * 36 / 1000, 1e-9)
local cell = amp.cell{ chemistry = "lfp", capacity_ah = 2.5, r0_mohm = 10 }
check.close(amp.module{ cell = cell, series = 8, parallel = 4 }.nameplate_kwh,
  2.5 * 4 * 8 * 3.2 / 1000, 1e-9)

-- a law of the user's own: 2 % a year from 100 to 60 % takes 20 years, and
-- its own error comes back with its own line
local function with_law (law)
  return amp.compare({ offer:with{ dud_pct = 0, module = module:with{
    tested_ah = 112, soh_end_pct = 80,
    life_model = amp.life_model{ fade = law } } } }, need, { draws = 2 })
end
check.close(with_law(function () return 2 end)[1].years, 10, 1e-6)
check.raises(function () with_law(function (s) return s.nope + 1 end) end,
  "test_objects.lua:")
check.raises(function () with_law(function () return "x" end) end,
  "fade must give 0 .. 1000 percent a year")

-- offers and duties from text
local list = amp.offers.text([[
offer;module;count;price_each;tax;soh_pct
A;pouch;12;245,50;included;83
"B; ""blue""";pouch;8;199;included;
]], { decimal = ",", modules = { pouch = module } })
check.equal(#list, 2)
check.equal(list[1].price_each, 245.5)
check.equal(list[2].name, 'B; "blue"')
check.equal(list[2].soh_pct, nil)
local series = {}
for h = 0, 47 do series[#series + 1] = h * 3600 .. ",500" end
local read = amp.profile.text("time_s,load_w\n" .. table.concat(series, "\n"))
check.close(read.year_kwh, 8760 * 0.5, 1e-9, "two days of 500 W, all year")

-- ranges
check.equal(table.concat(amp.range(2, 6), " "), "2 3 4 5 6")
check.equal(#amp.range(0, 1, 0.1), 11)
check.equal(amp.range(0, 1, 0.1)[11], 1.0)
check.equal(#amp.range(5, 4), 0)
check.equal(amp.range(5, 1, -2)[3], 1)

-- the reference page is what the fields say
local page = io.open(here .. "/docs/reference/objects.md", "rb")
if check.ok(page, "docs/reference/objects.md stands") then
  local write = assert(loadfile(here .. "/scripts/dev/objects.lua"))
  check.ok(page:read("a") == write("text"),
    "run: lua5.4 scripts/dev/objects.lua > docs/reference/objects.md")
  page:close()
end

-- a printed object keeps to the width of a screen, nothing lost in folding
local wide = amp.module{ name = "m", chemistry = "nmc111", series = 6,
  parallel = 1, capacity_ah = 94 }
local rows = {}
for i = 1, 6 do rows[i] = { wide, wide } end
local printed = tostring(amp.pack{ strings = rows })
for line in printed:gmatch("[^\n]+") do
  check.ok(utf8.len(line) <= 78, "over 78 columns: " .. line)
end
check.equal(select(2, printed:gsub('module%s+"m"', "")), 12,
  "all twelve are named")
check.has(printed:gsub("%s+", " "),
  "soc_max_pct: 93.4 % by the chemistry's daily limit, assumed")

-- a script's own variables may be called as Lua's libraries are
do
  local kept = { table = table, string = string, math = math, pcall = pcall,
    ipairs = ipairs, pairs = pairs, tostring = tostring, type = type }
  local set, show = rawset, print and tostring
  for name in pairs(kept) do set(_G, name, 7) end
  local ok, why = kept.pcall(function ()
    return show(amp.table{ columns = { "a" }, rows = { { a = 1 } } }) ..
      show(amp.chemistries()) .. show(amp.layouts(amp.module{ series = 7,
      chemistry = "nmc111", capacity_ah = 9 },
      amp.inverter{ v_min = 42, v_max = 58 }))
  end)
  for name, value in kept.pairs(kept) do set(_G, name, value) end
  check.ok(ok, "a global called 'table' is the script's own: " ..
    tostring(why))
end

-- as the trade spells a chemistry: the key is told, none is chosen
for theirs, words in pairs{ LiFePO4 = "(that is lfp here)",
  LFP = "(that is lfp here)", NMC = "(that is nmc111 or nmc811 here)",
  ["NMC 811"] = "(that is nmc811 here)", NCA = "(that is nca here)",
  LMO = "(that is lmo_blend here)", ["lead-acid"] = "(that is lead_acid here)",
  LTO = "(see amp.chemistries(); another is amp.chemistry{ ocv_v = .. })",
  nmc11 = "(did you mean 'nmc111'?)" } do
  check.raises(function () return amp.module{ chemistry = theirs, series = 8,
    capacity_ah = 100 } end, "chemistry '" .. theirs .. "' is not known " ..
    words)
end

check.done()
