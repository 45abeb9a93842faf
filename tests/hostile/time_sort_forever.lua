-- ends 124: a comparator that never answers, and one that lies, in turn
local t = {}
for i = 1, 3000 do t[i] = i end
while true do
  pcall(table.sort, t, function(a, b) return (a * 31 + b * 17) % 3 == 0 end)
end
