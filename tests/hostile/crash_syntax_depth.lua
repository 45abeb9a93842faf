-- ends 0: source text that nests deeper than a compiler may follow
local held = 0
local function try(s) if not load(s) then held = held + 1 end end
local n = 30000
try("return " .. ("{"):rep(n) .. ("}"):rep(n))
try("return " .. ("-"):rep(1) .. ("not "):rep(n) .. "1")
try("return " .. ("a."):rep(3) .. ("("):rep(n))
try(("function f() "):rep(n) .. ("end "):rep(n))
try("x = " .. ("1 .. "):rep(n) .. "1")
try(("if x then "):rep(n) .. ("end "):rep(n))
try("goto a " .. ("::a::"):rep(2))
try("local x <close>, y <close> = 1, 2")
try("\27Lua\x54\0\x19\x93\r\n\x1a\n")
print(held == 9 and "kept in" or "GOT OUT " .. held)
