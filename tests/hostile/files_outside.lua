-- ends 0: names that lead out of the script's folder, written in many ways
local amp = require "ampstead"
local bad = {}
local names = { "/etc/passwd", "../secret.csv", "./../secret.csv",
  "a/../../secret.csv", "data//../../secret.csv", "link/passwd", "link.csv",
  "loop", "loop/x", ".hidden.csv", "data/.hidden.csv", "/proc/self/maps",
  "fifo", "device", "data", ".", "..", "", "~/.profile", "data/", "/",
  "secret.csv\0.csv", "\27[2J.csv", ("d/"):rep(600) .. "x", ("n"):rep(300) }
for _, n in ipairs(names) do
  for _, read in ipairs { amp.log.csv, amp.readings.csv, amp.offers.csv,
    amp.profile.csv } do
    local ok, why = pcall(read, n)
    if ok or tostring(why):find("root:", 1, true)
        or tostring(why):find("TOP SECRET", 1, true) then
      bad[#bad + 1] = n
    end
  end
  if pcall(require, n) then bad[#bad + 1] = "require " .. n end
end
print(#bad == 0 and "kept in" or "GOT OUT " .. table.concat(bad, " "))
