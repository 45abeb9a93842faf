--- Cautions: the registry as a table, the lines in which one is raised, and
-- those that a script brings along.
local core, loader = ...
local wording = loader("wording")
local tables = loader("table")

local cautions = {}

local pcall = pcall

--- The name, which is in the registry: another is a fault of this program.
function cautions.known (id)
  if not core.caution_is(id) then
    core.fail("fault", "internal fault: no caution is called '" ..
      tostring(id) .. "'")
  end
  return id
end

--- A note line {id, words}.
function cautions.line (id, words)
  return { cautions.known(id), words }
end

--- Add a line to a list of notes.
function cautions.add (notes, id, words)
  notes[#notes + 1] = cautions.line(id, words)
end

--- The names in a list of notes, once each, as scripts read them; 'more':
-- names that the answer tells elsewhere.
function cautions.ids (notes, more)
  local list, seen = {}, {}
  local function take (id)
    if not seen[id] then list[#list + 1] = id end
    seen[id] = true
  end
  for _, id in ipairs(more or {}) do take(cautions.known(id)) end
  for _, note in ipairs(notes) do
    if core.caution_is(note[1]) then take(note[1]) end
  end
  return table.concat(list, " ")
end

-- ---- raised for several owners ----

local words_most = 2 -- sentences under one name; more are counted

local collector = {}
collector.__index = collector

--- A collector of cautions of several objects, in the order of raising.
function cautions.collector ()
  return setmetatable({ order = {}, entry = {}, told = {}, seen = {} },
    collector)
end

--- Is it the first time that this object is looked at, with that beside it?
function collector:first (object, beside)
  local known = self.seen[object]
  if not known then
    known = {}
    self.seen[object] = known
  end
  if known[beside] then return false end
  known[beside] = true
  return true
end

local function add_once (list, item)
  if item == nil or item == "" then return end
  for _, known in ipairs(list) do
    if known == item then return end
  end
  list[#list + 1] = item
end

--- Raise one for 'who' ("" for the whole answer); without words it is a thing
-- left out, and its name says it.
function collector:add (id, who, words)
  local e = self.entry[id]
  if not e then
    e = { who = {}, words = {}, of = {} }
    self.entry[cautions.known(id)], self.order[#self.order + 1] = e, id
  end
  add_once(e.who, who)
  if words then
    add_once(e.words, words)
    e.of[words] = e.of[words] or {}
    add_once(e.of[words], who)
  end
end

--- One that the answer tells in words of its own.
function collector:tell (id)
  add_once(self.told, cautions.known(id))
end

local function owned (who, words)
  if #who == 0 then return words end
  local sep = table.concat(who):find(" ") and ", " or " "
  return (#who > 3 and #who .. " of them" or table.concat(who, sep)) ..
    ": " .. words
end

local function sentence (e)
  local parts = {}
  for i = 1, math.min(#e.words, words_most) do
    parts[i] = owned(e.of[e.words[i]], e.words[i])
  end
  if #e.words > words_most then
    parts[#parts + 1] = string.format("%d more like it",
      #e.words - words_most)
  end
  return table.concat(parts, "; ") .. "."
end

--- Lines {id, words}; what was left out stands in one line by its names.
function collector:lines ()
  local lines, left = {}, {}
  for _, id in ipairs(self.order) do
    local e = self.entry[id]
    if #e.words > 0 then
      lines[#lines + 1] = { id, sentence(e) }
    else
      local sep = table.concat(e.who):find(" ") and ", " or " "
      left[#left + 1] = id .. (#e.who > 0 and " (" ..
        (#e.who > 3 and #e.who .. " of them" or table.concat(e.who, sep)) ..
        ")" or "")
    end
  end
  if #left > 0 then
    lines[#lines + 1] = { "left out", table.concat(left, "; ") .. "." }
  end
  return lines
end

--- All names, as scripts read them.
function collector:ids ()
  local list = {}
  for _, id in ipairs(self.told) do list[#list + 1] = id end
  for _, id in ipairs(self.order) do add_once(list, id) end
  return table.concat(list, " ")
end

-- ---- the registry ----

local columns = { tables.text("id", "caution"),
  tables.text("what", "what is wrong"), tables.text("at", "raised at", true),
  tables.text("compared", "compared", true),
  tables.text("source", "source", true),
  tables.text("who", "who decides", true),
  tables.text("refused", "refused with", true) }

local function check_place (at)
  local places = core.caution_places()
  for _, place in ipairs(places) do
    if place == at then return end
  end
  local near = type(at) == "string" and wording.nearest(at, places)
  core.fail("script", string.format("cautions: at must be %s (got '%s'%s)",
    wording.list(places, "or"), tostring(at),
    near and ", did you mean '" .. near .. "'?" or ""))
end

local function is_at (entry, at)
  return at == nil or (", " .. entry.at .. ","):find(", " .. at .. ",", 1,
    true) ~= nil
end

-- everything about the one that is called so
local function tell (id)
  local ids = {}
  for i, entry in ipairs(core.cautions()) do
    ids[i] = entry.id
    if entry.id == id then
      return core.table_new{ columns = columns, rows = { entry },
        title = id, heads = { "What is wrong: " .. entry.what .. "." },
        notes = { { "compared", entry.compared .. "." },
          { "after", entry.source .. "." },
          { "raised at", entry.at .. "." },
          entry.refused and { "refused", '"' .. entry.refused .. '"' } or
            { "told", "as a line under the answer; it refuses nothing." },
          { "decides", entry.who .. "." } } }
    end
  end
  core.fail("script", "cautions: no caution is called '" .. tostring(id) ..
    "'" .. wording.meant(id, ids))
end

--- amp.cautions{ at = "offer" } --> table, a row for each that may be raised
-- there: .id .what .compared .source .who .at .refused; { id = ".." }: one
function cautions.cautions (opts)
  if opts ~= nil and type(opts) ~= "table" then
    core.fail("script", "cautions: options are a table of named keys")
  end
  tables.check_keys("cautions", opts or {}, { "at", "id" })
  local at, rows = opts and opts.at, {}
  if opts and opts.id ~= nil then return tell(opts.id) end
  if at ~= nil then check_place(at) end
  for _, entry in ipairs(core.cautions()) do
    if is_at(entry, at) then rows[#rows + 1] = entry end
  end
  return core.table_new{ columns = columns, rows = rows,
    heads = { string.format("%d cautions%s.", #rows, at and
      " that may be raised at " .. at or "") },
    notes = { { "", "What is compared, the practice or source, and who " ..
      "decides stand in docs/cautions.md; here as .compared, .source, .who, " ..
      "and where as .at." },
      { "", wording.who_decides } } }
end

-- ---- a script's own ----

local keys = { "id", "test", "what", "compared", "source", "who" }
local defaults = { what = "", compared = "as the script says",
  source = "the script's own", who = "whoever wrote it" }
local objects = setmetatable({}, { __mode = "k" })

local meta = { __name = "ampstead.caution", __metatable = "ampstead.caution" }

function meta.__index (self, key)
  for _, known in ipairs(keys) do
    if key == known then return objects[self][key] end
  end
  core.fail("script", wording.has_no("a caution", key, keys))
end

function meta.__newindex ()
  core.fail("script", "a caution never changes")
end

function meta.__tostring (self)
  local c = objects[self]
  return string.format("caution %q%s: compared: %s; source: %s; decides: %s",
    c.id, c.what ~= "" and ", " .. c.what or "", c.compared, c.source, c.who)
end

local function check_id (id)
  if type(id) ~= "string" then
    core.fail("script", "caution: id is wanted, a name that says what is " ..
      "wrong, as \"no_fire_detector\" (got " .. type(id) .. ")")
  end
  if core.caution_is(id) then
    core.fail("script", "caution: '" .. id .. "' is one of the program's own " ..
      "(amp.cautions()); call yours otherwise")
  end
  if not core.caution_free(id) then
    core.fail("script", "caution: id must be 3 .. 47 letters a-z, digits and " ..
      "_, a letter first (got '" .. id .. "')")
  end
end

local function check_words (spec)
  for _, key in ipairs{ "what", "compared", "source", "who" } do
    local v = spec[key]
    if v ~= nil and (type(v) ~= "string" or #v > 200 or v:find("%c")) then
      core.fail("script", string.format("caution %q: %s must be one line of " ..
        "words, 200 bytes at most", spec.id, key))
    end
  end
end

--- amp.caution{ id, test = function (pack, asked) .. end, what, who } --> one
-- of the script's own, for pack:check{ cautions = { .. } }. The test returns
-- nil or false: not raised; words: raised; nil and words: not looked at, why.
function cautions.caution (spec)
  if type(spec) ~= "table" then
    core.fail("script", "caution: takes a table of named keys, { id, test }")
  end
  tables.check_keys("caution", spec, keys)
  check_id(spec.id)
  if type(spec.test) ~= "function" then
    core.fail("script", string.format("caution %q: test must be a function " ..
      "of the pack and of what was asked (got %s)", spec.id,
      type(spec.test)))
  end
  check_words(spec)
  local held = {}
  for _, key in ipairs(keys) do held[key] = spec[key] or defaults[key] end
  local self = setmetatable({}, meta)
  objects[self] = held
  return self
end

--- Is it one that amp.caution made?
function cautions.is_own (x)
  return objects[x] ~= nil
end

--- The list of a script's own, each one of amp.caution, no name twice.
function cautions.own_list (who, list)
  if list == nil then return {} end
  if cautions.is_own(list) then return { list } end
  if type(list) ~= "table" then
    core.fail("script", who .. ": cautions must be a list of amp.caution{}")
  end
  local seen, out = {}, {}
  for i = 1, #list do
    if not cautions.is_own(list[i]) then
      core.fail("script", string.format("%s: no. %d of cautions must be " ..
        "amp.caution{} (got %s)", who, i, type(list[i])))
    end
    local id = list[i].id
    if seen[id] then
      core.fail("script", string.format("%s: two cautions are called '%s'",
        who, id))
    end
    seen[id], out[i] = true, list[i]
  end
  return out
end

-- one line, whatever a test returned or raised: its __tostring may fail too
local function one_line (said)
  local ok, text = pcall(tostring, said)
  if not ok or type(text) ~= "string" then return "without words" end
  text = text:gsub("[%c\r\n]+", " "):gsub("^%s+", "")
  if #text <= 300 then return text end
  return (text:sub(1, 300):gsub("[\xC0-\xFF][\x80-\xBF]*$", "")) .. " .."
end

--- Run one on a pack: nil where it is not raised; {id, words} where it is;
-- {id, words, unknown = true} where it could not be looked at. A test that
-- fails is told, and ends nothing.
function cautions.look (own, pack, asked)
  local c = objects[own]
  local seen = {} -- its own copy: a test changes nothing for the others
  for key, value in pairs(asked) do seen[key] = value end
  local ok, said, why = pcall(c.test, pack, seen)
  if not ok then
    return { c.id, "could not be looked at: " .. one_line(said),
      unknown = true }
  elseif type(said) == "string" and said:find("%S") then
    return { c.id, one_line(said) }
  elseif (said == nil or said == false) and why ~= nil then
    return { c.id, "not looked at: " .. one_line(why), unknown = true }
  elseif said == nil or said == false then
    return nil
  end
  return { c.id, "could not be looked at: its test must return words, nil " ..
    "or false (got " .. (type(said) == "string" and "none" or type(said)) ..
    ")", unknown = true }
end

return cautions
