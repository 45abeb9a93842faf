-- ends 0 1: a result cannot take the place of the script or of a module, so
-- that the next run does something else
local amp = require "ampstead"
local t = amp.table{ columns = { "n" }, rows = { { n = 1 } } }
pcall(t.write, t, "../victim.lua")
pcall(t.write, t, "victim.lua")
print(require("victim") == 42 and "kept in" or "GOT OUT")
