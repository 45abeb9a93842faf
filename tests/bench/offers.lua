--- offers.lua -- three offers over many draws with everything spread: load,
-- sun, temperature, resistance, health, duds that come together, fade and
-- prices. Invented numbers. Prints how far the years are off, and P50s.
-- Usage: offers.lua DRAWS
local amp = require "ampstead"
local draws = math.tointeger(tonumber(arg and arg[1] or 100000))
local iron = amp.module{ name = "8s1p", chemistry = "lfp", series = 8,
  parallel = 1, capacity_ah = amp.claimed(105), mass_kg = 21.5,
  r10s_mohm = amp.claimed(8, 1), soc_min_pct = 10, soc_max_pct = 95,
  soh_end_pct = 70, life_model = amp.life_model{
    calendar_pct_per_year = amp.between(0.8, 1.8),
    cycle_pct_per_efc = amp.between(0.003, 0.006) } }
local A = amp.offer{ name = "A", module = iron, count = 12,
  price_each = amp.between(290, 330), freight = amp.between(150, 300),
  tax = "included", soh_pct = amp.claimed(88, 3),
  dud_pct = amp.between(4, 14), dud_together_pct = 20,
  bos = amp.between(500, 700) }
local offers = { A,
  A:with{ name = "B", count = 10, soh_pct = amp.claimed(92, 2) },
  A:with{ name = "C", count = 16, price_each = 250,
          soh_pct = amp.claimed(80, 4) } }
local need = amp.need{ currency = "EUR", discount_pct = 5,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, efficiency_pct = 92, idle_w = 30 },
  duty = amp.profile.daily{ load_kwh = amp.between(4.5, 6), solar_kwp = 3,
    performance_pct = amp.assumed(70, 4), temp_c = amp.assumed(12, 2),
    sun_hours = { 1, 2, 3, 4, 5, 5.5, 5.5, 5, 4, 2.5, 1.5, 1 } } }
local t = amp.compare(offers, need, { draws = draws })
local text = tostring(t):gsub("\n +", " ")
print(text:match("[^\n]*simulated in full[^\n]*"))
print(("levelised %.4f %.4f %.4f"):format(t[1].levelised, t[2].levelised,
  t[3].levelised))
