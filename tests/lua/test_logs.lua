--- Logged tests: columns by any name, what is refused with its place, what
-- is mended and said. All data are invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local function text (...) return table.concat({ ... }, "\n") .. "\n" end

-- a log in our own names: 1 A for an hour, then 0.5 A in for an hour
local plain = amp.log.text(text("time_s,current_a,voltage_v,temp_c",
  "0,0,4.1,20", "1800,1,3.9,20.5", "3600,1,3.7,21", "5400,-0.5,3.8,21",
  "7200,-0.5,3.9,21"))
check.equal(plain.rows, 5, "rows")
check.close(plain.hours, 2, 1e-12, "hours")
check.close(plain.out_ah, 1, 1e-12, "1 A over an hour")
check.close(plain.in_ah, 0.5, 1e-12, "0.5 A over an hour")
check.equal(plain:row(2).voltage_v, 3.9, "a row")
check.equal(plain:row(6), nil, "no such row")
check.equal(#plain:column("temp_c"), 5, "a column is a list")
check.close(plain:column("temp_c")[2], 20.5, 1e-9, "in C")
check.close(plain:at("voltage_v", 2700), 3.8, 1e-12, "between two rows")
check.has(tostring(plain), "log: 5 rows over 2.00 h, a row every 1800 s",
  "print says how much")
check.has(tostring(plain), "-0.500 to 1.00 A; out 1.00 Ah, in 0.500 Ah",
  "and the charge")
check.has(tostring(plain), "temperature  20.0 to 21.0 C", "and the warmth")
check.ok(not tostring(plain):find("noted"), "nothing was mended")

-- sibling units
local mixed = amp.log.text(text("time_h,current_ma,voltage_mv,temp_f",
  "0,1000,4100,68", "0.5,1000,3900,68", "1,1000,3700,68"))
check.close(mixed:column("time_s")[3], 3600, 1e-9, "hours")
check.close(mixed:row(1).current_a, 1, 1e-12, "mA")
check.close(mixed:row(1).voltage_v, 4.1, 1e-12, "mV")
check.close(mixed:row(1).temp_c, 20, 1e-9, "68 F is 20 C")
local minutes = amp.log.text(text("time_min,charge_current_a",
  "0,0", "1,2", "2,2"))
check.close(minutes:row(2).time_s, 60, 1e-12, "minutes")
check.close(minutes:row(2).current_a, -2, 1e-12,
  "a meter that counts charging above 0")
check.close(minutes.in_ah, 4 / 60, 1e-12, "2 A in for two minutes")

-- clocks: past midnight, and over a leap day (24 h + 1 s and 24 h + 3.5 s)
local clock = amp.log.text(text("clock,current_a", "23:59:58,1",
  "23:59:59,1", "0:00:01,1"))
check.equal(tostring(clock:column("time_s")), "{0, 1, 3}", "past midnight")
local dated = amp.log.text(text("clock,current_a", "2024-02-28 23:59:58,1",
  "2024-02-29T23:59:59,1", "2024-03-01 00:00:01.5,1"))
check.equal(tostring(dated:column("time_s")), "{0, 86401, 86403.5}",
  "over a leap day")
-- 2023-12-31 to 2024-03-01: 31 + 29 days + 1 day
local year = amp.log.text(text("clock,current_a", "2023-12-31 00:00,1",
  "2024-01-01 00:00,1", "2024-03-01 00:00,1"))
check.close(year:row(3).time_s, 61 * 86400, 1e-6, "over a new year")
check.raises(function ()
  amp.log.text(text("clock,current_a", "0:00:01,1", "soon,1"))
end, "text:3:1: not a clock: wanted is 13:05:07 or 2024-05-01 13:05:07 " ..
  "(got 'soon')", "not a clock")

-- their names, semicolons, decimal commas, gaps, a missing value
local messy = text("Zeit;Strom;Spannung;Temp;Bemerkung",
  "0;0,00;4,10;20;an", "10;1,00;4,05;;", "20;1,00;4,04;21;", "20;1,00;4,04;21;",
  "30;;4,03;21;Aussetzer", "400;1,00;4,02;21;", "410;1,00;4,01;21;",
  "420;1,00;4,00;21;", "430;1,00;3,99;21;", "440;1,00;3,98;21;",
  "450;1,00;3,97;21;", "460;1,00;3,96;21;")
local german = { decimal = ",", columns = { time_s = "Zeit",
  current_a = "Strom", voltage_v = "Spannung", temp_c = "Temp" } }
local own = amp.log.text(messy, german)
check.equal(own.rows, 10, "a doubled row and one without current are left out")
check.equal(own.gaps, 1, "20 to 400 s")
-- 1 A from 0 to 460 s: the row without current is covered by the next
check.close(own.out_ah, 460 / 3600, 1e-12, "charge over the gap")
check.close(own:row(2).temp_c, 20.5, 1e-9, "filled between its neighbours")
for _, words in ipairs{ "2 rows left out", "1 missing value filled",
  "1 gap of 380 s", "not used     Bemerkung" } do
  check.has((tostring(own):gsub("%s+", " ")), (words:gsub("%s+", " ")),
    "print says what was mended")
end
check.equal(amp.log.text(messy, { decimal = ",", gap_s = 500,
  columns = german.columns }).gaps, 0, "gap_s says what a gap is")
check.equal(own:with{ from_s = 400, name = "end" }.rows, 7, "from_s")
check.equal(plain:with{ to_s = 3600 }.rows, 3, "to_s")
check.raises(function () own:with{ from_s = 1000 } end,
  "0 of 12 rows lie between from_s and to_s", "nothing left")

check.has(tostring(amp.log.text(text("time_s,current_a,voltage_v", "0,0,3.6",
  "1,5,3.7", "2,5,3.7"))), "voltage rises with the current", "sign turned")
check.has(tostring(amp.log.text(text("time_s,current_a", "0,0", "1,5",
  "2,5"))), "temperature  not in the log", "no temperature")
local placed = amp.log.text(text("time_s,current_a", "0,0", "1,5", "2,5"),
  { temp_c = 10 })
check.close(placed:row(2).temp_c, 10, 1e-9, "one temperature for all rows")
check.has(tostring(placed), "temperature  10.0 C, given", "and it is said")
local foreign = amp.log.text(text("time_s,current_a", "0,0", "1,5", "2,5"),
  { temp_f = 50 }) -- 50 F are 10 C
check.close(foreign:row(2).temp_c, 10, 1e-9, "the same in Fahrenheit")
check.has(tostring(foreign), "temperature  10.0 C, given")
check.close(foreign:profile{ ambient_f = 50 }.ambient_f, 50, 0)
check.raises(function () foreign:profile{ ambient_f = 50, ambient_c = 10 } end,
  "give ambient_c or ambient_f, not both")
check.raises(function () plain:with{ temp_c = 10 } end,
  "give temp_c or a column of temperatures, not both", "two sources")
local power = amp.log.text(text("time_s,power_w", "0,0", "1,50", "2,50"))
check.equal(power.out_ah, nil, "power alone moves no known charge")
check.has(tostring(power), "power        0 to 50.0 W", "power is told")

-- refusals, at the user's line, with the file's place
local function refused (words, what, string, opts)
  check.raises(function () amp.log.text(string, opts) end, words, what)
end
refused("text:4:1: time goes back from 2 to 1 s", "time going back",
  text("time_s,current_a", "1,2", "2,3", "1,4"))
refused("text:3:3: current_a: 'x' is not a number", "text in a number",
  text("time_s,current_a", "1,2", "2,x", "3,4"))
refused("text:1: no column is named 'spannung', wanted for voltage_v (did " ..
  "you mean 'Spannung'?)", "a header misspelt", messy, { decimal = ",",
  columns = { time_s = "Zeit", current_a = "Strom", voltage_v = "spannung" } })
refused("text: columns: unknown key 'voltage' (did you mean 'voltage_v'?)",
  "our name misspelt", messy, { columns = { voltage = "Spannung" } })
refused("text:1: a column time_s (or time_min, time_h, clock) is wanted; " ..
  "the file has 'Zeit', 'Strom', 'Spannung', 'Temp', 'Bemerkung'",
  "no names given", messy, { decimal = "," })
refused("the file has 'time_s', 'curent_a': say columns = { current_a = " ..
  "\"curent_a\" }", "a near name", text("time_s,curent_a", "1,2", "2,3"))
refused("text:2:3: Strom: '0,00' is not a number: with decimal commas say " ..
  "decimal = ','", "decimal commas unsaid", messy,
  { columns = german.columns })
refused("text:4:4: Strom: '1.00' is not a number", "points among commas",
  text("Zeit;Strom", "0;0,00", "10;1,00", "20;1.00", "30;1,00"),
  { decimal = ",", columns = { time_s = "Zeit", current_a = "Strom" } })
refused("voltage is missing in 2 of 4 rows, more than a tenth",
  "too much missing", text("time_s,current_a,voltage_v", "0,0,4.1", "1,1,",
    "2,1,", "3,1,4.0"))
refused("a log needs at least 3 usable rows, got 2 of 2", "too short",
  text("time_s,current_a", "1,2", "2,3"))
refused("columns: give time_s or time_h, not both", "two times",
  text("a,b,current_a", "1,2,3"), { columns = { time_s = "a", time_h = "b" } })
refused("log: unknown key 'column' (did you mean 'columns'?)",
  "unknown option", text("time_s,current_a", "1,2"), { column = {} })
refused("columns: time_s must be a header's text (got number)",
  "a header is text", text("time_s,current_a", "1,2"),
  { columns = { time_s = 1 } })
check.raises(function () amp.log.text(12) end,
  "log: the text is wanted (got number)", "not a text")
check.raises(function () amp.log.csv("no/such.csv") end, "no/such.csv",
  "a missing file")
check.raises(function () plain:column("voltage") end,
  "log: no column 'voltage' (did you mean 'voltage_v'?)", "no such column")
check.raises(function () power:column("voltage_v") end,
  "log: this one has no column voltage_v", "a column that isn't there")
check.raises(function () plain:at("voltage_v") end,
  "log: at takes a column and a time in s", "no time")
check.raises(function () plain.rows = 3 end, "a log never changes",
  "logs never change")

local chart = plain:plot{ "voltage_v" }
check.has(chart:svg(), "voltage V", "a chart of a column")
check.has(tostring(chart), "4.10 |", "and as characters")
check.raises(function () plain:plot{ "power_w" } end,
  "log: this one has no column power_w", "no such column")

local lines = tostring(own)
for line in lines:gmatch("[^\n]+") do
  check.ok(#line <= 78, "at most 78 columns: " .. line)
end

-- measured logs, where they are at hand: the tester's own counters
local shared = os.getenv("AMPSTEAD_SHARED")
if shared then
  local f = assert(io.open(shared .. "/data/cell_nca_18650/pulse_10degC.csv"))
  local nca = amp.log.text(f:read("a"), { name = "pulse", columns = {
    current_a = "current_A", voltage_v = "voltage_V",
    temp_c = "temperature_degC" } })
  f:close()
  check.close(nca.out_ah, 2.622, 0.003, "the tester counted 2.622 Ah")
else
  print("skipped: measured logs (AMPSTEAD_SHARED is not set)")
end

-- a loop over logs nobody keeps stays within a script's memory: the core's
-- bytes are collected though Lua sees a few words of each
local hundred = { "time_s,current_a,voltage_v" }
for i = 0, 20000 do hundred[#hundred + 1] = i .. ",1,3.7" end
hundred = table.concat(hundred, "\n")
local swept = 0
local counter = setmetatable({}, { __mode = "v" })
for i = 1, 120 do
  counter[i] = amp.log.text(hundred)
end
for _ in pairs(counter) do swept = swept + 1 end
check.ok(swept < 60, "logs that nobody holds go (" .. swept .. " held)")

check.done()
