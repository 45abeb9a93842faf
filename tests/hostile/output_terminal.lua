-- ends 1: control bytes by way of everything that ends on a terminal
io.write("\27]2;title\7", "\27[2J", "\8\8\8", "\226\128\174", "\194\155m\n")
warn("@on")
warn("\27[31mred")
local amp = require "ampstead"
pcall(amp.module, { ["\27[2J"] = 1 })
print(select(2, pcall(amp.module, { name = "\27[31m", chemistry = "\27c" })))
print(select(2, pcall(load, "x = \27[2J")))
print(select(2, load("x x", "=\27[2J")))
error("\27[2J\13overwritten")
