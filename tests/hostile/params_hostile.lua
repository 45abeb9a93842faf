-- ends 0 1 64: keys and defaults that are objects, cycles, or very long
local amp = require "ampstead"
local loop = {}
loop.loop = loop
local many = setmetatable({}, { __pairs = function()
  return function(_, k) k = (k or 0) + 1 return k < 1000 and k or nil, 1 end, {}, nil
end })
local calls = { amp.params, amp.module, amp.offer, amp.need, amp.pack,
  amp.cell, amp.table, amp.sweep, amp.compare, amp.chemistry }
for _, f in ipairs(calls) do
  for _, x in ipairs { loop, many, { [loop] = loop }, { name = loop },
    { ("k"):rep(100000) }, { [0 / 1] = 1 }, { name = ("n"):rep(1e6) },
    setmetatable({}, { __index = function(_, k) return k .. "x" end }),
    setmetatable({}, { __len = function() return 1 << 40 end }) } do
    pcall(f, x)
    pcall(f, x, x)
  end
end
print("kept in")
