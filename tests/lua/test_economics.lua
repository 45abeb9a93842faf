--- Money over time: interest tables, every levelised figure, saving and
-- break-even of the hut and the cold store, tariffs by the hour, and what else
-- would carry the load. Offers and places are invented; what is worked by
-- hand stands beside each check.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"
local invented = require "invented"

local function F (text) return (tostring(text):gsub("%s+", " ")) end

-- ---- printed interest tables: P/A out of a levelised cost ----

local rows = 0
for line in io.lines(here .. "/tests/data/interest-factors.csv") do
  local pct, n, pa = line:match("^([%d.]+),(%d+),.*,([%d.]+)")
  if pct and tonumber(pct) >= 1 then -- a quarter percent warns, rightly
    rows = rows + 1
    -- 1 paid at the start over 1 kWh a year costs 1/(P/A)
    check.close(1 / amp.levelised{ first = 1, years = tonumber(n), kwh = 1,
      discount_pct = tonumber(pct) }, tonumber(pa), 0.500001e-4, line)
  end
end
check.ok(rows >= 9, "the table was read")

-- ---- the worked levelised cost: 0.280540, and 0.169429 uncharged ----

local falling = {}
for t = 1, 12 do falling[t] = 5280 * 0.98 ^ (t - 1) end
local worked = { first = 6000, years = 12, discount_pct = 7, kwh = falling,
  running = 60, charge_price = 0.10, round_trip_pct = 90 }
check.close(amp.levelised(worked), 0.280540, 0.5e-6)
worked.charge_price = nil
check.close(amp.levelised(worked), 0.169429, 0.5e-6)
-- one replacement in year 6, and something left in year 12 at 7 %: 3000 is
-- worth 1999.03 now, 500 222.01
local running = {}
for t = 1, 12 do running[t] = 60 + (t == 6 and 3000 or 0) end
worked.running, worked.residual = running, 500
check.close(amp.levelised(worked) - 0.169429, (1999.03 - 222.01) / 38225.815,
  1e-6, "replaced, and something left")

-- ---- the hut, 577.76 kWh a year ----

local function hut (first, years)
  return amp.levelised{ first = first, years = years, discount_pct = 5,
    kwh = 3.14 * 184 }
end
check.close(hut(5763.00, 10), 1.29, 0.005, "H1")
check.close(hut(3813.30, 10), 0.855, 5e-4, "H2")
check.close(hut(3818.20, 15), 0.637, 5e-4, "H3")
check.close(hut(3818.20, 10), 0.856, 5e-4, "H3 over ten years")

-- ---- the cold store, 2,336 kWh a year against 0.29 ----

local kwh = 6.4 * 365
local function store (first, years, opts)
  local spec = { first = first, years = years, discount_pct = 5, kwh = kwh,
    charge_price = 0.12, round_trip_pct = 90, tariff = 0.29 }
  for key, value in pairs(opts or {}) do spec[key] = value end
  return amp.savings(spec)
end
local s1, s2, s3 = store(2648.62, 9), store(2805, 9), store(3600, 15)
check.close(s1.levelised, 0.293, 5e-4, "C1")
check.close(s2.levelised, 0.302, 5e-4, "C2")
check.close(s3.levelised, 0.282, 5e-4, "C3")
check.close(s2.npv, -204, 0.5, "C2")
check.close(s3.npv, 199, 0.5, "C3")
check.close(s1.break_even_years, 9.21, 0.005, "C1")
check.close(s2.break_even_years, 9.90, 0.005, "C2")
check.close(s3.break_even_years, 13.87, 0.005, "C3")
check.close(s1.saving, 365.97, 0.005, "a year")
check.raises(function () store(1, 9, { tarif = 1 }) end,
  "savings: unknown key 'tarif' (did you mean 'tariff'?)")
check.raises(function () store(1, 9, { colour = 1 }) end,
  "savings: unknown key 'colour' (known: first, years, discount_pct, kwh, " ..
  "running, charge_price, round_trip_pct, residual, tariff)")
check.has(F(s1), "It pays back in 9.21 years, later than the 9 counted.")
check.has(F(s3), "It pays back in 13.87 years.")
check.has(F(store(2805, 9, { charge_price = 0.27 })), "never pays it back")
check.equal(store(2805, 9, { charge_price = 0.27 }).break_even_years, nil)
-- without charging 0.160, 0.169 (0.1555 over ten years), 0.148
local function free (first, years, energy)
  return amp.levelised{ first = first, years = years, discount_pct = 5,
    kwh = energy or kwh }
end
check.close(free(2648.62, 9), 0.160, 5e-4)
check.close(free(2805, 9), 0.169, 5e-4)
check.close(free(2805, 10), 0.1555, 5e-5)
check.close(free(3600, 15), 0.148, 5e-4)
-- 200 days: the same years, and those that fewer cycles leave
local few = 6.4 * 200
for _, w in ipairs{ { 2648.62, 9, 0.291 }, { 2805, 9, 0.308 },
  { 3600, 15, 0.271 }, { 2648.62, 11, 0.249 }, { 2805, 12, 0.247 },
  { 3600, 19, 0.233 } } do
  check.close(free(w[1], w[2], few), w[3], 5e-4, "200 days")
end

-- ---- the same out of a comparison: years simulated, not given ----

local used = amp.life_model{ calendar_pct_per_year = 1.6,
  cycle_pct_per_efc = 0.008 }
local new = amp.life_model{ calendar_pct_per_year = 1.2,
  cycle_pct_per_efc = 0.004 }
-- next to no resistance: the round trip is then what is said, 0.90 from AC
-- to AC, of which 0.93 are the inverter's
local C1 = amp.offer{ name = "C1 used", count = 16, price_lot = 1480,
  premium_pct = 12, tax = "excluded", tax_pct = 20, collection = 310 * 0.45,
  bos = 520, dud_pct = 0, module = amp.module{ name = "4s1p",
    chemistry = invented.curve, series = 4, nominal_v = 14.6,
    capacity_ah = amp.claimed(94), soh_pct = 85, cell_v_min = 3.20,
    cell_v_max = 4.10, soh_end_pct = 60, life_model = used,
    r10s_mohm = 0.001 } }
local C2 = amp.offer{ name = "C2 tested", count = 10, price_each = 215,
  tax = "included", freight = 95, hazmat = 40, bos = 520, dud_pct = 0,
  module = amp.module{ name = "14s1p", chemistry = invented.curve,
    series = 14, nominal_v = 51.1, capacity_ah = amp.claimed(37),
    tested_ah = amp.measured(32.55), cell_v_min = 3.30, cell_v_max = 4.10,
    soh_end_pct = 60, life_model = used, r10s_mohm = 0.001 } }
local C3 = amp.offer{ name = "C3 new", count = 3, price_each = 1150,
  tax = "included", bos = 150, dud_pct = 0, module = amp.module{
    name = "16s boxed", chemistry = "lfp", series = 16, nominal_v = 51.2,
    capacity_ah = amp.claimed(100), soh_pct = 100, soc_min_pct = 10,
    soc_max_pct = 100, soh_end_pct = 70, life_model = new,
    r10s_mohm = 0.001 } }
local inverter = amp.inverter{ v_min = 42.0, v_max = 58.4, v_abs_max = 60.0,
  power_w = 5000, efficiency_pct = 93 }
local function need (keys)
  local spec = { currency = "GBP", horizon_years = 15, discount_pct = 5,
    charge_price = 0.12, import_price = 0.29, inverter = inverter,
    duty = amp.profile.daily{ from_battery_kwh = 6.4, temp_c = 15,
      round_trip_pct = 90 / 0.93 } }
  for key, value in pairs(keys or {}) do spec[key] = value or nil end
  return amp.need(spec)
end
local used_and_new = { C1, C2, C3 }
local t = amp.compare(used_and_new, need(), { draws = 20 })
for i, w in ipairs{ { 9.10, 0.293, 9.21 }, { 9.96, 0.302, 9.90 },
  { 15, 0.282, 13.87 } } do
  check.close(t[i].years, w[1], 0.005, t[i].name .. " years")
  check.close(t[i].levelised, w[2], 5e-4, t[i].name .. " levelised")
  check.close(t[i].break_even_years, w[3], 0.01, t[i].name .. " pays back")
  check.close(t[i].saving, 365.97, 0.1, t[i].name .. " saves a year")
end
check.close(t[2].npv, -204, 1, "C2 saves")
check.close(t[3].npv, 199, 1, "C3 saves")
local said = F(t)
check.has(said, "Against 0.29 a kWh from the grid: C3 (0.282) below it; not " ..
  "C1 (0.293), C2 (0.302).")
-- its 9.96 years beat its 9.90 before flooring and lose after it
check.has(said, "C2 pays back in 9.90 of its 9.96 years, and not in the 9 " ..
  "whole ones that are counted: the rounding decides.")
check.has(said, "pays back in years, against 0.29 a kWh: C1 9.21, C2 9.90, " ..
  "C3 13.8") -- 13.875 by hand, on the edge of 13.87 and 13.88
-- 16.2 years where the horizon doesn't cut them
local unbound = amp.compare({ C3 }, need{ horizon_years = 20 }, { draws = 5 })
check.close(unbound[1].years, 16.2, 0.05, "C3")

-- ---- costs of later years: a plain sum of what each is worth today ----
-- F/(1+d)^n, W. Short, D. Packey, T. Holt, NREL/TP-462-5173 (1995): at 5 %
-- 400 in year 8 are worth 270.74, 60 in each of 15 years 622.78, 90 in years
-- 5, 10 and 15 70.52 + 55.25 + 43.29, and nothing falls due in year 16

local later = { { "inverter", 400, year = 8 }, { "insurance", 60, every = 1 },
  { "balancer", 90, every = 5 }, { "crane", 120 }, { "refund", -30, year = 2,
    every = 6 }, { "too late", 1000, year = 16 } }
local worth, energy_worth = 0, 0
for year = 1, 15 do
  local due = 60 + (year == 8 and 400 or 0) + (year % 5 == 0 and 90 or 0) -
    ((year == 2 or year == 8 or year == 14) and 30 or 0)
  worth = worth + due / 1.05 ^ year
  energy_worth = energy_worth + kwh / 1.05 ^ year
end
check.close(worth, 270.74 + 622.78 + 169.06 - 30 * (1 / 1.05 ^ 2 + 1 /
  1.05 ^ 8 + 1 / 1.05 ^ 14), 0.01, "by hand")
local kept = amp.compare({ C3, C3:with{ name = "C3 kept", costs = later } },
  need(), { draws = 5 })
check.close(kept[2].levelised - kept[1].levelised, (worth + 120) /
  energy_worth, 1e-7, "levelised")
check.close(kept[1].npv - kept[2].npv, worth + 120, 0.01, "npv")
check.ok(kept[2].break_even_years > kept[1].break_even_years)
check.close(kept[2].total - kept[1].total, 120, 1e-9, "the start alone")
check.equal(kept[2].landed, kept[1].landed)
check.has(F(kept), "later C3 kept inverter 400.00 in year 8, insurance 60.00 " ..
  "every year, balancer 90.00 every 5 years, refund -30.00 every 6 years " ..
  "from year 2, too late 1000.00 in year 16. Paid at the end of each such " ..
  "year that a draw counts, discounted; in levelised, not in landed, total " ..
  "or per delivered kWh.")
-- a life of 9 whole years pays year 8 and not year 10
for year, due in pairs{ [8] = 400 / 1.05 ^ 8, [10] = 0 } do
  local short = amp.compare({ C1, C1:with{ name = "C1 kept",
    costs = { { "inverter", 400, year = year } } } }, need(), { draws = 5 })
  check.close(short[1].npv - short[2].npv, due, 0.01, "year " .. year)
end
-- without a discount they are added up; the sum over life follows them
check.close(amp.compare({ C3:with{ costs = { { "check", 10, every = 1 } } } },
  need{ discount_pct = 0 }, { draws = 5 })[1].levelised - amp.compare({ C3 },
  need{ discount_pct = 0 }, { draws = 5 })[1].levelised, 10 / kwh, 1e-7)
check.has(F(C3:with{ costs = later }:landed()), "crane 120.00 (counted in " ..
  "amp.compare), inverter 400.00 in year 8, insurance 60.00 every year")
local function wrong (cost, words)
  check.raises(function () return C3:with{ costs = { cost } } end, words)
end
wrong({ "x", 1, year = 101 }, "year must be a whole number 0 .. 100 (got 101)")
wrong({ "x", 1, every = 0 }, "every must be a whole number 1 .. 100 (got 0)")
wrong({ "x", 1, year = 0, every = 2 }, "year must be a whole number 1 .. 100")
wrong({ "x", 1, year = 1.5 }, "(got 1.5)")
wrong({ "x", 1, yaer = 2 }, "unknown key 'yaer' (known: year, every)")
wrong({ "x", "1" }, '{"inverter", 400, year = 8}')
wrong({ "x", amp.between(4, 6), year = 2 }, "a spread, or another value, is " ..
  "not taken there")
local function no_list (costs, words)
  check.raises(function () return C3:with{ costs = costs } end, words)
end
no_list({ crane = 120 }, 'costs is a list {{"crane", 120}, ..} (got the key ' ..
  [['crane': write {"crane", ..})]])
no_list({ { "tests", 60 }, crane = 120, boat = 3 }, "(got the key 'boat'")
no_list({ [1] = { "tests", 60 }, [3] = { "crane", 120 }, [2.5] = 1 },
  "without gaps")
no_list({ "crane", 120 }, 'one of costs is {"crane", 120}')

-- with the resistance that a module of each kind has, charging costs more
local real = amp.compare({ C2:with{ module = amp.module{ name = "14s1p",
  chemistry = invented.curve, series = 14, nominal_v = 51.1,
  capacity_ah = 37, tested_ah = 32.55, cell_v_min = 3.30, cell_v_max = 4.10,
  soh_end_pct = 60, life_model = used } } }, need(), { draws = 5 })
check.ok(real[1].levelised > t[2].levelised + 0.002, "losses in the cells")
-- 200 days a year: years 11, 12, 19 counted, 0.249, 0.247, 0.233
local seasonal = amp.compare(used_and_new, need{ charge_price = 0,
  horizon_years = 20, duty = amp.profile.daily{ from_battery_kwh = 6.4,
    temp_c = 15, days_per_year = 200 } }, { draws = 5 })
for i, w in ipairs{ { 11, 0.249 }, { 12, 0.247 }, { 19, 0.233 } } do
  check.equal(math.floor(seasonal[i].years), w[1], "years of 200 days")
  check.close(seasonal[i].levelised, w[2], 5e-4, "200 days")
end

-- ---- beside them: the grid, a generator, lead-acid ----

local grid = amp.alternative{ name = "grid", kind = "grid" }
-- C4: 3,600 and 250; charging 0.12/0.80 = 0.15; said to last eight years
local C4 = amp.alternative{ name = "C4 lead-acid", kind = "battery",
  price = 3600, bos = 250, life_years = 8, usable_kwh = 12,
  round_trip_pct = 80 }
local genset = amp.alternative{ name = "genset", kind = "generator",
  price = 900, power_w = 2000, fuel_at = { { 0, 0.4 }, { 100, 0.9 } },
  fuel_price = 1.40, hours_a_day = 6.4, overhaul_hours = 3000,
  overhaul = 150, life_hours = 10000 }
local all = amp.compare({ grid, C1, C2, C3, genset, C4 }, need(),
  { draws = 20 })
local by = {}
for i = 1, #all do by[all[i].name] = all[i] end
check.equal(#all, 6)
check.close(by.grid.levelised, 0.29, 1e-12)
check.close(by.grid.per_delivered, 0.29, 1e-12)
check.equal(by.grid.total, 0)
check.equal(by.grid.usable_kwh, nil)
check.equal(by.grid.break_even_years, nil)
local saved_columns = F(all:columns{ "name", "npv", "break_even_years" })
check.has(saved_columns, "it is the grid, which the others are held against")
check.ok(not saved_columns:find("no tariff", 1, true), "import_price is given")
local at_8 = 1 / 1.05 ^ 8
check.close(by["C4 lead-acid"].levelised,
  (3850 + 3600 * at_8) / (kwh * 10.37966) + 0.15, 1e-6)
check.close(by["C4 lead-acid"].per_delivered, (3850 + 3600) / (kwh * 15),
  1e-9)
check.close(by["C4 lead-acid"].per_usable, 3850 / 12, 1e-9)
check.equal(by["C4 lead-acid"].years, 8)
-- 1 kW for 6.4 h a day: 0.65 l/h, 1,518.4 l; 2,336 h a year, so new ones
-- after 4 whole years (10,000 h are 4.28): 4 8 12; overhauls 3,000, 6,000
-- and 9,000 h into each: by the end of years 2 3 4, 6 7 8, 10 11 12, 14 15
local paid = 900
for year = 1, 15 do
  local due = year % 4 == 1 and 0 or 1
  paid = paid + (2336 * 0.65 * 1.40 + 150 * due +
    ((year == 4 or year == 8 or year == 12) and 900 or 0)) / 1.05 ^ year
end
check.close(by.genset.levelised, paid / (kwh * 10.37966), 1e-6)
check.equal(all[4].name, "grid", "offers first, what else behind them")
check.equal(by["C3 new"].cheapest_pct, 100)
check.has(F(all), "grid 2336 kWh a year for 677.44")
check.has(F(all), "replaced every 4 years")
check.has(F(all), "replaced every 8 years; of the last one 1 year left " ..
  "over")
check.has(F(all), "the grid stores nothing")

-- something left at the end pays that much less back: the even saving
local left = amp.compare({ C3:with{ residual = 500 } }, need(),
  { draws = 20 })[1]
check.close(left.saving, (left.npv + left.total - 500 / 1.05 ^ 15) * 0.05 /
  (1 - 1.05 ^ -15), 1e-9)
check.close(amp.compare({ C3:with{ residual = amp.assumed(500) } }, need(),
  { draws = 20 })[1].saving, left.saving, 1e-9, "a value's middle counts")

-- the grid wins where no offer is below it, in as many draws as that is so
local dear = amp.compare({ C1, C2, grid }, need(), { draws = 20 })
check.equal(dear[3].cheapest_pct, 100)
check.equal(dear[1].cheapest_pct, 0)
check.has(F(dear), "grid is cheapest over its life in 100 % of the draws.")
local spread = C1:with{ module = amp.module{ name = "4s1p",
  chemistry = invented.curve, series = 4, nominal_v = 14.6,
  capacity_ah = amp.claimed(94), soh_pct = 85, cell_v_min = 3.20,
  cell_v_max = 4.10, soh_end_pct = 60, r10s_mohm = 0.001,
  life_model = amp.life_model{ calendar_pct_per_year = amp.between(1.0, 2.2),
    cycle_pct_per_efc = 0.008 } } }
local sure = amp.compare({ spread, grid }, need(), { draws = 400 })
-- ten whole years: 0.2801; nine: 0.2927. Ten while 25/(a + 1.148) >= 10, so
-- a <= 1.352: (1.352 - 1.0)/1.2 = 29.3 % of the draws
check.close(sure[1].cheapest_pct, 29.3, 0.5)
check.close(sure[1].cheapest_pct + sure[2].cheapest_pct, 100, 1e-9)

-- alternatives alone; what can't be answered stays with its reason
local alone = amp.compare({ grid, C4 }, need())
check.equal(alone[1].cheapest_pct, 100)
check.equal(#amp.compare(grid, need()), 1, "one, not in a list")
local worn = amp.compare({ genset:with{ life_hours = 2000 }, C3 }, need(),
  { draws = 5 })
check.has(worn:cell(2, "levelised").why, "life_hours: it runs 2336 h a year " ..
  "and would be worn out within one")
local mute = amp.compare({ grid, C3 }, amp.need{ inverter = inverter,
  duty = amp.profile.daily{ from_battery_kwh = 6.4, temp_c = 15 } },
  { draws = 5 })
check.equal(mute[2].levelised, nil)
check.has(mute:cell(2, "levelised").why, "import_price")
local weak = amp.compare({ genset:with{ power_w = 500,
  fuel_at = { { 0, 0.1 }, { 100, 0.3 } } }, C3 }, need(), { draws = 5 })
check.has(weak:cell(2, "levelised").why, "1000 W")
local sunny = amp.compare({ C4, C3 }, need{ duty = amp.profile.daily{
  load_kwh = 5, solar_kwp = 3, sun_hours = 3, performance_pct = 75,
  temp_c = 15 } }, { draws = 5 })
check.has(sunny:cell(2, "levelised").why, "needs an offer with a module")
check.raises(function () amp.alternative{ kind = "wind" } end,
  'kind must be "grid", "generator" or "battery"')
check.raises(function () amp.alternative{ name = "L", kind = "battery",
  price = 1, usable_kwh = 5, round_trip_pct = 80 } end,
  "life_years is wanted")
check.raises(function () amp.alternative{ kind = "grid", fuel_price = 2 } end,
  "fuel_price belongs to a generator")

-- something left at the end, with a spread: its middle counts
local with_rest = amp.compare({ C3:with{ residual = 50 } }, need{},
  { draws = 5 })
local with_spread = amp.compare({ C3:with{ residual = amp.claimed(50) } },
  need{}, { draws = 5 })
check.close(with_spread[1].saving, with_rest[1].saving, 1e-9)

-- ---- two prices a day ----

-- 0.14 from 22 to 6, 0.32 by day; charged at night, served by day: saved are
-- 0.32 - 0.14/0.90 a kWh
local night = { { 22, 6, 0.14 }, { 6, 22, 0.32 } }
local two = need{ charge_price = false, import_price = false,
  import_at = night }
local twice = two:with{ charge_hours = { 22, 6 }, serve_hours = { 6, 22 } }
local shifted = amp.compare({ C3, grid }, twice, { draws = 5 })
check.close(shifted[2].levelised, 0.32, 1e-12, "what is spared")
check.close(shifted[1].saving, kwh * (0.32 - 0.14 / 0.90), 0.2)
check.close(shifted[1].levelised, 3600 / (kwh * 10.37966) + 0.14 / 0.90, 5e-5)
check.has(F(shifted), "tariff a kWh: 22..6 h 0.14, 6..22 h 0.32; charged " ..
  "at 0.14 by 22..6 h; spared at 0.32 by 6..22 h.")
check.has(F(amp.compare({ C3 }, need(), { draws = 5 })),
  "tariff a kWh: charged at 0.12; spared at 0.29.")
-- as the load falls: 300 W all day, 8 of its 24 hours at night
local flat = amp.compare({ grid }, two:with{ duty = amp.profile.daily{
  load_w = 300, temp_c = 15 } }, { draws = 5 })
check.close(flat[1].levelised, (8 * 0.14 + 16 * 0.32) / 24, 1e-12)
check.has(F(flat), "spared at 0.26 as the load falls.")
-- with of one of two keys that exclude each other drops the other, visibly
local again = twice:with{ charge_price = 0.1 }
check.equal(again.charge_hours, nil)
check.has(tostring(again), "charge_price          0.1")
check.ok(not tostring(again):find("charge_hours", 1, true), "it is gone")
check.raises(function () two:with{ import_at = { { 22, 6, 0.14 } } } end,
  "import_at has no price for the hour from 6")
check.raises(function () two:with{ import_at = { { 0, 24, 0.3 },
  { 3, 4, 0.1 } } } end, "names the hour from 3 twice")
check.raises(function () need{ charge_price = false, charge_hours = { 22, 6 } }
  end, "charge_hours goes with import_at")
check.raises(function () two:with{ import_at = { { 5, 5, 0.14 } } } end,
  "holds no hour")

check.done()
