--- The sentences above and below a table, from rows made by hand.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"

-- the Lua half alone, on a C half made by hand
local core = {
  version = "0.0",
  kind = function (x) return type(x) == "table" and x.kind or nil end,
  keys = function (x) return x.keys end,
  value = function (x) return x.v end,
  defaults = function (x) return x.defaults or {} end,
  params_used = function ()
    return { { name = "freight", value = 520, default = 260, given = true } }
  end,
  annuity = function (rate, years)
    return rate == 0 and years or (1 - (1 + rate) ^ -years) / rate
  end,
  script = function () return "print(1)", "/somewhere/hut.lua" end,
  sha256 = function () return "0123456789abcdef" end,
  fixed = function (v, decimals) return string.format("%." .. decimals ..
    "f", v) end,
  trim = function (v) return string.format("%.4g", v) end,
  short = function (v)
    local digits = 2 - math.floor(math.log(math.abs(v), 10) + 1e-12)
    return string.format("%." .. math.max(0, digits) .. "f", v)
  end,
}
local loaded = {}
local function loader (name)
  if not loaded[name] then
    local path = here .. "/scripts/ampstead/" .. name .. ".lua"
    loaded[name] = assert(loadfile(path))(core, loader)
  end
  return loaded[name]
end
local verdict, notes = loader("verdict"), loader("notes")
local wording = loader("wording")

-- a least value is never rounded down
check.equal(wording.least(192.1), "193")
check.equal(wording.least(160), "160")
check.equal(wording.least(99.96), "100.0")
check.equal(wording.least(1.231), "1.24")

local function stat (v) return { p50 = v } end
local function row (share, t)
  t = t or {}
  t.cheapest_pct, t.levelised = share, stat(1)
  return t
end
local names = { "H1", "H2", "H3" }

-- the hut (test_hut.lua): October needs 4.18 kWh, the sun gives 3.53
local short = verdict.worst_month{ month = 10, supply_kwh = 3.528,
  need_kwh = 4.181, load_kwh = 3.14 }
check.equal(short[1], "October: sun 3.53 kWh a day, load 4.18: short by " ..
  "0.65 before battery losses.")
check.equal(short[2], "A larger battery only bridges it longer.")
check.equal(#verdict.worst_month{ month = 10, supply_kwh = 5, need_kwh = 4 },
  0, "a month with enough sun is not spoken of")

check.equal(verdict.winner({ n = 3, row(0), row(50), row(50) }, names),
  "H2 or H3: no clear winner (50 : 50).")
check.equal(verdict.winner({ n = 3, row(0), row(20), row(80) }, names),
  "H3 is cheapest over its life in 80 % of the draws.")
check.equal(verdict.winner({ n = 3, row(0), row(20), row(80) }, names,
  { {}, {}, { "freight" } }), "H3 is cheapest over its life in 80 % of the " ..
  "draws before what was not told (freight).")
check.equal(verdict.winner({ n = 3, row(0), row(20), row(80) }, names,
  { {}, { "freight" }, {} }), "H3 is cheapest over its life in 80 % of the " ..
  "draws.", "what a dearer one leaves out makes it dearer still")
check.equal(verdict.winner({ n = 2, row(40), row(60) }, names,
  { { "freight" }, { "a premium", "freight" } }), "H2 or H1: no clear " ..
  "winner (60 : 40) before what was not told (a premium, freight).")
check.equal(verdict.winner({ n = 2, row(21), row(79) }, names),
  "H2 or H1: no clear winner (79 : 21).")
check.has(verdict.winner({ n = 1, { refused = "no" } }, names),
  "No cost over life")
check.equal(verdict.winner({ n = 1, row(100) }, names), nil,
  "one offer alone is not a winner")

-- the hut: H2 wins per usable kWh, H3 levelised
check.equal(verdict.kinds({ n = 2,
    { per_usable = stat(226.8), levelised = stat(0.855) },
    { per_usable = stat(276.2), levelised = stat(0.637) } }, { "H2", "H3" }),
  "Cheapest by the median: H2 per usable; H3 levelised.")
check.equal(verdict.kinds({ n = 2,
    { per_usable = stat(1), levelised = stat(1) },
    { per_usable = stat(2), levelised = stat(2) } }, names), nil,
  "one order is not spoken of")

-- 10.9 years count as 10 and lose to 10.1 years at a slightly lower cost
local floored = verdict.flooring({ n = 2,
  { levelised = stat(1.00), years = stat(10.1) },
  { levelised = stat(1.01), years = stat(10.9) } }, names, { 0, 0 })
check.equal(floored,
  "Whole years decide the order of the levelised cost: H1 1.000, H2 1.010; " ..
  "with part years H2 0.927, H1 0.990.")
check.equal(verdict.horizon({ n = 2,
  { levelised = stat(0.64), levelised_life = 0.60, horizon_years = 15 },
  { levelised = stat(0.65), levelised_life = 0.45, horizon_years = 15 } },
  names), "The horizon of 15 years decides the order of the levelised cost: " ..
  "H1 0.640, H2 0.650; over the whole life H2 0.450, H1 0.600.")
check.equal(verdict.horizon({ n = 2,
  { levelised = stat(0.64), levelised_life = 0.40, horizon_years = 15 },
  { levelised = stat(0.65), levelised_life = 0.45, horizon_years = 15 } },
  names), nil)
check.equal(verdict.flooring({ n = 2,
  { levelised = stat(1.0), years = stat(10.9) },
  { levelised = stat(1.2), years = stat(10.1) } }, names, { 0, 0 }), nil)

-- the hut's two tests: 93.75 Ah, half width 27.3 Ah
local n = notes.new()
local offer = { kind = "offer", keys = {
  tested_ah = { kind = "value", v = { value = 93.75, n = 2, of = 12, sd = 3.3,
    half_width = 27.3, basis = "measured" } },
  dud_pct = { kind = "value", v = { value = 10, basis = "claimed" } } } }
notes.tests(n, offer, "H1")
notes.look(n, offer, "H1", {})
notes.look(n, { kind = "life_model", keys = { calendar_pct_per_year =
  { kind = "value", v = { value = 1.6, lo = 1.0, hi = 2.2, spread = "even",
    basis = "assumed" } } } }, "H1", {})
notes.look(n, { kind = "profile", keys = { load_kwh = 3.14,
  sun_hours = { 4.9, 2.1 } } }, "", {})
local lines = notes.lines(n)
check.equal(lines[1][2],
  "2 of 12 tested: mean 93.8 Ah, 95 % between 66 and 121 Ah. Test more.")
check.equal(lines[2][1] .. " " .. lines[2][2], "claimed H1 duds 10 %.")
check.equal(lines[3][2],
  "H1 fade 1 to 2.2 %/year; load 3.14 kWh a day, sun 2.1 to 4.9 h.")
check.equal(lines[4][2], "duds, load and sun; prices.")

check.equal(notes.rerun{ seed = 1, draws = 2000 }, "rerun: ampstead 0.0, " ..
  "hut.lua (sha256 01234567..), freight=520, seed 1, draws 2000")

check.equal(wording.short(93.75), "93.8")
check.equal(wording.short(4485), "4485")
check.equal(wording.short(0.6543), "0.654")
check.equal(wording.nearest("serie", { "parallel", "series" }), "series")
check.equal(table.concat(wording.short_names{ "H1 used nickel",
  "H2 used iron" }, " "), "H1 H2")
check.equal(wording.short_names{ "used nickel", "used iron" }[1],
  "used nickel", "first words that are the same tell nothing apart")
check.done()
