-- ends 0: compiled chunks, whole or in pieces, by every way into load
local code = "\27Lua\x54\0\x19\x93\r\n\x1a\n\4\8\8xV\0\0\0\0\0\0\0\0\0\0\0"
local bad
for _, mode in ipairs { "b", "bt", "tb", "t", "" } do
  if load(code, "x", mode) then bad = mode end
  local i = 0
  if load(function() i = i + 1 return code:sub(i, i) end, "x", mode) then
    bad = "pieces " .. mode
  end
end
local modes = setmetatable({}, { __tostring = function() return "b" end })
if select(2, pcall(load, code, "x", modes)) and load(code, code, "b", {}) then
  bad = "object as mode"
end
print(bad and "GOT OUT " .. bad or "kept in")
