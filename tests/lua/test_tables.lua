--- Tables as scripts read them, choose from them and write them.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local t = amp.table{
  title = "three packs",
  columns = { "name", { key = "years", label = "years to SoH 70 %",
    unit = "years" }, { key = "cost", kind = "money", unit = "EUR" },
    { key = "strings", kind = "count" } },
  rows = {
    { name = "a", years = { value = 12.8, low = 8.9, high = 15,
      high_beyond = true, basis = "assumed" }, cost = 5763, strings = 5 },
    { name = "b", years = { why = "no life model given" }, cost = 3813.3,
      strings = 4 },
    { name = "c", years = { value = 15, beyond = true }, cost = 3818.2,
      strings = 4 } },
  heads = { "A head that decides." },
  notes = { { "a", "rests on little." } } }

-- reading
check.equal(#t, 3)
check.equal(t[1].years, 12.8)
check.equal(t[1].years_p10, 8.9)
check.equal(t[1].years_p90, 15.0)
check.equal(t[2].years, nil, "a refused cell reads nil")
check.equal(t[2].years_p90, nil)
check.equal(t[3].years, 15.0, "beyond the horizon reads the horizon")
check.equal(t[3].years_p10, 15.0, "a fixed value is its own P10")
check.equal(math.type(t[1].strings), "integer")
check.equal(t[4], nil)
check.equal(t[0], nil)
local rows = 0
for _, row in ipairs(t) do
  rows = rows + 1
  check.ok(row.cost > 3000)
end
check.equal(rows, 3, "ipairs ends at #t")

local cell = t:cell(1, "years")
check.equal(cell.value, 12.8)
check.equal(cell.low, 8.9)
check.equal(cell.high, 15.0)
check.equal(cell.basis, "assumed")
check.equal(cell.high_beyond, true)
check.equal(t:cell(2, "years").why, "no life model given")
check.equal(t:cell(2, "years").value, nil)
check.equal(t:cell(1, "cost").basis, nil, "prices have no basis")
check.equal(table.concat(t:keys(), " "), "name years cost strings")
check.equal(t:heads()[1], "A head that decides.")
check.equal(t:notes()[1][2], "rests on little.")

-- mistakes name the key, the nearest one and the line of this file
local function at_this_file (fn, words)
  check.raises(fn, words)
  check.raises(fn, "test_tables.lua:")
end
at_this_file(function () return t[1].yaers end,
  "no column 'yaers' (did you mean 'years'?)")
at_this_file(function () return t:sort("costs") end, "did you mean 'cost'?")
at_this_file(function () return t:cell(4, "cost") end,
  "row must lie in 1 .. 3 (got 4)")
at_this_file(function () t.cost = 3 end, "never change")
at_this_file(function () t[1].cost = 3 end, "never change")
at_this_file(function () return t.cost end, "of which row?")
at_this_file(function () return t:top(-1) end, "whole number of rows")
at_this_file(function () return t:sort("cost", "sideways") end, "sideways")
at_this_file(function () return t:columns{} end, "list of names")
at_this_file(function () return t:columns{ "cost", "cost" } end, "twice")
at_this_file(function () return t:write("t.doc") end, ".html")
at_this_file(function () local p = t:post{ board = "html" } return p end,
  "board must be")
-- (a tail call would leave no line of this file to name)
at_this_file(function () t = amp.table{ columns = { "a", "a" } } end,
  "stands twice")
at_this_file(function () t = amp.table{ colums = {} } end,
  "unknown key 'colums' (did you mean 'columns'?)")
at_this_file(function ()
  t = amp.table{ columns = { "a" }, rows = { { b = 1 } } }
end, "row 1: unknown key 'b'")

-- one row reads directly
local one = t:top(1)
check.equal(one.years, 12.8)
check.equal(one.years_p10, 8.9)

-- new tables; the old one stays
local function names (of)
  local list = {}
  for i, row in ipairs(of) do list[i] = row.name end
  return table.concat(list)
end
check.equal(names(t:sort("years")), "acb", "nothing comes last going up")
check.equal(names(t:sort("years", "down")), "cab", "and going down")
check.equal(names(t:sort("strings")), "bca", "equal rows keep their order")
check.equal(names(t:sort("strings", "down")), "abc")
check.equal(names(t:sort("name", "down")), "cba")
check.equal(names(t), "abc", "sorting leaves the table as it was")
check.equal(names(t:top(2)), "ab")
check.equal(names(t:top(9)), "abc")
check.equal(#t:top(0), 0)
check.equal(names(t:where{ strings = 4 }), "bc")
check.equal(names(t:where{ strings = 4, name = "c" }), "c")
check.equal(names(t:where{ strings = 7 }), "")
check.equal(names(t:where(function (r) return r.cost < 3815 end)), "b")
check.equal(table.concat(t:columns{ "years", "name" }:keys(), " "),
  "years name")
check.equal(t:columns{ "years", "name" }:notes()[1][1], "a",
  "notes come along")

local more = t:add("per_string", function (r) return r.cost / r.strings end,
  { unit = "EUR" })
check.close(more[1].per_string, 5763 / 5, 1e-12)
check.equal(more[1].years_p10, 8.9, "the other cells come along")
check.equal(more:cell(2, "years").why, "no life model given")
check.equal(t:add("w", function (r) return r.years and "yes" end)[2].w, nil)
check.equal(t:add("w", function (r) return r.name .. "!" end)[3].w, "c!")
at_this_file(function () return t:add("cost", function () end) end,
  "stands already")
at_this_file(function ()
  return t:add("x", function (r) return r.years or "none" end)
end, "numbers and strings")

-- hidden columns are data, and show once they are named
local hidden = amp.table{ columns = { "name", { key = "secret",
  hidden = true } }, rows = { { name = "a", secret = 7 } } }
check.equal(hidden[1].secret, 7.0)
check.ok(not hidden:text():find("secret"))
check.has(hidden:columns{ "name", "secret" }:text(), "secret")
check.ok(not hidden:add("x", function () return 1 end):text():find("secret"),
  "a copy hides what the first hid")

-- the spread of a folded column is data only
local folded = amp.table{ columns = { "name", { key = "v", folded = true } },
  rows = { { name = "a", v = { value = 5, low = 2.25, high = 9 } } } }
check.ok(not folded:text():find("2.25", 1, true))
check.ok(not folded:add("x", function () return 1 end):text()
  :find("2.25", 1, true))
check.equal(folded[1].v_p10, 2.25)
check.has(folded:csv(), "2.25")

-- the written forms hold the cells; text stays within 78 columns
check.has(t:text(), "A head that decides.")
check.has(t:text(), "5763.00")
check.has(tostring(t), "5763.00")
check.ok(tostring(t):sub(-1) ~= "\n", "print adds the line end")
for line in t:text():gmatch("[^\n]+") do check.ok(#line <= 78, line) end
check.has(t:markdown(), "|")
check.has(t:bbcode(), "[code]")
check.has(t:csv(), "3813.3")
check.has(t:json(), "\"years\"")
check.has(t:html(), "<table")
check.equal(t:html(), t:html(), "the same table gives the same bytes")

-- charts
local points = amp.table{ columns = { "x", "y", "room", "k" }, rows = {
  { x = 90, y = 2, room = 10, k = 1 }, { x = 80, y = 1, room = 10, k = 1 },
  { x = 80, y = 3, room = 25, k = 1 }, { x = 80, y = 4, room = 25, k = 2 } } }
local chart = points:top(3):plot{ x = "x", y = "y", by = "room" }
check.has(chart:svg(), "<svg")
check.has(chart:svg(), "y against x")
check.has(chart:svg(), "room = 25")
check.has(points:top(1):plot{ x = "x", y = "y", title = "mine" }:svg(), "mine")
at_this_file(function ()
  return points:plot{ x = "x", y = "y", by = "room" }
end,
  "several rows stand at x = 80, room = 25; they differ in 'k'")
at_this_file(function () return points:plot{ x = "x", y = "why" } end,
  "no column 'why'")
at_this_file(function () return t:plot{ x = "name", y = "cost" } end,
  "holds words")
at_this_file(function () return points:plot{ x = "x", y = "y", bye = 1 } end,
  "unknown key 'bye'")
at_this_file(function () return points:top(0):plot{ x = "x", y = "y" } end,
  "no rows")
at_this_file(function () return chart:write("chart.png") end, ".svg")
local two = points:top(2):plot{ x = "x", y = { "y", "room" }, below = "k" }
check.equal(select(2, two:svg():gsub("<path", "")), 3, "two lines, one below")
at_this_file(function ()
  return points:plot{ x = "x", y = { "y", "k" }, by = "room" }
end, "by wants one column")
at_this_file(function ()
  return points:top(1):plot{ x = "x", y = "y", by = "room", below = "k" }
end, "by or below, not both")
at_this_file(function () return points:plot{ x = "x", y = {} } end,
  "y holds 1 .. 7 names")
at_this_file(function () return points:plot{ x = "x", y = { "yy" } } end,
  "no column 'yy'")
-- words in the last column take what the page of 78 has left: 5 + 2 + 71
local wordy = ("word "):rep(14)
local page = tostring(amp.table{ columns = { "id", "words" }, rows = {
  { id = "first", words = wordy .. "x" } } })
check.has(page, "first  " .. wordy .. "x\n")
page = tostring(amp.table{ columns = { "id", "words" }, rows = {
  { id = "first", words = wordy .. "xyz" } } })
check.has(page, "first  " .. wordy:sub(1, -2) .. "\n       xyz\n")

check.done()
