-- Posts: what stands in one, for which board, and that a stranger can take it
-- apart again. Sums are compared with those of sha256sum, another program.
package.path = (arg[0]:match("^(.*/)") or "./") .. "?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local folder = os.tmpname()
os.remove(folder)
os.execute("mkdir " .. folder)

local function save (name, text)
  local f = assert(io.open(folder .. "/" .. name, "wb"))
  f:write(text)
  f:close()
end

local function slurp (command)
  local p = assert(io.popen(command))
  local text = p:read("a")
  p:close()
  return text
end

-- what a script prints, errors too, run with these arguments
local function run (name, text, arguments)
  save(name, text)
  return slurp("lua5.4 " .. folder .. "/" .. name .. " " ..
    (arguments or "") .. " 2>&1")
end

local function sum (text)
  save("summed", text)
  return slurp("sha256sum " .. folder .. "/summed"):sub(1, 32)
end

-- blocks of a Markdown post: script and table with its last line
local function blocks (text, ticks)
  ticks = ticks or "```"
  return text:match("^" .. ticks .. "lua\n(.-)" .. ticks .. "\n"),
    text:match("\n\n" .. ticks .. "\n(.-\n)\n(rerun: .-)\n" .. ticks .. "\n?$")
end

local function one_line (text)
  return (text:gsub("%s+", " "))
end

-- ---- a post of a script, its table, its last line ----
local script = [==[
local amp = require "ampstead"
local ask = amp.params{ price = 100, name = "a lot" }
local t = amp.table{ title = "priced", columns = { "name",
  { key = "price", kind = "money" } },
  rows = { { name = "L1", price = ask.price }, { name = "L2", price = 7 } } }
print(t:post())
]==]
local plain = script:gsub(":post%(%)", "")
local post = run("hut.lua", script)
local shown, result, last = blocks(post)
check.equal(shown, script, "the script is in it, byte for byte")
check.equal(result, run("plain.lua", plain),
  "the table is what print shows")
check.has(one_line(last), "rerun: ampstead " .. amp.version .. " hut.lua " ..
  "sha256 script 6 lines " .. sum(script) .. ", words ")
check.has(one_line(last), "table 6 lines " .. sum(result))
local before, own = one_line(last):match("^(.*), line (%x+)$")
check.equal(own, sum(before), "the line ends in its own checksum")
check.has(post, "ampstead --recheck FILE")
check.ok(not post:find(folder, 1, true) and not post:find("/tmp"),
  "no path of the machine")
check.equal(run("hut.lua", script), post, "the same bytes again")
for line in post:gmatch("[^\n]*") do
  check.ok(#line <= 78, "78 columns: " .. line)
  check.ok(not line:find("%s$"), "no blanks at the end: '" .. line .. "'")
end

-- what the command line changed stands in the last line; a path does not
last = one_line(select(3, blocks(run("hut.lua", script, "price=120"))))
check.has(last, "hut.lua price=120 sha256")
last = one_line(select(3, blocks(run("hut.lua", script, "'name=b, c'"))))
check.has(last, "hut.lua name=b%2C%20c sha256")
for _, path in ipairs{ "/mnt/someone/x", "name=/mnt/x", "'C:\\x'", "../x",
  "\\~/x" } do
  last = one_line(select(3, blocks(run("hut.lua", script, path))))
  check.has(last, "hut.lua (without 1 of its arguments) sha256", path)
end
last = one_line(select(3, blocks(run("hut.lua", script, "sub/x.csv"))))
check.has(last, "hut.lua sub/x.csv sha256")
last = run("hut.lua", script, ""):match("rerun.*")
check.ok(not last:find("seed"), "no draws, no seed")

-- ---- draws, and what the table says of them ----
local drawn = [==[
local amp = require "ampstead"
local m = amp.module{ name = "m", chemistry = "lfp", series = 8, parallel = 1,
  capacity_ah = amp.claimed(100) }
local need = amp.need{ horizon_years = 10, inverter = amp.inverter{ v_min = 42,
  v_max = 58, v_abs_max = 60, power_w = 3000, efficiency_pct = 92 },
  duty = amp.profile.daily{ load_kwh = 2 } }
local t = amp.compare({ amp.offer{ name = "L1", module = m, count = 8,
  price_each = 200, tax = "included" } }, need, { draws = 40, seed = 9 })
]==]
post = run("drawn.lua", drawn .. "print(t:post())")
shown, result, last = blocks(post)
check.equal(shown, drawn .. "print(t:post())\n", "a last line end is added")
check.has(one_line(last), "drawn.lua (seed 9, draws 40) sha256")
check.ok(not result:find("rerun:", 1, true), "said once")
check.has(run("plain.lua", drawn .. "print(t)"), "rerun: ")
check.has(one_line(last), "script 9 lines " .. sum(drawn .. "print(t:post())"))

-- ---- files that were read: by the name in the script, with their sum ----
local csv = "id,ocv_v,ah\n1,25.76,96.1\n2,25.75,91.4\n"
local reads = [==[
local amp = require "ampstead"
local lot = amp.readings.csv("arrived list.csv", { module = amp.module{
  chemistry = "nmc111", series = 7, parallel = 2, capacity_ah = 112 } })
print(lot:judge():post())
]==]
save("arrived list.csv", csv)
last = one_line(select(3, blocks(run("reads.lua", reads))))
check.has(last, "file arrived%20list.csv " .. sum(csv) .. ", table")

-- ---- several posts in one script ----
post = run("two.lua", script .. "print(t:post{ board = 'bbcode' })\n")
local _, second = post:find("[code]\n", 1, true)
check.has(post:sub(second), "two.lua (post 2) sha256")
check.ok(post:sub(second):find("%[/code%]\n$"), "BBCode ends its block")
check.has(post:sub(second), script .. "print(t:post{ board = 'bbcode' })\n" ..
  "[/code]\n")

-- ---- signs that would end a block ----
local ticks = script:gsub("L1", "a ````b````")
shown, result, last = blocks(run("ticks.lua", ticks), "`````")
check.equal(shown, ticks, "a longer fence")
check.has(result, "a ````b````")
check.has(one_line(last), sum(ticks))
local tags = script:gsub("post%(%)", "post{ board = 'bbcode' }")
check.has(run("tags.lua", tags .. "-- [/CODE]"), "post: line 7 of the " ..
  "script holds [/code], which would end the block on a board")
post = run("tags.lua", (tags:gsub('"L1"', '"L[" .. "/code]"')))
check.has(post, "L(/code]", "in the table the bracket is turned")
result = post:match("\n%[code%]\n(.-\n)\nrerun:")
check.has(one_line(post), sum(result), "and the sum is that of the post")

-- ---- signs that boards and readers lose ----
check.has(run("mark.lua", script .. "-- \u{202e}"), "post: line 7 of the " ..
  "script holds the character U+202E, which nobody sees")
check.has(run("mark.lua", script .. "\n-- \200"), "post: line 8 of the " ..
  "script is not UTF-8")
local dos = script:gsub("\n", "\r\n")
shown, _, last = blocks(run("dos.lua", "\u{feff}" .. dos))
check.equal(shown, script, "CR and the byte order mark are left out")
check.has(one_line(last), sum("\u{feff}" .. dos), "their sum is the file's")

-- ---- a script that nobody can know ----
post = slurp([[lua5.4 -e 'print(require("ampstead").table{ columns = {"n"},
  rows = { { n = 1 } } }:post())' 2>&1]])
check.has(post, "Its script is not known")
check.ok(not post:find("lua\n", 1, true), "no block for it")
post = slurp("lua5.4 -e 'x = 1' " .. folder .. "/hut.lua")
check.has(one_line(post), "hut.lua (run with -e or -l) sha256")

-- ---- options ----
local t = amp.table{ columns = { "n" }, rows = { { n = 1 } } }
check.raises(function () t:post{ board = "html" } end,
  'board must be "markdown" or "bbcode" (got "html")')
check.raises(function () t:post{ bord = "bbcode" } end,
  "post: unknown key 'bord' (did you mean 'board'?)")
check.raises(function () t:post("bbcode") end, "post: takes a table such as")

-- ---- blocks of text in a script: messages find the place ----
local function message (call)
  return run("block.lua", 'local amp = require "ampstead"\n' ..
    "local m = amp.module{ chemistry = 'nmc111', series = 7,\n" ..
    "  parallel = 2, capacity_ah = 100 }\n" .. call)
end
check.has(message('local lot = amp.readings.text([[\nid,ocv_v,ah\n1,25,9\n' ..
  '2,"25,9\n]], { module = m })'), "block.lua:4: text:3:3: a quote is not")
check.has(message('local log = amp.log.text([[\ntime_s,current_a\n0,1\n' ..
  '5,zz\n]])'), "block.lua:4: text:3:3: current_a: 'zz' is not a number")
check.has(message('local list = amp.offers.text([[\noffer,count,price_lot\n' ..
  'a,1,zz\n]], { modules = {} })'), "block.lua:4: text:2:")
check.has(message('local duty = amp.profile.text([[\ntime_s,load_w\n0,10\n' ..
  '3600,b\n]])'), "block.lua:4: text:3:6: ")
check.has(message('local lot = amp.readings.text([[\nid,ocv_v,ah\n1,25,9\n' ..
  '2,25,9a\n]], { module = m })\nprint(lot:judge())'), "2 not judged: line 3")

os.execute("rm -r " .. folder)
check.done()
