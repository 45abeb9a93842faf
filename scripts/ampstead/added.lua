--- What a battery adds: beside what the supply serves with no battery, and
-- beside what was wanted of it. Sentences and lines of a comparison.
local _, loader = ...
local wording = loader("wording")
local p50 = wording.p50

local added = {}

local worth_telling = 0.05 -- part of the load: less is no sentence
local level = 0.005        -- medians closer than this are level
local names_most = 4       -- so many are listed with their numbers

--- kWh a year that the supply serves by itself; nil where that is nothing.
function added.alone (raw)
  for i = 1, raw.n do
    local own = not raw[i].refused and raw[i].alone_kwh
    if own and not wording.missing(own) and own > 0 then return own end
  end
end

-- kWh a year that are asked for
local function load_of (raw)
  for i = 1, raw.n do
    local served, not_ = p50(raw[i], "served_kwh"), p50(raw[i], "unserved_kwh")
    if served and not_ and not raw[i].alternative then return served + not_ end
  end
end

--- The cost a kWh that is held against others: of what the battery adds.
-- nil of a row that adds nothing.
function added.cost (row)
  local own = row.alone_kwh
  if own and not wording.missing(own) and own > 0 then
    return p50(row, "levelised_added") and row.levelised_added
  end
  return row.levelised
end

-- rows of offers that have this number, the least first
local function ordered (raw, key)
  local list = {}
  for i = 1, raw.n do
    if not raw[i].alternative and p50(raw[i], key) then
      list[#list + 1] = i
    end
  end
  table.sort(list, function (a, b)
    local x, y = p50(raw[a], key), p50(raw[b], key)
    if x ~= y then return x < y end
    return a < b
  end)
  return list
end

-- "Hof 0.718, tiny 3.21", the first few of a list of row numbers
local function each (raw, names, list, key, digits)
  local parts = {}
  for k, i in ipairs(list) do
    if k <= names_most then
      parts[k] = names[i] .. " " .. (digits and
        wording.fixed(p50(raw[i], key), digits) or
        wording.short(p50(raw[i], key)))
    end
  end
  if #list > names_most then
    parts[#parts + 1] = string.format("%d more", #list - names_most)
  end
  return table.concat(parts, ", ")
end

-- "of 578 kWh a year the supply serves 290 with no battery"
local function alone_words (raw, own)
  local all = load_of(raw)
  return string.format("%sthe supply serves %s%s with no battery",
    all and "of " .. wording.short(all) .. " kWh a year " or "",
    wording.short(own), all and "" or " kWh a year")
end

-- is row a clearly below row b, or has b no such cost?
local function leads (raw, key, a, b)
  local x, y = p50(raw[a], key), p50(raw[b], key)
  return a ~= b and x and (not y or x < y * (1 - level))
end

--- A sentence where the order of the offers is another one, counted by the
-- kWh that only the battery brings; else nil.
function added.order (raw, names)
  local own, all = added.alone(raw), load_of(raw)
  local one, other = ordered(raw, "levelised"), ordered(raw, "levelised_added")
  if not own or all and own < worth_telling * all or #other < 1 or
     not leads(raw, "levelised", one[1], other[1]) or
     not leads(raw, "levelised_added", other[1], one[1]) then
    return nil
  end
  local said = alone_words(raw, own)
  return said:sub(1, 1):upper() .. said:sub(2) .. ": by a kWh that only the " ..
    "battery brings the order is another: " ..
    each(raw, names, other, "levelised_added", 3) .. "."
end

--- The line under the table, in place of a mere word on what counts.
function added.line (raw, names)
  local own = added.alone(raw)
  local list = own and ordered(raw, "levelised_added") or {}
  local text = "counts every kWh at the load, also what the supply serves " ..
    "directly."
  if own then
    text = text .. " " .. alone_words(raw, own):gsub("^%l", string.upper) ..
      (#list == 0 and "." or "; a kWh that only the battery brings, " ..
      "levelised: " .. each(raw, names, list, "levelised_added", 2) .. ".")
  end
  return { "delivered", text }
end

--- Where offers leave unlike parts of the load unserved, a cost per kWh
-- compares unlike things: a sentence. With many offers, whose table has no
-- room for the column, also where some of it stays unserved by all alike.
function added.unserved (raw, names, rows_are_many)
  local list, all = ordered(raw, "unserved_kwh"), load_of(raw)
  if #list == 0 or not all then return nil end
  local least = p50(raw[list[1]], "unserved_kwh")
  local most = p50(raw[list[#list]], "unserved_kwh")
  local unlike = most - least > worth_telling * all
  if not unlike and not (rows_are_many and most > worth_telling * all) then
    return nil
  end
  return string.format("%s of %s kWh a year: %s.", unlike and
    "They do not serve the same; unserved" or "Unserved",
    wording.short(all), each(raw, names, list, "unserved_kwh"))
end

--- Who has the days without sun that the need wants.
function added.days (raw, names, wanted)
  local has, lacks = {}, {}
  if not wanted then return nil end
  for _, i in ipairs(ordered(raw, "days")) do
    local to = p50(raw[i], "days") >= wanted and has or lacks
    to[#to + 1] = i
  end
  if #has + #lacks == 0 then return nil end
  local with, less = each(raw, names, has, "days", 2),
    each(raw, names, lacks, "days", 2)
  return string.format("%s without sun %s wanted: %s.", wanted == 1 and
    "1 day" or wording.trim(wanted) .. " days", wanted == 1 and "is" or "are",
    #lacks == 0 and string.format("all have that (%s)", with) or
    #has == 0 and string.format("none has that (%s)", less) or
    string.format("%s; not so %s", with, less))
end

return added
