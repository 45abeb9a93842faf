--- Offers compared: the hut of examples/01-offers.lua, its hand values, and
-- what the table says in words. All prices and readings are invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local nickel = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5,
  soc_min_pct = 5, soc_max_pct = 94, soh_end_pct = 60,
  life_model = amp.life_model{ calendar_pct_per_year = amp.between(1.0, 2.2),
                               cycle_pct_per_efc = 0.008 } }
local iron = amp.module{ name = "8s1p", chemistry = "lfp",
  series = 8, parallel = 1, capacity_ah = amp.claimed(105), mass_kg = 21.5,
  soc_min_pct = 10, soc_max_pct = 95, soh_end_pct = 70,
  life_model = amp.life_model{ calendar_pct_per_year = amp.between(0.8, 1.8),
                               cycle_pct_per_efc = 0.004 } }
local boxed = iron:with{ name = "16s boxed", series = 16, mass_kg = 46,
  capacity_ah = amp.claimed(100), soc_max_pct = 100 }
local H1 = amp.offer{ name = "H1 used nickel", module = nickel, count = 12,
  price_lot = 2950, premium_pct = 15, freight = 260, fees = 85,
  tax = "excluded", tax_pct = 20, dud_pct = amp.claimed(10),
  tested_ah = amp.tested({ 96.1, 91.4 }, { of = 12 }), bos = 640,
  bos_kg = 45 }
local H2 = amp.offer{ name = "H2 used iron", module = iron, count = 8,
  price_each = 318, tax = "included", soh_pct = amp.claimed(92, 2),
  dud_pct = 2, bos = 640, bos_kg = 45 }
local H3 = amp.offer{ name = "H3 new iron", module = boxed, count = 3,
  price_each = 1060, tax = "included", soh_pct = amp.claimed(100),
  dud_pct = 0, bos = 180, bos_kg = 20 }
local duty = amp.profile.daily{ load_kwh = 3.14, months = amp.range(5, 10),
  solar_kwp = 2.4, performance_pct = 70, temp_c = 12,
  sun_hours = { 4.9, 5.3, 5.6, 5.0, 3.6, 2.1 } }
local need = amp.need{ currency = "EUR", horizon_years = 15,
  discount_pct = 5, carry_per_kg = 2.90, duty = duty,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, efficiency_pct = 92, idle_w = 32 } }

local t = amp.compare({ H1, H2, H3 }, need, { draws = 200, seed = 1 })
check.equal(#t, 3)

-- the hut (test_hut.lua): landed, and with BOS and carriage
check.close(t[1].landed, 4485.00, 1e-9)
check.close(t[2].landed, 2544.00, 1e-9)
check.close(t[2].total, 3813.30, 1e-6)
check.close(t[3].total, 3818.20, 1e-6)
check.close(t[1].total, 5763.00, 1e-6, "ten of twelve carried up")
check.close(t[1].per_nameplate, 4485 / 34.3392, 1e-3)
check.equal(t[1].layout, "14s, 5 strings")
check.equal(t[2].layout, "16s, 4 strings")
check.equal(t[3].layout, "16s, 3 strings")
check.equal(t[1].used, 10)
-- modules in use: the mean is N (1 - p) = 12 x 0.9, the median of the
-- binomial 11, and ten are five whole strings
check.equal(t:cell(1, "used").text, "10 of 12 (10.8)")
check.close(t[1].accepted_mean, 10.8, 1e-9)
check.equal(t:cell(3, "used").text, "3 of 3")
-- windows 0.85 and 0.90. H2 loses a string to a dud in 1 - 0.98^8
-- = 15 % of the draws, so its median sits at the 41st per cent of
-- SoH 92 +- 2: 16.82 x 91.55 / 92 = 16.74
check.close(t[2].usable_kwh, 16.74, 0.04)
check.close(t[3].usable_kwh, 13.82, 0.02)
check.close(t[3].days, 13.82 / 4.181, 0.01)
check.equal(t[3].years, 15.0, "beyond the horizon reads the horizon")
check.ok(t:cell(3, "years").beyond)
check.has(t:text(), ">15")
check.ok(t[1].years_p10 < t[1].years and t[1].years < t[1].years_p90,
  "a fade between two rates spreads the years")

-- what rests on what
check.equal(t:cell(1, "landed").basis, nil)
check.equal(t:cell(1, "total").basis, "claimed", "the share of duds is")
check.equal(t:cell(1, "years").basis, "assumed", "the fade is")

-- every draw has a cheapest offer
local shares = 0
for i = 1, 3 do shares = shares + t[i].cheapest_pct end
check.close(shares, 100, 1e-9)

-- the words
local heads = table.concat(t:heads(), "\n")
check.has(heads, "October: sun 3.53 kWh a day, load 4.18: short by 0.65 " ..
  "before battery losses.")
check.has(heads, "A larger battery only bridges it longer.")
local winner = heads:find("no clear winner") or heads:find("is cheapest")
check.ok(winner and (heads:find("Cheapest by the median") or 0) < winner,
  "that kinds of cost disagree stands before a winner of one kind")
local text = t:text()
check.has(text, "EUR, P50 (P10 .. P90)")
check.has(text, "2 of 12 tested: mean 93.8 Ah, 95 % between 66 and 121 Ah.")
check.has(text, "Smooth fade only")
check.has(text, "Not checked: fuses, cable, cold charging.")
check.has(text, "draws 200")
check.has(text, "years to SoH 60 / 70 %")
for line in text:gmatch("[^\n]+") do check.ok(#line <= 78, line) end
for _, word in ipairs{ "safe", "compliant", "guaranteed" } do
  check.ok(not text:lower():find("%f[%a]" .. word .. "%f[%A]"), word)
end

-- the same seed gives the same bytes, another one other draws
check.equal(amp.compare({ H1, H2, H3 }, need, { draws = 200 }):csv(), t:csv())
check.ok(amp.compare({ H1, H2, H3 }, need, { draws = 200, seed = 2 }):csv()
  ~= t:csv())

-- a what-if differs by its change alone
local dearer = amp.compare({ H1, H2:with{ price_each = 330 }, H3 }, need,
  { draws = 200 })
check.close(dearer[2].total, t[2].total + 8 * 12, 1e-6)
check.equal(dearer[1].levelised, t[1].levelised)
check.equal(dearer[3].years, t[3].years)

-- a month with enough sun isn't spoken of
local sunny = need:with{ duty = duty:with{ solar_kwp = 6 } }
check.ok(not amp.compare({ H2, H3 }, sunny, { draws = 50 }):text()
  :find("short by"))

-- an offer that cannot be answered stays, with its reason
local odd = amp.offer{ name = "H4 tall", module = nickel:with{ series = 40 },
  count = 2, price_each = 100, tax = "included", dud_pct = 0 }
local mixed = amp.compare({ H2, odd }, need, { draws = 50 })
check.equal(#mixed, 2)
check.equal(mixed[2].levelised, nil)
check.ok(mixed:cell(2, "levelised").why, "the reason is there")
check.equal(mixed:sort("levelised")[2].name, "H4 tall")
check.has(table.concat(mixed:heads(), "\n"), "Only H2 has a cost")
check.close(mixed[2].landed, 200, 1e-9, "what it costs at the gate is known")

-- a fraction for percent is told and then refused: landed is as it was
local slip = amp.compare({ H3:with{ soh_pct = 0.9 }, H2 }, need,
  { draws = 50 })
check.close(slip[1].landed, t[3].landed, 1e-9)
check.has(slip:cell(1, "total").why, "soh_pct must lie in 1 .. 120 %")
local untold = amp.compare({ amp.offer{ name = "V", module = iron:with{},
  count = 8, price_each = 90 }, H2 }, need, { draws = 50 })
check.equal(untold[1].landed, nil)
check.has(untold:cell(1, "landed").why, "tax")

-- no state of health known: no years, no cost over life, and no share
local unknown = amp.offer{ name = "U", module = iron:with{}, count = 8,
  price_each = 90, tax = "included" }
local bare = amp.compare({ unknown, H3 }, need, { draws = 50 })
check.equal(bare[1].years, nil)
check.equal(bare[1].cheapest_pct, nil)
check.ok(bare:cell(1, "years").why)
check.equal(bare:cell(1, "used").basis, "assumed", "no share of duds given")
check.close(bare[1].total, 720 + 8 * 21.5 * 2.90, 1e-9)

-- another money: its rate is told, and the price that turns the order is in
-- the seller's money, since the seller's price stands beside it
local abroad = amp.compare({ H1, H2:with{ currency = "USD" }, H3 },
  need:with{ rates = { USD = 0.88, dated = "2026-11-20" } }, { draws = 200 })
check.close(abroad[2].landed, 2544 * 0.88, 1e-9)
check.ok(abroad:text():find("rate  1 USD = 0.88 EUR, dated 2026-11-20.", 1,
  true), "the rate stands below")
check.ok(abroad:text():find("costs %d+%.%d%d USD more"), "and its money")
check.ok(not t:text():find("\nrate  "), "no rate where one money is spoken")

-- with more than three, a row per offer
local four = amp.compare({ H1, H2, H3, H2:with{ name = "H5" } }, need,
  { draws = 50 })
check.equal(#four, 4)
for line in four:text():gmatch("[^\n]+") do check.ok(#line <= 78, line) end

-- mistakes are named at this file's line
local function at_this_file (fn, words)
  check.raises(fn, words)
  check.raises(fn, "test_compare.lua:")
end
-- two other groups of as many offers are not taken for one
local groups = {}
for i = 1, 8 do
  groups[i] = H2:with{ name = "G" .. i, soh_pct = 92,
    module = iron:with{ capacity_ah = amp.claimed(i > 4 and 112 or 105) } }
end
local grouped = tostring(amp.compare(groups, need, { draws = 5 }))
grouped = grouped:gsub("%s+", " ")
check.has(grouped, "nameplate 105 Ah")
check.ok(not grouped:find("105 Ah, nameplate 112 Ah", 1, true))
-- more than is reckoned is said of what is built
check.has(tostring(amp.compare({ H2:with{ count = 100000 } }, need,
  { draws = 5 })):gsub("%s+", " "), "strings side by side; 1 .. 10000")

-- a credit larger than the price: below 0 the least still wins its draws
local paid = H3:with{ name = "P1 paid for", costs = { { "credit", -9000 } } }
local twice = paid:with{ name = "P2 paid for" }
local turned = amp.compare({ H3, paid, twice }, need, { draws = 20 })
check.ok(turned[2].levelised < 0, "money comes in")
check.equal(turned[1].cheapest_pct, 0)
check.close(turned[2].cheapest_pct, 50, 1e-9)
check.close(turned[3].cheapest_pct, 50, 1e-9)
check.has(tostring(turned), "P1 or P2: no clear winner (50 : 50).")

at_this_file(function () local _ = amp.compare({}, need) end, "no offers")
at_this_file(function () local _ = amp.compare({ H1 }) end, "amp.need")
at_this_file(function () local _ = amp.compare({ H1, 5 }, need) end, "offer")
at_this_file(function ()
  local _ = amp.compare({ H1 }, need, { draw = 3 })
end,
  "unknown key 'draw' (did you mean 'draws'?)")
at_this_file(function ()
  local _ = amp.compare({ H1 }, need, { draws = 0 })
end,
  "draws")
at_this_file(function () local _ = amp.compair end, "did you mean 'compare'?")
-- no series count fits: the last below the inverter's limits and the first
-- above them are both told
local eight = amp.module{ name = "8s", chemistry = "nmc811", series = 8,
  capacity_ah = 60, soh_pct = 90, soh_end_pct = 60 }
local neither = tostring(amp.compare({ amp.offer{ name = "A", module = eight,
  count = 8, price_each = 100, tax = "included" } }, amp.need{
  inverter = amp.inverter{ v_min = 42, v_max = 60, v_abs_max = 64 },
  duty = amp.profile.daily{ from_battery_kwh = 3 } })):gsub("%s+", " ")
check.has(neither, "8 groups in series go from 26.4 V to 32.8 V: nothing")
check.has(neither, "; 16 groups in series reach 65.6 V when full, over the " ..
  "absolute 64 V")

check.done()
