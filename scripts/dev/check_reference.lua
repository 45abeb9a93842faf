--- Does docs/reference name every call, key and method that the module has?
-- usage: lua5.4 check_reference.lua FOLDER (package.cpath finds ampstead.so)
local amp = require "ampstead"
local folder = arg[1]

local function slurp (path)
  local f = io.open(path, "rb")
  if not f then return "" end
  local text = f:read("a")
  f:close()
  return text
end

local function listing (dir)
  local p = assert(io.popen("ls '" .. dir .. "'"))
  local names = {}
  for name in p:lines() do
    if name:match("%.md$") then names[#names + 1] = name end
  end
  p:close()
  return names
end

local text = {}
for _, name in ipairs(listing(folder)) do
  text[#text + 1] = slurp(folder .. "/" .. name)
end
text = table.concat(text, "\n")

local missing, seen = 0, 0
local function want (word, place)
  seen = seen + 1
  if not text:find("%f[%w_]" .. word .. "%f[^%w_]") then
    missing = missing + 1
    print("docs/reference does not name " .. place)
  end
end

local names = {}
for name in pairs(amp) do names[#names + 1] = name end
table.sort(names)
for _, name in ipairs(names) do
  if not name:match("^_") then want(name, "amp." .. name) end
end

-- describe() lists each class with its fields: {class = {{key = ..}, ..}}
local function walk (value, place)
  if type(value) ~= "table" then return end
  if type(value.key) == "string" then want(value.key, place .. value.key) end
  local keys = {}
  for k in pairs(value) do keys[#keys + 1] = k end
  table.sort(keys, function (a, b) return tostring(a) < tostring(b) end)
  for _, k in ipairs(keys) do
    walk(value[k], type(k) == "string" and place .. k .. "." or place)
  end
end

-- describe() belongs to the C half, which the functions of the Lua half hold
local function c_half (fn)
  for i = 1, math.huge do
    local name, value = debug.getupvalue(fn, i)
    if not name then return nil end
    if name == "core" then return value end
  end
end
local core = assert(c_half(amp.compare) or c_half(amp.table),
  "the C half is not reached through amp.compare any more")
walk(core.describe(), "")

print(("%d of %d names stand in docs/reference"):format(seen - missing, seen))
os.exit(missing == 0 and seen > 10)
