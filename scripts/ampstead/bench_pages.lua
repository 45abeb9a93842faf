--- The sheet for the bench as text, Markdown and HTML. A page is {title,
-- heads, left, right, below, reading, foot}: the sections where they stand on
-- paper, and all in the order of reading; a section {title, kind, .., note} of
-- kind "plan", "table", "steps" (boxes to tick) or "pairs".
local _, loader = ...
local wording = loader("wording")

local pages = {}

local width = wording.columns

-- ---- what may stand on a page ----

-- names come from files and scripts: nothing in them may steer a terminal
local function clean_text (text)
  if not utf8.len(text) then text = text:gsub("[\x80-\xff]", "?") end
  return (text:gsub("%c", " "):gsub("\xc2[\x80-\x9f]", " "))
end

--- The page with every text in it free of control characters.
function pages.clean (x)
  if type(x) == "string" then return clean_text(x) end
  if type(x) ~= "table" then return x end
  local copy = {}
  for key, value in pairs(x) do copy[key] = pages.clean(value) end
  return copy
end

--- The paragraphs under a section: its note is one, or a list of them.
function pages.notes (section)
  local note = section.note
  return type(note) == "table" and note or { note }
end

-- ---- text ----

local wide, pad = wording.wide, wording.pad

-- the first line behind 'lead', the others below it
local function fold (out, text, lead)
  local lines = wording.lines(text, lead, (" "):rep(wide(lead)))
  table.move(lines, 1, #lines, #out + 1, out)
end

local function widths_of (section)
  local n = {}
  for c, column in ipairs(section.columns) do
    n[c] = math.max(wide(column[1]), column.blank and 6 or 0)
    for _, row in ipairs(section.rows) do
      n[c] = math.max(n[c], wide(row[c]))
    end
  end
  return n
end

-- whether the cell is one to write in: column 'blank' of the row has a number
local function is_blank (column, row)
  return column.blank and row[column.blank] ~= ""
end

local function with_blanks (columns, row)
  local cells = {}
  for c, column in ipairs(columns) do
    cells[c] = is_blank(column, row) and ("_"):rep(6) or row[c]
  end
  return cells
end

local function total (n)
  local sum = -2
  for _, w in ipairs(n) do sum = sum + w + 2 end
  return sum
end

-- the first letters, with a sign that others follow
local function shortened (text, columns)
  if wide(text) <= columns then return text end
  return text:sub(1, utf8.offset(text, columns - 1) - 1) .. ".."
end

local name_least = 8 -- columns of a name, however long the others are

-- Names too long for the line: short in the first column, whole below the
-- table beside their place in the second. Gives the rows as they print, and
-- what stands below.
local function with_short_names (section, n)
  local last, over = section.columns[#section.columns], 0
  if not last.left then over = total(n) - width end
  if over <= 0 then return section.rows, {} end
  local room, rows, whole = math.max(name_least, n[1] - over), {}, {}
  for i, row in ipairs(section.rows) do
    rows[i] = setmetatable({ shortened(row[1], room) }, { __index = row })
    if rows[i][1] ~= row[1] then
      whole[#whole + 1] = (row[2] ~= "" and row[2] .. "  " or "") .. row[1]
    end
  end
  n[1] = room
  return rows, whole
end

-- the last column is folded where the line would be too long
local function text_table (out, section)
  local n, columns = widths_of(section), section.columns
  local last = #columns
  local rows, whole = with_short_names(section, n)
  local before = 0
  for c = 1, last - 1 do before = before + n[c] + 2 end
  local function line (cells)
    local parts = {}
    for c = 1, last - 1 do
      parts[c] = pad(cells[c], n[c], columns[c].left)
    end
    local lead = table.concat(parts, "  ") .. "  "
    if columns[last].left then return fold(out, cells[last], lead) end
    out[#out + 1] = ((lead .. pad(cells[last], n[last])):gsub("%s+$", ""))
  end
  local heads = {}
  for c, column in ipairs(columns) do heads[c] = column[1] end
  line(heads)
  out[#out + 1] = ("-"):rep(math.min(width, before + n[last]))
  for _, row in ipairs(rows) do line(with_blanks(columns, row)) end
  if #whole > 0 then out[#out + 1] = "In full:" end
  for _, text in ipairs(whole) do fold(out, text, "  ") end
end

local function text_plan (out, section)
  local n, names = 0, 0
  for _, row in ipairs(section.rows) do
    names = math.max(names, wide(row.label))
    for _, id in ipairs(row.ids) do n = math.max(n, wide(id)) end
  end
  for _, row in ipairs(section.rows) do
    local boxes = {}
    for i, id in ipairs(row.ids) do
      boxes[i] = section.string_first and "[- " .. pad(id, n) .. " +]" or
        "[" .. pad(id, n) .. "]"
    end
    local line = table.concat(boxes, section.string_first and "--" or " ")
    local lead = pad(row.label, names, true) .. "  "
    if section.string_first then line = "-|--" .. line .. "--|+" end
    if wide(lead .. line) > width then
      fold(out, (line:gsub("%+%]%-%-", "+]-- ")), lead)
    else
      out[#out + 1] = lead .. line -- blanks in it are kept
    end
  end
  if not section.string_first then
    fold(out, "All + of a level on one bar, all - on another; links join the " ..
      "levels.", "")
  end
end

local text_kinds = { table = text_table, plan = text_plan }

-- a step is words, or {text, ticks}: several of a kind, a box each
local function step_text (item)
  if type(item) == "string" then return item, {} end
  return item.text, item.ticks
end

function text_kinds.steps (out, section)
  for _, item in ipairs(section.items) do
    local text, ticks = step_text(item)
    for _, tick in ipairs(ticks) do text = text .. " [_]" .. tick end
    fold(out, text, "[ ] ")
  end
end

function text_kinds.pairs (out, section)
  for _, item in ipairs(section.items) do
    fold(out, item[2], item[1] ~= "" and item[1] .. "  " or "")
  end
end

function pages.text (page)
  local out = {}
  fold(out, page.title, "")
  for _, line in ipairs(page.heads) do fold(out, line, "") end
  for _, section in ipairs(page.reading) do
    out[#out + 1] = ""
    out[#out + 1] = section.title:upper()
    text_kinds[section.kind](out, section)
    for _, note in ipairs(pages.notes(section)) do fold(out, note, "") end
  end
  out[#out + 1] = ""
  for _, line in ipairs(page.foot) do fold(out, line, "") end
  return table.concat(out, "\n") .. "\n"
end

-- ---- Markdown ----

local function marked (text)
  return (text:gsub("[\\`*_{}%[%]<>|#]", "\\%0"))
end

local function markdown_table (out, section)
  local heads, rules = {}, {}
  for c, column in ipairs(section.columns) do
    heads[c] = marked(column[1])
    rules[c] = column.left and ":---" or "---:"
  end
  out[#out + 1] = "| " .. table.concat(heads, " | ") .. " |"
  out[#out + 1] = "| " .. table.concat(rules, " | ") .. " |"
  for _, row in ipairs(section.rows) do
    local cells = {}
    for c, column in ipairs(section.columns) do
      cells[c] = column.blank and "" or marked(row[c])
    end
    out[#out + 1] = "| " .. table.concat(cells, " | ") .. " |"
  end
end

local markdown_kinds = { table = markdown_table }

function markdown_kinds.plan (out, section)
  out[#out + 1] = "```"
  text_plan(out, section)
  out[#out + 1] = "```"
end

function markdown_kinds.steps (out, section)
  for _, item in ipairs(section.items) do
    local text, ticks = step_text(item)
    out[#out + 1] = "- [ ] " .. marked(text)
    for _, tick in ipairs(ticks) do
      out[#out + 1] = "  - [ ] " .. marked(tick)
    end
  end
end

function markdown_kinds.pairs (out, section)
  for _, item in ipairs(section.items) do
    out[#out + 1] = "- " .. (item[1] ~= "" and "**" .. marked(item[1]) ..
      "** " or "") .. marked(item[2])
  end
end

function pages.markdown (page)
  local out = { "# " .. marked(page.title) }
  for _, line in ipairs(page.heads) do out[#out + 1] = "\n" .. marked(line) end
  for _, section in ipairs(page.reading) do
    out[#out + 1] = "\n## " .. section.title .. "\n"
    markdown_kinds[section.kind](out, section)
    for _, note in ipairs(pages.notes(section)) do
      out[#out + 1] = "\n" .. marked(note)
    end
  end
  out[#out + 1] = ""
  for _, line in ipairs(page.foot) do out[#out + 1] = marked(line) .. "  " end
  return table.concat(out, "\n") .. "\n"
end

-- ---- HTML ----

local entities = { ["&"] = "&amp;", ["<"] = "&lt;", [">"] = "&gt;",
  ['"'] = "&quot;", ["'"] = "&#39;" }

local function escaped (text)
  return (text:gsub("[&<>\"']", entities))
end

local style = [[
:root{color-scheme:light}
*{box-sizing:border-box}
body{font:10.5pt/1.35 "Arial Narrow","Liberation Sans Narrow",
"Nimbus Sans Narrow","Roboto Condensed","DejaVu Sans Condensed",system-ui,
sans-serif;
color:#14181c;background:#fff;max-width:62rem;margin:1.5rem auto;padding:0 1rem}
h1{font-size:1.5em;margin:0;font-weight:700}
h2{font-size:1.04em;margin:0 0 .25em;padding-bottom:.12em;font-weight:700;
border-bottom:1.2pt solid #14181c;break-after:avoid}
header{display:flex;gap:1.5em;align-items:flex-end;
border-bottom:2pt solid #14181c;padding-bottom:.45em;margin-bottom:.7em}
header div{flex:1}
header p{margin:.12em 0 0}
.sign{flex:0 0 30%;font-size:.94em}
.sign span{display:block;border-bottom:.6pt solid #55606a;padding-top:.75em}
.two{display:grid;grid-template-columns:1fr 1fr;gap:0 1.4em}
.three{display:grid;grid-template-columns:1fr 1fr 1fr;gap:0 1.4em}
section{margin:0 0 .65em}
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
th,td{text-align:right;padding:.04em .18em;vertical-align:top}
th{font-weight:600;border-bottom:.8pt solid #14181c;vertical-align:bottom}
td{border-bottom:.5pt solid #c9d0d6}
th:first-child,td:first-child{padding-left:0}
th:last-child,td:last-child{padding-right:0}
.l{text-align:left}
td:first-child{white-space:nowrap}
tr{break-inside:avoid}
tr.strong td{border-bottom:.9pt solid #55606a}
tr.strong td:nth-child(n+8){background:#eef1f3;font-weight:700;
-webkit-print-color-adjust:exact;print-color-adjust:exact}
td.blank{min-width:3.2em;background:#eef1f3;
-webkit-print-color-adjust:exact;print-color-adjust:exact}
.note{margin:.2em 0 0;color:#3a444d}
ul{list-style:none;margin:0;padding:0}
li{padding-left:1.5em;margin:0 0 .15em;position:relative;break-inside:avoid}
.box{position:absolute;left:0;top:.12em;width:.95em;height:.95em;
border:.9pt solid #14181c}
.tick{white-space:nowrap;margin-right:.35em}
.small{display:inline-block;width:.8em;height:.8em;margin-right:.2em;
border:.8pt solid #14181c;vertical-align:-.08em}
dl{margin:0}
dt,dd{display:inline;margin:0}
dt{font-weight:700;margin-right:.3em}
dd::after{content:"";display:block;height:.15em}
svg{display:block;width:100%;height:auto}
footer{border-top:1.2pt solid #14181c;padding-top:.3em}
footer p{margin:0}
@media screen and (max-width:46rem){.two,.three,header{display:block}}
@page{size:A4;margin:7mm 9mm}
@media print{body{font-size:8.2pt;line-height:1.18;max-width:none;margin:0;
padding:0}footer{break-inside:avoid}}
]]

local function html_table (section)
  local out = { "<table>\n<thead><tr>" }
  local function put (...) out[#out + 1] = string.format(...) end
  for _, column in ipairs(section.columns) do
    put('<th%s scope="col">%s</th>', column.left and ' class="l"' or "",
      escaped(column[1]))
  end
  put("</tr></thead>\n<tbody>\n")
  for _, row in ipairs(section.rows) do
    put(row.strong and '<tr class="strong">' or "<tr>")
    for c, column in ipairs(section.columns) do
      put("<td%s>%s</td>", is_blank(column, row) and ' class="blank"' or
        column.left and ' class="l"' or "", escaped(row[c]))
    end
    put("</tr>\n")
  end
  put("</tbody>\n</table>\n")
  return table.concat(out)
end

local function html_steps (section)
  local out = { "<ul>\n" }
  for _, item in ipairs(section.items) do
    local text, ticks = step_text(item)
    out[#out + 1] = '<li><span class="box"></span>' .. escaped(text)
    for _, tick in ipairs(ticks) do
      out[#out + 1] = ' <span class="tick"><span class="small"></span>' ..
        escaped(tick) .. "</span>"
    end
    out[#out + 1] = "</li>\n"
  end
  return table.concat(out) .. "</ul>\n"
end

local function html_pairs (section)
  local out = { "<dl>\n" }
  for _, item in ipairs(section.items) do
    out[#out + 1] = string.format("%s<dd>%s</dd>\n", item[1] ~= "" and
      "<dt>" .. escaped(item[1]) .. "</dt>" or "", escaped(item[2]))
  end
  return table.concat(out) .. "</dl>\n"
end

-- ---- the plan drawn ----

-- sizes in units of a thousandth of the drawing's width
local function text_at (x, y, size, text, anchor, bold)
  return string.format('<text x="%s" y="%s" font-size="%s" ' ..
    'text-anchor="%s"%s>%s</text>\n', wording.trim(x), wording.trim(y),
    wording.trim(size), anchor or "middle", bold and ' font-weight="700"' or
    "", escaped(text))
end

local function line_at (x1, y1, x2, y2, thick)
  return string.format('<line x1="%s" y1="%s" x2="%s" y2="%s" ' ..
    'stroke="#14181c" stroke-width="%s"/>\n', wording.trim(x1),
    wording.trim(y1), wording.trim(x2), wording.trim(y2), thick)
end

local function box_at (x, y, w, h)
  return string.format('<rect x="%s" y="%s" width="%s" height="%s" ' ..
    'fill="#fff" stroke="#14181c" stroke-width="3"/>\n', wording.trim(x),
    wording.trim(y), wording.trim(w), wording.trim(h))
end

local function longest (section)
  local most = 1
  for _, row in ipairs(section.rows) do most = math.max(most, #row.ids) end
  return most
end

-- an id no larger than its box
local function id_size (id, w, most)
  return math.min(most, w / (0.72 * math.max(1, wide(id))))
end

-- strings from the - bar at the left to the + bar at the right
local function draw_strings (section)
  local out, n, rows = {}, longest(section), #section.rows
  local tall, left, right = 62, 190, 950
  local step = (right - left) / n
  local w = math.min(step * 0.78, 210)
  local bottom = 12 + rows * tall
  out[1] = line_at(left - 32, 6, left - 32, bottom + 22, "10") ..
    line_at(right + 12, 6, right + 12, bottom + 22, "10")
  for r, row in ipairs(section.rows) do
    local y = 12 + (r - 0.5) * tall
    out[#out + 1] = text_at(0, y + 11, 32, row.label, "start") ..
      line_at(left - 32, y, right + 12, y, "4")
    for i, id in ipairs(row.ids) do
      local x = left + (i - 0.5) * step - w / 2
      out[#out + 1] = box_at(x, y - 25, w, 50) ..
        text_at(x + w / 2, y + 13, id_size(id, w - 70, 40), id, "middle",
          true) .. text_at(x + 16, y + 10, 30, "-") ..
        text_at(x + w - 16, y + 10, 30, "+")
    end
  end
  out[#out + 1] = text_at(left - 20, bottom + 24, 32, "- out", "start") ..
    text_at(right, bottom + 24, 32, "+ out", "end")
  return table.concat(out), bottom + 34
end

-- levels one above the other, each between bars of its own
local function draw_levels (section)
  local out, n, rows = {}, longest(section), #section.rows
  local tall, high, left, right = 156, 132, 160, 990
  local step = (right - left) / n
  local w = math.min(step * 0.8, 200)
  for r, row in ipairs(section.rows) do
    local y = 20 + (r - 1) * tall
    out[#out + 1] = line_at(left, y, right, y, "10") ..
      line_at(left, y + high, right, y + high, "10") ..
      text_at(0, y + 77, 32, row.label, "start")
    if r < rows then
      out[#out + 1] = line_at(right - 16, y + high, right - 16, y + tall, "10")
    end
    for i, id in ipairs(row.ids) do
      local x = left + (i - 0.5) * step
      out[#out + 1] = line_at(x, y, x, y + high, "4") ..
        box_at(x - w / 2, y + 36, w, 60) ..
        text_at(x, y + 79, id_size(id, w - 10, 38), id, "middle", true) ..
        text_at(x + 16, y + 31, 30, "+") .. text_at(x + 16, y + 121, 30, "-")
    end
  end
  local last = 20 + (rows - 1) * tall + high
  out[#out + 1] = text_at(left - 10, 30, 32, "+ out", "end") ..
    text_at(left - 10, last + 8, 32, "- out", "end")
  return table.concat(out), last + 16
end

local function html_plan (section)
  if #section.rows == 0 then return "" end
  local drawn, height
  if section.string_first then
    drawn, height = draw_strings(section)
  else
    drawn, height = draw_levels(section)
  end
  return string.format('<svg viewBox="0 0 1000 %s" role="img" ' ..
    'aria-label="which module stands where" font-family="inherit">\n%s' ..
    "</svg>\n", wording.trim(height, 6), drawn)
end

local html_kinds = { table = html_table, steps = html_steps,
  pairs = html_pairs, plan = html_plan }

local function html_notes (section)
  local out = {}
  for i, note in ipairs(pages.notes(section)) do
    out[i] = '<p class="note">' .. escaped(note) .. "</p>\n"
  end
  return table.concat(out)
end

local function html_sections (list)
  local out = {}
  for i, section in ipairs(list) do
    out[i] = string.format("<section>\n<h2>%s</h2>\n%s%s</section>\n",
      escaped(section.title), html_kinds[section.kind](section),
      html_notes(section))
  end
  return out
end

local function paragraphs (lines)
  local out = {}
  for i, line in ipairs(lines) do out[i] = "<p>" .. escaped(line) .. "</p>\n" end
  return table.concat(out)
end

local top = '<!DOCTYPE html>\n<html lang="en">\n<head>\n' ..
  '<meta charset="utf-8">\n' ..
  '<meta http-equiv="Content-Security-Policy" ' ..
  'content="default-src \'none\'; style-src \'unsafe-inline\'">\n' ..
  '<meta name="viewport" content="width=device-width, initial-scale=1">\n'

function pages.html (page)
  return top .. "<title>" .. escaped(page.title) .. "</title>\n<style>\n" ..
    style .. "</style>\n</head>\n<body>\n<header><div><h1>" ..
    escaped(page.title) .. "</h1>\n" .. paragraphs(page.heads) ..
    '</div><div class="sign"><span>date</span><span>built by</span>' ..
    "<span>looked at by</span></div></header>\n" ..
    '<div class="two">\n<div>\n' .. table.concat(html_sections(page.left)) ..
    "</div>\n<div>\n" .. table.concat(html_sections(page.right)) ..
    '</div>\n</div>\n<div class="three">\n' ..
    table.concat(html_sections(page.below)) .. "</div>\n<footer>\n" ..
    paragraphs(page.foot) .. "</footer>\n</body>\n</html>\n"
end

return pages
