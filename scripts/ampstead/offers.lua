--- What an offer costs until it stands at the gate, step by step, and the
-- bid that meets a target: in words, and readable by code.
local core, loader = ...
local wording = loader("wording")

local offers = {}

-- ---- landed cost ----

local labels = { goods = "goods", premium = "premium", freight = "freight",
  freight_by_kg = "freight by weight", freight_by_pallet = "freight by pallet",
  customs = "customs", inland = "freight behind the border",
  hazmat = "hazmat", fees = "fees", tax = "tax", collection = "own trip" }

local function percent (share)
  return wording.trim(100 * share) .. " %"
end

-- "12 modules at 245.00"
local function on_goods (line, keys)
  if keys.price_lot then return "the lot" end
  local unit = keys.price_each and "modules" or "kWh of nameplate"
  return string.format("%s %s at %s", wording.trim(line.base, 6), unit,
    wording.fixed(line.rate))
end

-- "15 % of 2950.00"; steps and a minimum come to a rate of their own
local function on_premium (line, keys)
  local p = keys.premium_pct
  local least = keys.premium_min and type(p) ~= "table" and
    line[2] > line.base * (p or 0) / 100 * (1 + 1e-9)
  if least or not p then return "the least that is asked" end
  if type(p) == "table" then
    return string.format("in steps on %s, %s of it", wording.fixed(line.base),
      percent(line.rate))
  end
  return percent(line.rate) .. " of " .. wording.fixed(line.base)
end

local function on_share (line)
  return percent(line.rate) .. " of " .. wording.fixed(line.base)
end

local on = { goods = on_goods, premium = on_premium }

function on.freight_by_kg (line)
  return string.format("%s kg at %s", wording.trim(line.base, 6),
    wording.fixed(line.rate))
end

function on.freight_by_pallet (line)
  return string.format("%s pallet%s at %s", wording.trim(line.base, 6),
    line.base == 1 and "" or "s", wording.fixed(line.rate))
end

function on.customs (line)
  return on_share(line) .. ", goods to the border"
end

function on.tax (line, keys)
  local rest = keys.tax ~= "excluded" or keys.tax_of
  return on_share(line) .. (rest and ", the lines without it" or
    ", all lines above")
end

function on.collection () return "yours, outside tax" end

-- the keys that a line multiplies, and the prices that may be spread
local prices = { goods = { "price_lot", "price_each", "price_per_kwh" },
  premium = { "premium_min" }, freight = { "freight" },
  freight_by_kg = { "freight_per_kg" },
  freight_by_pallet = { "freight_per_pallet" }, inland = { "inland" },
  hazmat = { "hazmat" }, fees = { "fees" }, collection = { "collection" } }
local in_order = { "goods", "premium", "freight", "freight_by_kg",
  "freight_by_pallet", "inland", "hazmat", "fees", "collection" }

-- ", the middle" where the price of the line is spread
local function middle (raw, line)
  for _, key in ipairs(prices[line[1]] or {}) do
    if raw.spread[key] then return ", the middle" end
  end
  return ""
end

local function on_what (raw, line, keys)
  local say = on[line[1]]
  return (say and say(line, keys) or "as invoiced") .. middle(raw, line)
end

-- {label, sentence}: what each price that is spread may be, and what is made
-- of it; nil: none is
local function spread_line (raw, keys)
  local parts, n = {}, 0
  for _, what in ipairs(in_order) do
    for _, key in ipairs(prices[what]) do
      local s = raw.spread[key]
      if s then
        n = n + 1
        parts[n] = string.format("%s %s .. %s", key, wording.fixed(s[1]),
          wording.fixed(s[2]))
      end
    end
  end
  if n == 0 then return nil end
  return { "spread", string.format("%s%s (P10 .. P90). The lines count the " ..
    "middle%s.", table.concat(parts, ", "),
    keys.currency and " " .. keys.currency or "", n > 1 and
    "; the range above has all of them low, or all high" or "") }
end

-- a price for each kWh counts the label's, which is a claim or a guess
local function basis_of (line, keys)
  if line[1] ~= "goods" or not keys.price_per_kwh then return nil end
  local given = core.keys(keys.module).capacity_ah
  return core.kind(given) == "value" and core.value(given).basis or "assumed"
end

-- "in year 8", "every year", "every 5 years from year 2"; nil: at the start
local function when (cost)
  local every, year = cost.every, cost.year or 0
  if not every then return year > 0 and "in year " .. year or nil end
  return (every == 1 and "every year" or "every " .. every .. " years") ..
    (year > 0 and year ~= every and " from year " .. year or "")
end

--- "inverter 400.00 in year 8": the costs of an offer's keys, those at the
-- start or those of later years; nil: none.
function offers.costs (keys, later)
  local parts = {}
  for _, cost in ipairs(keys.costs or {}) do
    local at = when(cost)
    if (at ~= nil) == later then
      parts[#parts + 1] = cost[1] .. " " .. wording.fixed(cost[2]) ..
        (at and " " .. at or "")
    end
  end
  return parts[1] and table.concat(parts, ", ") or nil
end

-- {label, sentence}: what stands in no line, with its money where given
local function left_out (keys)
  local parts = {}
  local bos, of = keys.bos, ""
  if core.kind(bos) == "value" then
    bos, of = core.value(bos).value, ", the middle of a spread"
  end
  parts[1] = "the rest of the build" .. (bos and " (bos " ..
    wording.fixed(bos) .. of .. ", counted in amp.compare)" or "")
  for _, later in ipairs{ false, true } do
    local costs = offers.costs(keys, later)
    parts[#parts + 1] = costs and costs .. " (counted in amp.compare)" or nil
  end
  parts[#parts + 1] = "carriage to the place (carry_per_kg of the need)"
  parts[#parts + 1] = "test time"
  parts[#parts + 1] = "disposal of what is rejected"
  return { "not in it", wording.list(parts) .. "." }
end

local function tax_line (keys)
  local parts = { "tax " .. (keys.tax or "not said") .. (keys.tax ==
    "excluded" and ", " .. wording.trim(keys.tax_pct) .. " %" or "") }
  for _, key in ipairs{ "goods", "premium", "freight", "inland", "hazmat",
    "fees" } do
    local own = keys.tax_of and keys.tax_of[key]
    if own then parts[#parts + 1] = key .. " " .. own end
  end
  return { "tax", table.concat(parts, "; "):gsub("^tax ", "") .. "." }
end

-- "1 GBP = 1.17 EUR, dated 2026-07-01.": nil in the offer's own money
local function rate_line (raw, keys, currency, rates)
  if not currency or not keys.currency or currency == keys.currency then
    return nil
  end
  local dated = keys.rates and keys.rates.dated or rates and rates.dated
  return { "rate", string.format("1 %s = %s %s, %s.", keys.currency,
    wording.trim(raw.rate, 6), currency,
    dated and "dated " .. tostring(dated) or "without a date") }
end

local function facts_of (raw, currency)
  local facts = { total = raw.total, lines = {}, currency = currency,
    total_p10 = raw.low or raw.total, total_p90 = raw.high or raw.total,
    rate = raw.rate, pallets = raw.pallets }
  for i, line in ipairs(raw.lines) do
    facts[line[1]] = line[2]
    facts.lines[i] = { line[1], line[2] }
  end
  return facts
end

local function rows_of (raw, keys)
  local rows = {}
  for i, line in ipairs(raw.lines) do
    rows[i] = { what = { text = line[1] }, step = labels[line[1]],
      amount = { value = line[2], basis = basis_of(line, keys) },
      of = on_what(raw, line, keys), base = line.base, rate = line.rate }
  end
  return rows
end

local function head (raw, offer, currency)
  local kwh = offer.nameplate_kwh
  return string.format("landed %s%s%s, %s per nameplate kWh.",
    wording.fixed(raw.total), currency and " " .. currency or "",
    raw.low and string.format(" (%s .. %s)", wording.fixed(raw.low),
      wording.fixed(raw.high)) or "", wording.fixed(raw.total / kwh, 1))
end

--- H1:landed(need or {currency, rates}) --> a row for each step, their sum
-- as .total; in the offer's own money unless another is asked for
local function landed (raw_landed)
  return function (offer, asked)
    local raw = raw_landed(offer, asked)
    local keys = core.keys(offer)
    local want = core.kind(asked) == "need" and core.keys(asked) or asked or {}
    local currency = want.currency or keys.currency
    local notes = { tax_line(keys) }
    notes[#notes + 1] = spread_line(raw, keys)
    notes[#notes + 1] = left_out(keys)
    notes[#notes + 1] = rate_line(raw, keys, want.currency, want.rates)
    if keys.remark then
      notes[#notes + 1] = { "remark", '"' .. keys.remark ..
        '": not counted, ask.' }
    end
    if keys.dated then
      notes[#notes + 1] = { "seen", keys.dated .. "." }
    end
    return core.table_new{ facts = facts_of(raw, currency),
      rows = rows_of(raw, keys), notes = notes,
      title = keys.name and keys.name .. ", landed" or "landed",
      heads = { head(raw, offer, currency) },
      columns = {
        { key = "what", label = "what", kind = "text", hidden = true },
        { key = "step", label = "step", kind = "text" },
        { key = "amount", label = currency or "amount", kind = "money",
          unit = currency },
        { key = "of", label = "of what", kind = "text" },
        { key = "base", kind = "number", hidden = true },
        { key = "rate", kind = "number", hidden = true } } }
  end
end

-- ---- the bid that meets a target ----

local stated = { { "price_lot", "for the lot" },
  { "price_each", "for each module" },
  { "price_per_kwh", "for each kWh of nameplate" } }

local function unit_of (keys)
  for _, s in ipairs(stated) do
    if keys[s[1]] then return s[2] end
  end
end

local per_words = { nameplate = "nameplate kWh", accepted = "accepted kWh",
  usable = "usable kWh", delivered = "delivered kWh",
  levelised = "kWh, levelised" }

--- The sentence of a ceiling: what may be bid and what it comes to, or how
-- far even a gift is from the target.
local function in_words (raw, keys, need, opts)
  local money = core.keys(need).currency or keys.currency or ""
  if money ~= "" then money = " " .. money end
  local target = string.format("%s per %s", wording.fixed(opts.target),
    per_words[raw.per])
  local besides = raw.besides > 0 and wording.fixed(raw.besides) .. money ..
    " beside it" or nil
  if raw.price < 0 then
    return string.format("no bid is low enough: %s%s are spent before any " ..
      "bid%s, %s allows %s", wording.fixed(raw.spent + raw.besides), money,
      besides and " (" .. besides:gsub(" beside it", " beside what lands") ..
        ")" or "", target, wording.fixed(raw.allowed))
  end
  local theirs = keys.currency and " " .. keys.currency or money
  local jump = raw.allowed - raw.besides - raw.landed > 0.01
  return string.format("at most %s%s %s: it lands at %s%s%s, %s",
    wording.fixed(math.floor(raw.price * 100 + 1e-6) / 100), theirs,
    unit_of(keys), wording.fixed(raw.landed), money,
    besides and ", " .. besides or "", jump and "below " .. target ..
      "; any more, and the premium steps above it" or target)
end

--- amp.bid_ceiling(offer, need, {target, per, draws, seed}) --> the price as
-- the offer states it, and a sentence that says it
function offers.bid_ceiling (offer, need, opts)
  local raw = core.bid_raw(offer, need, opts)
  return raw.price, wording.fold(in_words(raw, core.keys(offer), need, opts))
end

local offer = core.methods("offer")
offer.landed = landed(offer.landed)

return offers
