-- ends 0: walks by next from finalizers, closers and coroutines in one table
-- that changes, sorts whose order changes the list or never ends
local t, n = {}, 0
for i = 1, 100 do t["k" .. i], t[i], t[{}] = i, i, i end
local function walk (each)
  for k in next, t do
    n = n + 1
    if each then each(k) end
  end
end
for round = 1, 40 do
  setmetatable({}, { __gc = function ()
    pcall(walk, function (k) if n % 50 == 0 then t[k] = nil end end)
  end })
  local co = coroutine.wrap(function () walk(coroutine.yield) end)
  for _ = 1, 20 do co() end
  do
    local _ <close> = setmetatable({}, { __close = function () walk() end })
  end
  t["new" .. round] = {}
  collectgarbage("step", 100)
end
pcall(next, t, setmetatable({}, { __eq = function () return true end }))
local list = {}
for i = 1, 300 do list[i] = -i end
pcall(table.sort, list, function (a, b)
  for i = 1, 300 do list[i] = nil end
  collectgarbage()
  return a < b
end)
pcall(table.sort, list, function () return coroutine.yield() end)
pcall(table.sort, list, function () return true end)
local depth = 0
local function deep ()
  depth = depth + 1
  table.sort({ 2, 1 }, function () deep() end)
end
print(not pcall(deep) and depth > 50 and n > 1000 and "kept in" or
  "GOT OUT " .. depth)
