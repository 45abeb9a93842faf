-- One cell, discharged at 35 A with a meter read every ten minutes: does a
-- cell from its label and one measured resistance follow it? Readings are
-- invented.
local amp = require "ampstead"

-- 1. the readings, as they were typed: minutes, decimal commas, one missed
local log = amp.log.text([[
min;A;V;C
0;0,0;3,338;21
0,2;35,1;3,296;21
10;35,0;3,268;21
20;34,9;3,259;22
30;35,0;3,251;22
40;35,0;;22
50;35,1;3,234;23
60;35,0;3,229;23
70;35,0;3,225;23
80;34,9;3,219;24
90;35,0;3,210;24
100;35,0;3,199;24
110;35,0;3,185;24
120;35,1;3,170;25
130;35,0;3,150;25
140;35,0;3,121;25
150;35,0;3,075;26
160;35,0;2,981;26
166;35,0;2,800;27
170;0,0;3,010;27
]], { decimal = ",", name = "cell 7", columns = { time_min = "min",
  current_a = "A", voltage_v = "V", temp_c = "C" } })
print(log)
print()

-- 2. the cell: its label, and a fall of 42 mV 10 s after 35 A began
local cell = amp.cell{ name = "cell 7", chemistry = "lfp", capacity_ah = 105,
  r10s_mohm = 1.2 }
print(cell)
print()

-- 3. side by side, at the capacity that came out: 96.8 Ah, and a rest
local run = cell:with{ capacity_ah = 99 }:simulate(log:profile(),
  { soc_start_pct = 100 })
print(run:against(log, "voltage_v", { soc_above_pct = 10, soc_below_pct = 99 }))
print()
print(run:plot{ "voltage_v", against = log })
