--- cases.lua -- processor time of a sweep's cases in one run: those that
-- differ in money alone beside each by itself, and draws that are all alike
-- beside draws that all differ. Prints ms a case.
local amp = require "ampstead"

local function module (tested, r)
  return amp.module{ name = "ten", chemistry = "nmc111", series = 7,
    parallel = 2, capacity_ah = 112, tested_ah = tested, r10s_mohm = r,
    mass_kg = 17.5 }
end
local plain = module(93.8, 1.9)
local spread = module(amp.measured(93.8, 3), amp.measured(1.9, 0.1))
local house = amp.profile.daily{ solar_kwp = 4.2, sun_hours = 2.9,
  performance_pct = 75, temp_c = 15, load_w = 250 }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, efficiency_pct = 92, idle_w = 32 }

-- ms a case of a sweep over these discounts, prices and strings
local function ms (m, draws, discounts, prices, strings)
  local from = os.clock()
  local t = amp.sweep{ draws = draws,
    over = { discount = discounts, price = prices, strings = strings },
    case = function (c)
      return {
        pack = amp.pack{ module = m, series = 2, parallel = c.strings,
                         soc_min_pct = 10, soc_max_pct = 90 },
        need = amp.need{ currency = "EUR", horizon_years = 20,
          discount_pct = c.discount, duty = house, inverter = inverter },
        cost = c.price * c.strings, soh_end_pct = 60,
        life_model = "nmc_voltage_depth" }
    end }
  return 1e3 * (os.clock() - from) / #t
end

local together = ms(plain, 2000, amp.range(1, 10), amp.range(700, 790, 10),
  { 3, 4 })
local alone, n = 0, 10
for k = 1, n do
  alone = alone + ms(plain, 2000, { k }, { 700 }, { 3 + k % 2 }) / n
end
print(("%d cases that differ in money alone %.2f ms each, by themselves " ..
  "%.2f ms: %.0fx"):format(200, together, alone, alone / together))
local few = ms(spread, 2, { 5 }, { 700 }, { 3 })
local differ = ms(spread, 2000, { 5 }, { 700 }, { 3 }) - few
local alike = ms(plain, 2000, { 5 }, amp.range(700, 890, 10), { 3 }) -
  ms(plain, 2, { 5 }, amp.range(700, 890, 10), { 3 })
print(("2000 draws that differ %.2f ms, that are alike %.2f ms: %.0fx"):format(
  differ, alike, differ / alike))
