-- ends 124: tables whose every metamethod runs for ever, given to the core
local amp = require "ampstead"
local function loop () while true do end end
local evil = setmetatable({}, { __index = loop, __pairs = loop, __len = loop,
  __call = loop, __eq = loop, __lt = loop, __tostring = loop, __concat = loop,
  __newindex = loop, __close = loop, __name = loop })
for _, call in ipairs{ "module", "offer", "need", "params", "range", "fit",
    "sweep", "levelised", "rainflow", "cable", "layouts", "caution",
    "table" } do
  pcall(amp[call], evil)
end
pcall(table.sort, evil)
print(evil)
