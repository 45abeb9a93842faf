--- What a result rests on, in words: the lines under a table of costs.
local core, loader = ...
local wording = loader("wording")

local notes = {}

-- the keys whose number is physics: what to call it and its unit. Prices,
-- counts and settings have no basis and are not in here.
local words = {
  { "capacity_ah", "nameplate", "Ah" }, { "tested_ah", "tested", "Ah" },
  { "soh_pct", "SoH", "%" }, { "dud_pct", "duds", "%" },
  { "dud_together_pct", "duds together", "%" },
  { "r10s_mohm", "10 s resistance", "mohm" },
  { "calendar_pct_per_year", "fade", "%/year" },
  { "cycle_pct_per_efc", "fade", "%/EFC", "fade per EFC" },
  { "load_kwh", "load", "kWh a day" }, { "load_w", "load", "W" },
  { "dc_load_w", "DC load", "W" },
  { "from_battery_kwh", "from the battery", "kWh a day" },
  { "sun_hours", "sun", "h" }, { "temp_c", "temperature", "C" },
  { "performance_pct", "PV performance", "%" } }

-- a list of items that come in order, each text once, with who said it
local function new_list () return { order = {}, who = {} } end

local function add (list, text, who)
  if not list.who[text] then
    list.order[#list.order + 1], list.who[text] = text, {}
  end
  local known = list.who[text]
  if who ~= "" and known[#known] ~= who then known[#known + 1] = who end
end

local named_most = 3 -- more owners are counted, not named

-- "H1 H2", "used iron, new iron", "all", "5 offers"
local function owners (who, all)
  if #who > named_most then
    return #who == all and "all" or #who .. " offers"
  end
  return table.concat(who, table.concat(who):find(" ") and ", " or " ")
end

-- the same owners, not as many others
local function same_owners (a, b)
  for i = 1, a and math.max(#a, #b) or 0 do
    if a[i] ~= b[i] then return false end
  end
  return a ~= nil
end

-- "H1 duds 10 %; H2 H3 SoH 92 %"; neighbours of the same owners share them
local function say (list, all)
  local parts, last = {}, nil
  for _, text in ipairs(list.order) do
    local who = owners(list.who[text], all)
    if same_owners(last, list.who[text]) then
      parts[#parts] = parts[#parts] .. ", " .. text
    else
      parts[#parts + 1] = (who ~= "" and who .. " " or "") .. text
    end
    last = list.who[text]
  end
  return table.concat(parts, "; ")
end

local function sorted_numbers (t)
  local lo, hi
  for _, v in ipairs(t) do
    if type(v) == "number" then
      lo = math.min(lo or v, v)
      hi = math.max(hi or v, v)
    end
  end
  return lo, hi
end

-- large ones in full: 10000, not 1e+04
local function plain (v)
  return wording.trim(v, math.abs(v) >= 1e4 and 9 or 4)
end

-- how a given number reads, its basis, and whether it is spread
local function read_value (given, unit)
  if type(given) == "number" then
    return plain(given) .. " " .. unit, "assumed", false
  elseif core.kind(given) == "value" then
    local v = core.value(given)
    local text = plain(v.value)
    local spread = true
    if v.spread == "even" then
      text = plain(v.lo) .. " to " .. plain(v.hi)
    elseif v.spread == "normal" then
      text = text .. " +- " .. plain(v.sd)
    elseif not (v.n and v.n > 1) then
      spread = false
    end
    return text .. " " .. unit, v.basis, spread
  elseif type(given) == "table" then
    local lo, hi = sorted_numbers(given)
    if not lo then return nil end
    local text = lo == hi and plain(lo) or
      plain(lo) .. " to " .. plain(hi)
    return text .. " " .. unit, "assumed", false
  end
end

--- A collector of what the objects of one table rest on.
function notes.new ()
  return { claimed = new_list(), assumed = new_list(), fixed = new_list(),
    stood_in = new_list(), models = new_list(), few = {},
    outside = new_list() }
end

local function look (n, keys, who, skip)
  for _, w in ipairs(words) do
    local given = keys[w[1]]
    if given ~= nil and not skip[w[1]] then
      local text, basis, spread = read_value(given, w[3])
      if text then
        if n[basis] then add(n[basis], w[2] .. " " .. text, who) end
        if not spread then add(n.fixed, w[4] or w[2], "") end
      end
    end
  end
end

-- prices have no basis; only their spread is spoken of
local prices = { { "price_each", "price each" },
  { "price_lot", "price of the lot" }, { "price_per_kwh", "price per kWh" },
  { "premium_min", "least premium" }, { "freight", "freight" },
  { "freight_per_kg", "freight per kg" },
  { "freight_per_pallet", "freight per pallet" },
  { "inland", "inland freight" }, { "hazmat", "hazmat" }, { "fees", "fees" },
  { "collection", "collection" }, { "price", "price" }, { "bos", "bos" },
  { "price_again", "price of another" }, { "running", "running" },
  { "fuel_price", "fuel price" },
  { "fuel_rise_pct", "rise of the fuel price", "% a year" },
  { "overhaul", "overhaul" }, { "residual", "residual" },
  { "discount_pct", "interest", "%" }, { "charge_price", "charge price" },
  { "import_price", "tariff" },
  { "import_rise_pct", "rise of the tariff", "% a year" } }

-- what an alternative is said to do, where it is given with a spread: its
-- basis is the value's
local sayings = { { "life_years", "life", "years" },
  { "l_per_kwh", "fuel", "l/kWh" }, { "hours_a_day", "runs", "h a day" },
  { "overhaul_hours", "overhaul after", "h" },
  { "life_hours", "life", "h" }, { "usable_kwh", "usable", "kWh" },
  { "round_trip_pct", "round trip", "%" } }

local function look_prices (n, keys, who)
  for _, price in ipairs(prices) do
    if core.kind(keys[price[1]]) == "value" then
      local text, _, spread = read_value(keys[price[1]], price[3] or "")
      if spread then
        add(n.assumed, price[2] .. " " .. text:gsub(" $", ""), who)
        n.priced = true
      end
    end
  end
end

local function look_sayings (n, object, who)
  local keys = core.keys(object)
  for _, one in ipairs(core.kind(object) == "alternative" and sayings or
    {}) do
    if core.kind(keys[one[1]]) == "value" then
      local text, basis, spread = read_value(keys[one[1]], one[3])
      if n[basis] then add(n[basis], one[2] .. " " .. text, who) end
      if not spread then add(n.fixed, one[2], "") end
    end
  end
end

-- a voltage limit stands for the charge limit on its side
local same = { soc_min_pct = "cell_v_min", soc_max_pct = "cell_v_max" }

local function is_given (key, keys, outer)
  local other = same[key]
  return keys[key] ~= nil or outer[key] ~= nil or
    other ~= nil and (keys[other] ~= nil or outer[other] ~= nil)
end

-- the defaults that stand in where an object was given nothing; a sentence
-- "soh_pct: .." says nothing where what holds the object gives that key
local function look_defaults (n, object, who, outer)
  local keys = core.keys(object)
  for _, sentence in ipairs(core.defaults(object) or {}) do
    local given = false
    for key in (sentence:match("^([%w_, ]+):") or ""):gmatch("[%w_]+") do
      given = given or is_given(key, keys, outer)
    end
    if not given then add(n.stood_in, sentence, who) end
  end
end

-- what the parts of an object need not say again: keys that the object was
-- given, and those whose defaults it names itself
local function said (object, keys)
  local known = {}
  for key, value in pairs(keys) do known[key] = value end
  for _, sentence in ipairs(core.defaults(object) or {}) do
    for key in (sentence:match("^([%w_, ]+):") or ""):gmatch("[%w_]+") do
      known[key] = known[key] or sentence
    end
  end
  return known
end

local look_object

--- The modules that the keys of a pack list, each once, in their order;
-- none where it has one kind of module.
function notes.modules (keys)
  local list, seen = {}, {}
  local function take (given)
    if core.kind(given) == "module" then
      if not seen[given] then list[#list + 1] = given end
      seen[given] = true
    elseif type(given) == "table" then
      for i = 1, #given do take(given[i]) end
    end
  end
  if keys.strings then take(keys.strings) end
  if type(keys.module) == "table" then take(keys.module) end
  return list
end

--- The modules that the keys of a pack hold, string by string, whatever they
-- were given as: a list of its own; false where one is missing.
function notes.strings (keys)
  local list, at = {}, 0
  if keys.strings then
    for s, given in ipairs(keys.strings) do
      list[s] = table.move(given, 1, #given, 1, {})
    end
    return list
  end
  for s = 1, keys.parallel do
    list[s] = {}
    for i = 1, keys.series do
      at = at + 1
      list[s][i] = core.kind(keys.module) and keys.module or keys.module[at]
    end
  end
  return list
end

local function source_of (name)
  for _, model in ipairs(core.life_models and core.life_models() or {}) do
    if model.name == name then return model.source end
  end
end

local function look_models (n, given, who, skip)
  if type(given) == "string" then
    local source = source_of(given)
    add(n.models, given .. (source and " (" .. source .. ")" or ""), who)
  elseif core.kind(given) then
    look_object(n, given, who, skip)
  elseif type(given) == "table" then
    for _, model in ipairs(given) do look_models(n, model, who, skip) end
  end
end

--- Take in an object and those in its keys, for the row called 'who'.
-- 'skip' has the keys that aren't spoken of, 'outer' those that win.
function look_object (n, object, who, skip, outer)
  if not core.kind(object) or core.kind(object) == "value" then return end
  local keys = core.keys(object)
  look(n, keys, who, skip)
  look_prices(n, keys, who)
  look_sayings(n, object, who)
  look_defaults(n, object, who, outer or {})
  local known = said(object, keys)
  for _, key in ipairs{ "module", "inverter", "duty" } do
    if core.kind(keys[key]) then
      look_object(n, keys[key], who, skip, known)
    end
  end
  for _, module in ipairs(notes.modules(keys)) do
    look_object(n, module, who, skip, known)
  end
  if not skip.life_model then look_models(n, keys.life_model, who, skip) end
end
notes.look = look_object

--- Take in keys that stand in a plain table (a case of a sweep).
function notes.look_keys (n, keys, who, skip)
  look(n, keys, who, skip)
  look_models(n, keys.life_model, who, skip)
end

-- "2 of 12 tested: mean 93.8 Ah, 95 % between 66 and 121 Ah. Test more."
local function few_tests (v, unit)
  if v.n == 1 then
    return string.format("1 of %d tested (%s %s): one test shows no " ..
      "spread, so it counts as fixed. Test more.", v.of,
      wording.trim(v.value), unit)
  end
  local h = v.half_width
  local digits = v.value >= 20 and 0 or 2
  return string.format("%d of %d tested: mean %s %s, 95 %% between %s and " ..
    "%s %s.%s", v.n, v.of, wording.short(v.value), unit,
    wording.fixed(math.max(v.value - h, 0), digits),
    wording.fixed(v.value + h, digits), unit,
    h > 0.1 * v.value and " Test more." or "")
end

--- Say how much the tests of a lot tell, where only some were tested.
function notes.tests (n, object, who)
  local given = object and core.keys(object).tested_ah
  if core.kind(given) ~= "value" then return end
  local v = core.value(given)
  if v.n and v.of and v.n < v.of then
    n.few[#n.few + 1] = { who, few_tests(v, "Ah") }
  end
end

local ranges = { { "temp", "temperature" }, { "rate", "C-rate" },
  { "depth", "depth of cycles" } }

--- Flag the fitted ranges of the ageing models that a row leaves.
function notes.outside (n, row, who)
  for _, range in ipairs(ranges) do
    if row.outside and row.outside[range[1]] then
      add(n.outside, range[2], who)
    end
  end
end

local function names_of (list)
  return wording.list(list.order)
end

-- defaults, a full stop after those of the same owners: the sentences
-- themselves hold commas
local function say_defaults (list, all)
  local groups, last = {}, nil
  for _, text in ipairs(list.order) do
    local who = owners(list.who[text], all)
    if same_owners(last, list.who[text]) then
      groups[#groups] = groups[#groups] .. "; " .. text
    else
      groups[#groups + 1] = (who ~= "" and who .. " " or "") .. text
    end
    last = list.who[text]
  end
  return table.concat(groups, ". ")
end

--- Lines {label, sentence} of everything collected; 'middle' stands after
-- what a few tests say, 'all' is how many owners there are; 'unpriced': no
-- prices went in.
function notes.lines (n, middle, all, unpriced)
  local lines = {}
  local function put (label, text)
    if text ~= "" then lines[#lines + 1] = { label, text } end
  end
  table.move(n.few, 1, #n.few, 1, lines)
  table.move(middle or {}, 1, #(middle or {}), #lines + 1, lines)
  if #n.outside.order > 0 then
    put("outside", "the range its ageing model was fitted in: " ..
      say(n.outside, all) .. ". Years are a guess there.")
  end
  if #n.claimed.order > 0 then put("claimed", say(n.claimed, all) .. ".") end
  if #n.assumed.order > 0 then put("assumed", say(n.assumed, all) .. ".") end
  if #n.models.order > 0 then put("fade by", say(n.models, all) .. ".") end
  if #n.stood_in.order > 0 then
    put("not given", say_defaults(n.stood_in, all) .. ".")
  end
  local fixed = #n.fixed.order > 0 and names_of(n.fixed) or nil
  if not unpriced then
    local priced = n.priced and "other prices" or "prices"
    fixed = fixed and fixed .. "; " .. priced or priced
  end
  put("no spread given", fixed and fixed .. "." or "")
  return lines
end

local function file_text (file)
  return string.format("%s (sha256 %s..)", file.name,
    core.sha256(file.text):sub(1, 8))
end

local files = {} -- read by the script, in the order of their first reading

--- Remember a file that results may rest on.
function notes.file (path)
  for _, file in ipairs(files) do
    if file.path == path then return end
  end
  files[#files + 1] = { path = path, text = core.read(path),
    name = path:match("[^/\\]+$") or path }
end

--- Those files, {path, name, text} each.
function notes.files_read ()
  return files
end

-- "freight=520", for each parameter that was not left at its default
local function overrides ()
  local list = {}
  for _, p in ipairs(core.params_used() or {}) do
    local changed = p.given
    if changed then
      list[#list + 1] = p.name .. "=" .. (type(p.value) == "number" and
        wording.trim(p.value, 10) or tostring(p.value))
    end
  end
  return list
end

--- "rerun: ampstead 1.0, hut.lua (sha256 1234abcd..), seed 1, draws 2000"
function notes.rerun (raw)
  local parts = { "ampstead " .. tostring(core.version) }
  local text, name = core.script()
  if text and name then
    parts[#parts + 1] = file_text{ name = name:match("[^/\\]+$") or name,
      text = text }
  end
  for _, override in ipairs(overrides()) do parts[#parts + 1] = override end
  for _, file in ipairs(files) do
    parts[#parts + 1] = file_text(file)
  end
  if raw.draws then
    parts[#parts + 1] = "seed " .. wording.trim(raw.seed, 20)
    parts[#parts + 1] = "draws " .. wording.trim(raw.draws, 20)
  end
  return "rerun: " .. table.concat(parts, ", ")
end

--- What every result says of itself, and how to make it again; 'covers' is
-- what it covers, where that isn't fade; 'cold' where it looked at charging
-- in the cold.
function notes.close (lines, raw, covers, cold)
  lines[#lines + 1] = { "", covers or "Smooth fade only: sudden group " ..
    "failure, a knee, crash damage are not covered." }
  lines[#lines + 1] = { "", "Not checked: fuses, cable" ..
    (cold and "" or ", cold charging") .. ". Electrician, insurer, authority decide." }
  lines[#lines + 1] = { "", notes.rerun(raw) }
  return lines
end

return notes
