-- One file to post: which of two lots on a board is the cheaper store? All it
-- needs stands in it, so anybody can run it again and check the table, with
-- other freight too:  ampstead 09-post.lua freight=180
-- Listings and readings are invented.
local amp = require "ampstead"
local ask = amp.params{ freight = 95, horizon = 12 }

local pouch = amp.module{ name = "6s3p pouch", chemistry = "nmc111",
  series = 6, parallel = 3, capacity_ah = amp.claimed(96), soh_end_pct = 60,
  life_model = amp.life_model{ calendar_pct_per_year = amp.between(1.0, 2.2),
                               cycle_pct_per_efc = 0.008 } }
local iron = amp.module{ name = "4s1p block", chemistry = "lfp",
  series = 4, parallel = 1, capacity_ah = amp.claimed(120), soh_end_pct = 70,
  life_model = amp.life_model{ calendar_pct_per_year = amp.between(0.8, 1.8),
                               cycle_pct_per_efc = 0.004 } }

-- the seller's own test sheet for the pouches
local lot = amp.readings.text([[
id   ocv_v   r10s_mohm   ah
P1   22,08   1,6         81,2
P2   22,07   1,7
P3   22,08   1,6         78,8
P4   22,06   1,9
P5   22,08   1,6         80,4
P6   22,07   1,7
]], { decimal = ",", module = pouch })

local pouches, blocks = table.unpack(amp.offers.text([[
offer,      module, count, price_each, soh_pct, tax
L1 pouches, pouch,  6,     165,        ,        included
L2 blocks,  iron,   8,     210,        90,      included
]], { modules = { pouch = pouch, iron = iron }, currency = "EUR" }))

local need = amp.need{ currency = "EUR", horizon_years = ask.horizon,
  discount_pct = 4,
  inverter = amp.inverter{ v_min = 38, v_max = 57, v_abs_max = 60,
                           power_w = 2000, efficiency_pct = 93, idle_w = 18 },
  duty = amp.profile.daily{ load_kwh = 2.4, months = amp.range(4, 9),
    solar_kwp = 1.6, performance_pct = 75, temp_c = 15,
    sun_hours = {4.4, 5.0, 5.3, 5.4, 4.8, 3.7} } }

local t = amp.compare({
  pouches:with{ tested_ah = amp.tested({81.2, 78.8, 80.4}, { of = #lot,
                by = "seller" }), freight = ask.freight },
  blocks:with{ freight = ask.freight } }, need, { draws = 1000 })

print(t:post())     -- script, table, how to run it again
