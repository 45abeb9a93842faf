--- What decides, in words: the sentences above a table of costs.
local core, loader = ...
local wording = loader("wording")

local verdict = {}

local clear_pct = 80   -- cheapest in this share of the draws: a clear winner
local spoken_pct = 10  -- a rival with less is not spoken of
local level = 0.005    -- medians closer than this are called level

verdict.kinds_of_cost = {
  { "per_nameplate", "per nameplate" }, { "per_accepted", "per accepted" },
  { "per_usable", "per usable" }, { "per_delivered", "per delivered" },
  { "levelised", "levelised" } }

local p50 = wording.p50

--- "October: sun 3.53 kWh a day, load 4.18: short by 0.65 before battery
-- losses.", or nothing where the month's sun is enough or there is no sun.
function verdict.worst_month (w)
  if not w or not w.month or wording.missing(w.supply_kwh) or
     w.supply_kwh >= w.need_kwh then
    return {}
  end
  return {
    string.format("%s: sun %s kWh a day, load %s: short by %s before " ..
      "battery losses.", wording.month(w.month), wording.short(w.supply_kwh),
      wording.short(w.need_kwh),
      wording.fixed(w.need_kwh - w.supply_kwh, 2)),
    "A larger battery only bridges it longer." }
end

-- rows that have a share of being cheapest, the largest first
local function ranked (raw)
  local list = {}
  for i = 1, raw.n do
    local share = raw[i].cheapest_pct
    if p50(raw[i], "levelised") and not wording.missing(share) then
      list[#list + 1] = { i = i, share = share }
    end
  end
  table.sort(list, function (a, b)
    if a.share ~= b.share then return a.share > b.share end
    return a.i < b.i
  end)
  return list
end

-- how rows are spoken of: a list of names, or a function of row numbers
local function speaker (names)
  if type(names) == "function" then return names end
  return function (rows)
    local list = {}
    for k, i in ipairs(rows) do list[k] = names[i] end
    return wording.list(list, "or")
  end
end

-- " before what was not told (freight)" where a sum of these rows is a lower
-- bound: what it leaves out may turn the order
local function before (rows, untold)
  local parts, seen = {}, {}
  for _, i in ipairs(rows) do
    for _, what in ipairs(untold and untold[i] or {}) do
      if not seen[what] then
        seen[what], parts[#parts + 1] = true, what
      end
    end
  end
  return #parts == 0 and "" or " before what was not told (" ..
    table.concat(parts, ", ") .. ")"
end

--- Who is cheapest, and how sure that is. 'names' say how to speak of rows:
-- names[i], or a function of a list of row numbers; untold[i] lists what the
-- sum of row i leaves out, since nobody said it.
function verdict.winner (raw, names, untold)
  local say = speaker(names)
  local list = ranked(raw)
  if #list == 0 then
    return "No cost over life has an answer: the reasons stand below."
  end
  if #list == 1 then
    return raw.n > 1 and "Only " .. say{ list[1].i } ..
      " has a cost over its life: nothing to compare it with." or nil
  end
  local first = list[1]
  if first.share >= clear_pct then
    return string.format("%s is cheapest over its life in %s %% of the " ..
      "draws%s.", say{ first.i }, wording.fixed(first.share, 0),
      before({ first.i }, untold))
  end
  local who, share = {}, {}
  for k, entry in ipairs(list) do
    if k <= 4 and (k <= 2 or entry.share >= spoken_pct) then
      who[k], share[k] = entry.i, wording.fixed(entry.share, 0)
    end
  end
  return string.format("%s: no clear winner (%s)%s.", say(who),
    table.concat(share, " : "), before(who, untold))
end

-- the rows with the least median, as one string; nil where none has one
local function least (raw, say, key)
  local best
  for i = 1, raw.n do
    local v = p50(raw[i], key)
    if v and (not best or v < best) then best = v end
  end
  if not best then return nil end
  local who = {}
  for i = 1, raw.n do
    local v = p50(raw[i], key)
    if v and v <= best + level * math.abs(best) then who[#who + 1] = i end
  end
  return say(who)
end

--- "Cheapest by median: H2 per nameplate, per usable; H3 levelised.", where
-- the kinds of cost disagree; else nil.
function verdict.kinds (raw, names, kinds)
  local order, of, say = {}, {}, speaker(names)
  for _, kind in ipairs(kinds or verdict.kinds_of_cost) do
    local who = least(raw, say, kind[1])
    if who then
      if not of[who] then order[#order + 1], of[who] = who, {} end
      table.insert(of[who], kind[2])
    end
  end
  if #order < 2 then return nil end
  local parts = {}
  for k, who in ipairs(order) do
    parts[k] = who .. " " .. table.concat(of[who], ", ")
  end
  return "Cheapest by the median: " .. table.concat(parts, "; ") .. "."
end

-- row numbers by a cost, the cheapest first
local function order_by (cost, n)
  local list = {}
  for i = 1, n do if cost[i] then list[#list + 1] = i end end
  table.sort(list, function (a, b)
    if cost[a] ~= cost[b] then return cost[a] < cost[b] end
    return a < b
  end)
  return list
end

-- "H2 0.640, H3 0.651", the cheapest first; nil for more than four or where
-- rows have no names
local function in_order (list, cost, names)
  local said = {}
  for k, i in ipairs(list) do
    if #list > 4 or type(names) ~= "table" then return nil end
    said[k] = names[i] .. " " .. wording.fixed(cost[i], 3)
  end
  return table.concat(said, ", ")
end

local function turned (a, b)
  for k in ipairs(b) do
    if a[k] ~= b[k] then return true end
  end
  return false
end

--- Levelised cost counts whole years: a sentence with both orders where that
-- turns the order of the medians; else nil. 'discount' per row, 0.05 for 5 %.
function verdict.flooring (raw, names, discount)
  local whole, part = {}, {}
  for i = 1, raw.n do
    local cost, years = p50(raw[i], "levelised"), p50(raw[i], "years")
    if cost and raw[i].alternative then
      whole[i], part[i] = cost, cost -- counted over the horizon either way
    elseif cost and years and years >= 1 then
      local floored = math.floor(years + 1e-9)
      whole[i] = cost
      part[i] = cost * core.annuity(discount[i], floored) /
        core.annuity(discount[i], years)
    end
  end
  local a, b = order_by(whole, raw.n), order_by(part, raw.n)
  if not turned(a, b) then return nil end
  local one, other = in_order(a, whole, names), in_order(b, part, names)
  if not one then
    return "Levelised counts whole years; part years would change the order."
  end
  return "Whole years decide the order of the levelised cost: " .. one ..
    "; with part years " .. other .. "."
end

--- Where years past the horizon would turn the order of the medians: a
-- sentence with both orders; else nil.
function verdict.horizon (raw, names)
  local short, long, years = {}, {}, nil
  for i = 1, raw.n do
    local cost, life = p50(raw[i], "levelised"), raw[i].levelised_life
    if cost and life and not wording.missing(life) then
      short[i], long[i] = cost, life
      years = years or raw[i].horizon_years
    end
  end
  local a, b = order_by(short, raw.n), order_by(long, raw.n)
  if not turned(a, b) or #b > 4 and a[1] == b[1] then return nil end
  local one, other = in_order(a, short, names), in_order(b, long, names)
  if not one then
    return "The horizon decides the order of the levelised cost."
  end
  return string.format("The horizon of %s years decides the order of the " ..
    "levelised cost: %s; over the whole life %s.", wording.trim(years), one,
    other)
end

--- Where what was said of another one (price_again) turns the order of the
-- medians: a sentence with both orders; else nil. Rows that say nothing of it
-- count as bought again at the same price.
function verdict.again (raw, names)
  local own, on, said = {}, {}, false
  for i = 1, raw.n do
    local cost, again = p50(raw[i], "levelised"), p50(raw[i], "over_horizon")
    own[i], on[i], said = cost, cost and (again or cost), said or again
  end
  local a, b = order_by(own, raw.n), order_by(on, raw.n)
  if not said or not turned(a, b) then return nil end
  local one, other = in_order(a, own, names), in_order(b, on, names)
  if not one then
    return "What another one costs decides the order of the levelised cost."
  end
  return string.format("What another one costs decides the order of the " ..
    "levelised cost: %s; bought again until the horizon %s.", one, other)
end

return verdict
