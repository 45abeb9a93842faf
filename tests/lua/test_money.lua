--- Money: landed costs, bids, rates and interest against sums worked by hand
-- and printed tables. All offers are invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local cent = 1e-6 -- what is worked out to the cent is exact here

-- rest voltages of the hut, joined by straight lines (invented)
local nickel = amp.chemistry{ name = "nickel-rich", interp = "linear",
  ocv_v = { { 0, 3.00 }, { 5, 3.30 }, { 10, 3.42 }, { 20, 3.52 },
    { 30, 3.58 }, { 40, 3.62 }, { 50, 3.67 }, { 60, 3.75 }, { 70, 3.84 },
    { 80, 3.93 }, { 90, 4.05 }, { 100, 4.18 } } }

local function made (name, series, nominal, ah, kg, chemistry)
  return amp.module{ name = name, chemistry = chemistry or nickel,
    series = series, nominal_v = nominal, capacity_ah = amp.claimed(ah),
    mass_kg = kg, soh_end_pct = 60, cell_v_min = chemistry == nil and 3.30
      or nil, cell_v_max = chemistry == nil and 4.10 or nil }
end

local function offer (name, module, count, keys)
  keys.name, keys.module, keys.count = name, module, count
  keys.dud_pct = keys.dud_pct or 0
  return amp.offer(keys)
end

-- ---- every landed figure of three worked cases, to the cent ----

local pouch = made("7s2p", 7, 25.55, 112, 17.5)
local small = made("4s1p", 4, 14.6, 94, 12)
local H1 = offer("H1", pouch, 12, { price_lot = 2950, premium_pct = 15,
  freight = 260, hazmat = 85, tax = "excluded", tax_pct = 20, bos = 640,
  bos_kg = 45, dud_pct = 10, currency = "EUR" })
local C1 = offer("C1", small, 16, { price_lot = 1480, premium_pct = 12,
  tax = "excluded", tax_pct = 20, collection = 310 * 0.45, bos = 520,
  currency = "GBP" })
local C2 = offer("C2", made("14s1p", 14, 51.1, 37, 20), 10,
  { price_each = 215, tax = "included", freight = 95, hazmat = 40 })
local boxed = made("16s", 16, 51.2, 100, 46, "lfp")
local worked = {
  -- a hut
  { H1, 4485.00, 34.34, 130.6 },
  { offer("H2", made("8s1p", 8, 25.6, 105, 21.5, "lfp"), 8,
      { price_each = 318, tax = "included" }), 2544.00, 21.504, 118.3 },
  { offer("H3", boxed, 3, { price_each = 1060, tax = "included" }),
    3180.00, 15.36, 207.0 },
  -- a mast
  { offer("R1", made("4s3p", 4, 14.6, 150, 15), 6, { price_each = 140,
      freight = 210, hazmat = 45, tax = "none" }), 1095, 13.14, 83.3 },
  { offer("R2", made("7s1p", 7, 25.55, 60, 15), 8, { price_each = 155,
      freight = 265, hazmat = 45, tax = "none" }), 1550, 12.264, 126.4 },
  { offer("R3", made("agm", 6, 12, 100, 30, "lead_acid"), 8,
      { price_each = 168, freight = 120, tax = "none" }), 1464, 9.60, 152.5 },
  -- a cold store
  { C1, 2128.62, 21.96, 96.9 },
  { C2, 2285.00, 18.91, 120.9 },
  { offer("C3", boxed, 3, { price_each = 1150, tax = "included" }),
    3450, 15.36, 224.6 } }
for _, w in ipairs(worked) do
  local o, total, kwh, per = table.unpack(w)
  local l = o:landed()
  check.close(l.total, total, cent, o.name .. " landed")
  check.close(o.nameplate_kwh, kwh, 0.005, o.name .. " nameplate")
  check.close(l.total / o.nameplate_kwh, per, 0.05, o.name .. " per kWh")
  local sum = 0
  for i = 1, #l do
    sum = sum + l[i].amount
    check.close(l[i].base * l[i].rate, l[i].amount, 1e-9, "base x rate")
  end
  check.close(sum, l.total, 1e-9, "the steps add up")
end

-- ---- step by step, readable by code and by people ----

local l = H1:landed()
check.equal(l[2].what, "premium")
check.close(l[2].base, 2950, 0)
check.close(l[2].rate, 0.15, 1e-15)
check.close(l.tax, 747.50, cent)
check.equal(l[5].what, "tax")
check.close(l[5].base, 3737.50, cent, "3392.50 + 345")
check.has(l:text(), "15 % of 2950.00")
check.has(l:text(), "not in it  the rest of the build (bos 640.00")
for _, words in ipairs{ "test time", "disposal", "carriage" } do
  check.has(l:text(), words, "what is left out is named")
end

-- customs 4 % of 1000 + 50 + 200 = 50; tax 20 % of goods, premium, customs
-- and inland (1000 + 50 + 50 + 60) = 232; freight is not taxed
local abroad = offer("A", small, 4, { price_each = 250, premium_pct = 5,
  freight = 200, customs_pct = 4, inland = 60, tax = "excluded",
  tax_pct = 20, tax_of = { freight = "none" }, collection = 40 })
check.close(abroad:landed().customs, 50, cent)
check.close(abroad:landed().tax, 232, cent)
check.close(abroad:landed().total, 1000 + 50 + 200 + 50 + 60 + 232 + 40, cent)
-- an auction whose premium alone carries tax on top
check.close(offer("B", small, 4, { price_lot = 800, premium_pct = 10,
  tax = "included", tax_pct = 20, tax_of = { premium = "excluded" } })
  :landed().total, 800 + 80 * 1.2, cent)
-- premium 15 % of the first 500, 10 % above: 125 of 1000; at least 150
local steps = { price_lot = 1000, tax = "none",
  premium_pct = { { 0, 15 }, { 500, 10 } } }
check.close(offer("S", small, 4, steps):landed().premium, 125, cent)
steps.premium_min = 150
check.close(offer("S", small, 4, steps):landed().premium, 150, cent)
steps.premium_on, steps.premium_min = "whole", nil
check.close(offer("S", small, 4, steps):landed().premium, 100, cent)
steps.premium_pct = { { 0, 0, 90 }, { 999.99, 0, 140 } }
check.close(offer("S", small, 4, steps):landed().premium, 140, cent)
-- 16 of 12 kg: a pallet of 100 kg carries 8; 192 kg at 0.30
local heavy = offer("W", small, 16, { price_lot = 100, tax = "none",
  freight_per_pallet = 90, pallet_kg = 100, freight_per_kg = 0.30 }):landed()
check.close(heavy.freight_by_pallet, 180, cent)
check.close(heavy.freight_by_kg, 57.60, cent)
check.equal(heavy.pallets, 2)
-- the label's kWh are a claim: so is a sum that counts them
local by_kwh = offer("K", pouch, 10, { price_per_kwh = 72,
  tax = "included" }):landed()
check.close(by_kwh.goods, 72 * 28.616, cent)
check.equal(by_kwh:cell(1, "amount").basis, "claimed")

-- ---- refused, by name: never a guess ----

local function refused (keys, words)
  keys.price_lot = keys.price_lot or 100
  check.raises(function () offer("X", small, 4, keys):landed() end, words)
end
refused({}, "is tax included, excluded, or none due?")
refused({ tax = "margin" }, "what a margin scheme adds is not guessed")
refused({ tax_of = { goods = "none" }, freight = 20 }, "tax on the freight")
refused({ tax = "none", freight_per_pallet = 90 }, "how many pallets")
refused({ tax = "excluded" }, "tax_pct is wanted")
refused({ tax = "none", premium_pct = { { 500, 10 }, { 0, 15 } } },
  "premium steps must rise")
refused({ tax = "none", tax_of = { carriage = "none" } }, "unknown key 'carr")
check.raises(function ()
  amp.offer{ module = amp.module{ chemistry = "lfp", series = 4,
    capacity_ah = 90 }, count = 2, price_lot = 9, tax = "none",
    freight_per_kg = 1 }:landed()
end, "the module's mass was not given")

-- ---- currencies ----

check.close(C1:landed{ currency = "EUR", rates = { GBP = 1.17,
  dated = "2026-07-01" } }.total, 2128.62 * 1.17, cent)
check.has(C1:landed{ currency = "EUR", rates = { GBP = 1.17,
  dated = "2026-07-01" } }:text(), "1 GBP = 1.17 EUR, dated 2026-07-01.")
check.raises(function () C1:landed{ currency = "EUR" } end,
  "no rate from GBP to EUR")
local own = C1:with{ rates = { GBP = 1.17, to = "EUR" } }
check.close(own:landed{ currency = "EUR" }.total, 2128.62 * 1.17, cent)
check.raises(function () own:landed{ currency = "CHF" } end,
  "no rate from GBP to CHF")
check.has(own:landed{ currency = "EUR" }:text(), "without a date")

-- ---- the bid that meets a target ----

local inverter = amp.inverter{ v_min = 42, v_max = 58.4, v_abs_max = 60,
  power_w = 5000, efficiency_pct = 93 }
local store = amp.need{ currency = "GBP", discount_pct = 5, horizon_years = 15,
  inverter = inverter,
  duty = amp.profile.daily{ from_battery_kwh = 6.4, temp_c = 25 } }
-- fifteen modules in 12s at SoH 85 %: 20.59 x 0.85 x 75.8 % = 13.27 usable:
-- (150 x 13.272 - 520 - 139.50) / 1.20 / 1.12 = 990.5. Five strings of three
-- leave one module over.
local at85 = C1:with{ soh_pct = 85 }
local usable = amp.compare({ at85 }, store, { draws = 1 })[1].usable_kwh
check.close(usable, 13.27, 0.005, "usable of the auction lot")
local bid, says = amp.bid_ceiling(at85, store, { target = 150, draws = 1 })
check.close(bid, 990.5, 0.1, "990.5 hammer")
check.close(bid, (150 * usable - 520 - 139.50) / 1.20 / 1.12, 1e-6)
says = says:gsub("\n", " ")
check.has(says, "at most 990.")
check.has(says, "GBP for the lot: it lands at 1470.")
local back = amp.compare({ at85:with{ price_lot = bid } }, store,
  { draws = 1 })[1]
check.close(back.per_usable, 150, 1e-9, "and put back")
-- 30 x 13.27 = 398 does not even pay the 520 of the rest and the trip
check.raises(function ()
  amp.bid_ceiling(at85, store, { target = 9e8, draws = 1 })
end, "landed, more than any price may be")
local low, why = amp.bid_ceiling(at85, store, { target = 30, draws = 1 })
check.ok(low < 0)
for line in why:gmatch("[^\n]+") do check.ok(#line <= 78, line) end
why = why:gsub("\n", " ")
check.has(why, "no bid is low enough: 659.50 GBP are spent before any bid")
check.has(why, "allows 398.")

-- the hut at 225 per usable kWh, by hand: ((225 K - 640 - 220 x 2.90) / 1.20
-- - 260 - 85) / 1.15; ten accepted modules of 17.5 kg and 45 kg fly up
local hut = amp.need{ currency = "EUR", carry_per_kg = 2.90,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, efficiency_pct = 92, idle_w = 32 },
  duty = amp.profile.daily{ from_battery_kwh = 3.14, temp_c = 12 } }
local tested = H1:with{ tested_ah = amp.measured(93.75), dud_pct = 0,
  count = 10 }
local K = amp.compare({ tested }, hut, { draws = 1 })[1].usable_kwh
check.close(K, 21.28, 0.01, "ten modules, usable")
check.close(amp.bid_ceiling(tested, hut, { target = 225, draws = 1 }),
  ((225 * K - 640 - 220 * 2.90) / 1.20 - 345) / 1.15, 1e-6)

-- each kind of cost comes back in its own column, spread and duds included
local spread = H1:with{ tested_ah = amp.tested({ 96.1, 91.4 }, { of = 12 }),
  dud_pct = amp.between(2, 15), premium_pct = { { 0, 20 }, { 700, 12, 30 } },
  freight_per_kg = 0.4, customs_pct = 3 }
local aging = hut:with{ life_model = amp.life_model{
  calendar_pct_per_year = amp.between(1, 2), cycle_pct_per_efc = 0.008 } }
for _, kind in ipairs{ { "nameplate", 100 }, { "accepted", 150 },
    { "usable", 250 }, { "delivered", 0.9 }, { "levelised", 1.0 } } do
  local price = amp.bid_ceiling(spread, aging, { target = kind[2],
    per = kind[1], draws = 400 })
  local row = amp.compare({ spread:with{ price_lot = price } }, aging,
    { draws = 400 })[1]
  local got = row[kind[1] == "levelised" and "levelised" or
    "per_" .. kind[1]]
  check.close(got / kind[2], 1, 1e-9, "round trip per " .. kind[1])
end
-- prices that are spread: its own is sought, the others are drawn
local unsure = spread:with{ price_lot = amp.between(2000, 4000),
  freight = amp.between(150, 400), bos = amp.assumed(640, 60),
  collection = amp.between(0, 90) }
for _, kind in ipairs{ { "nameplate", 120 }, { "accepted", 160 },
    { "usable", 300 } } do
  local price = amp.bid_ceiling(unsure, aging, { target = kind[2],
    per = kind[1], draws = 200 })
  check.ok(price > 500, "there is a bid")
  check.close(amp.compare({ unsure:with{ price_lot = price } }, aging,
    { draws = 200 })[1]["per_" .. kind[1]] / kind[2], 1, 1e-9,
    "round trip with spread prices per " .. kind[1])
end
check.close(unsure:landed().freight, 275, 1e-9, "at the middles")

-- a price that is spread: the middle is marked, P10 and P90 stand beside it.
-- 6 at 160 .. 200 and 20 % tax: 1296.00; at 164 and 196 1180.80 and 1411.20
local wide = offer("S", pouch, 6, { price_each = amp.between(160, 200),
  tax = "excluded", tax_pct = 20, bos = amp.between(40, 80) })
local at = wide:landed()
check.close(at.total, 1296, cent)
check.close(at.total_p10, 1180.8, cent)
check.close(at.total_p90, 1411.2, cent)
check.has(at:text(), "landed 1296.00 (1180.80 .. 1411.20), ")
check.has(at:text(), "6 modules at 180.00, the middle")
check.has(at:text(), "spread  price_each 164.00 .. 196.00 (P10 .. P90)")
check.has(at:text(), "(bos 60.00, the middle of a spread,")
-- the same ends as in the draws of a comparison
local drawn = amp.compare({ wide }, aging, { draws = 500 })
check.close(drawn:cell(1, "landed").low / at.total_p10, 1, 2e-3)
check.close(drawn:cell(1, "landed").high / at.total_p90, 1, 2e-3)
-- two of them, in another money: all low, or all high
local both = wide:with{ freight = amp.assumed(100, 20), currency = "GBP" }:
  landed{ currency = "EUR", rates = { GBP = 1.17 } }
local z = 1.2815515655446 -- of the normal law at 90 %, from memory
check.close(both.total_p90, (6 * 196 + 100 + 20 * z) * 1.2 * 1.17, 1e-6)
check.has(both:text(), "freight 74.37 .. 125.63 GBP (P10 .. P90)")
check.has(both:text(), "all of them low")
check.close(H1:landed().total_p10, 4485, cent, "none is spread")
check.ok(not H1:landed():text():find("middle", 1, true))
-- a premium that falls on the whole price can make the dear one cheap: the
-- range is still the lower and the higher
local turned = offer("T", pouch, 1, { price_lot = amp.between(995, 1005),
  premium_pct = { { 0, 20 }, { 1000, 0 } }, premium_on = "whole",
  tax = "none" }):landed()
check.ok(turned.total_p10 < turned.total_p90)
check.raises(function () amp.bid_ceiling(C1, store, { target = 9,
  per = "useful" }) end, "per must be")

-- random offers: premium in steps and a minimum, customs, freight by
-- weight and pallet, tax line by line, pounds; the ceiling put back costs
-- the target in its column (thousands more: tests/core/cost/test_offer.c)
local state = 20260701
local function draw (lo, hi) -- Park and Miller's generator, 1988
  state = state * 48271 % 2147483647
  return lo + (hi - lo) * state / 2147483647
end
local pounds = hut:with{ rates = { GBP = 1.17 } }
local met, too_low = 0, 0
for i = 1, 12 do
  local keys = { tested_ah = draw(70, 105), bos = draw(0, 700),
    bos_kg = draw(0, 60), freight = draw(0, 300),
    freight_per_kg = draw(0, 1), freight_per_pallet = draw(0, 90),
    pallet_kg = draw(20, 400), customs_pct = draw(1, 8), inland = draw(0, 90),
    hazmat = draw(0, 90), collection = draw(0, 90), premium_min = draw(0, 90),
    premium_pct = { { 0, draw(1, 20) }, { draw(100, 900), draw(1, 20) } },
    tax = i % 2 == 0 and "excluded" or "included", tax_pct = draw(5, 25),
    tax_of = i % 3 == 0 and { freight = "none", premium = "excluded" } or nil,
    currency = i % 4 == 0 and "GBP" or "EUR", dud_pct = draw(1, 12) }
  keys[i % 3 == 0 and "price_lot" or i % 3 == 1 and "price_each" or
    "price_per_kwh"] = 1
  local o = offer("R" .. i, pouch, math.floor(draw(4, 16)), keys)
  local key = o.price_lot and "price_lot" or o.price_each and "price_each" or
    "price_per_kwh"
  local per = i % 2 == 0 and "usable" or "accepted"
  local goal = draw(60, 400)
  local price = amp.bid_ceiling(o, pounds, { target = goal, per = per,
    draws = 3 })
  if price < 0 then
    too_low = too_low + 1
  else
    met = met + 1
    check.close(amp.compare({ o:with{ [key] = price } }, pounds,
      { draws = 3 })[1]["per_" .. per] / goal, 1, 1e-9, o.name)
  end
end
check.ok(met > 6 and met + too_low == 12, "most have a ceiling")
-- a fixed step over the target: the foot of the jump, and it is said
local jump = at85:with{ premium_on = "whole",
  premium_pct = { { 0, 0, 50 }, { 900, 0, 400 } } }
local foot, said = amp.bid_ceiling(jump, store, { target = 150, draws = 1 })
check.close(foot, 900, 1e-9)
check.has((said:gsub("\n", " ")), "any more, and the premium steps above it")

-- ---- interest: printed tables (sources: tests/data/SOURCES.md) ----

local rows = 0
for line in io.lines(here .. "/tests/data/interest-factors.csv") do
  local f = {}
  for field in line:gmatch("[^,]+") do f[#f + 1] = field end
  local i, n, p_a = tonumber(f[1]), tonumber(f[2]), tonumber(f[8])
  if i then
    local got = 1 / amp.levelised{ first = 1, years = n, discount_pct = i,
      kwh = 1 }
    check.close(got, p_a, 5.001e-5, f[1] .. " %, " .. f[2] .. " periods")
    rows = rows + 1
  end
end
check.ok(rows >= 10, "the table was read")

-- 6000 at the start, 5280 kWh falling 2 % a year, 12 years, 60 a year, 0.10
-- to charge at 90 %, 7 %: 0.280540; without charging 0.169429; the
-- difference is 0.10/0.90 (arithmetic, worked step by step beside it)
local kwh = {}
for t = 1, 12 do kwh[t] = 5280 * 0.98 ^ (t - 1) end
local ask = { first = 6000, years = 12, discount_pct = 7, kwh = kwh,
  running = 60, charge_price = 0.10, round_trip_pct = 90 }
local with = amp.levelised(ask)
check.close(with, 0.280540, 5e-7)
ask.charge_price = 0
check.close(amp.levelised(ask), 0.169429, 5e-7)
check.close(with - amp.levelised(ask), 0.10 / 0.90, 1e-12)
ask.first = 12000
check.close(amp.levelised(ask) - 0.169429, 0.156962, 1e-6,
  "twice the first cost")

-- the cold store, 2336 kWh a year, 5 %: C1 2648.62 over 9 years 0.160, C2
-- 2805 over 9 0.169 and over 10 0.1555, C3 3600 over 15 0.148; with charging
-- at 0.12/0.90 0.293, 0.302, 0.282
local function store_cost (first, years, price)
  return amp.levelised{ first = first, years = years, discount_pct = 5,
    kwh = 2336, charge_price = price, round_trip_pct = price and 90 or nil }
end
check.close(store_cost(C1:landed().total + 520, 9), 0.160, 5e-4)
check.close(store_cost(C2:landed().total + 520, 9), 0.169, 5e-4)
check.close(store_cost(2805, 10), 0.1555, 5e-5)
check.close(store_cost(3600, 15), 0.148, 5e-4)
check.close(store_cost(2648.62, 9, 0.12), 0.293, 5e-4)
check.close(store_cost(2805, 9, 0.12), 0.302, 5e-4)
check.close(store_cost(3600, 15, 0.12), 0.282, 5e-4)
-- saved 2336 x (0.29 - 0.1333) = 365.97 a year: -204 over 9, +199 over 15
local function worth_now (years)
  return 365.97 / amp.levelised{ first = 1, years = years, discount_pct = 5,
    kwh = 1 }
end
check.close(worth_now(9) - 2805, -204, 0.5)
check.close(worth_now(15) - 3600, 199, 0.5)
-- 200 days a year, 1280 kWh: with the same years, and with those that fewer
-- cycles leave (11, 12, 19)
for _, w in ipairs{ { 2648.62, 9, 0.291 }, { 2805, 9, 0.308 },
    { 3600, 15, 0.271 }, { 2648.62, 11, 0.249 }, { 2805, 12, 0.247 },
    { 3600, 19, 0.233 } } do
  check.close(amp.levelised{ first = w[1], years = w[2], discount_pct = 5,
    kwh = 1280 }, w[3], 5e-4, w[1] .. " over " .. w[2])
end

-- the mast: R1 held to 28.4 V as 8s, 3.55 V a cell: 25 % of 13.14 kWh on the
-- claim, 333 per usable kWh; R3 at half its depth 305
local by_mast = {}
for i = 4, 6 do by_mast[i - 3] = worked[i][1]:landed().total end
local r1 = amp.pack{ module = made("4s3p", 4, 14.6, 150, 15), series = 2,
  parallel = 3, cell_v_min = 3.00, cell_v_max = 28.4 / 8 }
check.close(r1.usable_kwh, 3.285, 1e-6)
check.close(by_mast[1] / r1.usable_kwh, 333, 0.5)
check.close(by_mast[3] / (0.5 * worked[6][1].nameplate_kwh), 305, 1e-9)
-- ---- a large lot: each row costs a sum, not a walk through the lot ----

local large = amp.offer{ name = "L", count = 16000, price_each = 100,
  module = amp.module{ chemistry = "lfp", series = 8, capacity_ah = 105 },
  tax = "included", dud_pct = amp.between(5, 15) }
local clock = os.clock()
check.equal(#large:accepted{}.by_strings, 16000)
check.close(large:accepted{}.mean, 14400, 1e-6)
check.close(large:tests_wanted{ duds = 1, sure_pct = 99 }.tests, 15840, 0)
check.ok(os.clock() - clock < 10, "seconds of CPU")

check.done()
