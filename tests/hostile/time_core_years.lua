-- ends 124 1 65: the core itself is asked for more than it can do in time
local amp = require "ampstead"
local m = amp.module{ name = "m", chemistry = "lfp", cell_v_max = 3.65,
  series = 4, parallel = 1, capacity_ah = 100 }
local day = amp.profile.daily{ load_w = 300, months = 12 }
while true do
  pcall(function()
    amp.pack{ module = m, series = 4, parallel = 9 }:simulate(day,
      { days = 36500, step_s = 1 })
  end)
end
