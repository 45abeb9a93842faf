-- ends 0: lengths around the ends of every kind of integer
local bad
for _, n in ipairs { 1 << 31, (1 << 31) - 1, 1 << 32, 1 << 40, 1 << 62,
  math.maxinteger } do
  if pcall(string.rep, "ab", n, ",") then bad = n end
end
for _, n in ipairs { -1, 0, math.mininteger } do
  if ("ab"):rep(n) ~= "" then bad = n end
end
print(bad and "GOT OUT" or "kept in")
