--- What a battery adds beside a supply that serves part of the load by
-- itself: what is saved, what costs are held against, and what a need wants
-- besides. Offers are invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local module = amp.module{ name = "8s", chemistry = "lfp", series = 8,
  capacity_ah = amp.claimed(180), soh_pct = 90, soh_end_pct = 60,
  mass_kg = 20, life_model = amp.life_model{ calendar_pct_per_year = 1.5,
    cycle_pct_per_efc = 0.005 } }
local tiny = module:with{ name = "tiny", capacity_ah = amp.claimed(1) }
local large = amp.offer{ name = "large", module = module, count = 10,
  price_each = 400, tax = "included", bos = 370, dud_pct = 0 }
local small = amp.offer{ name = "small", module = tiny, count = 2,
  price_each = 100, tax = "included", bos = 20, dud_pct = 0 }
local load, sun = {}, { 1, 1.8, 3, 4.2, 5, 5.3, 5.2, 4.6, 3.5, 2.2, 1.2, 0.8 }
for h = 0, 23 do load[h + 1] = h >= 8 and h < 17 and 1400 or 100 end
local inverter = amp.inverter{ v_min = 44, v_max = 60, power_w = 5000,
  efficiency_pct = 93, idle_w = 20 }
local duty = amp.profile.daily{ load_w = load, solar_kwp = 5.2,
  sun_hours = sun, performance_pct = 75, temp_c = 12 }
local function need (keys)
  keys.currency, keys.horizon_years, keys.discount_pct = "EUR", 15, 3
  keys.inverter, keys.duty = inverter, keys.duty or duty
  return amp.need(keys)
end

-- by hand, hour by hour: a half sine of the month's energy from 6 to 18 h;
-- the idle draw comes first, 93 % arrive, and no more than the load
local days = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 }
local alone = 0
for month = 1, 12 do
  local day = 5.2 * 0.75 * sun[month]
  for h = 6, 17 do
    local part = 0.5 * (math.cos(math.pi * (h - 6) / 12) -
      math.cos(math.pi * (h - 5) / 12))
    local kwh = math.max(day * part - 0.020, 0) * 0.93
    alone = alone + days[month] * math.min(kwh, load[h + 1] / 1000)
  end
end
local function said (t) return (tostring(t):gsub("%s+", " ")) end
local t = amp.compare({ large, small }, need{ import_price = 0.36 })
local text = said(t)
local served = 365 * (9 * 1.4 + 15 * 0.1) - t[1].unserved_kwh
check.ok(alone > 2500 and alone < served, "most of it needs no battery")
check.has(text, string.format("the supply serves %.0f with no battery", alone))

-- the battery that is next to nothing adds next to nothing
check.ok(t[2].levelised < t[1].levelised / 5, "by all kWh it is cheaper")
check.ok(t[2].levelised_added > t[1].levelised_added, "by its own it is not")
check.has(text, "by a kWh that only the battery brings the order is another")
check.has(text, "They do not serve the same; unserved of")

-- what is saved: as a sum of its own, of what it adds in year 1 at most
local years = t[1].counted_years
local saved = amp.savings{ first = t[1].total, years = years,
  discount_pct = 3, kwh = served - alone, tariff = 0.36 }
check.ok(t[1].npv < 0 and t[2].npv < 0, "neither pays")
check.close(t[1].npv, saved[1].npv, 0.01 * t[1].total,
  "as by the kWh of the year beyond the supply's own")
check.close(t[1].levelised_added, saved[1].levelised, 0.05,
  "and so its cost a kWh")

-- beside the grid it is held against it by what it adds
local grid = amp.alternative{ name = "grid", kind = "grid" }
local g = amp.compare({ large, small, grid }, need{ import_price = 0.36 })
check.equal(g[3].cheapest_pct, 100)
check.has(said(g), "by a kWh that only it brings, costs less than grid in "
  .. "none of the draws")
check.equal(g[1].levelised_added, t[1].levelised_added)

-- without a sun nothing changes: all of it comes from the battery
local from = need{ import_price = 0.36,
  duty = amp.profile.daily{ from_battery_kwh = 6, temp_c = 12 } }
local b = amp.compare({ large }, from)
check.equal(b[1].levelised_added, b[1].levelised)
check.ok(not said(b):find("with no battery", 1, true), "not spoken of")

-- spread in load and sun is followed draw by draw: within what straight lines
-- between five points leave
local spread = amp.compare({ large }, need{ import_price = 0.36,
  duty = duty:with{ load_kwh = amp.between(10, 18) } })
check.ok(spread[1].levelised_added > 0, "has a middle")
check.ok(spread[1].npv_p10 < spread[1].npv_p90, "and a spread")

-- a DC load beside a sun is held to the same: with nothing lost on the way the
-- answers are those of an AC load
local bare = amp.inverter{ v_min = 44, v_max = 60, power_w = 5000,
  efficiency_pct = 100, idle_w = 0 }
local function beside (keys)
  keys.solar_kwp, keys.sun_hours, keys.performance_pct = 3, 3, 75
  keys.temp_c = 12
  return amp.compare({ large }, amp.need{ horizon_years = 15, discount_pct = 3,
    inverter = bare, import_price = 0.36, duty = amp.profile.daily(keys) })
end
local ac, dc = beside{ load_w = 250 }, beside{ dc_load_w = 250 }
check.ok(ac[1].levelised_added > 1.5 * ac[1].levelised, "the sun's part")
check.close(dc[1].levelised_added / ac[1].levelised_added, 1, 1e-3)
check.close(dc[1].npv, ac[1].npv, 5)

-- where the sun serves it all a battery adds nothing, and has no such cost
local noon = {}
for h = 1, 24 do noon[h] = h >= 12 and h <= 14 and 300 or 0 end
local none = beside{ load_w = noon }
check.equal(none[1].levelised_added, nil)
check.has(said(none), "large adds nothing to what the supply serves by itself.")

-- ---- days that are wanted ----

check.has(said(amp.compare({ large, small }, need{ autonomy_days = 1 })),
  "1 day without sun is wanted: large 2.")
check.has(said(amp.compare({ large }, need{ autonomy_days = 1 })),
  "1 day without sun is wanted: all have that (large 2.")
check.has(said(amp.compare({ large, small }, need{ autonomy_days = 4 })),
  "4 days without sun are wanted: none has that (small 0.00")

-- ---- what a stored kWh would have sold for ----

local sold = amp.compare({ large }, need{ import_price = 0.36,
  export_price = 0.12 })
local bought = amp.compare({ large }, need{ import_price = 0.36,
  charge_price = 0.12 })
check.ok(sold[1].levelised > t[1].levelised, "it is forgone")
check.equal(sold[1].levelised, bought[1].levelised)
check.equal(sold[1].npv, bought[1].npv)
check.has(said(sold), "the export_price, which a stored kWh forgoes")
check.has(said(need{ charge_price = 0.1, export_price = 0.12 }),
  "export_price: counts for nothing beside a price of charging")

check.done()
