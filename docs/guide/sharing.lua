-- For the board: what do two capacity tests say of six modules? Readings are
-- invented and stand in the script, so that anybody can run it again.
local amp = require "ampstead"

local block = amp.module{ name = "6s2p block", chemistry = "nmc111",
  series = 6, parallel = 2, capacity_ah = amp.claimed(94) }

local lot = amp.readings.text([[
id   OCV V   group min V   group max V   R mOhm   Ah
B1   22,05   3,673         3,676         1,5      84,2
B2   22,04   3,672         3,675         1,5
B3   22,05   3,674         3,676         1,6      83,1
B4   22,03   3,668         3,675         1,7
B5   21,71   3,571         3,640         1,6
B6   22,05   3,674         3,676         1,5
]], { module = block })

print(lot:mean("ah"):post{ board = "bbcode" })
