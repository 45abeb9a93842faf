--- Which module goes where: string-first and parallel-first side by side.
local core, loader = ...
local wording = loader("wording")
local cautions = loader("cautions")
local tables = loader("table")
local plain = loader("plain")
local lots = loader("lot")
local origin = loader("origin")

local plan = {}

local orders = { "string_first", "parallel_first" }
local in_words = { string_first = "string-first",
  parallel_first = "parallel-first" }
local row_word = { string_first = "string", parallel_first = "position" }

-- ---- who takes part ----

local function check_lot (lot, who)
  if core.kind(lot) ~= "lot" then
    core.fail("script", who .. ": a lot of readings is wanted (got " ..
      (core.kind(lot) or type(lot)) .. ")")
  end
  local keys = core.keys(lot)
  if not keys.module then
    core.fail("script", who .. ": which module is it? Read the lot with " ..
      "module = amp.module{}")
  end
  return keys.module
end

-- rows that judge accepts; 'pool' keeps who was left out, and which of them
-- only wait for a reading
local function leave_out (pool, id, verdict)
  pool.out[#pool.out + 1] = id .. " (" .. verdict .. ")"
  if verdict == "not judged" then pool.open[#pool.open + 1] = id end
end

local function accepted_rows (lot, pool)
  local rows, kept = core.lot_rows(lot), {}
  local judged, whole = core.lot_judge(lot), core.lot_is_accepted(lot)
  for i, row in ipairs(rows) do
    local verdict = whole and "accept" or judged[i].verdict
    if verdict == "accept" then
      kept[#kept + 1] = row
      row.unread = lots.is_unread(judged[i])
    else
      leave_out(pool, row.id, verdict)
    end
  end
  for _, out in ipairs(lots.left_out(lot)) do
    leave_out(pool, out.id, out.verdict)
  end
  return kept
end

-- Ah that stand in for modules nobody tested, in words and with basis
local function stand_in (lot, module)
  local m = core.lot_mean(lot, "ah")
  if m then
    return m.mean, string.format("the mean of %d tested, %s Ah, stands in",
      m.n, wording.short(m.mean)), "assumed"
  end
  local f = core.module_facts(module)
  return f.ah, string.format("the module's %s, %s Ah, stands in", f.tested and
    "tested capacity" or "nameplate", wording.short(f.ah)), f.basis
end

-- entries of one lot into the pool: {id, ah, r10s_mohm, tested, module}
local function enter (pool, lot, who, mark)
  local module = check_lot(lot, who)
  local rows = accepted_rows(lot, pool)
  local ah, words, basis = stand_in(lot, module)
  local gaps, no_r = 0, 0
  for _, row in ipairs(rows) do
    local id = row.id .. mark
    if pool.seen[id] then
      core.fail("script", "match: the id \"" .. id .. "\" stands twice")
    end
    pool.seen[id] = true
    if row.unread then
      pool.unread[#pool.unread + 1] = { id = id, remark = row.remark }
    end
    pool[#pool + 1] = { id = id, ah = row.ah or ah, tested = row.ah ~= nil,
      r10s_mohm = row.r10s_mohm, module = module, owned = mark ~= "",
      lot = lot, row_id = row.id }
    gaps = gaps + (row.ah and 0 or 1)
    no_r = no_r + (row.r10s_mohm and 0 or 1)
  end
  if gaps > 0 then
    pool.basis = basis
    pool.notes[#pool.notes + 1] = { "", string.format("Capacity of %d of " ..
      "%d modules is not tested: %s.", gaps, #rows, words) }
  end
  if no_r > 0 then
    pool.notes[#pool.notes + 1] = { "", string.format("Resistance of %d of " ..
      "%d modules is not measured: the median stands in, and shares of " ..
      "current are bounds only.", no_r, #rows) }
  end
  return module
end

-- one chemistry, one number of groups: else nothing may be joined
local function check_alike (a, b)
  local ka, kb = core.keys(a), core.keys(b)
  local function name (keys)
    local c = keys.chemistry or keys.cell
    return core.kind(c) and core.name(c) or tostring(c)
  end
  if name(ka) ~= name(kb) or ka.series ~= kb.series then
    core.fail("script", string.format("match: " ..
      cautions.known("chemistry_mixed") .. ": %s of %d " ..
      "groups and %s of %d groups are not joined", name(ka), ka.series,
      name(kb), kb.series))
  end
end

-- label capacities this far apart are of two generations; common practice,
-- no source
local alike = 0.05

local function label_ah (module)
  local given = core.keys(module).capacity_ah
  return core.kind(given) == "value" and core.value(given).value or given
end

-- two labels in one string: they age apart, whatever they hold today
local function generation_note (bought, owned)
  local a, b = label_ah(bought), label_ah(owned)
  if a and b and math.abs(a / b - 1) > alike then
    return cautions.line("generation_mixed", string.format("%s Ah on the " ..
      "label, %s Ah on that of the owned: such age apart in one string.",
      wording.trim(a), wording.trim(b)))
  end
end

local function whole (opts, key)
  local v = opts[key]
  if type(v) ~= "number" or v ~= math.floor(v) or not (v >= 1 and v <= 1000)
  then
    local got = type(v) ~= "number" and type(v) or v ~= v and "nan" or
      wording.trim(v)
    core.fail("script", "match: " .. key .. " must be a whole number, " ..
      "1 .. 1000 (got " .. got .. ")")
  end
  return math.tointeger(v)
end

-- ---- one order ----

local function ids_of (pool, list)
  local ids = {}
  for i, at in ipairs(list) do ids[i] = pool[at].id end
  return ids
end

-- charge that no arrangement reaches for want of equal modules, %
local function unused (pool, raw, series)
  local sum = 0
  for _, row in ipairs(raw) do
    for _, at in ipairs(row) do sum = sum + pool[at].ah end
  end
  local pct = 100 * (1 - raw.ah * series / sum)
  return pct > 1e-9 and pct or 0 -- below that it's rounding
end

local function worst_failure (pool, raw)
  local worst
  for i, f in ipairs(raw.failures) do
    if f.ah and (not worst or f.ah < raw.failures[worst].ah) then worst = i end
  end
  local f = raw.failures[worst]
  return { id = pool[worst].id, lost_ah = raw.ah - f.ah,
    lost_pct = 100 * (raw.ah - f.ah) / raw.ah, surge = f.surge,
    spare_ah = f.spare_ah }
end

local function most_surge (raw)
  local most
  for _, f in ipairs(raw.failures) do
    if f.surge and (not most or f.surge > most) then most = f.surge end
  end
  return most
end

local make_pack -- below

local function one_order (self, order)
  local pool = self.pool
  local raw = core.match_raw(pool, self.series, self.parallel,
    order == "string_first", self.give)
  local rows = {}
  for i, row in ipairs(raw) do rows[i] = ids_of(pool, row) end
  local volts = self.series * self.nominal_v
  local worst = worst_failure(pool, raw)
  return { raw = raw, rows = rows, spares = ids_of(pool, raw.spares),
    ah = raw.ah, kwh = raw.ah * volts / 1000, best_ah = raw.best_ah,
    bound_ah = raw.bound_ah, proven = raw.proven,
    gap_pct = 100 * (1 - raw.best_ah / raw.bound_ah),
    unused_pct = unused(pool, raw, self.series),
    stress = raw.stress, stress_id = raw.stress and pool[raw.who].id,
    worst_id = worst.id, worst_lost_kwh = worst.lost_ah * volts / 1000,
    worst_lost_pct = worst.lost_pct, surge = most_surge(raw) }
end

-- what the window leaves; assumed where the chemistry's daily limits stand in
local function usable (self, order)
  local keys, module = { order = order }, core.keys(self.module)
  local function given (a, b)
    return (self.window[a] or self.window[b] or module[a] or module[b]) ~= nil
  end
  self[order].usable_kwh = make_pack(self, keys).usable_kwh
  self.usable_basis = given("cell_v_min", "soc_min_pct") and
    given("cell_v_max", "soc_max_pct") and self.pool.basis or "assumed"
end

-- ---- a pack of it ----

local window_keys = { "cell_v_min", "cell_v_max", "soc_min_pct",
  "soc_max_pct" }

-- one module as the bench found it
local function as_read (entry)
  local keys = core.keys(entry.module)
  keys.name, keys.soh_pct = entry.id, nil
  keys.tested_ah = entry.tested and core.measured(entry.ah) or
    core.assumed(entry.ah)
  if entry.r10s_mohm then
    keys.r10s_mohm = core.measured(entry.r10s_mohm)
  end
  return origin.put(core.module(keys), entry.lot, entry.row_id)
end

-- strings of modules; parallel-first, module i of each position
local function strings_of (self, order)
  local strings, raw = {}, self[order].raw
  for k = 1, self.parallel do
    strings[k] = {}
    for i = 1, self.series do
      local at = order == "string_first" and raw[k][i] or raw[i][k]
      strings[k][i] = as_read(self.pool[at])
    end
  end
  return strings
end

-- as many equal modules that hold the same: for more than a pack lists
local function equal_module (self, order)
  local keys = core.keys(self.module)
  local make = self.pool.basis == "measured" and core.measured or
    self.pool.basis == "claimed" and core.claimed or core.assumed
  keys.soh_pct = nil
  keys.tested_ah = make(self[order].ah / self.parallel)
  local used = {}
  for _, row in ipairs(self[order].raw) do
    for _, at in ipairs(row) do used[#used + 1] = self.pool[at] end
  end
  return origin.put_all(core.module(keys), used)
end

local listed_most = 128

make_pack = function (self, keys)
  for _, key in ipairs(window_keys) do
    if keys[key] == nil then keys[key] = self.window[key] end
  end
  if self.series * self.parallel <= listed_most then
    keys.strings = strings_of(self, keys.order)
  else
    keys.module = equal_module(self, keys.order)
    keys.series, keys.parallel = self.series, self.parallel
  end
  return core.pack(keys)
end

-- ---- printing ----

local function proof (one)
  if one.proven then return "proven" end
  return "within " .. wording.trim(one.gap_pct, 2) .. " %"
end

local function join (ids)
  return table.concat(ids, " ")
end

local function side_cells (self, order)
  local one = self[order]
  local cells = { what = in_words[order],
    kwh = { value = one.kwh, basis = self.pool.basis },
    usable_kwh = { value = one.usable_kwh, basis = self.usable_basis },
    ah = { value = one.ah, basis = self.pool.basis }, proven = proof(one),
    unused_pct = one.unused_pct,
    stress = one.stress and { value = one.stress,
      text = wording.fixed(one.stress, 2) .. " (" .. one.stress_id .. ")" } or
      { why = "no resistance was measured" },
    lost = { value = one.worst_lost_kwh, text = string.format("%s (%s %%)",
      wording.short(one.worst_lost_kwh), wording.fixed(one.worst_lost_pct,
        0)) },
    surge = one.surge and { value = one.surge, text =
      string.format("+%s %%", wording.fixed(100 * (one.surge - 1), 0)) } or
      { why = "nothing is left beside it" },
    spares = #one.spares > 0 and join(one.spares) or "none" }
  for i, row in ipairs(one.rows) do cells["row_" .. i] = join(row) end
  return cells
end

local function side_columns (self)
  local columns = { { key = "what", label = "order", kind = "text" },
    { key = "kwh", label = "kWh, whole charge", kind = "number",
      unit = "kWh" },
    { key = "usable_kwh", label = "usable kWh", kind = "number",
      unit = "kWh" },
    { key = "ah", label = "Ah of the pack", kind = "number", unit = "Ah" },
    { key = "proven", label = "optimum", kind = "text" },
    { key = "unused_pct", label = "charge left idle %", kind = "number",
      unit = "%" },
    { key = "stress", label = "current over its share", kind = "number" },
    { key = "lost", label = "lost by the worst failure, kWh",
      kind = "number", unit = "kWh" },
    { key = "surge", label = "the others then carry", kind = "number" } }
  for i = 1, math.max(self.series, self.parallel) do
    local n = tostring(i)
    local label = i <= self.parallel and i <= self.series and
      "string / position " .. n or
      (i <= self.parallel and "string " or "position ") .. n
    columns[#columns + 1] = { key = "row_" .. n, label = label,
      kind = "text" }
  end
  columns[#columns + 1] = { key = "spares", label = "spares", kind = "text" }
  return columns
end

-- "String-first 23.8 kWh, parallel-first 23.9 kWh: 0.5 % more."
local function order_head (self)
  local s, p = self.string_first.kwh, self.parallel_first.kwh
  local more = 100 * (p / s - 1)
  return string.format("String-first %s kWh, parallel-first %s kWh%s.",
    wording.short(s), wording.short(p), more < 0.05 and ": the same" or
    ": " .. wording.trim(more, 2) .. " % more")
end

local function failure_head (self)
  local s, p = self.string_first, self.parallel_first
  return string.format("One failed module costs at most %s kWh " ..
    "string-first, %s kWh parallel-first.", wording.short(s.worst_lost_kwh),
    wording.short(p.worst_lost_kwh))
end

local function use_head (self)
  local used, spare = self.series * self.parallel, #self.string_first.spares
  return string.format("%d of %d modules, %d in series and %d side by side" ..
    "%s.", used, used + spare, self.series, self.parallel, spare > 0 and
    ", " .. spare .. " spare" or "")
end

local function apart_note (self)
  if not self.apart_ah then return nil end
  local together = self.string_first.ah
  return { "", string.format("* owned already. String-first, %s Ah mixed " ..
    "and %s Ah with the owned ones in strings of their own.",
    wording.short(together), wording.short(self.apart_ah)) }
end

local uneven = 5 -- % of the charge left idle; common practice, no source

-- "6", "one of 6, 8", "2 of 6, 8, 9": those that only wait for a reading
local function of_open (open, n)
  if n == #open then return wording.list(open) end
  return (n == 1 and "one" or tostring(n)) .. " of " .. table.concat(open,
    ", ")
end

-- spares and modules that are not judged may make one string more
local function open_note (self)
  local spares, open = self.string_first.spares, self.pool.open
  local wanted = self.series - #spares
  if wanted < 1 or wanted > #open then return nil end
  return { "", string.format("%s, not judged, would complete one more string " ..
    "of %d%s: lot:judge() says what is wanted.", of_open(open, wanted),
    self.series, #spares > 0 and " with " .. wording.list(spares) or "") }
end

local function plan_notes (self)
  local lines = {}
  for i, line in ipairs(self.pool.notes) do lines[i] = line end
  lines[#lines + 1] = apart_note(self)
  if #self.pool.out > 0 then
    cautions.add(lines, "module_not_accepted", "left out: " ..
      table.concat(self.pool.out, ", ") .. ".")
  end
  if #self.pool.unread > 0 then
    cautions.add(lines, "remark_to_read", "nobody read: " ..
      lots.quoted(self.pool.unread) .. ": look at these modules again before " ..
      "they are joined.")
  end
  lines[#lines + 1] = open_note(self)
  lines[#lines + 1] = self.level_note
  lines[#lines + 1] = self.generation_note
  local idle = self.string_first.unused_pct
  if idle and idle > uneven then
    cautions.add(lines, "series_capacity_uneven", string.format("strings " ..
      "leave %s %% idle: a string gives what its weakest module gives.",
      wording.short(idle)))
  end
  for _, order in ipairs(orders) do
    local one = self[order]
    if one.ah < one.best_ah then
      lines[#lines + 1] = { "", string.format("%s gives up %s of %s Ah for " ..
        "its resistances.", in_words[order],
        wording.trim(one.best_ah - one.ah, 3), wording.short(one.best_ah)) }
    end
  end
  lines[#lines + 1] = { "", "A failed module takes its string out, or leaves " ..
    "its position to the others. Current over its share: share of current " ..
    "by 10 s resistance over share of charge, of the string or module hit " ..
    "hardest; over hours the shares go by charge." }
  lines[#lines + 1] = { "", "String-first wants a BMS for each string, " ..
    "parallel-first one for all and a link at each module (common " ..
    "practice). Fuses and cables are not looked at here." }
  return lines
end

local function plan_table (self)
  local rows, lines = {}, plan_notes(self)
  for i, order in ipairs(orders) do rows[i] = side_cells(self, order) end
  return core.table_new{ columns = side_columns(self), rows = rows,
    across = true, heads = { use_head(self), order_head(self),
      failure_head(self) }, facts = { cautions = cautions.ids(lines) },
    notes = lines }
end

-- ---- failures ----

local function failure_rows (self)
  local rows = {}
  local volts = self.series * self.nominal_v / 1000
  for i, entry in ipairs(self.pool) do
    local row, any = { id = entry.id }, false
    for _, order in ipairs(orders) do
      local one = self[order]
      local f = one.raw.failures[i]
      if f.ah then
        any = true
        row[order .. "_lost_kwh"] = (one.ah - f.ah) * volts
        row[order .. "_lost_pct"] = 100 * (one.ah - f.ah) / one.ah
        row[order .. "_surge_pct"] = f.surge and 100 * (f.surge - 1) or
          { why = "nothing is left beside it" }
        row[order .. "_with_spare_kwh"] = f.spare_ah and
          (one.ah - f.spare_ah) * volts
      end
    end
    if any then rows[#rows + 1] = row end
  end
  return rows
end

local function failures (self)
  local columns = { { key = "id", label = "id", kind = "text" } }
  local short = { string_first = "strings", parallel_first = "positions" }
  for _, order in ipairs(orders) do
    local function add (key, label, unit)
      columns[#columns + 1] = { key = order .. key, label = short[order] ..
        ": " .. label, kind = "number", unit = unit }
    end
    add("_lost_kwh", "lost kWh", "kWh")
    add("_lost_pct", "%", "%")
    add("_surge_pct", "others +%", "%")
    if #self[order].spares > 0 then
      add("_with_spare_kwh", "with spare", "kWh")
    end
  end
  return core.table_new{ columns = columns, rows = failure_rows(self),
    heads = { failure_head(self) }, notes = { { "", "Lost: kWh of the " ..
      "whole charge while it is out, and with the best spare in its place. " ..
      "What made it fail is not looked at." } } }
end

-- ---- the object ----

local methods, objects = {}, setmetatable({}, { __mode = "k" })

local function own (self, who)
  return tables.held(objects, self, "plan", who)
end

function methods.failures (self)
  return failures(own(self, "failures"))
end

function methods.table (self)
  return plan_table(own(self, "table"))
end

--- plan:pack{ order = "string_first", cell_v_min = 3.3, .. } --> pack of
-- these modules, each as it was read
function methods.pack (self, opts)
  local keys = {}
  if opts ~= nil and type(opts) ~= "table" then
    core.fail("script", "plan:pack: a table of keys is wanted")
  end
  for key, value in pairs(opts or {}) do keys[key] = value end
  keys.order = keys.order or "string_first"
  if not in_words[keys.order] then
    core.fail("script", "plan:pack: order must be \"string_first\" or " ..
      "\"parallel_first\" (got '" .. tostring(keys.order) .. "')")
  end
  return make_pack(own(self, "pack"), keys)
end

local known = { "series", "parallel", "string_first", "parallel_first",
  "apart_ah" }
local is_known = {}
for _, key in ipairs(known) do is_known[key] = true end

local meta = { __name = "ampstead.plan", __metatable = "ampstead.plan" }

function meta.__index (self, key)
  local held = objects[self]
  if methods[key] then return methods[key] end
  if in_words[key] then return held.read[key] end
  if is_known[key] then return held[key] end
  core.fail("script", wording.has_no("a plan", key, known))
end

function meta.__newindex ()
  core.fail("script", "a plan never changes")
end

function meta.__tostring (self)
  return tostring(plan_table(objects[self]))
end

-- what a script reads of one order: strings or positions by id
local read_keys = { "kwh", "usable_kwh", "ah", "best_ah", "bound_ah",
  "proven", "gap_pct", "unused_pct", "stress", "stress_id", "worst_id",
  "worst_lost_kwh", "worst_lost_pct", "surge", "spares" }

local function readable (one, order)
  local out = {}
  for _, key in ipairs(read_keys) do out[key] = one[key] end
  out[row_word[order] .. "s"] = one.rows
  return plain.list(out)
end

-- V a group: on a flat curve this much may be a third of the charge; common
-- practice, no source
local flat_apart = 0.010

-- least and most of what 'of' tells of the accepted modules of these lots
local function range (lots_, of)
  local low, high
  for _, lot in ipairs(lots_) do
    local judged, sum = core.lot_judge(lot)
    local all = core.lot_is_accepted(lot)
    for _, j in ipairs(judged) do
      local v = (all or j.verdict == "accept") and of(j, sum)
      if v then
        low, high = math.min(low or v, v), math.max(high or v, v)
      end
    end
  end
  return low, high
end

-- the middle of each module's groups, where that tells no charge
local function flat_note (lots_)
  local any = range(lots_, function (j, sum)
    return sum.flat and not j.soc and j.group
  end)
  if not any then return nil end
  local low, high = range(lots_, function (j) return j.group end)
  if high - low > flat_apart then
    return cautions.line("charge_not_level", string.format("the modules rest " ..
      "between %s and %s V a group: on this flat curve %s mV may be much of " ..
      "the charge, and voltage does not tell how much. Bring each full by " ..
      "itself before joining.", wording.fixed(low, 3), wording.fixed(high, 3),
      wording.fixed(1000 * (high - low), 0)))
  end
  return { "", "On this flat curve rest voltage tells no charge: bring each " ..
    "module full by itself before joining." }
end

-- charges that stand apart are to be levelled before anything is joined
local function level_note (lots_)
  local low, high = range(lots_, function (j) return j.soc end)
  if low and high - low > 0.05 then
    return cautions.line("charge_not_level", string.format("the modules " ..
      "stand between %s and %s %% SoC: bring them level before joining.",
      wording.fixed(100 * low, 0), wording.fixed(100 * high, 0)))
  end
  return flat_note(lots_)
end

local match_keys = { "series", "parallel", "give_pct", "owned",
  "cell_v_min", "cell_v_max", "soc_min_pct", "soc_max_pct" }

-- the owned in strings of their own, the bought in the others
local function apart (self, owned, bought)
  local own_strings = math.min(#owned // self.series, self.parallel)
  local rest = self.parallel - own_strings
  if own_strings == 0 or #bought < rest * self.series then return nil end
  local ah = core.match_raw(owned, self.series, own_strings, true).ah
  return rest > 0 and
    ah + core.match_raw(bought, self.series, rest, true).ah or ah
end

local function split (pool)
  local owned, bought = {}, {}
  for _, entry in ipairs(pool) do
    local list = entry.owned and owned or bought
    list[#list + 1] = entry
  end
  return owned, bought
end

local function check_opts (opts)
  if type(opts) ~= "table" then
    core.fail("script", "match: a table of options is wanted, { series = 2," ..
      " parallel = 5 }")
  end
  tables.check_keys("match", opts, match_keys)
  local give = opts.give_pct or 0
  if type(give) ~= "number" or not (give >= 0 and give <= 50) then
    core.fail("script", "match: give_pct must lie in 0 .. 50 %")
  end
  local held = { window = {}, give = give / 100,
    series = whole(opts, "series"), parallel = whole(opts, "parallel"),
    pool = { out = {}, open = {}, unread = {}, seen = {}, notes = {},
      basis = "measured" } }
  for _, key in ipairs(window_keys) do held.window[key] = opts[key] end
  return held
end

-- as many accepted modules as there are places
local function check_number (self)
  local pool, wanted = self.pool, self.series * self.parallel
  local short = wanted - #pool
  if short <= 0 then return end
  local open = short <= #pool.open and string.format("; %s, not judged, " ..
    "would complete them: lot:judge() says what is wanted", of_open(pool.open,
    short)) or ""
  core.fail("script", string.format("match: %d in series and %d side by " ..
    "side are %d modules, and %d are accepted%s%s", self.series,
    self.parallel, wanted, #pool, #pool.out > 0 and " (left out: " ..
    table.concat(pool.out, ", ") .. ")" or "", open))
end

--- amp.match(lot, { series, parallel, give_pct, owned }) --> plan
function plan.match (lot, opts)
  local held = check_opts(opts)
  local pool = held.pool
  held.module = enter(pool, lot, "match", "")
  if opts.owned ~= nil then
    if rawequal(opts.owned, lot) then
      core.fail("script", "match: owned is the very lot that is matched")
    end
    local owned = enter(pool, opts.owned, "match: owned", "*")
    check_alike(held.module, owned)
    held.generation_note = generation_note(held.module, owned)
  end
  check_number(held)
  held.nominal_v = core.module_facts(held.module).nominal_v
  held.read = {}
  for _, order in ipairs(orders) do
    held[order] = one_order(held, order)
    usable(held, order)
    held.read[order] = readable(held[order], order)
  end
  if opts.owned ~= nil then held.apart_ah = apart(held, split(pool)) end
  held.level_note = level_note{ lot, opts.owned }
  local self = setmetatable({}, meta)
  objects[self] = held
  return self
end

return plan
