--- Tables that a script fills itself, and what all result tables share.
local core, loader = ...
local wording = loader("wording")

local tables = {}

local spec_keys = { "title", "columns", "rows", "heads", "notes", "across",
  "corner" }
local column_keys = { "key", "label", "unit", "kind", "hidden", "folded" }

--- Refuse a key that the call doesn't know.
function tables.check_keys (who, given, known)
  local is = {}
  for _, key in ipairs(known) do is[key] = true end
  local unknown = {}
  for key in pairs(given) do
    if not is[key] then
      unknown[#unknown + 1] = type(key) == "string" and key or
        math.type(key) and tostring(key) or "a " .. type(key)
    end
  end
  if #unknown == 0 then return end
  table.sort(unknown)
  core.fail("script", string.format("%s: unknown key '%s'%s", who, unknown[1],
    wording.meant(unknown[1], known)))
end

-- words or numbers, by the first cell that holds anything
local function guess_kind (rows, key)
  for _, row in ipairs(rows) do
    local cell = row[key]
    if type(cell) == "table" then cell = cell.value or cell.text end
    if cell ~= nil then
      return type(cell) == "number" and "number" or "text"
    end
  end
  return "text"
end

local function full_column (column, rows)
  if type(column) == "string" then column = { key = column } end
  if type(column) ~= "table" then
    core.fail("script", "table: a column is a name or a table with a key")
  end
  tables.check_keys("table: column", column, column_keys)
  return { key = column.key, label = column.label, unit = column.unit,
    hidden = column.hidden, folded = column.folded,
    kind = column.kind or guess_kind(rows, column.key) }
end

-- an object or value in a cell reads as its name or its middle, true and
-- false as themselves
local function plain_cell (cell)
  local kind = core.kind(cell)
  if kind == "value" then
    local v = core.value(cell)
    return { value = v.value, basis = v.basis }
  elseif kind then
    return core.name(cell)
  end
  return cell
end
tables.plain_cell = plain_cell

local function full_row (row, columns, i)
  if type(row) ~= "table" then
    core.fail("script", string.format("table: row %d is not a table", i))
  end
  local full, names = {}, {}
  for c, column in ipairs(columns) do
    names[c] = column.key
    full[column.key] = plain_cell(row[column.key])
  end
  tables.check_keys(string.format("table: row %d", i), row, names)
  return full
end

--- amp.table{title, columns = {"name", {key, label, unit, kind}},
-- rows = {{name = "a", years = 3}, ..}, heads, notes} --> table
function tables.new (spec)
  if type(spec) ~= "table" then
    core.fail("script", "table: takes a table of named keys")
  end
  tables.check_keys("table", spec, spec_keys)
  local rows, columns, full = spec.rows or {}, {}, {}
  for i, column in ipairs(spec.columns or {}) do
    columns[i] = full_column(column, rows)
  end
  if #columns == 0 then core.fail("script", "table: needs columns") end
  for i, row in ipairs(rows) do full[i] = full_row(row, columns, i) end
  return core.table_new{ title = spec.title, columns = columns, rows = full,
    heads = spec.heads, notes = spec.notes, across = spec.across,
    corner = spec.corner }
end

--- What belongs to the object that a method was called on: 'objects' holds
-- it; 'of' is what scripts call such an object, 'who' the method.
function tables.held (objects, self, of, who)
  local held = objects[self]
  if not held then
    core.fail("script", string.format("%s: call it with a colon, %s:%s()",
      who, of, who))
  end
  return held
end

--- A column of numbers, and one of words, of a result table.
function tables.number (key, label, unit, hidden)
  return { key = key, label = label, kind = "number", unit = unit,
    hidden = hidden }
end

function tables.text (key, label, hidden)
  return { key = key, label = label, kind = "text", hidden = hidden }
end

--- A cell from a statistic of the C half: P50, spread, basis; or its reason.
function tables.stat (s, why)
  if not s or wording.missing(s.p50) then return { why = why } end
  local cell = { value = s.p50, basis = s.basis, beyond = s.beyond }
  if s.spread or s.beyond then -- a bound is not "fixed": ">15"
    cell.low, cell.high = s.p10, s.p90
    cell.high_beyond = s.p90_beyond
  end
  return cell
end

--- "50 %", shown for a share in percent.
function tables.percent (v)
  if wording.missing(v) then return nil end
  return { value = v, text = wording.fixed(v, 0) .. " %" }
end

return tables
