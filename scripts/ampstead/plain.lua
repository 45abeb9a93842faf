--- Plain tables that print as what they hold: the same bytes every run.
local core, loader = ...
local wording = loader("wording")

local plain = {}

local deepest, longest = 4, 100 -- levels and entries that are printed

local function by_bytes (a, b)
  return tostring(a) < tostring(b)
end

local spell

-- names after the list, in the order of their bytes
local function spell_table (t, depth)
  if depth > deepest then return "{..}" end
  local parts, names, n = {}, {}, rawlen(t)
  for i = 1, math.min(n, longest) do parts[i] = spell(t[i], depth + 1) end
  if n > longest then
    parts[#parts + 1] = string.format(".. %d more", n - longest)
  end
  for key in next, t do
    if type(key) == "string" then names[#names + 1] = key end
  end
  table.sort(names, by_bytes)
  for _, name in ipairs(names) do
    parts[#parts + 1] = name .. " = " .. spell(t[name], depth + 1)
  end
  return "{" .. table.concat(parts, ", ") .. "}"
end

-- an object reads as its kind and name: printed alone it tells its keys
local function spell_object (v)
  local kind = core.kind(v)
  if not kind or kind == "value" then return tostring(v) end
  local name = core.keys(v).name
  return kind .. (name and string.format(" %q", tostring(name)) or "")
end

function spell (v, depth)
  local kind = type(v)
  if kind == "number" then
    return math.type(v) == "integer" and tostring(v) or wording.trim(v, 10)
  elseif kind == "string" then
    return depth > 0 and '"' .. v .. '"' or v
  elseif kind == "table" then
    return spell_table(v, depth)
  elseif kind == "userdata" then
    return spell_object(v)
  elseif kind == "function" or kind == "thread" then
    return "a " .. kind
  end
  return tostring(v)
end

core.plain.__tostring = function (t) return spell_table(t, 0) end
core.plain.__metatable = "list" -- a script can't reach it

--- The same table, which from now on prints as what it holds.
function plain.list (t)
  if type(t) ~= "table" or getmetatable(t) ~= nil then return t end
  return setmetatable(t, core.plain)
end

--- A function whose answer is such a table.
function plain.lists (fn)
  return fn and function (...) return plain.list(fn(...)) end
end

return plain
