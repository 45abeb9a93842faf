--- A duty run on a pack: where the energy goes, month by month, and when it
-- was missing.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local notes = loader("notes")
local cautions = loader("cautions")
local raised = loader("raised")
local parts = loader("parts")

local run = {}

local function agreement () return loader("agreement") end

local rows_most = 200000 -- of a trace; more are worth an 'every'
local points_most = 1500 -- of a chart; more can't be told apart

local month_days = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 }

-- key, label, unit, kind; in the order in which energy is asked for and lost
local columns = {
  { "month", "month", "", "text" },
  { "served_kwh", "load met kWh", "kWh", "number" },
  { "unserved_kwh", "un- served kWh", "kWh", "number" },
  { "unserved_h", "un- served h", "h", "number" },
  { "curtailed_kwh", "cur- tailed kWh", "kWh", "number" },
  { "out_kwh", "out kWh", "kWh", "number" },
  { "in_kwh", "in kWh", "kWh", "number" },
  { "loss_kwh", "loss kWh", "kWh", "number" },
  { "soc_low_pct", "SoC low %", "%", "number" },
  { "soc_mean_pct", "SoC mean %", "%", "number" } }

-- read by code besides, of the whole run
local fields = { "dc_served_kwh", "dc_unserved_kwh", "first_unserved_h",
  "last_unserved_h", "first_curtailed_h", "first_empty_h", "voltage_min_v",
  "voltage_min_h", "soc_min_pct", "soc_max_pct",
  "soc_start_pct", "soc_end_pct", "temp_min_c", "temp_max_c",
  "current_max_a", "current_min_a", "efc", "balance_kwh", "stored_kwh",
  "level", "asked_kwh", "supply_kwh", "conversion_kwh", "days", "steps",
  "step_s",
  "basis", "share_error_pct", "first_opened_h", "bled_kwh", "heater_kwh",
  "reversible_kwh", "cold_h", "cold_unserved_kwh", "cold_curtailed_kwh",
  "first_cold_h", "last_cold_h", "cold_charge_h", "cautions" }

-- ---- time ----

-- months of the run in order, and the day of the month on which it begins;
-- nil where it lies within one month, whose day isn't known
local function calendar (raw)
  local list, first = {}, nil
  for m = 1, 12 do
    if raw[m] then list[#list + 1] = m end
  end
  if #list > 1 then
    first = month_days[list[1]] - raw[list[1]].month_h / 24 + 1
  end
  return list, first
end

local function clock (minutes)
  return string.format("%02d:%02d", minutes // 60, minutes % 60)
end

-- "17 October 04:20"; at the end of a stretch midnight is 24:00
local function date (raw, h, ends)
  local list, first = calendar(raw)
  local minutes = math.floor(h * 60 + 1e-6)
  local whole = (ends and minutes > 0 and minutes - 1 or minutes) // 1440
  local time = clock(minutes - whole * 1440)
  if not first then return string.format("day %d %s", whole + 1, time) end
  local month, day, begins = list[1], 0, 0
  for _, m in ipairs(list) do
    if whole * 24 >= begins then month = m end
    if month == m then
      day = whole - begins / 24 + (m == list[1] and first or 1)
    end
    begins = raw[m].month_h
  end
  return string.format("%d %s %s", math.floor(day + 0.5),
    wording.month(month), time)
end

-- ---- sentences ----

local function share (part, whole)
  local pct = part / whole * 100
  return pct < 0.01 and "under 0.01 %" or wording.short(pct) .. " %"
end

local function unserved_head (raw)
  local all = wording.short(raw.asked_kwh)
  if raw.asked_kwh == 0 then return "The duty asks for no energy." end
  if not raw.first_unserved_h then
    return string.format("All of the %s kWh asked for is served.", all)
  end
  return string.format("%s kWh unserved in %s h, %s of the %s kWh asked " ..
    "for: first on %s, last until %s.", wording.short(raw.total.unserved_kwh),
    wording.short(raw.total.unserved_h),
    share(raw.total.unserved_kwh, raw.asked_kwh), all,
    date(raw, raw.first_unserved_h),
    date(raw, raw.last_unserved_h, true))
end

-- "4778 (35.3 %) curtailed, first on 2 January 15:27"
local function curtailed (raw)
  if not raw.first_curtailed_h then return "nothing was curtailed" end
  return string.format("%s (%s) curtailed, first on %s",
    wording.short(raw.total.curtailed_kwh),
    share(raw.total.curtailed_kwh, raw.supply_kwh),
    date(raw, raw.first_curtailed_h))
end

-- where what was supplied went
local function supply_head (raw)
  local t, way = raw.total, ""
  if not raw.supply_kwh then
    return "Supply is as large as needed: what it has left isn't counted."
  elseif raw.supply_kwh == 0 then
    return "Nothing supplies this battery."
  end
  if raw.conversion_kwh > 1e-6 then
    way = wording.short(raw.conversion_kwh) .. " went in inverter and " ..
      "charging, "
  end
  return string.format("Of %s kWh supplied %s met load, %s%s in heat of " ..
    "the cells; %s.", wording.short(raw.supply_kwh),
    wording.short(t.served_kwh), way, wording.short(t.loss_kwh),
    curtailed(raw))
end

-- a test asks current at the terminals, no energy
local function test_head (raw)
  local t = raw.total
  local text = string.format("A test at the terminals over %s h; SoC from " ..
    "%s to %s %%.", wording.short(t.hours), wording.short(raw.soc_start_pct),
    wording.short(raw.soc_end_pct))
  if t.unserved_kwh + t.dc_unserved_kwh < 1e-9 then return text end
  return text .. string.format(" A limit held the current down for %s h.",
    wording.short(t.unserved_h))
end

-- balance: in - out - heat - change of what is stored, 0 but for rounding
local function battery_head (raw)
  local t, off = raw.total, math.abs(raw.balance_kwh)
  return string.format("Into the battery %s kWh, out of it %s: %s full " ..
    "cycles. Energy balance %s kWh.", wording.short(t.in_kwh),
    wording.short(t.out_kwh), wording.short(raw.efc), off < 1e-6 and
    "closed to 0.000001" or "open by " .. wording.trim(off))
end

-- ---- the table ----

local function cells (sums, name, raw)
  local row = { month = name }
  for i = 2, #columns do
    local key = columns[i][1]
    local v = sums[key]
    if v and math.abs(v) < 1e-9 then v = 0 end
    row[key] = v and { value = v, basis = raw.basis,
      text = v ~= 0 and v < 0.1 and wording.fixed(v, 2) or nil }
  end
  return row
end

local function month_rows (raw)
  local rows, idle = {}, {}
  for m = 1, 12 do
    local sums = raw[m]
    if sums and (sums.asked_kwh > 0 or raw.asked_kwh == 0) then
      rows[#rows + 1] = cells(sums, wording.month(m), raw)
    elseif sums then
      idle[#idle + 1] = wording.month(m)
    end
  end
  rows[#rows + 1] = cells(raw.total, "total", raw)
  return rows, idle
end

local function make_columns (raw)
  local list = {}
  for i, c in ipairs(columns) do
    list[i] = { key = c[1], label = c[2], unit = c[3], kind = c[4],
      hidden = c[1] == "curtailed_kwh" and not raw.supply_kwh }
  end
  return list
end

-- a run has no fade and draws nothing
local not_here = { life_model = true, calendar_pct_per_year = true,
  cycle_pct_per_efc = true }

local level_words = {
  detailed = "the detailed one of the module's fitted cell, with its own heat.",
  mixed = "simple: not every module's cell has a detailed one.",
  heat = "simple: detailed cells keep their own heat and go with no heater, " ..
    "coolant, entropic heat or unequal groups." }

local function own_lines (raw, idle, inverter)
  local lines = {}
  local function say (label, ...)
    lines[#lines + 1] = { label, string.format(...) }
  end
  say("SoC", "%s to %s %% may be used; it moved between %s and %s %%.",
    wording.trim(raw.window_min_pct), wording.trim(raw.window_max_pct),
    wording.trim(raw.soc_min_pct), wording.trim(raw.soc_max_pct))
  if raw.level then say("level", "%s", level_words[raw.level]) end
  if not inverter and not raw.test then
    say("no inverter", "AC load is drawn from the battery without loss or " ..
      "limit.")
  end
  if raw.total.dc_served_kwh + raw.total.dc_unserved_kwh > 0 and
     not raw.test then
    say("DC load", "%s kWh met and %s unserved are in the sums.",
      wording.short(raw.total.dc_served_kwh),
      wording.short(raw.total.dc_unserved_kwh))
  end
  if #idle > 0 then
    say("no load", "in %s: in the total, without a row.",
      wording.list(idle))
  end
  parts.lines(raw, date, say)
  return lines
end

-- "charge 0 to 45 C; outside none flows": the reader's own points
local function limits_words (limits)
  local ways = {}
  for _, way in ipairs{ "charge", "discharge" } do
    local points = limits[way]
    if points then
      ways[#ways + 1] = string.format("%s from %s to %s C", way,
        wording.trim(points[1][1]), wording.trim(points[#points][1]))
    end
  end
  return table.concat(ways, ", ") .. " (first and last point); outside " ..
    "these none flows."
end

-- cautions of what went in and of what came out; the latter are told in the
-- sentences above the table
local function raise (self)
  local c, raw = cautions.collector(), self.raw
  raised.run(c, raw)
  raised.pack(c, self.pack, "")
  raised.duty(c, self.duty, self.inverter)
  raw.cautions = c:ids()
  return c:lines()
end

local function note_lines (self, idle)
  local n = notes.new()
  for _, object in ipairs{ self.pack, self.duty } do
    notes.look(n, object, "", not_here)
  end
  if self.inverter then notes.look(n, self.inverter, "", not_here) end
  local lines = own_lines(self.raw, idle, self.inverter)
  local limits = core.keys(self.pack).current_limits
  if type(limits) == "table" then
    lines[#lines + 1] = { "current_limits", limits_words(limits) }
  end
  for _, line in ipairs(notes.lines(n, self.raised, 1, true)) do
    if line[1] ~= "no spread given" then lines[#lines + 1] = line end
  end
  local alike = self.raw.even and ", all modules alike" or ""
  return notes.close(lines, {}, "Middle values, no spread; the pack as it " ..
    "is now" .. alike .. "; " .. (self.settled and
    "it starts as it ends." or "it starts full."),
    type(limits) == "string" or limits and limits.charge)
end

-- "charge 50 A to 56.7 V", "rest"
local function phase_name (given)
  local text = "rest"
  for _, way in ipairs{ "charge", "discharge" } do
    for _, unit in ipairs{ "A", "W" } do
      local v = given[way .. "_" .. unit:lower()]
      if v then text = way .. " " .. wording.trim(v) .. " " .. unit end
    end
  end
  if given.until_v then
    text = text .. " to " .. wording.trim(given.until_v) .. " V"
  end
  if given.until_soc_pct then
    text = text .. " to " .. wording.trim(given.until_soc_pct) .. " %"
  end
  return text
end

local phase_columns = { { "hours", "took h", "h" },
  { "out_ah", "out Ah", "Ah" }, { "in_ah", "in Ah", "Ah" },
  { "out_kwh", "out kWh", "kWh" }, { "in_kwh", "in kWh", "kWh" },
  { "soc_end_pct", "SoC then %", "%" }, { "ended_h", "ended at h", "h", true },
  { "voltage_end_v", "then V", "V", true },
  { "temp_max_c", "warmest C", "C", true } }

-- a row for each phase, under the heads and over the notes of the months
local function phase_table (self)
  local list, rows = {}, {}
  local given = core.keys(self.duty).steps
  list[1] = { key = "phase", label = "phase", kind = "text" }
  for _, c in ipairs(phase_columns) do
    list[#list + 1] = { key = c[1], label = c[2], unit = c[3],
      kind = "number", hidden = c[4] }
  end
  for i, sums in ipairs(self.raw.phases) do
    local row = { phase = wording.trim(i) .. " " ..
      phase_name(given[(i - 1) % #given + 1]) }
    for _, c in ipairs(phase_columns) do
      local v = sums[c[1]]
      row[c[1]] = { value = v, basis = self.raw.basis,
        text = v ~= 0 and math.abs(v) < 0.1 and wording.fixed(v, 3) or nil }
    end
    rows[i] = row
  end
  return core.table_new{ columns = list, rows = rows,
    heads = parts.heads(self.raw, date,
      { test_head(self.raw), battery_head(self.raw) }),
    notes = note_lines(self, {}) }
end

local function month_table (self)
  local rows, idle = month_rows(self.raw)
  local raw = self.raw
  return core.table_new{ columns = make_columns(raw), rows = rows,
    heads = parts.heads(raw, date, raw.test and
      { test_head(raw), battery_head(raw) } or
      { unserved_head(raw), supply_head(raw), battery_head(raw) }),
    notes = note_lines(self, idle) }
end

-- ---- the trace ----

local trace_columns = { "time_h", "soc_pct", "current_a", "voltage_v",
  "temp_c", "power_w", "unserved_w", "curtailed_w", "voltage_end_v" }

-- "10 min", "4 h"
local function duration (s)
  return s < 7200 and wording.trim(s / 60) .. " min" or
    wording.trim(s / 3600) .. " h"
end

local function check_every (who, every, steps)
  if every == nil then every = 1 end
  if type(every) ~= "number" or not (every >= 1 and every < 1e9) or
     every ~= math.floor(every) then
    core.fail("script", who .. ": every must be a whole number of steps " ..
      "from 1 (got " .. tostring(every) .. ")")
  end
  local rows = math.ceil(steps / every)
  if rows > rows_most then
    core.fail("script", string.format("%s: %d rows are more than %d: give " ..
      "every = %d or more", who, rows, rows_most,
      math.ceil(steps / rows_most)))
  end
  return every
end

local function trace (self, who, opts)
  if opts ~= nil and type(opts) ~= "table" then
    core.fail("script", who .. ": options are a table of named keys")
  end
  tables.check_keys(who, opts or {}, { "every" })
  local raw = self.raw
  local every = check_every(who, opts and opts.every, raw.steps)
  local list = {}
  for _, key in ipairs(trace_columns) do
    if key ~= "curtailed_w" or raw.supply_kwh then
      list[#list + 1] = { key = key, label = key, kind = "number" }
    end
  end
  for _, p in ipairs(raw.strings or {}) do
    local key = p.string and "string_" .. wording.trim(p.string) .. "_a"
    if key then
      list[#list + 1] = { key = key, label = key, kind = "number" }
    end
  end
  return core.table_new{ columns = list,
    rows = core.trace_raw(self.pack, self.duty, self.inverter,
      self.settled, every),
    heads = { string.format("A row is %s long and stands at its end, with " ..
      "the SoC and temperature there; the others are means.",
      duration(raw.step_s * every)) },
    notes = { { "", notes.rerun{} } } }
end

-- ---- the object ----

local methods, objects = {}, setmetatable({}, { __mode = "k" })

local function own (self, who)
  return tables.held(objects, self, "run", who)
end

--- run:trace{ every = 1 } --> table, a row for each step or 'every' of them
function methods.trace (self, opts)
  return trace(own(self, "trace"), "trace", opts)
end

-- what stands beside a log, made when it is first asked for
local function beside (held)
  if held.beside then return held.beside end
  local handle, groups = core.trace_handle(held.pack, held.duty,
    held.inverter, held.settled)
  local keys = core.keys(held.pack)
  held.beside = { handle = handle, groups = groups, rows = held.raw.steps,
    what = keys.name and 'pack "' .. tostring(keys.name) .. '"' or "pack",
    notes = function ()
      return { { "start", wording.short(held.raw.soc_start_pct) .. " % SoC" } }
    end }
  return held.beside
end

--- run:against(log, "voltage_v", { soc_above_pct = 20, cut_off_v }) --> table
-- of one row: how far the terminals stand from a log of them
function methods.against (self, log, column, opts)
  return agreement().compare(beside(own(self, "against")), log, column, opts)
end

--- run:plot{ "soc_pct", every = n } --> chart of one column against time;
-- { "voltage_v", against = log }: beside what was measured
function methods.plot (self, opts)
  local held = own(self, "plot")
  if type(opts) ~= "table" then opts = { opts } end
  tables.check_keys("plot", opts, { 1, "every", "against" })
  if opts.against ~= nil then
    return agreement().beside(beside(held), opts[1], opts.against, opts.every)
  end
  local raw, key = held.raw, opts[1] or "soc_pct"
  local every = opts.every or math.ceil(raw.steps / points_most)
  return trace(held, "plot", { every = every }):plot{ x = "time_h", y = key,
    title = string.format("%s, a point every %s from the start", key,
      duration(raw.step_s * every)) }
end

-- what a table does, a run does with its months, a test with its phases
local function shown (held)
  return held.phases or held.months
end

local forms = { "text", "markdown", "bbcode", "csv", "json", "html", "post" }
for _, name in ipairs(forms) do
  methods[name] = function (self, opts)
    local t = shown(own(self, name))
    return t[name](t, opts)
  end
end

--- run:write("year.html"): the months in the form its ending asks for
function methods.write (self, path)
  shown(own(self, "write")):write(path)
  return self
end

local known = { "months", "phases", "strings", "groups" }
for i = 2, #columns do known[#known + 1] = columns[i][1] end
for _, key in ipairs(fields) do known[#known + 1] = key end
for _, key in ipairs{ "trace", "plot", "against", "text", "markdown", "bbcode", "csv",
  "json", "html", "write" } do known[#known + 1] = key end
local is_known = {}
for _, key in ipairs(known) do is_known[key] = true end

local meta = { __name = "ampstead.run", __metatable = "ampstead.run" }

function meta.__index (self, key)
  local held = objects[self]
  if methods[key] then return methods[key] end
  if key == "months" or key == "phases" then return held[key] end
  if key == "strings" or key == "groups" then return parts[key](held.raw) end
  if is_known[key] then
    local v = held.raw[key]
    if v == nil then v = held.raw.total[key] end
    return v
  end
  core.fail("script", wording.has_no("a run", key, known))
end

function meta.__newindex ()
  core.fail("script", "a run never changes")
end

function meta.__tostring (self)
  return tostring(shown(objects[self]))
end

-- What was supplied and is not found elsewhere: the inverter's loss and idle
-- draw, and what charging loses besides heat in the cells. A supply as large
-- as needed has no end, so that nothing of it is lost or curtailed.
local function conversion (raw)
  local t = raw.total
  if raw.test then return end -- it asks for current, or ends by a limit
  if raw.supply_kwh then
    raw.conversion_kwh = raw.supply_kwh - t.curtailed_kwh - t.served_kwh -
      t.loss_kwh - raw.stored_kwh - raw.bled_kwh - raw.heater_pack_kwh
    return
  end
  raw.first_curtailed_h, t.curtailed_kwh = nil, nil
  for m = 1, 12 do
    if raw[m] then raw[m].curtailed_kwh = nil end
  end
end

local function check_options (opts)
  if opts == nil then return {} end
  if type(opts) ~= "table" then
    core.fail("script", "simulate: options are a table of named keys, " ..
      "{ inverter = .. }")
  end
  tables.check_keys("simulate", opts, { "inverter", "start" })
  local start = opts.start
  if start ~= nil and start ~= "full" and start ~= "settled" then
    core.fail("script", 'simulate: start must be "full" or "settled" (got ' ..
      tostring(start) .. ")")
  end
  return opts
end

-- the same without a heater that the pack feeds: what it saves is told
local function unheated (self)
  local raw = self.raw
  if (raw.heater_pack_kwh or 0) <= 0 then return end
  local cold = core.simulate_raw(self.pack:with{ heater_w = 0 }, self.duty,
    self.inverter, self.settled)
  raw.unheated_kwh = cold.total.unserved_kwh + cold.total.dc_unserved_kwh
end

--- pack:simulate(duty, { inverter = inv, start = "full" }) --> run. A whole
-- year starts as it ends ("settled"), a shorter duty full.
function run.simulate (pack, duty, opts)
  if core.kind(pack) ~= "pack" then
    core.fail("script", "simulate: call it with a colon, pack:simulate()")
  end
  opts = check_options(opts)
  local held = { pack = pack, duty = duty, inverter = opts.inverter,
    settled = opts.start ~= "full" }
  held.raw = core.simulate_raw(pack, duty, held.inverter, held.settled)
  if held.settled and not opts.start and held.raw.days < 365 then
    held.settled = false
    held.raw = core.simulate_raw(pack, duty, held.inverter, false)
  end
  unheated(held)
  local given = core.keys(duty)
  held.raw.test = given.steps or (given.log and held.raw.asked_kwh == 0)
  conversion(held.raw)
  held.raised = raise(held)
  held.months = month_table(held)
  held.phases = held.raw.phases and phase_table(held)
  local self = setmetatable({}, meta)
  objects[self] = held
  return self
end

core.methods("pack").simulate = run.simulate

return run
