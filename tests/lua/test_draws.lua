--- What is spread in an offer: prices, duds that come together, a duty whose
-- years are put together. All prices and readings are invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local iron = amp.module{ name = "8s1p", chemistry = "lfp",
  series = 8, parallel = 1, capacity_ah = amp.claimed(105), mass_kg = 21.5,
  soc_min_pct = 10, soc_max_pct = 95, soh_end_pct = 70,
  life_model = amp.life_model{ calendar_pct_per_year = 1.2,
                               cycle_pct_per_efc = 0.004 } }
local freight = amp.between(200, 400)
local A = amp.offer{ name = "A", module = iron, count = 16,
  price_each = 310, freight = freight, tax = "excluded", tax_pct = 20,
  soh_pct = 88, dud_pct = 10, bos = 640 }
local B = A:with{ name = "B", freight = 300, dud_together_pct = 100 }
local need = amp.need{ currency = "EUR", discount_pct = 5,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
                           power_w = 3000, idle_w = 30 },
  duty = amp.profile.daily{ load_kwh = amp.between(4.5, 6), solar_kwp = 3,
    performance_pct = 70, temp_c = 12,
    sun_hours = { 1, 2, 3, 4, 5, 5.5, 5.5, 5, 4, 2.5, 1.5, 1 } } }
local t = amp.compare({ A, B }, need, { draws = 400 })
local text = tostring(t)

-- freight even over 200 .. 400, 20 % tax on it: 240 .. 480 of landed
local middle = 1.2 * (16 * 310 + 300)
check.close(t[1].landed, middle, 1.0)
check.close(t[1].landed_p10, middle - 0.8 * 120, 1.5)
check.close(t[1].landed_p90, middle + 0.8 * 120, 1.5)
check.close(t[2].landed, middle, 1e-9)
check.equal(t[2].landed_p10, t[2].landed_p90)
check.has(text, "freight 200 to 400")
check.has(text, "other prices")
check.ok(A.freight == freight, "reads back as given")
check.close(A:landed().total, middle, 1e-9)

-- all or none at one dud in ten: whole at the middle, nothing below a tenth
check.equal(t[2].used, 16)
check.equal(t[1].used, 14)
check.equal(B:chance{ good = 1 }, 0.9)
check.equal(B:chance{ good = 16 }, 0.9)
check.close(A:chance{ good = 16 }, 0.9 ^ 16, 1e-12)
check.has(text, "duds together 100 %")

-- the years of a spread load say how they came about
check.has(text, "put together from")
check.has(text, "draws simulated in full")

-- what moves the order: the largest first; where it flips, put back, both
-- cost the same. Only A's freight is spread of what the two differ in
local C = A:with{ name = "C", price_each = 305, freight = 390 }
local D = A:with{ name = "D", freight = amp.between(300, 420) }
local plain = need:with{ duty = amp.profile.daily{ load_kwh = 5,
  solar_kwp = 3, temp_c = 12, sun_hours = 4 } }
local two = amp.compare({ C, D }, plain, { draws = 300 })
local lever = two.levers[1]
check.equal(lever.input, "freight")
check.equal(lever.of[1], "D")
check.close(lever.p10, 312, 1e-9)
check.close(lever.p90, 408, 1e-9)
-- as many modules and the same luck in the mean: equal where both land alike
check.ok(lever.flips_at and lever.flips_at > 100, "D would flip")
local back = amp.compare({ C, D:with{ freight = lever.flips_at } }, plain,
  { draws = 300 })
check.close(back[1].levelised, back[2].levelised, 1e-5)
check.has(tostring(two), "moved most by the freight of D")
check.has(tostring(two), "once the freight of D")

-- a value is as good as its limits
check.raises(function ()
  local _ = A:with{ freight = amp.between(-5, 20) }
end, "freight must lie in 0")
check.raises(function ()
  local _ = A:with{ dud_together_pct = 120 }
end, "dud_together_pct must lie in 0 .. 100 %")
check.done()
