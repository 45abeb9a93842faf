-- Which of the three offers carries a real house through a real year?
-- Load measured hour by hour, sun modelled: data/SOURCES.md says whose. The
-- battery stands in a cellar at 15 C. Prices and readings are invented.
local amp = require "ampstead"
local ask = amp.params{ solar_kwp = 9 }

local load = amp.profile.csv("data/household-2008-hourly.csv",
  { columns = { load_w = "load_W" }, leap = true, temp_c = 15 })
local sun = amp.profile.csv("data/solar-typical-hourly.csv",
  { columns = { pv_w = "pv_ac_W_per_kWp" } })

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
  soh_pct = amp.claimed(83.7, 3), bos = 640 }
local H2 = amp.offer{ name = "H2 used iron", module = iron, count = 8,
  price_each = 318, tax = "included", soh_pct = amp.claimed(92, 2),
  dud_pct = 2, bos = 640 }
local H3 = amp.offer{ name = "H3 new iron", module = boxed, count = 3,
  price_each = 1060, tax = "included", soh_pct = amp.claimed(100),
  dud_pct = 0, bos = 180 }

local need = amp.need{ currency = "EUR", horizon_years = 15,
  discount_pct = 5,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
                           power_w = 5000, efficiency_pct = 92, idle_w = 32 },
  duty = amp.profile.net{ load = load, pv = sun, temp = load,
                          solar_kwp = ask.solar_kwp } }

local t = amp.compare({H1, H2, H3}, need, { draws = 500, seed = 1 })
local best = t:sort("unserved_kwh")[1]
print(string.format("%s leaves least unserved: %.0f of %.0f kWh a year.\n",
  best.name, best.unserved_kwh, load.year_kwh))
print(t:columns{ "name", "total", "usable_kwh", "unserved_kwh", "years",
                 "levelised", "cheapest_pct" })
