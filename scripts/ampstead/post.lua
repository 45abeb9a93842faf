--- A post for a bulletin board: the script, its table, and the line by which
-- anybody can run it again. `ampstead --recheck` reads what stands here
-- (bindings/runner/post_tail.c): change both or neither.
local core, loader = ...
local notes, tables = loader("notes"), loader("table")
local wording = loader("wording")

local post = {}

local count = 0 -- posts of this run so far

-- 128 of the 256 bits of SHA-256, in hex. What a sum has to withstand is a
-- stranger who writes two scripts with one sum: that takes 2^64 trials, out
-- of reach of a person; with 8 digits it takes a second.
local digits = 32

local function sum (text)
  return core.sha256(text):sub(1, digits)
end

-- ---- the script ----

-- what a board or a terminal drops or turns: the direction of reading too,
-- with which a script can read differently from how it runs
local function unseen (c)
  return c < 0x20 and c ~= 0x0a and c ~= 0x09 or c >= 0x7f and c <= 0x9f or
    c >= 0x200b and c <= 0x200f or c >= 0x2028 and c <= 0x202e or
    c >= 0x2060 and c <= 0x206f or c == 0x061c or c == 0xfeff or
    c >= 0xe0000 and c <= 0xe0fff
end

local function refuse (why, ...)
  core.fail("script", "post: " .. string.format(why, ...))
end

local function line_of (text, at)
  local _, breaks = text:sub(1, at):gsub("\n", "")
  return breaks + 1
end

-- the script as it goes into a post: no byte order mark, lines that end in
-- LF, one LF at the end. Everything else stays as it is, or is refused.
local function shown (text)
  text = text:gsub("^\xef\xbb\xbf", ""):gsub("\r\n", "\n")
  local whole, bad = utf8.len(text)
  if not whole then
    refuse("line %d of the script is not UTF-8: boards would change it; " ..
      "save it as UTF-8", line_of(text, bad))
  end
  for at, c in utf8.codes(text) do
    if unseen(c) then
      refuse("line %d of the script holds the character U+%04X, which " ..
        "nobody sees; write it as an escape such as \\u{%X}",
        line_of(text, at), c, c)
    end
  end
  return text:sub(-1) == "\n" and text or text .. "\n"
end

-- lines that hold more than blanks: those are still there after a board that
-- drops empty ones
local function lines_of (text)
  local n = 0
  for line in text:gmatch("[^\n]+") do
    if line:find("%S") then n = n + 1 end
  end
  return n
end

-- ---- the last line ----

-- a word without blanks, commas and quotes, which boards leave alone
local function word (text)
  return (text:gsub("[^%w._+=/:@-]", function (c)
    return string.format("%%%02X", c:byte())
  end))
end

-- a path that tells of somebody's machine; what stands below the script's
-- folder doesn't
local function is_private (text)
  return text:find("^[/~]") or text:find("=[/~]") or text:find("\\") or
    text:find("%f[^/=\0]%.%.%f[/\0]") or text:find("^%a:[/\\]")
end

local function file_name (path)
  return word(is_private(path) and path:match("[^/\\]+$") or path)
end

-- "price=3100", and how many arguments are left out: those that are a path
local function arguments (list)
  local kept, left = {}, 0
  for _, argument in ipairs(list or {}) do
    if is_private(argument) then
      left = left + 1
    else
      kept[#kept + 1] = word(argument)
    end
  end
  return kept, left
end

-- "seed 1", "--seed 7" where the command line said so, and what else it
-- takes to run this again
local function settings (rerun, besides, left)
  local list = {}
  local function put (...) list[#list + 1] = string.format(...) end
  local given = core.settings().seed
  local seed = (rerun or ""):match(", seed (%d+)")
  if given then
    put("--seed %d", given)
  elseif seed then
    put("seed %s", seed)
  end
  local draws = (rerun or ""):match(", draws (%d+)")
  if draws then put("draws %s", draws) end
  if count > 1 then put("post %d", count) end
  if left > 0 then put("without %d of its arguments", left) end
  if besides then put("run with %s", besides) end
  return #list > 0 and " (" .. table.concat(list, ", ") .. ")" or ""
end

local function sums (script, text)
  local list = {}
  local function put (...) list[#list + 1] = string.format(...) end
  if script then
    put("script %d lines %s", lines_of(script), sum(script))
    put("words %s", sum(core.words(script)))
  end
  for _, file in ipairs(notes.files_read()) do
    put("file %s %s", file_name(file.path), sum(file.text))
  end
  for _, file in ipairs(core.modules() or {}) do
    put("file %s %s", file_name(file.path), sum(file.text))
  end
  put("table %d lines %s", lines_of(text), sum(text))
  return table.concat(list, ", ")
end

-- It ends in a checksum of itself: name, arguments and --seed are used as they
-- stand when it is run again, so nothing else would show that they changed.
local function last_line (script, name, given, besides, text, rerun)
  local kept, left = arguments(name and given)
  local what = name and " " .. word(name) or ""
  if #kept > 0 then what = what .. " " .. table.concat(kept, " ") end
  local line = "rerun: ampstead " .. core.version .. what ..
    settings(rerun, besides, left) .. " sha256 " .. sums(script, text)
  return line .. ", line " .. sum(line)
end

-- ---- the boards ----

local lead = "What it prints. To check it, save this post and type: " ..
  "ampstead --recheck FILE"
local unknown = "Its script is not known: it was typed at a prompt. Nobody " ..
  "can check this."

local boards = {}

-- a fence longer than any in the text
local function fence (text)
  local longest = 2
  for ticks in text:gmatch("`+") do longest = math.max(longest, #ticks) end
  return ("`"):rep(longest + 1)
end

function boards.markdown (script, result)
  local f = fence((script or "") .. "\n" .. result)
  return (script and f .. "lua\n" .. script .. f .. "\n\n" .. lead or
    unknown) .. "\n\n" .. f .. "\n" .. result .. f
end

-- BBCode has no way to say "[/code]" inside a block
local function check_tags (script)
  local at = script and script:lower():find("[/code]", 1, true)
  if at then
    refuse("line %d of the script holds [/code], which would end the block " ..
      "on a board; write it as \"[\" .. \"/code]\", or post as Markdown",
      line_of(script, at))
  end
end

function boards.bbcode (script, result)
  check_tags(script)
  return (script and "[code]\n" .. script .. "[/code]\n\n" .. lead or
    unknown) .. "\n\n[code]\n" .. result .. "[/code]"
end

-- ---- the whole ----

local option_keys = { "board" }

local function board_of (opts)
  if opts == nil then return "markdown" end
  if type(opts) ~= "table" then
    refuse("takes a table such as { board = \"bbcode\" } (got a %s)",
      type(opts))
  end
  tables.check_keys("post", opts, option_keys)
  local board = opts.board == nil and "markdown" or opts.board
  if not boards[board] then
    refuse("board must be \"markdown\" or \"bbcode\" (got %s)",
      type(board) == "string" and '"' .. board .. '"' or type(board))
  end
  return board
end

--- t:post{ board = "markdown" or "bbcode" } --> text for a board
function post.make (t, opts)
  local board = board_of(opts)
  local text, rerun = core.post_text(t)
  local script, name, given, besides = core.script()
  if board == "bbcode" then text = text:gsub("%[/", "(/") end
  count = count + 1
  local line = last_line(script, name, given, besides, text, rerun)
  core.posted(text, line)
  return boards[board](script and shown(script),
    text .. "\n" .. wording.fold(line) .. "\n")
end

core.post = post.make

return post
