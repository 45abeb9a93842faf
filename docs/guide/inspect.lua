-- The pallet is here: which modules may be used, and what do two capacity
-- tests say of twelve? Readings are invented. Runs in a second.
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112) }

-- as typed at the bench; amp.readings.csv reads the same from a file
local lot = amp.readings.text([[
no.   OCV V   group min V   group max V   R mOhm   Ah     remark
1     25,76   3,679         3,682         1,9
2     25,75   3,677         3,681         1,9
3     25,76   3,679         3,681         1,8      96,1
4     25,74   3,674         3,680         2,1      ?
5     25,75   3,677         3,680         1,9             white crust at a corner
6     25,71   3,662         3,679         2,6
7     25,76   3,679         3,682         1,8      n/a
8     25,73   3,672         3,679         2,2      91,4
9     25,40   3,619         3,634         2,0
10    25,75   3,677         3,680         1,9
11    24,38   2,310         3,681         2,0
12    25,76   3,678         3,682         1,9
]], { module = pouch })

-- 1. module by module
print(lot:judge())
print()

-- 2. what the tests say of the whole lot
print(lot:mean("ah"))
print()

-- 3. what it takes to test them all: 40 A, two channels, charge and discharge
print(lot:bench_time{ current_a = 40, channels = 2, passes = 2, rest_h = 1 })
print()

-- 4. six again, with clean lugs and four wires
lot = lot:with("6", { r10s_mohm = 2.0, remark = "retested, clean lugs" })
print(#lot:accepted() .. " modules are accepted")
