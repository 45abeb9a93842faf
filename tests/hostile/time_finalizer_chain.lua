-- ends 124: finalizers that make new finalizers; no hook runs inside one
local function arm()
  setmetatable({}, { __gc = function()
    arm()
    while true do end
  end })
end
arm()
while true do local _ = { {} } end
