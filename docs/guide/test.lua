-- Twelve modules, two tested, not paid for yet: is it worth testing more?
-- Readings and prices are invented. Runs in a second.
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112),
  soc_min_pct = 5, soc_max_pct = 94 }
local offer = amp.offer{ name = "pallet", module = pouch, count = 12,
  price_lot = 2950, premium_pct = 15, freight = 260, fees = 85,
  tax = "excluded", tax_pct = 20, dud_pct = amp.claimed(10, 6) }

-- 1. before anybody drives there: how many will be good, in strings of two?
print(offer:accepted{ series = 2 })
print()

-- 2. if two are bad, how many tests show at least one of them?
print(offer:tests_wanted{ duds = 2, sure_pct = 90 })
print()

-- 3. at the seller's: voltages of all, capacity of two
local lot = amp.readings.text([[
id  ocv_v  ah
1   25,76  96,1
2   25,75  91,4
3   25,76
4   25,74
5   25,75
6   25,71
7   25,76
8   25,73
9   25,70
10  25,75
11  25,74
12  25,76
]], { module = pouch })
local ask = { price_lot = offer:landed().total, target = 210, per = "usable",
  dud_pct = amp.claimed(10, 6), cost_each = 15 }
local worth = lot:worth_testing(ask)
print(worth)
print(worth.by_tests)
print()

-- 4. the same lot for less money: already decided?
ask.price_lot = 700
print(lot:worth_testing(ask))
print()

-- 5. how many tests would bring the mean to within 3 Ah?
print(lot:tests_wanted{ within_ah = 3 })
