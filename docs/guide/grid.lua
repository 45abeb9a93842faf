-- A cold store on the grid: used modules, new boxes, lead-acid, a generator,
-- or nothing at all? Offers and prices are invented. Runs in seconds.
local amp = require "ampstead"

local used = amp.module{ name = "14s1p", chemistry = "nmc111", series = 14,
  capacity_ah = amp.claimed(37), cell_v_min = 3.30, cell_v_max = 4.10,
  soh_end_pct = 60, life_model = amp.life_model{
    calendar_pct_per_year = amp.between(1.2, 2.2),
    cycle_pct_per_efc = 0.008 } }
local boxed = amp.module{ name = "16s boxed", chemistry = "lfp", series = 16,
  capacity_ah = amp.claimed(100), soc_min_pct = 10, soc_max_pct = 100,
  soh_end_pct = 70, life_model = amp.life_model{
    calendar_pct_per_year = amp.between(0.9, 1.6),
    cycle_pct_per_efc = 0.004 } }

local offers = {
  amp.offer{ name = "used", module = used, count = 10, price_each = 215,
    tax = "included", freight = 95, hazmat = 40, bos = 520, dud_pct = 3,
    tested_ah = amp.tested({ 33.9, 31.2 }, { of = 10 }) },
  amp.offer{ name = "boxed", module = boxed, count = 3, price_each = 1150,
    tax = "included", soh_pct = 100, bos = 150, dud_pct = 0 },
  amp.alternative{ name = "grid", kind = "grid" },
  amp.alternative{ name = "lead-acid", kind = "battery", price = 3600,
    bos = 250, usable_kwh = 12, round_trip_pct = 80, life_years = 8 },
  amp.alternative{ name = "generator", kind = "generator", price = 900,
    power_w = 2000, fuel_at = { { 0, 0.4 }, { 50, 0.65 }, { 100, 1.0 } },
    fuel_price = 1.40, hours_a_day = 6, overhaul = 150,
    overhaul_hours = 3000, life_hours = 10000 } }

-- 6.4 kWh each night out of the battery, filled from a roof whose surplus
-- would else be sold for 0.12
local need = amp.need{ currency = "GBP", horizon_years = 15,
  discount_pct = 5, charge_price = 0.12, import_price = 0.29,
  inverter = amp.inverter{ v_min = 42.0, v_max = 58.4, v_abs_max = 60.0,
    power_w = 5000, efficiency_pct = 93 },
  duty = amp.profile.daily{ from_battery_kwh = 6.4, temp_c = 15,
    round_trip_pct = 97 } }
local t = amp.compare(offers, need)
print(t)
print()

-- two prices a day and no roof: filled at night, spares the day's price
local night = need:with{ import_at = { { 22, 6, 0.14 }, { 6, 22, 0.34 } },
  charge_hours = { 22, 6 }, serve_hours = { 6, 22 } }
local two = amp.compare(offers, night)
for i = 1, #two do
  print(string.format("%-10s %.3f a kWh, pays back in %s years", two[i].name,
    two[i].levelised, two[i].break_even_years and
    ("%.1f"):format(two[i].break_even_years) or "no"))
end
print()

-- nobody knows what a kWh from the grid, or another set, will cost
local unsure = need:with{ import_price = amp.assumed(0.29, 0.03),
  import_rise_pct = amp.between(0, 4) }
offers[4] = offers[4]:with{ price_again = amp.between(2800, 4400),
  life_years = amp.between(6, 10) }
local more = amp.compare(offers, unsure)
for _, one in ipairs(more.against) do
  if one.other ~= "generator" then
    print(string.format("%-5s less %-9s %6.3f a kWh (%6.3f .. %6.3f), " ..
      "cheaper in %.0f %%", one.offer, one.other, one.more, one.more_p10,
      one.more_p90, one.cheaper_pct))
  end
end
