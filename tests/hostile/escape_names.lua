-- ends 0: nothing that opens, starts, loads native code or looks behind
local bad = {}
for _, n in ipairs { "debug", "package", "dofile", "loadfile", "newproxy",
  "jit", "ffi", "posix", "bit32", "loadstring", "setfenv", "module" } do
  if _G[n] ~= nil then bad[#bad + 1] = n end
end
local may = { io = { write = true },
  os = { time = true, clock = true, date = true } }
for lib, names in pairs(may) do
  for n in pairs(_G[lib]) do
    if not names[n] then bad[#bad + 1] = lib .. "." .. n end
  end
end
if string.dump or ("").dump then bad[#bad + 1] = "dump" end
print(#bad == 0 and "kept in" or "GOT OUT " .. table.concat(bad, " "))
