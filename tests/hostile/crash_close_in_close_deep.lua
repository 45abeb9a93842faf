-- ends 0 1 70: the same, each close under as many C calls as Lua allows
local last = false
local function under(n, f)
  if n == 0 then return f() end
  return (("x"):gsub("x", function() under(n - 1, f) end))
end
for _ = 1, 400 do
  local inner = last
  last = coroutine.create(function()
    local _ <close> = setmetatable({}, { __close = function()
      if inner then pcall(under, 150, function() coroutine.close(inner) end) end
    end })
    coroutine.yield()
  end)
  coroutine.resume(last)
end
coroutine.close(last)
print("kept in")
