--- The parts that a build is asked about, the same for pack:check and
-- pack:sheet: objects, or the keys of such an object in a plain table.
local core = ...

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

return given
