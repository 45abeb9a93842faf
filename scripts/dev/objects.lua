--- Writes docs/reference/objects.md from the tables of fields in C.
-- usage: lua5.4 scripts/dev/objects.lua > docs/reference/objects.md
require "ampstead"
local core = assert(debug.getregistry()["ampstead.core"])

local call = { daily = "amp.profile.daily{}", net = "amp.profile.net{}",
  steps = "amp.profile.steps{ phase, phase, .. }",
  log = "amp.log.csv(path, opts)  amp.log.text(string, opts)",
  drawn = "log:profile{}",
  series = "amp.profile.csv(path, opts)  amp.profile.text(string, opts)" }

local kinds = { number = "number", whole = "whole number",
  value = "number or value", text = "text", object = "object or name",
  list = "number or list", choice = "word", law = "function",
  flag = "true or false" }

local out = { [[
# Objects and their keys

Written from the tables of fields in `bindings/module` by
`scripts/dev/objects.lua`; a test compares.

Objects never change: `x:with{...}` gives a changed copy, keys read back as
given, `print(x)` tells each key with its unit, what it rests on, and which
defaults were taken. Keys carry the unit. `_pct` is always percent: a number
above 0 and up to 1 brings a warning. Where "number or value" stands, a plain
number is `assumed`; `amp.measured(v, sd)`, `amp.claimed(v, sd)`,
`amp.assumed(v, sd)`, `amp.between(lo, hi)` and
`amp.tested({96.1, 91.4}, {of = 12, by = "seller"})` say more. A key outside
its limits, an unknown key, NaN and infinity raise an error that names the
line of the script. Of keys that say one thing in several ways (`price_lot` and
`price_each`, `charge_price` and `charge_hours`, `import_price` and
`import_at`) one may be given; `with` of one drops the other, and `print` of
the copy shows which is left.
]] }

local function shown (x)
  return (("%.10g"):format(x):gsub("e%+?0*(%d)", "e%1"))
end

-- A list without limits holds no lone number; its meaning shows its form.
local function what (f)
  if f.kind ~= "list" or f.lo then return kinds[f.kind] end
  if f.key == "text" then return "text" end
  return f.doc:find("^{%a") and "table" or "list"
end

local function limits (f)
  local s = f.kind == "choice" and "`" .. f.unit:gsub(" ", "` `") .. "`" or f.unit
  if f.kind == "choice" and f.unit == "" then s = "" end
  if f.lo then s = shown(f.lo) .. " .. " .. shown(f.hi) .. " " .. s end
  return (s:gsub("%s+$", ""))
end

for _, class in ipairs(core.describe()) do
  out[#out + 1] = ("\n## %s\n\n%s.\n\n" ..
    "| key | what | limits and unit | meaning |\n|---|---|---|---|\n"):format(
    call[class.make] or "amp." .. class.make .. "{}", class.doc)
  for _, f in ipairs(class.keys) do
    out[#out + 1] = ("| `%s` | %s | %s | %s |\n"):format(f.key,
      what(f), limits(f), f.doc)
  end
  local reads, calls = {}, { "`:with{}`" }
  for _, m in ipairs(class.methods) do
    local key = m:match("^get_(.*)")
    if key then reads[#reads + 1] = "`." .. key .. "`"
    else calls[#calls + 1] = "`:" .. m .. "()`" end
  end
  if #reads > 0 then
    out[#out + 1] = "\nReads besides: " .. table.concat(reads, " ") .. "\n"
  end
  out[#out + 1] = (#reads > 0 and "" or "\n") .. "Calls: " ..
    table.concat(calls, " ") .. "\n"
end

out[#out + 1] = "\nWhat the calls give: calls.md.\n"

local text = table.concat(out)
if ... == "text" then return text end
io.write(text)
