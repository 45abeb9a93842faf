-- ends 124: an error handler that fails, in a loop
while true do
  xpcall(function() error(1) end, function() error(2) end)
end
