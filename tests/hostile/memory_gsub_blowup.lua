-- ends 0 124: each pass makes the text sixty times longer
local s = ("x"):rep(1000)
for _ = 1, 12 do
  local ok, longer = pcall(string.gsub, s, ".", ("%0"):rep(60))
  if not ok then break end
  s = longer
end
print("kept in")
