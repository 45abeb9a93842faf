--- One full comparison worked out a second time, in plain Lua that shares no
-- code with the library: landed cost, layout, window, usable energy, days,
-- years and five costs per kWh of four invented offers without spread. Then
-- each figure of amp.compare is held against it.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path

-- ---- what is asked, in plain numbers ----

-- rest voltages joined by straight lines: percent, V
local ocv = { { 0, 3.00 }, { 5, 3.30 }, { 10, 3.42 }, { 20, 3.52 },
  { 30, 3.58 }, { 40, 3.62 }, { 50, 3.67 }, { 60, 3.75 }, { 70, 3.84 },
  { 80, 3.93 }, { 90, 4.05 }, { 100, 4.18 } }
local site = { v_cut = 42.0, v_set = 58.4, v_never = 60.0, efficiency = 0.93,
  ac_a_day = 6.4, horizon = 15, rate = 0.05, per_kg = 0.8, rates = { GBP = 1.17 } }
local offers = {
  { name = "auction", groups = 4, volts = 14.6, ah = 94, kg = 12, count = 16,
    price = 1480, by = "lot", steps = { { 0, 15, 0 }, { 500, 10, 20 } },
    least = 100, freight = 90, kg_rate = 0.35, customs = 4, inland = 60,
    tax = 20, untaxed = { inland = true }, trip = 139.5, bos = 520, bos_kg = 40,
    soh = 85, calendar = 1.6, cycle = 0.008, last = 60, cell = { 3.30, 4.10 } },
  { name = "tested", groups = 14, volts = 51.1, ah = 37, kg = 21, count = 10,
    price = 215, by = "each", steps = {}, freight = 95, hazmat = 40,
    bos = 520, bos_kg = 40, tested = 32.55, calendar = 1.6, cycle = 0.008,
    last = 60, cell = { 3.30, 4.10 } },
  { name = "abroad", groups = 7, volts = 25.55, ah = 112, kg = 17.5, count = 11,
    price = 72, by = "kwh", steps = { { 0, 12, 0 } }, whole = true, fees = 35,
    freight = 260, tax = 19, bos = 640, bos_kg = 45, soh = 78, money = "GBP",
    calendar = 2.1, cycle = 0.012, last = 60, cell = { 3.40, 4.05 } },
  { name = "pallets", groups = 7, volts = 25.55, ah = 60, kg = 11, count = 13,
    price = 155, by = "each", steps = {}, pallet = 80, pallet_kg = 50,
    bos = 610, bos_kg = 30, soh = 91, calendar = 1.1, cycle = 0.02, last = 70,
    cell = { 3.20, 4.10 } } }

-- ---- the second working ----

local function landed (o)
  local kwh = o.count * o.volts * o.ah / 1000
  local goods = o.by == "lot" and o.price or o.by == "each" and
    o.price * o.count or o.price * kwh
  local premium = 0
  for i, step in ipairs(o.steps) do
    if goods > step[1] then
      local top = o.steps[i + 1] and math.min(goods, o.steps[i + 1][1]) or goods
      premium = premium + (o.whole and goods or top - step[1]) * step[2] / 100
      premium = premium + step[3] - (i > 1 and o.steps[i - 1][3] or 0)
    end
  end
  premium = math.max(premium, o.least or 0)
  local carriers = (o.freight or 0) + (o.kg_rate or 0) * o.count * o.kg
  if o.pallet then
    local on_one = o.pallet_kg // o.kg
    carriers = carriers + o.pallet * -(-o.count // on_one)
  end
  local customs = (o.customs or 0) / 100 * (goods + premium + carriers)
  local rest = (o.hazmat or 0) + (o.fees or 0)
  local base = goods + premium + carriers + customs + rest
  if not (o.untaxed and o.untaxed.inland) then base = base + (o.inland or 0) end
  local total = goods + premium + carriers + customs + rest +
    (o.inland or 0) + (o.tax or 0) / 100 * base + (o.trip or 0)
  return total * (o.money and site.rates[o.money] or 1), kwh
end

local function charge_at (v)
  for i = 2, #ocv do
    local a, b = ocv[i - 1], ocv[i]
    if v <= b[2] then
      return a[1] + (b[1] - a[1]) * (v - a[2]) / (b[2] - a[2])
    end
  end
  return 100
end

-- modules in a string with most kWh, its window in percent
local function layout (o, each_kwh)
  local best
  for n = 1, o.count do
    local groups = n * o.groups
    local low = math.max(o.cell[1], site.v_cut / groups)
    local high = math.min(o.cell[2], site.v_set / groups)
    if high > low and groups * high < site.v_never and
       groups * o.cell[2] < site.v_never then
      local share = (charge_at(high) - charge_at(low)) / 100
      local used = o.count // n * n
      local usable = used * each_kwh * share
      if not best or usable > best.usable * (1 + 1e-12) then
        best = { n = n, used = used, usable = usable,
          tested = used * each_kwh }
      end
    end
  end
  return best
end

local function annuity (years)
  local sum = 0
  for t = 1, years do sum = sum + (1 + site.rate) ^ -t end
  return sum
end

local function worked (o)
  local r = {}
  local nameplate
  r.landed, nameplate = landed(o)
  local ah = o.tested or o.ah * o.soh / 100
  local pack = layout(o, o.volts * ah / 1000)
  r.used, r.usable_kwh = pack.used, pack.usable
  r.groups = pack.n * o.groups
  r.total = r.landed + o.bos + site.per_kg * (pack.used * o.kg + o.bos_kg)
  local dc = site.ac_a_day / site.efficiency
  r.days = pack.usable / dc
  local efc = dc * 365 / pack.tested
  local soh = 100 * ah / o.ah
  r.years = math.min((soh - o.last) / (o.calendar + o.cycle * efc),
    site.horizon)
  local ac = site.ac_a_day * 365
  r.per_nameplate = r.landed / nameplate
  r.per_accepted = r.landed / (o.count * o.volts * ah / 1000)
  r.per_usable = r.total / pack.usable
  r.per_delivered = r.total / (ac * r.years)
  r.levelised = r.total / (ac * annuity(math.floor(r.years + 1e-9)))
  return r
end

local second = {}
for i, o in ipairs(offers) do second[i] = worked(o) end

-- ---- the library's ----

local check = require "check"
local amp = require "ampstead"

local chemistry = amp.chemistry{ name = "invented", interp = "linear",
  ocv_v = ocv }

local price_key = { lot = "price_lot", each = "price_each",
  kwh = "price_per_kwh" }

local function made (o)
  local module = amp.module{ name = o.name, chemistry = chemistry,
    series = o.groups, nominal_v = o.volts, mass_kg = o.kg,
    capacity_ah = amp.claimed(o.ah), soh_end_pct = o.last,
    cell_v_min = o.cell[1], cell_v_max = o.cell[2],
    life_model = amp.life_model{ calendar_pct_per_year = o.calendar,
      cycle_pct_per_efc = o.cycle } }
  local keys = { name = o.name, module = module, count = o.count,
    freight = o.freight, freight_per_kg = o.kg_rate, inland = o.inland,
    customs_pct = o.customs, hazmat = o.hazmat, fees = o.fees,
    freight_per_pallet = o.pallet, pallet_kg = o.pallet_kg,
    tax = o.tax and "excluded" or "included", tax_pct = o.tax,
    tax_of = o.untaxed and { inland = "none" }, collection = o.trip,
    premium_min = o.least, premium_on = o.whole and "whole" or nil,
    currency = o.money, bos = o.bos, bos_kg = o.bos_kg, dud_pct = 0,
    soh_pct = o.soh and amp.measured(o.soh) or nil,
    tested_ah = o.tested and amp.measured(o.tested) or nil }
  if #o.steps > 0 then keys.premium_pct = o.steps end
  keys[price_key[o.by]] = o.price
  return amp.offer(keys)
end

local list = {}
for i, o in ipairs(offers) do list[i] = made(o) end
local need = amp.need{ currency = "EUR", horizon_years = site.horizon,
  discount_pct = 100 * site.rate, carry_per_kg = site.per_kg,
  rates = { GBP = site.rates.GBP, dated = "2026-07-01" },
  inverter = amp.inverter{ v_min = site.v_cut, v_max = site.v_set,
    v_abs_max = site.v_never, power_w = 5000,
    efficiency_pct = 100 * site.efficiency },
  duty = amp.profile.daily{ from_battery_kwh = site.ac_a_day, temp_c = 25 } }
local t = amp.compare(list, need, { draws = 3 })

local held = { landed = 1e-12, total = 1e-12, usable_kwh = 1e-9, days = 1e-9,
  years = 1e-6, per_nameplate = 1e-12, per_accepted = 1e-12,
  per_usable = 1e-9, per_delivered = 1e-6, levelised = 1e-9 }
local keys = {}
for key in pairs(held) do keys[#keys + 1] = key end
table.sort(keys)
for i, want in ipairs(second) do
  local name = offers[i].name
  check.equal(t[i].refused, nil, name)
  check.equal(t[i].used, want.used, name .. " in use")
  check.has(t[i].layout, want.groups .. "s,", name .. " layout")
  for _, key in ipairs(keys) do
    check.close(t[i][key] / want[key], 1, held[key], name .. " " .. key)
  end
  check.equal(t[i].levelised_p10, t[i].levelised_p90, "nothing is spread")
end
-- the order that follows
local first, cost = nil, math.huge
for i, want in ipairs(second) do
  if want.levelised < cost then first, cost = offers[i].name, want.levelised end
end
check.equal(t:sort("levelised")[1].name, first, "the cheapest")
check.close(t:sort("levelised")[1].cheapest_pct, 100, 1e-9)
check.done()
