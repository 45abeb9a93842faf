-- ends 0: formats that ask for gigabytes or for nothing sensible
local held = 0
for _, f in ipairs { "!16i17", "s9", "i99999999999", "c2147483647", "z!",
  "=j!" .. ("j"):rep(400000) } do
  if not pcall(string.pack, f, 1, 1) then held = held + 1 end
end
for _, f in ipairs { "%.100f", "%" .. ("9"):rep(300) .. "d", "%-0", "%5",
  "%", "%ll", "%a%a%a" } do
  if not pcall(string.format, f, 1) then held = held + 1 end
end
print(held >= 10 and "kept in" or "GOT OUT " .. held)
