-- Six unequal modules in three strings: which way of joining them gives more,
-- who carries most, which group ends it, and what does a frost cost?
-- All readings are invented. "lo" has one group with a blown link.
local amp = require "ampstead"

local function module (name, ah, mohm, groups)
  return amp.module{ name = name, chemistry = "nmc111", series = 7,
    parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5,
    tested_ah = amp.measured(ah), r10s_mohm = amp.measured(mohm),
    groups = groups, soc_min_pct = 5, soc_max_pct = 94 }
end
local strings = {
  { module("am", 100, 1.9), module("bo", 92, 1.8) },
  { module("cy", 88, 2.2), module("do", 95, 1.9) },
  { module("ed", 99, 1.8), module("lo", 96, 2.0, { [4] = { blown = 1 } }) } }
local duty = amp.profile.daily{ load_kwh = 17, solar_kwp = 8,
  sun_hours = { 2, 3, 4, 5, 5, 5, 5, 5, 4, 3, 2, 2 },
  temp_c = { -4, -2, 3, 8, 12, 16, 18, 17, 13, 8, 3, -2 } }

local rows, first = {}, nil
for i, order in ipairs{ "string_first", "parallel_first" } do
  local pack = amp.pack{ strings = strings, order = order, link_mohm = 0.2,
                         lead_mohm = 1.0, current_limits = "lithium" }
  local run = pack:simulate(duty)
  first = first or run
  rows[i] = { order = order, tested_kwh = pack.tested_kwh,
    without_kwh = pack:without("lo").tested_kwh, served_kwh = run.served_kwh,
    cold_kwh = run.cold_curtailed_kwh }
end

local function kwh (key, label)
  return { key = key, label = label, kind = "number", unit = "kWh" }
end
print(first.strings)
print(first.groups)
print(amp.table{ rows = rows, columns = {
  { key = "order", label = "joined", kind = "text" },
  kwh("tested_kwh", "tested kWh"), kwh("without_kwh", "without lo kWh"),
  kwh("served_kwh", "served a year kWh"),
  kwh("cold_kwh", "sun lost to frost kWh") } })
