--- The page that a builder takes to the bench: which module stands where, what
-- a meter should show, what is done in which order, what to set, what to buy.
-- Its numbers come from the core (bench_raw) and from the objects given; this
-- half chooses the words. bench_lists has those that every pack shares.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local notes = loader("notes")
local origin = loader("origin")
local lists = loader("bench_lists")
local pages = loader("bench_pages")
local takes = loader("given")

local sheet = {}

local pcall = pcall

local short, fixed, trim = wording.short, wording.fixed, wording.trim

local function say (list, fmt, ...)
  list[#list + 1] = select("#", ...) > 0 and string.format(fmt, ...) or fmt
end

local function plural (n, one, many)
  return string.format("%d %s", n, n == 1 and one or many or one .. "s")
end

-- volts of a module to a hundredth, of a pack to a tenth; "-" where unknown
local function volts (v, digits)
  return v and v == v and fixed(v, digits or 2) or "-"
end

-- ---- which module stands where ----

-- parallel-first, the modules at each position side by side
local function levels_of (strings)
  local levels, longest = {}, 0
  for _, s in ipairs(strings) do longest = math.max(longest, #s) end
  for i = 1, longest do
    levels[i] = {}
    for _, s in ipairs(strings) do
      if s[i] then levels[i][#levels[i] + 1] = s[i] end
    end
  end
  return levels
end

local function name_of (module)
  local name = core.keys(module).name
  return name and tostring(name) or nil
end

-- the names, where each has one of its own
local function have_names (rows)
  local seen = {}
  for _, row in ipairs(rows) do
    for i = 1, #row do
      local name = name_of(row[i])
      if not name or seen[name] then return false end
      seen[name] = true
    end
  end
  return true
end

-- readings of a lot by id
local function by_id (lot)
  local of = {}
  for _, row in ipairs(lot and core.lot_rows(lot) or {}) do
    of[row.id] = row
  end
  return of
end

-- rows of {id, place, module, reading}; nil for more than are listed
local function shelf_of (s)
  local keys, of = s.keys, by_id(s.given.lot)
  if not keys.strings and keys.series * keys.parallel > 128 then return nil end
  local rows = notes.strings(keys)
  if not s.string_first then rows = levels_of(rows) end
  s.named = have_names(rows)
  local shelf, flat = {}, {}
  for r, row in ipairs(rows) do
    shelf[r] = {}
    for i = 1, #row do
      local place = r .. "." .. i
      local id = s.named and name_of(row[i]) or place
      local one = { id = id, place = place, module = row[i],
        reading = origin.reading(row[i]) or s.named and of[id] or nil }
      shelf[r][i], flat[#flat + 1] = one, one
    end
  end
  return shelf, flat
end

local function ids_of (row)
  local ids = {}
  for i, one in ipairs(row) do ids[i] = one.id end
  return ids
end

-- ---- what a meter should show ----

-- a mark where the charge rests on less than a test
local function ah_mark (module)
  local keys = core.keys(module)
  local v = keys.tested_ah or keys.capacity_ah
  local basis = core.kind(v) == "value" and core.value(v).basis or "assumed"
  return basis == "measured" and "" or basis == "claimed" and "'" or "?"
end

local function put_in (one, raw)
  if not raw.add_ah then return "-" end
  if raw.add_ah == 0 then return "level" end
  return (raw.add_ah > 0 and "+" or "") .. fixed(raw.add_ah, 1) ..
    ah_mark(one.module)
end

-- the row of a module; 'sum' is what its string comes to, told at its last
local function module_row (one, raw, sum)
  return { one.id, one.place, volts(raw.rest_v), raw.soc_pct and
    fixed(raw.soc_pct, 0) or "-", put_in(one, raw), volts(raw.level_v), "",
    sum and volts(sum) or "", "", strong = sum ~= nil }
end

local function volt_columns (s)
  return { { "module", left = true }, { "at", left = true }, { "read V" },
    { "SoC %" }, { "put in Ah" }, { "then V" }, { "yours", blank = 1 },
    { s.row .. " V" }, { "yours", blank = 8 } }
end

local function volt_rows (s)
  local rows, at = {}, 0
  for r, row in ipairs(s.shelf or {}) do
    for i, one in ipairs(row) do
      at = at + 1
      rows[#rows + 1] = module_row(one, s.raw.module[at], i == #row and
        (s.raw.row[r].level_v or 0 / 0) or nil)
    end
  end
  rows[#rows + 1] = { "pack", "", "", "", "", "", "", volts(s.raw.joined_v),
    "", strong = true }
  return rows
end

-- "Each module 23.10 V empty, 28.70 V full, each string 46.20, 57.40 V."
local function ends_note (s)
  local first, row = s.raw.module[1], s.raw.row[1]
  for _, raw in ipairs(s.raw.module) do
    if raw.full_v ~= first.full_v then first = nil break end
  end
  if not first then return "" end
  return string.format(" Each module: %s V empty%s, %s full%s%s.",
    volts(first.empty_v), s.raw.rest_low and " at rest" or "",
    volts(first.full_v), s.raw.rest_high and " at rest" or "",
    s.string_first and
    string.format("; each string %s, %s", volts(row.empty_v),
      volts(row.full_v)) or "")
end

-- readings differ by a few millivolts a group: what is still the same number
local function tolerance (s)
  local groups = s.flat[1] and core.keys(s.flat[1].module).series or 1
  return fixed(math.max(0.02, 0.002 * groups), 2)
end

local function volt_section (s)
  local note = "Read: at rest, at the terminals. Then: after what is put in, " ..
    "and rest again." .. ends_note(s)
  if s.raw.unread > 0 then
    note = plural(s.raw.unread, "module") .. " of " .. fixed(s.raw.modules,
      0) .. " without a reading: measure, write it in, and print the sheet " ..
      "again (lot = ..). " .. note
  end
  return { title = "Voltages", kind = "table", columns = volt_columns(s),
    rows = volt_rows(s), note = note }
end

-- ---- what is done, in order ----

-- an upper end below the flat part of the curve: its rest voltage tells it,
-- and a hundredth of a volt more is most of the charge
local function below_flat (s)
  local raw = s.raw
  return raw.plateau and raw.rest_high and raw.soc_max_pct < raw.flat_low_pct
end

-- V a group that brings a module full by itself; a window that ends below the
-- flat part of the curve says nothing of that
local function full_alone (s)
  return below_flat(s) and s.raw.daily_v_max or s.raw.cell_charge_v
end

local function level_steps (s, steps)
  local any = false
  for i, one in ipairs(s.flat) do
    local raw = s.raw.module[i]
    if raw.add_ah and raw.add_ah ~= 0 then
      any = true
      s.marked = s.marked or ah_mark(one.module) ~= ""
      say(steps, "Module %s alone: %s %s Ah%s; after a rest %s V.", one.id,
        raw.add_ah > 0 and "put in" or "take out", fixed(math.abs(raw.add_ah),
          1), ah_mark(one.module), volts(raw.level_v))
    end
  end
  if s.raw.flat or s.raw.plateau and (s.raw.unread > 0 or #s.flat == 0) then
    local first = s.flat[1]
    say(steps, "Bring every module full by itself%s before it meets " ..
      "another: a rest voltage tells no charge here.", first and
      string.format(", %s V until the current is small,", volts(
        core.keys(first.module).series * full_alone(s))) or "")
  elseif s.raw.unread > 0 or not s.raw.soc_pct then
    say(steps, "Bring all modules to one state of charge before any meets " ..
      "another.")
  elseif not any then
    say(steps, "All modules stand within 2 % of charge: nothing to put in.")
  end
end

-- V that one link adds, where all modules are of one size; nil: not told
local function a_module (s)
  local v = s.raw.module[1] and s.raw.module[1].level_v
  for _, raw in ipairs(s.raw.module) do
    if not v or not raw.level_v or math.abs(raw.level_v - v) > 0.05 * v then
      return nil
    end
  end
  return v
end

local function row_steps (s, steps)
  local v, ticks = a_module(s), {}
  for r in ipairs(s.shelf or {}) do ticks[r] = fixed(r, 0) end
  steps[#steps + 1] = { text = string.format("String by string, one link at " ..
    "a time, + to - as drawn. The meter, from the string's first -: %s more " ..
    "with each link, at the end the string's line of the table. Done:",
    v and "about " .. fixed(v, 1) .. " V" or "one module's voltage"),
    ticks = ticks }
end

local function order_of (s, row)
  local list = {}
  for _, step in ipairs(s.raw.step) do
    if step.row == row then
      list[#list + 1] = s.string_first and fixed(step.which, 0) or
        s.flat[math.tointeger(step.which)].id
    end
  end
  return list
end

local function current_words (s)
  local worst, bare = s.raw.worst_a, s.raw.bare_a
  if not worst then return "its first current is not told" end
  local words = string.format("first current %s%s A", s.raw.bound and
    "at most " or "up to ", short(worst))
  if bare > 2 * worst and bare > 5 then
    words = words .. string.format(" (as read, not level: %s A)", short(bare))
  end
  return words
end

local function join_steps (s, steps)
  if s.string_first and s.raw.rows > 1 then
    local order = order_of(s, 1)
    say(steps, "Join the strings to the bars in the order %s; before each, " ..
      "meter across the gap, and rest after each: %s.", #order > 0 and
      table.concat(order, ", ") or "of rest voltage, the nearest next",
      current_words(s))
  elseif not s.string_first then
    for r, row in ipairs(s.shelf or {}) do
      local order = order_of(s, r)
      say(steps, "Level %d: join %s to its two bars%s, + to one and - to the " ..
        "other; meter across each gap first.", r, table.concat(#order > 0 and
        order or ids_of(row), ", "), #order > 0 and " in this order" or "")
    end
    say(steps, "Rest after each: %s. Then the levels in series, %s, meter " ..
      "after each.", current_words(s), plural(s.raw.links, "link"))
  end
end

local function steps_section (s)
  local steps = {}
  for _, text in ipairs(lists.before) do say(steps, text) end
  say(steps, "Measure every module at rest, write it down. More than %s V " ..
    "off the sheet, or groups over 20 mV apart: stop, find out why.",
    tolerance(s))
  level_steps(s, steps)
  say(steps, lists.places)
  say(steps, lists.torque)
  if s.string_first then
    row_steps(s, steps)
    say(steps, lists.sense, plural(s.raw.managers, "board"),
      fixed(s.raw.groups, 0), fixed(s.raw.groups + 1, 0))
    say(steps, lists.polarity)
    join_steps(s, steps)
  else
    join_steps(s, steps)
    say(steps, lists.sense, plural(s.raw.managers, "board"),
      fixed(s.raw.groups, 0), fixed(s.raw.groups + 1, 0))
  end
  for _, text in ipairs(lists.last) do say(steps, text) end
  return { title = "Order of work", kind = "steps", items = steps }
end

-- ---- what the check says ----

local function check_of (s)
  local asked = {}
  for key, value in pairs(s.given) do
    if key ~= "title" then asked[key] = value end
  end
  return s.pack:check(asked)
end

-- a number that the check came to on its way; nil where it is not known
local function fact (s, key)
  local known, v = pcall(function () return s.report[key] end)
  return known and v or nil
end

-- ---- the limits to set ----

local function inverter_keys (s)
  return s.given.inverter and core.keys(s.given.inverter) or {}
end

-- 'way': "< " or "> ": a limit that must not be met
local function limit_row (s, what, group_v, way)
  if not group_v then return { what, "-", "-" } end
  way = way or ""
  return { what, way .. fixed(group_v, 2), way .. fixed(group_v *
    s.raw.groups, 1) }
end

-- V a group at which the BMS cuts, where that comes before a setting of 'v'
-- or with it; 'key' "max" or "min"
local function bms_first (s, key, v)
  local cut = s.bms and s.bms["cell_v_" .. key]
  if not cut or not v then return nil end
  return (key == "max" and cut <= v + 1e-9 or key == "min" and cut >= v -
    1e-9) and cut or nil
end

-- an end given as a charge that no voltage of this chemistry shows: the lower
-- between the knees, the upper where the core puts practice in its place
local function hidden (s, way)
  local raw = s.raw
  if not raw.plateau or not raw["rest_" .. way] then return false end
  if way == "high" then return raw.cell_charge_v > raw.cell_v_max + 1e-9 end
  return raw.soc_min_pct > raw.flat_low_pct
end

-- V a group up to which the inverter charges, and V of the pack: the least of
-- what the pack, the inverter's setting and its limit allow; and whose it is
local function full_setting (s)
  local inv, groups = inverter_keys(s), s.raw.groups
  local least, whose = s.raw.cell_charge_v, nil
  for _, key in ipairs{ "v_max", "v_abs_max" } do
    local v = inv[key]
    if least and v and v > 0 and v / groups < least - 1e-9 then
      least, whose = v / groups, key
    end
  end
  return least, whose
end

local function full_row (s)
  if s.report:raised "series_not_reachable" then
    return { "charger: not settable: see series_not_reachable", "-", "-" }
  end
  local v, whose = full_setting(s)
  local cut = bms_first(s, "max", v)
  if cut then
    return limit_row(s, "charger: full, below the BMS cut", cut, "< ")
  elseif below_flat(s) then
    return limit_row(s, string.format("charger: %s %% at rest; no voltage " ..
      "holds it", trim(s.raw.soc_max_pct)), v)
  end
  return limit_row(s, "charger: full, no equalising" .. (whose and
    ", the inverter's " .. whose or hidden(s, "high") and
    ", common practice" or s.raw.rest_high and string.format(
    ", %s %% at rest", trim(s.raw.soc_max_pct)) or ""), v)
end

-- {V a group, whose} below which no cut-out can be set, BMS aside
local function lowest_cut (s)
  local own = inverter_keys(s).v_min
  own = own and own / s.raw.groups
  return own and own > s.raw.limit_v_min + 1e-9 and { own, ", its v_min" } or
    { s.raw.limit_v_min, ", the cell's own limit" }
end

-- V of the pack that full load or a surge of seconds leaves at the empty end; nil: not
-- known, for want of a power or of a window that the inverter can use
local function under_load (s)
  local load, surge = fact(s, "v_load"), fact(s, "v_surge")
  return load and surge and math.min(load, surge) or load or surge
end

-- V a group where the inverter cuts out, and by what. An empty end given as a
-- charge is a voltage at rest: a cut-out set there would trip under load.
local function empty_setting (s)
  local raw, least = s.raw, lowest_cut(s)
  local v, words = raw.cell_v_min, ""
  if hidden(s, "low") then
    v, words = raw.daily_v_min, ", common practice"
  elseif raw.rest_low then
    local left = under_load(s)
    v, words = left and left / raw.groups or v, left and ", under load" or
      ", at rest: see below"
  end
  if least[1] > v + 1e-9 then v, words = least[1], least[2] end
  return v, words
end

local function empty_rows (s)
  local rows, v, words = {}, empty_setting(s)
  if s.raw.rest_low and not hidden(s, "low") then
    rows[1] = limit_row(s, string.format("empty at rest, %s %%",
      trim(s.raw.soc_min_pct)), s.raw.cell_v_min)
  end
  local cut = bms_first(s, "min", v)
  rows[#rows + 1] = cut and limit_row(s, "inverter: cuts out, above the BMS " ..
    "cut", cut, "> ") or limit_row(s, "inverter: cuts out" .. words, v)
  return rows
end

-- A trip is the last resort; where the BMS as given comes before a setting
-- that the pack's window wants, which.
local function trip_words (s)
  local full, empty, list = full_setting(s), empty_setting(s), {}
  local reachable = not s.report:raised "series_not_reachable"
  if reachable and bms_first(s, "max", full) then
    list[1] = "a charge to " .. fixed(full, 2)
  end
  if bms_first(s, "min", empty) then
    list[#list + 1] = "a cut-out at " .. fixed(empty, 2)
  end
  return #list == 0 and lists.settings or string.format("%s This one, as " ..
    "given, comes before or with %s V a group, which the pack's window " ..
    "wants: set one of them otherwise.", lists.settings, table.concat(list,
      " and "))
end

-- "full load leaves 50.8 V, a surge 47.4 V"
local function load_words (s)
  local load, surge = fact(s, "v_load"), fact(s, "v_surge")
  if load and surge and fixed(load, 1) == fixed(surge, 1) then
    return "full load or a surge of seconds leaves " .. fixed(load, 1) .. " V"
  end
  local list = {}
  if load then list[1] = "full load leaves " .. fixed(load, 1) .. " V" end
  if surge then
    list[#list + 1] = (load and "a surge of seconds " or
      "a surge of seconds leaves ") ..
      fixed(surge, 1) .. " V"
  end
  return table.concat(list, ", ")
end

-- what a charger's setting has to do with the charge that was asked for
local function full_note (s, list)
  local raw = s.raw
  local v, whose = full_setting(s)
  local cut = bms_first(s, "max", v)
  if below_flat(s) then
    say(list, "Charger: no voltage setting holds %s %% of charge: %s V a " ..
      "group is that at rest, a little more is the flat part of %s, where " ..
      "rest voltage shows about the same from %s to %s %%. A charger left " ..
      "to it may fill the cells: somebody has to count Ah.",
      trim(raw.soc_max_pct), fixed(v, 2), raw.chemistry,
      trim(raw.flat_low_pct), trim(raw.flat_high_pct))
  elseif raw.plateau and cut and cut < raw.daily_v_max - 1e-9 then
    say(list, "Charger: below the BMS cut of %s V a group it ends under " ..
      "common practice (no source), %s: it may neither fill these cells nor " ..
      "balance them.", fixed(cut, 2), fixed(raw.daily_v_max, 2))
  elseif raw.plateau and whose and v < raw.daily_v_max - 1e-9 then
    say(list, "Charger: the inverter's %s ends at %s V a group, common " ..
      "practice (no source) at %s: it may neither fill these cells nor " ..
      "balance them.", whose, fixed(v, 2), fixed(raw.daily_v_max, 2))
  elseif raw.plateau and raw.rest_high and not hidden(s, "high") then
    say(list, "Charger: near full the curve of %s is steep and its table " ..
      "coarse; common practice (no source) ends at %s V a group with a " ..
      "small current. The cell's sheet goes first.", raw.chemistry,
      fixed(raw.daily_v_max, 2))
  elseif hidden(s, "high") then
    say(list, "Charger: %s at rest shows about the same from %s to %s %%, so no voltage " ..
      "stands for %s %% of charge: the charger's is a terminal voltage of " ..
      "common practice (no source; the cell's sheet goes first), ended by " ..
      "a small current. It fills the cells%s.", raw.chemistry,
      trim(raw.flat_low_pct), trim(raw.flat_high_pct), trim(raw.soc_max_pct),
      raw.soc_max_pct < 100 and string.format("; to stay at %s %% somebody " ..
        "has to count Ah", trim(raw.soc_max_pct)) or "")
  elseif raw.rest_high and not cut then
    say(list, "Charger: %s V a group is %s %% at rest: a charge held there until the " ..
      "current is small ends at it, one broken off earlier ends lower.",
      fixed(raw.cell_v_max, 2), trim(raw.soc_max_pct))
  end
end

-- what load does to the cut-out
local function empty_note (s, list)
  local raw, left = s.raw, under_load(s)
  local own = inverter_keys(s).v_min
  local clipped = own and own / raw.groups > raw.cell_v_min + 1e-9
  if hidden(s, "low") then
    say(list, "Cut-out: no voltage stands for %s %% of charge: %sto stop at " ..
      "%s %% somebody has to count Ah.", trim(raw.soc_min_pct), bms_first(s,
      "min", (empty_setting(s))) and "" or "it is common practice (no " ..
      "source) and lies below; ", trim(raw.soc_min_pct))
  elseif raw.rest_low and left and not clipped then
    say(list, "Cut-out: empty is told at rest; there %s at the terminals: a cut-out " ..
      "set above that trips early, and one set at it lets a light load go " ..
      "below %s %%.", load_words(s), trim(raw.soc_min_pct))
  elseif raw.rest_low and not left then
    say(list, "Cut-out: it is told at rest: under load the terminals stand " ..
      "lower and it trips early. By how much: with the inverter's v_min, " ..
      "power_w and surge_w.")
  elseif left then
    say(list, "Cut-out: from that voltage at rest %s at the terminals: under load it " ..
      "cuts out earlier, with more charge left.", load_words(s))
  end
end

-- A to three digits, without zeros behind the point
local function amps (a)
  return trim(tonumber(short(a)))
end

-- {A, whose}: of all that was given the least; 'way' "discharge_a" or
-- "charge_a" of the BMS. Of boards side by side the strongest string decides.
local function least_current (s, way)
  local cable, bms = s.given.cable, s.bms
  local list = { { s.fuse_a, "the fuse's" },
    { cable and cable.ampacity_a, "the cable's" },
    { bms and bms[way], "the BMS's" } }
  if bms and bms[way] and bms.each_string then
    list[3] = { bms[way] * s.raw.managers / (fact(s, "share") or 1),
      fixed(s.raw.managers, 0) .. " BMS's" }
  end
  local least
  for i = 1, 3 do
    local a = list[i][1]
    if a and a == a and (not least or a < least[1]) then least = list[i] end
  end
  return least
end

-- what would have to be known besides
local function current_unknown (s)
  local cable, list = s.given.cable, {}
  if not s.fuse_a then list[#list + 1] = "fuse" end
  local a = cable and cable.ampacity_a
  if not (a and a == a) then
    list[#list + 1] = cable and "the cable's ampacity" or "cable"
  end
  list[#list + 1] = "links"
  return wording.list(list)
end

local function current_note (s, list)
  local out, back = least_current(s, "discharge_a"),
    least_current(s, "charge_a")
  if not out then
    return say(list, "Current that lasts: by fuse, cable and links, which " ..
      "were not given.")
  end
  say(list, "Current that lasts: under %s A, %s%s.", amps(out[1]), out[2],
    back and back[1] ~= out[1] and string.format("; charging under %s A, %s",
      amps(back[1]), back[2]) or "")
  if not (s.fuse_a and s.given.cable and s.given.cable.ampacity_a) then
    say(list, "Not counted in that: %s.", current_unknown(s))
  end
end

-- where charging ends in the cold: as the BMS was given, beside what the
-- chemistry's table or the module's own current_limits have
local function frost_words (s)
  local from, bms = fact(s, "charge_from_c"), s.bms or {}
  local own = bms.charge_min_c or bms.charge_min_f and
    (bms.charge_min_f - 32) / 1.8
  local typed = bms.charge_min_f and trim(bms.charge_min_f) .. " F (" ..
    short(own) .. " C)" or own and trim(own) .. " C"
  from = from or s.raw.chemistry ~= "lead_acid" and 0 or nil
  if not own then
    return from and string.format("No charging below %s C in the coldest " ..
      "cell%s.", trim(from), s.bms and ": at which temperature this BMS " ..
      "stops is not given" or "") or ""
  end
  return string.format("This BMS lets no charge begin below %s%s.", typed,
    from and own < from and string.format(": too cold, no " ..
    "charging below %s C in the coldest cell", trim(from)) or
    " in the coldest cell")
end

-- {what else is set, the charger, the cut-out, what is assumed}
local function settings_note (s)
  local raw, list, inv = s.raw, {}, inverter_keys(s)
  if inv.v_min and inv.v_max then
    say(list, "The inverter can be set from %s to %s V.", fixed(inv.v_min, 1),
      fixed(inv.v_max, 1))
  end
  current_note(s, list)
  say(list, frost_words(s))
  say(list, trip_words(s))
  list = { table.concat(list, " ") }
  if not s.report:raised "series_not_reachable" then
    full_note(s, list)
    empty_note(s, list)
  end
  if raw.assumed_low or raw.assumed_high then
    say(list, "Daily limits of the chemistry are assumed where none was " ..
      "given: common practice, no source.")
  end
  return list
end

-- a BMS that was given as it is set, with what the check has against that;
-- else the cell's own limit, which it must not pass
local function bms_row (s, what, key, sign)
  local cell = s.raw["limit_v_" .. key]
  local v = s.bms and s.bms["cell_v_" .. key]
  if not v then
    return limit_row(s, string.format("BMS cuts %s%s cell's own limit", what,
      s.bms and ", not given: within the" or " at the"), cell)
  end
  local past = sign * (v - cell) > 1e-9
  local window = key == "max" and s.raw.cell_charge_v or s.raw.cell_v_min
  local inside = sign * (window - v) > 1e-9
  return limit_row(s, string.format("BMS cuts %s, as given%s", what, past and
    string.format(": %s the cell's %s V", sign > 0 and "above" or "below",
      fixed(cell, 2)) or inside and ": inside the window" or ""), v)
end

local function settings_section (s)
  local inv = inverter_keys(s)
  local rows = { bms_row(s, "charge", "max", 1), full_row(s),
    table.unpack(empty_rows(s)) }
  rows[#rows + 1] = bms_row(s, "discharge", "min", -1)
  if inv.v_abs_max then
    rows[#rows + 1] = { "inverter: never above", "", fixed(inv.v_abs_max, 1) }
  end
  return { title = "To set", kind = "table", columns = {
    { "limit", left = true }, { "a group V" }, { "pack V" } }, rows = rows,
    note = settings_note(s) }
end

-- ---- what to buy ----

local none = "to be chosen"

local function piece (rows, number, what, size)
  rows[#rows + 1] = { number, what, size or none }
end

-- cautions by which a part that was given does not fit
local misfits = {
  fuse = { "fuse_below_load", "fuse_above_cable", "fuse_voltage_below_full",
    "fuse_for_alternating_current", "breaker_polarised",
    "interrupt_below_short", "interrupt_within_range_of_short",
    "surge_outlasts_fuse" },
  cable = { "cable_below_load", "fuse_above_cable", "drop_above_limit" },
  precharge = { "precharge_missing", "precharge_with_load_on" },
  link = { "link_below_load" },
  bms = { "bms_below_load", "bms_beyond_cell", "bms_inside_window",
    "charge_below_freezing" } }

-- the size of a given part, marked where the check speaks against it
local function marked (s, part, size)
  local list = {}
  for _, id in ipairs(size and misfits[part] or {}) do
    if s.report:raised(id) then list[#list + 1] = id end
  end
  return #list > 0 and size .. "; does not fit: " .. table.concat(list, ", ")
    or size
end

local function fuse_size (fuse)
  local keys = fuse and core.keys(fuse)
  if not keys then return nil end
  local size = short(keys.rating_a) .. " A"
  size = size .. (keys.voltage_v and ", " .. trim(keys.voltage_v) ..
    " V DC" or "")
  return size .. (keys.interrupt_ka and ", " .. trim(keys.interrupt_ka) ..
    " kA" or "")
end

local function cable_pieces (s, rows)
  local cable = s.given.cable
  local keys = cable and core.keys(cable) or {}
  local one_way = keys.one_way_m or keys.one_way_ft and keys.one_way_ft *
    0.3048
  local size = cable and (cable.awg and cable.awg .. " AWG" or
    trim(cable.area_mm2) .. " mm2")
  piece(rows, one_way and fixed(2 * one_way, 1) .. " m" or "-",
    "main cable, 4 lugs, 2 more a switch", marked(s, "cable", size))
end

local function link_pieces (s, rows)
  local cells = 0
  local link
  for _, one in ipairs(s.flat) do
    local keys = core.keys(one.module)
    if keys.link then
      link = core.keys(keys.link)
      cells = cells + keys.series * (keys.parallel or 1)
    end
  end
  if link then
    piece(rows, fixed(cells, 0), "fuse links between cell and bus",
      marked(s, "link", string.format("%s %s mm", link.metal,
        trim(link.diameter_mm))))
  end
end

local function string_fuses (s, rows)
  local keys, given = s.keys, s.keys.string_fuse
  local n = s.string_first and s.raw.rows or s.raw.modules
  if n < 2 then return end
  piece(rows, fixed(n, 0), s.string_first and
    "string fuses, at the terminal" or
    "module fuses, at the terminal", given and
    keys.string_fuse.rating_a and short(keys.string_fuse.rating_a) .. " A")
end

-- energy is C V^2 / 2 whatever the resistor
local function precharge_piece (s, rows)
  local inv, p = inverter_keys(s), s.given.precharge
  if not p and inv.capacitance_uf then
    p = core.precharge{ v = s.raw.charge_v, r_ohm = 1,
      capacitance_uf = inv.capacitance_uf }
    piece(rows, "1", "pre-charge resistor, its switch", string.format(
      "%s J a pulse", short(p.energy_j)))
    return
  end
  piece(rows, "1", "pre-charge resistor, its switch", p and marked(s,
    "precharge", string.format("%s ohm, %s J a pulse", short(p.r_ohm),
      short(p.energy_j))))
end

-- "given: 2.80 to 3.60 V, 100 A out, 50 A in"; nil where none is
local function bms_size (bms)
  if not bms then return nil end
  local list = {}
  if bms.cell_v_min or bms.cell_v_max then
    list[1] = volts(bms.cell_v_min) .. " to " .. volts(bms.cell_v_max) .. " V"
  end
  for _, way in ipairs{ { "discharge_a", " A out" }, { "charge_a", " A in" } }
  do
    local a = bms[way[1]]
    list[#list + 1] = a and trim(a) .. way[2] or nil
  end
  return "given" .. (#list > 0 and ": " .. table.concat(list, ", ") or "")
end

-- what joins the modules to each other
local function joining_pieces (s, rows)
  local raw = s.raw
  piece(rows, fixed(raw.managers, 0), string.format("BMS, %d groups, %d " ..
    "wires%s", raw.groups, raw.groups + 1, raw.managers > 1 and
    " each" or ""), marked(s, "bms", bms_size(s.bms)))
  piece(rows, fixed(raw.modules, 0), "temperature sensors, one a module")
  if raw.links > 0 then
    piece(rows, fixed(raw.links, 0), (raw.links == 1 and "link" or "links") ..
      (s.string_first and " from module to module" or " from level to level"))
  end
  piece(rows, fixed(raw.leads, 0), s.string_first and
    "string leads, 2 lugs each" or "module leads, 2 lugs each, or none")
  piece(rows, fixed(raw.bars, 0), "busbars, covered")
  link_pieces(s, rows)
  string_fuses(s, rows)
end

-- from the bars to the inverter
local function main_pieces (s, rows)
  piece(rows, "1", "main fuse, nearest the bar", marked(s, "fuse",
    fuse_size(s.given.fuse)) or s.fuse_next and "to be chosen: " ..
    trim(s.fuse_next) .. " A")
  piece(rows, "1", "main switch or contactor, DC", string.format(
    "over %s V DC", fixed(math.max(s.raw.charge_v, s.raw.groups *
      full_alone(s)), 1)))
  cable_pieces(s, rows)
  precharge_piece(s, rows)
end

local function pieces_section (s)
  local rows = {}
  joining_pieces(s, rows)
  main_pieces(s, rows)
  piece(rows, fixed(s.raw.terminals, 0), "covers, bolts, washers for terminals",
    "as its maker says")
  return { title = "To buy", kind = "table", tall = 1.9, columns = { { "" },
    { "piece", left = true }, { "size", left = true } }, rows = rows }
end

-- ---- cautions ----

local function unknown_note (report)
  local n = #report.not_looked_at
  return n > 0 and plural(n, "thing") .. " could not be looked at: " ..
    "pack:check says which and why." or nil
end

local function cautions_section (s)
  local report, list = s.report, {}
  for _, row in ipairs(report) do
    list[#list + 1] = { row.caution, row.what .. "." }
  end
  if #list == 0 then
    list[1] = { "", "None stands out of what was looked at." }
  end
  return { title = "Cautions", kind = "pairs", items = list,
    note = unknown_note(report) }
end

-- ---- what failed leaves ----

-- Strings as lists of modules; nil where one module stands for all.
local function listed (s)
  return not core.kind(s.keys.module) and notes.strings(s.keys) or nil
end

-- kWh left of the pack once that string, or the module at that place of it,
-- is out
local function left_without (s, string, place)
  local list = notes.strings(s.keys)
  if not place then return s.pack:without(string).usable_kwh end
  list[string][place] = false
  return s.pack:with{ strings = list, parallel = #list }.usable_kwh
end

-- kWh left without what costs most: a string, or one of a level's modules
local function least_left (s, strings)
  local least
  for r, row in ipairs(strings) do
    for place = 1, s.string_first and 1 or #row do
      local left = row[place] and left_without(s, r, not s.string_first and
        place or nil)
      if left and (not least or left < least) then least = left end
    end
  end
  return least
end

-- kWh that the inverter's window leaves of those of a pack of this voltage
local function reached (s, kwh)
  local own, left = s.pack.usable_kwh, fact(s, "usable_kwh")
  return kwh and own and left and own > 0 and kwh * left / own or kwh
end

-- modules of the level that has fewest
local function fewest_side (s)
  local fewest
  for _, row in ipairs(s.shelf or {}) do
    fewest = math.min(fewest or #row, #row)
  end
  return fewest or s.keys.parallel
end

-- A failed module: of the only string, or alone on its level, it ends all.
local function failure (s)
  local n = s.string_first and math.tointeger(s.raw.rows) or fewest_side(s)
  if n < 2 then
    return s.raw.modules == 1 and "Failed, the module ends all of it." or
      s.string_first and "A failed module ends all of it: there is no " ..
      "second string. Open it, label it, never bridge it." or
      "A failed module that is alone on its level ends all of it. Never " ..
      "bridge it."
  end
  local strings = listed(s)
  local left = strings and least_left(s, strings) or
    s.pack:with{ parallel = n - 1 }.usable_kwh
  return string.format(s.string_first and "A failed module takes its " ..
    "string out: %s of %s kWh stay, the other " .. (n == 2 and
    "string carries" or "strings carry") .. " %s %% more. Open it, label " ..
    "it, never bridge it." or "A failed module leaves its level to the " ..
    "others: %s of %s kWh stay, they carry %s %% more. Take it off both " ..
    "bars.", short(reached(s, left)), short(reached(s, s.pack.usable_kwh)),
    fixed(100 / (n - 1), 0))
end

local function years_section (s)
  local items = {}
  for _, text in ipairs(lists.years) do say(items, text) end
  items[#items + 1] = failure(s)
  return { title = "Through the years", kind = "steps", items = items }
end

-- ---- the whole page ----

local function head_lines (s)
  local raw, pack = s.raw, s.pack
  local name = s.keys.name and tostring(s.keys.name)
  local module = s.flat[1] and s.flat[1].module or s.keys.module
  local m = core.keys(module)
  local left = reached(s, pack.usable_kwh)
  local cut = left and left < pack.usable_kwh * (1 - 1e-9)
  local shape = string.format("%d in series, %s side by side", s.string_first
    and raw.modules // raw.rows or raw.rows, plural(s.string_first and
    raw.rows or raw.modules // raw.rows, s.string_first and "string" or
    "module"))
  return string.format("Bench sheet%s", name and ": " .. name or ""), {
    string.format("%s of %d groups (%s), %s; %s.", plural(raw.modules,
      "module"), m.series, raw.chemistry, shape, s.string_first and
      "string-first" or "parallel-first"),
    string.format("%s V full%s, %s V empty%s, %s groups; tested %s kWh, " ..
      "usable %s kWh%s%s.", fixed(raw.full_v, 1), raw.charge_v >
      raw.full_v + 0.05 and string.format(" at rest (%s V charging)",
        fixed(raw.charge_v, 1)) or raw.rest_high and " at rest" or "",
      fixed(raw.empty_v, 1), raw.rest_low and " at rest" or "",
      fixed(raw.groups, 0), short(pack.tested_kwh), short(left),
      cut and string.format(" inside the inverter's window (%s by the " ..
        "pack's)", short(pack.usable_kwh)) or "", pack.mass_kg and ", " ..
      trim(pack.mass_kg) .. " kg" or "") }
end

local wanted = { { "inverter", "inverter" }, { "cable", "main cable" },
  { "fuse", "main fuse" }, { "bms", "BMS" }, { "place", "place" }, { "duty", "duty" } }

local function foot_lines (s)
  local missing, foot = {}, {}
  for _, w in ipairs(wanted) do
    if s.given[w[1]] == nil then missing[#missing + 1] = w[2] end
  end
  if #missing > 0 then
    say(foot, "Not given: %s.", wording.list(missing))
  end
  if s.shelf and not s.named then
    say(foot, "Modules have no names of their own: 1.2 is the second of the " ..
      "first %s. Write its sticker on it.", s.row)
  end
  if s.marked then say(foot, "' rests on a claim, ? on an assumption.") end
  say(foot, lists.foot)
  say(foot, wording.who_decides)
  return { table.concat(foot, " "), notes.rerun{} }
end

local function plan_section (s)
  local rows = {}
  for r, row in ipairs(s.shelf or {}) do
    rows[r] = { label = s.row .. " " .. r, ids = ids_of(row) }
  end
  return { title = "Plan", kind = "plan", string_first = s.string_first,
    rows = rows, note = s.string_first and string.format("%s, %s, %s, %d " ..
    "joints on terminals.", plural(s.raw.links, "link"), plural(s.raw.leads,
    "lead"), plural(s.raw.bars, "bar"), s.raw.terminals) or string.format(
    "%s, %s in series, %d joints on terminals.", plural(s.raw.bars, "bar"),
    plural(s.raw.links, "link"), s.raw.terminals) }
end

-- lines that a section takes in a column, roughly: about 70 letters a line
local function lines_of (section)
  local n = 2
  for _, note in ipairs(pages.notes(section)) do
    n = n + math.ceil(#note / 65)
  end
  if section.kind == "plan" then
    return n + #section.rows * (section.string_first and 1.9 or 3.5)
  elseif section.kind == "table" then
    return n + 1 + #section.rows * (section.tall or 1.15)
  end
  for _, item in ipairs(section.items) do
    local text = type(item) == "table" and (item.text or item[1] .. item[2]) or
      item
    n = n + math.ceil(#text / 70) + 0.15
  end
  return n
end

-- Plan and voltages to the left, work to the right, and the others so that
-- the longer column is least long: bit k of 'right' puts number k there.
local function share_out (left, right, others)
  local function lines (list)
    local n = 0
    for _, section in ipairs(list) do n = n + lines_of(section) end
    return n
  end
  local l, r, best, least = lines(left), lines(right), nil, nil
  for choice = 0, 2 ^ #others - 1 do
    local a, b = l, r
    for k, section in ipairs(others) do
      local n = lines_of(section)
      if choice // 2 ^ (k - 1) % 2 == 1 then b = b + n else a = a + n end
    end
    if not least or math.max(a, b) < least then
      best, least = choice, math.max(a, b)
    end
  end
  for k, section in ipairs(others) do
    local to = best // 2 ^ (k - 1) % 2 == 1 and right or left
    to[#to + 1] = section
  end
  return left, right
end

local function page_of (s)
  local title, heads = head_lines(s)
  local drawn, volt, work = plan_section(s), volt_section(s), steps_section(s)
  local set, cautions, buy = settings_section(s), cautions_section(s),
    pieces_section(s)
  local below = { { title = "First power-up", kind = "steps",
    items = lists.power_up }, years_section(s),
    { title = "Before it travels", kind = "steps", items = lists.transport } }
  local left, right = share_out({ drawn, volt }, { work },
    { set, cautions, buy })
  return { title = s.given.title or title, heads = heads, left = left,
    right = right, below = below, reading = { drawn, volt, work, set, buy,
      cautions, table.unpack(below) }, foot = foot_lines(s) }
end

-- ---- the object ----

local known = { "duty", "inverter", "cable", "fuse", "precharge", "link",
  "place", "bms", "cautions", "lot", "at_v", "surge_s", "drop_max_pct",
  "short_ka", "out_mohm", "title" }

local function check_given (given)
  if type(given) ~= "table" then
    core.fail("script", "sheet: a table of named keys is wanted")
  end
  tables.check_keys("sheet", given, known)
  local title = given.title
  if title ~= nil and (type(title) ~= "string" or #title > 200 or
     title:find("%c")) then
    core.fail("script", "sheet: title must be one line of words")
  end
end

-- the main circuit of what was given, for fuse sizes and its cautions
local function circuit_of (pack, given)
  if not (given.fuse or given.cable or given.inverter) then return nil end
  return core.circuit{ pack = pack, fuse = given.fuse, cable = given.cable,
    inverter = given.inverter, at_v = given.at_v }
end

local function state_of (pack, given)
  local keys = core.keys(pack)
  local s = { pack = pack, keys = keys, given = given,
    string_first = keys.order ~= "parallel_first" }
  s.row = s.string_first and "string" or "level"
  s.shelf, s.flat = shelf_of(s)
  s.flat = s.flat or {}
  local rest = {}
  for i, one in ipairs(s.flat) do
    rest[i] = one.reading and one.reading.ocv_v or false
  end
  s.raw = core.bench_raw(pack, rest)
  s.report = check_of(s)
  s.circuit = circuit_of(pack, given)
  s.bms = given.bms and core.keys(given.bms)
  s.fuse_a = given.fuse and core.keys(given.fuse).rating_a
  s.fuse_next = s.circuit and s.circuit.fuse_next_a
  return s
end

local methods, objects = {}, setmetatable({}, { __mode = "k" })
local meta = { __name = "ampstead.sheet", __metatable = "ampstead.sheet" }

function meta.__index (_, key)
  if methods[key] then return methods[key] end
  local names = { "text", "markdown", "html", "write" }
  core.fail("script", wording.has_no("a sheet", key, names))
end

function meta.__newindex ()
  core.fail("script", "a sheet never changes")
end

function meta.__tostring (self)
  return pages.text(objects[self])
end

for _, form in ipairs{ "text", "markdown", "html" } do
  methods[form] = function (self)
    return pages[form](tables.held(objects, self, "sheet", form))
  end
end

local endings = { txt = "text", md = "markdown", html = "html" }

--- sheet:write("sheet.html"): in the form that the ending names
function methods.write (self, path)
  local page = tables.held(objects, self, "sheet", "write")
  local form = type(path) == "string" and endings[path:match("%.(%w+)$")]
  if not form then
    core.fail("script", "sheet: write: the name must end in .txt, .md or " ..
      ".html (got " .. tostring(path) .. ")")
  end
  core.write(path, pages[form](page))
end

--- pack:sheet{ inverter, cable, fuse, .. } --> the page for the bench
function sheet.sheet (pack, given)
  if given == nil then given = {} end
  check_given(given)
  local self = setmetatable({}, meta)
  local parts = takes.take("sheet", given)
  objects[self] = pages.clean(page_of(state_of(pack, parts)))
  return self
end

core.methods("pack").sheet = sheet.sheet

return sheet
