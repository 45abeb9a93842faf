--- What else would carry the load, as rows beside offers: grid, generator, a
-- battery of stated life; and what each row saves against the grid.
local core, loader = ...
local wording = loader("wording")
local added = loader("added")
local tables = loader("table")

local alternatives = {}

-- ---- rows beside offers ----

local stores = { grid = "the grid stores nothing",
  generator = "a generator stores nothing",
  battery = "of this battery only usable kWh and years are said" }

--- A number given with a spread counts here by its middle.
function alternatives.middle (v)
  return core.kind(v) == "value" and core.value(v).value or v
end

-- one answer of the C half as a row of a comparison
local function row_of (row, alternative)
  row.alternative = row
  if row.refused then return row end
  row.none = stores[row.kind]
  row.landed = { total = row.first -
    (alternatives.middle(core.keys(alternative).bos) or 0) }
  return row
end

--- Offers and alternatives of a list apart: the offers first.
function alternatives.split (list)
  local offers, others = {}, {}
  for _, one in ipairs(list) do
    local to = core.kind(one) == "alternative" and others or offers
    to[#to + 1] = one
  end
  return offers, others
end

--- Put the answers of the alternatives behind the offers' rows.
function alternatives.append (raw, others)
  for k, one in ipairs(others) do
    raw.n = raw.n + 1
    raw[raw.n] = row_of(raw.others[k], one)
  end
end

local function year_word (n) return n == 1 and "year" or "years" end

--- "3650 h a year, 2370 l; replaced after each 5 years", what a row rests on.
function alternatives.line (row)
  local a, parts = row.alternative, {}
  if not a or a.refused then return nil end
  if a.hours then
    parts[1] = string.format("runs %s h a year and burns %s l for %s",
      wording.short(a.hours), wording.short(a.fuel_l),
      wording.fixed(a.energy_cost))
  elseif a.kind == "grid" then
    parts[1] = string.format("%s kWh a year for %s",
      wording.short(a.year_kwh), wording.fixed(a.energy_cost))
  end
  if a.life > 0 then
    parts[#parts + 1] = string.format("replaced every %d %s%s", a.life,
      year_word(a.life), a.years and a.years.spread and " by the middle" or "")
  end
  if a.unused > 0 then
    parts[#parts + 1] = string.format("of the last one %d %s left over",
      a.unused, year_word(a.unused))
  end
  parts[#parts + 1] = string.format("%d %s counted", a.whole_years,
    year_word(a.whole_years))
  if a.failed_pct > 0 then
    parts[#parts + 1] = string.format("in %s of 100 draws it cannot carry " ..
      "the load or is worn out within a year", wording.of_100(a.failed_pct))
  end
  if a.kind ~= "battery" then
    parts[#parts + 1] = "per delivered kWh includes the energy itself"
  end
  return table.concat(parts, "; ") .. "."
end

-- ---- against the grid ----

local function has (s) return s and not wording.missing(s.p50) end

--- "-253.70 (-410.20 .. 80.11)", or the middle alone of what has no spread;
-- 'never' stands for an end that is beyond all.
function alternatives.spread (s, digits, never)
  local middle = wording.fixed(s.p50, digits)
  local low = wording.fixed(s.p10, digits)
  local high = s.p90_beyond and (never or "no end") or
    wording.fixed(s.p90, digits)
  if not s.spread or low == middle and high == middle then return middle end
  return string.format("%s (%s .. %s)", middle, low, high)
end

-- "used -253.70 (..)", of each row that has this number
local function each (raw, names, key, digits, never)
  local parts = {}
  for i = 1, raw.n do
    local s = not raw[i].refused and raw[i][key]
    if has(s) then
      parts[#parts + 1] = names[i] .. " " ..
        alternatives.spread(s, digits, never)
    end
  end
  return parts
end

-- neither in all draws nor in none
local function open (pct) return pct and pct > 0 and pct < 100 end

-- "boxed (0.289, in 92 of 100 draws)"; of one above: "below in 38 of .."
local function entry (row, name, below)
  local pct = row.saves_pct
  return string.format("%s (%s%s)", name,
    wording.fixed(added.cost(row).p50, 3), not open(pct) and "" or
    string.format(", %sin %s of 100 draws", below and "" or "below ",
      wording.of_100(pct)))
end

-- "0.29 a kWh", "0.29 a kWh and 3 % more each year"
local function tariff_words (need, tariff)
  local rise = alternatives.middle(core.keys(need).import_rise_pct)
  return wording.trim(tariff) .. " a kWh" .. ((rise or 0) == 0 and "" or
    string.format(" and %s %% %s each year", wording.trim(math.abs(rise)),
      rise > 0 and "more" or "less"))
end

--- "Against 0.29 a kWh from the grid: C3 is below (0.282); C1 (0.293) ..".
function alternatives.head (raw, names, need)
  local below, above, nothing = {}, {}, {}
  for i = 1, raw.n do
    local row = raw[i]
    if not row.refused and not row.alternative and has(row.npv) and
       not added.cost(row) then
      nothing[#nothing + 1] = names[i]
    end
    if not row.refused and has(row.npv) and has(added.cost(row)) then
      local is = row.npv.p50 > 0
      local to = is and below or above
      to[#to + 1] = entry(row, names[i], is)
    end
  end
  local idle = #nothing > 0 and wording.list(nothing) ..
    (#nothing == 1 and " adds" or " add") ..
    " nothing to what the supply serves by itself." or nil
  if #below + #above == 0 then return idle end
  return string.format("Against %s from the grid%s: %s.%s",
    tariff_words(need, raw.tariff), added.alone(raw) and
    ", by what only the battery brings" or "", #above == 0 and
    table.concat(below, ", ") .. " below it" or #below == 0 and
    "none below it, not " .. table.concat(above, ", ") or
    table.concat(below, ", ") .. " below it; not " ..
    table.concat(above, ", "), idle and " " .. idle or "")
end

--- A row that pays back in part years of its life but not in the whole ones
-- that are counted: the verdict hangs on the rounding.
function alternatives.rounding (raw, names)
  local parts = {}
  for i = 1, raw.n do
    local back, life = raw[i].break_even_years, raw[i].years
    local whole = raw[i].counted
    if not raw[i].refused and not raw[i].alternative and has(back) and
       has(life) and back.p50 <= life.p50 and back.p50 > whole.p50 then
      parts[#parts + 1] = string.format("%s pays back in %s of its %s years, " ..
        "and not in the %s whole ones that are counted", names[i],
        wording.fixed(back.p50), wording.fixed(life.p50),
        wording.trim(whole.p50))
    end
  end
  if #parts == 0 then return nil end
  return table.concat(parts, "; ") .. ": the rounding decides."
end

-- "used in 62 of 100 draws, lead-acid in all", of a share of those that do
local function not_paid (raw, names, key)
  local parts = {}
  for i = 1, raw.n do
    local pct = not raw[i].refused and raw[i][key]
    if pct and pct < 100 then
      parts[#parts + 1] = string.format("%s in %s", names[i], pct == 0 and
        "all" or wording.of_100(100 - pct))
    end
  end
  return #parts > 0 and table.concat(parts, ", ") or nil
end

-- in how many of 100 draws the price does not come back in time
local function late_line (raw, names, years)
  local own = not_paid(raw, names, "paid_pct")
  local ever = not_paid(raw, names, "paid_late_pct")
  if not own then return nil end
  return { "not paid back", string.format("of 100 draws, within the whole " ..
    "years it lasts: %s%s.", own, ever and string.format("; within the %s " ..
    "of the horizon: %s", wording.trim(years), ever) or "") }
end

--- Lines under the table: years until each pays back, in how many draws it
-- does not, and what it saves.
function alternatives.lines (raw, names, need, years)
  local back = each(raw, names, "break_even_years", 2, "never")
  local saved = each(raw, names, "npv", 2)
  local lines = {}
  if #back > 0 then
    lines[1] = { "pays back", "in years, against " ..
      tariff_words(need, raw.tariff) .. ": " .. table.concat(back, ", ") ..
      "." }
  end
  lines[#lines + 1] = late_line(raw, names, years)
  if #saved > 0 then
    lines[#lines + 1] = { "saves", "in all, discounted, over the whole years " ..
      "counted: " .. table.concat(saved, ", ") .. "." }
  end
  return lines
end

-- ---- against each other, draw by draw ----

local function cheapest_offer (raw)
  local best
  for i = 1, raw.n do
    local row = raw[i]
    local cost = added.cost(row)
    if not row.refused and not row.alternative and has(cost) and
       (not best or cost.p50 < added.cost(raw[best]).p50) then
      best = i
    end
  end
  return best
end

-- alternatives that the offer i stands against: {k, name, more, cheaper_pct}
local function stands_against (raw, names, i)
  local list = {}
  for k, one in ipairs(raw[i].against or {}) do
    if one.cheaper_pct then
      list[#list + 1] = { name = names[raw.offers + k], more = one.more,
        cheaper_pct = one.cheaper_pct }
    end
  end
  return list
end

-- "in 64 of 100 draws", "in all of the draws", later ones shorter
local function share_words (pct, first)
  if pct == 100 then return first and "in all of the draws" or "in all" end
  if pct == 0 then return first and "in none of the draws" or "in none" end
  return "in " .. wording.of_100(pct) .. (first and " of 100 draws" or
    " of 100")
end

--- "boxed costs less than grid in 62 of 100 draws, than lead-acid in all.":
-- the offer with the least median; nil where there is none.
function alternatives.duel (raw, names)
  local i = cheapest_offer(raw)
  local order, who, parts = {}, {}, {}
  for _, one in ipairs(i and stands_against(raw, names, i) or {}) do
    local pct = one.cheaper_pct
    if not who[pct] then order[#order + 1], who[pct] = pct, {} end
    table.insert(who[pct], one.name)
  end
  if #order == 0 then return nil end
  for k, pct in ipairs(order) do
    parts[k] = string.format("%s%s %s", k > 1 and "than " or "",
      wording.list(who[pct]), share_words(pct, k == 1))
  end
  return names[i] .. (added.alone(raw) and ", by a kWh that only it brings," or
    "") .. " costs less than " .. table.concat(parts, ", ") .. "."
end

--- By how much, in the same draw: a line for the same offer.
function alternatives.duel_line (raw, names)
  local i, parts = cheapest_offer(raw), {}
  for _, one in ipairs(i and stands_against(raw, names, i) or {}) do
    if has(one.more) then
      parts[#parts + 1] = "of " .. one.name .. " " ..
        alternatives.spread(one.more, 3)
    end
  end
  if #parts == 0 then return nil end
  return { names[i], "a kWh of it less one " .. table.concat(parts, ", ") ..
    ", each in the same draw." }
end

--- The same of every offer as data: t.against.
function alternatives.against (raw, names)
  local list = {}
  for i = 1, raw.offers do
    for _, one in ipairs(not raw[i].refused and
      stands_against(raw, names, i) or {}) do
      local more = one.more or {}
      list[#list + 1] = { offer = names[i], other = one.name,
        more = more.p50, more_p10 = more.p10, more_p90 = more.p90,
        cheaper_pct = one.cheaper_pct }
    end
  end
  return list
end

-- ---- years of service ----

--- What a year of service costs in even payments, interest included.
function alternatives.year_line (raw, names, discount)
  local parts = each(raw, names, "per_year", 2)
  if #parts == 0 then return nil end
  return { "a year", string.format("of service in even payments, at %s %%: " ..
    "%s.%s", wording.trim(100 * discount), table.concat(parts, ", "),
    added.alone(raw) and raw.n > raw.offers and " What is no offer carries " ..
    "the whole load there, without the supply." or "") }
end

-- "9 (5 .. 13)": whole years, of draws that reach the horizon too
local function whole_years (s)
  local low, high = wording.trim(s.p10), wording.trim(s.p90)
  return wording.trim(s.p50) .. (s.spread and low ~= high and
    string.format(" (%s .. %s)", low, high) or "")
end

-- rows whose middle life ends before the horizon, and what another one costs
local function endings (raw, names, years)
  local ends, again, same = {}, {}, false
  for i = 1, raw.n do
    local row = raw[i]
    local s = not row.refused and not row.alternative and row.counted
    if has(s) and s.p50 < years then
      ends[#ends + 1] = string.format("%s after %s, then %s%s", names[i],
        whole_years(s), wording.short(row.served_kwh.p50),
        #ends == 0 and " kWh a year are not counted" or "")
      if has(row.over_horizon) then
        again[#again + 1] = names[i] .. " " ..
          alternatives.spread(row.over_horizon, 3)
      end
      same = same or not has(row.over_horizon)
    end
  end
  return ends, again, same
end

--- Offers that end before the horizon does, and what then: bought again at
-- the price that was said, or nothing that is counted.
-- 'rises': the price of charging goes up each year, so a later one is dearer.
function alternatives.end_line (raw, names, horizon, rises)
  local years = math.floor(horizon + 1e-9)
  local ends, again, same = endings(raw, names, years)
  if #ends == 0 then return nil end
  return { "ends", string.format("of %d years: %s.%s%s", years,
    table.concat(ends, "; "), #again > 0 and " Bought again as said, a kWh " ..
    "over all of them: " .. table.concat(again, ", ") .. "." or "",
    same and not rises and
    " Bought again at the same price a kWh costs the same." or "") }
end

local function hours (span)
  return string.format("%s..%s h", wording.trim(span[1]),
    wording.trim(span[2]))
end

--- Hours and prices that went in: "22..6 h 0.14, 6..22 h 0.34; charged at
-- 0.14 by 22..6 h; spared at 0.34 by 6..22 h."; nil without a tariff.
function alternatives.tariff_line (need)
  local keys, spared, parts = core.keys(need), core.tariff(need), {}
  local charged = core.charge_price(need)
  if not spared then return nil end
  for i, band in ipairs(keys.import_at or {}) do
    parts[i] = hours(band) .. " " .. wording.trim(band[3])
  end
  local said = { #parts > 0 and table.concat(parts, ", ") or nil }
  if charged then
    said[#said + 1] = string.format("charged at %s%s", wording.trim(charged),
      keys.charge_hours and " by " .. hours(keys.charge_hours) or "")
  end
  said[#said + 1] = string.format("spared at %s%s", wording.trim(spared),
    keys.serve_hours and " by " .. hours(keys.serve_hours) or
    keys.import_at and " as the load falls" or "")
  return { "tariff", "a kWh: " .. table.concat(said, "; ") .. "." }
end

--- Columns that hold it, for scripts; the last ones in every comparison.
alternatives.columns = {
  { key = "npv", label = "saved against the grid", kind = "money",
    hidden = true },
  { key = "saving", label = "saved a year", kind = "money", hidden = true },
  { key = "break_even_years", label = "pays back in years", kind = "number",
    unit = "years", hidden = true },
  { key = "saves_pct", label = "saves in, % of draws", kind = "number",
    unit = "%", hidden = true },
  { key = "paid_pct", label = "paid back in its years, %",
    kind = "number", unit = "%", hidden = true },
  { key = "paid_late_pct", label = "paid back in the horizon, %",
    kind = "number", unit = "%", hidden = true } }
alternatives.year_columns = {
  { key = "per_year", label = "a year of service", kind = "money",
    hidden = true },
  { key = "counted_years", label = "whole years counted", kind = "number",
    unit = "years", hidden = true },
  { key = "over_horizon", label = "levelised, bought again", kind = "number",
    hidden = true } }

-- what the grid has no number of: it is held against itself
local against_grid = { npv = true, saving = true, break_even_years = true,
  saves_pct = true, paid_pct = true, paid_late_pct = true }

-- why a number of these columns is missing
local function why_not (row, key)
  if key == "over_horizon" then
    return row.alternative and "it is counted over the horizon" or
      "no price_again was given"
  elseif row.alternative and row.alternative.kind == "grid" and
      against_grid[key] then
    return "it is the grid, which the others are held against"
  elseif key == "break_even_years" and has(row.npv) then
    return "what is saved does not pay it back"
  elseif key == "levelised_added" then
    return row.alternative and "it needs no supply of its own" or
      "nothing is added in most draws"
  elseif key == "counted_years" or key == "per_year" then
    return "no years, or none that serve"
  end
  return "no tariff (import_price), or no levelised cost"
end

--- The cells of these columns.
function alternatives.cells (row, cells)
  for _, key in ipairs{ "npv", "saving", "break_even_years", "per_year",
    "over_horizon", "levelised_added" } do
    cells[key] = tables.stat(row[key], why_not(row, key))
  end
  cells.counted_years = row.whole_years or
    tables.stat(row.counted, why_not(row, "counted_years"))
  for _, key in ipairs{ "saves_pct", "paid_pct", "paid_late_pct" } do
    cells[key] = row[key] or { why = why_not(row, key) }
  end
end

--- Their keys, for a row that is refused.
alternatives.keys = { "npv", "saving", "break_even_years", "saves_pct",
  "paid_pct", "paid_late_pct", "per_year", "counted_years", "over_horizon",
  "levelised_added" }

-- ---- asked on its own ----

local savings_columns = {
  { key = "what", label = "against a tariff", kind = "text" },
  { key = "saving", label = "saved in the first year", kind = "money" },
  { key = "npv", label = "saved in all, discounted", kind = "money" },
  { key = "break_even_years", label = "pays back in years", kind = "number",
    unit = "years" },
  { key = "levelised", label = "levelised, per kWh", kind = "number" },
  { key = "tariff", label = "tariff, per kWh", kind = "number" },
  { key = "years", label = "years counted", kind = "count" } }

local function savings_head (raw)
  local n = raw.break_even
  if not n then return "What is saved never pays it back." end
  return string.format("It pays back in %s years%s.", wording.fixed(n),
    n > raw.years and string.format(", later than the %d counted", raw.years)
    or "")
end

--- amp.savings{ first, years, discount_pct, kwh, running, charge_price,
-- round_trip_pct, residual, tariff } --> one row: .saving .npv
-- .break_even_years .levelised
function alternatives.savings (spec)
  local raw = core.savings_raw(spec)
  return core.table_new{ columns = savings_columns, across = true, rows = { {
    what = "saved", saving = raw.first_year, npv = raw.npv,
    break_even_years = raw.break_even or { why = "never" },
    levelised = raw.levelised, tariff = spec.tariff, years = raw.years } },
    heads = { savings_head(raw) }, notes = { { "", "Payments at the end of " ..
      "each year; past the years counted as if the last of them went on." } } }
end


return alternatives
