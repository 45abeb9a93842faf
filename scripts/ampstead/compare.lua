--- Offers side by side: cost per kWh, years, and how sure the order is.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")
local verdict = loader("verdict")
local notes = loader("notes")
local cautions = loader("cautions")
local raised = loader("raised")
local listings = loader("listings")
local alternatives = loader("alternatives")
local costs_of = loader("offers").costs
local added = loader("added")

local compare = {}

local across_most = 3 -- so many offers stand as columns; more are rows

-- key, label, kind, field of the raw row, shown where offers are rows
local columns = {
  { "name", "offer", "text", nil, true },
  { "layout", "layout", "text", nil, true },
  { "used", "modules in use", "count", nil, true },
  { "accepted_mean", "accepted in the mean", "number", nil, false },
  { "landed", "landed", "money", nil, false },
  { "total", "with BOS and carriage", "money", "total", true },
  { "usable_kwh", "usable kWh", "number", "usable_kwh", true },
  { "days", "days without sun", "number", "days", false },
  { "unserved_kwh", "unserved kWh a year", "number", "unserved_kwh", false },
  { "curtailed_kwh", "curtailed kWh a year", "number", "curtailed_kwh",
    false },
  { "years", "years", "number", "years", true },
  { "per_nameplate", "per nameplate kWh", "money", "per_nameplate", false },
  { "per_accepted", "per accepted kWh", "money", "per_accepted", false },
  { "per_usable", "per usable kWh", "money", "per_usable", true },
  { "per_delivered", "per delivered kWh", "money", "per_delivered", false },
  { "levelised", "levelised, per kWh", "money", "levelised", true },
  { "cheapest_pct", "cheapest in", "number", nil, true } }
compare.columns = columns

local units = { usable_kwh = "kWh", days = "days", unserved_kwh = "kWh/year",
  curtailed_kwh = "kWh/year", years = "years", cheapest_pct = "%" }

--- The unit of a column, money in the currency of the need.
function compare.unit (key, currency)
  if units[key] then return units[key] end
  if key == "landed" or key == "total" then return currency end
  if key:find("^per_") or key == "levelised" then
    return currency .. "/kWh"
  end
  return ""
end

-- columns whose spread is data only: what decides keeps its line
compare.folded = { landed = true, total = true, days = true,
  unserved_kwh = true, curtailed_kwh = true, per_nameplate = true,
  per_accepted = true, per_usable = true, per_delivered = true }

local per_kwh = { per_delivered = true, levelised = true }

--- Money has two decimals; below 0.10 a kWh they would say too little.
function compare.kind (raw, column)
  if per_kwh[column[1]] and raw.tariff then return "number" end
  if per_kwh[column[1]] then
    for i = 1, raw.n do
      local s = not raw[i].refused and raw[i][column[1]]
      if s and not wording.missing(s.p50) and s.p50 < 0.1 then
        return "number"
      end
    end
  end
  return column[3]
end

--- "14s, 5 strings"
function compare.layout (row)
  if not row.groups or not row.strings then return nil end
  return string.format("%ds, %d string%s", row.groups, row.strings,
    row.strings == 1 and "" or "s")
end

--- "years to SoH 60 / 70 %": the ends of life that the rows have.
function compare.years_label (raw)
  local ends, seen = {}, {}
  for i = 1, raw.n do
    local soh = raw[i].soh_end_pct
    if not wording.missing(soh) and not seen[soh] then
      seen[soh] = true
      ends[#ends + 1] = soh
    end
  end
  if #ends == 0 then return "years" end
  table.sort(ends)
  for k, soh in ipairs(ends) do ends[k] = wording.trim(soh) end
  return "years to SoH " .. table.concat(ends, " / ") .. " %"
end

--- Is the mean number accepted another than the one in use?
function compare.mean_differs (row)
  return not row.refused and row.count and row.count > 0 and
    not wording.missing(row.accepted_mean) and
    math.abs(row.accepted_mean - row.used) >= 0.05
end

-- how many are accepted rests on the share of duds; a row of many has no
-- room for the mean
local function used_cell (row, offer, brief)
  if not row.used then return nil end
  local cell = { value = row.used }
  if offer then
    local dud = core.keys(offer).dud_pct
    cell.basis = core.kind(dud) == "value" and core.value(dud).basis or
      "assumed"
  end
  if row.count and row.count > 0 then
    cell.text = string.format("%d of %d", row.used, row.count)
    if not brief and compare.mean_differs(row) then
      cell.text = cell.text .. " (" .. wording.short(row.accepted_mean) .. ")"
    end
  end
  return cell
end

-- the reason why a number of an answered row may be missing
local function why_of (row, key)
  if row.alternative then return row.none end
  if key == "years" or key == "levelised" or key == "per_delivered" then
    if row.years_why then return row.years_why end
  end
  if key == "curtailed_kwh" then
    return "the supply is as large as needed"
  end
  if key:find "^per_" or key == "levelised" then
    return "most draws deliver nothing: no string, no year, or no load met"
  end
end

--- One row of cells from one row of the C half; 'brief': one of many.
function compare.row (row, name, offer, brief)
  local why = row.refused
  local cells = { name = name }
  for _, c in ipairs(columns) do
    local key, field = c[1], c[4]
    if field then
      cells[key] = why and { why = why } or
        tables.stat(row[field], why_of(row, key))
    end
  end
  if why then
    for _, key in ipairs{ "layout", "used", "accepted_mean",
      "cheapest_pct" } do
      cells[key] = { why = why }
    end
    for _, key in ipairs(alternatives.keys) do cells[key] = { why = why } end
    cells.landed = row.landed and row.landed.total or { why = why }
    return cells
  end
  cells.layout = row.alternative and "(" .. row.alternative.kind .. ")" or
    compare.layout(row)
  cells.used = used_cell(row, offer, brief)
  alternatives.cells(row, cells)
  cells.accepted_mean = offer and row.count and { value = row.accepted_mean,
    basis = cells.used and cells.used.basis }
  cells.landed = row.goods and row.goods.spread and
    tables.stat(row.goods) or row.landed and row.landed.total
  cells.cheapest_pct = cells.levelised.value and
    tables.percent(row.cheapest_pct) or { why = cells.levelised.why }
  return cells
end

--- Does energy that was asked for stay away, in a share worth a line?
function compare.unserved_matters (raw)
  for i = 1, raw.n do
    local u, s = raw[i].unserved_kwh, raw[i].served_kwh
    if u and s and not wording.missing(u.p50) and
       u.p50 > 0.005 * (u.p50 + s.p50) then
      return true
    end
  end
  return false
end

--- How a column is called above this table.
function compare.label (raw, column, brief)
  if column[1] == "years" then return compare.years_label(raw) end
  if brief then return column[2] end
  for i = 1, raw.n do
    if column[1] == "used" and compare.mean_differs(raw[i]) then
      return "modules in use (mean)"
    end
  end
  return column[2]
end

local function make_columns (raw, currency, across)
  local list, unserved = {}, compare.unserved_matters(raw)
  for k, c in ipairs(columns) do
    local hidden = not across and not c[5]
    if c[1] == "unserved_kwh" then hidden = not (across and unserved) end
    if c[1] == "curtailed_kwh" or c[1] == "accepted_mean" then
      hidden = true
    end
    list[k] = { key = c[1], kind = compare.kind(raw, c), hidden = hidden,
      folded = compare.folded[c[1]] or not across and c[1] == "usable_kwh",
      label = compare.label(raw, c, not across), unit = compare.unit(c[1], currency) }
  end
  list[#list + 1] = tables.text("refused", "refused", true)
  for _, c in ipairs(raw.tariff and alternatives.columns or {}) do
    list[#list + 1] = c
  end
  for _, c in ipairs(alternatives.year_columns) do list[#list + 1] = c end
  local beside = across and added.alone(raw) and (raw.tariff or
    raw.n > raw.offers)
  table.insert(list, #columns, { key = "levelised_added", kind = "number",
    label = "levelised, of what it adds", hidden = not beside })
  return list
end

local function heads (raw, names, discount, offers, need)
  local untold = {}
  for i = 1, raw.n do untold[i] = listings.untold(offers[i]) end
  local list = verdict.worst_month(raw.worst)
  local kinds = verdict.kinds(raw, names)
  list[#list + 1] = kinds -- before a winner: it's one of one kind
  list[#list + 1] = verdict.winner(raw, names, untold)
  list[#list + 1] = added.order(raw, names)
  list[#list + 1] = added.unserved(raw, names, raw.n > across_most)
  list[#list + 1] = added.days(raw, names, core.keys(need).autonomy_days)
  list[#list + 1] = alternatives.duel(raw, names)
  if raw.tariff then
    list[#list + 1] = alternatives.head(raw, names, need)
    list[#list + 1] = alternatives.rounding(raw, names)
  end
  list[#list + 1] = verdict.flooring(raw, names, discount)
  list[#list + 1] = verdict.horizon(raw, names)
  list[#list + 1] = verdict.again(raw, names)
  return list, { kinds = kinds }
end

local middle_of = alternatives.middle
compare.middle = middle_of

-- "trades places with H3 once it costs 2.26 more per module (320.26)."
-- In the money of the offer, named where that isn't the money of the table.
local function flip_line (raw, offers, names, currency)
  local f = raw.flip
  if not f or wording.missing(f.per_module) then return nil end
  local keys, by, per, now = core.keys(offers[f.first]), f.per_module,
    "per module", nil
  if keys.price_each then
    now = middle_of(keys.price_each) + by
  elseif keys.price_lot and keys.count then
    by, per = by * keys.count, "for the lot"
    now = middle_of(keys.price_lot) + by
  end
  local money = keys.currency and keys.currency ~= currency and
    " " .. keys.currency or ""
  return { names[f.first], string.format(
    "trades places with %s once it costs %s%s %s %s%s.", names[f.second],
    wording.fixed(math.abs(by)), money, by < 0 and "less" or "more", per,
    now and " (" .. wording.fixed(now) .. money .. ")" or "") }
end

-- what an input is called, its unit, and how its number reads
local inputs = { dud_pct = { "dud share", " %" },
  capacity_ah = { "nameplate", " Ah" }, tested_ah = { "capacity", " Ah" },
  soh_pct = { "SoH", " %" }, r10s_mohm = { "resistance", " mohm" },
  load = { "load", " % of its middle" }, sun = { "sun", " % of its middle" },
  temperature = { "temperature", " K from its middle" },
  discount_pct = { "interest", " %" },
  import_rise_pct = { "rise of the tariff", " %" },
  calendar_pct_per_year = { "fade a year", " %" },
  cycle_pct_per_efc = { "fade per EFC", " %" } }

local function owner (levers, lever, names)
  if not lever.of_second then return names[levers.first] end
  if not lever.of_first then return names[levers.second] end
  return "both"
end

-- "once its dud share passes 14.2 %"
local function flip_words (lever, names, levers)
  local word = inputs[lever.key] or { lever.key:gsub("_", " "), "" }
  return string.format("once the %s of %s %s %s%s", word[1],
    owner(levers, lever, names),
    lever.flips_at >= lever.value and "passes" or "falls below",
    wording.short(lever.flips_at), word[2])
end

-- which single input moves the two cheapest against each other by most, and
-- where they trade places
local function lever_lines (raw, names, currency)
  local levers = raw.levers
  if not levers then return {} end
  local a, b, list = names[levers.first], names[levers.second], {}
  local top = levers[1]
  if top.moves > 0 then
    local word = inputs[top.key] or { top.key:gsub("_", " "), "" }
    list[1] = { a, string.format("against %s is moved most by the %s of %s: " ..
      "%s to %s%s (P10 to P90) changes the difference from %s to %s %s a " ..
      "kWh.%s", b, word[1], owner(levers, top, names),
      wording.short(top.p10), wording.short(top.p90), word[2],
      wording.fixed(top.gap_p10, 3), wording.fixed(top.gap_p90, 3), currency,
      not top.flips_at and " No value of it alone turns the order." or "") }
  end
  for i, lever in ipairs(levers) do
    if lever.flips_at and (i == 1 or lever.key == "dud_pct") then
      list[#list + 1] = { a, string.format("trades places with %s %s.", b,
        flip_words(lever, names, levers)) }
    end
  end
  return list
end

-- the same as data: t.levers
local function lever_facts (raw, names)
  local levers, list = raw.levers, {}
  for i, lever in ipairs(levers or {}) do
    local of = {}
    if lever.of_first then of[1] = names[levers.first] end
    if lever.of_second then of[#of + 1] = names[levers.second] end
    list[i] = { input = lever.key, of = of, value = lever.value,
      p10 = lever.p10, p90 = lever.p90, gap_p10 = lever.gap_p10,
      gap_p90 = lever.gap_p90, moves = lever.moves,
      flips_at = lever.flips_at }
  end
  return list
end

-- "1 USD = 0.88 EUR, dated 2026-11-20.": the rates that went in, or nil
local function rate_line (offers, asked)
  local parts, seen = {}, {}
  local rates = asked.currency and asked.rates or {}
  for _, offer in ipairs(offers) do
    local keys = core.kind(offer) == "offer" and core.keys(offer) or {}
    local theirs, own = keys.currency, keys.rates or {}
    local from = own[theirs] and own or rates -- the offer's own go first
    local says = theirs and theirs ~= asked.currency and from[theirs] and
      string.format("1 %s = %s %s%s", theirs, wording.trim(from[theirs], 6),
        asked.currency, from.dated and ", dated " .. tostring(from.dated) or
        ", without a date")
    if says and not seen[says] then
      seen[says] = true
      parts[#parts + 1] = says
    end
  end
  if #parts == 0 then return nil end
  return { "rate", table.concat(parts, "; ") .. "." }
end

-- each model's own years, where an offer has several
local function model_line (row)
  if row.refused or not row.models or #row.models < 2 then return nil end
  local parts = {}
  for k, model in ipairs(row.models) do
    local s = row.life_by_model and row.life_by_model[k]
    if s and not wording.missing(s.p50) then
      parts[#parts + 1] = string.format("%s %s%s", model,
        s.beyond and ">" or "",
        s.beyond and wording.trim(s.p50) or wording.short(s.p50))
    end
  end
  if #parts == 0 then return nil end
  return "years by model: " .. table.concat(parts, ", ") .. "."
end
compare.model_line = model_line

-- the offers and their names, without adverts of which none could be made
local function whole_offers (offers, names)
  local list, called = {}, {}
  for i, offer in ipairs(offers) do
    if core.kind(offer) == "offer" then
      list[#list + 1], called[#called + 1] = offer, names[i]
    end
  end
  return list, called
end

-- cautions of the offers, of the need, and of what came out
local function raise (raw, offers, need, names, said)
  local c, asked = cautions.collector(), core.keys(need)
  local whole, called = whole_offers(offers, names)
  raised.deficit(c, verdict.worst_month(raw.worst))
  raised.offers(c, whole, called, asked.rates)
  raised.need(c, need)
  raised.frost(c, asked.duty)
  for i = 1, #offers do -- alternatives stand behind them
    local keys = core.kind(offers[i]) == "offer" and core.keys(offers[i])
    local module = keys and core.keys(keys.module) or {}
    raised.years(c, raw[i], module.life_model or asked.life_model, names[i])
  end
  if said.kinds then c:tell("kinds_of_cost_disagree") end
  return c
end

-- "41 simulated years a string count stand for all draws; .. within 0.2 %."
local function year_line (raw)
  local most, points, draws = 0, 0, 0
  for i = 1, raw.n do
    local c = not raw[i].refused and raw[i].check
    if c then
      most = math.max(most, c.levelised_pct, c.served_pct)
      points, draws = math.max(points, c.points), draws + c.draws
    end
  end
  if draws == 0 then return nil end
  return { "years", string.format("of each draw put together from %d " ..
    "simulated ones for each number of strings; %d draws simulated in full " ..
    "differ by %s %% at most.", points, draws,
    most < 0.001 and "0.001" or wording.trim(most, 2)) }
end
compare.year_line = year_line

-- {label, sentence} of the costs of later years; nil: none
local function later_line (offers, names)
  local parts = {}
  for i, offer in ipairs(offers) do
    local costs = core.kind(offer) == "offer" and
      costs_of(core.keys(offer), true)
    parts[#parts + 1] = costs and names[i] .. " " .. costs or nil
  end
  if #parts == 0 then return nil end
  return { "later", table.concat(parts, "; ") .. ". Paid at the end of each " ..
    "such year that a draw counts, discounted; in levelised, not in landed, " ..
    "total or per delivered kWh." }
end

local function note_lines (raw, offers, need, names, c)
  local n, middle, answered = notes.new(), {}, 0
  local asked = core.keys(need)
  middle[1] = flip_line(raw, offers, names, asked.currency)
  for _, line in ipairs(lever_lines(raw, names, asked.currency or "money")) do
    middle[#middle + 1] = line
  end
  middle[#middle + 1] = rate_line(offers, asked)
  middle[#middle + 1] = later_line(offers, names)
  middle[#middle + 1] = listings.bound_line(offers, names)
  middle[#middle + 1] = alternatives.duel_line(raw, names)
  middle[#middle + 1] = alternatives.year_line(raw, names,
    (middle_of(asked.discount_pct) or 0) / 100)
  middle[#middle + 1] = alternatives.end_line(raw, names,
    asked.horizon_years or 15, asked.charge_hours and asked.import_rise_pct)
  middle[#middle + 1] = alternatives.tariff_line(need)
  for _, line in ipairs(raw.tariff and alternatives.lines(raw, names, need,
    asked.horizon_years or 15) or {}) do
    middle[#middle + 1] = line
  end
  for i = 1, raw.n do
    if not raw[i].refused then
      answered = answered + 1
      notes.look(n, offers[i], names[i], {})
      notes.tests(n, offers[i], names[i])
      notes.outside(n, raw[i], names[i])
      local line = model_line(raw[i]) or alternatives.line(raw[i])
      if line then middle[#middle + 1] = { names[i], line } end
    end
  end
  if raw.worst and raw.worst.month then -- there is a supply
    middle[#middle + 1] = added.line(raw, names)
  end
  middle[#middle + 1] = year_line(raw)
  notes.look(n, need, "", {})
  for _, line in ipairs(c:lines()) do middle[#middle + 1] = line end
  return notes.close(notes.lines(n, middle, answered), raw)
end

-- a list of offers, whatever holds it
local function offer_list (offers)
  if core.kind(offers) == "offer" or core.kind(offers) == "alternative" then
    return { offers }
  end
  if type(offers) ~= "table" and type(offers) ~= "userdata" then
    core.fail("script", "compare: takes a list of offers and a need (got " ..
      type(offers) .. ")")
  end
  listings.check_usable(offers)
  local list = {}
  for i = 1, #offers do list[i] = offers[i] end
  if #list == 0 then core.fail("script", "compare: no offers in the list") end
  return list
end

--- What a call's options say, checked.
function compare.options (who, opts)
  if opts ~= nil and type(opts) ~= "table" then
    core.fail("script", who .. ": options are a table of named keys")
  end
  tables.check_keys(who, opts or {}, { "draws", "seed" })
  return opts or {}
end

--- amp.compare(offers, need, {draws, seed}) --> table, a row per offer
function compare.compare (offers, need, opts)
  opts = compare.options("compare", opts)
  if core.kind(need) ~= "need" then
    core.fail("script", "compare: needs an amp.need{} after the offers")
  end
  local list, others = alternatives.split(offer_list(offers))
  local raw = core.compare_raw(list, need, opts, others)
  raw.offers = #list
  alternatives.append(raw, others)
  local only = list
  list = table.move(only, 1, #only, 1, {})
  table.move(others, 1, #others, #list + 1, list)
  local names, rows, discount = {}, {}, {}
  local asked, across = core.keys(need), raw.n <= across_most
  raw.tariff = core.tariff(need)
  for i = 1, raw.n do
    names[i] = raw[i].name or ("offer " .. i)
    discount[i] = (middle_of(asked.discount_pct) or 0) / 100
    rows[i] = listings.mark(compare.row(raw[i], names[i], list[i],
      not across), list[i], raw[i])
    raw.worst = raw.worst or (not raw[i].refused and raw[i].worst) or nil
  end
  local short = wording.short_names(names)
  local currency = asked.currency or "money"
  local said, told = heads(raw, short, discount, list, need)
  local c = raise(raw, only, need, short, told)
  return core.table_new{ columns = make_columns(raw, currency, across),
    rows = rows, across = across,
    corner = currency .. ", P50 (P10 .. P90)",
    heads = said, facts = { cautions = c:ids(), levers = lever_facts(raw, names),
      against = alternatives.against(raw, names) },
    notes = note_lines(raw, list, need, short, c) }
end

return compare
