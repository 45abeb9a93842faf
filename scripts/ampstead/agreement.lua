--- One cell led along what a log drew, and how far it stands from what was
-- measured.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local notes = loader("notes")
local wrap, fold = wording.wrap, wording.fold

local agreement = {}

local short = wording.short
local rows_most = 200000 -- of a trace; more are worth an 'every'
local near_cut_off = 0.25 -- V above the maker's lowest: the log ran it empty

-- "+3.10", "-12.0"
local function signed (v)
  return (v > 0 and "+" or "") .. short(v)
end

-- "1.17 h", "40 min", "14 s"
local function duration (h)
  if h < 1 / 30 then return wording.trim(h * 3600, 3) .. " s" end
  return h < 2 and wording.trim(h * 60, 3) .. " min" or
    wording.trim(h, 3) .. " h"
end

local function check_opts (who, opts, known)
  if opts == nil then return {} end
  if type(opts) ~= "table" then
    core.fail("script", who .. ": options are a table of named keys")
  end
  tables.check_keys(who, opts, known)
  return opts
end

local function check_number (who, opts, key, lo, hi, unit)
  local v = opts[key]
  if v == nil then return nil end
  if type(v) ~= "number" or not (v >= lo and v <= hi) then
    core.fail("script", string.format("%s: %s must lie in %s .. %s %s " ..
      "(got %s)", who, key, wording.trim(lo), wording.trim(hi), unit,
      type(v) == "number" and wording.trim(v) or type(v)))
  end
  return v
end

local function check_log (who, log)
  if core.kind(log) ~= "log" then
    core.fail("script", who .. ": a log is wanted, as amp.log.csv() gives (" ..
      "got " .. (core.kind(log) or type(log)) .. ")")
  end
end

-- ---- how far from the measured ----

local columns_of = { voltage_v = { column = "voltage_v", words = "voltage",
    unit = "mV", key = "mv" },
  temp_c = { column = "temp_c", words = "temperature", unit = "C",
    key = "c" } }
local compared = { "voltage_v", "temp_c" }

local function check_column (who, name)
  if name == nil then name = "voltage_v" end
  local c = columns_of[name]
  if c then return c end
  local meant = wording.meant(name, compared)
  core.fail("script", string.format("%s: '%s' is not compared%s", who,
    tostring(name), meant ~= "" and meant or ": voltage_v or temp_c"))
end

-- "above 20 % SoC", "from 20 to 90 % SoC", or nil: the whole log
local function window_words (above, below)
  if above and below then
    return string.format("from %s to %s %% SoC", wording.trim(above),
      wording.trim(below))
  elseif above then
    return "above " .. wording.trim(above) .. " % SoC"
  elseif below then
    return "below " .. wording.trim(below) .. " % SoC"
  end
end

local function at (a)
  return string.format("%s at %s (%s %% SoC)", signed(a.worst),
    duration(a.worst_h), short(a.worst_soc_pct))
end

local function sentence (what, a, unit)
  if a.rows == 0 then return what .. ": no row to compare." end
  return string.format("%s: RMSE %s %s, mean %s, worst %s, %d rows.", what,
    short(a.rmse), unit, signed(a.mean), at(a), a.rows)
end

-- When both fall to the cut-off. A log of means may never show it: where it
-- came near, it counts as reached when the log stopped drawing.
local function cut_off (raw, v, groups)
  local measured = raw.level_measured_h
  local stopped = v and not measured and raw.drawn_h and
    raw.lowest_measured_v <= v + near_cut_off * groups
  if stopped then measured = raw.drawn_h end
  if not measured then return nil end
  return { v = v, h = raw.level_h, measured_h = measured, stopped = stopped,
    lowest = raw.lowest_v, lowest_measured = raw.lowest_measured_v,
    pct = raw.level_h and measured > 0 and
      (raw.level_h / measured - 1) * 100 or nil }
end

local function cut_off_words (c)
  local text = string.format("Cut-off %s V: measured after %s%s, simulated ",
    wording.trim(c.v), duration(c.measured_h), c.stopped and
    " (it stops drawing; " .. short(c.lowest_measured) .. " V lowest)" or "")
  if not c.h then
    return text .. "not in this log (" .. short(c.lowest) .. " V lowest)."
  end
  return text .. "after " .. duration(c.h) .. (c.pct and " (" ..
    (c.pct > 0 and "+" or "") .. wording.fixed(c.pct, 1) .. " %)." or ".")
end

local function against_columns (c)
  local list = { { key = "window", label = "compared", kind = "text" },
    { key = "rows", label = "rows", kind = "count" } }
  for _, key in ipairs{ "rmse", "mean", "worst" } do
    list[#list + 1] = { key = key .. "_" .. c.key, unit = c.unit,
      label = (key == "rmse" and "RMSE" or key) .. " " .. c.unit,
      kind = "number" }
  end
  list[#list + 1] = { key = "worst_h", label = "worst at h", kind = "number",
    unit = "h" }
  list[#list + 1] = { key = "worst_soc_pct", label = "at SoC %",
    kind = "number", unit = "%" }
  for _, key in ipairs{ "whole_rows", "whole_rmse_" .. c.key,
    "whole_mean_" .. c.key, "whole_worst_" .. c.key, "cut_off_v",
    "cut_off_h", "cut_off_measured_h", "cut_off_pct" } do
    list[#list + 1] = { key = key, label = key, kind = "number",
      hidden = true }
  end
  return list
end

local function against_row (c, raw, words, cut)
  local part, whole = raw.part, raw.whole
  local row = { window = words or "whole log", rows = part.rows,
    worst_h = part.worst_h, worst_soc_pct = part.worst_soc_pct,
    whole_rows = whole.rows }
  for _, key in ipairs{ "rmse", "mean", "worst" } do
    row[key .. "_" .. c.key] = part[key]
    row["whole_" .. key .. "_" .. c.key] = whole[key]
  end
  if cut then
    row.cut_off_v, row.cut_off_h = cut.v, cut.h
    row.cut_off_measured_h, row.cut_off_pct = cut.measured_h, cut.pct
  end
  return row
end

local function against_heads (held, log, c, raw, words, cut)
  local name = core.keys(log).name
  local heads = { string.format("Simulated less measured %s%s, %s.",
    c.words, name and " of " .. name or "", held.what) }
  if words then
    heads[2] = sentence(words:gsub("^%l", string.upper), raw.part, c.unit)
  end
  heads[#heads + 1] = sentence("Whole log", raw.whole, c.unit)
  if cut then heads[#heads + 1] = cut_off_words(cut) end
  return heads
end

-- the rows that lie outside the run, then how it was run
local function against_notes (held, left)
  local lines = held.notes()
  if left > 0 then
    lines[#lines + 1] = { "not compared", string.format("%d %s: %s", left,
      left == 1 and "row" or "rows",
      held.ends_early or "outside the time of the run") }
  end
  lines[#lines + 1] = { "", notes.rerun{} }
  return lines
end

--- The table of one row for 'held': handle, what ("detailed level"), v_min (V
-- of the cut-off or nil), groups (in series), notes() and ends_early (words)
function agreement.compare (held, log, column, opts)
  check_log("against", log)
  local c = check_column("against", column)
  opts = check_opts("against", opts, { "soc_above_pct", "soc_below_pct",
    "cut_off_v", "means" })
  if opts.means ~= nil and type(opts.means) ~= "boolean" then
    core.fail("script", "against: means must be true or false (got " ..
      type(opts.means) .. ")")
  end
  local above = check_number("against", opts, "soc_above_pct", 0, 100, "%")
  local below = check_number("against", opts, "soc_below_pct", 0, 100, "%")
  local v = check_number("against", opts, "cut_off_v", 0.5, 2000, "V") or
    held.v_min
  log:column(c.column) -- raises where the log has none
  if c.column == "temp_c" and held.given_temp then
    core.fail("script", "against: the simple level took its temperature " ..
      "from the log: nothing to compare (give ambient_c, or take the " ..
      "detailed level)")
  end
  local raw = core.replay_against(held.handle, log, c.column, above, below, v,
    opts.means)
  local words = window_words(above, below)
  local cut = cut_off(raw, v, held.groups)
  return core.table_new{ columns = against_columns(c),
    rows = { against_row(c, raw, words, cut) },
    heads = against_heads(held, log, c, raw, words, cut),
    notes = against_notes(held, raw.rows - raw.whole.rows) }
end

-- ---- how it was run ----

-- "full, 100 % SoC", "72.0 % SoC by the log's first voltage, at rest"
local function start_words (f)
  local soc = short(f.soc_start_pct) .. " % SoC"
  if f.start == "full" then return "full, " .. soc .. ", assumed" end
  return f.start == "rest" and soc .. " by the log's first voltage, at rest"
    or soc .. ", given"
end

local function temp_words (f)
  if f.temp == "log" then return "the log's, taken as the cell's" end
  return short(f.ambient_c) .. " C around" ..
    (f.temp == "own" and ", its own heat on top" or ", taken as the cell's")
end

local function empty_words (f)
  return string.format("the model is empty or full after %s of %s",
    duration(f.done_h or 0), duration(f.hours))
end

-- ---- the object ----

local methods, objects = {}, setmetatable({}, { __mode = "k" })

local function own (self, who)
  return tables.held(objects, self, "run", who)
end

--- run:against(log, "voltage_v", { soc_above_pct = 20 }) --> table of one row
function methods.against (self, log, column, opts)
  return agreement.compare(own(self, "against"), log, column, opts)
end

local trace_columns = {
  { "time_h", "time, h", "h" }, { "soc_pct", "SoC %", "%" },
  { "current_a", "current A", "A" }, { "voltage_v", "simulated", "V" },
  { "temp_c", "simulated", "C" }, { "power_w", "power W", "W" } }
local beside_columns = {
  voltage_v = { { "measured_v", "measured", "V" },
    { "difference_mv", "simulated - measured, mV", "mV" } },
  temp_c = { { "measured_c", "measured", "C" },
    { "difference_c", "simulated - measured, C", "C" } } }

local function check_every (who, every, rows)
  if every == nil then return math.max(1, math.ceil(rows / rows_most)) end
  if math.type(every) ~= "integer" or every < 1 or every > 1000000000 then
    core.fail("script", who .. ": every must be a whole number of rows " ..
      "from 1 (got " .. tostring(every) .. ")")
  end
  return every
end

local function columns_with (log)
  local list = {}
  local function add (c)
    list[#list + 1] = { key = c[1], label = c[2], unit = c[3],
      kind = "number" }
  end
  for _, c in ipairs(trace_columns) do add(c) end
  if not log then return list end
  for _, name in ipairs(compared) do
    for _, c in ipairs(beside_columns[name]) do add(c) end
  end
  return list
end

local function trace (held, who, log, every)
  if log ~= nil then check_log(who .. ": against", log) end
  every = check_every(who, every, held.rows)
  return core.table_new{ columns = columns_with(log),
    rows = core.replay_rows(held.handle, every, log),
    heads = { "A row stands at its time; current and power are means since " ..
      "the row before." }, notes = { { "", notes.rerun{} } } }
end

--- run:trace{ every = 1, against = log } --> table, a row for each of the log
function methods.trace (self, opts)
  local held = own(self, "trace")
  opts = check_opts("trace", opts, { "every", "against" })
  return trace(held, "trace", opts.against, opts.every)
end

local function plot_title (held, c, log)
  local name = log and core.keys(log).name or held.name
  return string.format("%s of %s, %s", (c.words:gsub("^%l", string.upper)),
    name, held.what)
end

--- The chart of measured and simulated, their difference below; 'held' as for
-- compare, and rows
function agreement.beside (held, key, log, every)
  check_log("plot: against", log)
  local c = check_column("plot", key)
  log:column(c.column)
  local beside = beside_columns[c.column]
  return trace(held, "plot", log, every):plot{ x = "time_h",
    y = { beside[1][1], c.column }, below = beside[2][1],
    title = plot_title(held, c, log) }
end

local plotted = { "soc_pct", "current_a", "voltage_v", "temp_c", "power_w" }
local plot_words = { soc_pct = "charge", current_a = "current",
  voltage_v = "voltage", temp_c = "temperature", power_w = "power" }

local function check_plotted (key)
  if not plot_words[key] then
    core.fail("script", "plot: no column '" .. tostring(key) .. "' (" ..
      table.concat(plotted, ", ") .. ")")
  end
end

-- one column, or two: the second in a panel below
local function plot_alone (held, key, below, every)
  check_plotted(key)
  local words = plot_words[key]
  if below ~= nil then
    check_plotted(below)
    words = words .. " and " .. plot_words[below]
  end
  return trace(held, "plot", nil, every):plot{ x = "time_h", y = key,
    below = below, title = plot_title(held, { words = words }) }
end

--- run:plot{ "voltage_v", against = log } --> chart: measured and simulated,
-- and their difference in a panel below; run:plot{ "voltage_v", "current_a" }
function methods.plot (self, opts)
  local held = own(self, "plot")
  if type(opts) ~= "table" then opts = { opts } end
  tables.check_keys("plot", opts, { 1, 2, "against", "every" })
  local key, log = opts[1] or "voltage_v", opts.against
  if log == nil then
    return plot_alone(held, key, opts[2], opts.every)
  end
  if opts[2] ~= nil then
    core.fail("script", "plot: beside a log one column is drawn, not two")
  end
  return agreement.beside(held, key, log, opts.every)
end

-- ---- printing ----

local function text (held)
  local f = held.facts
  local name = held.name
  local lines = { fold(string.format("run of a cell along %s, %s level: %d " ..
    "rows over %s", name, f.level, f.rows, duration(f.hours))) }
  local function say (label, ...)
    lines[#lines + 1] = wrap(label, string.format(...), 15)
  end
  say("start", "%s", start_words(f))
  say("temperature", "%s; highest %s C", temp_words(f),
    short(f.temp_max_c))
  if f.unserved_kwh > 0 then
    say("unserved", "%s Wh: a limit of the cell held the current down",
      short(f.unserved_kwh * 1000))
  end
  say("capacity", "%s Ah at that temperature", short(f.capacity_ah))
  say("drawn", "%s Ah, %s Wh; put in %s Ah, %s Wh", short(f.out_ah),
    short(f.out_kwh * 1000), short(f.in_ah), short(f.in_kwh * 1000))
  say("voltage", "%s to %s V, at the end %s %% SoC", short(f.voltage_min),
    short(f.voltage_max), short(f.soc_end_pct))
  if f.done < f.rows then
    say("ends early", "%s", empty_words(f))
  end
  return table.concat(lines, "\n")
end

local fields = { "level", "unserved_kwh", "rows", "done", "hours", "done_h",
  "soc_start_pct", "soc_end_pct", "ambient_c", "capacity_ah", "voltage_min",
  "voltage_max", "temp_max_c", "out_ah", "in_ah", "out_kwh", "in_kwh" }
local is_field, known = {}, { "against", "trace", "plot" }
for _, key in ipairs(fields) do
  is_field[key], known[#known + 1] = true, key
end

local meta = { __name = "ampstead.run", __metatable = "ampstead.run" }

function meta.__index (self, key)
  local held = objects[self]
  if methods[key] then return methods[key] end
  if is_field[key] then return held.facts[key] end
  core.fail("script", wording.has_no("a cell's run", key, known))
end

function meta.__newindex ()
  core.fail("script", "a run never changes")
end

function meta.__tostring (self)
  return text(objects[self])
end

--- cell:simulate(log:profile(), { soc_start_pct, ambient_c }) --> run
function agreement.simulate (cell, profile, opts)
  if core.kind(cell) ~= "cell" then
    core.fail("script", "simulate: call it with a colon, cell:simulate()")
  end
  opts = check_opts("simulate", opts, { "soc_start_pct", "ambient_c",
    "ambient_f" })
  local soc = check_number("simulate", opts, "soc_start_pct", 0, 100, "%")
  local ambient = check_number("simulate", opts, "ambient_c", -50, 70, "C")
  local other = check_number("simulate", opts, "ambient_f", -58, 158, "F")
  if ambient and other then
    core.fail("script", "simulate: give ambient_c or ambient_f, not both")
  end
  ambient = ambient or other and (other - 32) / 1.8
  if core.kind(profile) == "log" then profile = profile:profile() end
  if ambient and core.kind(profile) == "profile" then
    local key = core.keys(profile).log and "ambient_c" or "temp_c"
    profile = profile:with{ [key] = ambient }
  end
  local handle = core.replay(cell, profile, soc)
  local f = core.replay_facts(handle)
  local self = setmetatable({}, meta)
  objects[self] = { handle = handle, facts = f, groups = 1, rows = f.done,
    what = f.level .. " level", given_temp = f.temp == "log",
    ends_early = f.done < f.rows and empty_words(f) or nil,
    notes = function ()
      return { { "start", start_words(f) }, { "temperature", temp_words(f) } }
    end,
    v_min = core.cell_facts(cell).v_min,
    name = core.keys(profile).name or (f.log and "a log" or "a duty") }
  return self
end

--- log:profile{ ambient_c = 10 } --> the current (or power) it drew, as a duty
function agreement.profile (log, opts)
  if core.kind(log) ~= "log" then
    core.fail("script", "profile: call it with a colon, log:profile()")
  end
  opts = check_opts("profile", opts, { "ambient_c", "ambient_f" })
  return core.drawn{ log = log, ambient_c = opts.ambient_c,
    ambient_f = opts.ambient_f, name = core.keys(log).name }
end

core.methods("cell").simulate = agreement.simulate
core.methods("log").profile = agreement.profile

return agreement
