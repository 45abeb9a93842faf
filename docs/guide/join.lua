-- What flows when modules and strings are joined, in which order to join,
-- and why a voltage says nothing of LFP. Readings are invented.
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112),
  tested_ah = amp.measured(94, 2), r10s_mohm = amp.measured(2.0, 0.1),
  link = amp.fuse_link{ metal = "copper", diameter_mm = 0.5 } }

-- 1. two modules 0.35 V apart: the leads carry 60 A, cold cells take 30 A
local full = { ocv_v = 25.75, r10s_mohm = 1.9, ah = 96 }
local low = { ocv_v = 25.40, r10s_mohm = 2.0, ah = 94 }
local limits = { module = pouch, lead_mohm = 1.0, lead_a = 60, charge_a = 30,
  link = pouch.link }
local bare = amp.paralleling(full, low, limits)
print(bare)
print()

-- 2. the same with the resistor that keeps the limit
local between = { resistor_mohm = math.ceil(bare.resistor_mohm) }
for key, value in pairs(limits) do between[key] = value end
local slow = amp.paralleling(full, low, between)
print(("with %d mohm between: %.1f A at first, a tenth after %.1f h, %.0f W")
  :format(between.resistor_mohm, slow.current_a, slow.tenth_s / 3600,
    bare.resistor_w))
print()

-- 3. four strings of two: the order whose largest first current is least
local strings = {
  { id = "south", ocv_v = 51.50, r10s_mohm = 4.0, ah = 94 },
  { id = "west", ocv_v = 51.10, r10s_mohm = 4.1, ah = 95 },
  { id = "north", ocv_v = 51.34, r10s_mohm = 3.9, ah = 93 },
  { id = "east", ocv_v = 51.42, r10s_mohm = 4.0, ah = 94 } }
print(amp.joining_order(strings, { lead_mohm = 2.0 }))
print()

-- 4. LFP: 6 mV a cell apart, and what that may hide
local iron = amp.module{ name = "16s LFP", chemistry = "lfp", series = 16,
  parallel = 1, capacity_ah = amp.claimed(105) }
local one = { ocv_v = 52.70, r10s_mohm = 10, ah = 100 }
local other = { ocv_v = 52.60, r10s_mohm = 11, ah = 100 }
print(amp.paralleling(one, other, { module = iron, lead_mohm = 1.0 }))
print()

-- 5. the charge that was counted tells what the voltage hides
local counted = amp.paralleling(one, other, { module = iron, lead_mohm = 1.0,
  soc_a_pct = 70, soc_b_pct = 45, charge_a = 50 })
print(("by counting: %.1f Ah move, %.0f A at first"):format(counted.ah,
  counted.current_a))
