-- Will the hut's main circuit hold, and what happens when two strings that
-- stand apart are joined? Readings are invented. Runs in a second.
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112),
  tested_ah = amp.measured(93.75, 3), r10s_mohm = amp.measured(2.01, 0.1),
  cell_v_min = 3.30, cell_v_max = 4.10 }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, surge_w = 6000, efficiency_pct = 92, idle_w = 32,
  capacitance_uf = 12000 }

-- 1. how many in series, and what sag takes of the charge
print(amp.layouts(pouch, inverter, { parallel = 5, coldest_c = -12 }))
print()

-- 2. joining two modules: the lead carries 60 A, cold cells take 30 A
local apart = amp.paralleling({ ocv_v = 25.40, r10s_mohm = 2.0 },
  { ocv_v = 25.75, r10s_mohm = 1.9 },
  { lead_mohm = 1.0, module = pouch, lead_a = 60, charge_a = 30 })
print(apart)
print()

-- 3. the main circuit at the voltage we design for
local pack = amp.pack{ name = "hut", module = pouch, series = 2, parallel = 5 }
local cable = amp.cable{ one_way_m = 1.8, area_mm2 = 50, ampacity_a = 150 }
local fuse = amp.fuse{ rating_a = 100, voltage_v = 80, interrupt_ka = 20 }
local main = amp.circuit{ name = "main", pack = pack, inverter = inverter,
  cable = cable, fuse = fuse, at_v = 45 }
print(main)
print()

-- 4. pre-charge for 2 A at first
print(amp.precharge{ v = main.v_full, capacitance_uf = 12000, current_a = 2 })
print()

-- 5. the busbar: one end against diagonal
local bar = amp.busbar{ strings = 5, string_mohm = 4.02, segment_mohm = 0.1,
  current_a = main.current_a }
for _, where in ipairs{ "one_end", "diagonal" } do
  print(where, ("%.1f A in the most loaded string"):format(
    bar:with{ take_off = where }.most_a))
end
