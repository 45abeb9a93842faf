--- Is it worth testing more modules before paying: lot:worth_testing, and
-- how many tests narrow the band to a wanted width: lot:tests_wanted.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local notes = loader("notes")
local cautions = loader("cautions")
local raised = loader("raised")

local number = tables.number
local money = wording.fixed

-- ---- what a user gives ----

local keys = { "cost_each", "price_lot", "target", "per", "dud_pct", "sd_ah",
  "mean_ah", "cell_v_min", "cell_v_max", "soc_min_pct", "soc_max_pct" }

local function check_number (who, key, v, low, high, unit)
  if type(v) ~= "number" or not (v >= low and v <= high) then
    core.fail("script", string.format("%s: %s must lie in %s .. %s%s (got %s)",
      who, key, wording.trim(low), wording.trim(high, 10), unit or "",
      type(v) == "number" and wording.trim(v) or type(v)))
  end
  return v
end

local function wanted (opts, key, low, high)
  if opts[key] == nil then
    core.fail("script", "worth_testing: " .. key .. " is wanted")
  end
  return check_number("worth_testing", key, opts[key], low, high)
end

-- a number or a value with spread: its middle and standard deviation
local function middle (who, opts, key, low, high, unit)
  local given = opts[key]
  if given == nil then return nil end
  local v = core.kind(given) == "value" and core.value(given) or
    { value = given }
  check_number(who, key, v.value, low, high, unit)
  local sd = v.sd or 0
  if v.spread == "even" then sd = (v.hi - v.lo) / math.sqrt(12) end
  return v.value, sd, v.basis or "assumed"
end

-- ---- the lot, as far as it counts ----

local out_of_use = { reject = true, quarantine = true }

-- modules that judge takes out are worth nothing; the others count
local function counted (lot)
  local keep, out, ids = {}, {}, {}
  local rows = core.lot_rows(lot)
  for i, judged in ipairs((core.lot_judge(lot))) do
    if out_of_use[judged.verdict] then
      out[#out + 1] = rows[i].id
    else
      keep[#keep + 1] = i
      ids[rows[i].id] = true
    end
  end
  local n = 0
  for _ in pairs(ids) do n = n + 1 end
  if #keep == 0 then
    core.fail("script", "worth_testing: every module is rejected or in " ..
      "quarantine; print(lot:judge()) says why")
  end
  return core.lot_accept(lot, keep), out, n
end

-- modules delivered, those out of use aside
local function modules_of (lot, kept, out, read)
  if core.lot_is_accepted(lot) then return read end
  local of = core.keys(kept).of
  return math.max(of - #out, read)
end

local windows = { "cell_v_min", "cell_v_max", "soc_min_pct", "soc_max_pct" }

-- kWh that one Ah of one module stands for, and what was taken for it
local function kwh_per_ah (module, per, opts)
  if per == "accepted" then
    return core.module_facts(module).nominal_v / 1000, {}
  end
  local spec = { module = module, series = 1, parallel = 1 }
  for _, key in ipairs(windows) do spec[key] = opts[key] end
  local pack = core.pack(spec)
  if not pack.usable_kwh then
    core.fail("script", "worth_testing: the module's window leaves nothing " ..
      "usable; cell_v_min and cell_v_max, or soc_min_pct and soc_max_pct, " ..
      "change it")
  end
  return pack.usable_kwh / core.module_facts(module).ah, core.defaults(pack)
end

local function check_per (opts)
  local per = opts.per or "usable"
  if per == "nameplate" then
    core.fail("script", "worth_testing: what a label says no test changes; " ..
      'per is "usable" or "accepted"')
  elseif per ~= "usable" and per ~= "accepted" then
    core.fail("script", 'worth_testing: per must be "usable" or "accepted" ' ..
      "(got " .. tostring(per) .. ")")
  end
  return per
end

-- a share of duds takes a sum over all that may be bad: so many at most
local untested_most, lot_most = 24, 200

local function check_size (ask)
  if ask.untested < 1 then
    core.fail("script", "worth_testing: all of the lot is tested already")
  elseif ask.tested + ask.untested > lot_most then
    core.fail("script", string.format("worth_testing: at most %d modules " ..
      "(got %d)", lot_most, ask.tested + ask.untested))
  elseif ask.dud > 0 and ask.untested > untested_most then
    core.fail("script", string.format("worth_testing: with a share of duds " ..
      "at most %d modules that are not tested yet (got %d)", untested_most,
      ask.untested))
  elseif ask.dud_sd > 0.5 then
    core.fail("script", "worth_testing: dud_pct is spread wider than a " ..
      "share can be (50 %)")
  end
end

-- the label, or what was tested, where that is more; and how to call it
local function most_ah (module, kept)
  local label = core.keys(module).capacity_ah
  label = core.kind(label) == "value" and core.value(label).value or label
  local most = label
  for _, row in ipairs(core.lot_rows(kept)) do
    most = math.max(most, row.ah or 0)
  end
  return most, most > label and string.format("%s Ah, the most that was " ..
    "tested", wording.short(most)) or string.format("its nameplate of %s Ah",
    wording.short(most))
end

-- what is believed of one good module: from the tests, or where sd_ah is
-- given from a normal law about mean_ah, which tests then move
local function belief (ask, m, opts)
  local sd = middle("worth_testing", opts, "sd_ah", 1e-3, 5000, " Ah")
  local mean, mean_sd = middle("worth_testing", opts, "mean_ah", 0.1, 5000,
    " Ah")
  if mean and not sd then
    core.fail("script", "worth_testing: mean_ah goes with sd_ah, the spread " ..
      "between modules")
  elseif mean and mean_sd <= 0 then
    core.fail("script", "worth_testing: mean_ah must say how sure it is: " ..
      "amp.assumed(95, 8)")
  end
  if not m.n and not (mean and sd) then
    core.fail("script", "worth_testing: nothing was tested, so the spread " ..
      "is unknown: give mean_ah = amp.assumed(95, 8) and sd_ah = 4, or " ..
      "test two")
  elseif m.n == 1 and not sd then
    core.fail("script", "worth_testing: one test says nothing of the " ..
      "spread: give sd_ah, or test another")
  end
  if not sd then
    if m.sd <= 0 then
      core.fail("script", "worth_testing: the tests agree to the last " ..
        "digit, which says nothing of the spread: give sd_ah")
    end
    ask.mean, ask.weight, ask.dof, ask.sd = m.mean, m.n, m.n - 1, m.sd
    return
  end
  local ratio = mean and sd / mean_sd or 0
  local prior = ratio * ratio
  ask.dof, ask.sd, ask.weight = 0, sd, prior + ask.tested
  ask.mean = (prior * (mean or 0) + ask.sum) / ask.weight
end

-- ---- the answer in words ----

local columns = {
  { key = "what", label = "worth of testing", kind = "text" },
  { key = "tests", label = "tests that gain most", kind = "count" },
  { key = "gain", label = "their expected gain", kind = "money" },
  { key = "cost", label = "their cost", kind = "money" },
  { key = "net", label = "gain less cost", kind = "money" },
  { key = "worth", label = "lot is worth, in the mean", kind = "money" },
  { key = "price", label = "price", kind = "money" },
  { key = "worth_pct", label = "worth its price in", kind = "number" },
  { key = "perfect", label = "knowing it exactly gains", kind = "money" },
  { key = "half_width_ah", label = "mean of the lot +- Ah, now",
    kind = "number", unit = "Ah" },
  { key = "half_width_then_ah", label = "expected after them",
    kind = "number", unit = "Ah" },
  { key = "decision", kind = "text", hidden = true },
  { key = "decided", kind = "text", hidden = true } }

-- knowledge worth less than this part of the price turns nothing: money is
-- printed to its hundredth
local nothing = 0.005

-- a chance is never told as none or all where it is neither
local function percent (p)
  if p > 0 and p < 0.001 then return "under 0.1 %" end
  if p < 1 and p > 0.999 then return "over 99.9 %" end
  return wording.short(100 * p) .. " %"
end

local function standing (raw, ask)
  return string.format("As things stand it is worth %s in the mean, the " ..
    "price is %s: %s. The chance that it is worth its price is %s.",
    money(raw.expected), money(ask.price),
    raw.expected >= ask.price and "buy" or "leave it", percent(raw.chance))
end

local function decided_head (raw, ask)
  if raw.most < ask.price then
    return string.format("Leave it at %s: testing more cannot change it. " ..
      "With each untested module at %s the lot would be worth %s.",
      money(ask.price), ask.limit, money(raw.most))
  elseif raw.least >= ask.price then
    return string.format("Worth its price of %s: testing more cannot change " ..
      "it. What is known already is worth %s.", money(ask.price),
      money(raw.least))
  end
  return string.format("Testing more cannot change it, as far as a " ..
    "hundredth goes: %s at %s.", raw.expected >= ask.price and "buy" or
    "leave it", money(ask.price))
end

local function modules (n)
  return string.format("%d module%s", n, n == 1 and "" or "s")
end

local function heads_of (raw, ask, best)
  if raw.perfect < nothing then
    local list = { decided_head(raw, ask) }
    if raw.most >= ask.price and raw.least < ask.price then
      list[2] = standing(raw, ask)
    end
    return list
  elseif best then
    return { string.format("Test %s more before paying: that gains %s in " ..
      "the mean and costs %s.", modules(best.tests), money(best.gain),
      money(best.cost)), standing(raw, ask) }
  end
  local first = raw.steps[1]
  return { string.format("Testing more is not worth its cost: one test " ..
    "gains %s in the mean and costs %s; to know the lot exactly would gain " ..
    "%s.", money(first.gain), money(first.cost), money(raw.perfect)),
    standing(raw, ask) }
end

local function belief_note (ask, opts)
  local law = ask.dof > 0 and string.format("what %d tests leave possible " ..
    "(Student's t, mean %s, sd %s Ah, factor for a finite lot)", ask.tested,
    wording.short(ask.mean), wording.short(ask.sd)) or
    string.format("a normal law about %s Ah, spread between modules %s Ah%s",
      wording.short(ask.mean), wording.short(ask.sd),
      opts.mean_ah and ask.tested > 0 and ", mean_ah moved by the tests" or "")
  return { "believed", law .. ", no module above " .. ask.limit .. "." }
end

local function lines_of (ask, opts, lot, taken)
  local lines = { belief_note(ask, opts) }
  lines[2] = { "reckoned", string.format("%s for each %s kWh (%s kWh an Ah " ..
    "of a module); price_lot is all that paying costs. Left unbought costs " ..
    "nothing.", money(opts.target), ask.per, wording.trim(ask.kwh)) }
  lines[3] = { "tests", "chosen at random among those not tested, all made " ..
    "before deciding; by seller's choice they tell less." }
  if #lot.out > 0 then
    lines[#lines + 1] = { "left out", "rejected or in quarantine, worth " ..
      "nothing here: " .. wording.list(lot.out) .. "." }
  end
  lines[#lines + 1] = { "duds", opts.dud_pct and string.format("%s%s %% of " ..
    "those not tested; one that is found is worth nothing.",
    wording.trim(100 * ask.dud), ask.dud_sd > 0 and " +- " ..
    wording.trim(100 * ask.dud_sd) or "") or
    "no share given (dud_pct): every module not tested counts as good." }
  local window = {}
  for _, sentence in ipairs(taken) do
    if sentence:find("^cell_v") or sentence:find("^soc_") then
      window[#window + 1] = sentence
    end
  end
  if #window > 0 then
    lines[#lines + 1] = { "not given", table.concat(window, "; ") .. "." }
  end
  local c = cautions.collector()
  raised.fractions(c, opts, "")
  table.move(c:lines(), 1, 8, #lines + 1, lines)
  lines[#lines + 1] = { "", "Says what tests are worth for this decision, " ..
    "not whether a module may be used: read remarks, groups and resistance " ..
    "too (lot:judge)." }
  lines[#lines + 1] = { "", notes.rerun{} }
  return lines
end

local step_columns = {
  { key = "tests", label = "tests", kind = "count" },
  { key = "gain", label = "gain", kind = "money" },
  { key = "cost", label = "cost", kind = "money" },
  { key = "net", label = "gain less cost", kind = "money" },
  number("half_width_ah", "mean of the lot +- Ah", "Ah") }

local function steps_table (raw)
  local rows = {}
  for i, s in ipairs(raw.steps) do
    rows[i] = { tests = s.tests, gain = s.gain, cost = s.cost,
      net = s.gain - s.cost, half_width_ah = s.half_width }
  end
  return core.table_new{ columns = step_columns, rows = rows, heads = {
    "What so many more tests gain in the mean, and cost." },
    notes = { { "", "The half width is the expected one of the 95 % band."
      } } }
end

-- lot, options --> what the C half is asked, and what the words need
local function question (lot, opts)
  local module = core.keys(lot).module
  if not module then
    core.fail("script", "worth_testing: the lot has no module = " ..
      "amp.module{}, so an Ah stands for no kWh")
  end
  local per = check_per(opts)
  local kept, out, read = counted(lot)
  local m = core.lot_mean(kept, "ah") or {}
  local n = modules_of(lot, kept, out, read)
  local kwh, taken = kwh_per_ah(module, per, opts)
  local dud, dud_sd = middle("worth_testing", opts, "dud_pct", 0, 100, " %")
  local ask = { tested = m.n or 0, sum = m.n and m.n * m.mean or 0,
    untested = n - (m.n or 0), lo = 0, kwh = kwh, per = per,
    dud = (dud or 0) / 100, dud_sd = (dud_sd or 0) / 100,
    cost = wanted(opts, "cost_each", 0, 1e9),
    price = wanted(opts, "price_lot", 0, 1e9),
    value = wanted(opts, "target", 1e-6, 1e9) * kwh }
  ask.hi, ask.limit = most_ah(module, kept)
  check_size(ask)
  belief(ask, m, opts)
  return ask, { out = out, modules = n }, taken
end

--- lot:worth_testing{ cost_each, price_lot, target, per, dud_pct } --> one
-- row: .tests .gain .cost .net .worth .worth_pct .perfect .decision ..
local function worth_testing (lot, opts)
  if type(opts) ~= "table" then
    core.fail("script", "worth_testing: takes a table of named keys")
  end
  tables.check_keys("worth_testing", opts, keys)
  local ask, about, taken = question(lot, opts)
  local raw = core.worth_raw(ask)
  local best = raw.best > 0 and raw.perfect >= nothing and
    raw.steps[raw.best] or nil
  local basis = ask.dof > 0 and "computed" or "assumed"
  local function cell (v) return { value = v, basis = basis } end
  local row = { what = string.format("%d of %d tested", ask.tested,
      about.modules), tests = best and best.tests or 0,
    gain = cell(best and best.gain or 0), cost = best and best.cost or 0,
    net = cell(best and best.gain - best.cost or 0),
    worth = cell(raw.expected), price = ask.price,
    worth_pct = { value = 100 * raw.chance, basis = basis,
      text = percent(raw.chance) },
    perfect = cell(raw.perfect), half_width_ah = cell(raw.half_width),
    half_width_then_ah = cell(best and best.half_width or raw.half_width),
    decision = best and "test" or raw.expected >= ask.price and "buy" or
      "leave",
    decided = raw.perfect < nothing and "yes" or "no" }
  local lines = lines_of(ask, opts, about, taken)
  return core.table_new{ columns = columns, rows = { row }, across = true,
    heads = heads_of(raw, ask, best), notes = lines,
    facts = { cautions = cautions.ids(lines), by_tests = steps_table(raw),
      least = raw.least, most = raw.most } }
end

-- ---- how many tests for a band ----

local wanted_columns = {
  { key = "what", label = "tests for a band", kind = "text" },
  number("within_ah", "wanted +- Ah", "Ah"),
  { key = "tests", label = "tests in all", kind = "count" },
  { key = "more", label = "more than now", kind = "count" },
  { key = "of", label = "of", kind = "count" },
  number("sd_ah", "between modules (sd) Ah", "Ah") }

--- lot:tests_wanted{ within_ah = 5, sd_ah } --> one row: .tests .more .of
local function tests_wanted (lot, opts)
  if type(opts) ~= "table" then
    core.fail("script", "tests_wanted: takes a table of named keys")
  end
  tables.check_keys("tests_wanted", opts, { "within_ah", "sd_ah" })
  local within = check_number("tests_wanted", "within_ah", opts.within_ah, 0,
    5000, " Ah")
  local given, _, basis = middle("tests_wanted", opts, "sd_ah", 1e-3, 5000,
    " Ah")
  local m = core.lot_mean(lot, "ah") or {}
  local sd = given or m.n and m.n > 1 and m.sd
  if not sd then
    core.fail("script", "tests_wanted: fewer than two tests say nothing of " ..
      "the spread: give sd_ah, or test two")
  end
  local ids, of = {}, core.keys(lot).of or 0
  local n = 0
  for _, row in ipairs(core.lot_rows(lot)) do
    if not ids[row.id] then ids[row.id], n = true, n + 1 end
  end
  of = math.max(of, n)
  local tests = core.tests_for(of, m.n or 0, sd, given ~= nil, within)
  return core.table_new{ columns = wanted_columns, across = true,
    rows = { { what = "mean of the lot", within_ah = within, tests = tests,
      more = tests - (m.n or 0), of = of,
      sd_ah = { value = sd, basis = given and basis or "measured" } } },
    heads = { string.format("%d of %d tested bring the mean of the lot to " ..
      "within %s Ah (95 %%)%s.", tests, of, wording.short(within),
      given and "" or ", if the spread stays what it was so far") },
    notes = { { "", "Student's t, factor for a finite lot; tests chosen at " ..
      "random." } } }
end

local lot = core.methods("lot")
lot.worth_testing, lot.tests_wanted = worth_testing, tests_wanted

return {}
