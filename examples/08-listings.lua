-- Sixteen adverts as people write them: which are worth a question, and
-- which question? All invented: examples/data/adverts.csv.
local amp = require "ampstead"

local modules = {
  ["7s2p"] = amp.module{ name = "7s2p", chemistry = "nmc111", series = 7,
    parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5 },
  ["14s1p"] = amp.module{ name = "14s1p", chemistry = "nmc111", series = 14,
    parallel = 1, capacity_ah = amp.claimed(60), mass_kg = 23 },
  ["8s1p"] = amp.module{ name = "8s1p", chemistry = "lfp", series = 8,
    parallel = 1, capacity_ah = amp.claimed(105), mass_kg = 21.5 } }
local offers = amp.offers.csv("data/adverts.csv", { modules = modules,
  sep = ";", decimal = ",", currency = "EUR",
  rates = { GBP = 1.17, dated = "2026-07-01" } })

local need = amp.need{ currency = "EUR", horizon_years = 12, discount_pct = 5,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, efficiency_pct = 92, idle_w = 32 },
  duty = amp.profile.daily{ load_kwh = 5.5, solar_kwp = 4.5, sun_hours = 2.9,
    performance_pct = 75, temp_c = 15 } }

-- a refused advert keeps its row and its reason
local t = amp.compare(offers, need, { draws = 1000, seed = 1 })
print(t:sort("per_usable"):columns{ "name", "used", "total", "usable_kwh",
  "per_nameplate", "per_usable" })
t:write("ranked.csv")

-- per seller, what decides most first
print(offers:questions())
