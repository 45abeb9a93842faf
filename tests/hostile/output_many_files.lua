-- ends 77 1 124: results without number
local amp = require "ampstead"
local t = amp.table{ columns = { "n" }, rows = { { n = 1 } } }
for i = 1, 1e6 do t:write("many/" .. i .. ".csv") end
print("GOT OUT")
