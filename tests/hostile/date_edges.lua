-- ends 0: dates beyond all calendars, formats that are none
local n = 0
for _, form in ipairs{ "%Ez", "%", "%Q", "*t", "!*t", ("%c"):rep(20000), "%O",
    "\0%c", "%Ec%Od", "%+", "%5Y", "%\0", "%Z%z" } do
  for _, time in ipairs{ 0, -1, 1e15, math.mininteger, math.maxinteger } do
    pcall(os.date, form, time)
    n = n + 1
  end
end
for _, year in ipairs{ 1e15, math.maxinteger, math.mininteger, -1, 0 } do
  pcall(os.time, { year = year, month = year, day = year, hour = year })
end
pcall(os.time, setmetatable({}, { __index = function () return 1 << 62 end }))
print(n == 65 and "kept in")
