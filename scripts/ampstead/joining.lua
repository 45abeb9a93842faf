--- What flows when charged things are joined, and in which order to join.
local core, loader = ...
local wording = loader("wording")
local cautions = loader("cautions")
local tables = loader("table")

local joining = {}

local short = wording.short

local number = tables.number

local columns = {
  { key = "what", label = "two modules", kind = "text" },
  number("current_a", "first current A", "A"),
  { key = "bound", label = "only a bound", kind = "text" },
  number("current_most_a", "at most A", "A"),
  number("dv_v", "apart by V", "V"), number("ah", "charge moved Ah", "Ah"),
  number("ah_most", "at most Ah", "Ah"),
  number("soc_high_pct", "fuller SoC %", "%"),
  number("soc_low_pct", "emptier SoC %", "%"),
  number("half_s", "half the current after s", "s"),
  number("tenth_s", "a tenth after s", "s"),
  number("hundredth_s", "a hundredth after s", "s"),
  number("heat_wh", "heat in all Wh", "Wh"),
  number("lead_wh", "heat in the leads Wh", "Wh"),
  number("resistor_wh", "heat in the resistor Wh", "Wh"),
  number("link_a", "first in each link A", "A"),
  number("link_i2t_a2s", "links in all A2 s", "A2 s"),
  number("limit_a", "limit A", "A"),
  { key = "limit_by", label = "limit by", kind = "text" },
  number("dv_most_v", "that is reached at V", "V"),
  number("resistor_mohm", "resistor that keeps it mohm", "mohm"),
  number("resistor_w", "in it at first W", "W"),
  { key = "within", label = "within", kind = "text", hidden = true },
  number("i2t_a2s", "in all A2 s", "A2 s", true),
  { key = "flat", label = "flat", kind = "text", hidden = true },
  { key = "unread", label = "not read", kind = "count", hidden = true } }

local limits = { link = "the cell links", lead = "the lead",
  fuse = "the fuse", charge = "the emptier one's charge limit" }

local function raise (raw, notes)
  local function caution (id, words) cautions.add(notes, id, words) end
  if raw.flat then
    caution("joined_by_flat_voltage", "between the knees of this " ..
      "curve a rest voltage tells no charge, and voltages that agree say " ..
      "nothing. Bring both to the same state of charge first, full is " ..
      "surest, or give soc_a_pct and soc_b_pct by counting.")
  end
  if raw.limit_a and not raw.within then
    caution("joining_above_limit", string.format("%s A pass the %s A of %s. " ..
      "Charge the emptier one alone until they are %s V apart, or put %s " ..
      "mohm between.", short(raw.current_a), short(raw.limit_a),
      limits[raw.limit_by], short(raw.dv_most_v), short(raw.resistor_mohm)))
  end
  if raw.bound then
    caution("resistance_missing", "a resistance is not measured and counts " ..
      "as nothing: the current is the most that can flow; no times are told.")
  elseif raw.unread then
    caution("resistance_missing", string.format("%d of those side by side " ..
      "%s not measured: the median of the others stands in; at most %s A.",
      math.tointeger(raw.unread) or raw.unread, raw.unread == 1 and "is" or
      "are", raw.current_most_a and short(raw.current_most_a) or "-"))
  end
end

--- amp.paralleling(a, b, {lead_mohm, module, ..}) --> one row, .current_a ..
function joining.paralleling (a, b, opts)
  local raw = core.paralleling(a, b, opts)
  local cells, notes, given = { what = "joined" }, {}, opts or {}
  for _, c in ipairs(columns) do
    if cells[c.key] == nil then cells[c.key] = raw[c.key] end
  end
  if cells.ah == nil then
    cells.ah = { why = raw.flat and "a flat curve hides the charge" or
      "no module was given" }
  end
  if not given.resistor_mohm then cells.resistor_wh = nil end
  raise(raw, notes)
  local ids = cautions.ids(notes)
  notes[#notes + 1] = { "", "Rest voltages over 10 s resistances: higher for " ..
    "moments, and slower towards the end than told." }
  notes[#notes + 1] = { "checked", raw.limit_a and "the first current " ..
    "against " .. limits[raw.limit_by] .. ", the least limit given." or
    "nothing: no limit was given (link_a, lead_a, fuse_a, charge_a)." }
  notes[#notes + 1] = { "not checked", "groups inside each module, " ..
    "temperature, the joint that sparks." }
  notes[#notes + 1] = { "", wording.who_decides }
  return core.table_new{ columns = columns, rows = { cells },
    across = true, facts = { cautions = ids },
    heads = { string.format("%s %s A flow when they are " ..
      "joined.", raw.bound and "At most" or "About",
      short(raw.current_a)) }, notes = notes }
end

local order_columns = { { key = "step", label = "step", kind = "count" },
  { key = "which", label = "string", kind = "text" },
  number("current_a", "first current A", "A"),
  number("ah", "charge moved Ah", "Ah"), number("v", "then rests at V", "V") }

-- the reading's id, or its place in the list
local function name_of (strings, i)
  local s = strings[i]
  return s.id and tostring(s.id) or "no. " .. i
end

--- amp.joining_order({ {ocv_v, r10s_mohm, ah}, .. }, {lead_mohm, module})
-- --> a row for each step, gentlest order first to last
function joining.order (strings, opts)
  local raw, rows, worst = core.joining_order(strings, opts), {}, 0
  for i, step in ipairs(raw) do
    worst = math.max(worst, step.current_a)
    rows[i] = { step = i, which = name_of(strings, step.which), v = step.v,
      current_a = i > 1 and step.current_a or nil, ah = i > 1 and step.ah or
      nil }
  end
  local notes = {}
  if raw.bound then
    cautions.add(notes, "resistance_missing", "a resistance is not " ..
      "measured and counts as nothing: the currents are the most that can " ..
      "flow.")
  end
  notes[#notes + 1] = { "", "Wait after each step until the bank is at " ..
    "rest. " .. (raw.exact and "No other order has a smaller largest first " ..
    "current." or "The best of those orders that take the next string from " ..
    "either end of the voltages; others may be gentler.") }
  notes[#notes + 1] = { "not checked", "limits of links, leads, fuses and " ..
    "charging (amp.paralleling)." }
  notes[#notes + 1] = { "", wording.who_decides }
  return core.table_new{ columns = order_columns, rows = rows,
    heads = { string.format("Joined in this order, no first current is above " ..
      "%s A.", short(worst)) }, facts = { most_a = worst,
      exact = raw.exact, bound = raw.bound,
      cautions = cautions.ids(notes) }, notes = notes }
end

return joining
