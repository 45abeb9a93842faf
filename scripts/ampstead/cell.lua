--- A cell in words: which level, its parameters with their confidence, how
-- far it stands from the logs it was fitted to, and what is assumed.
local core, loader = ...
local wording = loader("wording")
local wrap, fold, pad = wording.wrap, wording.fold, wording.pad

local cell = {}

local short = wording.short
local label_width = 15

local levels = {
  simple = "resistance and two RC pairs",
  detailed = "kinetics, diffusion and its own heat" }

-- ---- numbers with their confidence ----

-- "31.0 (3)": value and standard deviation in percent of it; a default that
-- the data say nothing of is marked "?"
local function value_text (p)
  if not p.sd then return short(p.value) .. "?" end
  local pct = math.abs(p.sd / p.value) * 100
  return string.format("%s (%s)", short(p.value),
    pct < 1 and "<1" or wording.fixed(pct, 0))
end

-- ---- parameters: a grid for each name ----

local wanted_soc = { 10, 30, 50, 70, 90 } -- of those there are
local column = 12

local function add_once (list, v)
  for _, known in ipairs(list) do
    if known == v then return end
  end
  list[#list + 1] = v
end

-- {name, unit, socs, temps, list} of one level in the order of the fit
local function by_name (parameters, level)
  local order, found = {}, {}
  for _, p in ipairs(parameters) do
    if p.level == level then
      local g = found[p.name]
      if not g then
        g = { name = p.name, unit = p.unit, socs = {}, temps = {}, list = {} }
        found[p.name], order[#order + 1] = g, g
      end
      if p.soc_pct then add_once(g.socs, p.soc_pct) end
      if p.temp_c then add_once(g.temps, p.temp_c) end
      g.list[#g.list + 1] = p
    end
  end
  return order
end

local function nearest (list, v)
  local best
  for _, x in ipairs(list) do
    if not best or math.abs(x - v) < math.abs(best - v) then best = x end
  end
  return best
end

-- at most five charges, rising
local function choose_socs (socs)
  local chosen = {}
  if #socs <= #wanted_soc then
    for i, s in ipairs(socs) do chosen[i] = s end
  else
    for _, w in ipairs(wanted_soc) do add_once(chosen, nearest(socs, w)) end
  end
  table.sort(chosen)
  return chosen
end

local function find (g, soc, temp)
  for _, p in ipairs(g.list) do
    if p.soc_pct == soc and p.temp_c == temp then return p end
  end
end

local function head (g)
  return g.name .. (g.unit ~= "" and ", " .. g.unit or "")
end

-- a row for each temperature, a column for each charge
local function soc_grid (g, lines)
  local socs = choose_socs(g.socs)
  local line = pad("  " .. head(g), label_width, true)
  for _, s in ipairs(socs) do
    line = line .. pad(wording.trim(s, 3) .. " %", column)
  end
  lines[#lines + 1] = line
  for i = 1, math.max(1, #g.temps) do
    local t = g.temps[i]
    line = pad(t and "    " .. wording.fixed(t, 1) .. " C" or "", label_width,
      true)
    for _, s in ipairs(socs) do
      local p = find(g, s, t)
      line = line .. pad(p and value_text(p) or "", column)
    end
    lines[#lines + 1] = line
  end
end

-- "tau_ct 1.68 s (3), heat_core 33.0 J/K (4)": what has no charge and no
-- temperature
local function single_line (groups, lines)
  local parts = {}
  for _, g in ipairs(groups) do
    local p = g.list[1]
    if #g.socs == 0 and #g.temps == 0 then
      local text = value_text(p)
      local number, sd = text:match("^(%S+)(.*)$")
      parts[#parts + 1] = g.name .. " " .. number ..
        (g.unit ~= "" and " " .. g.unit or "") .. sd
    end
  end
  if #parts > 0 then
    lines[#lines + 1] = wrap("everywhere", table.concat(parts, ", "),
      label_width)
  end
end

-- "tau_d, s: 1234 (3) at 25.6 C, 2468 (5) at 10.2 C"
local function plain_line (g, lines)
  local parts = {}
  for i, p in ipairs(g.list) do
    parts[i] = value_text(p) ..
      (p.temp_c and " at " .. wording.fixed(p.temp_c, 1) .. " C" or "")
  end
  lines[#lines + 1] = wrap(head(g), table.concat(parts, ", "), label_width)
end

local function parameter_lines (f, level, lines)
  local unsaid, groups = false, by_name(f.parameters, level)
  if #groups == 0 then return end
  lines[#lines + 1] = "  " .. level .. " level (in brackets one standard " ..
    "deviation, % of the value):"
  for _, g in ipairs(groups) do
    if #g.socs > 0 then
      soc_grid(g, lines)
    elseif #g.temps > 0 then
      plain_line(g, lines)
    end
    for _, p in ipairs(g.list) do unsaid = unsaid or not p.sd end
  end
  single_line(groups, lines)
  if unsaid then
    lines[#lines + 1] = "  ? not determined by these logs: the default is kept"
  end
end

-- ---- residuals ----

-- "8.10", or "8.10 to 12.3"
local function span (lo, hi)
  local a, b = short(lo), short(hi)
  return a == b and a or a .. " to " .. b
end

-- smallest and largest of a key over the logs; nil where one has none
local function range_of (logs, key, of)
  local lo, hi
  for _, l in ipairs(logs) do
    local v = of and of(l) or l[key]
    if not v then return nil end
    lo, hi = math.min(lo or v, v), math.max(hi or v, v)
  end
  return lo, hi
end

local function residual_head (f)
  local lo, hi = range_of(f.logs, "simple_rmse_mv")
  if not f.has_detailed then
    return lo and string.format("RMSE on its own logs %s mV.",
      span(lo, hi)) or nil
  end
  local dlo, dhi = range_of(f.logs, "detailed_rmse_mv")
  if not (lo and dlo) then return nil end
  local clo, chi = range_of(f.logs, nil, function (l)
    return l.simple_rmse_mv - l.detailed_rmse_mv
  end)
  return string.format("RMSE on the same logs: detailed %s mV, simple %s; " ..
    "the simple level costs %s mV.", span(dlo, dhi), span(lo, hi),
    clo < 0 and chi > 0 and "up to " .. short(chi) or span(clo, chi))
end

local function file_name (name, width)
  name = name:gsub("%.%w+$", "")
  return #name > width and name:sub(1, width - 2) .. ".." or name
end

local residual_columns = { { "temp_c", "C", 1 }, { "capacity_ah", "Ah" },
  { "detailed_rmse_mv", "RMSE" }, { "detailed_worst_mv", "worst" },
  { "simple_rmse_mv", "RMSE" }, { "simple_worst_mv", "worst" } }

local function residual_lines (f, lines)
  local first = f.has_detailed and 3 or 5
  lines[#lines + 1] = pad("", 40) .. (f.has_detailed and
    "    detailed, mV" or "") .. "      simple, mV"
  local line = pad("  fitted to", 24, true)
  local function each (fn)
    for i, c in ipairs(residual_columns) do
      if i < 3 or i >= first then line = line .. pad(fn(c), 8) end
    end
    lines[#lines + 1] = line
  end
  each(function (c) return c[2] end)
  for i, l in ipairs(f.logs) do
    line = pad("  " .. file_name(l.name ~= "" and l.name or "pulses[" .. i ..
      "]", 21), 24, true)
    each(function (c)
      local v = l[c[1]]
      return v and (c[3] and wording.fixed(v, c[3]) or short(v)) or ""
    end)
  end
end

-- ---- what is said of each cell ----

local function volts (f)
  return string.format("%s V empty, %s half, %s full; limits %s .. %s V",
    short(f.ocv_0_v), short(f.ocv_50_v), short(f.ocv_100_v),
    wording.trim(f.v_min), wording.trim(f.v_max))
end

local function say (lines, label, text)
  lines[#lines + 1] = wrap(label, text, label_width)
end

local function simple_lines (f, lines)
  if f.r0_mohm + f.r1_mohm + f.r2_mohm == 0 then
    return say(lines, "resistance", "none given: voltage stays at rest")
  end
  say(lines, "R0", short(f.r0_mohm) .. " mohm at half charge, 25 C")
  say(lines, "pairs", string.format("%s mohm, %s s; %s mohm, %s s",
    short(f.r1_mohm), wording.trim(f.tau1_s), short(f.r2_mohm),
    wording.trim(f.tau2_s)))
  say(lines, "10 s", short(f.r10s_mohm) .. " mohm")
end

local function assumed_lines (f, lines)
  if f.from_r10s then
    say(lines, "assumed", string.format("the shares of R0 and the pairs in " ..
      "the 10 s resistance and their times; R0 %s times as large empty, %s " ..
      "full, and larger in the cold (%s K): as one 33 Ah EV cell at 10 to " ..
      "40 C showed, whatever the chemistry (docs/model/cell.md)",
      wording.trim(f.shape_empty), wording.trim(f.shape_full),
      wording.trim(f.activation_k)))
  elseif f.r10s_mohm > 0 then
    say(lines, "assumed", "resistance alike at every charge and temperature")
  end
  if f.source then say(lines, "rest voltage", f.source) end
end

local function label_text (f, name)
  local lines = { "cell" .. name .. ", simple level: " .. levels.simple }
  say(lines, "capacity", short(f.capacity_ah) .. " Ah")
  say(lines, f.chemistry, volts(f))
  simple_lines(f, lines)
  if f.mass_kg then say(lines, "mass", short(f.mass_kg) .. " kg") end
  assumed_lines(f, lines)
  return table.concat(lines, "\n")
end

-- the same sentence of several logs stands once: "a.csv (and 2 more): .."
local function warning_lines (warnings, lines)
  local order, seen = {}, {}
  for _, w in ipairs(warnings) do
    local who, what = w:match("^([^:]+): (.*)$")
    local kind = what and what:gsub("%d[%d.]*", "0") or w
    if seen[kind] then
      seen[kind].more = seen[kind].more + 1
    else
      seen[kind] = { who = who, what = what or w, more = 0 }
      order[#order + 1] = seen[kind]
    end
  end
  for _, w in ipairs(order) do
    local more = w.more > 0 and string.format(" (and %d more)", w.more) or ""
    say(lines, "warning", (w.who and w.who .. more .. ": " or "") .. w.what)
  end
end

local function fit_text (f, name)
  local fit, n = f.fit, #f.fit.logs
  local lines = { string.format("cell%s, %s level: %s", name, f.level,
    levels[f.level]),
    string.format("fitted to %d pulse log%s%s; %s Ah on the label.", n,
      n == 1 and "" or "s", fit.has_slow and " and a slow log" or "",
      wording.trim(fit.label_ah)) }
  local told = residual_head(fit)
  if told then lines[#lines + 1] = fold(told) end
  residual_lines(fit, lines)
  say(lines, "rest voltage", volts(f) .. (fit.has_slow and "" or
    "; shape by chemistry, assumed"))
  say(lines, "10 s", short(f.r10s_mohm) .. " mohm at half charge, 25 C " ..
    "(simple level)")
  if fit.offset_ma and math.abs(fit.offset_ma) >= 0.05 then
    say(lines, "offset", short(fit.offset_ma) .. " mA in the slow log's " ..
      "current, taken off")
  end
  parameter_lines(fit, f.level, lines)
  warning_lines(fit.warnings, lines)
  return table.concat(lines, "\n")
end

--- print(cell)
function cell.text (object)
  local f, name = core.cell_facts(object), core.keys(object).name
  name = name and string.format(" %q", tostring(name)) or ""
  return f.fit and fit_text(f, name) or label_text(f, name)
end

-- ---- for code ----

local function fit_of (object, who)
  if core.kind(object) ~= "cell" then
    core.fail("script", who .. ": call it with a colon, cell:" .. who .. "()")
  end
  local f = core.cell_facts(object)
  if not f.fit then
    core.fail("script", "cell: " .. who .. ": only a cell that amp.fit{} " ..
      "made has them")
  end
  return f.fit
end

local function columns (list)
  local t = {}
  for i, c in ipairs(list) do
    t[i] = { key = c[1], label = c[2] or c[1], kind = c[3] or "number",
      unit = c[4] }
  end
  return t
end

--- cell:parameters() --> table, a row for each parameter of both levels; sd
-- nil: not determined, the default is kept
function cell.parameters (object)
  return core.table_new{ rows = fit_of(object, "parameters").parameters,
    columns = columns{ { "level", nil, "text" }, { "name", nil, "text" },
      { "unit", nil, "text" }, { "soc_pct", "SoC %", nil, "%" },
      { "temp_c", "C", nil, "C" }, { "value" },
      { "sd", "standard deviation" } } }
end

--- cell:residuals() --> table, a row for each pulse log
function cell.residuals (object)
  return core.table_new{ rows = fit_of(object, "residuals").logs,
    columns = columns{ { "name", "log", "text" },
      { "temp_c", "C", nil, "C" }, { "capacity_ah", "Ah", nil, "Ah" },
      { "detailed_rmse_mv", "detailed RMSE mV", nil, "mV" },
      { "detailed_worst_mv", "worst mV", nil, "mV" },
      { "simple_rmse_mv", "simple RMSE mV", nil, "mV" },
      { "simple_worst_mv", "worst mV", nil, "mV" } } }
end

--- amp.fit{ chemistry, capacity_ah, pulses = {logs}, slow = log } --> cell
function cell.fit (keys)
  local found = core.fit(keys)
  return core.cell{ fit = found, name = found.name }
end

core.print_by("cell", cell.text)
core.print_by("fit", function (found)
  return cell.text(core.cell{ fit = found, name = found.name })
end)
local methods = core.methods("cell")
methods.parameters, methods.residuals = cell.parameters, cell.residuals

return cell
