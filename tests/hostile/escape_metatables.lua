-- ends 0: metatables of strings and of the tool's own objects stay closed,
-- and nothing a script can reach calls their finalizers
local amp = require "ampstead"
local bad = {}
if getmetatable("") then bad[1] = "string" end
local m = amp.module{ name = "m", chemistry = "lfp", series = 4,
  parallel = 1, capacity_ah = 100 }
local objects = { m, amp.measured(1, 0.1), amp.inverter{ v_min = 44, v_max = 58 },
  amp.pack{ module = m, series = 4, parallel = 1 },
  amp.profile.daily{ load_w = 100 }, amp.offer{ name = "o", module = m,
    count = 4, price_each = 10 },
  amp.table{ columns = { "a" }, rows = { { a = 1 } } },
  amp.log.text("time_s,current_a\n0,1\n1,1\n2,1\n") }
for i, o in ipairs(objects) do
  local meta = getmetatable(o)
  if type(meta) == "table" then bad[#bad + 1] = "meta " .. i end
  if pcall(setmetatable, o, {}) and type(o) == "userdata" then
    bad[#bad + 1] = "set " .. i
  end
  for _, k in ipairs { "__gc", "__index", "__class", "__methods", "__close",
    "__metatable", "__newindex" } do
    local ok, v = pcall(function() return o[k] end)
    if ok and v ~= nil then bad[#bad + 1] = k .. " " .. i end
    if type(o) == "userdata" and pcall(function() o[k] = print end) then
      bad[#bad + 1] = "write " .. k .. " " .. i
    end
  end
end
print(#bad == 0 and "kept in" or "GOT OUT " .. table.concat(bad, ", "))
