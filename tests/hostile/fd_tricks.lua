-- ends 0: nothing turns a number into an open file
local bad = {}
for _, n in ipairs { "open", "lines", "popen", "tmpfile", "stdin", "stdout",
  "stderr", "input", "output", "read", "close" } do
  if io[n] ~= nil then bad[#bad + 1] = n end
end
for fd = 0, 20 do
  for _, path in ipairs { "/dev/fd/" .. fd, "/proc/self/fd/" .. fd,
    "dev/fd/" .. fd } do
    if pcall(require("ampstead").log.csv, path) then bad[#bad + 1] = path end
  end
end
print(#bad == 0 and "kept in" or "GOT OUT " .. table.concat(bad, " "))
