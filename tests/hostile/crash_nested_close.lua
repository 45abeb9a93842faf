-- ends 0 1 70: closes within closes overflow the C stack of Lua 5.4.4
local last = false
for _ = 1, 20000 do
  local inner = last
  last = coroutine.create(function()
    local _ <close> = setmetatable({}, { __close = function()
      if inner then coroutine.close(inner) end
    end })
    coroutine.yield()
  end)
  coroutine.resume(last)
end
coroutine.close(last)
print("kept in")
