--- Chances of a small lot: offer:accepted, how many modules will be good in
-- whole strings; offer:tests_wanted, how many to test to see a dud, or to
-- know the mean.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")

local number = tables.number

local function whole (who, key, v, low, high)
  if type(v) ~= "number" or v % 1 ~= 0 or v < low or v > high then
    core.fail("script", string.format("%s: %s must be a whole number, %d .. " ..
      "%d (got %s)", who, key, low, high, type(v) == "number" and
      wording.trim(v) or type(v)))
  end
  return math.floor(v)
end

local function inside (who, key, v, low, high)
  if type(v) ~= "number" or not (v >= low and v <= high) then
    core.fail("script", string.format("%s: %s must lie in %s .. %s (got %s)",
      who, key, wording.trim(low), wording.trim(high),
      type(v) == "number" and wording.trim(v) or type(v)))
  end
  return v
end

local function percent (p)
  return { value = 100 * p, text = wording.short(100 * p) .. " %" }
end

-- what the share of duds rests on, and how it reads
local function duds_of (offer, raw)
  local given = core.keys(offer).dud_pct
  local basis = core.kind(given) == "value" and core.value(given).basis or
    "assumed"
  if raw.dud_assumed then
    return basis, "no share of duds given (dud_pct): none is taken, assumed"
  elseif core.kind(given) == "value" and
    core.value(given).spread ~= "fixed" then
    return basis, "share of duds " .. wording.trim(raw.dud_pct) ..
      " %, itself unsure: duds then come together (beta-binomial)"
  end
  return basis, "each a dud with " .. wording.trim(raw.dud_pct) ..
    " %, on its own (binomial)"
end

-- ---- accepted modules in whole strings ----

local accepted_columns = {
  { key = "what", label = "good modules", kind = "text" },
  { key = "count", label = "delivered", kind = "count" },
  number("mean", "good in the mean"),
  { key = "median", label = "good, median", kind = "count" },
  { key = "strings", label = "whole strings of them", kind = "count" },
  { key = "in_use", label = "modules in use", kind = "count" },
  { key = "spares", label = "spares", kind = "count" },
  { key = "wanted", label = "strings wanted", kind = "count" },
  number("chance_pct", "chance of at least these") }

local function by_strings (raw, series)
  local rows = {}
  for k, chance in ipairs(raw) do
    rows[k] = { strings = k, modules = k * series,
      chance_pct = percent(chance) }
  end
  return core.table_new{ rows = rows, columns = {
    { key = "strings", label = "strings", kind = "count" },
    { key = "modules", label = "modules", kind = "count" },
    number("chance_pct", "chance of at least so many") },
    heads = { string.format("Of %d modules, strings of %d.", raw.count,
      series) } }
end

--- offer:accepted{ series = 2, strings = 5 } --> one row: .mean .median
-- .strings .in_use .spares .chance_pct
local function accepted (offer, opts)
  opts = opts or {}
  tables.check_keys("accepted", opts, { "series", "strings" })
  local count = core.keys(offer).count
  local series = whole("accepted", "series", opts.series or 1, 1, count)
  local raw = core.accepted_raw(offer, series)
  local strings = raw.median // series
  local wanted = opts.strings and whole("accepted", "strings", opts.strings,
    1, count // series) or math.max(strings, 1)
  local basis, law = duds_of(offer, raw)
  local row = { what = core.name(offer), count = count,
    mean = { value = raw.mean, basis = basis },
    median = { value = raw.median, basis = basis },
    strings = { value = strings, basis = basis },
    in_use = { value = strings * series, basis = basis },
    spares = { value = raw.median - strings * series, basis = basis },
    wanted = wanted, chance_pct = percent(raw[wanted]) }
  row.chance_pct.basis = basis
  return core.table_new{ columns = accepted_columns, rows = { row },
    across = true, heads = { string.format("%d of %d modules in use, in %d " ..
      "string%s of %d; at least %d string%s in %s %% of such lots.",
      strings * series, count, strings, strings == 1 and "" or "s", series,
      wanted, wanted == 1 and "" or "s", wording.short(100 * raw[wanted])) },
    notes = { { "", "The median of the good ones, rounded down to whole " ..
      "strings; " .. law .. "." } },
    facts = { by_strings = by_strings(raw, series) } }
end

-- ---- how many to test ----

local wanted_columns = {
  { key = "what", label = "tests", kind = "text" },
  { key = "tests", label = "modules to test", kind = "count" },
  { key = "of", label = "of", kind = "count" },
  { key = "duds", label = "duds in the lot", kind = "count" },
  number("missed_pct", "chance to see none of them"),
  number("within_ah", "mean within +- Ah", "Ah"),
  number("sd_ah", "between modules (sd) Ah", "Ah") }

local function shown (columns, row)
  local list = {}
  for i, c in ipairs(columns) do
    list[i] = { key = c.key, label = c.label, kind = c.kind, unit = c.unit,
      hidden = row[c.key] == nil }
  end
  return list
end

local function missed_table (raw, of, duds)
  local rows = {}
  for k = 1, of do rows[k] = { tests = k, missed_pct = percent(raw[k]) } end
  return core.table_new{ rows = rows, columns = {
    { key = "tests", label = "tested", kind = "count" },
    number("missed_pct", "chance to see none") },
    heads = { string.format("%d duds in a lot of %d.", duds, of) } }
end

local function to_see (of, opts)
  local duds = whole("tests_wanted", "duds", opts.duds, 1, of)
  local sure = inside("tests_wanted", "sure_pct", opts.sure_pct or 90, 0, 100)
  local tests = core.tests_to_see(of, duds, sure / 100)
  local raw = core.missed_raw(of, duds)
  local row = { what = "to see a dud", tests = tests, of = of, duds = duds,
    missed_pct = percent(raw[tests]) }
  return core.table_new{ columns = shown(wanted_columns, row),
    rows = { row }, across = true, heads = { string.format("Test %d of %d: " ..
      "if %d %s, that sees none with %s %%.", tests, of, duds,
      duds == 1 and "is a dud" or "are duds",
      wording.short(100 * raw[tests])) },
    notes = { { "", "Tests chosen at random, without laying back " ..
      "(hypergeometric); sure_pct " .. wording.trim(sure) ..
      (opts.sure_pct and "" or ", taken") .. "." } },
    facts = { by_tests = missed_table(raw, of, duds) } }
end

-- spread between modules: given, or what tests of the lot showed
local function spread_of (offer, opts)
  local given = opts.sd_ah or core.keys(offer).tested_ah
  local v = core.kind(given) == "value" and core.value(given)
  if not v then
    return given and opts.sd_ah and inside("tests_wanted", "sd_ah", given,
      1e-3, 5000) or nil, 0
  elseif v.n and v.n > 1 then
    return v.sd, v.n
  end
  return opts.sd_ah and v.value or nil, 0
end

local function to_know (offer, of, opts)
  local within = inside("tests_wanted", "within_ah", opts.within_ah, 0, 5000)
  local sd, n = spread_of(offer, opts)
  if not sd then
    core.fail("script", "tests_wanted: the spread between modules is wanted: " ..
      "sd_ah, or two tests (tested_ah = amp.tested{ .. })")
  end
  local tests = core.tests_for(of, n, sd, n == 0, within)
  local row = { what = "to know the mean", tests = tests, of = of,
    within_ah = within,
    sd_ah = { value = sd, basis = n > 0 and "measured" or "assumed" } }
  return core.table_new{ columns = shown(wanted_columns, row),
    rows = { row }, across = true, heads = { string.format("%d of %d tested " ..
      "bring the mean of the lot to within %s Ah (95 %%)%s.", tests, of,
      wording.short(within), n > 0 and
      ", if the spread stays what it was so far" or "") },
    notes = { { "", "Student's t, factor for a finite lot; tests chosen at " ..
      "random." } } }
end

--- offer:tests_wanted{ duds, sure_pct } or { within_ah, sd_ah } --> one row:
-- .tests .of, .missed_pct
local function tests_wanted (offer, opts)
  if type(opts) ~= "table" then
    core.fail("script", "tests_wanted: takes a table of named keys")
  end
  tables.check_keys("tests_wanted", opts, { "duds", "sure_pct", "within_ah",
    "sd_ah" })
  local of = core.keys(offer).count
  if (opts.duds == nil) == (opts.within_ah == nil) then
    core.fail("script", "tests_wanted: give { duds = } or { within_ah = }")
  end
  if opts.duds ~= nil then return to_see(of, opts) end
  return to_know(offer, of, opts)
end

local offer = core.methods("offer")
offer.accepted, offer.tests_wanted = accepted, tests_wanted

return {}
