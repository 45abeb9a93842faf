--- How numbers, lists and reasons read in a sentence.
local core = ...

local wording = {}

local months = { "January", "February", "March", "April", "May", "June",
  "July", "August", "September", "October", "November", "December" }

--- Not a number, or not there at all.
local function missing (v)
  return type(v) ~= "number" or v ~= v
end
wording.missing = missing

--- A number with a fixed count of decimals: 4485 -> "4485.00".
function wording.fixed (v, decimals) return core.fixed(v, decimals or 2) end

--- Three significant digits, never fewer than stand before the point.
function wording.short (v) return core.short(v) end

--- A share of draws in percent, as so many of 100: never 0 nor 100 of what
-- happens in some and not in all.
function wording.of_100 (pct)
  if pct > 0 and pct < 1 then return "fewer than 1" end
  if pct > 99 and pct < 100 then return "more than 99" end
  return wording.fixed(pct, 0)
end

--- Three digits of what must not be less: never rounded down, 192.2 -> "193".
function wording.least (v)
  local text = wording.short(v)
  local got = tonumber(text)
  if not got or got >= v * (1 - 1e-12) or v <= 0 then return text end
  local behind = #(text:match("%.(%d+)") or "")
  return wording.fixed(got + 10 ^ -behind, behind)
end

--- At most 'digits' significant digits, no zeros at the end: 93.75, 0.008.
function wording.trim (v, digits) return core.trim(v, digits or 4) end

-- ---- lines ----

wording.columns = 78 -- of a line, everywhere

--- Columns that a text takes: names may hold any letters.
function wording.wide (text)
  return utf8.len(text) or #text
end

--- A text with blanks in front, or behind where it stands 'left'.
function wording.pad (text, columns, left)
  local space = (" "):rep(math.max(0, columns - wording.wide(text)))
  return left and text .. space or space .. text
end

-- a word in pieces of so many letters; one is most often enough
local function pieces (word, columns)
  local list = {}
  while wording.wide(word) > columns do
    local cut = utf8.len(word) and utf8.offset(word, columns + 1) or
      columns + 1
    list[#list + 1], word = word:sub(1, cut - 1), word:sub(cut)
  end
  list[#list + 1] = word
  return list
end

-- the words of a text, those that no line holds in pieces
local function words_of (text, columns)
  local list = {}
  for word in text:gmatch("%S+") do
    for _, piece in ipairs(pieces(word, columns)) do list[#list + 1] = piece end
  end
  return list
end

--- Words to a list of lines: the first behind 'lead', the others behind
-- 'indent', broken between words.
function wording.lines (text, lead, indent)
  local list, line, bare = {}, lead or "", true
  local room = wording.columns - math.max(wording.wide(lead or ""),
    wording.wide(indent or ""))
  for _, word in ipairs(words_of(text, math.max(room, 20))) do
    if not bare and wording.wide(line) + 1 + wording.wide(word) >
       wording.columns then
      list[#list + 1], line, bare = line, indent or "", true
    end
    line, bare = line .. (bare and "" or " ") .. word, false
  end
  list[#list + 1] = line
  return list
end

--- The same without lead and indent, as one text.
function wording.fold (text)
  return table.concat(wording.lines(text), "\n")
end

--- A label and words, which stand 'indent' columns in.
function wording.wrap (label, text, indent)
  local pad = (" "):rep(indent)
  return table.concat(wording.lines(text, "  " .. label ..
    pad:sub(math.min(#label, indent - 3) + 3), pad), "\n")
end

--- Who says whether a build may be switched on: under every answer of it.
wording.who_decides = "A competent electrician, the insurer and the local " ..
  "authority decide."

--- {"a", "b", "c"} -> "a, b or c"
function wording.list (items, last)
  local n = #items
  if n < 2 then return items[1] or "" end
  return table.concat(items, ", ", 1, n - 1) .. " " .. (last or "and") ..
    " " .. items[n]
end

--- The month's name; 1 is January.
function wording.month (i)
  return months[i]
end

--- Of "H1 used nickel", "H2 used iron" the first words, where those already
-- tell them apart; else the names as they are.
function wording.short_names (names)
  local short, seen = {}, {}
  for i, name in ipairs(names) do
    local word = name:match("^%S+") or name
    if seen[word] or #word > 12 then return names end
    seen[word], short[i] = true, word
  end
  return short
end

--- Edit distance, for "did you mean".
local function distance (a, b)
  local row = {}
  for j = 0, #b do row[j] = j end
  for i = 1, #a do
    local corner = row[0]
    row[0] = i
    for j = 1, #b do
      local cost = a:byte(i) == b:byte(j) and 0 or 1
      local best = math.min(row[j] + 1, row[j - 1] + 1, corner + cost)
      corner, row[j] = row[j], best
    end
  end
  return row[#b]
end

--- The nearest of 'words' to 'word', or nil where none is near. Places in a
-- list (1, 2 ..) among them are near to nothing.
function wording.nearest (word, words)
  local best, least
  for _, w in ipairs(words) do -- "soc_above" is near "soc_above_pct"
    local d = type(w) ~= "string" and #word or
      #word >= 3 and w:sub(1, #word) == word and 1 or
      distance(word:lower(), w:lower())
    if not least or d < least then best, least = w, d end
  end
  if least and least < #word and least <= math.max(1, #word // 3) then
    return best
  end
end

--- " (did you mean 'voltage_v'?)", or nothing where none of 'words' is near.
function wording.meant (word, words)
  local near = type(word) == "string" and wording.nearest(word, words)
  return near and " (did you mean '" .. near .. "'?)" or ""
end

--- What an object says that has no such key: "a run has no 'soc' (did ..".
function wording.has_no (what, key, known)
  return what .. " has no '" .. tostring(key) .. "'" ..
    wording.meant(key, known)
end

--- The middle of a spread number of a row of the C half; nil where the row is
-- refused or has none.
function wording.p50 (row, key)
  local s = row[key]
  if row.refused or not s or wording.missing(s.p50) then return nil end
  return s.p50
end

return wording
