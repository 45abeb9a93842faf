--- Do the pages of docs/guide show their script and what it prints? Each
-- NAME.md holds the text of NAME.lua and, in the block after it, its output.
-- usage, in the top folder: lua5.4 scripts/dev/check_guide.lua [--write]
local folder, program = "docs/guide", "build/ampstead"
local write = arg[1] == "--write"

local function slurp (path)
  local f = assert(io.open(path, "rb"))
  local text = f:read("a")
  f:close()
  return text
end

local function run (command)
  local p = assert(io.popen(command))
  local text = p:read("a")
  return text, p:close()
end

-- the place of the block that begins after 'from' with this line of ticks
local function block (page, ticks, from)
  local _, first = page:find("\n" .. ticks .. "\n", from, true)
  if not first then return nil end
  return first + 1, assert(page:find("\n```\n", first, true))
end

local function fill (page, script, out)
  local a, b = block(page, "```lua", 1)
  assert(a, "no ```lua block")
  page = page:sub(1, a - 1) .. script:gsub("\n$", "") .. page:sub(b)
  a, b = block(page, "```", a + #script + 3)
  assert(a, "no ``` block with the output")
  return page:sub(1, a - 1) .. out:gsub("\n$", "") .. page:sub(b)
end

local bad, seen = 0, 0
for name in run("ls " .. folder .. "/*.lua"):gmatch("([%w_-]+)%.lua") do
  local stem = folder .. "/" .. name
  local out, ok = run(program .. " " .. stem .. ".lua")
  local page = slurp(stem .. ".md")
  local want = fill(page, slurp(stem .. ".lua"), out)
  seen = seen + 1
  if not ok then
    bad = bad + 1
    print(stem .. ".lua does not run")
  elseif want ~= page and write then
    local f = assert(io.open(stem .. ".md", "wb"))
    f:write(want)
    f:close()
  elseif want ~= page then
    bad = bad + 1
    print(stem .. ".md does not show " .. name .. ".lua and what it prints: " ..
      "lua5.4 scripts/dev/check_guide.lua --write")
  end
end
print(seen .. " pages of the guide")
os.exit(bad == 0 and seen > 0)
