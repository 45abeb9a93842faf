--- Joining two modules: the first current, and what may move.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

-- 0.35 V over (2.0 + 1.9 + 1.0) mohm = 71.4 A, worked by hand
local r = amp.paralleling({ ocv_v = 25.75, r10s_mohm = 1.9 },
  { ocv_v = 25.40, r10s_mohm = 2.0 }, { lead_mohm = 1.0 })
check.close(r.current_a, 71.4, 0.05, "first current")
check.equal(r.bound, false, "both resistances are measured")

-- a missing resistance gives a bound
local bound = amp.paralleling({ ocv_v = 25.75 }, { ocv_v = 25.40, r10s_mohm = 2.0 })
check.equal(bound.bound, true, "a bound where one is missing")
check.close(bound.current_a, 175, 1e-9, "the bound")

-- two of 93.75 Ah on an invented curve: 51.07 % and 41.71 % by its straight
-- pieces, (51.07 - 41.71) % of 93.75 Ah / 2 = 4.4 Ah, worked by hand
local nickel = amp.chemistry{ name = "invented", interp = "linear",
  ocv_v = { {0, 3.00}, {5, 3.30}, {10, 3.42}, {20, 3.52}, {30, 3.58},
    {40, 3.62}, {50, 3.67}, {60, 3.75}, {70, 3.84}, {80, 3.93}, {90, 4.05},
    {100, 4.18} }, v_min = 3.0, v_max = 4.18 }
local module = amp.module{ name = "7s2p", chemistry = nickel, series = 7,
  parallel = 2, capacity_ah = amp.claimed(112), tested_ah = amp.measured(93.75) }
local moved = amp.paralleling({ ocv_v = 25.75, r10s_mohm = 1.9 },
  { ocv_v = 25.40, r10s_mohm = 2.0 }, { lead_mohm = 1.0, module = module })
check.close(moved.ah, 4.4, 0.05, "charge that moves")
check.close(moved.soc_high_pct, 51.07, 0.01, "state of charge of the fuller")
check.close(moved.soc_low_pct, 41.71, 0.01, "and of the emptier")

check.done()
