-- ends 124: backtracking in gsub, inside a protected call in a coroutine
local s = ("ab"):rep(22)
coroutine.wrap(function()
  pcall(string.gsub, s, ("a?b?"):rep(40) .. ("(.-)"):rep(20) .. "c", "")
  pcall(string.find, s, (".-"):rep(30) .. "c")
end)()
print("GOT OUT")
