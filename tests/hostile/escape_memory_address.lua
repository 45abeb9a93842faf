-- ends 0: no text shows where something lies in memory
local bad
for _, x in ipairs { {}, print, coroutine.create(print),
  function() end, require("ampstead").module, _G } do
  for _, s in ipairs { tostring(x), ("%s"):format(x), ("%-40s|"):format(x) } do
    local n = tonumber(s:match("0x(%x+)"), 16)
    if n and n > 0xffff then bad = s end
  end
  if pcall(string.format, "%p", x) then bad = "%p" end
  if pcall(string.format, "%d %p", 1, "text") then bad = "%p of a text" end
end
print(bad and "GOT OUT " .. bad or "kept in")
