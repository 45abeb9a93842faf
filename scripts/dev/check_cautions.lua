--- Does docs/cautions.md have an entry for each caution of the registry and
-- for nothing else? Is each name that the sources raise in the registry, and
-- is each of the registry raised somewhere?
-- usage, in the top folder: lua5.4 check_cautions.lua [--write]
-- (package.cpath finds ampstead.so)
local amp = require "ampstead"
local page = "docs/cautions.md"
local write = arg[1] == "--write"
local bad = 0

local function slurp (path)
  local f = assert(io.open(path, "rb"))
  local text = f:read("a")
  f:close()
  return text
end

local function fault (...)
  bad = bad + 1
  print(string.format(...))
end

-- ---- the page ----

local titles = { offer = "Offers", need = "Needs, duties, inverters",
  reading = "Readings", log = "Logs", module = "Modules",
  match = "Matching", layout = "Series counts", joining = "Joining",
  copper = "Copper and protection", pack = "The built pack",
  run = "Runs and lives" }

-- an entry stands where it can first be raised; the other places follow it
local function entry (row)
  local places = row.at:gsub("^[^,]+", ""):gsub("^, ", "")
  return string.format("| `%s` | %s%s | %s | %s | %s |", row.id, row.what,
    places ~= "" and " (also: " .. places .. ")" or "", row.compared,
    row.source, row.who) .. (row.refused and string.format(
    "\n| | refused: \"%s\" | | | |", row.refused) or "")
end

local function registry ()
  local of, all = {}, amp.cautions()
  for i = 1, #all do
    local place = all[i].at:match("^[^,]+")
    of[place] = of[place] or {}
    table.insert(of[place], entry(all[i]))
  end
  local text = {}
  for _, place in ipairs{ "offer", "need", "reading", "log", "module",
    "match", "layout", "joining", "copper", "pack", "run" } do
    if of[place] then
      text[#text + 1] = "### " .. titles[place] .. "\n" ..
        "| name | what is wrong | compared | after | who decides |\n" ..
        "|---|---|---|---|---|\n" .. table.concat(of[place], "\n") .. "\n"
    end
  end
  return table.concat(text, "\n")
end

local text = slurp(page)
local first = select(2, text:find("<!-- registry -->\n", 1, true))
local last = text:find("<!-- end -->", 1, true)
assert(first and last, page .. " has no place for the registry")
if write then
  local f = assert(io.open(page, "wb"))
  f:write(text:sub(1, first), registry(), text:sub(last))
  f:close()
elseif text:sub(first + 1, last - 1) ~= registry() then
  fault("%s differs from the registry: check_cautions.lua --write", page)
end

-- ---- what the sources raise ----

local is = {}
for i = 1, #amp.cautions() do is[amp.cautions()[i].id] = true end

local raising = { '[%u]+%("([%l%d_]+)",', 'finding_add%(f, "([%l%d_]+)"',
  'at_least%(f, "([%l%d_]+)"', '[%.:]add%([%w_]+, "([%l%d_]+)"',
  ':add%("([%l%d_]+)"', ':tell%("([%l%d_]+)"', 'known%("([%l%d_]+)"',
  '[^%w]caution%("([%l%d_]+)"', '[%.:]line%("([%l%d_]+)"' }
local macros = { SAFETY = true, DOUBT = true, ECONOMY = true, REMARK = true }

local quoted, files = {}, 0
local p = assert(io.popen("ls core/cost/*.c core/pack/*.c core/job/*.c " ..
  "core/run/*.c bindings/module/*.c scripts/ampstead/*.lua"))
for path in p:lines() do
  local source = slurp(path)
  if path ~= "core/job/caution.c" then
    files = files + 1
    for word in source:gmatch('"([%l%d_]+)"') do quoted[word] = true end
    for word in source:gmatch("caution: ([%l%d_]+)") do quoted[word] = true end
    for k, pattern in ipairs(raising) do
      for at, id in source:gmatch("()" .. pattern) do
        local macro = source:sub(at, at + 20):match("^(%u+)%(")
        if not is[id] and (k > 1 or macros[macro]) then
          fault("%s raises '%s', which is not in the registry", path, id)
        end
      end
    end
  end
end
p:close()

-- names that only core/job/caution.c has: its ranges raise them
local ranges = slurp("core/job/caution.c"):match("ranges%[%] = (.-)};")
for word in ranges:gmatch('"([%l%d_]+)"') do quoted[word] = true end

-- cautions of the built pack alone are raised by pack:check, once it is there
local checked = io.open("tests/lua/test_check.lua", "rb")
if checked then checked:close() end

local count = 0
for i = 1, #amp.cautions() do
  local row = amp.cautions()[i]
  count = count + 1
  if not quoted[row.id] and not row.refused and
     (checked or row.at ~= "pack") then
    fault("%s is raised nowhere", row.id)
  end
end
print(string.format("%d cautions, %d files", count, files))
os.exit(bad == 0 and count > 90 and files > 50)
