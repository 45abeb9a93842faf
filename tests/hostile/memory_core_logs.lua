-- ends 124: memory of the core's own, which Lua does not see
local amp = require "ampstead"
local rows = { "time_s,current_a" }
for i = 1, 20000 do rows[#rows + 1] = i .. ",1" end
local text, kept = table.concat(rows, "\n"), {}
while true do kept[#kept + 1] = amp.log.text(text) end
