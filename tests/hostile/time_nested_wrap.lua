-- ends 124: the endless loop lies forty coroutines deep
local function deep(n)
  if n == 0 then while true do end end
  return coroutine.wrap(function() deep(n - 1) end)()
end
while true do pcall(deep, 40) end
