-- ends 0: modules that are named like paths, or are links, fifos, devices
local got = ""
local function try (name, want)
  local fine, why = pcall(require, name)
  if fine or not tostring(why):find(want, 1, true) then
    got = got .. "\n" .. tostring(why):sub(1, 200)
  end
end
for _, name in ipairs{ "", ".", "..", "a..b", ".hidden", "link", "link.passwd",
    "fifo", "device", "loop", "data", "x.", ("x"):rep(300),
    ("d."):rep(40) .. "x" } do
  try(name, "module '")
end
for _, name in ipairs{ "/etc/passwd", "..\\x", "a b", "a\nb", "caf\xc3\xa9" } do
  try(name, "only letters")
end
print(got == "" and "kept in" or "GOT OUT " .. got)
