-- ends 124: warnings without end, of signs that would play with a terminal
warn("@on")
while true do
  warn("\27[2J", "\u{202e}", ("y"):rep(1000), "\7\27]0;x\7")
end
