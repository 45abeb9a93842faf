-- Where does a year's energy go in this house, and when is it missing?
-- Load measured hour by hour, sun modelled: data/SOURCES.md says whose. The
-- battery stands in a cellar at 15 C. Its readings are invented.
local amp = require "ampstead"
local ask = amp.params{ solar_kwp = 9, strings = 3 }

local load = amp.profile.csv("data/household-2008-hourly.csv",
  { columns = { load_w = "load_W" }, leap = true, temp_c = 15 })
local sun = amp.profile.csv("data/solar-typical-hourly.csv",
  { columns = { pv_w = "pv_ac_W_per_kWp" } })
local duty = amp.profile.net{ load = load, pv = sun, temp = load,
                              solar_kwp = ask.solar_kwp }

local module = amp.module{ name = "8s1p", chemistry = "lfp",
  series = 8, parallel = 1, capacity_ah = amp.claimed(105), mass_kg = 21.5,
  tested_ah = amp.measured(96), r10s_mohm = amp.measured(9.5),
  soc_min_pct = 10, soc_max_pct = 95 }
local pack = amp.pack{ module = module, series = 2, parallel = ask.strings }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 5000, efficiency_pct = 92, idle_w = 32 }

local run = pack:simulate(duty, { inverter = inverter })
print(run)
run:plot{ "soc_pct" }:write("charge.svg")
