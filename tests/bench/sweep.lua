--- sweep.lua -- processor time of a sweep of 128 cases over a year in steps
-- of STEP minutes (1 or 10, which are simulated as they are): what does not
-- grow with the steps is the sweep's own. One draw a case: draws are C's.
-- Usage: sweep.lua STEP
local amp = require "ampstead"
local step = math.tointeger(tonumber(arg and arg[1] or 10))
local rows = { "time_s,load_w,pv_w" }
for i = 0, 525600 // step - 1 do -- no limit is ever met
  rows[#rows + 1] = ("%d,0.001,0"):format(i * step * 60)
end
local duty = amp.profile.text(table.concat(rows, "\n"), {})
local m = amp.module{ name = "ten", chemistry = "nmc111", series = 7,
  parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5,
  r10s_mohm = 1.9, soh_pct = 78 }
local need = amp.need{ currency = "EUR", horizon_years = 15,
  discount_pct = 5, duty = duty,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
                           power_w = 3000, efficiency_pct = 92, idle_w = 0 } }
local from = os.clock()
local t = amp.sweep{
  draws = 1, over = { strings = amp.range(1, 8), soc_max_pct = amp.range(80, 95) },
  case = function (c)
    return { pack = amp.pack{ module = m, series = 2, parallel = c.strings,
                              soc_min_pct = 10, soc_max_pct = c.soc_max_pct },
             need = need, cost = 640 + 780 * c.strings }
  end }
print(("%d %.3f"):format(#t, os.clock() - from))
