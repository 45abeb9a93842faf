--- Does docs/reference name every call that the module has?
-- usage: lua5.4 check_reference.lua FOLDER (package.cpath finds ampstead.so)
local amp = require "ampstead"
local folder = arg[1]

local function slurp (path)
  local f = assert(io.open(path, "rb"))
  local text = f:read("a")
  f:close()
  return text
end

local function all_pages (dir)
  local p = assert(io.popen("ls '" .. dir .. "'"))
  local text = {}
  for name in p:lines() do
    if name:match("%.md$") then text[#text + 1] = slurp(dir .. "/" .. name) end
  end
  p:close()
  return table.concat(text, "\n")
end

local text = all_pages(folder)
local names, missing = {}, 0
for name in pairs(amp) do names[#names + 1] = name end
table.sort(names)
for _, name in ipairs(names) do
  if not text:find("amp%." .. name .. "%f[^%w_]") then
    missing = missing + 1
    print("docs/reference does not name amp." .. name)
  end
end
print(("%d of %d calls stand in docs/reference"):format(#names - missing,
  #names))
os.exit(missing == 0 and #names > 10)
