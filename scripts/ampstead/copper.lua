--- Conductors and protection: how a cable, a busbar, fuse links, a circuit,
-- a short circuit and a pre-charge read, what was looked at and what was not.
local core, loader = ...
local wording = loader("wording")
local cautions = loader("cautions")
local tables = loader("table")

local copper = {}

local short = wording.short

local number, text = tables.number, tables.text

-- the lines that close every answer: what was taken, looked at and not
local function closing (notes, object, checked, unchecked)
  local taken = object and core.defaults(object) or {}
  if #taken > 0 then
    notes[#notes + 1] = { "taken", table.concat(taken, "; ") .. "." }
  end
  notes[#notes + 1] = { "checked", checked .. "." }
  notes[#notes + 1] = { "not checked", unchecked .. "." }
  notes[#notes + 1] = { "", wording.who_decides }
  return notes
end

-- one row laid across, read as .key; a cell without a number says why
local function one_row (columns, raw, why, spec)
  local cells = {}
  for _, c in ipairs(columns) do
    local v = raw[c.key]
    if v == nil then v = why and why[c.key] and { why = why[c.key] } end
    cells[c.key] = v
  end
  spec.columns, spec.rows, spec.across = columns, { cells }, true
  spec.facts = { cautions = cautions.ids(spec.notes) }
  return core.table_new(spec)
end

-- the object prints as its table; x:table() gives it as data
local function print_as_table (class, make)
  core.methods(class).table = make
  core.print_by(class, function (object) return tostring(make(object)) end)
end

-- ---- a cable ----

local cable_columns = { text("what", "cable"),
  text("size", "size"),
  number("r_mohm", "resistance there and back mohm", "mohm"),
  number("current_a", "current A", "A"),
  number("drop_v", "drop V", "V"), number("drop_pct", "drop %", "%"),
  number("loss_w", "heat W", "W"),
  number("ampacity_a", "may carry A", "A"),
  number("carry_a", "must carry A", "A"),
  number("area_by_drop_mm2", "by drop mm2", "mm2"),
  number("area_by_ampacity_mm2", "by ampacity mm2", "mm2"),
  number("area_mm2", "area mm2", "mm2", true), text("awg", "gauge", true),
  text("by", "ampacity by", true) }

local function size_of (raw)
  local area = wording.trim(raw.area_mm2) .. " mm2"
  return raw.awg and raw.awg .. " AWG, " .. area or area
end

local ampacity_by = { given = "as given", table = "by the table given",
  nec = "by NEC table 310.16" }

-- a small whole area under a current that no cable of that area carries
local awg_most, a_per_mm2 = 14, 15

local function looks_like_awg (raw)
  local area = not raw.awg and raw.area_mm2
  return area and raw.current_a and area <= awg_most and
    math.abs(area - math.floor(area + 0.5)) < 1e-9 and
    raw.current_a > a_per_mm2 * area
end

-- what stands out, by its name
local function cable_cautions (raw, notes)
  local function caution (id, words) cautions.add(notes, id, words) end
  if not raw.ampacity_a and raw.drop_v then
    caution("cable_by_drop_only", "no ampacity is known for this size; give " ..
      "ampacity_a, or your code's table as ampacities.")
  elseif raw.ampacity_a and not raw.drop_v then
    caution("cable_by_ampacity_only", "its drop was not reckoned: one_way_m " ..
      "and current_a are wanted.")
  end
  if looks_like_awg(raw) then
    caution("area_like_awg", string.format("%s A in %s mm2 are %s A per mm2: " ..
      "an AWG number taken for mm2 (awg = %d)?", short(raw.current_a),
      wording.trim(raw.area_mm2), short(raw.current_a / raw.area_mm2),
      raw.area_mm2))
  end
  if raw.ampacity_a and raw.current_a and raw.ampacity_a < raw.current_a then
    caution("cable_below_load", string.format("it may carry %s A, the " ..
      "current is %s A.", short(raw.ampacity_a), short(raw.current_a)))
  elseif raw.ampacity_a and raw.carry_a and raw.ampacity_a < raw.carry_a then
    caution("fuse_above_cable", string.format("a fuse of %s A would let " ..
      "through more than the %s A it may carry.", wording.least(raw.carry_a),
      short(raw.ampacity_a)))
  end
  if raw.drop_max_pct and raw.drop_pct and
    raw.drop_pct > raw.drop_max_pct * (1 + 1e-9) then
    caution("drop_above_limit", string.format("it drops %s %%, %s %% is " ..
      "wanted at most.", short(raw.drop_pct), short(raw.drop_max_pct)))
  end
  if raw.lug_decides then
    notes[#notes + 1] = { "", "The lug's column decides: it lies below the " ..
      "corrected column of the insulation." }
  end
end

local function cable_head (cable, raw)
  local heads, keys = {}, core.keys(cable)
  local length = keys.one_way_m and wording.trim(keys.one_way_m) .. " m" or
    keys.one_way_ft and wording.trim(keys.one_way_ft) .. " ft"
  if raw.drop_v then
    heads[1] = string.format("%s of %s one way drop %s V at %s A%s.", length,
      size_of(raw), short(raw.drop_v), short(raw.current_a),
      raw.drop_pct and ": " .. short(raw.drop_pct) .. " % of " ..
      wording.trim(keys.v) .. " V" or "")
  end
  if raw.ampacity_a then
    heads[#heads + 1] = string.format("It may carry %s A, %s.",
      short(raw.ampacity_a), ampacity_by[raw.from])
  end
  if not keys.area_mm2 and not keys.awg then
    table.insert(heads, 1, raw.ampacity_a and
      "The size that does: " .. size_of(raw) .. "." or
      "By drop alone: " .. size_of(raw) .. "; its ampacity is not known.")
  end
  return heads
end

local function cable_checked (raw)
  local list = {}
  if raw.drop_v then list[1] = "drop and heat at this current" end
  if raw.ampacity_a and raw.carry_a then
    list[#list + 1] = "current and fuse against ampacity"
  end
  return #list > 0 and wording.list(list) or "nothing, for want of data"
end

local function cable_table (cable)
  local raw, notes = core.cable_raw(cable), {}
  raw.what, raw.size, raw.by = core.name(cable), size_of(raw),
    ampacity_by[raw.from]
  cable_cautions(raw, notes)
  local checked, carry = cable_checked(raw), raw.carry_a
  raw.carry_a = carry and { value = carry, text = wording.least(carry) }
  return one_row(cable_columns, raw, nil, { heads = cable_head(cable, raw),
    notes = closing(notes, cable, checked,
      "lugs and joints, bundling, a closed box, the short circuit") })
end

-- ---- strings on a busbar ----

local busbar_columns = { { key = "string", label = "string", kind = "count" },
  number("current_a", "current A", "A"), number("least_a", "least A", "A"),
  number("share_pct", "share %", "%"),
  number("over_pct", "over even %", "%"), text("off", "takes off") }

local function takes_off (raw, i)
  local plus, minus = raw.plus == i, raw.minus == i
  return plus and minus and "+ and -" or plus and "+" or minus and "-" or ""
end

local function busbar_head (raw, even)
  if raw.least then
    return string.format("A resistance is missing: these are the most and " ..
      "the least each may carry; an even share is %s A.", short(even))
  end
  return string.format("The most loaded string carries %s A; an even share " ..
    "is %s A.", short(raw.most_a), short(even))
end

local function busbar_table (busbar)
  local raw, rows, notes = core.busbar_raw(busbar), {}, {}
  local n, total = #raw.currents, raw.current_a
  for i, a in ipairs(raw.currents) do
    rows[i] = { string = i, current_a = a, off = takes_off(raw, i),
      least_a = raw.least and raw.least[i],
      share_pct = total ~= 0 and a / total * 100 or nil,
      over_pct = total ~= 0 and (a * n / total - 1) * 100 or nil }
  end
  if raw.least then
    cautions.add(notes, "resistance_missing", "measure it, or leave that " ..
      "string out.")
  end
  return core.table_new{ columns = busbar_columns, rows = rows,
    heads = { busbar_head(raw, total / n) },
    facts = { most_a = raw.most_a, even_a = total / n,
      bound = raw.least ~= nil, cautions = cautions.ids(notes) },
    notes = closing(notes, nil, "Kirchhoff's ladder of rails and strings, " ..
      "at one moment", "how charge evens out later, joints that differ, heat") }
end

-- ---- a fuse link and the cells behind it ----

local link_columns = { text("what", "link"),
  number("fusing_a", "fuses at A, steady", "A"),
  number("low_a", "holds below A", "A"), number("high_a", "goes above A", "A"),
  number("i2t_a2s", "melts by A2 s", "A2 s"),
  number("brief_s", "that told up to s", "s"),
  number("r_mohm", "resistance mohm", "mohm") }

local no_constant = "no fusing constant is known for this metal: measure " ..
  "one and give fusing_a"

local function link_cautions (raw, notes)
  if not raw.fusing_a then
    cautions.add(notes, "link_without_constant", "no fusing constant is " ..
      "known for " .. raw.metal:gsub("_", " ") .. ", so there is no verdict. " ..
      "Let some go on the bench and give fusing_a.")
    return
  end
  if raw.measured then return end
  if raw.thin then
    cautions.add(notes, "link_thin", "under 0.2 mm the law is less sure: " ..
      "its exponent is too steep there.")
  end
  if raw.end_cooled then
    cautions.add(notes, "link_end_cooled", "shorter than 100 diameters: " ..
      "its ends cool it, and it fuses at more than this.")
  end
end

local function link_head (raw)
  if not raw.fusing_a then return { "No current is told for this link." } end
  if raw.measured then
    return { string.format("Fuses at %s A, as measured.", short(raw.fusing_a)) }
  end
  return { string.format("Fuses at about %s A, steady: %s to %s A.",
    short(raw.fusing_a), short(raw.low_a), short(raw.high_a)) }
end

local function link_table (link)
  local raw, notes = core.link_raw(link), {}
  raw.what = core.keys(link).name or
    raw.metal:gsub("_", " ") .. " " .. wording.trim(raw.diameter_mm) .. " mm"
  link_cautions(raw, notes)
  if raw.fusing_a and not raw.measured then
    notes[#notes + 1] = { "", "Preece's law, -20 to +50 %: steady current, " ..
      "free still air, a long wire. Potting, a can, moving air raise it." }
  end
  return one_row(link_columns, raw, { fusing_a = no_constant,
    low_a = no_constant, high_a = no_constant }, { heads = link_head(raw),
    notes = closing(notes, nil, "the wire alone", "its joints, the arc " ..
      "after it goes, what the cells do meanwhile (link:cascade{})") })
end

local cascade_columns = { { key = "gone", label = "gone", kind = "count" },
  { key = "went", label = "last to go", kind = "count" },
  number("link_a", "most in a link A", "A"),
  number("group_v", "group V", "V"),
  number("left_pct", "charge left %", "%"), text("state", "the rest") }

local cascade_keys = { "cells", "cell_mohm", "v", "current_a", "module",
  "strings" }

-- what a module says of its groups, where the call does not
local function from_module (opts, taken)
  local m = opts.module
  if m == nil then return end
  if core.kind(m) ~= "module" then
    core.fail("script", "cascade: module must be amp.module{}")
  end
  local keys = core.keys(m)
  opts.cells = opts.cells or keys.parallel or 1
  local r = keys.r10s_mohm
  if core.kind(r) == "value" then r = core.value(r).value end
  if opts.cell_mohm == nil and r then
    opts.cell_mohm = r / keys.series * opts.cells
    taken[#taken + 1] = "a cell's resistance from the module's 10 s figure"
  end
  if opts.v == nil then
    opts.v = core.layout_nominal(m)
    taken[#taken + 1] = "nominal voltage of a group"
  end
end

local function cascade_head (raw, n, load)
  if raw.hold < 0 then
    return string.format("Even with all %d links there, %s A on the group is " ..
      "more than they surely hold.", n, short(load))
  end
  if raw.hold >= n - 1 then
    return string.format("At %s A on the group the last of %d links still " ..
      "holds.", short(load), n)
  end
  return string.format("At %s A on the group %d of %d links may go and the " ..
    "rest hold; with %d gone the next may follow%s.", short(load), raw.hold,
    n, raw.hold + 1, raw.may + 1 < n and string.format(", with %d it does",
      raw.may + 1) or "")
end

local function cascade_notes (raw, alone)
  local notes = {}
  if raw.fault_a then
    notes[1] = { "", string.format("A cell that shorts inside draws up to %s " ..
      "A through its link, %s A through each neighbour's%s.",
      short(raw.fault_a), short(raw.others_a), raw.cells == 2 and
      ": both links carry the same, and either may go first" or "") }
  end
  notes[#notes + 1] = { "", "With all gone the string ends there: " ..
    (alone and "the gap may show all the rest of the string's voltage" or
    "beside other strings the gap shows about one group's voltage, alone " ..
    "all the rest of the string's") .. ", the wrong way round for the sense " ..
    "wires." }
  return notes
end

--- link:cascade{ cells, cell_mohm, v, current_a } --> a row for each number
-- of links gone; .hold and .may: how many may go
local function cascade (link, opts)
  if type(opts) ~= "table" then
    core.fail("script", "cascade: a table of keys is wanted")
  end
  tables.check_keys("cascade", opts, cascade_keys)
  local own, taken = {}, {}
  for key, value in pairs(opts) do own[key] = value end
  if own.strings ~= nil and not (math.type(own.strings) == "integer" and
     own.strings >= 1 and own.strings <= 1000) then
    core.fail("script", "cascade: strings must be a whole number in 1 .. 1000 " ..
      "(got " .. tostring(own.strings) .. ")")
  end
  from_module(own, taken)
  local raw = core.cascade_raw(link, { cells = own.cells,
    cell_mohm = own.cell_mohm, v = own.v, current_a = own.current_a })
  local notes = cascade_notes(raw, own.strings == 1)
  if not core.keys(link).length_mm then
    taken[#taken + 1] = "the link's own resistance is left out (length_mm)"
  end
  if #taken > 0 then
    notes[#notes + 1] = { "taken", table.concat(taken, "; ") .. "." }
  end
  return core.table_new{ columns = cascade_columns, rows = raw.rows,
    heads = { cascade_head(raw, raw.cells, own.current_a),
      string.format("The first link may go at %s A on the group, and goes " ..
        "at %s A.", short(raw.group_low_a), short(raw.group_high_a)) },
    facts = { hold = raw.hold, may = raw.may, group_low_a = raw.group_low_a,
      group_high_a = raw.group_high_a, fault_a = raw.fault_a,
      others_a = raw.others_a },
    notes = closing(notes, nil, "the moment after each link goes, cells at " ..
      "one voltage", "charge that shifts between cells, heat from " ..
      "neighbours, arcs") }
end

--- module:cascade{ current_a } --> the same behind the module's own links
local function module_cascade (module, opts)
  local link = core.keys(module).link
  if not link then
    core.fail("script", "cascade: the module has no link (amp.fuse_link{})")
  end
  local own = {}
  for key, value in pairs(opts or {}) do own[key] = value end
  own.module = module
  return cascade(link, own)
end

-- ---- short circuit ----

local short_columns = { text("what", "short circuit"),
  number("bus_ka", "busbar, by 10 s resistance kA", "kA"),
  number("low_ka", "behind the leads kA", "kA"),
  number("high_ka", "first moment, up to kA", "kA"),
  number("string_ka", "one string alone kA", "kA"),
  number("into_string_ka", "the others into one string kA", "kA"),
  number("peak_ka", "lead-acid, peak kA", "kA"),
  number("lasting_ka", "lead-acid, lasting kA", "kA"),
  number("v", "full V", "V"), number("r_mohm", "the pack, 10 s mohm", "mohm"),
  text("bound", "only a bound", true) }

--- pack:short_circuit{ v, out_mohm } --> one row, .bus_ka .high_ka ..
function copper.short_circuit (pack, opts)
  local raw, notes = core.short_raw(pack, opts), {}
  raw.what = core.name(pack)
  local head = "No resistance is known: the short circuit has no bound, and " ..
    "nothing is said of an interrupt rating."
  if raw.bus_ka then
    head = string.format("%s%s kA at the busbar by the 10 s resistance%s.",
      raw.bound and "At least " or "", short(raw.bus_ka), raw.high_ka and
      ", up to " .. short(raw.high_ka) .. " kA in the first moment" or "")
    raw.bus_ka = { value = raw.bus_ka, basis = raw.basis }
    raw.high_ka = raw.high_ka and { value = raw.high_ka, basis = "assumed" }
    if raw.bound then
      cautions.add(notes, "short_circuit_only_bounded", "some modules have " ..
        "no r10s_mohm: the true value is this or more.")
    end
    notes[#notes + 1] = { "", "Parallel strings add. The resistance of the first " ..
      "moment is smaller than that of 10 s (up to twice the current, a " ..
      "guess of the trade); joints and leads that are left out make it " ..
      "less. No verdict from this alone." }
  else
    cautions.add(notes, "short_circuit_unknown", "r10s_mohm of the module " ..
      "is wanted.")
  end
  local why = { bus_ka = "r10s_mohm of the module is wanted" }
  return one_row(short_columns, raw, why, { heads = { head },
    notes = closing(notes, nil, "full voltage over the strings' resistance",
      "joints, links, the arc; any fuse's interrupt rating (amp.circuit{})") })
end

-- ---- a circuit ----

local circuit_columns = { text("caution", "caution"), text("said", "what"),
  number("value", "value", "", true), number("limit", "limit", "", true),
  text("unknown", "not judged", true) }

local function circuit_heads (raw)
  local heads, wrong, unknown = {}, 0, 0
  for _, f in ipairs(raw.findings) do
    if f.unknown then unknown = unknown + 1 else wrong = wrong + 1 end
  end
  if raw.current_a then
    heads[1] = string.format("%s A last%s: a fuse of %s A or more, the next " ..
      "standard one is %s.", short(raw.current_a), raw.at_v and " at " ..
      wording.trim(raw.at_v) .. " V" or "", wording.least(raw.fuse_least_a),
      raw.fuse_next_a and wording.trim(raw.fuse_next_a) .. " A" or
      "above 600 A")
  end
  heads[#heads + 1] = string.format("%d of %d comparisons %s out; %d could " ..
    "not be made.", wrong, math.tointeger(raw.checked) or raw.checked,
    wrong == 1 and "stands" or "stand", unknown)
  return heads
end

local function circuit_checked (raw)
  local list = {}
  local function add (given, what) if given then list[#list + 1] = what end end
  add(raw.fuse_a and raw.current_a, "fuse against load")
  add(raw.fuse_a and raw.ampacity_a, "fuse against cable")
  add(raw.ampacity_a and raw.current_a, "cable against load")
  add(raw.drop_pct, "drop")
  add(raw.v_full, "voltage")
  add(raw.bus_ka and raw.interrupt_ka, "short circuit")
  add(raw.surge_a, "surge")
  return #list > 0 and wording.list(list) or "nothing, for want of data"
end

-- names of what stands out; what could not be looked at isn't raised
local function circuit_ids (raw)
  local ids = {}
  for _, f in ipairs(raw.findings) do
    if not f.unknown then ids[#ids + 1] = f.id end
  end
  return table.concat(ids, " ")
end

local function circuit_table (circuit)
  local raw, rows = core.circuit_raw(circuit), {}
  for i, f in ipairs(raw.findings) do
    rows[i] = { caution = cautions.known(f.id), value = f.value,
      said = (f.unknown and "not judged: " or "") .. f.text .. ".",
      limit = f.limit, unknown = f.unknown }
  end
  local facts = {}
  for key, value in pairs(raw) do
    if type(value) == "number" then facts[key] = value end
  end
  facts.cautions = circuit_ids(raw)
  return core.table_new{ columns = circuit_columns, rows = rows,
    title = core.keys(circuit).name, heads = circuit_heads(raw),
    facts = facts, notes = closing({}, circuit, circuit_checked(raw),
      "joints, lugs, arcs, how the fuse is mounted, selectivity, what your " ..
      "code asks for") }
end

-- ---- pre-charge ----

local precharge_columns = { text("what", "pre-charge"),
  number("r_ohm", "resistor ohm", "ohm"), number("tau_s", "tau s", "s"),
  number("current_a", "first current A", "A"),
  number("peak_w", "first moment W", "W"),
  number("energy_j", "energy in the resistor J", "J"),
  number("time_s", "done after s", "s"),
  number("t95_s", "95 % after s", "s"), number("t99_s", "99 % after s", "s"),
  number("within_1v_s", "within 1 V after s", "s"),
  number("end_v", "the bus comes to V", "V"),
  number("left_v", "left over the contactor V", "V"),
  number("standing_w", "stays in the resistor W", "W"),
  number("closing_a", "when it closes A", "A"),
  number("bare_a", "without pre-charge A", "A"),
  number("bleed_s", "bled after s", "s"), number("bleed_w", "bleed W", "W"),
  text("completes", "completes", true) }

local function resistor_cautions (raw, keys, notes)
  local w, j = keys.resistor_w, keys.resistor_j
  if j and raw.energy_j > j then
    cautions.add(notes, "resistor_energy_below_pulse", string.format("%s J " ..
      "go into it each time, its sheet tells %s J.", short(raw.energy_j),
      short(j)))
  elseif w and not j then
    cautions.add(notes, "resistor_by_watts_only", string.format("%s W on " ..
      "its sheet, %s W at first and %s J in all: the sheet's pulse (" ..
      "resistor_j) decides.", short(w), short(raw.peak_w),
      short(raw.energy_j)))
  end
end

local function precharge_table (p)
  local raw, notes = { what = core.name(p) }, {}
  for _, c in ipairs(precharge_columns) do
    if raw[c.key] == nil then raw[c.key] = p[c.key] end
  end
  if raw.standing_w <= 0 then raw.standing_w = nil end
  local heads = { string.format("%s ohm: %s A at first, %s J in the " ..
    "resistor, %s.", short(raw.r_ohm), short(raw.current_a),
    short(raw.energy_j), raw.completes and "done after " ..
    short(raw.time_s) .. " s" or "and it never completes") }
  if not raw.completes then
    cautions.add(notes, "precharge_with_load_on", string.format("the bus comes to " ..
      "%s V and stays there, %s V stay over the contactor and %s W in the " ..
      "resistor. Switch the load off first.", short(raw.end_v),
      short(raw.left_v), short(raw.standing_w)))
  end
  resistor_cautions(raw, core.keys(p), notes)
  notes[#notes + 1] = { "", "Choose the resistor by the energy of a pulse " ..
    "and by its first moment, not by watts alone; repeated tries add up." }
  return one_row(precharge_columns, raw, { time_s = "it never completes",
    t95_s = "the bus does not come so far", t99_s = "the bus does not come " ..
    "so far", within_1v_s = "the bus does not come so far" }, {
    heads = heads, notes = closing(notes, p, "one resistor, one capacitor",
      "the pulse curve of the resistor, the contactor, what a converter " ..
      "does while it starts") })
end

-- ---- isolation, balancing ----

local isolation_columns = { text("what", "isolation"),
  number("kohm", "isolation kohm", "kohm"),
  number("ohm_per_v", "ohm per V", "ohm/V") }

local function isolation_table (x)
  local raw, notes = { what = core.name(x), kohm = x.kohm,
    ohm_per_v = x.ohm_per_v }, {}
  if raw.ohm_per_v < 100 then
    cautions.add(notes, "isolation_too_low", string.format("%s ohm a " ..
      "volt; 100 are asked for with direct current alone (from memory, " ..
      "after UN regulation 100).", short(raw.ohm_per_v)))
  end
  return one_row(isolation_columns, raw, nil, {
    heads = { string.format("%s kohm, %s ohm a volt.", short(raw.kohm),
      short(raw.ohm_per_v)) },
    notes = closing(notes, nil, "two readings of a voltmeter at one moment",
      "moisture, insulation that breaks down under more voltage, the " ..
      "meter's own resistance") })
end

local balancing_columns = { text("what", "balancing"),
  number("hours", "hours", "h"), number("days", "days", "days") }

local function balancing_table (x)
  return one_row(balancing_columns, { what = core.name(x), hours = x.hours,
    days = x.hours / 24 }, nil, {
    heads = { string.format("%s hours, %s days.", short(x.hours),
      short(x.hours / 24)) },
    notes = closing({}, x, "charge over current", "how warm the balancer " ..
      "gets, whether it works at rest, self-discharge meanwhile") })
end

print_as_table("cable", cable_table)
print_as_table("busbar", busbar_table)
print_as_table("fuse_link", link_table)
print_as_table("circuit", circuit_table)
print_as_table("precharge", precharge_table)
print_as_table("isolation", isolation_table)
print_as_table("balancing", balancing_table)
core.methods("fuse_link").cascade = cascade
core.methods("module").cascade = module_cascade
core.methods("pack").short_circuit = copper.short_circuit

return copper
