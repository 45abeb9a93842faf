--- The parts that a build is asked about, the same for pack:check and
-- pack:sheet: objects, or the keys of such an object in a plain table.
local core, loader = ...
local wording = loader("wording")

local given = {}

-- key --> the class it makes
local kinds = { inverter = "inverter", cable = "cable", fuse = "fuse",
  precharge = "precharge", link = "fuse_link", place = "place", bms = "bms" }
local parts = { "inverter", "cable", "fuse", "precharge", "link", "place",
  "bms" }

local function refuse (who, key, wanted, value)
  core.fail("script", string.format("%s: %s must be %s (got %s)", who, key,
    wanted, core.kind(value) or type(value)))
end

local function part (who, key, value)
  local kind = kinds[key]
  if core.kind(value) == kind then return value end
  if type(value) ~= "table" or core.kind(value) then
    refuse(who, key, "amp." .. kind .. "{} or a table of its keys", value)
  end
  return core[kind](value)
end

-- a plain table describes a day; other duties have calls of their own
local function duty_of (who, value)
  if core.kind(value) == "profile" then return value end
  if type(value) ~= "table" or core.kind(value) then
    refuse(who, "duty", "a duty, amp.profile.daily{} or another", value)
  end
  return core.daily(value)
end

--- given.take("check", opts) --> a copy, every part of it an object
function given.take (who, opts)
  local own = {}
  for key, value in pairs(opts) do own[key] = value end
  for _, key in ipairs(parts) do
    if own[key] ~= nil then own[key] = part(who, key, own[key]) end
  end
  if own.duty ~= nil then own.duty = duty_of(who, own.duty) end
  if own.lot ~= nil and core.kind(own.lot) ~= "lot" then
    refuse(who, "lot", "a lot of readings", own.lot)
  end
  return own
end

-- ---- what was typed in other units ----

-- ending of a key --> ending, factor and shift of ours
local units = { _f = { "C", 1 / 1.8, -32 / 1.8 }, _lb = { "kg", 0.45359237 },
  _ft = { "m", 0.3048 }, _ft2 = { "m2", 0.09290304 },
  _psf = { "kPa", 0.04788 } }

--- {"coldest_f 14: -10 C", ..} of place, BMS and cable, for the report that
-- speaks of C, kg, m2 and kPa
function given.typed (asked)
  local list = {}
  for _, part_ in ipairs{ "place", "bms", "cable" } do
    local keys, names = asked[part_] and core.keys(asked[part_]) or {}, {}
    for key in pairs(keys) do names[#names + 1] = key end
    table.sort(names)
    for _, key in ipairs(names) do
      local unit, v = units[key:match("_%w+$")], keys[key]
      if unit and type(v) == "number" then
        list[#list + 1] = string.format("%s %s: %s %s", key, wording.trim(v),
          wording.trim(v * unit[2] + (unit[3] or 0), 3), unit[1])
      end
    end
  end
  return list
end

return given
