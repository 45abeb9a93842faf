-- ends 0 124: recursion by way of every C function that calls back
local t = setmetatable({}, {})
local m = getmetatable(t)
local function again() return t + 1 end
m.__add, m.__concat = again, function() return t .. "x" end
m.__index = function(_, k) return t[k + 1] end
m.__lt = function() return t < t end
m.__call = function() return t() end
m.__tostring = function() return tostring(t) end
m.__pairs = function() return pairs(t) end
m.__close = function() local _ <close> = t end
local function sorted() table.sort({ 1, 2, 3 }, sorted) end
local function loaded() return load(loaded)() end
local function wrapped() return coroutine.wrap(wrapped)() end
local held = 0
for _, f in ipairs { again, function() return t .. "x" end,
  function() return t[1] end, function() return t < t end,
  function() return t() end, function() return tostring(t) end,
  function() return pairs(t) end, function() local _ <close> = t end,
  sorted, loaded, wrapped } do
  if not pcall(f) then held = held + 1 end
end
print(held >= 9 and "kept in" or "GOT OUT " .. held)
