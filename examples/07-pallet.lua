-- A pallet of fourteen modules is here: which may be used, which goes where,
-- what flows when two are joined, what stands out of the build, and what is
-- done at the bench in which order? Readings are invented (data/pallet.csv).
local amp = require "ampstead"

local pouch = amp.module{ name = "7s2p pouch", chemistry = "nmc111",
  series = 7, parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5 }
local lot = amp.readings.csv("data/pallet.csv", { module = pouch,
  columns = { id = "Nr", remark = "seen" } })

-- 1. module by module, and what four tests say of fourteen
print(lot:judge())
print(lot:mean("ah"))

-- 2. ten of those that are accepted; the spare waits for 07
local plan = amp.match(lot:accepted(), { series = 2, parallel = 5 })
print(plan)

-- 3. the one that stands low, joined as it is
print(amp.paralleling(lot:get("05"), lot:get("01"), { lead_mohm = 1.0,
  lead_a = 100 }))

-- 4. the build as a whole
local pack = plan:pack{ name = "barn", cell_v_min = 3.30, cell_v_max = 4.10 }
local build = {
  duty = amp.profile.daily{ load_kwh = 5.5, solar_kwp = 4.2, temp_c = 14,
    performance_pct = 72, sun_hours = { 1.2, 2.0, 3.1, 4.2, 4.9, 5.2, 5.1,
      4.6, 3.6, 2.4, 1.4, 1.0 } },
  inverter = amp.inverter{ v_min = 44, v_max = 58, v_abs_max = 60,
    power_w = 3500, surge_w = 7000, efficiency_pct = 93, idle_w = 28,
    capacitance_uf = 9000 },
  cable = amp.cable{ one_way_m = 2.2, area_mm2 = 35, ampacity_a = 125 },
  fuse = amp.fuse{ rating_a = 125, voltage_v = 80, interrupt_ka = 20 },
  precharge = amp.precharge{ v = 57.4, capacitance_uf = 9000,
    current_a = 2 },
  place = { coldest_c = -4, warmest_c = 32, floor_kpa = 3.0, floor_m2 = 0.9 } }
print(pack:check(build))

-- 5. to take to the bench
local sheet = pack:sheet(build)
print(sheet)
sheet:write("sheet.html")
