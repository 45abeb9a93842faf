--- Does README.md show what its example prints? With "--write": make it so.
-- usage, in the top folder: lua5.4 scripts/dev/check_readme.lua [--write]
local shown = "tests/examples/01-offers.out"
local command = "$ build/ampstead examples/01-offers.lua\n"

local function slurp (path)
  local f = assert(io.open(path, "rb"))
  local text = f:read("a")
  f:close()
  return text
end

local readme, out = slurp("README.md"), slurp(shown)
local _, first = readme:find(command, 1, true)
assert(first, "README.md shows no run of the first example")
local last = assert(readme:find("```", first + 1, true)) - 1

if readme:sub(first + 1, last) == out then
  print("README.md shows " .. shown)
elseif arg[1] == "--write" then
  local f = assert(io.open("README.md", "wb"))
  f:write(readme:sub(1, first), out, readme:sub(last + 1))
  f:close()
  print("README.md now shows " .. shown)
else
  print("README.md does not show " .. shown ..
    ": lua5.4 scripts/dev/check_readme.lua --write")
  os.exit(1)
end
