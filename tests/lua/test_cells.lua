--- Cells: from a label, from one measured resistance, fitted to logs; led
-- along a log; how far from what was measured. Data are invented, made by the
-- library's own cell or by a closed form; measured where it says so.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local function narrow (object, what)
  for line in tostring(object):gmatch("[^\n]+") do
    check.ok(#line <= 78, what .. ": at most 78 columns: " .. line)
  end
end

local function flat (object)
  return (tostring(object):gsub("%s+", " "))
end

-- a straight rest voltage: 3 V empty, 4 V full
local straight = amp.chemistry{ name = "straight", interp = "linear",
  ocv_v = { { 0, 3 }, { 100, 4 } }, v_min = 2.5, v_max = 4.2 }

-- ---- from a label ----

local own = amp.cell{ name = "own", chemistry = "nca", capacity_ah = 2.9,
  r10s_mohm = 35 }
check.equal(own.r10s_mohm, 35, "keys read back")
check.equal(own.level, "simple", "a label's cell is simple")
check.close(own:with{ r0_mohm = 20 }.r10s_mohm, 20, 1e-12,
  "r0_mohm takes the place of r10s_mohm, and the pairs are gone")
for _, words in ipairs{ 'cell "own", simple level', "10 s 35.0 mohm",
  "R0 26.6 mohm", "assumed the shares of R0", "docs/model/cell.md" } do
  check.has(flat(own), words, "print says what is assumed") -- 0.76 of 35
end
narrow(own, "cell")
check.has(tostring(amp.cell{ chemistry = "lfp", capacity_ah = 100 }),
  "none given: voltage stays at rest", "no resistance")
check.has(flat(amp.cell{ chemistry = "lfp", capacity_ah = 2, r0_mohm = 9 }),
  "resistance alike at every charge and temperature", "no shape")

local function refused (words, what, fn)
  check.raises(fn, words, what)
end
local function cell (keys)
  return function () return amp.cell(keys) end
end
refused("cell: chemistry is wanted", "no chemistry", cell{ capacity_ah = 2 })
refused("cell: r1_mohm comes with r10s_mohm: give one of them",
  "a share and the whole",
  cell{ chemistry = "nca", capacity_ah = 2, r10s_mohm = 9, r1_mohm = 1 })
refused("cell: give r10s_mohm or r0_mohm, not both", "two resistances",
  cell{ chemistry = "nca", capacity_ah = 2, r10s_mohm = 9, r0_mohm = 1 })
refused('level "detailed" wants amp.fit{}', "a label knows no kinetics",
  cell{ chemistry = "nca", capacity_ah = 2, level = "detailed" })
refused('level must be "simple" or "detailed"', "no such level",
  cell{ chemistry = "nca", capacity_ah = 2, level = "fine" })
refused("cell: r10s_mohm must lie in 0.001 .. 1000 mohm (got -3)", "negative",
  cell{ chemistry = "nca", capacity_ah = 2, r10s_mohm = -3 })
refused("cell: unknown key 'r10_mohm' (did you mean 'r10s_mohm'?)",
  "misspelt", cell{ chemistry = "nca", capacity_ah = 2, r10_mohm = 3 })
refused("only a cell that amp.fit{} made has them", "no fit",
  function () return own:parameters() end)

-- a module takes the cell's resistance over a pulse of 10 s: 35 mohm, seven
-- in series, two side by side
local module = amp.module{ cell = own, series = 7, parallel = 2 }
check.close(module.nameplate_kwh, 2.9 * 2 * 3.65 * 7 / 1000, 1e-9,
  "capacity and voltage of the cell")

-- a leaf of it runs as the cell does: 1 A for 40 minutes on 1s1p, ends of
-- the steps against the cell led along the same current
local function text (...) return table.concat({ ... }, "\n") .. "\n" end
local hour = amp.log.text(text("time_s,current_a,temp_c", "0,0,25",
  "600,1,25", "1200,1,25", "1800,1,25", "2400,1,25"))
local shaped = amp.cell{ chemistry = "nca", capacity_ah = 2.9, r0_mohm = 30,
  r1_mohm = 20, tau1_s = 40, r2_mohm = 10, tau2_s = 1500 }
local single = amp.pack{ series = 1, parallel = 1, soc_min_pct = 0,
  soc_max_pct = 100, module = amp.module{ cell = shaped, series = 1 } }
local as_pack = single:simulate(hour:profile(), { start = "full" }):trace()
local as_cell = shaped:simulate(hour, { soc_start_pct = 100 }):trace()
check.raises(function ()
  return shaped:simulate(hour, { soc_start_pct = 100 }).trace{}
end, "trace: call it with a colon, run:trace()")
check.has(flat(single:simulate(hour:profile(), { start = "full" })),
  "A test at the terminals over 0.667 h; SoC from 100 to 77.0 %.",
  "a test is called one") -- 2 / 3 Ah of 2.9
check.close(as_pack[#as_pack].soc_pct, as_cell[#as_cell].soc_pct, 1e-9,
  "the same charge")
check.close(as_pack[#as_pack].voltage_end_v,
  as_cell[#as_cell].voltage_v, 1e-6, "the same voltage")

-- ---- led along a log ----

-- resistance alone on the straight curve: v = 3 + z - 0.05 i by hand. 1 Ah;
-- 1 A for 360 s takes 10 %, then rest, then 2 A in for 360 s gives 20 %
local plain = amp.cell{ chemistry = straight, capacity_ah = 1, r0_mohm = 50 }
local steps = amp.log.text(text("time_s,current_a,voltage_v,temp_c",
  "0,0,3.9,25", "360,1,3.75,25", "720,0,3.8,25", "1080,-2,4.1,25"))
local run = plain:simulate(steps:profile())
check.close(run.soc_start_pct, 90, 1e-9, "3.9 V at rest on the curve is 90 %")
check.close(run.soc_end_pct, 100, 1e-9, "90 - 10 + 20")
check.equal(run.done, 4, "all rows")
local rows = run:trace{ against = steps }
for i, want in ipairs{ 3.9, 3.75, 3.8, 4.1 } do
  check.close(rows[i].voltage_v, want, 1e-9, "3 + z - 0.05 i, row " .. i)
  check.close(rows[i].difference_mv, 0, 1e-6, "as invented")
end
check.close(run.out_ah, 0.1, 1e-12, "1 A over 0.1 h")
check.close(run.in_ah, 0.2, 1e-12, "2 A over 0.1 h")
-- mean voltage of the steps by hand: 3.8 V out, 4.0 V in
check.close(run.out_kwh, 0.1 * 3.8 / 1000, 1e-9, "energy out")
check.close(run.in_kwh, 0.2 * 4.0 / 1000, 1e-9, "energy in")
check.has(flat(run), "90.0 % SoC by the log's first voltage, at rest",
  "print says how it started")
check.equal(plain:simulate(steps:profile(), { soc_start_pct = 50 })
  .soc_start_pct, 50, "or as given")
check.equal(plain:simulate(steps).soc_end_pct, run.soc_end_pct,
  "a log stands for its profile")
narrow(run, "run")

-- a duty that is no log runs as a pack's does, within the limits: 3.4 V at
-- 1 A is reached at 45 % after 0.55 Ah from full
local phases = plain:simulate(amp.profile.steps{
  { discharge_a = 1, until_v = 3.4, hours = 2 }, { rest_s = 600 } })
check.close(phases.out_ah, 0.55, 1e-6, "3 + z - 0.05 = 3.4 at 45 %")
check.close(phases.soc_end_pct, 45, 1e-4, "45 % are left")
-- mean of 3.95 and 3.40 V by hand
check.close(phases.out_kwh, 0.55 * 3.675 / 1000, 1e-8, "energy out")
check.has(flat(phases), "run of a cell along a duty", "print says what")
check.equal(plain:simulate(amp.profile.daily{ dc_load_w = 0.001, temp_c = 5 },
  { soc_start_pct = 80 }).ambient_c, 5, "the duty's temperature")
check.close(plain:simulate(amp.profile.daily{ dc_load_w = 0.001, temp_c = 5 },
  { soc_start_pct = 80, ambient_f = 50 }).ambient_c, 10, 1e-9, "50 F are 10 C")
check.raises(function () plain:simulate(amp.profile.daily{ dc_load_w = 0.001 },
  { ambient_c = 10, ambient_f = 50 }) end, "give ambient_c or ambient_f")

-- it ends where the cell is empty
local long = amp.log.text(text("time_s,current_a,voltage_v,temp_c",
  "0,1,3.9,25", "1800,1,3.5,25", "3600,1,3.1,25", "5400,1,3.0,25"))
local empty = plain:simulate(long:profile())
check.equal(empty.soc_start_pct, 100, "under load nothing tells: full")
check.equal(empty.done, 3, "empty after an hour")
check.has(flat(empty), "empty or full after 60 min of 90 min", "and says so")
check.has(flat(empty:against(long)), "not compared 1 row: the model is empty",
  "rows that cannot be compared are counted")

-- ---- against what was measured ----

-- measured stands 10, 20, 20 and 30 mV below: differences by hand, mean 20,
-- root of (100 + 400 + 400 + 900) / 4 = 21.21
local off = amp.log.text(text("time_s,current_a,voltage_v,temp_c",
  "0,0,3.89,25", "360,1,3.73,26", "720,0,3.78,27", "1080,-2,4.07,28"))
local same = plain:simulate(off:profile(), { soc_start_pct = 90 })
local a = same:against(off, "voltage_v", { soc_above_pct = 85 })
check.equal(a.rows, 2, "90 % and 100 % lie above 85")
check.close(a.rmse_mv, math.sqrt((100 + 900) / 2), 1e-6, "of those two")
check.close(a.mean_mv, 20, 1e-6, "simulated stands above")
check.close(a.worst_mv, 30, 1e-6, "the last row")
check.close(a.worst_h, 0.3, 1e-12, "1080 s")
check.close(a.worst_soc_pct, 100, 1e-9, "full")
check.equal(a.whole_rows, 4, "the whole")
check.close(a.whole_rmse_mv, math.sqrt(1800 / 4), 1e-6, "of all four")
check.close(a.whole_mean_mv, 20, 1e-6)
check.has(flat(a), "Above 85 % SoC: RMSE 22.4 mV, mean +20.0, worst +30.0 " ..
  "at 18 min (100 % SoC), 2 rows.", "in words")
check.has(flat(a), "Whole log: RMSE 21.2 mV", "and the whole")
check.equal(a.cut_off_v, nil, "the log comes nowhere near 2.5 V")
narrow(a, "against")
check.close(same:against(off, "voltage_v", { soc_above_pct = 95,
  soc_below_pct = 100 }).rmse_mv, 30, 1e-6, "a window of two ends")

-- a cut-off given: measured 4 - t, simulated 4 - t less 50 mohm at 1 A. Both
-- on straight lines: 3.5 V at 0.5 h and at 0.45 h, 10 % earlier
local fall = amp.log.text(text("time_s,current_a,voltage_v,temp_c",
  "0,1,4,25", "900,1,3.75,25", "1800,1,3.5,25", "2700,1,3.25,25"))
local cut = plain:simulate(fall:profile()):against(fall, "voltage_v",
  { cut_off_v = 3.5 })
check.close(cut.cut_off_measured_h, 0.5, 1e-9, "measured")
check.close(cut.cut_off_h, 0.45, 1e-9, "simulated")
check.close(cut.cut_off_pct, -10, 1e-6, "10 % earlier")
check.has(flat(cut), "Cut-off 3.5 V: measured after 30 min, simulated after " ..
  "27 min (-10.0 %).", "in words")
-- the log stops drawing at 2700 s, 100 mV above the limit: that counts
local stops = straight:with{ v_min = 3.15 }
local nearly = amp.cell{ chemistry = stops, capacity_ah = 1, r0_mohm = 50 }
  :simulate(fall:profile()):against(fall)
check.close(nearly.cut_off_measured_h, 0.75, 1e-12, "the end of drawing")
check.equal(nearly.cut_off_h, nil, "3.2 V is the lowest simulated")
check.has(flat(nearly), "simulated not in this log (3.20 V lowest)")

-- a pack beside a log of its terminals: two in series, 50 mohm each at 1 A,
-- stand 100 mV below what was measured; the first row is before its first step
local doubled = amp.log.text(text("time_s,current_a,voltage_v,temp_c",
  "50,1,8,25", "950,1,7.5,25", "1850,1,7,25", "2750,1,6.5,25"))
local stack = amp.pack{ name = "stack", series = 2, parallel = 1,
  soc_min_pct = 0, soc_max_pct = 100,
  module = amp.module{ cell = plain, series = 1 } }
local stacked = stack:simulate(doubled:profile(), { start = "full" })
local beside = stacked:against(doubled, "voltage_v", { cut_off_v = 7 })
check.equal(beside.rows, 3, "ends of three steps")
check.close(beside.mean_mv, -100, 1e-6, "2 x 50 mohm x 1 A")
check.close(beside.rmse_mv, 100, 1e-6, "all alike")
check.close(beside.cut_off_pct, -10, 1e-6, "7.0 V at 1800 and 1620 s")
check.has(flat(beside), 'voltage, pack "stack"', "print says whose")
narrow(beside, "pack against")
check.equal(select(2, stacked:plot{ "voltage_v", against = doubled }:svg()
  :gsub("<path", "")), 3, "three lines")

-- the simple level takes the log's temperature, unless one is given
check.raises(function () return same:against(off, "temp_c") end,
  "nothing to compare", "its own input")
local warm = plain:simulate(off:profile(), { ambient_c = 25 })
local t = warm:against(off, "temp_c")
check.close(t.mean_c, -1.5, 1e-9, "25 against 25 .. 28")
check.close(t.worst_c, -3, 1e-9)

-- charts: measured, simulated, and the difference below
local chart = same:plot{ "voltage_v", against = off }:svg()
check.equal(select(2, chart:gsub("<path", "")), 3, "three lines")
for _, words in ipairs{ ">measured<", ">simulated<",
  "simulated - measured, mV", "simple level" } do
  check.has(chart, words, "the chart says what is what")
end
narrow(same:plot{ "voltage_v", against = off }, "chart as text")
check.has(tostring(same:plot{ "voltage_v", against = off }),
  "o measured   x simulated", "as characters")
check.equal(select(2, same:plot{ "soc_pct" }:svg():gsub("<path", "")), 1)
check.equal(select(2, same:plot{ "voltage_v", "current_a" }:svg()
  :gsub("<path", "")), 2, "the second column has a panel of its own")

refused("against: 'voltage' is not compared (did you mean 'voltage_v'?)",
  "no such column", function () return same:against(off, "voltage") end)
refused("against: a log is wanted, as amp.log.csv() gives (got number)",
  "no log", function () return same:against(3) end)
refused("against: unknown key 'soc_above' (did you mean 'soc_above_pct'?)",
  "misspelt", function ()
    return same:against(off, "voltage_v", { soc_above = 20 })
  end)
refused("against: soc_above_pct must lie in 0 .. 100 % (got 200)", "too much",
  function () return same:against(off, nil, { soc_above_pct = 200 }) end)
refused("simulate: unknown key 'ambient' (did you mean 'ambient_c'?)",
  "misspelt", function () return plain:simulate(off, { ambient = 3 }) end)
refused("simulate: soc_start_pct must lie in 0 .. 100 % (got -1)", "below 0",
  function () return plain:simulate(off, { soc_start_pct = -1 }) end)
refused("simulate: profile must be a profile (got number)", "no profile",
  function () return plain:simulate(3) end)
refused("a cell's run has no 'soc_end' (did you mean 'soc_end_pct'?)",
  "no such field", function () return same.soc_end end)
refused("a run never changes", "fixed", function () same.rows = 1 end)
refused("plot: unknown key '3'", "a third column",
  function () return same:plot{ "soc_pct", "current_a", "temp_c" } end)
refused("one column is drawn, not two", "two columns beside a log",
  function () return same:plot{ "voltage_v", "temp_c", against = off } end)
refused("plot: no column 'soc' (", "no such column",
  function () return same:plot{ "soc" } end)
refused("trace: every must be a whole number of rows from 1 (got 0)", "none",
  function () return same:trace{ every = 0 } end)
refused("log: this one has no column voltage_v", "nothing measured",
  function ()
    return same:against(amp.log.text(text("time_s,current_a", "0,0", "360,1",
      "720,0")))
  end)

-- ---- a builder's own log: fitted, though it is a mess ----

-- a cell known by hand, pulsed from full: every tenth 30 s at 2 A and back
-- to rest, 0.5 A down to the next. Voltages are the library's own cell's
local known = amp.cell{ chemistry = "nca", capacity_ah = 2.8, r0_mohm = 30,
  r1_mohm = 12, tau1_s = 25, r2_mohm = 15, tau2_s = 600 }
local time, amps, now = { 0 }, { 0 }, 0
local function hold (current, seconds, step)
  local to = now + seconds
  while now < to - 1e-9 do -- irregular: each step a tenth longer
    now = math.min(to, now + step)
    step = step * 1.1
    time[#time + 1], amps[#amps + 1] = now, current
  end
end
hold(0, 60, 5)
for _ = 1, 9 do
  hold(2, 30, 0.5)
  hold(0, 1200, 0.5)
  hold(0.5, 1800, 1)
  hold(0, 1800, 1)
end
local lines = { "time_s,current_a" }
for i, s in ipairs(time) do
  lines[#lines + 1] = string.format("%.17g,%.17g", s, amps[i])
end
local drawn = amp.log.text(table.concat(lines, "\n"))
local truth = known:simulate(drawn:profile()):trace()

-- as the meter wrote it: minutes, decimal commas, charging above 0, an
-- offset of 12 mA, a missing voltage now and then, 40 minutes lost
local function comma (format, v) return (format:format(v):gsub("%.", ",")) end
lines = { "Minuten;Strom;Volt;Grad;Notiz" }
for i, s in ipairs(time) do
  local lost = s > 20000 and s < 22400
  if not lost then
    lines[#lines + 1] = comma("%.6f", s / 60) .. ";" ..
      comma("%.4f", -(amps[i] + 0.012)) .. ";" ..
      (i % 97 == 0 and "" or comma("%.4f", truth[i].voltage_v)) .. ";25,0;"
  end
end
local messy = amp.log.text(table.concat(lines, "\n"), { decimal = ",",
  name = "bench.csv", gap_s = 2000, columns = { time_min = "Minuten", voltage_v = "Volt",
    charge_current_a = "Strom", temp_c = "Grad" } })
check.equal(messy.gaps, 1, "the 40 minutes")
check.has(flat(messy), "missing values filled", "and the missing voltages")

local fitted = amp.fit{ name = "bench", chemistry = "nca", capacity_ah = 2.8,
  pulses = messy, simple_only = true }
check.equal(fitted.level, "simple", "as asked")
check.close(fitted.r10s_mohm, known.r10s_mohm, 0.05 * known.r10s_mohm,
  "the 10 s resistance comes back, within 5 %")
check.has(flat(fitted), "offset", "the offset is found and said")
check.has(flat(fitted), "1 gap", "the gap is said")
check.has(flat(fitted), "shape by chemistry, assumed", "no slow log")
check.has(flat(fitted), "in brackets one standard deviation",
  "with confidence")
narrow(fitted, "fitted")
local residuals = fitted:residuals()
check.equal(#residuals, 1, "a row for each log")
check.ok(residuals[1].simple_rmse_mv < 10, "under 10 mV on its own log")
local names = {}
for i = 1, #fitted:parameters() do
  names[fitted:parameters()[i].name] = true
end
check.ok(names.r0 and names.r1 and names.tau1, "the parameters have names")
check.raises(function () return fitted:with{ level = "detailed" } end,
  "the fit has no detailed level (simple_only = true)", "left out")
check.raises(function () return fitted:with{ r0_mohm = 3 } end,
  'cell "bench": r0_mohm comes with fit: give one of them', "the fit knows it")
check.close(fitted:with{ capacity_ah = 2.5 }.capacity_ah, 2.5, 1e-12,
  "a used cell of the same kind")
local bench = amp.module{ cell = fitted, series = 4, parallel = 3 }
check.ok(not tostring(bench):find("r10s_mohm: a default"),
  "its module takes the resistance fitted")

local function fit (keys)
  return function () return amp.fit(keys) end
end
refused("fit: pulses is wanted, a log or a list of logs", "no logs",
  fit{ chemistry = "nca", capacity_ah = 2.8 })
refused("fit: unknown key 'pulse' (did you mean 'pulses'?)", "misspelt",
  fit{ chemistry = "nca", capacity_ah = 2.8, pulse = messy })
refused("fit: pulses[2] must be a log (got number)", "not a log",
  fit{ chemistry = "nca", capacity_ah = 2.8, pulses = { messy, 3 } })
refused("fit: capacity_ah is wanted, the label's", "no capacity",
  fit{ chemistry = "nca", pulses = messy })
refused("fit: slow must be a log (got string)", "not a log",
  fit{ chemistry = "nca", capacity_ah = 2.8, pulses = messy, slow = "a.csv" })
refused('fit: pulses[1] "short.csv"', "the log is named",
  fit{ chemistry = "nca", capacity_ah = 2.8, pulses = amp.log.text(text(
    "time_s,current_a,voltage_v", "0,0,4", "1,1,3.9", "2,1,3.9"),
    { name = "short.csv" }) })

-- ---- both levels, on the measured pulses that the examples bring ----

local function nca (name, opts)
  local f = assert(io.open(here .. "/examples/data/nca-18650/" .. name ..
    ".csv"))
  local bytes = f:read("a")
  f:close()
  opts = opts or {}
  opts.name, opts.columns = name .. ".csv", { current_a = "current_A",
    voltage_v = "voltage_V", temp_c = "temperature_degC" }
  return amp.log.text(bytes, opts)
end
-- a limit above what the drive's braking reaches: none acts on a cell that
-- is led along a log, and so none shall on the pack below
local wide = amp.chemistry{ name = "nca, to 4.3 V", like = "nca", v_max = 4.3 }
local both = amp.fit{ chemistry = wide, capacity_ah = 2.9,
  pulses = nca "pulse_10degC" }
check.equal(both.level, "detailed", "a fit's cell is detailed unless said")
check.equal(both:with{ level = "simple" }.level, "simple", "and simple if said")
check.has(flat(both), "cell, detailed level: kinetics, diffusion", "print")
check.has(flat(both), "one temperature alone", "what is assumed is said")
narrow(both, "detailed")
narrow(both:with{ level = "simple" }, "simple")
local own_log = both:residuals()[1]
check.ok(own_log.detailed_rmse_mv < own_log.simple_rmse_mv,
  "the detailed level stands nearer to its own log")

-- twenty minutes of a drive at 10 C that the fit has not seen
local drive = nca("drive_us06_10degC", { to_s = 1200 })
local fine = both:simulate(drive:profile())
local rough = both:with{ level = "simple" }:simulate(drive:profile())
check.has(flat(fine), "10.8 C around, its own heat on top", "its own heat")
check.has(flat(rough), "the log's, taken as the cell's", "the log's")
local fine_mv = fine:against(drive, "voltage_v").rmse_mv
check.ok(fine_mv < rough:against(drive, "voltage_v").rmse_mv,
  "nearer to the drive as well")
check.ok(fine_mv < 40, "under 40 mV at 10 C")
check.ok(fine:against(drive, "temp_c").rmse_c < 2, "the skin within 2 C")
local means = fine:against(drive, "voltage_v", { means = true })
check.ok(means.rmse_mv < fine_mv, "the file holds means over a second")

-- a pack of that cell steps the same level
local one = amp.pack{ series = 1, parallel = 1, soc_min_pct = 0,
  cell_v_max = 4.3, module = amp.module{ cell = both, series = 1 } }
local led = one:simulate(drive:profile(), { start = "full" })
check.equal(led.level, "detailed", "the pack's level")
check.has(flat(led), "level the detailed one of the module's fitted cell",
  "and print says so")
local cell_rows, pack_rows = fine:trace(), led:trace()
local most = 0
for i = 1, #pack_rows do
  most = math.max(most, math.abs(cell_rows[i + 1].voltage_v -
    pack_rows[i].voltage_end_v))
end
check.ok(most < 0.001, "within 1 mV of the cell, got " .. most)
check.equal(amp.pack{ module = amp.module{ series = 1,
  cell = both:with{ level = "simple" } }, series = 1, parallel = 1 }
  :simulate(drive:profile(), { start = "full" }).level, nil,
  "a simple cell's pack is simple")

-- what is no log of one cell of this chemistry is refused with its figure
local function pulsed (volt, temp_c)
  local typed, soc = { "time_s,current_a,voltage_v,temp_c" }, 1
  for i = 0, 1199 do
    local i_a = soc <= 0 and 0 or i % 120 < 20 and 2.9 or
      i % 120 < 60 and 1.45 or 0
    soc = soc - i_a * 10 / 3600 / 2.9
    typed[#typed + 1] = string.format("%d,%g,%.4f,%g", 10 + i * 10, i_a,
      volt(soc, i_a), type(temp_c) == "function" and temp_c(i_a) or
      temp_c or 25)
  end
  return amp.log.text(table.concat(typed, "\n"))
end
local function fit_of (log, chemistry, all)
  return function ()
    return amp.fit{ chemistry = chemistry or "nca", capacity_ah = 2.9,
      pulses = log, simple_only = not all }
  end
end
local function level (factor)
  return function (soc, i_a) return factor * (3.3 + 0.7 * soc - 0.03 * i_a) end
end
check.ok(fit_of(pulsed(level(1)))().r10s_mohm > 10, "one cell is fitted")
refused("voltage_v: its mean is 3", "mV for V", fit_of(pulsed(level(1000))))
refused("voltage_v: its mean is 2", "a module's", fit_of(pulsed(level(6))))
refused("stands between 1.75 and 2.45 V", "another chemistry",
  fit_of(pulsed(level(1)), "lead_acid"))
refused("temp_c: the log reads -270 C, and -60 .. 100 C can be fitted",
  "a broken thermometer", fit_of(pulsed(level(1), -270)))
refused("fit: simple_only: no kinetics within reason", "no kinetics",
  fit_of(pulsed(function (_, i_a) return 3.3 - 0.03 * i_a end,
    function (i_a) return 25 + i_a end),
    amp.chemistry{ ocv_v = { { 0, 3.3 }, { 100, 3.3001 } }, v_min = 3.2,
      v_max = 3.4 }, true))
refused("the time must lie in -1e12 .. 1e12 s (got ", "no time",
  function () return pulsed(level(1)):at("voltage_v", 0 / 0) end)

check.done()
