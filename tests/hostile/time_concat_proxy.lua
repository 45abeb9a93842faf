-- ends 124 1: loops of C over a length that the script makes up
local huge = setmetatable({}, { __len = function() return 1 << 62 end,
  __index = function() return "" end })
pcall(table.concat, huge)
pcall(table.unpack, huge)
pcall(table.insert, huge, 1, "x")
print("GOT OUT")
