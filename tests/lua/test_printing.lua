--- Every answer prints as what it says: no call gives an address, and a
-- table answers by name what its rows hold.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local nickel = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, nominal_v = 25.55, mass_kg = 17.5,
  capacity_ah = amp.claimed(112), soh_pct = amp.measured(84),
  cell_v_min = 3.3, cell_v_max = 4.1, soh_end_pct = 60,
  life_model = amp.life_model{ calendar_pct_per_year = 1.5,
                               cycle_pct_per_efc = 0.008 } }
local H1 = amp.offer{ name = "H1", module = nickel, count = 12,
  price_lot = 2950, premium_pct = 15, freight = 260, fees = 85,
  tax = "excluded", tax_pct = 20, dud_pct = 10, currency = "EUR" }
local inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
  power_w = 3000, efficiency_pct = 92, idle_w = 32 }
local duty = amp.profile.daily{ load_kwh = 3.14, months = amp.range(5, 10),
  solar_kwp = 2.4, performance_pct = 70, temp_c = 12,
  sun_hours = { 4.9, 5.3, 5.6, 5.0, 3.6, 2.1 } }
local need = amp.need{ currency = "EUR", duty = duty, inverter = inverter }
local pack = amp.pack{ name = "hut", module = nickel, series = 2,
  parallel = 5 }
local opts = { inverter = inverter, draws = 20 }

-- landed: (2950 x 1.15 + 260 + 85) x 1.20 = 4485.00, a row for each step
local landed = H1:landed()
check.equal(#landed, 5)
check.equal(landed[1].what, "goods")
check.close(landed[2].amount, 442.5, 1e-9)
check.close(landed[5].amount, 747.5, 1e-9, "20 % of 3737.50")
check.close(landed.total, 4485, 1e-9)
check.equal(landed.lines[3][1], "freight")
local sum = 0
for _, row in ipairs(landed) do sum = sum + row.amount end
check.close(sum, landed.total, 1e-9, "the steps add up")
check.has(landed:text(), "landed 4485.00 EUR, 130.6 per nameplate kWh.")
check.close(landed:sort("amount", "down"):top(1).total, 4485, 1e-9,
  "facts speak of the whole table")
check.raises(function () return landed.totl end, "no column 'totl'")
landed.lines[1][2] = 0
check.equal(landed.lines[1][2], 2950.0, "a fact read is a copy")

-- layouts: 14 x 4.1 = 57.4 V of 58; true and false read back as themselves
local fits = amp.layouts(nickel, inverter)
check.equal(fits[1].fits, false)
check.equal(fits[2].fits, true)
check.equal(#fits:where{ fits = true }, 1)
check.close(fits[2].margin_v, 2.6, 1e-9, "60 - 57.4 V")
check.has(fits:text(), "14s")
check.has(fits:text(), "refused  7 groups in series")
check.has(fits:text(), "2 modules in a string fit.")

-- a life: one row that reads directly, and says what it does not cover
local lived = pack:life(duty, opts)
check.equal(lived.years_why, nil, "no reason where years stand")
check.ok(lived.years > 5 and lived.years_p10 <= lived.years)
check.equal(lived[1].years, lived.years)
check.equal(lived.window.soc_max_pct > lived.window.soc_min_pct, true)
check.equal(lived.levelised, nil)
check.has(lived:text(), "years to SoH 60 %")
check.has(lived:text(), "Smooth fade only")
check.ok(not lived:text():find("prices", 1, true), "no prices went in")
check.equal(lived:cell(1, "usable_kwh").basis, "claimed",
  "84 % measured, but of a claimed nameplate")
check.equal(pack:autonomy(duty, inverter):cell(1, "usable_kwh").basis,
  "claimed")
check.has(pack:autonomy(duty, inverter):text(), "October")

-- 0.35 V over (2.0 + 1.9 + 1.0) mohm = 71.4 A, worked by hand
local joined = amp.paralleling({ ocv_v = 25.75, r10s_mohm = 1.9 },
  { ocv_v = 25.40, r10s_mohm = 2.0 }, { lead_mohm = 1.0 })
check.close(joined.current_a, 0.35 / 0.0049, 1e-6)
check.has(joined:text(), "About 71.4 A flow when they are joined.")
check.has(joined:text(), "refused  no module was given")
check.has(amp.paralleling({ ocv_v = 25.75 },
  { ocv_v = 25.40, r10s_mohm = 2.0 }):text(), "At most 175 A")

-- a default that the pack names is not named again by its module
local bare = amp.pack{ module = amp.module{ chemistry = "lfp", series = 8,
  capacity_ah = 100 }, series = 2, parallel = 1 }
local idle = bare:autonomy(amp.profile.daily{ load_kwh = 0 }):text()
local _, times = idle:gsub("soc_min_pct", "")
check.equal(times, 1)
check.has(idle, "nothing is asked of the pack")

-- tables of the user's own keep true and false too
local own = amp.table{ columns = { "name", "good" }, rows = {
  { name = "a", good = true }, { name = "b", good = false } } }
check.equal(own[2].good, false)
check.has(own:text(), "yes")
check.equal(own:add("bad", function (r) return not r.good end)[1].bad, false)

-- nothing that a call gives prints an address
local t = amp.compare({ H1 }, need, { draws = 20 })
local swept = amp.sweep{ over = { strings = { 4, 5 } }, draws = 5,
  case = function () return { pack = pack, need = need, cost = 5000 } end }
local listed = amp.offers.text("offer,module,count,price_each,tax\n" ..
  "A,pouch,12,245,included\n", { modules = { pouch = nickel } })
local chart = swept:plot{ x = "strings", y = "years" }
local run = pack:simulate(duty, { inverter = inverter })
local hours = {}
for h = 0, 23 do hours[h + 1] = h * 3600 .. ",500" end
local all = { amp, amp.profile, amp.offers, amp.version, nickel, H1, need,
  inverter, duty, pack, pack:with{ parallel = 4 }, nickel.life_model,
  nickel.capacity_ah, amp.measured(1, 2), amp.claimed(1), amp.assumed(2),
  amp.between(1, 2), amp.tested({ 1, 2 }, { of = 3 }), landed, landed.lines,
  landed[1], H1:chance{ good = 10 }, H1:chance{ duds = 2, tested = 2 },
  H1.nameplate_kwh, fits, fits[1], lived, lived.window, lived.models,
  lived.outside, pack:autonomy(duty, inverter), duty.sun_hours, duty.months,
  duty.year_kwh, amp.rainflow{ -2, 1, -3, 5 }, amp.chemistries(),
  amp.life_models(), amp.levelised{ first = 1, years = 1, kwh = 1 },
  amp.bid_ceiling(H1, need, { target = 200 }), amp.range(1, 4),
  amp.params{ freight = 260 }, listed, listed[1], t, t[1], t:keys(),
  t:heads(), t:notes(), t:notes()[1], t:cell(1, "years"), t:sort("years"),
  t:top(1), t:where{ name = "H1" }, t:columns{ "name" },
  t:add("x", function () return 1 end), t:text(), t:markdown(), t:bbcode(),
  t:csv(), t:json(), t:html(), run, run.months, run:trace{ every = 24 },
  run:plot{ "soc_pct" }, swept, joined, chart, chart:svg(), own,
  amp.cell{ chemistry = "lfp", capacity_ah = 2.5, r0_mohm = 10 },
  amp.chemistry{ name = "mine", ocv_v = { { 0, 3 }, { 100, 4 } } },
  amp.profile.net{ load = duty, pv = duty },
  amp.profile.text("time_s,load_w\n" .. table.concat(hours, "\n")) }
check.ok(#all > 60, "none of them is nil")
for i, answer in ipairs(all) do
  local text = tostring(answer)
  check.ok(not text:find("0x", 1, true), i .. ": " .. text:sub(1, 200))
end

-- lists print what they hold, names in the order of their bytes
check.equal(tostring(amp.range(1, 3)), "{1, 2, 3}")
check.equal(tostring(amp.params{ b = 2, a = 1.5 }), "{a = 1.5, b = 2}")
check.equal(tostring(listed), "1 advert, 0 refused.")
check.equal(tostring(duty.sun_hours), "{4.9, 5.3, 5.6, 5, 3.6, 2.1}")

check.equal(getmetatable(amp.range(1, 3)), "list")

-- six offers are rows, and stay within the page
local six = {}
for i = 1, 6 do
  six[i] = H1:with{ name = "Offer number " .. i .. " of a dealer" }
end
for line in amp.compare(six, need, { draws = 20 }):text():gmatch("[^\n]+") do
  check.ok(#line <= 78, line)
end
check.done()
