-- From the advert to the bid: what to ask, what it lands at, how sure the
-- kWh are, and what may be bid. Adverts are invented. Runs in a second.
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p", chemistry = "nmc111", series = 7,
  parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5,
  cell_v_min = 3.3, cell_v_max = 4.1, soh_end_pct = 60,
  life_model = amp.life_model{ calendar_pct_per_year = amp.between(1.0, 2.2),
                               cycle_pct_per_efc = 0.008 } }
local iron = amp.module{ name = "8s1p", chemistry = "lfp", series = 8,
  capacity_ah = amp.claimed(105), mass_kg = 21.5, soc_min_pct = 10,
  soc_max_pct = 95, soh_end_pct = 70,
  life_model = amp.life_model{ calendar_pct_per_year = amp.between(0.8, 1.8),
                               cycle_pct_per_efc = 0.004 } }

-- 1. as copied from three adverts; amp.offers.csv reads the same from a file
local offers = amp.offers.text([[
advert;module;count;price;price is;freight;tax;claimed;tested Ah;duds;remark
yard;7s2p;12;2.950,00;lot;260;excluded 20 %;112 Ah;"96,1; 91,4";10 %;auction, premium 15 %
barn;8s1p;8;318;each;0;included;92 % SoH;;2 %;30 days return
dock;7s2p;10;1.990;;150;;112 Ah;;;as seen
]], { modules = { ["7s2p"] = pouch, ["8s1p"] = iron }, decimal = ",",
      currency = "EUR" })
print(offers:questions())
print()

-- 2. the answers of the yard: the premium comes on top, papers are 85
local yard = offers:get("yard"):with{ premium_pct = 15, fees = 85,
  bos = 640, bos_kg = 45 }
local barn = offers:get("barn"):with{ bos = 640, bos_kg = 45 }
print(yard:landed())
print()

-- 3. how sure are the kWh: ten good ones of twelve, and two tests that miss
print(("ten or more good: %.3f; two tests miss two duds: %.3f")
  :format(yard:chance{ good = 10 }, yard:chance{ duds = 2, tested = 2 }))
print()

-- 4. side by side, for what the battery must do
local need = amp.need{ currency = "EUR", horizon_years = 15, discount_pct = 5,
  carry_per_kg = 2.90,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, efficiency_pct = 92, idle_w = 32 },
  duty = amp.profile.daily{ load_kwh = 3.14, months = amp.range(5, 10),
    solar_kwp = 2.4, performance_pct = 70, temp_c = 12,
    sun_hours = { 4.9, 5.3, 5.6, 5.0, 3.6, 2.1 } } }
local t = amp.compare({ yard, barn }, need, { draws = 1000, seed = 1 })
print(t)
print()

-- 5. the bid at which the yard costs what the barn costs, per usable kWh
local target = t[2].per_usable
local bid, says = amp.bid_ceiling(yard, need, { target = target, draws = 1000 })
print(says)
local back = amp.compare({ yard:with{ price_lot = bid } }, need,
  { draws = 1000 })
print(("at that bid: %.2f per usable kWh"):format(back[1].per_usable))
print(select(2, amp.bid_ceiling(yard, need, { target = 40, draws = 1000 })))
