--- pack:check{}: a build looked at as a whole, in one report. What stands out
-- comes first, what was looked at and what could not be stands under it.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local given = loader("given")
local cautions = loader("cautions")
local notes = loader("notes")
local origin = loader("origin")
local raised = loader("raised")
local lots = loader("lot")

local check = {}

local pcall = pcall

local keys = { "duty", "inverter", "cable", "fuse", "precharge", "link",
  "place", "bms", "cautions", "lot", "at_v", "surge_s", "drop_max_pct", "short_ka",
  "out_mohm", "details" }
local circuit_keys = { "inverter", "cable", "fuse", "at_v", "surge_s",
  "drop_max_pct", "short_ka", "out_mohm" }

local columns = { tables.text("caution", "caution"),
  tables.text("said", "what"), tables.text("what", "finding", true),
  tables.number("value", "value", "", true),
  tables.number("limit", "limit", "", true),
  tables.text("unit", "unit", true), tables.text("basis", "basis", true),
  tables.text("weight", "weight", true),
  tables.text("wrong", "what is wrong", true),
  tables.text("compared", "compared", true),
  tables.text("source", "source", true),
  tables.text("who", "who decides", true),
  tables.text("which", "which end", true) }

-- ---- what is asked ----

local function check_opts (opts)
  if opts == nil then opts = {} end
  if type(opts) ~= "table" or core.kind(opts) then
    core.fail("script", "check: a table of keys is wanted, { duty = .., " ..
      "inverter = .., cable = .., fuse = .., place = .. }")
  end
  tables.check_keys("check", opts, keys)
  local own = given.take("check", opts)
  if own.details ~= nil and type(own.details) ~= "boolean" then
    core.fail("script", "check: details must be true or false (got " ..
      type(own.details) .. ")")
  end
  own.cautions = cautions.own_list("check", opts.cautions)
  return own
end

-- each module that the pack lists, or the one that stands for all
local function modules_of (pack)
  local keys_ = core.keys(pack)
  local list = notes.modules(keys_)
  return #list > 0 and list or { keys_.module }
end

-- kWh a year that a run of the duty leaves unserved; nil without a duty, or
-- nil and why such a build does not run
local function unserved (pack, asked)
  if not asked.duty then return nil end
  local ok, raw = pcall(core.simulate_raw, pack, asked.duty, asked.inverter,
    true)
  if not ok then
    return nil, (tostring(raw):gsub("^.-:%d+: ", ""):gsub("%c", " "))
  end
  return raw.total.unserved_kwh + raw.total.dc_unserved_kwh
end

local function circuit_of (pack, asked)
  local own = { pack = pack }
  for _, key in ipairs(circuit_keys) do own[key] = asked[key] end
  return core.circuit(own)
end

-- ---- the rows ----

local function row_of (raw)
  local basis = raw.basis ~= "" and raw.basis or nil
  return { caution = raw.id, what = raw.text, value = raw.value,
    said = raw.text .. "." .. (basis and " (" .. basis .. ")" or ""),
    limit = raw.limit, unit = raw.unit, basis = basis, weight = raw.weight,
    wrong = raw.wrong, compared = raw.compared, source = raw.source,
    who = raw.who, which = raw.which }
end

local function rows_of (list)
  local rows = {}
  for i, raw in ipairs(list) do rows[i] = row_of(raw) end
  return rows
end

-- a row that no comparison of the C half made: a doubt, before economy
local function add (list, id, text, of)
  local at = #list + 1
  while at > 1 and list[at - 1].weight == "economy" do at = at - 1 end
  table.insert(list, at, { id = id, text = text, unit = "", basis = "",
    weight = "doubt", wrong = of.what, compared = of.compared,
    source = of.source, who = of.who })
end

local function registry ()
  local of = {}
  for _, entry in ipairs(core.cautions()) do of[entry.id] = entry end
  return of
end

-- what is odd about the numbers of modules, duty and inverter, by the same
-- code as under other tables; nothing twice
local function add_told (raw, pack, asked)
  local c, of, have = cautions.collector(), registry(), {}
  for _, list in ipairs{ raw.raised, raw.unknown, raw.clear } do
    for _, row in ipairs(list) do have[row.id] = true end
  end
  raised.pack(c, pack, "")
  if asked.duty then
    raised.duty(c, asked.duty, asked.inverter)
  elseif asked.inverter then
    raised.inverter(c, asked.inverter, "")
  end
  for _, id in ipairs(c.order) do
    local words = table.concat(c.entry[id].words, "; ")
    if not have[id] then
      add(raw.raised, id, words ~= "" and words or of[id].what, of[id])
    end
  end
end

-- remarks on the bench that nobody read, of the modules whose lot is known
local function add_unread (raw, from)
  local id, list = "remark_to_read", from.unread
  if #list > 0 then
    add(raw.raised, id, string.format("%d module%s a remark that nobody " ..
      "read: %s: look at %s again", #list, #list == 1 and " carries" or
      "s carry", lots.quoted(list), #list == 1 and "it" or "them"),
      registry()[id])
  elseif from.known > 0 then
    raw.clear[#raw.clear + 1] = { id = id, text = "", unit = "", basis = "",
      weight = "doubt" }
  end
end

-- a script's own cautions, behind the program's
local function add_own (raw, pack, asked)
  for _, own in ipairs(asked.cautions) do
    local found = cautions.look(own, pack, asked)
    add(not found and raw.clear or found.unknown and raw.unknown or
      raw.raised, own.id, found and found[2] or "", own)
  end
end

-- what is raised is not told as not raised too, unless one name is compared
-- at several ends and the row says of which it speaks
local function drop_raised (raw)
  local have, kept = {}, {}
  for _, row in ipairs(raw.raised) do have[row.id] = true end
  for _, row in ipairs(raw.clear) do
    if row.which or not have[row.id] then kept[#kept + 1] = row end
  end
  raw.clear = kept
end

-- ---- the report ----

local function count_of (n, one, many)
  return n == 0 and "no " .. one or n == 1 and "one " .. one or n .. " " ..
    many
end

local function capital (text)
  return text:sub(1, 1):upper() .. text:sub(2)
end

local function heads_of (raw)
  local heads, of_safety = {}, 0
  for _, row in ipairs(raw.raised) do
    if row.weight == "safety" then of_safety = of_safety + 1 end
  end
  heads[1] = string.format("%s out%s; %s could not be looked at.",
    capital(count_of(#raw.raised, "caution stands", "cautions stand")),
    #raw.raised > 0 and ", " .. (of_safety == #raw.raised and "all" or
      of_safety == 0 and "none" or of_safety) .. " of safety" or "",
    count_of(#raw.unknown, "thing", "things"))
  if #raw.raised > 0 then
    heads[2] = "What decides first: " .. raw.raised[1].id .. "."
  end
  return heads
end

-- three digits, no zeros behind the point: "97", "3000"
local function digits (v)
  local text = wording.short(v)
  return text:find(".", 1, true) and text:gsub("%.?0+$", "") or text
end

-- "fuse_below_load 100 A (above 97)", "window_crossed full 57.4 V (below 58)":
-- value, and what it was held against
local function compared (row)
  local name = row.id .. (row.which and " " .. row.which or "")
  if not row.value then return name end
  local text = name .. " " .. digits(row.value) ..
    (row.unit ~= "" and " " .. row.unit or "")
  if not row.limit then return text end
  local value, limit = digits(row.value), digits(row.limit)
  local way = value == limit and "at " or row.value > row.limit and "above " or
    "below "
  return text .. " (" .. way .. limit .. ")"
end

-- "a competent electrician: a, b; whoever builds it: c"
local function grouped (list, key)
  local order, of = {}, {}
  for _, row in ipairs(list) do
    local who = row[key]
    if who then
      if not of[who] then order[#order + 1], of[who] = who, {} end
      if of[who][#of[who]] ~= row.id then of[who][#of[who] + 1] = row.id end
    end
  end
  local parts = {}
  for i, who in ipairs(order) do
    parts[i] = who .. ": " .. table.concat(of[who], ", ")
  end
  return table.concat(parts, "; ") .. "."
end

local function taken (asked, circuit)
  local list = {}
  for _, object in pairs{ circuit, asked.place } do
    for _, sentence in ipairs(core.defaults(object) or {}) do
      list[#list + 1] = sentence
    end
  end
  table.sort(list)
  return list
end

-- what the names are about, for the sentence on what showed nothing
local subjects = { "window", "circuit", "modules", "BMS", "place", "energy",
  "other", "your own" }
local about = {}
for subject, ids in pairs{
  window = "no_margin_to_limit series_not_reachable window_crossed " ..
    "charge_above_cell_limit surge_sag_crosses_cutout above_60_v",
  circuit = "fuse_below_load fuse_above_cable fuse_voltage_below_full " ..
    "fuse_for_alternating_current breaker_polarised cable_below_load " ..
    "cable_by_drop_only cable_by_ampacity_only drop_above_limit " ..
    "interrupt_below_short interrupt_within_range_of_short " ..
    "short_circuit_only_bounded surge_above_fuse surge_time_missing " ..
    "surge_outlasts_fuse precharge_missing precharge_with_load_on " ..
    "strings_without_fuse link_below_load link_without_constant",
  modules = "module_not_accepted charge_not_level joined_by_flat_voltage " ..
    "module_in_two_places series_capacity_uneven generation_mixed " ..
    "string_share_uneven resistance_not_given capacity_not_tested " ..
    "remark_to_read",
  BMS = "bms_not_told bms_below_load bms_beyond_cell bms_inside_window",
  place = "temperature_not_given charge_below_freezing place_too_warm " ..
    "charge_rate_above_limit floor_overloaded stack_on_lowest_module " ..
    "lift_for_two",
  energy = "idle_empties_pack idle_draw_left_out load_above_inverter " ..
    "load_unserved deficit_no_battery_cures" } do
  for id in ids:gmatch("%S+") do about[id] = subject end
end

-- "24 comparisons show nothing: window 5, circuit 4, .."; with 'details' each
-- with the figures that were compared
local function clear_line (raw, details)
  if details then
    local list = {}
    for i, row in ipairs(raw.clear) do list[i] = compared(row) end
    return table.concat(list, ", ") .. ". In brackets what it was held against."
  end
  local n, parts = {}, {}
  for _, row in ipairs(raw.clear) do
    local subject = about[row.id] or core.caution_is(row.id) and "other" or
      "your own"
    n[subject] = (n[subject] or 0) + 1
  end
  for _, subject in ipairs(subjects) do
    if n[subject] then parts[#parts + 1] = subject .. " " .. n[subject] end
  end
  return string.format("%s nothing: %s. With figures: details = true, or " ..
    ".looked_at.", #raw.clear == 1 and "one comparison shows" or
    #raw.clear .. " comparisons show", table.concat(parts, ", "))
end

local beyond = "joints and their torque, whether the BMS does as it is set, contactors, " ..
  "earth and isolation, gas and ventilation, detection and escape, what " ..
  "the housing bears, transport, law and insurance"

local function notes_of (raw, pack, asked, circuit)
  local lines = {}
  for _, row in ipairs(raw.unknown) do
    lines[#lines + 1] = { "not looked at", row.id .. ": " .. row.text .. "." }
  end
  if #raw.clear > 0 then
    lines[#lines + 1] = { asked.details and "looked at, not raised" or
      "looked at", clear_line(raw, asked.details) }
  end
  local own, left = pack.usable_kwh, raw.facts.usable_kwh
  if own and left and left < own * (1 - 1e-9) then
    lines[#lines + 1] = { "usable", string.format("%s of the pack's %s kWh: " ..
      "the inverter's window leaves no more, and days are counted by that.",
      digits(left), digits(own)) }
  end
  if #raw.raised > 0 then
    lines[#lines + 1] = { "after", grouped(raw.raised, "source") }
    lines[#lines + 1] = { "decides", grouped(raw.raised, "who") }
  end
  local typed = given.typed(asked)
  if #typed > 0 then
    lines[#lines + 1] = { "as typed", table.concat(typed, "; ") .. "." }
  end
  local defaults = taken(asked, circuit)
  if #defaults > 0 then
    lines[#lines + 1] = { "taken", table.concat(defaults, "; ") .. "." }
  end
  lines[#lines + 1] = { "not checked", beyond .. "." }
  lines[#lines + 1] = { "", wording.who_decides }
  lines[#lines + 1] = { "", notes.rerun{} }
  return lines
end

-- r:raised "fuse_above_cable" --> true, false, or nil where it could not be
-- looked at
local function asker (raw)
  local state = {}
  for _, row in ipairs(raw.clear) do state[row.id] = "clear" end
  for _, row in ipairs(raw.unknown) do state[row.id] = "unknown" end
  for _, row in ipairs(raw.raised) do state[row.id] = "raised" end
  return function (_, id)
    if type(id) ~= "string" then
      core.fail("script", "raised: the name of a caution is wanted")
    elseif not state[id] and not core.caution_is(id) then
      core.fail("script", "raised: no caution is called '" .. id .. "'")
    elseif state[id] == "unknown" then
      return nil
    end
    return state[id] == "raised"
  end
end

local function list_table (list, head)
  return core.table_new{ columns = columns, rows = rows_of(list),
    heads = { head }, notes = { { "", wording.who_decides } } }
end

local function report (raw, pack, asked, circuit)
  local facts = raw.facts
  facts.raised = asker(raw)
  facts.not_looked_at = list_table(raw.unknown, "Could not be looked at.")
  facts.looked_at = list_table(raw.clear, "Looked at, not raised.")
  return core.table_new{ columns = columns, rows = rows_of(raw.raised),
    heads = heads_of(raw), notes = notes_of(raw, pack, asked, circuit),
    facts = facts }
end

--- pack:check{ duty, inverter, cable, fuse, precharge, link, place, bms,
-- cautions, lot, at_v, surge_s, .. } --> table, a row for each caution that stands out
function check.check (pack, opts)
  local asked = check_opts(opts)
  local circuit = circuit_of(pack, asked)
  local kwh, why = unserved(pack, asked)
  local from = origin.sum(modules_of(pack), asked.lot)
  local raw = core.check_raw(pack, { duty = asked.duty,
    inverter = asked.inverter, circuit = circuit, fuse = asked.fuse,
    cable = asked.cable, precharge = asked.precharge, link = asked.link,
    place = asked.place, bms = asked.bms, unserved_kwh = kwh, origin = from })
  if why then
    raw.unknown[#raw.unknown + 1] = { id = "load_unserved", unit = "",
      basis = "", weight = "doubt", text = "the duty could not be run: " ..
      why }
  end
  add_unread(raw, from)
  add_told(raw, pack, asked)
  add_own(raw, pack, asked)
  drop_raised(raw)
  return report(raw, pack, asked, circuit)
end

core.methods("pack").check = check.check

return check
