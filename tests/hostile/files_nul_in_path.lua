-- ends 0: a path that a NUL cuts off is another path, and refused
local amp = require "ampstead"
local t = amp.table{ columns = { "n", "m" }, rows = { { n = 1, m = 2 } } }
local chart = t:plot{ x = "n", y = "m" }
local got = ""
local function try (fn, ...)
  local fine, why = pcall(fn, ...)
  if fine or not tostring(why):find("NUL") then got = got .. tostring(why) end
end
try(t.write, t, "x.csv\0.html")
try(t.write, t, "victim.lua\0.csv")
try(chart.write, chart, "victim.lua\0.svg")
try(amp.log.csv, "data\0.csv")
try(amp.readings.csv, "link.csv\0x", {})
try(amp.profile.csv, "data/x.csv\0", {})
try(amp.offers.csv, "link.csv\0x", {})
print(got == "" and "kept in" or "GOT OUT " .. got)
