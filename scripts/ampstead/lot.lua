--- Lots of readings: what is accepted and why, what few tests say of many.
local core, loader = ...
local wording = loader("wording")
local cautions = loader("cautions")
local tables = loader("table")

local lots = {}

-- ---- numbers as the bench writes them ----

local function volts (v) return wording.fixed(v, 3) .. " V" end
local function millivolts (v) return wording.fixed(1000 * v, 0) .. " mV" end
local function mohm (v) return wording.trim(1000 * v, 3) .. " mohm" end
local function percent (v) return wording.fixed(100 * v, 0) .. " %" end
local function amp_hours (v) return wording.trim(v / 3600, 4) .. " Ah" end
local function celsius (v) return wording.fixed(v - 273.15, 0) .. " C" end

-- ---- what each finding says ----

local function neighbours (f)
  return f.other and ", the others at " .. volts(f.other) .. " on average" or
    ""
end

local function a_day (f)
  local s = wording.trim(100 * f.value, 2) .. " % a day, above " ..
    wording.trim(100 * f.limit, 2)
  return f.other and s .. " (" .. wording.trim(1000 * f.other, 2) .. " mA)" or
    s
end

local say = {}

function say.row_makes_no_sense (_, row)
  return "line " .. row.line .. ": " .. row.flaw
end

function say.group_below_reject (f)
  return "its lowest group stands at " .. volts(f.value) .. ", below " ..
    volts(f.limit) .. neighbours(f) .. ": never charge it again"
end

function say.one_group_discharged (f)
  return "one group stands at " .. volts(f.value) .. ", below " ..
    volts(f.limit) .. neighbours(f) .. ": it discharges by itself"
end

function say.group_deeply_discharged (f)
  return "its lowest group stands at " .. volts(f.value) .. ", below " ..
    volts(f.limit) .. ": watch it outdoors, do not charge it yet"
end

function say.group_spread_wide (f)
  return "its groups are " .. millivolts(f.value) .. " apart, above " ..
    millivolts(f.limit)
end

function say.group_spread_uneven (f)
  return "its groups are " .. millivolts(f.value) .. " apart, good is up to " ..
    millivolts(f.limit)
end

function say.group_spread_above_lot (f)
  return "its groups are " .. millivolts(f.value) .. " apart, the lot's " ..
    "median is " .. millivolts(f.other)
end

function say.group_above_limit (f)
  return "its highest group stands at " .. volts(f.value) ..
    ", above the cell's limit of " .. volts(f.limit)
end

function say.remark_of_damage (_, row)
  return 'seen: "' .. row.remark .. '"'
end

function say.voltage_not_at_rest (f, row)
  return volts(f.value) .. ' was not at rest: "' .. row.remark .. '"'
end

function say.resistance_two_wire (f, row)
  return mohm(f.value) .. ' with the leads in it: "' .. row.remark .. '"'
end

function say.damage_denied (_, row)
  return 'no damage, as written: "' .. row.remark .. '"'
end

function say.remark_cut (_, row)
  return 'remark cut, read the sheet: "' .. row.remark .. '"'
end

function say.remark_to_read (_, row)
  return 'remark, not read: "' .. row.remark .. '"'
end

function say.group_leaks (f)
  return "its lowest group fell " .. millivolts(f.value) ..
    " more than its highest in " .. wording.trim(f.other, 3) .. " days"
end

function say.self_discharge_high (f)
  return "it loses " .. a_day(f)
end

function say.self_discharge_above_lot (f)
  return "it loses " .. a_day(f) .. ", far more than the lot"
end

function say.voltage_rose_between_dates (f)
  return "its voltage rose by " .. millivolts(f.value - f.limit) .. " in " ..
    wording.trim(f.other, 3) .. " days: the first was not at rest"
end

function say.voltage_not_given ()
  return "no voltage was read"
end

-- "; check the cell: lowest group 0.003299 V, or 3.299 V?"; what stood there
-- may be true of a group that is empty
local function doubted (f, low, otherwise)
  local text = f.word and string.format("; check the cell: %s %s V, or %s V?",
    f.word, wording.trim(f.typed, 6), wording.trim(f.meant, 6)) or otherwise
  return text .. (not low and "" or f.word and
    " No charge before it is read again" or
    "; no charge before it is read again")
end

local empty_v = 2.5 -- of a group: as group_low_v; common practice

function say.groups_disagree_with_module (f, row)
  return volts(f.value) .. " is not the sum of its groups, which lies in " ..
    volts(f.limit) .. " .. " .. volts(f.other) .. doubted(f,
      row.group_min_v and row.group_min_v < empty_v,
      ": a reading error or a group left out")
end

function say.voltage_cannot_be (f)
  local why = wording.short(f.limit) .. " V a group"
  if f.other then why = why .. ", the lot's median is " .. volts(f.other) end
  return wording.trim(f.value, 6) .. " V makes no sense (" .. why .. ")" ..
    doubted(f, f.limit < empty_v, ": a slip, or another module")
end

function say.module_apart_groups_unknown (f)
  return volts(f.value) .. " is " .. millivolts(math.abs(f.value - f.limit)) ..
    (f.value < f.limit and " under" or " over") ..
    " the lot's median: another charge, or one group at about " ..
    wording.fixed(f.other, 2) .. " V. The module's voltage cannot tell: " ..
    "measure its groups"
end

function say.groups_not_measured ()
  return "groups not measured: nothing is known of a single group"
end

function say.module_hot_or_fahrenheit (f)
  return celsius(f.value) .. " at rest is above " .. celsius(f.limit) ..
    ": Fahrenheit read as Celsius, or hot by itself"
end

function say.resistance_not_given ()
  return "no resistance: its share of a current has bounds only"
end

function say.resistance_like_ohms (f)
  return mohm(f.value) .. " is below " .. mohm(f.limit) ..
    ": typed in ohm?"
end

function say.resistance_not_comparable (f)
  return mohm(f.value) .. " has fewer than " .. wording.trim(f.limit) ..
    " readings at like charge and temperature to compare with"
end

local function times (f)
  return mohm(f.value) .. " is " .. wording.short(f.value / f.other) ..
    " times the median " .. mohm(f.other)
end

function say.resistance_above_lot (f)
  return times(f) .. ": measure again, clean lugs, four wires"
end

function say.resistance_far_above_lot (f)
  return times(f) .. ": heat, and little share of the current"
end

function say.capacity_not_tested ()
  return "capacity not tested"
end

function say.capacity_above_nameplate (f)
  return amp_hours(f.value) .. " is " .. percent(f.other) ..
    " of the label: a slip in the test, or another type"
end

function say.capacity_low (f)
  return amp_hours(f.value) .. " is " .. percent(f.other) ..
    " of the label, below " .. amp_hours(f.limit)
end

local function beside (f)
  return " (" .. percent(f.value) .. " against " .. percent(f.limit) .. ", " ..
    volts(f.other) .. " a group): bring it level before joining"
end

-- further below than modules are compared over (soc_band_pct unless changed):
-- a module that stood beside the others and is not where they are; common
-- practice, no source
local far = 0.2

local function far_below (f)
  return f.name == "charge_below_lot" and f.limit - f.value > far
end

function say.charge_below_lot (f)
  if far_below(f) then
    return ("far lower in charge (%s against %s, %s a group): drawn down, or " ..
      "discharged by itself; bring it level, read it again after weeks")
      :format(percent(f.value), percent(f.limit), volts(f.other))
  end
  return "only lower in charge" .. beside(f)
end

function say.charge_above_lot (f)
  return "higher in charge" .. beside(f)
end

-- what decides in words, else what is worth telling; nil: nothing
local quiet = { capacity_not_tested = true, groups_not_measured = true,
  resistance_not_comparable = true }
local beside_all = { group_spread_above_lot = true, remark_to_read = true }

local function has (judged, name)
  for _, f in ipairs(judged.findings) do
    if f.name == name then return true end
  end
  return false
end

-- 'listed': the remark that nobody read is quoted elsewhere
local function reasons (judged, row, listed)
  local first, parts = judged.findings[1], {}
  local unread = has(judged, "remark_to_read")
  for _, f in ipairs(judged.findings) do
    local told = f.weight == "remark" and (beside_all[f.name] or
      far_below(f) or first.weight == "remark" and not quiet[f.name])
    if f.name == "damage_denied" then told = told and not unread end
    if f.name == "remark_to_read" then told = not listed end
    if told or f.weight ~= "remark" then
      parts[#parts + 1] = say[f.name](f, row)
    end
  end
  return #parts > 0 and table.concat(parts, "; ") or nil
end

local quoted_most = 12 -- texts in one sentence; more are counted

--- 'a b "the same remark", c "another"' of rows {id, remark}; what each says
-- stands once.
function lots.quoted (list)
  local order, of, parts, left = {}, {}, {}, 0
  for _, row in ipairs(list) do
    local ids = of[row.remark] or {}
    if #ids == 0 then order[#order + 1] = row.remark end
    ids[#ids + 1], of[row.remark] = row.id, ids
  end
  for i, remark in ipairs(order) do
    if i <= quoted_most then
      parts[i] = string.format('%s "%s"', table.concat(of[remark], " "),
        remark)
    else
      left = left + #of[remark]
    end
  end
  return table.concat(parts, ", ") .. (left > 0 and
    string.format(" and %d more (lot:judge(), .why)", left) or "")
end

--- Was the remark of a judged row not read?
function lots.is_unread (judged)
  return has(judged, "remark_to_read")
end

local function names_of (judged)
  local names = {}
  for i, f in ipairs(judged.findings) do names[i] = cautions.known(f.name) end
  return table.concat(names, " ")
end

-- ---- judging ----

local order = { "reject", "quarantine", "not judged", "accept" }

local judge_columns = {
  { key = "id", label = "id", kind = "text" },
  { key = "verdict", label = "verdict", kind = "text" },
  { key = "group_v", label = "V a group", kind = "number", unit = "V" },
  { key = "spread_mv", label = "apart mV", kind = "number", unit = "mV" },
  { key = "soc_pct", label = "SoC %", kind = "number", unit = "%" },
  { key = "r10s_mohm", label = "mohm 10 s", kind = "number", unit = "mohm" },
  { key = "r_times", label = "of median", kind = "number" },
  { key = "ah", label = "Ah", kind = "number", unit = "Ah" },
  { key = "self_discharge_pct_per_day", label = "% a day", kind = "number",
    unit = "%/day" },
  { key = "self_discharge_ma", kind = "number", unit = "mA", hidden = true },
  { key = "cautions", kind = "text", hidden = true },
  { key = "why", kind = "text", hidden = true } }

local function shown (v, decimals)
  if wording.missing(v) then return nil end
  return { value = v, text = wording.fixed(v, decimals) }
end

local function scaled (v, factor) return v and v * factor end

-- numbers in doubt stand in the reasons, and in no column
local function judge_row (judged, row)
  return { id = row.id, verdict = judged.verdict,
    group_v = shown(judged.group, 3),
    spread_mv = shown(scaled(judged.spread, 1000), 0),
    soc_pct = shown(scaled(judged.soc, 100), 0),
    r10s_mohm = judged.r10s and row.r10s_mohm,
    r_times = shown(judged.r_times, 2),
    ah = not row.flaw and not has(judged, "capacity_above_nameplate") and
      row.ah or nil,
    self_discharge_pct_per_day = scaled(judged.leak, 100),
    self_discharge_ma = scaled(judged.leak_current, 1000),
    cautions = names_of(judged), why = reasons(judged, row) }
end

-- columns in which something stands, and those that code reads
local function filled (columns, rows)
  local kept = {}
  for _, c in ipairs(columns) do
    local any = c.hidden or c.key == "id"
    for _, row in ipairs(rows) do any = any or row[c.key] ~= nil end
    kept[#kept + 1] = any and c or { key = c.key, kind = c.kind,
      unit = c.unit, label = c.label, hidden = true }
  end
  return kept
end

-- "12 modules: 9 accept, 1 not judged, 1 quarantine, 1 reject."
local function count_head (n, sum)
  local parts = {}
  for i = #order, 1, -1 do
    local count = sum[order[i]]
    if count > 0 then
      parts[#parts + 1] = string.format("%d %s", count, order[i])
    end
  end
  return string.format("%d module%s: %s.", n, n == 1 and "" or "s",
    table.concat(parts, ", "))
end

-- "2 accepted modules carry a remark that was not read: 4 \"..\", 7 \"..\": .."
local function unread_head (raw, rows)
  local list = {}
  for i, judged in ipairs(raw) do
    if judged.verdict == "accept" and has(judged, "remark_to_read") then
      list[#list + 1] = rows[i]
    end
  end
  return #list > 0 and string.format("%d accepted module%s a remark that " ..
    "was not read: %s: look at %s again.", #list, #list == 1 and " carries" or
    "s carry", lots.quoted(list), #list == 1 and "it" or "them") or nil
end

-- "11 reject: one group stands at 2.310 V ..", the gravest first
local function reason_heads (raw, rows)
  local heads = {}
  for _, verdict in ipairs(order) do
    for i, judged in ipairs(raw) do
      local why = reasons(judged, rows[i], verdict == "accept")
      if judged.verdict == verdict and why then
        heads[#heads + 1] = string.format("%s %s: %s%s", rows[i].id or
          "the row", verdict, why, why:find("[?.]$") and "" or ".")
      end
    end
  end
  return heads
end

-- every threshold with its value; the reason of those that spoke
local spoke = { group_below_reject = "group_reject_v",
  one_group_discharged = "group_alone_v",
  group_deeply_discharged = "group_low_v",
  group_spread_wide = "spread_wide_v", group_spread_uneven = "spread_good_v",
  group_spread_above_lot = "spread_times",
  groups_disagree_with_module = "sum_v",
  module_apart_groups_unknown = "spread_wide_v",
  resistance_above_lot = "resistance_retest_times",
  resistance_far_above_lot = "resistance_reject_times",
  resistance_not_comparable = "soc_band_pct",
  module_hot_or_fahrenheit = "temp_most_c", capacity_low = "soh_reject_pct",
  capacity_above_nameplate = "soh_most_pct", group_leaks = "leak_group_v",
  self_discharge_high = "leak_pct_per_day",
  self_discharge_above_lot = "leak_times" }

local function threshold (rule, opts)
  return opts and opts[rule.key] or rule.value, opts and
    opts[rule.key] ~= nil
end

local function rule_notes (raw, opts)
  local said, all, notes = {}, {}, {}
  for _, judged in ipairs(raw) do
    for _, f in ipairs(judged.findings) do
      if spoke[f.name] then said[spoke[f.name]] = true end
    end
  end
  for _, rule in ipairs(core.judging_rules()) do
    local value, yours = threshold(rule, opts)
    local text = rule.key .. " " .. wording.trim(value) ..
      (yours and " (yours)" or "")
    all[#all + 1] = text
    if said[rule.key] then
      notes[#notes + 1] = { "", text .. ": " ..
        (yours and "the script's own" or rule.reason) .. "." }
    end
  end
  notes[#notes + 1] = { "thresholds", table.concat(all, ", ") .. "." }
  return notes
end

local function lot_notes (sum, n, notes)
  local function add (text) notes[#notes + 1] = { "", text } end
  if sum.with_groups < n then
    add(string.format("Groups measured in %d of %d modules: where not, " ..
      "nothing is known of a single group.", sum.with_groups, n))
  end
  if sum.flat then
    add("Between the knees of the curve rest voltage tells no charge: " ..
      "resistances are compared as they stand.")
  end
  add(string.format("Capacity tested in %d of %d modules.", sum.with_charge,
    n))
  add("Accept means that nothing measured speaks against it. Flood, crash " ..
    "and what a meter does not see are not judged; nothing here makes a " ..
    "module fit for use. Rejected and quarantined ones: outdoors, at low " ..
    "charge, away from buildings.")
  return notes
end

--- lot:judge{ resistance_retest_times = 1.3, .. } --> a row for each module:
-- .id .verdict .why .cautions
local function judge (lot, opts)
  local raw, sum = core.lot_judge(lot, opts)
  local rows, cells = core.lot_rows(lot), {}
  for i, judged in ipairs(raw) do cells[i] = judge_row(judged, rows[i]) end
  local heads = { count_head(#rows, sum), unread_head(raw, rows) }
  table.move(reason_heads(raw, rows), 1, #rows, #heads + 1, heads)
  local rules = core.judging_rules()
  for _, rule in ipairs(rules) do
    rule.value, rule.yours = threshold(rule, opts)
  end
  return core.table_new{ columns = filled(judge_columns, cells), rows = cells,
    heads = heads, notes = lot_notes(sum, #rows, rule_notes(raw, opts)),
    facts = { accept = sum.accept, reject = sum.reject,
      quarantine = sum.quarantine, not_judged = sum["not judged"],
      rules = rules, median_r10s_mohm = scaled(sum.r10s, 1000),
      median_soc_pct = scaled(sum.soc, 100) } }
end

-- of a lot of accepted ones: those that were left out of it, {id, verdict}
local left_out = setmetatable({}, { __mode = "k" })

--- Who was left out when this lot was made by lot:accepted(); or an empty list
function lots.left_out (lot)
  return left_out[lot] or {}
end

--- lot:accepted() --> the lot of those that judge accepts
local function accepted (lot, opts)
  local keep, out, rows = {}, {}, core.lot_rows(lot)
  for i, judged in ipairs((core.lot_judge(lot, opts))) do
    if judged.verdict == "accept" then
      keep[#keep + 1] = i
    else
      out[#out + 1] = { id = rows[i].id, verdict = judged.verdict }
    end
  end
  if #keep == 0 then
    core.fail("script", "accepted: no module is; print(lot:judge()) says why")
  end
  local made = core.lot_accept(lot, keep)
  left_out[made] = out
  return made
end

-- ---- few tests, many modules ----

local mean_columns = {
  { key = "what", label = "mean of the lot", kind = "text" },
  { key = "mean", label = "mean", kind = "number" },
  { key = "low", label = "95 % from", kind = "number" },
  { key = "high", label = "95 % to", kind = "number" },
  { key = "sd", label = "between modules (sd)", kind = "number" },
  { key = "n", label = "tested", kind = "count" },
  { key = "of", label = "of", kind = "count" },
  { key = "half_width", kind = "number", hidden = true } }

-- the band that makes few tests too few: common practice, no source
local wide = 0.10

local function mean_head (m, key)
  local unit = m.unit
  local said = string.format("%d of %d tested: mean %s %s", m.n, m.of,
    wording.short(m.mean), unit)
  if not m.half_width then
    return said .. ". One test says nothing of the spread: not enough."
  end
  return string.format("%s; for the lot's mean anything between %s and %s " ..
    "%s (95 %%)%s.", said, wording.short(m.mean - m.half_width),
    wording.short(m.mean + m.half_width), unit,
    key == "ah" and m.half_width > wide * math.abs(m.mean) and
    ": not enough, test more" or "")
end

-- capacities that were tested more than 10 K apart: common practice
local function unlike_note (lot, key)
  local low, high
  for _, row in ipairs(core.lot_rows(lot)) do
    if key == "ah" and row.ah and row.temp_c then
      low = math.min(low or row.temp_c, row.temp_c)
      high = math.max(high or row.temp_c, row.temp_c)
    end
  end
  return low and high - low > 10 and cautions.line("tests_not_alike",
    string.format("tested between %s and %s C, which capacity follows.",
      wording.trim(low), wording.trim(high))) or nil
end

-- the head says so
local function few (m, key)
  return m and key == "ah" and (not m.half_width or
    m.half_width > wide * math.abs(m.mean))
end

--- lot:mean("ah") --> one row: .mean .sd .half_width .low .high .n .of
local function mean (lot, key)
  if key ~= nil and type(key) ~= "string" then
    core.fail("script", "mean: the key of a reading is wanted, \"ah\"")
  end
  local m, why = core.lot_mean(lot, key or "ah")
  local cells, head = { what = key or "ah" }
  if m then
    head = mean_head(m, cells.what)
    m.low = m.half_width and m.mean - m.half_width
    m.high = m.half_width and m.mean + m.half_width
    for _, c in ipairs(mean_columns) do
      local one = "one test says nothing of the spread"
      cells[c.key] = cells[c.key] or m[c.key] or { why = one }
    end
  else
    head = "No mean: " .. why .. "."
    for _, c in ipairs(mean_columns) do
      cells[c.key] = cells[c.key] or { why = why }
    end
  end
  local lines = { unlike_note(lot, cells.what) }
  lines[#lines + 1] = { "", "Student's t, factor for a finite lot; modules " ..
    "picked by a seller are not a random sample." }
  return core.table_new{ columns = mean_columns, rows = { cells },
    across = true, heads = { head }, corner = m and m.unit or "",
    facts = { unit = m and m.unit, cautions = cautions.ids(lines,
      few(m, cells.what) and { "few_tests" }) }, notes = lines }
end

-- ---- hours on the bench ----

local bench_keys = { "current_a", "channels", "passes", "rest_h", "ah" }

local function bench_number (opts, key, otherwise)
  local v = opts[key]
  if v == nil then v = otherwise end
  if type(v) ~= "number" or v == math.huge or
     not (v > 0 or key == "rest_h" and v == 0) then
    core.fail("script", "bench_time: " .. key .. " must be a number above 0")
  end
  return v
end

--- lot:bench_time{ current_a, channels, passes, rest_h } --> .hours
local function bench_time (lot, opts)
  opts = opts or {}
  tables.check_keys("bench_time", opts, bench_keys)
  local current = bench_number(opts, "current_a")
  local channels = bench_number(opts, "channels", 1)
  local passes = bench_number(opts, "passes", 1)
  local rest = bench_number(opts, "rest_h", 0)
  local raw = core.bench_hours(lot, current, channels, rest, opts.ah)
  return core.table_new{ across = true, columns = {
    { key = "what", label = "on the bench", kind = "text" },
    { key = "hours", label = "hours", kind = "number", unit = "h" },
    { key = "modules", label = "modules", kind = "count" },
    { key = "rounds", label = "rounds", kind = "count" },
    { key = "ah", label = "Ah each", kind = "number", unit = "Ah" } },
    rows = { { what = "in all", hours = raw.hours * passes,
      modules = raw.modules, rounds = raw.rounds * passes,
      ah = { value = raw.ah, basis = raw.basis } } },
    heads = { string.format("About %s hours for %d modules, %s at a time, " ..
      "%s pass%s.", wording.short(raw.hours * passes), raw.modules,
      wording.trim(channels), wording.trim(passes),
      passes == 1 and "" or "es") } }
end

-- ---- capacity from a logged discharge ----

local capacity_columns = {
  { key = "what", label = "discharge", kind = "text" },
  { key = "ah", label = "Ah", kind = "number", unit = "Ah" },
  { key = "kwh", label = "kWh", kind = "number", unit = "kWh" },
  { key = "hours", label = "hours", kind = "number", unit = "h" },
  { key = "current_a", label = "mean current A", kind = "number",
    unit = "A" },
  { key = "first", label = "group that ended it", kind = "count" },
  { key = "bound", kind = "text", hidden = true } }

local function capacity_number (opts, key, most)
  local v = opts[key]
  if type(v) ~= "number" or not (v > 0 and v <= most) then
    core.fail("script", string.format("capacity: %s must lie above 0 and up " ..
      "to %s (got %s)", key, tostring(most), tostring(v)))
  end
  return v
end

local function capacity_row (raw, why, several, groups)
  if not raw then
    local row = { what = "not ended" }
    for _, c in ipairs(capacity_columns) do
      row[c.key] = row[c.key] or { why = why }
    end
    return row
  end
  local none = { why = "one voltage was logged" }
  return { what = "until the limit", ah = raw.ah, hours = raw.hours,
    current_a = raw.ah / raw.hours, first = several and raw.first or none,
    kwh = (several or groups > 1) and raw.kwh or
      { why = "the voltage of one group alone was logged" },
    bound = groups > 1 }
end

local function capacity_head (raw, why, several, groups, v_end)
  if not raw then return "No capacity: " .. why .. "." end
  local at = wording.trim(v_end) .. " V a group"
  if groups > 1 then
    return string.format("At most %s Ah: the module's voltage stood for " ..
      "%d groups at %s on average, and its first group was there before.",
      wording.short(raw.ah), groups, at)
  end
  return string.format("%s Ah until %s reached %s.", wording.short(raw.ah),
    several and "group " .. raw.first or "the logged group", at)
end

-- logs of the groups of one discharge have one current: 5 % apart at most
local alike = 0.05

local function unlike_logs (logs)
  local low, high
  for _, log in ipairs(logs) do
    local f = core.log_facts(log)
    local a = f.out_ah and f.hours > 0 and f.out_ah / f.hours
    low, high = a and math.min(low or a, a) or low,
      a and math.max(high or a, a) or high
  end
  return low and high > low * (1 + alike) and cautions.line("tests_not_alike",
    string.format("mean currents of %s to %s A: not the groups of one " ..
      "discharge.", wording.short(low), wording.short(high))) or nil
end

--- amp.readings.capacity(log or {logs}, { v_end, groups }) --> one row, .ah:
-- one log a group, ended by the first at v_end; or one log of the module
-- with its number of groups, which is only a bound
function lots.capacity (logs, opts)
  opts = opts or {}
  tables.check_keys("capacity", opts, { "v_end", "groups" })
  local v_end = capacity_number(opts, "v_end", 10)
  local groups = opts.groups and capacity_number(opts, "groups", 500) or 1
  if type(logs) ~= "table" then logs = { logs } end
  local several = #logs > 1
  if several and groups > 1 then
    core.fail("script", "capacity: groups goes with one log of the module")
  end
  local raw, why = core.discharge(logs, v_end * groups)
  local lines = { unlike_logs(logs) }
  lines[#lines + 1] = { "", "Capacity depends on current, temperature and " ..
    "limits: compare tests that agree in all three." }
  return core.table_new{ across = true, columns = capacity_columns,
    rows = { capacity_row(raw, why, several, groups) },
    heads = { capacity_head(raw, why, several, groups, v_end) },
    facts = { cautions = cautions.ids(lines) }, notes = lines }
end

-- ---- printing, and copies ----

local print_columns = {
  { key = "id", label = "id", kind = "text" },
  { key = "ocv_v", label = "V", kind = "number", unit = "V" },
  { key = "group_min_v", label = "least", kind = "number", unit = "V" },
  { key = "group_max_v", label = "most", kind = "number", unit = "V" },
  { key = "r10s_mohm", label = "mohm", kind = "number", unit = "mohm" },
  { key = "ah", label = "Ah", kind = "number", unit = "Ah" },
  { key = "temp_c", label = "C", kind = "number", unit = "C" },
  { key = "date", label = "date", kind = "text" },
  { key = "remark", label = "remark", kind = "text" } }

--- lot:rows() --> the readings as a table, gaps as gaps
local function rows_table (lot)
  local rows, notes, cells = core.lot_rows(lot), {}, {}
  for i, row in ipairs(rows) do
    local cell = {}
    for _, c in ipairs(print_columns) do cell[c.key] = row[c.key] end
    cell.ocv_v = shown(row.ocv_v, 2)
    cell.group_min_v = shown(row.group_min_v, 3)
    cell.group_max_v = shown(row.group_max_v, 3)
    cells[i] = cell
    if row.flaw then
      notes[#notes + 1] = { row.id, string.format("line %d%s: %s%s", row.line,
        row.flaw:find("makes no sense", 1, true) and "" or " makes no sense",
        row.flaw, row.flaw:find("[?.]$") and "" or ".") }
    end
  end
  local keys = core.keys(lot)
  return core.table_new{ columns = filled(print_columns, cells), rows = cells,
    heads = { string.format("%d module%s as read%s.", #rows,
      #rows == 1 and "" or "s", keys.module and
      " (" .. core.name(keys.module) .. ")" or "") }, notes = notes }
end

local lot = core.methods("lot")
lot.judge, lot.accepted, lot.mean = judge, accepted, mean
lot.bench_time, lot.rows, lot.with = bench_time, rows_table, core.lot_with
core.print_by("lot", function (self) return tostring(rows_table(self)) end)

return lots
