--- Is it worth testing more before paying? The lots are invented; what is
-- worked by hand stands beside each check. The numbers themselves:
-- tests/core/job/test_worth.c.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local module = amp.module{ name = "7s2p", chemistry = "nmc111", series = 7,
  parallel = 2, nominal_v = 25.55, capacity_ah = amp.claimed(112),
  soc_min_pct = 5, soc_max_pct = 94 }

-- modules 1 .. n; what was tested of the first ones, in Ah
local function lot (n, ah, more)
  local readings = {}
  for i = 1, n do
    readings[i] = { id = tostring(i), ocv_v = 25.75, ah = ah[i] }
  end
  for i, keys in pairs(more or {}) do
    for key, value in pairs(keys) do readings[i][key] = value end
  end
  return amp.lot{ module = module, readings = readings }
end

local function ask (keys)
  local opts = { cost_each = 25, price_lot = 3400, target = 150 }
  for key, value in pairs(keys or {}) do opts[key] = value end
  return opts
end

local twelve = lot(12, { 96.1, 91.4 })

-- ---- too dear: even at the nameplate it is not worth its price ----

local dear = twelve:worth_testing(ask{ price_lot = 4600 })
check.equal(dear.tests, 0)
check.equal(dear.decision, "leave")
check.equal(dear.decided, "yes")
-- (187.5 + 10 x 112) Ah x 25.55 V x 0.89 x 150 = 4,459.78
check.close(dear.most, 4459.78, 0.01, "every other module at its nameplate")
check.has(tostring(dear), "Leave it at 4600.00: testing more cannot change it.")
check.has(tostring(dear), "worth 4459.78")
check.close(dear.half_width_ah, 27.26, 0.005)

-- ---- a fraction for percent ----

local slip = lot(6, { 96.1, 91.4 }):worth_testing(ask{ dud_pct = 0.1 })
check.equal(slip.cautions, "fraction_for_percent")
check.has(tostring(slip), "dud_pct = 0.1 counts as 0.1 %")
local percent = lot(6, { 96.1, 91.4 }):worth_testing(ask{ dud_pct = 10 })
check.equal(percent.cautions, "")

-- ---- worth its price by what is known already ----

local cheap = twelve:worth_testing(ask{ price_lot = 600 })
-- 187.5 Ah x 25.55 V x 0.89 x 150 = 639.55
check.close(cheap.least, 639.55, 0.01)
check.equal(cheap.decided, "yes")
check.equal(cheap.decision, "buy")
check.has(tostring(cheap), "Worth its price of 600.00: testing more cannot " ..
  "change it.")

-- ---- near: some tests pay, and cost decides how many ----

local near = twelve:worth_testing(ask{ price_lot = 3800, cost_each = 5 })
check.equal(near.decision, "test")
check.ok(near.tests >= 1 and near.net > 0, "some tests pay")
check.close(near.cost, 5 * near.tests, 1e-9)
check.close(near.net, near.gain - near.cost, 1e-9)
check.ok(near.gain <= near.perfect, "no more than perfect knowledge")
check.ok(near.half_width_then_ah < near.half_width_ah, "the band narrows")
check.ok(near.worth_pct > 0 and near.worth_pct < 100)
check.has(tostring(near), "more before paying: that gains")
local most = 0
for i = 1, #near.by_tests do most = math.max(most, near.by_tests[i].net) end
check.close(near.net, most, 1e-9, "the most of all numbers of tests")
local costly = twelve:worth_testing(ask{ price_lot = 3800, cost_each = 500 })
check.equal(costly.tests, 0)
check.has(tostring(costly), "Testing more is not worth its cost")
check.equal(costly.decided, "no")
check.equal(tostring(near), tostring(twelve:worth_testing(ask{
  price_lot = 3800, cost_each = 5 })), "the same bytes")

-- a target per accepted kWh takes no window
check.close(twelve:worth_testing(ask{ per = "accepted",
  price_lot = 600 }).least, 187.5 * 25.55 * 0.15, 0.01)

-- ---- what does not count, and duds ----

local marred = lot(12, { 96.1, 91.4 }, { [5] = { remark = "dented" },
  [11] = { ocv_v = 24.38, group_min_v = 2.31, group_max_v = 3.68 } })
local left = marred:worth_testing(ask{ price_lot = 4600 })
-- two fewer: (187.5 + 8 x 112) Ah
check.close(left.most, (187.5 + 8 * 112) * 25.55 * 0.89 * 0.15, 0.01)
check.has(tostring(left), "left out  rejected or in quarantine, worth nothing " ..
  "here: 5 and 11.")

local duds = twelve:worth_testing(ask{ dud_pct = 10 })
local none = twelve:worth_testing(ask())
check.ok(duds.worth < none.worth, "duds take from the worth")
check.close(duds.least, 639.55, 0.01, "what was tested is there")
local unsure = twelve:worth_testing(ask{ dud_pct = amp.assumed(10, 8) })
check.ok(unsure.perfect > 0)

-- ---- a spread that is known, and no test at all ----

local fresh = lot(12, {})
local prior = fresh:worth_testing(ask{ sd_ah = 5,
  mean_ah = amp.assumed(95, 8), price_lot = 3800 })
check.ok(prior.worth > 3700 and prior.worth < 3950, "about 95 Ah")
check.equal(prior.tests > 0, prior.net > 0)
check.has(tostring(prior), "a normal law about 95.0 Ah")

-- ---- tests above the label: then the most that was tested is the limit ----

local strong = lot(12, { 130, 128 }):worth_testing(ask{ price_lot = 6000 })
check.close(strong.most, (258 + 10 * 130) * 25.55 * 0.89 * 0.15, 0.01)
check.has((tostring(strong):gsub("%s+", " ")), "no module above 130 Ah, the " ..
  "most that was tested.")
local plain = amp.lot{ module = module:with{ capacity_ah = 112 }, readings = {
  { id = "1", ah = 96 }, { id = "2", ah = 91 }, { id = "3", ocv_v = 25.75 } } }
check.ok(plain:worth_testing(ask{ price_lot = 900 }).worth > 0,
  "a plain nameplate")

-- ---- refused ----

check.raises(function () twelve:worth_testing(ask{
  dud_pct = amp.assumed(10, 80) }) end, "wider than a share can be")
check.raises(function () lot(33, { 96, 91 }):worth_testing(ask{
  dud_pct = 10 }) end, "at most 24 modules that are not tested yet (got 31)")
check.raises(function () twelve:worth_testing(ask{ sd_ah = {} }) end,
  "sd_ah must lie in 0.001 .. 5000 Ah (got table)")

check.raises(function () fresh:worth_testing(ask()) end,
  "nothing was tested, so the spread is unknown")
check.raises(function () lot(12, { 96 }):worth_testing(ask()) end,
  "one test says nothing of the spread")
check.raises(function () lot(2, { 96, 91 }):worth_testing(ask()) end,
  "all of the lot is tested already")
check.raises(function () twelve:worth_testing(ask{ per = "nameplate" }) end,
  "what a label says no test changes")
check.raises(function () twelve:worth_testing{ cost_each = 25, target = 150 }
  end, "price_lot is wanted")
check.raises(function () twelve:worth_testing(ask{ prise_lot = 3 }) end,
  "unknown key 'prise_lot' (did you mean 'price_lot'?)")
check.raises(function () twelve:worth_testing(ask{ mean_ah = 95 }) end,
  "mean_ah goes with sd_ah")
check.raises(function ()
  amp.lot{ readings = { { id = "1", ah = 50 }, { id = "2", ah = 51 },
    { id = "3", ocv_v = 25.7 } } }:worth_testing(ask())
end, "module")

-- ---- tests for a band ----

-- 2.447 x 3.323/sqrt(7) x sqrt(5/12) = 1.98
local seven = twelve:tests_wanted{ within_ah = 2 }
check.equal(seven.tests, 7)
check.equal(seven.more, 5)
check.equal(seven.of, 12)
check.has(tostring(seven), "7 of 12 tested bring the mean of the lot to " ..
  "within 2.00 Ah (95 %)")
-- 1.960 x 5/sqrt(8) x sqrt(1/3) = 2.0003, with nine 1.633
check.equal(fresh:tests_wanted{ within_ah = 2, sd_ah = 5 }.tests, 9)
check.raises(function () fresh:tests_wanted{ within_ah = 2 } end,
  "fewer than two tests say nothing of the spread")

-- ---- before it is bought: an offer ----

local offer = amp.offer{ name = "A", module = module, count = 12,
  price_lot = 2950, tax = "none", dud_pct = amp.claimed(10),
  tested_ah = amp.tested({ 96.1, 91.4 }, { of = 12, by = "seller" }) }
-- mean 12 x 0.9; the median 11 is five strings of two and a spare; at least
-- ten good of twelve: 0.8891
local good = offer:accepted{ series = 2 }
check.close(good.mean, 10.8, 1e-12)
check.equal(good.median, 11)
check.equal(good.strings, 5)
check.equal(good.in_use, 10)
check.equal(good.spares, 1)
check.close(good.chance_pct, 88.91, 0.005)
check.close(offer:accepted{ series = 2, strings = 6 }.chance_pct,
  100 * 0.9 ^ 12, 1e-9)
check.close(good.by_strings[5].chance_pct, 88.91, 0.005)
check.has(tostring(good), "10 of 12 modules in use, in 5 strings of 2; at " ..
  "least 5 strings in 88.9 %")
local unsure_offer = offer:with{ dud_pct = amp.assumed(10, 8) }
check.ok(unsure_offer:accepted{ series = 2, strings = 6 }.chance_pct >
  100 * 0.9 ^ 12, "duds that come together leave more lots whole")

-- 1 - C(10,8)/C(12,8) = 1 - 6/66
local see = offer:tests_wanted{ duds = 2 }
check.equal(see.tests, 8)
check.has(tostring(see), "Test 8 of 12: if 2 are duds, that sees none with " ..
  "9.09 %.")
check.has(tostring(good), "on its own (binomial)")
check.has(tostring(unsure_offer:accepted()), "duds then come together")
check.close(see.missed_pct, 100 * 6 / 66, 1e-9)
check.close(see.by_tests[2].missed_pct, 100 * 45 / 66, 1e-9)
check.equal(offer:tests_wanted{ within_ah = 2 }.tests, 7, "as of the lot")
check.equal(offer:tests_wanted{ within_ah = 2, sd_ah = 5 }.tests, 9)
check.raises(function () offer:tests_wanted{} end,
  "give { duds = } or { within_ah = }")
check.raises(function () offer:tests_wanted{ duds = 13 } end, "1 .. 12")

check.done()
