--- Adverts as people write them: a list that holds every row, as an offer or
-- as refused with its reason, and the questions to ask of each.
local core, loader = ...
local wording = loader("wording")
local cautions = loader("cautions")

local listings = {}

local pcall = pcall

-- what is known of a list, and of an offer that came from one
local lists = setmetatable({}, { __mode = "k" })
local rows_of = setmetatable({}, { __mode = "k" })

-- ---- what is missing or contradicts, as a question ----

local function quoted (f)
  return f.text ~= "" and f.text and '"' .. f.text .. '"' or "nothing"
end

-- a column as people call it
local called = { price_is = "price is", tested_ah = "tested Ah",
  dud_pct = "duds", soh_pct = "SoH", tax_pct = "tax rate",
  premium_pct = "premium", customs_pct = "customs" }

local function column (f)
  return called[f.column] or f.column or "row"
end

local function money (v) return wording.fixed(v) end
local function short (v)
  return math.abs(v) < 1000 and wording.trim(v, 3) or wording.short(v)
end

local ask = {}

function ask.module_not_known (_, row)
  return row.words .. ": which one is it?"
end

function ask.count_not_given (f, row)
  return (f.text and f.text ~= "" and "count " .. quoted(f) .. ": " or "") ..
    "how many modules exactly?" .. (row.remark and
    ' (remark: "' .. row.remark .. '")' or "")
end

function ask.price_not_given (f)
  return (f.text and f.text ~= "" and "price " .. quoted(f) .. ": " or "") ..
    "what is the price?"
end

function ask.price_negotiable (f)
  return "price " .. quoted(f) .. ": negotiable, for how much? Counted as " ..
    "it stands"
end

function ask.number_only_about (f)
  return column(f) .. " " .. quoted(f) .. ": what exactly? Counted as it stands"
end

function ask.number_is_a_range (f)
  return column(f) .. " " .. quoted(f) .. " is a range: which of it?"
end

function ask.dollar_of_which ()
  return "a dollar sign: of which country? Name it in the column currency"
end

function ask.duds_of_what (f)
  return string.format("duds %s: percent, or modules? Counted as %s %%",
    quoted(f), short(f.a))
end

function ask.price_of_what (f, row)
  return string.format("%s for what: each, the lot, or a kWh?%s",
    row.text.price or "the price", f.text and f.text ~= "" and " (" ..
      quoted(f) .. ")" or "")
end

-- the column's own name too: it is the key of the limit
local units = { capacity_ah = " Ah", tested_ah = " Ah", nominal_v = " V",
  soh_pct = " %", dud_pct = " %", mass_kg = " kg", premium_pct = " %",
  tax_pct = " %", customs_pct = " %", bos_kg = " kg" }

function ask.no_such_number (f)
  if f.column == "count" then
    return "count must be a whole number above 0 (got '" .. f.text .. "')"
  elseif not f.a then
    return string.format("%s %s is out of range", f.column or "row",
      quoted(f))
  elseif f.a == 0 and f.b >= 1e6 then
    return string.format("%s must be above 0 (got %s)", f.column or "row",
      f.text or "nothing")
  end
  return string.format("%s must lie in %s .. %s%s (got %s)",
    f.column or "row", wording.trim(f.a), wording.trim(f.b, 10),
    units[f.column] or "", f.text or "nothing")
end

function ask.not_a_whole_number (f)
  return string.format("%s must be a whole number (got %s)", column(f),
    f.text or "nothing")
end

-- ": its decimal mark is '.', but decimal = ',' was told", or nil
local function other_mark (f, told)
  local mark = told == "," and "." or told == "." and ","
  if mark and f.text and f.text:find("%d[" .. mark .. "]%d") then
    return column(f) .. " " .. quoted(f) .. ": its decimal mark is '" ..
      mark .. "', but decimal = '" .. told .. "' was told"
  end
end

function ask.not_a_number (f, _, all)
  local mark = other_mark(f, all.decimal)
  if mark then return mark end
  if f.text and f.text:find("%d[^%d]*[^%d.,' ][^%d]*%d") and
     f.column ~= "tested_ah" then
    return column(f) .. " " .. quoted(f) .. " is more than one number: which?"
  end
  if f.column == "tested_ah" then
    return "tested Ah " .. quoted(f) .. ": which are the tests? Only " ..
      "numbers in Ah, 32 at most"
  end
  return column(f) .. " " .. quoted(f) .. " is not a number"
end

function ask.number_two_ways (f)
  return column(f) .. " " .. quoted(f) ..
    ": thousands or decimals? (say decimal = '.' or ',')"
end

function ask.decimal_comma_not_told (f)
  return column(f) .. " " .. quoted(f) ..
    " has a decimal comma (say decimal = ',')"
end

function ask.tax_not_known (f)
  return "tax" .. (f.text and f.text ~= "" and " " .. quoted(f) or "") ..
    ": is it included, excluded, or none due?"
end

function ask.tax_rate_not_given () return "tax is excluded: at what rate?" end

function ask.tax_by_margin (f)
  return "tax " .. quoted(f) .. ": what a margin scheme adds is not guessed; " ..
    "is the price all that is paid?"
end

function ask.currency_without_rate (_, row)
  return "no rate from " .. (row.currency or "its currency") ..
    ": yours to find, and its date"
end

function ask.currencies_mixed (f)
  if f.a then
    return string.format("%s %s names a currency, the price none: which is " ..
      "the price in?", column(f), quoted(f))
  end
  return "two currencies in one row: which?"
end

-- "b1 (line 3)", "line 3"
local function other_row (row)
  local line = string.format("line %d", row.line)
  return row.name == line and line or row.name .. " (" .. line .. ")"
end

function ask.listing_twice (f, row, all)
  return "the same advert as " .. other_row(all[f.a]) .. ": every cell alike" ..
    (row.says_again and " but what the remark says of it" or "")
end

function ask.listing_alike (f, row, all)
  return string.format("like %s but for %s: one advert seen twice, or two " ..
    "lots? Counted as two", other_row(all[f.a]), row.apart)
end

function ask.price_given_twice (f)
  return string.format("two prices, %s and %s: which?", money(f.a), money(f.b))
end

local function read_otherwise (row)
  local v = row.v.price
  if row.price_is == "price_each" then
    return "of the lot, " .. money(v / row.v.count) .. " each?"
  end
  return "of one, " .. money(v * row.v.count) .. " in all?"
end

function ask.price_lot_and_each_disagree (f, row)
  if f.a then
    return string.format("the price makes %s per kWh of nameplate, the " ..
      "middle of this list is %s: is it the price %s", short(f.a),
      short(f.b), read_otherwise(row))
  end
  return string.format('the price is given %s, the remark says "%s": %s',
    row.price_is == "price_each" and "each" or "for the lot", row.remark,
    "is it the price " .. read_otherwise(row))
end

function ask.price_far_off (f)
  return string.format("the price makes %s per kWh of nameplate, the middle " ..
    "of this list is %s: a slip?", short(f.a), short(f.b))
end

function ask.label_disagrees (f, row)
  local unit = f.a and row.claim_ah == f.a and "Ah" or "V"
  if f.decides == "refused" then
    return string.format("%s %s claimed, the module's label says %s: is it " ..
      "another one?", short(f.a), unit, short(f.b))
  end
  return string.format("%s Ah claimed, the label says %s: is that what is " ..
    "left? It is taken so", short(f.a), short(f.b))
end

function ask.capacity_and_energy_disagree (f)
  return string.format("%s: %s kWh each, but Ah times V make %s: which holds?",
    quoted(f), short(f.a), short(f.b))
end

function ask.fraction_for_percent (f)
  return string.format("%s %s: a fraction, %s %%?", column(f), quoted(f),
    wording.trim(100 * f.a))
end

function ask.claim_without_unit (f)
  if f.text and f.text:find("%", 1, true) then
    return "claimed " .. quoted(f) .. ": " .. short(f.a) ..
      " % of what: SoH, or of the modules?"
  end
  return "claimed " .. quoted(f) .. ": Ah, %, or kWh?"
end

function ask.soh_given_twice (f)
  return string.format("SoH %s and %s %%: which?", short(f.a), short(f.b))
end

function ask.more_tests_than_modules (f)
  return string.format("%d tests of %d modules: which modules?", f.a, f.b)
end

function ask.premium_in_remark (f)
  return (f.a and "a premium of " .. wording.trim(f.a) .. " %" or
    "a premium") .. " on top? The remark says so, the sum leaves it out"
end

function ask.price_per_kwh_of_what ()
  return "per kWh of what: label, claim, test? The label's are counted"
end

function ask.freight_left_out (f)
  return (f.text and f.text ~= "" and f.column == "freight" and "freight " ..
    quoted(f) .. ": " or "") .. "what does freight cost, or the trip to collect? Nothing is counted"
end

function ask.count_only_about (_, row)
  return string.format("exactly %d modules?", row.v.count)
end

function ask.advert_old (f, _, all)
  return string.format("seen %d days before %s: does the price still hold?",
    f.a, all.as_of or "the newest here")
end

function ask.price_without_date () return "when was it seen?" end

function ask.date_not_read (f)
  return "seen " .. quoted(f) .. ": which day?"
end

function ask.duds_zero_untested ()
  return "untested: what share is bad? None is counted"
end

function ask.duds_not_given ()
  return "what share is bad, and who pays for it? None is counted"
end

function ask.capacity_not_tested ()
  return "a test sheet, with current and cut-off? The label is taken"
end

function ask.samples_picked_by_seller ()
  return "the best was tested, it says: what of the others?"
end

function ask.few_tests (f)
  return string.format("%d of %d tested: who chose them, and what of the " ..
    "others?", f.a, f.b)
end

function ask.remark_of_damage (_, row)
  return 'remark "' .. row.remark .. '": what was damaged?'
end

function ask.damage_denied (_, row)
  return 'remark "' .. row.remark .. '": the seller\'s claim, see on arrival'
end

function ask.remark_to_read (_, row)
  return 'remark "' .. row.remark .. '": not read, not counted'
end

-- one that stands for itself already says what the remark says
local quotes_remark = { premium_in_remark = true, remark_of_damage = true,
  damage_denied = true, price_lot_and_each_disagree = true, count_only_about = true,
  samples_picked_by_seller = true, count_not_given = true,
  duds_zero_untested = true }

-- the findings of a row in words, the most decisive first
local function questions_of (row, all)
  local list, covered = {}, false
  for _, f in ipairs(row.findings) do
    local plain_remark = f.id == "remark_to_read"
    if not (plain_remark and covered) then
      local id = cautions.known(f.id) -- of the registry, or a fault
      list[#list + 1] = { id = id, decides = f.decides,
        ask = ask[f.id](f, row, all), place = f.place, column = f.column }
    end
    covered = covered or quotes_remark[f.id]
  end
  return list
end

-- ---- offers ----

local function rates_of (opts)
  if type(opts.rates) ~= "table" then return nil end
  local copy = {}
  for key, value in pairs(opts.rates) do copy[key] = value end
  copy.to = opts.currency
  return copy
end

local function state_of (row, keys)
  local v = row.v
  if v.dud_pct then keys.dud_pct = core.claimed(v.dud_pct) end
  if #row.tests > 0 then
    keys.tested_ah = core.tested(row.tests, { of = v.count, by = "seller" })
  elseif row.claim_soh then
    keys.soh_pct = core.claimed(row.claim_soh)
  elseif v.soh_pct then
    keys.soh_pct = v.soh_pct
  elseif row.left_ah then
    keys.tested_ah = core.claimed(row.left_ah)
  end
end

local function keys_of (row, opts)
  local v = row.v
  local keys = { name = row.text.typed or row.name, module = row.module, count = v.count,
    tax = row.tax, tax_pct = v.tax_pct, currency = row.currency,
    rates = rates_of(opts), dated = row.text.dated, remark = row.remark }
  keys[row.price_is] = v.price
  for _, key in ipairs{ "premium_pct", "freight", "hazmat", "fees",
    "collection", "customs_pct", "bos", "bos_kg" } do
    keys[key] = v[key]
  end
  state_of(row, keys)
  return keys
end

-- the words of an error without the script's line
local function bare (message)
  return (tostring(message):gsub("^[^\n]-:%d+: ", "", 1))
end

local refused_meta = { __name = "ampstead.refused", __metatable = "refused" }

-- in lines of 78 columns, those after the first set in by two
local function folded (form, ...)
  return table.concat(wording.lines(form:format(...), "", "  "), "\n")
end

function refused_meta.__tostring (self)
  return folded("%s: refused, line %d: %s", self.name, self.line, self.refused)
end

local function refuse (row, why)
  row.why = why
  return setmetatable({ name = row.name, line = row.line, refused = why },
    refused_meta)
end

-- the first of the findings that refuse, with what else refuses
local function reason (row)
  local parts = {}
  for _, q in ipairs(row.questions) do
    if q.decides == "refused" then parts[#parts + 1] = q.ask end
  end
  return table.concat(parts, "; ")
end

local function short_of_label (row)
  for _, f in ipairs(row.findings) do
    if f.id == "label_disagrees" and f.decides == "energy" then return f.a end
  end
end

local function name_rows (rows, opts)
  for i, row in ipairs(rows) do
    row.name = row.text.name or string.format("line %d", row.line)
    row.seller, row.remark = row.text.seller, row.text.remark
    row.currency = row.text.currency or row.money or opts.currency
    row.left_ah = short_of_label(row)
    row.place = i
    for _, f in ipairs(row.findings) do
      row.no_sum = row.no_sum or f.decides == "refused" or
        f.decides == "no_sum"
    end
  end
end

local function make (row, opts)
  if row.refused then return refuse(row, reason(row)) end
  local ok, offer = pcall(function () return core.offer(keys_of(row, opts)) end)
  if not ok then return refuse(row, bare(offer)) end
  rows_of[offer] = row
  return offer
end

-- ---- the list ----

local methods = {}
local meta = { __name = "ampstead.offers", __metatable = "list",
  __index = methods }

-- "b2: asked, line 4: like b1 (line 3) but for remark: ..", or nil
local function perhaps_twice (row)
  for _, q in ipairs(row.questions) do
    if q.id == "listing_alike" then
      return folded("%s: asked, line %d: %s", row.name, row.line, q.ask)
    end
  end
end

function meta.__tostring (self)
  local rows, lines, n = lists[self].rows, {}, 0
  for _, row in ipairs(rows) do n = n + (row.why and 1 or 0) end
  lines[1] = string.format("%d advert%s, %d refused.", #rows,
    #rows == 1 and "" or "s", n)
  for i = 1, #rows do
    if rows[i].why then lines[#lines + 1] = tostring(rawget(self, i)) end
    lines[#lines + 1] = not rows[i].why and perhaps_twice(rows[i]) or nil
  end
  return table.concat(lines, "\n")
end

local reasons_most, asked_most = 3, 3 -- of rows, and of each besides

local function sentence (text)
  text = text:sub(1, 1):upper() .. text:sub(2)
  return text:find("[?.]$") and text or text .. "."
end

-- "text:2:9: its reason", and what else is to ask of the row: a text
local function reason_and_questions (row, indent)
  local first, more, left = row.questions[1], {}, 0
  for _, q in ipairs(row.questions) do
    if q.decides ~= "refused" and #more < asked_most then
      more[#more + 1] = sentence(q.ask)
    elseif q.decides ~= "refused" then
      left = left + 1
    end
  end
  if left > 0 then more[#more + 1] = string.format("(%d more)", left) end
  local why = (first and first.place or string.format("line %d", row.line)) ..
    ": " .. row.why
  local lines = indent and wording.lines(why, indent, indent .. "  ") or { why }
  if #more > 0 then
    local below = (indent or "") .. "  "
    table.move(wording.lines("ask too: " .. table.concat(more, " "), below,
      below), 1, #row.questions * 8, #lines + 1, lines)
  end
  return table.concat(lines, "\n")
end

-- without one row that an offer can be made of the file is bad data
local function none_usable (rows)
  if #rows == 1 then
    core.fail("data", reason_and_questions(rows[1], nil))
  end
  local parts = {}
  for i = 1, math.min(#rows, reasons_most) do
    parts[i] = reason_and_questions(rows[i], "  ")
  end
  local left = #rows - reasons_most
  core.fail("data", string.format("no usable row of %d: mend the columns " ..
    "or the prices\n%s%s\n  every question: read it with ask = true, then " ..
    "offers:questions()", #rows, table.concat(parts, "\n"), left > 0 and
    string.format("\n  and %d more row%s", left, left == 1 and "" or "s") or
    ""))
end

--- The adverts in a text: a list, an entry for each row.
local function read (text, file, opts)
  local rows = core.offers_raw(text, file, opts)
  local self, usable, given = {}, 0, opts or {}
  rows.as_of, rows.decimal = given.as_of, given.decimal
  name_rows(rows, given)
  for i, row in ipairs(rows) do
    row.questions = questions_of(row, rows)
    self[i] = make(row, given)
    if not row.why then usable = usable + 1 end
  end
  if usable == 0 and not given.ask then none_usable(rows) end
  lists[self] = { rows = rows, file = file, none = usable == 0 }
  return setmetatable(self, meta)
end

function listings.csv (path, opts)
  return read(core.read(path), path, opts)
end

function listings.text (text, opts)
  if type(text) ~= "string" then
    core.fail("script", "offers: text must be a string (got " .. type(text) ..
      ")")
  end
  return read(text, "text", opts)
end

-- ---- questions ----

local question_columns = {}
for i, key in ipairs{ "who", "decides", "id", "ask", "place" } do
  question_columns[i] = { key = key, kind = "text", hidden = true }
end

local decides_words = { refused = "all", no_sum = "all", sum = "the sum",
  energy = "the kWh", little = "little" }

local printed_most = 3 -- questions of an advert; the others are data

-- a line for each advert: what to ask, the most decisive first
local function note_of (row)
  local parts, left = {}, 0
  local whole = row.why and row.questions[1].id == "listing_twice"
  for k, q in ipairs(row.questions) do
    if k <= printed_most and not (whole and k > 1) then
      parts[#parts + 1] = sentence(q.ask)
    else
      left = left + 1
    end
  end
  if left > 0 and not whole then
    parts[#parts + 1] = string.format("(%d more)", left)
  end
  return { row.name, table.concat(parts, " ") }
end

-- adverts of one seller stand together, in the order of the file
local function by_seller (rows)
  local order, groups = {}, {}
  for _, row in ipairs(rows) do
    local who = row.seller or ""
    if not groups[who] then
      order[#order + 1], groups[who] = who, {}
    end
    table.insert(groups[who], row)
  end
  local sorted = {}
  for _, who in ipairs(order) do
    table.move(groups[who], 1, #groups[who], #sorted + 1, sorted)
  end
  return sorted, order
end

--- offers:get("a2") --> that offer, or its refused row
function methods.get (self, name)
  local list = lists[self]
  if not list then
    core.fail("script", "get: call it with a colon, offers:get(name)")
  end
  local names = {}
  for i, row in ipairs(list.rows) do
    if row.name == name or row.text.typed == name then
      return rawget(self, i)
    end
    names[i] = row.name
  end
  core.fail("script", "offers: no advert is called '" .. tostring(name) ..
    "'" .. wording.meant(name, names))
end

--- offers:questions() --> table, a row for each question: .who .decides .id
-- .ask .place; printed per advert, the most decisive first.
function methods.questions (self)
  local list = lists[self]
  if not list then
    core.fail("script", "questions: call it with a colon, offers:questions()")
  end
  local sorted, sellers = by_seller(list.rows)
  local rows, notes, refused, seller = {}, {}, 0, nil
  for _, row in ipairs(sorted) do
    if row.why or row.no_sum then refused = refused + 1 end
    local who = row.seller or "a seller not named"
    if #sellers > 1 and who ~= seller then
      notes[#notes + 1] = { "", "To " .. who .. ":" }
      seller = who
    end
    if #row.questions > 0 then notes[#notes + 1] = note_of(row) end
    for _, q in ipairs(row.questions) do
      rows[#rows + 1] = { who = row.name, decides = decides_words[q.decides],
        id = q.id, ask = q.ask, place = q.place }
    end
  end
  notes[#notes + 1] = { "", "What decides most comes first: without an " ..
    "answer no sum, then the sum, the kWh, the rest. A remark is never " ..
    "counted." }
  return core.table_new{ columns = question_columns, rows = rows,
    heads = { string.format("%d advert%s%s: %d %s a sum, %d none yet.",
      #sorted, #sorted == 1 and "" or "s", #sellers > 1 and " of " .. #sellers ..
      " sellers" or "", #sorted - refused,
      #sorted - refused == 1 and "has" or "have", refused) }, notes = notes }
end

-- ---- in a comparison ----

--- Raise where this is a list, read for its questions alone, of which no row
-- is an offer: bad data wherever it is reckoned with.
function listings.check_usable (list)
  if lists[list] and lists[list].none then none_usable(lists[list].rows) end
end

--- The row behind an offer or a refused entry of a list, or nil.
function listings.row (offer)
  return rows_of[offer]
end

local lower = { premium_in_remark = "a premium",
  freight_left_out = "freight" }

--- What costs and is not counted in the sum of this offer: a list of words.
function listings.untold (offer)
  local row, list = rows_of[offer], {}
  for _, f in ipairs(row and row.findings or {}) do
    list[#list + 1] = lower[f.id]
  end
  return list
end

--- Is the sum of this offer a lower bound only?
function listings.is_bound (offer)
  return #listings.untold(offer) > 0
end

-- money that grows with what is not counted
local grows = { "landed", "total", "per_nameplate", "per_accepted",
  "per_usable", "per_delivered", "levelised" }

--- Mark the sums in a row's cells where they are lower bounds, and give the
-- reason of a refused row a cell of its own.
function listings.mark (cells, offer, raw)
  cells.refused = raw.refused
  if raw.refused or not listings.is_bound(offer) then return cells end
  for _, key in ipairs(grows) do
    local cell = cells[key]
    if type(cell) == "number" then cell = { value = cell } end
    if cell and cell.value then
      cell.beyond, cell.high_beyond = true, true
      cells[key] = cell
    end
  end
  return cells
end

--- A line {label, sentence} for the offers whose sums are lower bounds.
function listings.bound_line (offers, names)
  local who = {}
  for i, offer in ipairs(offers) do
    if listings.is_bound(offer) then who[#who + 1] = names[i] end
  end
  if #who == 0 then return nil end
  if #who > 6 then
    who = { table.concat(who, " ", 1, 5), "and " .. #who - 5 .. " more" }
  end
  return { "at least", table.concat(who, " ") .. ": freight was not told or " ..
    "a premium stands in the remark; their sums leave it out. See " ..
    "offers:questions()." }
end

return listings
