-- ends 0: a module that requires itself is told so; it is not read for ever
_G.reads = (_G.reads or 0) + 1
if _G.reads > 1 then
  local fine, why = pcall(require, "require_itself")
  print(not fine and why:find("requires itself", 1, true) and
    _G.reads == 2 and "kept in" or "GOT OUT " .. tostring(why))
  return true
end
require "require_itself"
