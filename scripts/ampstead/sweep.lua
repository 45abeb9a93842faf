--- Every combination of a few settings, each taken all the way.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local compare = loader("compare")
local verdict = loader("verdict")
local notes = loader("notes")
local cautions = loader("cautions")
local raised = loader("raised")

local sweep = {}

local case_keys = { "pack", "offer", "need", "cost", "soh_end_pct",
  "life_model" }

-- shown without being asked for; the others are data until :columns names
-- them
local shown = { usable_kwh = true, unserved_kwh = true, years = true,
  per_usable = true, levelised = true, cheapest_pct = true }

-- the names of 'over' in order, and a list of values for each
local function axes (over)
  if type(over) ~= "table" then
    core.fail("script", "sweep: over is a table of lists")
  end
  local taken, names, values = {}, {}, {}
  for _, c in ipairs(compare.columns) do taken[c[1]] = true end
  for name in pairs(over) do names[#names + 1] = name end
  if #names == 0 then core.fail("script", "sweep: over names nothing") end
  for _, name in ipairs(names) do
    if type(name) ~= "string" then
      core.fail("script", "sweep: over is a table of named lists")
    end
  end
  table.sort(names)
  for _, name in ipairs(names) do
    local list = over[name]
    if taken[name] then
      core.fail("script", string.format(
        "sweep: over cannot be called '%s', a result column is", name))
    end
    if type(list) ~= "table" or core.kind(list) then list = { list } end
    if #list == 0 then
      core.fail("script", string.format("sweep: over.%s is empty", name))
    end
    values[name] = list
  end
  return names, values
end

--- All combinations in a list of tables, the last name fastest.
function sweep.grid (names, values)
  local list = { {} }
  for _, name in ipairs(names) do
    local longer = {}
    for _, c in ipairs(list) do
      for _, v in ipairs(values[name]) do
        local copy = {}
        for _, n in ipairs(names) do copy[n] = c[n] end
        copy[name] = v
        longer[#longer + 1] = copy
      end
    end
    list = longer
  end
  return list
end

local function spell (v)
  local cell = tables.plain_cell(v)
  if type(cell) == "table" then cell = cell.value end
  return type(cell) == "number" and wording.trim(cell, 10) or tostring(cell)
end

-- "strings 4, temp_c 10"
local function place (names, c)
  local parts = {}
  for k, name in ipairs(names) do parts[k] = name .. " " .. spell(c[name]) end
  return table.concat(parts, ", ")
end

-- what case(c) gave, checked; a case that says no is kept with its reason
local function ask_case (fn, names, c)
  local copy = {}
  for _, name in ipairs(names) do copy[name] = c[name] end
  local case, reason = fn(copy)
  if case == nil or case == false then
    return { refused = tostring(reason or "left out by the script") }
  end
  if type(case) ~= "table" or core.kind(case) then
    core.fail("script", string.format("sweep: case (%s) must give a " ..
      "table, or nil and a reason (got %s)", place(names, c),
      core.kind(case) or type(case)))
  end
  tables.check_keys("sweep: case (" .. place(names, c) .. ")", case,
    case_keys)
  if (case.pack == nil) == (case.offer == nil) then
    core.fail("script", string.format("sweep: case (%s) needs a pack or " ..
      "an offer", place(names, c)))
  end
  return case
end

local function axis_column (name, grid)
  local kind = "count" -- whole numbers read back as they were given
  for _, c in ipairs(grid) do
    local cell = tables.plain_cell(c[name])
    if type(cell) == "table" then cell = cell.value end
    if type(cell) ~= "number" then
      kind = "text"
    elseif kind == "count" and math.type(cell) ~= "integer" then
      kind = "number"
    end
  end
  return { key = name, label = name, kind = kind, unit = "" }
end

local function axis_cell (v, kind)
  local cell = tables.plain_cell(v)
  if kind == "text" then return spell(v) end
  return cell
end

local function make_columns (raw, names, grid, currency)
  local list = {}
  for k, name in ipairs(names) do list[k] = axis_column(name, grid) end
  for _, c in ipairs(compare.columns) do
    local key = c[1]
    if key ~= "name" then
      list[#list + 1] = { key = key, kind = compare.kind(raw, c),
        hidden = not shown[key],
        folded = compare.folded[key] or key == "usable_kwh",
        label = compare.label(raw, c),
        unit = compare.unit(key, currency) }
    end
  end
  return list
end

-- currency and discount of each case; one table speaks one currency
local function ask_needs (cases, names, grid)
  local currency, discount
  local rates = {}
  for i, case in ipairs(cases) do
    if not case.refused and core.kind(case.need) == "need" then
      local keys = core.keys(case.need)
      if currency and keys.currency and keys.currency ~= currency then
        core.fail("script", string.format("sweep: case (%s) counts in %s, " ..
          "the others in %s", place(names, grid[i]), keys.currency, currency))
      end
      currency = currency or keys.currency
      discount = compare.middle(keys.discount_pct)
    end
    rates[i] = (discount or 0) / 100
  end
  return currency or "money", rates
end

-- the models' own years of the case with the least levelised cost
local function best_models (raw, where)
  local best
  for i = 1, raw.n do
    local s = not raw[i].refused and raw[i].levelised
    if s and not wording.missing(s.p50) and
       (not best or s.p50 < raw[best].levelised.p50) then
      best = i
    end
  end
  local line = best and compare.model_line(raw[best])
  return line and { "cheapest", where[best] .. ": " .. line }
end

local function raise_case (c, case, row)
  local asked = core.keys(case.need)
  local holds = core.keys(case.pack or case.offer)
  local module = core.kind(holds.module) == "module" and
    core.keys(holds.module) or {}
  if case.offer then
    raised.offers(c, { case.offer }, { "" }, asked.rates)
  else
    raised.pack(c, case.pack, "")
  end
  raised.need(c, case.need)
  raised.deficit(c, verdict.worst_month(row.worst))
  raised.years(c, row, case.life_model or module.life_model or
    asked.life_model, "")
end

local function raise (raw, cases)
  local c = cautions.collector()
  for i, case in ipairs(cases) do
    if not case.refused and core.kind(case.need) == "need" then
      raise_case(c, case, raw[i])
    end
  end
  return c
end

local function note_lines (raw, cases, names, where, c)
  local n, skip, middle = notes.new(), {}, {}
  for _, name in ipairs(names) do skip[name] = true end
  for i, case in ipairs(cases) do
    if not case.refused then
      notes.look_keys(n, case, "", skip)
      notes.look(n, case.pack or case.offer, "", skip)
      notes.look(n, case.need, "", skip)
      notes.outside(n, raw[i], "")
    end
  end
  middle[1] = best_models(raw, where)
  for _, line in ipairs(c:lines()) do middle[#middle + 1] = line end
  middle[#middle + 1] = compare.year_line(raw)
  return notes.close(notes.lines(n, middle), raw)
end

-- per kWh bought says nothing between cases of one module
local kinds = { { "per_usable", "per usable" }, { "levelised", "levelised" } }

-- the one name in which the rows differ; nil where there are several
local function apart (names, grid, rows)
  local found
  for _, name in ipairs(names) do
    for k = 2, #rows do
      if grid[rows[k]][name] ~= grid[rows[1]][name] then
        if found and found ~= name then return nil end
        found = name
      end
    end
  end
  return found
end

-- "strings 2, temp_c 10, soc_max_pct 80, 90 or 100": what cases share is
-- said once
local function speaker (names, grid)
  return function (rows)
    local key = #rows > 1 and apart(names, grid, rows)
    if not key then
      local list = {}
      for k, i in ipairs(rows) do
        list[k] = "(" .. place(names, grid[i]) .. ")"
      end
      if #list > 4 then return #list .. " cases" end
      return #list == 1 and list[1]:sub(2, -2) or wording.list(list, "or")
    end
    local parts, values = {}, {}
    for _, name in ipairs(names) do
      if name ~= key then
        parts[#parts + 1] = name .. " " .. spell(grid[rows[1]][name])
      end
    end
    for k, i in ipairs(rows) do values[k] = spell(grid[i][key]) end
    parts[#parts + 1] = key .. " " .. wording.list(values, "or")
    return table.concat(parts, ", ")
  end
end

-- the worst month, where it's the same in every case that has an answer
local function common_month (raw)
  local first
  for i = 1, raw.n do
    local w = not raw[i].refused and raw[i].worst
    if w then
      first = first or w
      if w.month ~= first.month or w.need_kwh ~= first.need_kwh or
         w.supply_kwh ~= first.supply_kwh then
        return nil
      end
    end
  end
  return first
end

-- who is cheapest and how sure that is, then what turns the order
local function heads (raw, names, grid, rates)
  local list, say = verdict.worst_month(common_month(raw)),
    speaker(names, grid)
  list[#list + 1] = verdict.kinds(raw, say, kinds)
  list[#list + 1] = verdict.winner(raw, say)
  list[#list + 1] = verdict.flooring(raw, say, rates)
  list[#list + 1] = verdict.horizon(raw, say)
  return list
end

local function make_rows (raw, cases, grid, columns, names)
  local rows = {}
  for i = 1, raw.n do
    local cells = compare.row(raw[i], nil, cases[i].offer)
    for k, name in ipairs(names) do
      cells[name] = axis_cell(grid[i][name], columns[k].kind)
    end
    rows[i] = cells
  end
  return rows
end

--- amp.sweep{over, case, draws, seed} --> table, a row per combination
function sweep.sweep (spec)
  if type(spec) ~= "table" then
    core.fail("script", "sweep: takes a table of named keys")
  end
  tables.check_keys("sweep", spec, { "over", "case", "draws", "seed" })
  if type(spec.case) ~= "function" then
    core.fail("script", "sweep: case must be a function")
  end
  local names, values = axes(spec.over)
  local grid, cases, where = sweep.grid(names, values), {}, {}
  for i, c in ipairs(grid) do
    cases[i], where[i] = ask_case(spec.case, names, c), place(names, c)
  end
  local currency, rates = ask_needs(cases, names, grid)
  local raw = core.sweep_raw(cases, { draws = spec.draws, seed = spec.seed })
  local columns = make_columns(raw, names, grid, currency)
  local c = raise(raw, cases)
  return core.table_new{ columns = columns,
    rows = make_rows(raw, cases, grid, columns, names),
    corner = currency .. ", P50 (P10 .. P90)",
    heads = heads(raw, names, grid, rates),
    facts = { cautions = c:ids() },
    notes = note_lines(raw, cases, names, where, c) }
end

return sweep
