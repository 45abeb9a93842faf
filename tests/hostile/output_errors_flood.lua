-- ends 124: the flood comes by way of warnings and errors
warn("@on")
while true do
  warn(("w"):rep(5000))
end
