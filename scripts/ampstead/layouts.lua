--- Which series counts an inverter's limits allow, what of the charge each
-- can use, and what sag takes of that.
local core, loader = ...
local wording = loader("wording")
local cautions = loader("cautions")
local tables = loader("table")

local layouts = {}

local number = tables.number

local loads = { "lasting", "surge", "lasting_cold", "surge_cold" }
local facts_of = { { "a", "current_a", "A" }, { "sag_v", "sag_v", "V" },
  { "floor_pct", "floor_pct", "%" }, { "mid_v", "mid_v", "V" } }

local columns = {
  { key = "layout", label = "layout", kind = "text" },
  { key = "modules", label = "modules", kind = "count" },
  { key = "groups", label = "groups", kind = "count", hidden = true },
  { key = "fits", label = "fits", kind = "text" },
  number("v_full", "full V", "V"), number("v_empty", "empty V", "V"),
  number("margin_v", "under v_abs_max V", "V"),
  number("soc_min_pct", "from %", "%"), number("soc_max_pct", "to %", "%"),
  number("usable_pct", "usable %", "%"),
  number("usable_energy_pct", "of the energy %", "%", true),
  { key = "why", label = "why not", kind = "text", hidden = true } }
for _, load in ipairs(loads) do
  for _, f in ipairs(facts_of) do
    columns[#columns + 1] = number(load .. "_" .. f[1], load .. " " .. f[1],
      f[3], true)
  end
end

-- "full 57.4 V": volts are told to a tenth
local function volts (v)
  if wording.missing(v) then return nil end
  return { value = v, text = wording.fixed(v, 1) }
end

local function row_of (raw, more)
  -- the key of the inverter that stood in the way says less than the rest
  local why = raw.why and raw.why:gsub("^[%w_]+: ", "")
  local row = { layout = raw.groups .. "s", modules = raw.modules,
    groups = raw.groups, fits = raw.fits, why = why,
    soc_min_pct = raw.soc_min_pct, soc_max_pct = raw.soc_max_pct,
    usable_pct = more.usable_pct, usable_energy_pct = more.usable_energy_pct }
  for _, key in ipairs{ "v_full", "v_empty", "margin_v" } do
    row[key] = volts(raw[key])
  end
  for _, key in ipairs{ "v_full", "v_empty", "margin_v", "soc_min_pct",
    "soc_max_pct", "usable_pct" } do
    row[key] = row[key] or { why = why }
  end
  for _, load in ipairs(loads) do
    for _, f in ipairs(facts_of) do
      row[load .. "_" .. f[1]] = more[load] and more[load][f[2]]
    end
  end
  return row
end

-- "2 modules in a string fit."
local function head (raw)
  local fit = {}
  for _, l in ipairs(raw) do
    if l.fits then fit[#fit + 1] = tostring(l.modules) end
  end
  if #fit == 0 then return "No series count fits." end
  return string.format("%s module%s in a string fit%s.",
    wording.list(fit, "or"), fit[#fit] == "1" and "" or "s",
    #fit == 1 and fit[1] == "1" and "s" or "")
end

local names = { lasting = "lasting full load", surge = "surge of seconds",
  lasting_cold = "lasting full load in the cold",
  surge_cold = "surge of seconds in the cold" }

local function felt (s, from)
  if s.never then return "cuts out even a full pack" end
  if not s.bites then return "not felt" end
  return string.format("cuts out at %s %% instead of %s",
    wording.short(s.floor_pct), wording.short(from))
end

-- "surge of seconds 155 A, 51.2 V in mid charge, sag 0.14 V: cuts out at 19.2 %.."
local function sag_of (load, s, from)
  return string.format("%s %s A, %sat the cut-out a sag of %s V: %s",
    names[load], wording.short(s.current_a), s.mid_v and
    wording.fixed(s.mid_v, 1) .. " V in mid charge, " or "",
    wording.short(s.sag_v), felt(s, from))
end

-- a line for each count that fits
local function sags (raw, more, lines)
  for i, l in ipairs(raw) do
    local parts = {}
    for _, load in ipairs(loads) do
      local s = more[i][load]
      if l.fits and s then
        parts[#parts + 1] = sag_of(load, s, l.soc_min_pct)
      end
    end
    if #parts > 0 then
      lines[#lines + 1] = { l.groups .. "s", table.concat(parts, "; ") .. "." }
    end
  end
end

-- nominal voltage lies within the window, and yet it doesn't fit
local function window_crossed (l, lines, inverter, each)
  local v, lo, hi = each * l.groups, inverter.v_min, inverter.v_max
  if not l.fits and l.why and lo and hi and v >= lo and v <= hi then
    cautions.add(lines, "window_crossed", string.format("%ds: nominal %s V " ..
      "lies within, but %s.", l.groups, wording.short(v),
      l.why:gsub("^[%w_]+: ", "")))
  end
end

-- a surge that ends the discharge while more than this of the charge is left;
-- ours, no source
local left_pct = 10

local function surge_crossed (l, more, lines)
  for _, load in ipairs{ "surge", "surge_cold" } do
    local s = more[load]
    if l.fits and s and (s.never or s.bites and
       s.floor_pct - l.soc_min_pct > left_pct) then
      cautions.add(lines, "surge_sag_crosses_cutout", string.format("%ds, " ..
        "%s: %s A %s.", l.groups, names[load], wording.short(s.current_a),
        felt(s, l.soc_min_pct)))
    end
  end
end

-- a clipped window, and one whose top is only a setting below the limit
local function raise (raw, more, lines, inverter, each)
  if more.why_groups then
    cautions.add(lines, "groups_not_a_multiple", more.why_groups .. ".")
  end
  for i, l in ipairs(raw) do
    if l.fits and l.margin_v and l.margin_v < 1 then
      cautions.add(lines, "no_margin_to_limit", string.format("%ds is %s V " ..
        "below the voltage that must never be passed when full.", l.groups,
        wording.short(l.margin_v)))
    end
    if l.fits and l.clipped_charge_v then
      lines[#lines + 1] = { l.groups .. "s", string.format("the inverter's " ..
        "v_max ends a charge at %s V a group, below common practice (no " ..
        "source) for this flat curve: it may neither fill these cells nor " ..
        "balance them.", wording.fixed(l.clipped_charge_v, 2)) }
    end
    window_crossed(l, lines, inverter, each)
    surge_crossed(l, more[i], lines)
  end
end

--- amp.layouts(module, inverter, { parallel, coldest_c, groups }) --> a row
-- for each series count
function layouts.layouts (module, inverter, opts)
  local raw = core.layouts(module, inverter)
  local more = core.layout_loads(module, inverter, opts)
  local rows, lines, given = {}, {}, opts or {}
  for i, l in ipairs(raw) do rows[i] = row_of(l, more[i]) end
  raise(raw, more, lines, core.keys(inverter), core.layout_nominal(module))
  sags(raw, more, lines)
  local cold = given.coldest_c and wording.trim(given.coldest_c) .. " C" or
    given.coldest_f and wording.trim(given.coldest_f) .. " F"
  local sagged = false
  for i in ipairs(raw) do sagged = sagged or more[i].lasting ~= nil end
  if sagged then
    lines[#lines + 1] = { "taken", (given.parallel and "" or "one string " ..
      "alone (parallel); ") .. (more.r_assumed and "a default resistance by " ..
      "chemistry, assumed; " or "") .. "a surge meets the resistance of 10 s, " ..
      "what lasts meets all of it and sags more for its current; 25 C" .. (cold and
      " and " .. cold .. "; below 10 C the " ..
      "resistance is told too small" or "; coldest_c for the cold") .. "." }
  end
  return core.table_new{ columns = columns, rows = rows,
    facts = { cautions = cautions.ids(lines) },
    heads = { head(raw) }, notes = lines }
end

return layouts
