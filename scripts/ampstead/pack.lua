--- What is asked of a pack itself: without one of its modules, how long it
-- takes to balance, what it takes to warm.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local notes = loader("notes")
local origin = loader("origin")

-- ---- a string or a module taken out ----

local function is_called (module, id)
  return core.kind(module) == "module" and core.keys(module).name == id
end

-- string and place of the one module of that name
local function find (pack, list, id)
  local s, i
  for a, row in ipairs(list) do
    for b = 1, #row do
      if is_called(row[b], id) then
        if s then
          core.fail("script", string.format("without: more than one " ..
            "module of %s is called '%s'", core.name(pack), id))
        end
        s, i = a, b
      end
    end
  end
  if not s then
    core.fail("script", string.format("without: no module of %s is called " ..
      "'%s'", core.name(pack), id))
  end
  return s, i
end

local function check_string (list, s)
  if s ~= math.floor(s) or s < 1 or s > #list then
    core.fail("script", string.format("without: string must be 1 .. %d " ..
      "(got %s)", #list, tostring(s)))
  end
end

--- pack:without("m3") --> the pack without the string in which that module
-- is; parallel first, without that module alone. pack:without(2): without
-- the second string.
local function without (pack, id)
  local keys = core.keys(pack)
  local list = notes.strings(keys)
  if type(id) == "number" then
    check_string(list, id)
    table.remove(list, id)
  elseif type(id) == "string" then
    local s, i = find(pack, list, id)
    if keys.order == "parallel_first" then
      list[s][i] = false
    else
      table.remove(list, s)
    end
  else
    core.fail("script", "without: a module's name or the number of a " ..
      "string is wanted")
  end
  if #list == 0 then core.fail("script", "without: nothing would be left") end
  local longest = 0
  for _, row in ipairs(list) do longest = math.max(longest, #row) end
  return pack:with{ strings = list, series = longest, parallel = #list }
end

-- ---- one row of answers ----

local function rows_of (pack, raw, basis, columns)
  local cells = { name = core.name(pack) }
  for _, c in ipairs(columns) do
    if raw[c.key] ~= nil and not cells[c.key] then
      cells[c.key] = { value = raw[c.key], basis = basis }
    end
  end
  return { cells }
end

local number = tables.number

local balance_columns = {
  { key = "name", label = "pack", kind = "text" },
  number("hours", "hours to balance, without a pause", "h"),
  number("ah", "to bleed from the fullest group Ah", "Ah"),
  number("lost_ah", "less in that string until then Ah", "Ah"),
  number("string", "string"), number("level", "level"),
  number("module", "module in it"), number("group", "group in that") }

local year_h = 8760

local function modules_of (keys)
  local list = notes.modules(keys)
  return #list > 0 and list or { keys.module }
end

-- is the charge of any group told by itself?
local function groups_told (modules)
  for _, module in ipairs(modules) do
    for _, group in pairs(core.keys(module).groups or {}) do
      if type(group) == "table" and group.soc_pct ~= nil then return true end
    end
  end
  return false
end

-- why nobody knows how its groups stand
local function charge_unknown (modules)
  local o = origin.sum(modules)
  local wanted = "groups = {[3] = {soc_pct = 58}} of amp.module tells it"
  if o.flat_low then
    return string.format("the modules rested at %s V a group, between the " ..
      "knees of a curve on which that tells no charge",
      o.flat_high - o.flat_low < 5e-4 and wording.fixed(o.flat_low, 3) or
      wording.fixed(o.flat_low, 3) .. " to " .. wording.fixed(o.flat_high,
        3))
  elseif o.soc_low then
    return string.format("the modules stood between %s and %s %% when read, " ..
      "and how their groups stood is not told: %s",
      wording.fixed(100 * o.soc_low, 0), wording.fixed(100 * o.soc_high, 0),
      wanted)
  end
  return "the charge of no group is told: " .. wanted
end

-- nothing is known of a charge that nobody gave
local function unknown_balance (pack, modules)
  local shown = { balance_columns[1], balance_columns[2] }
  for i = 3, #balance_columns do
    local c = balance_columns[i]
    shown[i] = { key = c.key, kind = c.kind, unit = c.unit, label = c.label,
      hidden = true }
  end
  return core.table_new{ columns = shown, across = true,
    rows = { { name = core.name(pack), hours = { why =
      charge_unknown(modules) } } }, corner = "by charge",
    heads = { "Not known how its groups stand: bring every module full by " ..
      "itself before it meets another." }, notes = { { "", notes.rerun{} } } }
end

--- pack:balance() --> one row: hours to a top balance, and whose
local function balance (raw_balance)
  return function (pack)
    local modules = modules_of(core.keys(pack))
    if not groups_told(modules) then return unknown_balance(pack, modules) end
    local raw = raw_balance(pack)
    local n, shown = notes.new(), {}
    notes.look(n, pack, "", { life_model = true, r10s_mohm = true })
    local rows = rows_of(pack, raw, "assumed", balance_columns)
    for i, c in ipairs(balance_columns) do
      if i <= 4 or raw[c.key] ~= nil then shown[#shown + 1] = c end
      if i > 4 and raw[c.key] then
        rows[1][c.key] = { value = raw[c.key],
          text = string.format("%d", raw[c.key]) }
      end
    end
    if not raw.hours then
      rows[1].hours = { why = "bleed_a is not given" }
    end
    local head = raw.ah == 0 and "All groups are full together." or
      "The fullest group ends each charge before the others are full."
    if raw.hours and raw.hours > year_h then
      head = head .. " A balancer this weak comes to nothing: that takes " ..
        "over a year, and the groups part faster."
      rows[1].hours.text = "over a year"
    end
    return core.table_new{ columns = shown, rows = rows, across = true,
      corner = "by charge", heads = { head },
      notes = notes.lines(n, {}, 1, true) }
  end
end

local warm_columns = {
  { key = "name", label = "pack", kind = "text" },
  number("hours", "hours to warm it", "h"),
  number("kwh", "into the heater kWh", "kWh"),
  number("stored_kwh", "of it warming the cells kWh", "kWh"),
  number("lost_kwh", "lost meanwhile kWh", "kWh"),
  number("hold_w", "to hold it there W", "W"),
  number("end_c", "it would end at C", "C") }

-- without a heater neither time nor what is lost meanwhile is known
local function warm_row (pack, raw)
  local rows = rows_of(pack, raw, "assumed", warm_columns)
  if not raw.hours then
    for _, key in ipairs{ "hours", "kwh", "lost_kwh" } do
      rows[1][key] = { why = "heater_w is not given: losses go with the " ..
        "time it takes, so it is " .. wording.short(raw.stored_kwh) ..
        " kWh and more" }
    end
  end
  if raw.end_far then
    rows[1].end_c = { why = "far beyond any cell (above 100 C): something " ..
      "else must switch the heater off" }
  end
  return rows
end

--- pack:warm{ from_c, to_c, heater_w, ambient_c } --> one row
local function warm (raw_warm)
  return function (pack, opts)
    local raw = raw_warm(pack, opts)
    local n = notes.new()
    notes.look(n, pack, "", { life_model = true, r10s_mohm = true,
      tested_ah = true, soh_pct = true, capacity_ah = true })
    return core.table_new{ columns = warm_columns, across = true,
      rows = warm_row(pack, raw),
      corner = "one temperature all through",
      heads = { string.format("%s kJ/K and %s W/K of all modules together, " ..
        "assumed by their mass unless given.",
        wording.short(raw.heat_kj_per_k),
        wording.short(raw.cooling_w_per_k)) },
      notes = notes.lines(n, {}, 1, true) }
  end
end

local pack = core.methods("pack")
pack.without = without
pack.balance = balance(pack.balance)
pack.warm = warm(pack.warm)
