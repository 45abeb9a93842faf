--- Uncertain money, worked a second time: an offer, the grid, a generator and
-- a battery of stated life whose prices, interest and lives are spread, drawn
-- here by a plain Monte Carlo that shares no code with the library (Box and
-- Muller's normals, its own sums), against the draws of amp.compare. And what
-- sums of normal prices must come to in closed form. All is invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"
local invented = require "invented"

local DRAWS, OWN = 6000, 60000
local KWH = 6.4 * 365

local function F (text) return (tostring(text):gsub("%s+", " ")) end

-- ---- own draws ----

math.randomseed(20261130)
local function even (lo, hi) return lo + (hi - lo) * math.random() end
local function normal (mean, sd)
  return mean + sd * math.sqrt(-2 * math.log(1 - math.random())) *
    math.cos(2 * math.pi * math.random())
end

local function quantile (sorted, p)
  local at = p * (#sorted - 1)
  local k = math.floor(at)
  local rest = at - k
  return sorted[k + 1] + (rest > 0 and
    rest * (sorted[k + 2] - sorted[k + 1]) or 0)
end

-- ---- what is asked, and the objects ----

-- next to no resistance: 0.90 from AC to AC, of which 0.93 the inverter's, so
-- a kWh served takes 1/0.90 to charge, in every year
local inverter = amp.inverter{ v_min = 42.0, v_max = 58.4, v_abs_max = 60.0,
  power_w = 5000, efficiency_pct = 93 }
local duty = amp.profile.daily{ from_battery_kwh = 6.4, temp_c = 15,
  round_trip_pct = 90 / 0.93 }
local function need (keys)
  local spec = { currency = "GBP", horizon_years = 15, inverter = inverter,
    duty = duty }
  for key, value in pairs(keys) do spec[key] = value end
  return amp.need(spec)
end

-- 16 modules of 4s at 85 %, 15 of them in 12s, worn out at 60: 25 % / (a +
-- cycles) years, where the cycles fade 0.008 % x 6.4/0.93 x 365 / (15 x 14.6 V
-- x 79.9 Ah) a year
local function offer (keys)
  local spec = { name = "used", count = 16, price_lot = 1480,
    tax = "included", bos = 520, dud_pct = 0, module = amp.module{
      name = "4s1p", chemistry = invented.curve, series = 4,
      nominal_v = 14.6, capacity_ah = amp.claimed(94), soh_pct = 85,
      cell_v_min = 3.20, cell_v_max = 4.10, soh_end_pct = 60,
      r10s_mohm = 0.001, life_model = amp.life_model{
        calendar_pct_per_year = amp.between(1.0, 2.2),
        cycle_pct_per_efc = 0.008 } } }
  for key, value in pairs(keys) do spec[key] = value end
  return amp.offer(spec)
end
local CYCLES = 0.008 * 6.4 / 0.93 * 365 / (15 * 14.6 * 79.9 / 1000)

-- ---- closed forms: sums of normals ----

-- A lot of 2,000 +- 200 and a fixed life of 9 years; charging for p +- s, both
-- normal: L = (C + 520) A/(K P/A) + p/0.90 is normal with the root of the
-- squares. The battery rests on the same p: in the difference it counts by
-- 1/0.90 - 1/0.80 alone. The tariff is another.
local p = amp.claimed(0.12, 0.02)
local fixed = offer{ price_lot = amp.claimed(2000, 200),
  module = amp.module{ name = "4s1p", chemistry = invented.curve, series = 4,
    nominal_v = 14.6, capacity_ah = amp.claimed(94), soh_pct = 85,
    cell_v_min = 3.20, cell_v_max = 4.10, soh_end_pct = 60,
    r10s_mohm = 0.001, life_model = amp.life_model{
      calendar_pct_per_year = 1.6, cycle_pct_per_efc = 0.008 } } }
local lead = amp.alternative{ name = "lead-acid", kind = "battery",
  price = 3600, bos = 250, life_years = 8, usable_kwh = 12,
  round_trip_pct = 80 }
local grid = amp.alternative{ name = "grid", kind = "grid" }
local sums = amp.compare({ fixed, lead, grid }, need{ discount_pct = 5,
  charge_price = p, import_price = amp.claimed(0.30, 0.03) },
  { draws = DRAWS })
local z90, pa9, pa15 = 1.28155, 7.10782, 10.37966 -- printed tables
local sd_c = 200 / (KWH * pa9)
local mean = (2000 + 520) / (KWH * pa9) + 0.12 / 0.90
local sd = math.sqrt(sd_c ^ 2 + (0.02 / 0.90) ^ 2)
-- a P10 of so many draws has a standard error of 0.022 sd: three of them
check.equal(sums[1].counted_years, 9)
check.close(sums[1].levelised, mean, 0.05 * sd, "middle")
check.close(sums[1].levelised_p10, mean - z90 * sd, 0.07 * sd, "P10")
check.close(sums[1].levelised_p90, mean + z90 * sd, 0.07 * sd, "P90")
local mean_l = (3850 + 3600 / 1.05 ^ 8) / (KWH * pa15) + 0.12 / 0.80
check.close(sums[2].levelised, mean_l, 1e-3 * mean_l)
check.close(sums[2].levelised_p90 - sums[2].levelised, z90 * 0.02 / 0.80,
  2e-4, "the battery's own charging")
check.close(sums[3].levelised_p10, 0.30 - z90 * 0.03, 1e-3, "the tariff")
local sd_l = math.sqrt(sd_c ^ 2 + (0.02 * (1 / 0.80 - 1 / 0.90)) ^ 2)
local pair = sums.against[1]
check.equal(pair.offer .. " " .. pair.other, "used lead-acid")
check.close(pair.more, mean - mean_l, 0.03 * sd_l)
check.close(pair.more_p90 - pair.more_p10, 2 * z90 * sd_l, 0.06 * sd_l,
  "what both rest on cancels")
check.ok(sd_l < 0.6 * sd, "so it is narrower than either")
check.equal(pair.cheaper_pct, 100)
-- against the tariff: variances add; the normal law of the middles' distance
local sd_g = math.sqrt(sd ^ 2 + 0.03 ^ 2)
local against = sums.against[2]
check.close(against.more_p90 - against.more_p10, 2 * z90 * sd_g, 0.06 * sd_g)
-- Phi(x) by its integral, Simpson over 200 strips
local function phi (x)
  local n, sum = 200, 0
  for k = 0, n do
    local w = (k == 0 or k == n) and 1 or k % 2 == 1 and 4 or 2
    sum = sum + w * math.exp(-(x * k / n) ^ 2 / 2)
  end
  return 0.5 + x / n / 3 * sum / math.sqrt(2 * math.pi)
end
check.close(phi(1.28155), 0.9, 1e-6, "the integral itself")
check.close(against.cheaper_pct, 100 * phi((0.30 - mean) / sd_g), 1)
check.close(sums[1].saves_pct, against.cheaper_pct, 1e-9, "the same draws")
check.close(sums[1].npv / (KWH * pa9), 0.30 - mean, 0.03 * sd_g)
-- one object in two places is one draw, two equal ones are two
local tariff = amp.claimed(0.30, 0.03)
local as_grid = amp.compare({ fixed, grid }, need{ discount_pct = 5,
  charge_price = tariff, import_price = tariff }, { draws = DRAWS }).against[1]
check.close((as_grid.more_p90 - as_grid.more_p10) / (2 * z90),
  math.sqrt(sd_c ^ 2 + (0.03 * (1 / 0.90 - 1)) ^ 2), 3e-4)

-- ---- a plain Monte Carlo of all of it at once ----

local wide = need{ discount_pct = amp.between(3, 7),
  charge_price = amp.claimed(0.12, 0.02), import_price = amp.between(0.24,
  0.36), import_rise_pct = amp.between(-1, 4) }
local genset = amp.alternative{ name = "genset", kind = "generator",
  price = amp.between(700, 1100), power_w = 2000, l_per_kwh = 0.4,
  fuel_price = amp.claimed(0.60, 0.10), fuel_rise_pct = amp.between(0, 3),
  hours_a_day = 6.4, overhaul_hours = 3000, overhaul = amp.between(100, 200),
  life_hours = amp.between(9000, 14000), running = amp.claimed(40, 5) }
local acid = amp.alternative{ name = "lead-acid", kind = "battery",
  price = amp.claimed(3000, 200), price_again = amp.between(2500, 3500),
  bos = 250, life_years = amp.between(5, 9), usable_kwh = 12,
  round_trip_pct = amp.between(72, 84) }
local lot = offer{ price_lot = amp.claimed(1480, 150),
  price_again = amp.between(1200, 2600) }
local t = amp.compare({ lot, grid, genset, acid }, wide, { draws = DRAWS })

local function worth (rate, year) return (1 + rate) ^ -year end

-- present cost and present kWh of payments: first, then each(year)
local function levelised (first, years, rate, each)
  local cost, energy = first, 0
  for year = 1, years do
    cost = cost + each(year) * worth(rate, year)
    energy = energy + KWH * worth(rate, year)
  end
  return cost / energy, cost, energy
end

local function pack (s)
  local years = math.min(25 / (s.fade + CYCLES), 15)
  local n = math.max(math.floor(years), 1)
  local first = s.lot + 520
  local L, cost, energy = levelised(first, n, s.rate, function ()
    return s.charge / 0.90 * KWH
  end)
  local spared = 0
  for year = 1, n do
    spared = spared + KWH * s.tariff * (1 + s.rise) ^ (year - 1) *
      worth(s.rate, year)
  end
  -- when the savings, the last going on, have paid the first payment
  local left, back, worth_now = first, nil, 1
  for year = 1, 400 do
    local grows = math.min(year, n) - 1
    local saving = KWH * (s.tariff * (1 + s.rise) ^ grows - s.charge / 0.90)
    worth_now = worth_now / (1 + s.rate)
    if saving * worth_now >= left then back = back or year break end
    left = left - saving * worth_now
  end
  local again = levelised(first, 15, s.rate, function (year)
    return s.charge / 0.90 * KWH + (year % n == 0 and year < 15 and s.again
      or 0)
  end)
  return { levelised = L, npv = spared - cost, n = n, back = back or math.huge,
    year = cost * s.rate / (1 - (1 + s.rate) ^ -n), energy = energy,
    again = again }
end

local function grid_cost (s)
  return (levelised(0, 15, s.rate, function (year)
    return KWH * s.tariff * (1 + s.rise) ^ (year - 1)
  end))
end

local HOURS = 6.4 * 365
local function genset_cost (s)
  local life = math.floor(s.life_hours / HOURS)
  return (levelised(s.engine, 15, s.rate, function (year)
    local at = (year - 1) % life + 1 -- year of this machine
    local last = at == life or year == 15
    local up = at * HOURS / 3000
    up = last and math.ceil(up) - 1 or math.floor(up)
    local due = up - math.floor((at - 1) * HOURS / 3000)
    return KWH * 0.4 * s.fuel * (1 + s.fuel_rise) ^ (year - 1) + s.running +
      due * s.overhaul + (at == life and year < 15 and s.engine or 0)
  end))
end

local function acid_cost (s)
  local life = math.floor(s.acid_life)
  return (levelised(s.acid + 250, 15, s.rate, function (year)
    return s.charge / s.trip * KWH +
      (year % life == 0 and year < 15 and s.acid_again or 0)
  end))
end

local own = { levelised = {}, npv = {}, year = {}, again = {}, grid = {},
  genset = {}, acid = {}, less_grid = {}, less_genset = {}, less_acid = {} }
local wins, cheaper = { 0, 0, 0, 0 }, { 0, 0, 0 }
local saves, late, in_time = 0, 0, 0
for i = 1, OWN do
  local s = { rate = even(0.03, 0.07), charge = normal(0.12, 0.02),
    tariff = even(0.24, 0.36), rise = even(-0.01, 0.04),
    engine = even(700, 1100), fuel = normal(0.60, 0.10),
    fuel_rise = even(0, 0.03), overhaul = even(100, 200),
    life_hours = even(9000, 14000), running = normal(40, 5),
    acid = normal(3000, 200), acid_again = even(2500, 3500),
    acid_life = even(5, 9), trip = even(0.72, 0.84),
    lot = normal(1480, 150), again = even(1200, 2600), fade = even(1.0, 2.2) }
  local a = pack(s)
  local cost = { a.levelised, grid_cost(s), genset_cost(s), acid_cost(s) }
  own.levelised[i], own.npv[i], own.year[i] = a.levelised, a.npv, a.year
  own.again[i] = a.again
  own.grid[i], own.genset[i], own.acid[i] = cost[2], cost[3], cost[4]
  own.less_grid[i], own.less_genset[i] = cost[1] - cost[2], cost[1] - cost[3]
  own.less_acid[i] = cost[1] - cost[4]
  local best = 1
  for k = 2, 4 do
    if cost[k] < cost[best] then best = k end
    if cost[1] < cost[k] then cheaper[k - 1] = cheaper[k - 1] + 1 end
  end
  wins[best] = wins[best] + 1
  if a.npv > 0 then saves = saves + 1 end
  if a.back <= a.n then in_time = in_time + 1 end
  if a.back <= 15 then late = late + 1 end
end
for _, list in pairs(own) do table.sort(list) end

-- quantiles of both, to 3 % of the distance P10 .. P90: both are draws, with
-- standard errors of 0.3 % of it here and of 0.9 % there
local function held (name, list, p10, p50, p90)
  local lo, mid, hi = quantile(list, 0.1), quantile(list, 0.5),
    quantile(list, 0.9)
  check.close(p10, lo, 0.03 * (hi - lo), name .. " P10")
  check.close(p50, mid, 0.03 * (hi - lo), name .. " P50")
  check.close(p90, hi, 0.03 * (hi - lo), name .. " P90")
end
local function held_cell (row, key, list)
  local name = t[row].name .. " " .. key
  held(name, list, t[row][key .. "_p10"], t[row][key], t[row][key .. "_p90"])
end
held_cell(1, "levelised", own.levelised)
held_cell(1, "npv", own.npv)
held_cell(1, "per_year", own.year)
held_cell(1, "over_horizon", own.again)
held_cell(2, "levelised", own.grid)
held_cell(3, "levelised", own.genset)
held_cell(4, "levelised", own.acid)
for k, list in ipairs{ own.less_grid, own.less_genset, own.less_acid } do
  local one = t.against[k]
  held("less " .. one.other, list, one.more_p10, one.more, one.more_p90)
  check.close(one.cheaper_pct, 100 * cheaper[k] / OWN, 1, one.other)
  -- coverage: eight tenths of the own differences lie in P10 .. P90
  local inside = 0
  for _, v in ipairs(list) do
    if v >= one.more_p10 and v <= one.more_p90 then inside = inside + 1 end
  end
  check.close(100 * inside / OWN, 80, 1, "coverage, " .. one.other)
end
for k = 1, 4 do
  check.close(t[k].cheapest_pct, 100 * wins[k] / OWN, 1, t[k].name)
end
check.close(t[1].saves_pct, 100 * saves / OWN, 1, "saves")
check.close(t[1].paid_pct, 100 * in_time / OWN, 1, "paid in its years")
check.close(t[1].paid_late_pct, 100 * late / OWN, 1, "within the horizon")
-- were each drawn on its own, differences would be wider than they are
local function width (list) return quantile(list, 0.9) - quantile(list, 0.1) end
local apart = math.sqrt(width(own.levelised) ^ 2 + width(own.acid) ^ 2)
check.ok(width(own.less_acid) < 0.95 * apart, "what is shared is shared")

-- ---- and how it reads ----

local said = F(t)
check.has(said, "used costs less than grid in ")
check.has(said, " of 100 draws, than ")
check.has(said, "Against 0.3 a kWh and 1.5 % more each year from the grid: ")
check.has(said, "used a kWh of it less one of grid ")
check.has(said, "each in the same draw.")
check.has(said, "a year of service in even payments, at 5 %: used ")
check.has(said, "not paid back of 100 draws, within the whole years it " ..
  "lasts: used in ")
check.has(said, "ends of 15 years: used after ")
check.has(said, "Bought again as said, a kWh over all of them: used ")
check.has(said, "overhaul 100 to 200, life 9000 to 14000 h")
check.has(said, "tariff 0.24 to 0.36, rise of the tariff -1 to 4 % a year")
-- never, in more than every tenth draw: a quantile without end
local hard = amp.compare({ lot }, need{ discount_pct = 5, charge_price = 0.12,
  import_price = amp.between(0.10, 0.40) }, { draws = 500 })
check.equal(hard:cell(1, "break_even_years").high_beyond, true)
check.has(F(hard), ".. never)")
local never = amp.compare({ lot }, need{ discount_pct = 5,
  charge_price = 0.12, import_price = amp.between(0.10, 0.14) },
  { draws = 100 })
check.equal(never[1].break_even_years, nil)
check.equal(never:cell(1, "break_even_years").why,
  "what is saved does not pay it back")
check.has(F(never), "not paid back of 100 draws, within the whole years it " ..
  "lasts: used in all; within the 15 of the horizon: used in all.")
check.ok(never[1].npv < 0 and never[1].npv_p10 < never[1].npv_p90)
-- what another one costs turns the order: ten years at 1480 against fifteen
local long = offer{ name = "new", price_lot = 2700, module = amp.module{
  name = "4s1p", chemistry = invented.curve, series = 4, nominal_v = 14.6,
  capacity_ah = amp.claimed(94), soh_pct = 100, cell_v_min = 3.20,
  cell_v_max = 4.10, soh_end_pct = 60, r10s_mohm = 0.001,
  life_model = amp.life_model{ calendar_pct_per_year = 1.2,
    cycle_pct_per_efc = 0.008 } } }
local short = fixed:with{ price_lot = 1480, price_again = 4000 }
local turn = amp.compare({ short, long }, need{ discount_pct = 5,
  charge_price = 0.12 }, { draws = 20 })
check.ok(turn[1].levelised < turn[2].levelised, "by their own years")
check.ok(turn[1].over_horizon > turn[2].levelised, "and over fifteen")
check.has(F(turn), "What another one costs decides the order of the " ..
  "levelised cost: used ")
check.equal(turn[2].over_horizon, nil)
check.has(turn:cell(2, "over_horizon").why, "price_again")

-- ---- one load for all, refusals, tails ----

-- a load of 5 .. 9 kWh a day, evenly, out of a battery that gives 6.5 x 0.93
-- = 6.045: asked for and not given are 365 (load - 6.045), from 0 up; the
-- grid's cost of a kWh does not know the load
local small = acid:with{ name = "small", usable_kwh = 6.5, price = 3000,
  price_again = 3000, life_years = 8, round_trip_pct = 80 }
local loads = amp.compare({ small, grid }, need{ discount_pct = 5,
  import_price = 0.29, duty = amp.profile.daily{
    from_battery_kwh = amp.between(5, 9), temp_c = 15 } }, { draws = 4000 })
check.close(loads[1].unserved_kwh, 365 * (7 - 6.045), 1)
check.close(loads[1].unserved_kwh_p90, 365 * (8.6 - 6.045), 1)
check.close(loads[1].unserved_kwh_p10, 0, 1e-9)
check.close(loads[2].levelised_p90, 0.29, 1e-12)
check.close(loads[2].per_year_p90, 0.29 * 8.6 * 365, 1)
-- the set's money over what it gives: 5 kWh at P10 of the load, 6.045 above
check.close(loads[1].levelised_p10,
  (3250 + 3000 / 1.05 ^ 8) / (pa15 * 365 * 6.045), 1e-6)

check.raises(function () amp.alternative{ name = "g", kind = "grid",
  fuel_rise_pct = 2 } end, "fuel_rise_pct belongs to a generator")
check.raises(function () need{ import_rise_pct = 60 } end,
  "import_rise_pct must lie in -50 .. 50 %")
check.raises(function () need{ import_price = amp.between(-1, 0.3) } end,
  "import_price")
check.raises(function () offer{ price_again = -1 } end, "price_again")

-- tails as wide as you like end in a cost or in none, never in an error
local wild = amp.compare({ offer{ price_again = amp.claimed(500, 900) },
  acid:with{ life_years = amp.claimed(3, 4), price = amp.claimed(100, 400),
    round_trip_pct = amp.claimed(60, 40) },
  genset:with{ life_hours = amp.claimed(6000, 3000),
    fuel_price = amp.claimed(1, 2), hours_a_day = amp.claimed(8, 6),
    overhaul_hours = amp.claimed(500, 900) }, grid }, need{
    discount_pct = amp.claimed(5, 6), charge_price = amp.claimed(0.1, 0.2),
    import_price = amp.claimed(0.2, 0.3), import_rise_pct = amp.claimed(0, 30) },
  { draws = 1000 })
local shares = 0
for i = 1, 4 do
  check.ok(wild[i].levelised == nil or wild[i].levelised_p10 <=
    wild[i].levelised and wild[i].levelised <= wild[i].levelised_p90)
  shares = shares + wild[i].cheapest_pct
end
check.close(shares, 100, 1e-6, "every draw is somebody's")
check.has(F(wild), " of 100 draws it cannot carry the load or is worn out " ..
  "within a year")

-- ---- interest tables: A/P out of a year of service ----

local rows = 0
for line in io.lines(here .. "/tests/data/interest-factors.csv") do
  local pct, n, pa = line:match("^([%d.]+),(%d+),.*,([%d.]+)")
  if pct and tonumber(pct) >= 1 and tonumber(n) <= 30 then
    rows = rows + 1
    local ever = offer{ price_lot = 1000, bos = 0, module = amp.module{
      name = "4s1p", chemistry = invented.curve, series = 4,
      nominal_v = 14.6, capacity_ah = amp.claimed(94), soh_pct = 100,
      cell_v_min = 3.20, cell_v_max = 4.10, soh_end_pct = 30,
      r10s_mohm = 0.001, life_model = amp.life_model{
        calendar_pct_per_year = 0.1, cycle_pct_per_efc = 1e-4 } } }
    local one = amp.compare({ ever }, need{ discount_pct = tonumber(pct),
      horizon_years = tonumber(n) }, { draws = 2 })
    check.equal(one[1].counted_years, tonumber(n))
    check.close(1000 / one[1].per_year, tonumber(pa), 0.500001e-4, line)
  end
end
check.ok(rows >= 5, "the table was read")

check.done()
