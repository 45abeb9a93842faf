-- ends 124: coroutines that are kept
local kept = {}
while true do
  kept[#kept + 1] = coroutine.create(function() coroutine.yield() end)
  coroutine.resume(kept[#kept])
end
