--- Do saved posts check as they should? Posts are made by the program, mangled
-- as boards, mail and browsers mangle them, altered, cut and made hostile.
-- usage: lua5.4 check_recheck.lua PATH-OF-ampstead
local program = assert(arg[1], "usage: check_recheck.lua PROGRAM")
local passed, failed = 0, 0

local function run (command)
  local p = assert(io.popen(command))
  local text = p:read("a")
  local _, kind, status = p:close()
  return text, kind == "exit" and status or -1
end

program = run("realpath " .. program):gsub("\n", "")
local folder = run("mktemp -d"):gsub("\n", "")

local function save (name, text)
  local f = assert(io.open(folder .. "/" .. name, "wb"))
  f:write(text)
  f:close()
end

local function in_folder (command)
  return run("cd " .. folder .. " && " .. command .. " 2>&1 </dev/null")
end

local function verdict (held, what, detail)
  if held then passed = passed + 1 return end
  failed = failed + 1
  print("FAIL " .. what .. ": " .. detail:sub(1, 1500))
end

-- the post that a script makes
local function made (name, script, arguments)
  save(name, script)
  local post, status = in_folder(program .. " " .. name .. " " ..
    (arguments or ""))
  verdict(status == 0, name .. " makes a post", post)
  return post
end

-- recheck of this text: its status, and words that it says
local function check (what, text, want, words, options)
  save("saved.txt", text)
  local said, status = in_folder("timeout 60 " .. program .. " " ..
    (options or "") .. " --recheck saved.txt")
  local flat = said:gsub("%s+", " ")
  verdict(status == want, what, "status " .. status .. ", wanted " .. want ..
    "\n" .. said)
  for _, w in ipairs(type(words) == "table" and words or { words }) do
    verdict(flat:find(w, 1, true), what, "does not say '" .. w .. "'\n" ..
      said)
  end
  for line in said:gmatch("[^\n]+") do
    verdict(utf8.len(line) and utf8.len(line) <= 78, what, "wide: " .. line)
  end
  return said
end

-- ---- a post for each board ----

local body = [==[
-- Two lots beside each other -- invented; "quoted", 'quoted' & a > b...
local amp = require "ampstead"
local ask = amp.params{ price = 100, name = 'L1' }
local list, most = {}, 250

local function add (...)
  for _, row in ipairs{ ... } do
    if row.price >= 1 and row.price - 1 < most then
      list[#list + 1] = row -- keeps it
    end
  end
end

add({ name = ask.name .. " pouch", price = ask.price, share = 0.25 },
    { name = "L2 block", price = 7.5, share = 0.5 },
    { name = "L3 ...", price = 12.25, share = 1 })
local t = amp.table{ heads = { "L1 is dearest: 100.00." }, columns = { "name",
  { key = "price", label = "price EUR", kind = "money" }, "share" },
  rows = list, notes = { { "invented", "all of it, with \"quotes\"" } } }
]==]
local boards = {
  markdown = made("lots.lua", body .. "print(t:post())\n"),
  bbcode = made("lots.lua", body .. "print(t:post{ board = 'bbcode' })\n") }

local function each_line (text, fn)
  return (text:gsub("([^\n]*)\n", function (line) return fn(line) .. "\n" end))
end

local function before (mark)
  return function (text)
    return each_line(text, function (line) return mark .. line end)
  end
end

local function swap (from, to)
  return function (text)
    return (text:gsub(from:gsub("%p", "%%%0"), (to:gsub("%%", "%%%%"))))
  end
end

local function curly (text)
  local open = false
  return (text:gsub("\"", function ()
    open = not open
    return open and "“" or "”"
  end):gsub("'", "’"))
end

local function entities (text)
  return (text:gsub("[&<>\"']", { ["&"] = "&amp;", ["<"] = "&lt;",
    [">"] = "&gt;", ["\""] = "&quot;", ["'"] = "&#39;" }))
end

local function unindent (text)
  return each_line(text, function (line) return (line:gsub("^ +", "")) end)
end

local function tabs (width)
  return function (text)
    return each_line(text, function (line)
      local blanks = #line:match("^ *")
      return ("\t"):rep(blanks // width) .. (" "):rep(blanks % width) ..
        line:sub(blanks + 1)
    end)
  end
end

local function no_marks (text)
  return (text:gsub("\n```\n", "\nCode:\n"):gsub("^```lua\n", "")
    :gsub("%[/?code%]\n", "Code: Select all\n"))
end

local function no_empty_lines (text)
  return (text:gsub("\n\n+", "\n"))
end

-- as a browser saves the page
local function page (text)
  text = entities(text)
    :gsub("(%f[%w]local%f[%W])", "<span class='k'>%1</span>")
    :gsub("^```lua\n", "<div><p>Code:</p><pre><code>")
    :gsub("^%[code%]\n", "<div><p>Code:</p><pre><code>")
    :gsub("\n```\n\n```\n", "\n</code></pre><pre><code>")
    :gsub("\n```\n\n([^`%[]+)\n\n```\n", "\n</code></pre><p>%1</p><pre><code>")
    :gsub("\n%[/code%]\n\n([^`%[]+)\n\n%[code%]\n",
      "\n</code></pre><p>%1</p><pre><code>")
    :gsub("\n```\n$", "\n</code></pre></div>")
    :gsub("\n%[/code%]\n$", "\n</code></pre></div>")
  assert(not text:find("```") and not text:find("[code]", 1, true), text)
  return "<!DOCTYPE html>\n<html><head><title>a thread</title></head>\n" ..
    "<body><p>Look:</p>" .. text .. "\n<p>Bye</p></body></html>\n"
end

local function all (...)
  local list = { ... }
  return function (text)
    for _, mangle in ipairs(list) do text = mangle(text) end
    return text
  end
end

local function one_line_tail (text)
  return (text:gsub("rerun: .*", function (tail)
    return (tail:gsub("\n([%w,])", " %1"))
  end))
end

-- what was done, whether all of it can be proven, and what must be named
local manglings = {
  { "nothing", function (text) return text end, "" },
  { "quote marks", before("> "), "quote marks" },
  { "nested quote marks", before("> > > "), "quote marks" },
  { "quote marks without blanks", before(">>"), "quote marks" },
  { "quote marks as entities", before("&gt; "), "quote marks" },
  { "CR LF", swap("\n", "\r\n"), "" },
  { "CR alone", swap("\n", "\r"), "" },
  { "blanks at the ends of lines", swap("\n", "  \n"),
    "at the ends of lines; c" },
  { "curly quotes", curly, "curly quotes; c" },
  { "no-break spaces", swap("  ", "\u{a0}\u{a0}"), "no-break spaces; c" },
  { "one no-break space of two", swap("  ", "\u{a0} "), "no-break spaces; c" },
  { "tabs of 2", tabs(2), "tabs for spaces; c" },
  { "tabs of 4", tabs(4), "tabs for spaces; c" },
  { "three dots in one", swap("...", "…"), "dots joined into one sign; c" },
  { "dashes for two hyphens", swap("-- ", "– "), "dashes for hyphens; c" },
  { "long dashes for two hyphens", swap("-- ", "— "),
    "dashes for hyphens; c" },
  { "a dash between blanks", swap(" - ", " – "), "dashes for hyphens; c" },
  { "minus signs", swap(" - ", " − "), "other hyphens or minus signs; c" },
  { "characters without width", swap("e", "e\u{200b}"),
    "characters without width; c" },
  { "soft hyphens in long words", swap("a", "a\u{ad}"), "without width; c" },
  { "entities", entities, "HTML entities; c" },
  { "entities twice", all(entities, entities), "HTML entities; c" },
  { "a byte order mark", function (text) return "\u{feff}" .. text end, "" },
  { "no last line end", function (text) return (text:gsub("%s+$", "")) end,
    "" },
  { "an indent of four", before("    "), "blanks before each line; c" },
  { "tabs before lines", before("\t"), "tabs for spaces, blanks before each" },
  { "lost indentation", unindent, "blanks are not, and cannot be restored" },
  { "blanks run together", function (text) return (text:gsub(" +", " ")) end,
    "blanks are not, and cannot be restored" },
  { "empty lines dropped", no_empty_lines, "its words are those" },
  { "block marks lost", no_marks, "found by counting lines" },
  { "block marks and empty lines lost", all(no_marks, no_empty_lines),
    "found by counting lines" },
  { "the last line in one", one_line_tail, "" },
  { "a saved page", page, "HTML entities; c" },
  { "text around it", function (text)
    return "[quote=\"somebody\"]\nLook at *this*:\n\n" .. text ..
      "\n[/quote]\n-- \nsent from a hut\n"
  end, "" },
  { "all at once", all(curly, entities, swap("  ", "\u{a0} "),
    swap("-- ", "– "), swap("...", "…"), swap("\n", " \r\n"),
    before("> > ")),
    "dashes for hyphens, blanks at the ends of lines; c" } }

local n = 0
for _, board in ipairs{ "markdown", "bbcode" } do
  for _, m in ipairs(manglings) do
    n = n + 1
    check(board .. ", " .. m[1], m[2](boards[board]), 0,
      { ": the same.", m[3] })
  end
end
print(n .. " manglings")

local post = boards.markdown
check("tags in capitals, with a language",
  boards.bbcode:gsub("%[code%]", "[CODE=lua]"):gsub("%[/code%]", "[/CODE]"), 0,
  "the same")
check("tags on the lines of text", boards.bbcode:gsub("%[code%]\n", "[code]")
  :gsub("\n%[/code%]", "[/code]"), 0, "the same")
check("two posts in one file", post .. "\nand\n\n" .. boards.bbcode, 0,
  { "post at line 38", "post at line 83" })

-- ---- lines that mail or a narrow board broke ----

-- one line as one that is no wider than 'width' with what is before it: broken
-- at a blank, which is lost ("soft") or stays ("flowed"), or anywhere ("cut")
local function break_line (line, kind, width)
  local parts = {}
  while #line > width do
    local at = width
    if kind ~= "cut" then
      local indent = #line:match("^ *")
      for k = math.min(width + (kind == "soft" and 1 or 0), #line),
          indent + 1, -1 do
        if line:sub(k, k) == " " then at = k break end
        at = k == indent + 1 and (line:find(" ", width, true) or #line) or at
      end
    end
    parts[#parts + 1] = line:sub(1, kind == "soft" and at < #line and at - 1 or
      at)
    line = line:sub(at + 1)
  end
  parts[#parts + 1] = line ~= "" and line or nil
  return #parts > 0 and parts or { "" }
end

-- quote marks before no line, before each, or before none of the rests
local function broken (kind, width, marks)
  local mark = marks == "none" and "" or "> "
  return function (text)
    return (text:gsub("([^\n]*)\n", function (line)
      local parts = break_line(line, kind, width - #mark)
      local rest = marks == "first" and "" or mark
      return mark .. table.concat(parts, "\n" .. rest) .. "\n"
    end))
  end
end

-- remarks as full as they can be, a line of 79, some that are far too long, a
-- table with sentences of two lines
local long = made("long.lua", [==[
-- A remark whose lines were filled by hand to seventy-eight columns, as most of
-- our scripts have them: nearly every line of it is as full as it can be, so a
-- wrapper at seventy-eight that breaks one quoted line of two looks the same as
-- the filling itself, and of the many lines that could be rests only a few are
-- rests. The sum tells which; the search has to come to them in time.
local amp = require "ampstead"
local ask = amp.params{ price = 100, name = "L1" } -- a remark behind a line, 79
local list, most = {}, 250
local function add (...)
  for _, row in ipairs{ ... } do
    if row.price >= 1 and row.price - 1 < most and row.price ~= nil and row.share then
      list[#list + 1] = row -- keeps it, whatever else may be said of this row, or not
    end
  end
end
add({ name = ask.name .. " pouch", price = ask.price, share = 0.25 },
    { name = "L2 block-and-bar", price = 7.5, share = 0.5 })
local t = amp.table{ heads = { "L1 is dearest: 100.00. " .. ("It goes on. "):rep(6) }, -- and on
  columns = { "name", { key = "price", label = "price EUR", kind = "money" },
  "share" }, rows = list, notes = { { "invented", ("as others are "):rep(8) } } }
print(t:post())
]==])
check("long lines", long, 0, "the same")
local widths = { 60, 66, 70, 71, 72, 73, 74, 75, 76, 77, 78, 79, 80, 90 }
for _, kind in ipairs{ "soft", "flowed", "cut" } do
  for _, marks in ipairs{ "none", "all", "first" } do
    for k, width in ipairs(widths) do
      if kind == "soft" or k % 3 == 0 then
        check(kind .. " at " .. width .. ", marks " .. marks,
          broken(kind, width, marks)(long), 0,
          { "the same", "broken lines; certain, by checksum" })
      end
    end
  end
end
check("broken, curly, CR LF", all(broken("soft", 72, "all"), curly,
  swap("\n", "\r\n"))(long), 0, "curly quotes, broken lines; certain")
check("broken, with entities", all(broken("soft", 76, "none"), entities)(long),
  0, "HTML entities, broken lines; certain")
check("broken, then quoted", all(broken("soft", 72, "none"), before("> > "))(
  long), 0, "broken lines; certain")
local changed = long:gsub("price = 7.5", "price = 8.5")
check("broken and changed", broken("soft", 66, "all")(changed), 65,
  { "the script in it is not the one that was run", "Line 2 of it seems to " ..
  "be the rest of the line before, which ends at column" })
local behind = long:find("What it prints", 1, true)
changed = long:sub(1, behind) .. long:sub(behind + 1):gsub("  7.50", "  8.50")
check("broken, its table changed", broken("soft", 60, "all")(changed), 2,
  { 'row "L2 block-and-bar", column "price EUR": posted 8.50, here 7.50',
    "lines were the rest of others; joined" })
changed = long:sub(1, behind) .. long:sub(behind + 1):gsub("dearest", "cheapest")
check("broken, a sentence changed", broken("soft", 60, "none")(changed), 2,
  "posted cheapest:, here dearest:")
-- a search without end is none
local noise = {}
for i = 1, 3000 do noise[i] = "-- " .. ("word "):rep(14) .. i end
save("noise.lua", table.concat(noise, "\n") .. "\n")
check("a long script of alike lines, changed", "```lua\n" ..
  table.concat(noise, "\n") .. "\nx = 1\n```\n\n```\nn\n\nrerun: ampstead " ..
  run(program .. " --version"):match("[%d.]+") .. " noise.lua sha256 script " ..
  "2990 lines " .. ("0"):rep(32) .. ", table 1 lines " .. ("0"):rep(32) ..
  "\n```\n", 65, "not the one that was run")

-- ---- scripts that are not plain ----

check("a script of CR LF", made("dos.lua", (body .. "print(t:post())\n")
  :gsub("\n", "\r\n")), 0, "line ends CR LF lost; certain")
check("a script with a byte order mark", made("bom.lua", "\u{feff}" .. body ..
  "print(t:post())\n"), 0, "the byte order mark lost; certain")
check("a script without a last line end", made("end.lua", body ..
  "print(t:post())"), 0, "an end of the last line added; certain")
local blanks = made("blanks.lua", body:gsub("250\n", "250  \n") ..
  "print(t:post())\n")
check("blanks at ends of the original's lines", blanks, 0, "the same")
check("which a board took", blanks:gsub(" +\n", "\n"), 0,
  "blanks are not, and cannot be restored")
check("a script with curly quotes and a dash of its own",
  made("own.lua", "-- “a” – b\n" .. body .. "print(t:post())\n"), 0,
  "the same")
local ticks = made("ticks.lua", "-- ```\n--[[\n````\n]]\n" .. body ..
  "print(t:post())\n")
check("a script with fences", ticks, 0, "the same")
check("quoted", before("> ")(ticks), 0, "the same")
check("a script that holds [/code] in Markdown", made("tag.lua",
  "-- [/code]\n[code]\n" and "-- [/code] [code]\n" .. body ..
  "print(t:post())\n"), 0, "the same")
check("a script on the command line",
  (in_folder(program .. " -e 'local amp = require \"ampstead\"\n" ..
    "print(amp.table{ columns = {\"n\"}, rows = {{ n = 1 }} }:post())'")), 0,
  "its script -e again")
check("a script with ends of lines that a board may eat", made("eaten.lua",
  body:gsub("&", "&amp;") .. "print(t:post())\n"), 0, "the same")

check("a table that holds [/code]", made("tagged.lua", body:gsub('"L2 block"',
  '"[" .. "/code]"') .. "print(t:post{ board = 'bbcode' })\n"), 0, "the same")

-- parameters, arguments, seed: all that stands in the last line
check("a parameter", made("lots.lua", body .. "print(t:post())\n",
  "price=120 'name=L, 1'"), 0, "the same")
local seeded = made("seed.lua", [[
local amp = require "ampstead"
local t = {}
for name in pairs{ b = 1, a = 2, c = 3 } do
  t[#t + 1] = { name = name, n = math.random(1000) }
end
print(amp.table{ columns = { "name", "n" }, rows = t }:post(), ...)
]], nil)
check("pairs and random by themselves", seeded, 0, "the same")
local asked = run("cd " .. folder .. " && " .. program ..
  " --seed 7 seed.lua x 2>&1"):gsub("%s+x\n$", "\n")
verdict(asked:find("seed.lua x (--seed 7)", 1, true), "the seed is in it",
  asked)
check("with another seed", asked, 0, "the same")
check("whose hyphens became a dash", asked:gsub("%-%-seed", "—seed"), 0,
  "the same")
check("with a seed that was altered", asked:gsub("seed 7", "seed 8"), 2,
  "the script gives another table here")
check("several posts of one script", made("two.lua", body ..
  "local u = t:sort('price')\nprint(t:post())\nprint(u:post())\n"), 0,
  { "post at line 40: the same", "post at line 84: the same" })
check("a message that it caught", made("caught.lua", [[
local amp = require "ampstead"
local _, why = pcall(function () error("no") end)
print(amp.table{ columns = { "why" }, rows = { { why = why } } }:post())
]]):gsub("^", "kept\n"), 0, "the same")

-- ---- what was altered ----

local function altered (from, to, text)
  local got, times = (text or post):gsub(from:gsub("%p", "%%%0"),
    (to:gsub("%%", "%%%%")))
  assert(times > 0, from)
  return got
end

-- only behind the script
local function in_table (from, to)
  local at = post:find("What it prints", 1, true)
  return post:sub(1, at - 1) .. altered(from, to, post:sub(at))
end

check("a price", in_table("  7.50", "  8.50"), 2,
  { "saved.txt: differs", "another one stands in the post",
    'row "L2 block", column "price EUR": posted 8.50, here 7.50: 1 less ' ..
    "here, 11.8 %" })
check("a price by a cent", in_table("12.25", "12.26"), 2,
  'row "L3 ...", column "price EUR": posted 12.26, here 12.25: 0.01 less')
check("a price of another width", in_table("   7.50", "1007.50"), 2,
  "posted 1007.50, here 7.50: 1000 less here")
check("a name", in_table("L2 block", "L2 brick"), 2,
  'row "L2 block", column "name": posted L2 brick, here L2 block')
check("two cells", in_table("7.50  0.500", "7.51  0.501"), 2,
  { 'column "price EUR": posted 7.51', 'column "share": posted 0.501' })
check("a price in a mangled post", before("> ")(curly(in_table("  7.50",
  "  8.50"))), 2, { 'row "L2 block", column "price EUR": posted 8.50',
  "curly quotes; certain, by checksum" })
check("a price where blanks ran together",
  (in_table("  7.50", "  8.50"):gsub(" +", " ")), 2,
  'row "L2 block", column "price EUR": posted 8.50, here 7.50')
check("a sentence", in_table("L1 is dearest: 100.00", "L1 is dearest: 99.00"),
  2, "in the words: posted 99.00., here 100.00.: 1 more here, 1.01 %")
check("a row taken out", (post:gsub("L2 block +7.50[^\n]*\n", "", 1)), 2,
  "only here: L2 block 7.50 0.500")
check("a row put in", in_table("L2 block", "L0 block  1.00  1.00\nL2 block"),
  2, "only in the post: L0 block 1.00 1.00")
-- the first digit behind these words is another one
local function flip (words, text)
  local got, times = text:gsub("(" .. words:gsub(" ", "%%s") .. "%s)(%x)",
    function (w, digit) return w .. (digit == "0" and "1" or "0") end)
  assert(times > 0, words)
  return got
end
check("a table and its checksum", flip("table 9 lines", in_table("  7.50",
  "  8.50")), 2, "posted 8.50, here 7.50")
check("the table's checksum alone", flip("table 9 lines", post), 2,
  "the table is the same word for word, but not the one whose checksum")
check("a parameter that was altered", altered("lots.lua sha256",
  "lots.lua price=99 sha256"), 2, 'column "price EUR": posted 100.00, here ' ..
  "99.00: 1 less here, 1.00 %")

-- ---- a cell moved by its blanks ----

local strings = made("strings.lua", [==[
local amp = require "ampstead"
print(amp.table{ heads = { "M4 fits one way only." }, columns = { "place",
  "string_first", "parallel_first", "ah" }, rows = {
  { place = "string 1", string_first = "M1", parallel_first = "M2", ah = 96.1 },
  { place = "string 2", string_first = "M4", ah = 91.4 },
  { place = "string 3", parallel_first = "M5" } } }:post())
]==])
local behind_script = strings:find("What it prints", 1, true)
local function moved (mangle)
  return strings:sub(1, behind_script - 1) ..
    mangle(strings:sub(behind_script))
end
local function each_row (from, to)
  return function (text)
    return each_line(text, function (line)
      if line:find("^rerun") or line:find("^```") then return line end
      return (line:gsub(from, to))
    end)
  end
end
verdict(strings:find("\nstring 2 +M4 +%-? +91%.4"), "M4 stands there", strings)
check("its table as it is", strings, 0, "byte for byte")
check("a cell moved sideways", moved(function (text)
  return (text:gsub("(M4)(    )", "%2%1", 1))
end), 2, { "saved.txt: differs", 'row "string 2", column',
  "M4 stands elsewhere in the post" })
check("a cell moved by one blank", moved(function (text)
  return (text:gsub(" (M4)( +)", "%1%2 ", 1))
end), 2, { "differs", 'row "string 2"', "M4 stands elsewhere" })
check("a cell moved, a board's blanks beside", moved(function (text)
  return before("  ")(text:gsub("(M4)(    )", "%2%1", 1))
end), 2, { "differs", 'row "string 2"' })
check("a cell moved, another line broken", moved(function (text)
  return (text:gsub("(M4)(    )", "%2%1", 1):gsub("fits one", "fits\none"))
end), 2, { "differs", 'row "string 2"', "rest of others" })
check("blanks of one row run together", moved(function (text)
  return (text:gsub("string 2 +(%S+) +", "string 2 %1 ", 1))
end), 2, { "differs", "blanks ran together in this line, and not in others" })
check("a row that was indented", moved(function (text)
  return (text:gsub("\nstring 2", "\n   string 2", 1))
end), 2, { "differs", 'row "string 2"' })
check("all blanks run together", moved(each_row(" +", " ")), 0,
  { "word for word", "columns: not vouched for" })
check("a tab for each run of blanks", moved(each_row("  +", "\t")), 0,
  { "word for word", "columns: not vouched for" })
local kept = check("all lines indented", moved(each_row("^", "   ")), 0,
  "the same")
verdict(not kept:find("vouched", 1, true), "an indent keeps columns", kept)
kept = check("all lines indented, but one rule", moved(function (text)
  return (each_row("^", "   ")(text):gsub("%-%-\n", "-\n", 1))
end), 0, "word for word; its blanks or line ends are others")
verdict(not kept:find("vouched", 1, true), "an indent keeps columns", kept)
check("no-break spaces and blanks at ends", moved(each_row("$", "\u{a0}  ")), 0,
  "the same")

-- ---- the last line, word by word ----

-- one post with all that a last line can hold
save("kept.csv", "id,ocv_v,ah\n1,25.76,96.1\n2,25.75,91.4\n")
save("rate.lua", "return 2\n")
local full_body = [==[
local amp = require "ampstead"
local ask = amp.params{ price = 100, name = "L1" }
local log = amp.readings.csv("kept.csv", { module = amp.module{
  chemistry = "nmc111", series = 7, parallel = 2, capacity_ah = 112 } })
local t = amp.table{ columns = { "name", "n" }, notes = { { "", "rerun: " ..
  "ampstead, seed 3, draws 20" } }, rows = { { name = ask.name,
  n = ask.price * require "rate" + #log } } }
t:post()
print(t:post())
]==]
local full = made("full.lua", full_body, "price=120 'name=L 2' spare")
local seeded_full = run("cd " .. folder .. " && " .. program ..
  " --seed 4 full.lua price=120 spare 2>&1")
check("a full last line", full, 0, "the same")
check("one with --seed", seeded_full, 0, "the same")

local altered_lines = 0
-- every word of the last line left out, or with another sign in it, or written
-- twice: none may pass for the same, but blanks may
local function each_word (text, what)
  local at = text:find("\nrerun:", 1, true) + 1
  local head, tail, rest = text:sub(1, at - 1),
    text:match("(.-)(\n```%s*)$", at)
  local words = {}
  for w in tail:gmatch("%S+") do words[#words + 1] = w end
  local function try (i, to, how)
    local own = table.move(words, 1, #words, 1, {})
    own[i] = to
    save("saved.txt", head .. table.concat(own, " "):gsub("  +", " ") .. rest)
    local said, status = in_folder(program .. " --recheck saved.txt")
    altered_lines = altered_lines + 1
    verdict(status == 2 or status == 65, what .. ": '" .. words[i] .. "' " ..
      how, "status " .. status .. "\n" .. said)
  end
  for i, w in ipairs(words) do
    local middle = #w // 2 + 1
    local c = w:sub(middle, middle)
    try(i, "", "left out")
    try(i, w:sub(1, middle - 1) .. (c:find("%d") and (c + 1) % 10 or
      c == "a" and "b" or "a") .. w:sub(middle + 1), "altered")
    try(i, w .. " " .. w, "twice")
    if w:find("[(),]") then try(i, w:gsub("[(),]", ""), "without its signs") end
    if w:find("%a") and i < #words then try(i, w:upper() == w and w:lower() or w:upper(),
      "in capitals") end
  end
  check(what .. " with its blanks changed", head ..
    table.concat(words, "  "):gsub(",  ", ", \n "):gsub("  \n ", " ", 1) ..
    rest, 0, "the same")
end
each_word(full, "last line")
each_word(seeded_full, "last line with --seed")
print(altered_lines .. " altered last lines")

local function names (what, from, to, words)
  local at = full:find("\nrerun:", 1, true)
  check(what, full:sub(1, at) .. altered(from, to, full:sub(at + 1):gsub(
    "\n(%w)", " %1")), 2, words)
end
names("the seed alone", "seed 3", "seed 8",
  'its last line says "seed 8", the run here "seed 3".')
names("the draws alone", "draws 20", "draws 2000",
  'its last line says "draws 2000", the run here "draws 20".')
names("another post", "post 2", "post 1",
  'its last line says "post 1", the run here does not.')
names("an argument that nothing reads", "spare", "price",
  'It was run as "full.lua price=120 name=L 2 price".')
names("settings that are none", "(seed 3, draws 20, post 2)",
  "(seed 3, draws 20, post 2, tested by 9)",
  'its last line says "tested by 9", the run here does not.')
names("no settings", " (seed 3, draws 20, post 2)", "",
  'the run here says "seed 3", its last line does not.')
names("a file that nothing reads", "file kept", "file spare.csv " ..
  ("0"):rep(32) .. ", file kept", 'its last line says "file spare.csv')
-- who changes a line can sum it anew: what the run says still stands against
local function summed (text)
  local at = text:find("\nrerun:", 1, true) + 1
  local line = text:sub(at):match("^(.-),%s+line%s%x+"):gsub("%s+", " ")
  save("line.txt", line)
  return text:sub(1, at - 1) .. line .. ", line " ..
    run("sha256sum <" .. folder .. "/line.txt"):sub(1, 32) .. "\n```\n"
end
check("the line summed by others", summed(full), 0, "the same")
for _, c in ipairs{ { "seed 3", "seed 8" }, { "draws 20", "draws 21" },
    { "post 2", "post 1" }, { "script %d+ lines", "script 40 lines" },
    { "table %d+ lines", "table 50 lines" }, { "words%s", "word " },
    { "post 2", "post 2, tested by 9" }, { "%-%-seed 4", "seed 4" } } do
  local text = c[1]:find("seed 4", 1, true) and seeded_full or full
  local got, times = text:gsub("(\nrerun:.*)", function (tail)
    return (tail:gsub(c[1], c[2], 1))
  end)
  assert(times == 1 and got ~= text, c[1])
  save("saved.txt", summed(got))
  local said, status = in_folder(program .. " --recheck saved.txt")
  verdict(status == 2 or status == 65, c[2] .. ", summed anew", said)
end
run("cd " .. folder .. " && rm kept.csv rate.lua")

local other = "the script in it is not the one that was run"
check("a number in the script", altered("price = 7.5", "price = 8.5"), 65,
  other)
check("a remark in the script", altered("keeps it", "drops it"), 65,
  { other, "It was not run." })
check("a line before the script", altered("```lua\n", "```lua\nx = 1\n"), 65,
  other)
check("a line less", altered("local list, most = {}, 250\n", ""), 65, other)
check("a hyphen", altered("-- keeps it", "- keeps it"), 65, other)
check("the other quotes", altered("'L1'", "\"L1\""), 65, other)
check("a line joined to a remark", altered("keeps it\n", "keeps it "), 65,
  other)
check("the script's checksum and that of its words", flip("words",
  flip("script %d+ lines", post)), 65, other)

check("another version", altered("ampstead 0.", "ampstead 1."), 65,
  { "cannot be repeated: it was made by ampstead 1.",
    "Run here, its script gives the same table, byte for byte." })
check("another version's table", altered("ampstead 0.", "ampstead 1.",
  in_table("  7.50", "  8.50")), 65,
  { "it was made by ampstead 1.", "Run here, its script gives another table:",
    'row "L2 block", column "price EUR": posted 8.50, here 7.50' })
check("no last line", (post:gsub("rerun:", "again:")), 65,
  "no line 'rerun: ampstead ..'")
check("half a last line", post:sub(1, #post - 60), 65, "cannot be repeated")
check("a table without its script", post:sub(post:find("What it prints"), -1),
  65, "do not stand above its last line")
check("a script with more around it", (in_folder(program ..
  " -e 'x = 1' lots.lua")), 65, "run with -e or -l, which the post does not")
check("a script that was trusted", run("cd " .. folder .. " && " .. program ..
  " --trust lots.lua 2>/dev/null"), 65, "run with --trust, which the post")
check("an argument that was left out", (in_folder(program ..
  " lots.lua /mnt/x")), 65, "posted without 1 of its arguments")

-- ---- files ----

save("arrived.csv", "id,ocv_v,ah\n1,25.76,96.1\n2,25.75,91.4\n")
run("mkdir -p " .. folder .. "/e/f")
save("e/f/arrived list.csv", "id,ocv_v,ah\n1,25.76,96.1\n2,25.75,91.4\n")
local reads = made("reads.lua", [[
local amp = require "ampstead"
local lot = amp.readings.csv("arrived.csv", { module = amp.module{
  chemistry = "nmc111", series = 7, parallel = 2, capacity_ah = 112 } })
print(lot:judge():post())
]])
check("a file that is there", reads, 0, "the same")
local deep = made("deep.lua", [[
local amp = require "ampstead"
local lot = amp.readings.csv("./e/f/arrived list.csv", { module = amp.module{
  chemistry = "nmc111", series = 7, parallel = 2, capacity_ah = 112 } })
print(lot:judge():post())
]])
check("a file of a folder below", deep, 0, "the same")
run("cd " .. folder .. " && mv 'e/f/arrived list.csv' . && rm -r e")
check("a file that stands beside the post", deep, 0, "the same")
run("mkdir " .. folder .. "/d && mv " .. folder .. "/arrived.csv " .. folder ..
  "/d")
check("a file that is not", reads, 65, "cannot be repeated: cannot read " ..
  "'arrived.csv': No such file")
check("but by --data", reads, 0, "the same", "--data d")
save("d/arrived.csv", "id,ocv_v,ah\n1,25.76,96.1\n2,25.75,91.5\n")
check("a file that is another", reads, 65,
  "'arrived.csv' here is another one: its checksum differs", "--data d")
check("a file that the post does not name", (reads:gsub("file%sarrived" ..
  ".csv%s%x+,%s", "")), 65, "the post does not name the file 'arrived.csv'",
  "--data d")
run("cd " .. folder .. " && ln -s /etc/passwd passwd.csv")
check("a link", (reads:gsub("file arrived.csv", "file passwd.csv")), 65,
  "cannot be repeated")
save("part.lua", "return { price = 5 }\n")
local needs = made("needs.lua", [[
local amp = require "ampstead"
print(amp.table{ columns = { "n" }, rows = { { n = require("part").price } } }
  :post())
]])
check("a module of the script's", needs, 0, "the same")
save("part.lua", "return { price = 6 }\n")
check("another one", needs, 65, "'part.lua' here is another one")

-- ---- what the script may do ----

local function with (line)
  return made("does.lua", body .. line .. "\nprint(t:post())\n")
end
check("a script that writes", with("t:write('made.csv')"), 0, "the same")
run("rm -rf " .. folder .. "/out")
save("saved.txt", with("t:write('made.csv')"))
run("rm -rf " .. folder .. "/out")
in_folder(program .. " --recheck saved.txt")
verdict(select(2, run("test -e " .. folder .. "/out")) ~= 0, "writes nothing",
  "out/ is there")
check("a script that fails after its post", made("late.lua", body ..
  "print(t:post())\nif not arg[1] then return end\nerror('late')\n"), 0,
  "the same")
local clock = with("t = t:add('at', function () return os.clock() end)")
check("a script that asks the clock", clock, 2, 'column "at"')
-- under a name of its own a script can tell where it runs: it may not matter
local loops = post:gsub("lots.lua", "loops.lua")
check("another name alone", loops, 2, { "its last line was changed",
  "It was run as \"loops.lua\"" })

-- a post whose sums are right and whose script is hostile
local function forged (script, lines)
  save("forged.lua", script)
  local sum = run("sha256sum " .. folder .. "/forged.lua"):sub(1, 32)
  return "```lua\n" .. script .. "```\n\n```\nn\n\nrerun: ampstead " ..
    run(program .. " --version"):match("[%d.]+") .. " forged.lua sha256 " ..
    "script " .. lines .. " lines " .. sum .. ", table 1 lines " ..
    ("0"):rep(32) .. "\n```\n"
end
check("an endless script", forged("while true do end\n", 1), 65,
  "stopped: time limit of 0.5 s", "--time 0.5")
check("a script that takes all memory", forged("local t = {}\n" ..
  "for i = 1, math.huge do t[i] = {} end\n", 2), 65, "memory limit of 32 MB",
  "--memory 32")
check("a script that prints for ever", forged(
  "while true do print(('x'):rep(1000)) end\n", 1), 65, "output limit")
check("a script that posts for ever", forged("local t = require('ampstead')" ..
  ".table{columns = {'n'}, rows = {{n = ('x'):rep(9999)}}}\n" ..
  "while true do t:post() end\n", 2), 2, "differs", "--time 20")
check("a script that reads elsewhere", forged(
  "require('ampstead').log.csv('/etc/passwd')\n", 1), 65,
  "does not name the file '/etc/passwd'")
check("a script without a post", forged("print(1)\n", 1), 65,
  "the script ended and made 0 posts")
check("a script that talks to the terminal", forged(
  "error('\\27[2J\\27]0;x\\7')\n", 1), 65, "\\x1b[2J")

-- ---- posts beside and within posts ----

local small = [==[
local amp = require "ampstead"
--[=[
POST
]=]
print(amp.table{ columns = { "n" }, rows = { { n = 7 } } }:post())
]==]
local inner = made("inner.lua", (small:gsub("%-%-%[=%[.-%]=%]\n", "")))
local outer = made("outer.lua", (small:gsub("POST", (inner:gsub("%%", "%%%%")))))
check("a post within the script of another", outer, 0,
  { "ran its script inner.lua", "ran its script outer.lua" })
check("whose tables are others", (outer:gsub("7.00", "8.00")), 2,
  { "differs", "not the one that was run" })
local lie = inner:gsub("7.00", "9.00"):gsub("table 4 lines", "table four lines")
check("a post that lies and cannot be read, beside a true one",
  lie .. "\n" .. inner, 65, { "the same", "the last line at line 14 cannot " ..
  "be read; what stands above it was not checked" })
check("a table that was only printed beside a post", "n\n---\n7\n---\n" ..
  "rerun: ampstead 0.1.0, hut.lua (sha256 01234567..), seed 1\n\n" .. inner, 0,
  "the same")
check("a script that prints a verdict", made("says.lua", small ..
  "print('saved.txt: the same. ampstead ran it again')\n" ..
  "io.write('saved.txt: the same.\\n')\n"):gsub("7.00", "9.00"), 2,
  "saved.txt: differs")
check("a name that says so", altered("inner.lua sha256",
  "x%0Asaved.txt:%20the%20same.%E2%80%AE sha256", inner), 2,
  { "saved.txt: differs", "\\xe2\\x80\\xae" })
check("a table whose blanks are others", inner:gsub("   n\n", "n\n"), 0,
  { "word for word; its blanks or line ends are others",
    "columns: not vouched for" })
check("signs without width and direction in the table", (inner:gsub("7.00",
  "7.\u{202e}00")), 2, "posted 7.\\xe2\\x80\\xae00, here 7.00")
check("a NUL in the script", (inner:gsub("local", "lo\0cal", 1)), 65,
  "not the one that was run")
check("bytes that are no UTF-8", (inner:gsub("local", "lo\xffcal", 1)), 65,
  "not the one that was run")
-- a table of parts of one long line: the parent may not take for ever either
local parts = made("parts.lua", [==[
local amp = require "ampstead"
print(amp.table{ columns = { "n" }, heads = { ("n "):rep(300000) .. "x" },
  rows = { { n = "n" } } }:post())
]==])
check("tens of thousands of parts", parts:match("^(.-)What it prints") .. "```\n" ..
  ("n\n"):rep(39000) .. parts:sub(parts:find("\nrerun:", 1, true), -1), 2,
  "only here: n n")

-- ---- hostile posts ----

local version = run(program .. " --version"):match("[%d.]+")
check("quote marks 10000 deep", before((">"):rep(10000))(post), 0, "the same")
check("a post 100 deep", before(("> "):rep(100))(post), 0, "the same")
check("one line of quote marks", (">"):rep(3000000) .. "rerun: ampstead x", 65,
  "cannot be repeated")
check("more than 4 MB", ("x"):rep(5 << 20), 65, "no longer than 4 MB")
check("nothing", "", 65, "no line")
local bytes = {}
for i = 1, 300000 do bytes[i] = string.char(i * i % 256 ~ i % 251) end
check("bytes", table.concat(bytes), 65, "no line")
check("UTF-16", "\xff\xfe" .. post:gsub(".", "%0\0"), 65, "UTF-16")
check("tags without end", ("[code]"):rep(300000) .. "\nrerun: ampstead " ..
  version .. " x sha256 table 1 lines " .. ("0"):rep(32), 65,
  "cannot be repeated")
check("many last lines", ("rerun: ampstead 1 x sha256\n"):rep(100000), 65,
  "no line")
check("many posts", post:rep(40), 0, "Only the first 16 posts")
check("counts beyond all", (post:gsub("lines", "0000000 lines")), 65,
  "no line")
check("names with signs of a terminal", altered("lots.lua sha256",
  "%1B%5B2J.lua sha256"), 2, "\\x1b[2J.lua")
check("a long last line", post:gsub("```%s*$", "") .. (" x"):rep(200000), 0,
  "the same")
check("a name of a whole page", altered("lots.lua sha256", ("a"):rep(5000) ..
  " sha256"), 65, "no line")

local said, status = in_folder(program .. " --recheck nowhere.txt")
verdict(status == 66, "a missing post", said)
said, status = in_folder(program .. " --recheck saved.txt lots.lua")
verdict(status == 64, "a script besides", said)
said, status = in_folder(program .. " --trust --recheck saved.txt")
verdict(status == 64, "a post that is trusted", said)
said, status = in_folder(program .. " --recheck")
verdict(status == 64, "no post named", said)
save("saved.txt", post)
said, status = run("cd " .. folder .. " && " .. program ..
  " --recheck - <saved.txt")
verdict(status == 0, "a post on standard input", said)

run("rm -r " .. folder)
print(passed .. " passed, " .. failed .. " failed")
os.exit(failed == 0 and passed > 100)
