--- What a logged test is, in words: how long, how much, and what was mended.
local core, loader = ...
local wording = loader("wording")
local cautions = loader("cautions")

local log = {}

-- "0.1", "300", "0.0278": calm in a sentence
local function num (v)
  return v == 0 and "0" or wording.short(v)
end

-- "out 2.77 Ah", with the nought of a log that only discharges left out
local function charge (f)
  local parts = {}
  if f.out_ah > 0 then parts[1] = "out " .. num(f.out_ah) .. " Ah" end
  if f.in_ah > 0 then parts[#parts + 1] = "in " .. num(f.in_ah) .. " Ah" end
  return #parts > 0 and table.concat(parts, ", ") or "none flows"
end

local function span (lo, hi, unit)
  return lo == hi and num(lo) .. " " .. unit or
    num(lo) .. " to " .. num(hi) .. " " .. unit
end

local function interval (f)
  local lo, hi = wording.trim(f.step_min_s), wording.trim(f.step_max_s)
  return lo == hi and "a row every " .. lo .. " s" or
    "a row every " .. lo .. " to " .. hi .. " s"
end

local function lines_of (f, temp_given)
  local list = {}
  local function say (label, text)
    list[#list + 1] = wording.wrap(label, text, 15)
  end
  if f.current_min then
    say("current", span(f.current_min, f.current_max, "A") .. "; " ..
      charge(f))
  end
  if f.voltage_min then
    say("voltage", span(f.voltage_min, f.voltage_max, "V"))
  end
  if f.power_min then say("power", span(f.power_min, f.power_max, "W")) end
  local warm = f.temp_max and core.plausible("log", "temp_c", f.temp_max)
  say("temperature", f.temp_min and span(f.temp_min, f.temp_max, "C") ..
    (temp_given and ", given" or "") or "not in the log")
  if warm then
    say("caution", cautions.known(warm.id) .. ": up to " .. num(f.temp_max) ..
      " C; " .. warm.words)
  end
  if f.note ~= "" then say("noted", f.note) end
  if f.unused ~= "" then say("not used", f.unused) end
  if f.turned then
    say("sign", "voltage rises with the current: where the meter counts " ..
      "charging above 0, name its column charge_current_a")
  end
  return list
end

--- print(log): what it is, what it holds, what was mended.
function log.text (object)
  local f, name = core.log_facts(object), core.keys(object).name
  local head = string.format("log%s: %d rows over %s h, %s",
    name and string.format(" %q", tostring(name)) or "", f.rows,
    num(f.hours), interval(f))
  return head .. "\n" ..
    table.concat(lines_of(f, core.keys(object).temp_c or
      core.keys(object).temp_f), "\n")
end

-- ---- charts ----

local words = { current_a = "current A", voltage_v = "voltage V",
  temp_c = "temperature C", power_w = "power W" }
local points_most = 50000 -- of a chart; of more every second, third .. row

--- log:plot{ "voltage_v" } --> chart of one column against time
function log.plot (object, opts)
  if core.kind(object) ~= "log" then
    core.fail("script", "plot: call it with a colon, log:plot{}")
  end
  if type(opts) ~= "table" then opts = { opts } end
  loader("table").check_keys("plot", opts, { 1 })
  local key = opts[1] or "voltage_v"
  local v, t = object:column(key), object:column("time_s")
  local every, rows = math.ceil(#t / points_most), {}
  for i = 1, #t, every do
    rows[#rows + 1] = { time_h = (t[i] - t[1]) / 3600, v = v[i] }
  end
  return core.table_new{ rows = rows, columns = {
    { key = "time_h", label = "time, h", kind = "number" },
    { key = "v", label = words[key] or key, kind = "number" } }
  }:plot{ x = "time_h", y = "v",
    title = core.keys(object).name or "log" }
end

core.print_by("log", log.text)
core.methods("log").plot = log.plot

return log
