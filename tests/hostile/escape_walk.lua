-- ends 0: a walk through all that is reachable finds no open metatable of an
-- object in C, and no coroutine
local seen, bad, todo = {}, {}, { _G, require "ampstead" }
while #todo > 0 do
  local t = table.remove(todo)
  if not seen[t] then
    seen[t] = true
    local meta = getmetatable(t)
    if type(meta) == "table" and type(t) == "userdata" then
      bad[#bad + 1] = tostring(t)
    end
    if type(t) == "table" then
      for k, v in next, t do
        for _, x in ipairs { k, v } do
          if type(x) == "table" or type(x) == "userdata" then
            todo[#todo + 1] = x
          end
          if type(x) == "thread" then bad[#bad + 1] = "thread" end
        end
      end
    end
  end
end
print(#bad == 0 and "kept in" or "GOT OUT " .. table.concat(bad, ", "))
