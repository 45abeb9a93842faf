-- ends 0: results that would land elsewhere than in out/
local amp = require "ampstead"
local bad = {}
local t = amp.table{ columns = { "n" }, rows = { { n = 1 } } }
for _, n in ipairs { "/tmp/ampstead-hostile.csv", "../made.csv",
  "a/../../made.csv", ".results.csv", ".hidden/made.csv", "made.csv/",
  "files_written_outside.lua", "../files_written_outside.lua", "made.lua",
  "a\0/../../made.csv", "con\27[2J.csv", "..", "x/..", "//made.csv" } do
  local ok = pcall(t.write, t, n)
  if ok and not n:find("^[%w_]+%.%w+$") then bad[#bad + 1] = n end
end
print(#bad == 0 and "kept in" or "GOT OUT " .. table.concat(bad, " "))
