-- ends 124: an error whose text never comes, raised where nothing catches it
local endless = setmetatable({}, { __name = "\27[2J", __tostring = function ()
  while true do end
end })
local nested = setmetatable({}, { __tostring = function () error(endless) end })
pcall(error, nested)
pcall(tostring, nested)
error(endless)
