-- ends 124: a chain of closures, with every error swallowed
local f = function() end
while true do
  pcall(function()
    for _ = 1, 1e9 do
      local g = f
      f = function() return g end
    end
  end)
end
