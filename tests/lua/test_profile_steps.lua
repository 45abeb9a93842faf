--- amp.profile.steps: a capacity test as a user writes it, and its errors.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local test = amp.profile.steps{
  { charge_a = 50, until_v = 56.7, taper_a = 5, hours = 6 },
  { rest_s = 1800 },
  { discharge_a = 40, until_v = 46, hours = 8 },
  temp_c = 20, name = "capacity test" }
check.ok(test.steps[1].until_v == 56.7 and test.temp_c == 20,
  "keys read back as given")
check.ok(test:with{ temp_f = 68 }.temp_c == nil, "68 F in place of 20 C")
check.ok(tostring(test):find("charge_a = 50", 1, true), "it prints its phases")
check.ok(#test:with{ steps = { { rest_h = 1 } } }.steps == 1,
  "with replaces the phases")

local module = amp.module{ chemistry = "nmc111", series = 14, parallel = 1,
  capacity_ah = 100, tested_ah = 92, r10s_mohm = 21, cell_v_min = 3.2,
  cell_v_max = 4.1 }
local pack = amp.pack{ module = module, series = 1, parallel = 1 }
local run = pack:simulate(test, { start = "full" })
local year = run.months[1] -- all of it stands in the first month
check.ok(year.curtailed_kwh == 0 and year.unserved_kwh == 0 and
  year.out_kwh > 3, "a test leaves nothing unserved or curtailed")
-- 40 A from full: most of 92 Ah in between 1.8 and 2.3 h
check.ok(run.first_empty_h > 6.5 + 1.8 and run.first_empty_h < 6.5 + 2.3,
  "the discharge ends at its voltage")
local out = run.phases[3]
check.equal(#run.phases, 3)
check.close(out.out_ah, out.hours * 40, 1e-6, "40 A until it ended")
check.close(out.ended_h, run.first_empty_h, 1e-9)
check.close(out.out_kwh, run.out_kwh, 1e-9)
check.equal(run.phases[2].out_ah + run.phases[2].in_ah, 0)
check.equal(run.phases[2].hours, 0.5)
check.ok(tostring(run):find("3 discharge 40 A to 46 V", 1, true),
  "it prints its phases")
-- power, and twice through: the second time like the first
local twice = pack:simulate(amp.profile.steps{ times = 2,
  { discharge_w = 1500, until_soc_pct = 50, hours = 3 },
  { charge_w = 1000, until_v = 56.7, taper_a = 8, hours = 5 } },
  { start = "full" }).phases
check.close(twice[1].soc_end_pct, 50, 1e-6, "a charge ends it")
check.close(twice[1].out_kwh, twice[1].hours * 1.5, 1e-5, "1500 W until then")
check.close(twice[4].in_ah, twice[2].in_ah, 0.05, "twice alike")
-- 4.05 V a group are 86 %
check.close(twice[2].soc_end_pct, 86, 1, "charged to the taper")
local rows = run:trace{ every = 1 }
check.ok(#rows == 6 * 60 + 30 + 8 * 60, "a row a minute")
local last = rows[#rows]
check.ok(last.current_a == 0, "after its end a phase rests")
local least = math.huge
for i = 1, #rows do least = math.min(least, rows[i].voltage_end_v) end
check.close(run.voltage_min_v, 46, 1e-6, "the lowest is where it ended")
check.close(run.voltage_min_h, run.first_empty_h, 1 / 60, "and then")
check.ok(least > 45.999 and least < 46.5,
  "no voltage below the one that ends it")

local function refused (words, phases)
  local ok, why = pcall(amp.profile.steps, phases)
  check.ok(not ok and tostring(why):find(words, 1, true), words)
end
refused("steps: 1 .. 1000 phases are wanted (got 0)", {})
refused("steps: step 1: hours (or time_s) is wanted", { { charge_a = 1 } })
refused("steps: step 2: unknown key 'hour' (did you mean 'hours'?)",
  { { rest_s = 3 }, { charge_a = 1, hour = 2 } })
refused("steps: step 1: a rest ends by its time alone",
  { { rest_s = 3, until_v = 3 } })
refused("steps: step 1: charge_a must lie in 1e-06 .. 1000000 A (got -3)",
  { { charge_a = -3, hours = 3 } })
refused("(got 2 of them)", { { charge_a = 3, hours = 3, rest_s = 1 } })
refused("steps: times must be whole (got 1.5)",
  { { charge_a = 3, hours = 1 }, times = 1.5 })
-- 10 h in steps of 1 ms are 36 million of them; 10 million may be
refused("steps: step_s of 0.001 s makes more than 10000000 steps: from "
  .. "0.005 s up they fit", { { charge_a = 3, hours = 10 }, step_s = 0.001 })
check.ok(pcall(amp.profile.steps, { { charge_a = 3, hours = 10 },
  step_s = 0.005 }), "and they do")
refused("a table is wanted", { { charge_a = 3, hours = 1 }, 5 })
check.done()
