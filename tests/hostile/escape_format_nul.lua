-- ends 0: formats with a NUL before what shows an address, objects where a
-- number is wanted: no address is told, not even in an error
local amp = require "ampstead"
local t = amp.table{ columns = { "n" }, rows = { { n = 1 } } }
local shown = {}
local function look (...)
  for _, text in ipairs{ ... } do shown[#shown + 1] = tostring(text) end
end
for _, form in ipairs{ "\0%p", "%s\0%p", "\0\0%s", "%%\0%s", "%5.2s\0%-9s" } do
  look(pcall(string.format, form, {}, print, {}))
  look(pcall(("x").format, form, print, coroutine.create(print), {}))
end
for _, thing in ipairs{ {}, print, coroutine.create(print), io } do
  for _, call in ipairs{ "top", "sort", "where", "columns", "cell", "plot" } do
    look(select(2, pcall(t[call], t, thing)))
  end
  for _, call in ipairs{ "module", "range", "measured", "tested", "rainflow",
      "at_least", "levelised", "caution", "layouts", "match" } do
    look(select(2, pcall(amp[call], thing, thing)))
  end
end
local text = table.concat(shown, "\n"):gsub("\0", " ")
-- numbers of objects are small; what the machine gives is not
print(text:find("0x%x*[1-9a-f]%x%x%x%x%x") and "GOT OUT " .. text:sub(1, 200)
  or "kept in")
