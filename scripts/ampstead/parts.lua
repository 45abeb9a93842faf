--- What a run says of the parts of a pack: strings, modules and groups that
-- are not alike, fuses that opened, what temperature and heater took.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local notes = loader("notes")

local parts = {}

-- 'string 2, module 1 ("M3"), group 4'; what is one of its kind isn't said
local function place (p)
  local t = {}
  if p.string then t[1] = "string " .. wording.trim(p.string) end
  if p.level then t[1] = "level " .. wording.trim(p.level) end
  t[#t + 1] = (p.modules > 1 and "modules " or "module ") ..
    wording.trim(p.module) .. (p.modules > 1 and " to " ..
    wording.trim(p.module + p.modules - 1) or "") ..
    (p.name and ' ("' .. p.name .. '")' or "")
  if p.group then
    t[#t + 1] = (p.groups > 1 and "groups " or "group ") ..
      wording.trim(p.group) .. (p.groups > 1 and " to " ..
      wording.trim(p.group + p.groups - 1) or "")
  end
  return table.concat(t, ", ")
end

local function beside (p)
  return p.string and "string " .. wording.trim(p.string) or place(p)
end

-- strings in which the largest number of 'key' stands, or nil for none
local function largest (list, key)
  local best
  for _, p in ipairs(list) do
    if p[key] and p[key] > 0 and (not best or p[key] > best[key]) then
      best = p
    end
  end
  return best
end

local function string_lines (raw, say)
  local list = raw.strings
  if not list or #list < 2 then return end
  local most, peak = largest(list, "share_pct"), largest(list, "share_max_pct")
  if most and raw.strings[1].string then
    local largest_share = peak and string.format("; the largest share of " ..
      "the current was %s %%, in %s", wording.short(peak.share_max_pct),
      beside(peak)) or "" -- the current never rose above C/20
    say("strings", "%s gave most, %s %% of the charge (even: %s %%)%s. " ..
      "Shared to %s %% in steps of %s s.", beside(most),
      wording.short(most.share_pct), wording.short(100 / #list),
      largest_share, wording.fixed(math.max(raw.share_error_pct, 0.001), 3),
      wording.short(raw.step_s))
  end
end

local function end_lines (raw, date, say)
  local words = { { "empty_times", "empty first", "first_empty_h" },
    { "full_times", "full first", "first_full_h" } }
  for _, w in ipairs(words) do
    local p = raw.leaves and largest(raw.leaves, w[1])
    if p then
      say(w[2], "%s, %s times, from %s on.", place(p),
        wording.trim(p[w[1]]), date(raw, p[w[3]]))
    end
  end
end

--- The lines of a run that tell of its parts; date(raw, h) says when.
function parts.lines (raw, date, say)
  string_lines(raw, say)
  end_lines(raw, date, say)
  if (raw.bled_kwh or 0) > 0 then
    say("balancing", "%s kWh were bled.", wording.short(raw.bled_kwh))
  end
  if (raw.heater_kwh or 0) > 0 then
    say("heater", "%s kWh went into it.", wording.short(raw.heater_kwh))
  end
  if (raw.reversible_kwh or 0) ~= 0 then
    say("entropic heat", "%s kWh in all, besides the loss; it comes and " ..
      "goes with charge.", wording.short(raw.reversible_kwh))
  end
end

-- Between strings that differ charge flows even at rest, and no limit of the
-- pack stops it: it can drive a group past full or below empty.
local function driven (raw)
  local over, under
  for _, p in ipairs(raw.leaves or {}) do
    if p.soc_high_pct > 101 and
       not (over and over.soc_high_pct >= p.soc_high_pct) then
      over = p
    elseif p.soc_low_pct < -1 and
           not (under and under.soc_low_pct <= p.soc_low_pct) then
      under = p
    end
  end
  local p = over or under
  return p and string.format("%s was driven %s, to a charge of %s %%, by " ..
    "what stands beside it: a real one is destroyed there, and what follows " ..
    "is no forecast.", place(p), over and "past full" or "below empty",
    wording.short(over and p.soc_high_pct or p.soc_low_pct))
end

-- no cell of any chemistry here is described, or lives, above this
local hot_c = 100

-- a heater that the pack feeds, beside the same year without one
local function heater_head (raw)
  local with = raw.total.unserved_kwh + raw.total.dc_unserved_kwh
  local saved = raw.unheated_kwh - with
  return string.format("Its own heater takes %s kWh; unserved are %s kWh, " ..
    "%s without it: %s", wording.short(raw.heater_pack_kwh),
    wording.short(with), wording.short(raw.unheated_kwh),
    saved < -1e-6 and "it costs more than it saves. Less loss (a box), or " ..
      "heat from elsewhere." or saved < 1e-6 and "it saves nothing." or
      "it saves " .. wording.short(saved) .. " kWh.")
end

--- Sentences that stand above the table: what opened, what the cold cost.
function parts.heads (raw, date, list)
  list[#list + 1] = driven(raw)
  if raw.temp_max_c > hot_c then
    list[#list + 1] = string.format("The cells come to %s C, where none " ..
      "lives: what follows is no forecast. Look at resistance, mass_kg, " ..
      "cooling and current.", wording.short(raw.temp_max_c))
  end
  for _, p in ipairs(raw.strings or {}) do
    if p.opened_h then
      list[#list + 1] = string.format("The fuse of %s opened on %s.",
        beside(p), date(raw, p.opened_h))
    end
  end
  if raw.first_opened_h and not raw.strings then
    list[#list + 1] = string.format("The fuse opened on %s.",
      date(raw, raw.first_opened_h))
  end
  if raw.first_cold_h then
    list[#list + 1] = string.format("Temperature held the current back " ..
      "for %s h, first on %s: %s%s kWh not served in these hours. What is " ..
      "not served later, since less went in, stands in unserved alone.",
      wording.short(raw.cold_h), date(raw, raw.first_cold_h),
      raw.supply_kwh and wording.short(raw.cold_curtailed_kwh) ..
      " kWh curtailed, " or "", wording.short(raw.cold_unserved_kwh))
  end
  if raw.unheated_kwh then list[#list + 1] = heater_head(raw) end
  if (raw.cold_charge_h or 0) > 0 then
    list[#list + 1] = string.format("Charged below 0 C for %s h, which " ..
      "harms lithium cells for good; current_limits would lock it out.",
      wording.short(raw.cold_charge_h))
  end
  return list
end

-- ---- as tables ----

local number = tables.number

local function make (raw, list, columns, of, head)
  local rows = {}
  for i, p in ipairs(list) do
    rows[i] = { place = of(p) }
    for k = 2, #columns do
      local key = columns[k].key
      rows[i][key] = p[key] and { value = p[key], basis = raw.basis }
    end
  end
  return core.table_new{ columns = columns, rows = rows, heads = { head },
    notes = { { "", notes.rerun{} } } }
end

--- run.strings: a row for each string, or module of a level
function parts.strings (raw)
  return raw.strings and make(raw, raw.strings, {
    { key = "place", label = "side by side", kind = "text" },
    number("out_ah", "out Ah", "Ah"), number("in_ah", "in Ah", "Ah"),
    number("share_pct", "of charge out %", "%"),
    number("share_max_pct", "most of current %", "%"),
    number("current_max_a", "most A", "A"),
    number("current_min_a", "least A", "A"),
    number("opened_h", "fuse open h", "h") }, beside,
    "Most of the current: while that is above C/20 of the pack.")
end

--- run.groups: a row for each module, or group that is not like the others
function parts.groups (raw)
  return raw.leaves and make(raw, raw.leaves, {
    { key = "place", label = "module or group", kind = "text" },
    number("soc_low_pct", "SoC low %", "%"),
    number("soc_high_pct", "SoC high %", "%"),
    number("soc_end_pct", "SoC end %", "%"),
    { key = "empty_times", label = "ended discharge", kind = "count" },
    { key = "full_times", label = "ended charge", kind = "count" },
    number("temp_max_c", "most C", "C") }, place,
    "Each time a limit was met inside a step, it is counted for the group " ..
    "that met it.")
end

return parts
