-- ends 124: two coroutines that resume each other's work for ever
local function spin()
  return coroutine.create(function()
    while true do coroutine.yield() end
  end)
end
local a, b = spin(), spin()
while true do
  coroutine.resume(a)
  coroutine.resume(b)
end
