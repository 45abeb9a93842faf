--- How what still air takes from a module reads.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")

local number = tables.number

local columns = { tables.text("what", "walls in still air"),
  number("low_w_per_k", "they lose, least W/K", "W/K"),
  number("high_w_per_k", "most W/K", "W/K"),
  number("convection_low_w_m2k", "to the air, laminar W/(m2 K)", "W/(m2 K)"),
  number("convection_high_w_m2k", "by the form for all flows", "W/(m2 K)"),
  number("radiation_w_m2k", "by radiation W/(m2 K)", "W/(m2 K)"),
  number("biot", "Biot number") }

local function heads_of (x)
  local heads = { string.format("Between %s and %s W/K: a module's " ..
    "cooling_w_per_k where nothing stands close.",
    wording.short(x.low_w_per_k), wording.short(x.high_w_per_k)) }
  if x.biot then
    heads[2] = x.biot < 0.1 and "Inside it is at one temperature, within 5 %." or
      "Inside it is not at one temperature: its middle is warmer than told."
  end
  return heads
end

local function still_table (x)
  local row, notes = { what = core.name(x) }, {}
  for _, c in ipairs(columns) do row[c.key] = row[c.key] or x[c.key] end
  row.biot = row.biot or { why = "half_thick_mm and through_w_mk are wanted" }
  local taken = core.defaults(x) or {}
  if #taken > 0 then
    notes[1] = { "taken", table.concat(taken, "; ") .. "." }
  end
  notes[#notes + 1] = { "", "Upright walls in open air (Churchill and Chu " ..
    "1975). Two forms of one law differ by a seventh: no better is it known." }
  notes[#notes + 1] = { "not checked", "a closed box, walls face to face, a " ..
    "lid or floor, sun, a fan." }
  return core.table_new{ columns = columns, rows = { row }, across = true,
    heads = heads_of(x), notes = notes }
end

core.methods("still_air").table = still_table
core.print_by("still_air", function (x) return tostring(still_table(x)) end)
