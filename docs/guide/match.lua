-- Twelve tested modules, two in series and five side by side: which goes
-- where, and what is lost when one fails? Readings are invented.
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112) }

local lot = amp.readings.text([[
id;ocv_v;group_min_v;group_max_v;r10s_mohm;ah
A;25.76;3.679;3.682;1.9;95.2
B;25.75;3.677;3.681;1.9;94.1
C;25.76;3.679;3.681;1.8;96.1
D;25.74;3.674;3.680;2.1;92.3
E;25.75;3.677;3.680;1.9;94.8
F;25.74;3.675;3.679;2.0;93.0
G;25.76;3.679;3.682;1.8;96.4
H;25.73;3.672;3.679;2.2;91.4
I;25.75;3.676;3.680;2.0;93.6
J;25.75;3.677;3.680;1.9;94.5
K;25.74;3.675;3.680;2.1;90.2
L;25.76;3.678;3.682;1.9;95.0
]], { module = pouch })

-- 1. both orders side by side
local plan = amp.match(lot, { series = 2, parallel = 5 })
print(plan)
print()

-- 2. any one module fails
print(plan:failures():columns{ "id", "string_first_lost_kwh",
  "string_first_surge_pct", "string_first_with_spare_kwh",
  "parallel_first_lost_kwh", "parallel_first_with_spare_kwh" })
print()

-- 3. two more were in use already: mixed in, or a string of their own?
local owned = amp.readings.text([[
id;ocv_v;group_min_v;group_max_v;r10s_mohm;ah
old 1;25.74;3.675;3.679;2.3;86.0
old 2;25.74;3.676;3.680;2.4;84.5
]], { module = pouch })
local joined = amp.match(lot, { series = 2, parallel = 6, owned = owned })
print(("mixed %.1f Ah, apart %.1f Ah"):format(joined.string_first.ah,
  joined.apart_ah))
