--- The order of next and pairs in the program, and what a walk allows: fields
-- that are cleared or set on the way, walks within walks, broken off, begun
-- anew, of two coroutines at once. check_runner.sh runs it.
local function list (t)
  local found = {}
  for k in next, t do found[#found + 1] = tostring(k) end
  return table.concat(found, " ")
end

local function count (t, fn)
  local n = 0
  for k, v in next, t do
    n = n + 1
    if fn then fn(n, k, v) end
  end
  return n
end

-- the order
local mixed = { b = 1, a = 2, ["a\0"] = 3, [10] = 4, [-1.5] = 5, [1] = 6,
  [true] = 7, [false] = 8, [1e300] = 9, [math.mininteger] = 10,
  [-math.huge] = 11, [math.huge] = 12, [print] = 13 }
local want = "-inf -9223372036854775808 -1.5 1 10 1e+300 inf a a\0 b false " ..
  "true " .. tostring(print)
assert(list(mixed) == want, list(mixed))
local by_pairs = {}
for k in pairs(mixed) do by_pairs[#by_pairs + 1] = tostring(k) end
assert(table.concat(by_pairs, " ") == want)
assert(select("#", next({})) == 1 and next({}) == nil)
assert(next(mixed) == -math.huge and select(2, next(mixed)) == 11)
assert(next(mixed, 10) == 1e300 and next(mixed, 1.0) == 10)
assert(next(mixed, print) == nil)

-- keys that are none, as Lua says it
for _, case in ipairs{ { {}, 1 }, { { a = 1 }, "b" }, { { 1, 2 }, 3 },
    { { a = 1 }, 0 / 0 }, { { a = 1 }, print } } do
  local fine, why = pcall(next, case[1], case[2])
  assert(not fine and why:find("invalid key to 'next'", 1, true), why)
end
assert(not pcall(next) and not pcall(next, 1) and not pcall(next, "a"))

-- setting and clearing on the way
for till = 0, 6 do
  local t = { a = 1, b = 2, c = 3, d = 4, [1] = 5, [print] = 6 }
  assert(count(t, function (n, k) t[k] = n > till and n or nil end) == 6)
  assert(count(t) == 6 - till)
end
local t = { a = 1, b = 2, c = 3, d = 4 }
local seen = ""
for k in next, t do
  seen = seen .. k
  t.b, t.c = nil, "new"
end
assert(seen == "acd" and t.c == "new")
local objects = {}
for i = 1, 50 do objects[{}] = i end
assert(count(objects, function (n, k)
  if n % 2 == 1 then objects[k] = nil end
  collectgarbage()
end) == 50 and count(objects) == 25)

-- walks within walks, tests for emptiness on the way
t = {}
for i = 1, 60 do t["k" .. i] = i end
local n = 0
for _ in next, t do n = n + count(t) end
assert(n == 3600)
assert(count(t, function () assert(next(t) == "k1") end) == 60)

-- broken off, changed, begun anew
for stop = 1, 4 do
  local u = { b = 1, d = 2, f = 3 }
  for _ in next, u do
    stop = stop - 1
    if stop == 0 then break end
  end
  u.a, u.c, u.d = 0, 0, nil
  assert(list(u) == "a b c f", list(u))
  u.a = nil
  assert(list(u) == "b c f")
  assert(next(u, "c") == "f" and next(u, "f") == nil)
end

-- two coroutines in one table
local function walker ()
  return coroutine.wrap(function ()
    for k in next, t do coroutine.yield(k) end
  end)
end
local one, other, a, b = walker(), walker(), { "" }, { "" }
a[2] = one()
for _ = 1, 40 do
  a[#a + 1] = one()
  b[#b + 1] = other()
end
for k in one do a[#a + 1] = k end
for k in other do b[#b + 1] = k end
assert(#a == 61 and table.concat(a, " ") == table.concat(b, " "))

-- nothing lives on for a walk that was broken off
local weak = setmetatable({}, { __mode = "k" })
local kept = {}
for i = 1, 10 do
  local k = {}
  weak[k], kept[i] = i, k
end
for _ in next, weak do
  n = n + 1
  if n == 3603 then break end
end
assert(#kept == 10)
kept = nil -- luacheck: ignore 311
collectgarbage()
collectgarbage()
assert(next(weak) == nil)
local dies = setmetatable({}, { __mode = "k" })
do
  local u = { 1, 2, 3 }
  u[u] = u
  dies[u] = true
  next(u, 2)
end
collectgarbage()
collectgarbage()
assert(next(dies) == nil)

-- not quadratic: half a million steps within the time limit
t = {}
for i = 1, 500000 do t[i % 2 == 0 and i or "k" .. i] = i end
assert(count(t) == 500000)
print("walked")
