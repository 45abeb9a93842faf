--- What else would carry the load, as rows beside offers: grid, generator, a
-- battery of stated life; and what each row saves against the grid.
local core, loader = ...
local wording = loader("wording")

local alternatives = {}

-- ---- rows beside offers ----

local function stat (v, basis)
  if not v or wording.missing(v) then return nil end
  return { p50 = v, p10 = v, p90 = v, spread = false, beyond = false,
    p10_beyond = false, p90_beyond = false, basis = basis }
end

local stores = { grid = "the grid stores nothing",
  generator = "a generator stores nothing",
  battery = "of this battery only usable kWh and years are said" }

-- one answer of the C half as a row of a comparison
local function row_of (raw, alternative)
  local keys = core.keys(alternative)
  if raw.refused then
    return { name = raw.name, refused = raw.refused, alternative = raw }
  end
  local priced = raw.kind == "grid" and raw.first == 0 and not keys.running
  local basis = not priced and "assumed" or nil
  local row = { name = raw.name, alternative = raw, none = stores[raw.kind],
    landed = { total = raw.first - (keys.bos or 0) },
    total = stat(raw.first), served_kwh = stat(raw.served_kwh, "assumed"),
    unserved_kwh = stat(raw.unserved_kwh, "assumed"),
    per_delivered = stat(raw.per_delivered, basis),
    levelised = stat(raw.levelised, basis),
    energy_present = raw.energy_present, whole_years = raw.years,
    cheapest_pct = 0 }
  if raw.kind == "battery" then
    row.usable_kwh = stat(keys.usable_kwh, "assumed")
    row.per_usable = stat(raw.first / keys.usable_kwh, "assumed")
    row.years = stat(keys.life_years, "assumed")
  end
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

--- Rows of the alternatives, and the least levelised cost among them.
function alternatives.rows (others, need)
  local rows, rival = {}, nil
  for i, one in ipairs(others) do
    local row = row_of(core.alternative_raw(one, need), one)
    rows[i] = row
    local cost = row.levelised and row.levelised.p50
    if cost and (not rival or cost < rival) then rival = cost end
  end
  return rows, rival
end

--- Put them behind the offers' rows; the cheapest of them wins the draws
-- that no offer wins.
function alternatives.append (raw, rows, rival)
  local rest = 100
  for i = 1, raw.n do
    local share = raw[i].cheapest_pct
    if not wording.missing(share) then rest = rest - share end
  end
  local equals = 0
  for _, row in ipairs(rows) do
    if row.levelised and row.levelised.p50 == rival then
      equals = equals + 1
    end
  end
  for _, row in ipairs(rows) do
    if row.levelised and row.levelised.p50 == rival then
      row.cheapest_pct = math.max(rest, 0) / equals
    end
    raw.n = raw.n + 1
    raw[raw.n] = row
  end
end

local function years (n) return n == 1 and "year" or "years" end

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
      wording.short(a.served_kwh), wording.fixed(a.energy_cost))
  end
  if a.life > 0 then
    parts[#parts + 1] = string.format("replaced every %d %s", a.life,
      years(a.life))
  end
  if a.unused > 0 then
    parts[#parts + 1] = string.format("of the last one %d %s left over",
      a.unused, years(a.unused))
  end
  parts[#parts + 1] = string.format("%d %s counted", a.years, years(a.years))
  if a.kind ~= "battery" then
    parts[#parts + 1] = "per delivered kWh includes the energy itself"
  end
  return table.concat(parts, "; ") .. "."
end

-- ---- against the grid ----

-- whole years that a row's levelised cost was counted over
local function counted (row)
  if row.whole_years then return row.whole_years end
  local p50 = row.years and row.years.p50
  return p50 and math.max(1, math.floor(p50 + 1e-9)) or nil
end

--- What a row saves where each of its kWh would cost 'tariff' else: its npv
-- over the years counted, the even yearly saving that stands for, and the
-- years until that has paid the outlay back. Into row.saves; from medians.
function alternatives.save (row, tariff, rate, residual)
  local cost = row.levelised and row.levelised.p50
  local n, total = counted(row), row.total and row.total.p50
  if row.refused or not cost or not n or not row.energy_present or
     wording.missing(row.energy_present) or
     row.alternative and row.alternative.kind == "grid" then
    return
  end
  local npv = (tariff - cost) * row.energy_present
  local left = total - (residual or 0) / core.compound(rate, n)
  local saving = (npv + left) / core.annuity(rate, n)
  row.saves = { npv = npv, saving = saving, years = n, total = total,
    break_even = core.pay_back(total, saving, rate),
    basis = row.levelised.basis }
end

local function at (raw, names, key, digits)
  local parts = {}
  for i = 1, raw.n do
    local s = raw[i].saves
    if s and s[key] then
      parts[#parts + 1] = names[i] .. " " .. wording.fixed(s[key], digits)
    end
  end
  return parts
end

--- "Against 0.29 a kWh from the grid: C3 is below (0.282); C1 (0.293) ..".
function alternatives.head (raw, names, tariff)
  local below, above = {}, {}
  for i = 1, raw.n do
    if raw[i].saves then
      local to = raw[i].saves.npv > 0 and below or above
      to[#to + 1] = string.format("%s (%s)", names[i],
        wording.fixed(raw[i].levelised.p50, 3))
    end
  end
  if #below + #above == 0 then return nil end
  return string.format("Against %s a kWh from the grid: %s.",
    wording.trim(tariff), #above == 0 and table.concat(below, ", ") ..
    " below it" or #below == 0 and "none below it, not " ..
    table.concat(above, ", ") or table.concat(below, ", ") ..
    " below it; not " .. table.concat(above, ", "))
end

--- A row that pays back in part years of its life but not in the whole ones
-- that are counted: the verdict hangs on the rounding.
function alternatives.rounding (raw, names)
  local parts = {}
  for i = 1, raw.n do
    local s, life = raw[i].saves, raw[i].years
    local lasts = life and not raw[i].alternative and life.p50
    if s and s.break_even and lasts and s.break_even <= lasts and
       s.break_even > s.years then
      parts[#parts + 1] = string.format("%s pays back in %s of its %s years, " ..
        "and not in the %d whole ones that are counted", names[i],
        wording.fixed(s.break_even), wording.fixed(lasts), s.years)
    end
  end
  if #parts == 0 then return nil end
  return table.concat(parts, "; ") .. ": the rounding decides."
end

--- Lines under the table: years until each pays back, and what it saves.
function alternatives.lines (raw, names, tariff)
  local back = at(raw, names, "break_even", 2)
  local saved = at(raw, names, "npv", 2)
  local lines = {}
  if #back > 0 then
    lines[1] = { "pays back", "in years, against " .. wording.trim(tariff) ..
      " a kWh: " .. table.concat(back, ", ") .. "." }
  end
  if #saved > 0 then
    lines[#lines + 1] = { "saves", "in all, discounted, over the whole years " ..
      "counted: " .. table.concat(saved, ", ") .. "." }
  end
  return lines
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

--- Columns that hold it, for scripts.
alternatives.columns = {
  { key = "npv", label = "saved against the grid", kind = "money",
    hidden = true },
  { key = "saving", label = "saved a year", kind = "money", hidden = true },
  { key = "break_even_years", label = "pays back in years", kind = "number",
    unit = "years", hidden = true } }

--- The cells of these columns.
function alternatives.cells (row, cells)
  local s = row.saves
  local why = "no tariff (import_price), or no levelised cost"
  local function cell (v)
    if not s or not v then
      return { why = s and "what is saved does not pay it back" or why }
    end
    return { value = v, basis = s.basis }
  end
  cells.npv, cells.saving = cell(s and s.npv), cell(s and s.saving)
  cells.break_even_years = cell(s and s.break_even)
end

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
