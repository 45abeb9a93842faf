--- The answers of single calls as tables: how long a pack lasts, cycles,
-- what is built in.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local compare = loader("compare")
local verdict = loader("verdict")
local notes = loader("notes")
local cautions = loader("cautions")
local raised = loader("raised")

local answers = {}

-- ---- life and autonomy of a pack ----

local life_columns = {
  { "years", "years", "number", "years" },
  { "usable_kwh", "usable kWh", "number", "kWh" },
  { "tested_kwh", "tested kWh", "number", "kWh" },
  { "days", "days without sun", "number", "days" },
  { "served_kwh", "served kWh a year", "number", "kWh/year" },
  { "unserved_kwh", "unserved kWh a year", "number", "kWh/year" },
  { "curtailed_kwh", "curtailed kWh a year", "number", "kWh/year" },
  { "efc", "full cycles a year (EFC)", "number", "EFC/year" },
  { "soh_start_pct", "SoH at the start, %", "number", "%" },
  { "delivered_kwh", "delivered kWh in all", "number", "kWh" } }

-- compare fills these; a life has no money in it, and reads nil there
local no_money = { "total", "per_nameplate", "per_accepted", "per_usable",
  "per_delivered", "levelised" }

local function life_label (raw, c)
  if c[1] ~= "years" then return c[2] end
  return wording.missing(raw.soh_end_pct) and c[2] or
    "years to SoH " .. wording.trim(raw.soh_end_pct) .. " %"
end

local function life_table (raw, pack)
  local cells, facts = { name = core.name(pack) }, {}
  local columns = { { key = "name", label = "pack", kind = "text" } }
  for _, c in ipairs(life_columns) do
    local key = c[1]
    local s = raw[key]
    cells[key] = tables.stat(s, key == "years" and raw.years_why or nil)
    facts[key .. "_beyond"] = s and s.beyond or false
    columns[#columns + 1] = { key = key, label = life_label(raw, c),
      kind = c[3], unit = c[4] }
  end
  for _, key in ipairs(no_money) do
    columns[#columns + 1] = { key = key, kind = "money", hidden = true }
    cells[key] = { why = "a life asks for no money: amp.compare does" }
  end
  if raw.years_why == nil then -- years stand: the reason reads nil
    columns[#columns + 1] = { key = "years_why", kind = "text", hidden = true }
  end
  for key, value in pairs(raw) do
    if cells[key] == nil then facts[key] = value end
  end
  return columns, cells, facts
end

local function life_model_of (pack)
  local module = core.keys(pack).module
  return core.kind(module) == "module" and core.keys(module).life_model or nil
end

--- pack:life(duty, opts) --> one row, read as .years, .years_p10 ..
local function life (raw_life)
  return function (pack, duty, opts)
    local raw = raw_life(pack, duty, opts)
    local n, middle = notes.new(), {}
    local given = opts or {}
    notes.look(n, pack, "", {}, given)
    notes.look(n, duty, "", {})
    notes.look(n, given.inverter, "", {})
    notes.look_keys(n, { life_model = given.life_model }, "", {})
    notes.outside(n, raw, "")
    local line = compare.model_line(raw)
    if line then middle[1] = { "", line } end
    local list, heads = cautions.collector(), verdict.worst_month(raw.worst)
    raised.deficit(list, heads)
    raised.pack(list, pack, "")
    raised.duty(list, duty, given.inverter)
    raised.years(list, raw, given.life_model or life_model_of(pack), "")
    for _, l in ipairs(list:lines()) do middle[#middle + 1] = l end
    local columns, cells, facts = life_table(raw, pack)
    facts.cautions = list:ids()
    return core.table_new{ columns = columns, rows = { cells },
      across = true, corner = "P50 (P10 .. P90)", facts = facts,
      heads = heads,
      notes = notes.close(notes.lines(n, middle, 1, true), raw) }
  end
end

local autonomy_columns = {
  { key = "name", label = "pack", kind = "text" },
  { key = "days", label = "days without sun", kind = "number",
    unit = "days" },
  { key = "usable_kwh", label = "usable kWh", kind = "number",
    unit = "kWh" },
  { key = "month", label = "month that asks most", kind = "count" },
  { key = "need_kwh", label = "needed at the battery, kWh a day",
    kind = "number", unit = "kWh" },
  { key = "load_kwh", label = "load, kWh a day", kind = "number",
    unit = "kWh" },
  { key = "supply_kwh", label = "sun, kWh a day", kind = "number",
    unit = "kWh" } }

-- the less sure of two bases; a plain number rests on an assumption
local order = { measured = 1, computed = 2, claimed = 3, assumed = 4 }

local function basis_of (...)
  local worst
  for _, given in pairs{ ... } do
    local basis = core.kind(given) == "value" and core.value(given).basis or
      "assumed"
    if not worst or order[basis] > order[worst] then worst = basis end
  end
  return worst
end

-- what the days without sun rest on: the charge tested, the load, the sun
local function autonomy_bases (pack, duty)
  local keys, d, charge = core.keys(pack), core.keys(duty), nil
  local list = notes.modules(keys)
  if #list == 0 then list = { keys.module } end
  for _, module in ipairs(list) do
    local m = core.keys(module)
    local basis = m.tested_ah ~= nil and basis_of(m.tested_ah) or
      m.soh_pct ~= nil and basis_of(m.soh_pct, m.capacity_ah) or "assumed"
    if not charge or order[basis] > order[charge] then charge = basis end
  end
  local load = basis_of(d.load_w or d.load_kwh, d.dc_load_w,
    d.from_battery_kwh)
  local days = load and order[load] > order[charge] and load or charge
  return { usable_kwh = charge, days = days, load_kwh = load,
    need_kwh = load, supply_kwh = d.solar_kwp and
      basis_of(d.solar_kwp, d.sun_hours, d.performance_pct) }
end

--- pack:autonomy(duty, inverter) --> one row, read as .days, .month ..
local function autonomy (raw_autonomy)
  return function (pack, duty, inverter)
    local raw = raw_autonomy(pack, duty, inverter)
    local n = notes.new()
    notes.look(n, pack, "", { life_model = true, r10s_mohm = true })
    notes.look(n, duty, "", {})
    notes.look(n, inverter, "", {})
    local raising, heads = cautions.collector(), verdict.worst_month(raw)
    raised.deficit(raising, heads)
    raised.pack(raising, pack, "")
    raised.duty(raising, duty, inverter)
    local cells, bases = { name = core.name(pack) }, autonomy_bases(pack, duty)
    for _, c in ipairs(autonomy_columns) do
      cells[c.key] = cells[c.key] or raw[c.key] and
        { value = raw[c.key], basis = bases[c.key] }
    end
    cells.days = cells.days or { why = "nothing is asked of the pack" }
    if raw.month then
      cells.month = { value = raw.month, text = wording.month(raw.month) }
    end
    return core.table_new{ columns = autonomy_columns, rows = { cells },
      across = true, heads = heads, facts = { cautions = raising:ids() },
      corner = "by charge, as tested",
      notes = notes.lines(n, raising:lines(), 1, true) }
  end
end

-- ---- lists ----

--- amp.rainflow(list) --> a row for each range that was counted
function answers.rainflow (list)
  return core.table_new{ rows = core.rainflow(list), columns = {
    { key = "range", label = "range", kind = "number" },
    { key = "mean", label = "mean", kind = "number" },
    { key = "count", label = "count", kind = "number" } } }
end

-- where the numbers of a built-in come from stands under the table
local function sourced (raw, columns)
  local lines = {}
  for i, entry in ipairs(raw) do
    lines[i] = { entry.name, entry.source }
  end
  columns[#columns + 1] = { key = "source", label = "source", kind = "text",
    hidden = true }
  return core.table_new{ rows = raw, columns = columns, notes = lines }
end

local number = tables.number

--- amp.chemistries() --> a row for each built-in chemistry
function answers.chemistries ()
  return sourced(core.chemistries(), {
    { key = "name", label = "chemistry", kind = "text" },
    number("nominal_v", "nominal V", "V"), number("v_min", "least V", "V"),
    number("v_max", "most V", "V"),
    number("v_daily_min", "daily least V", "V"),
    number("v_daily_max", "daily most V", "V") })
end

--- amp.life_models() --> a row for each built-in model, with fitted ranges
function answers.life_models ()
  return sourced(core.life_models(), {
    { key = "name", label = "life model", kind = "text" },
    number("temp_c_lo", "from C", "C"), number("temp_c_hi", "to C", "C"),
    number("c_rate_lo", "from C-rate", "C-rate"),
    number("c_rate_hi", "to C-rate", "C-rate"),
    number("dod_pct_lo", "from DoD %", "%"),
    number("dod_pct_hi", "to DoD %", "%") })
end

local pack = core.methods("pack")
pack.life = life(pack.life)
pack.autonomy = autonomy(pack.autonomy)

return answers
