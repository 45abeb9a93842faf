--- Measured series: the house's year and its week of minutes, the modelled
-- sun; what is dropped is said. The shipped files always; the longer ones
-- where AMPSTEAD_SHARED names the folder that holds them.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

-- a path that leads there from this file's folder, where reading starts
local function at (path)
  return path:sub(1, 1) == "/" and path or "../../" .. path
end

local function says (object, words)
  check.has(tostring(object), words)
end

-- the shipped year: 8,784 rows of a leap year become 8,760 hours
local house = amp.profile.csv(at "examples/data/household-2008-hourly.csv",
  { columns = { load_w = "load_W" }, leap = true, temp_c = 15 })
says(house, "29 February dropped")
-- sums of the file's rows: 9414.886 kWh in 2008, 22.223 on 29 February
check.close(house.year_kwh, 9414.886 - 22.223, 0.001)
-- not told of the leap year, the last day goes instead, and that is said
says(amp.profile.csv(at "examples/data/household-2008-hourly.csv",
  { columns = { load_w = "load_W" } }), "only the first 365 days kept")

local sun = amp.profile.csv(at "examples/data/solar-typical-hourly.csv",
  { columns = { pv_w = "pv_ac_W_per_kWp" } })
check.close(sun.supply_kwh, 1505.92, 0.01, "sum of the file's rows")
check.ok(not tostring(sun):find("dropped"), "nothing dropped of 8,760 h")
local both = amp.profile.net{ load = house, pv = sun, solar_kwp = 9 }
check.close(both.year_kwh, house.year_kwh, 1e-6)
check.close(both.supply_kwh, 9 * sun.supply_kwh, 1e-6)

-- a part day at an end, in minutes: two days and a half keep two
local rows = { "time_s,load_w" }
for minute = 0, 2 * 1440 + 719 do
  rows[#rows + 1] = minute * 60 .. "," .. 300
end
local short = amp.profile.text(table.concat(rows, "\n"))
says(short, "720 rows of a part day at the end dropped")
check.close(short.year_kwh, 365 * 24 * 0.3, 1e-9, "two days repeat")

-- one day is the same duty as a year of that day: 4.8 kWh of load a day, 2 of
-- sun; what the pack began with is gone
local function of_days (n)
  local list = { "time_s,load_w,pv_w" }
  for h = 0, 24 * n - 1 do
    list[#list + 1] = h * 3600 .. ",200," .. (h % 24 == 12 and 2000 or 0)
  end
  return amp.profile.text(table.concat(list, "\n"))
end
local cells = amp.module{ chemistry = "nmc111", series = 14, capacity_ah = 200,
  soh_pct = 80, soh_end_pct = 60, life_model = "nmc_voltage_depth" }
local pack = amp.pack{ module = cells, series = 1, parallel = 1 }
local yearly, day = pack:life(of_days(365)), pack:life(of_days(1))
check.close(of_days(1).year_kwh, of_days(365).year_kwh, 1e-6)
check.close(day.served_kwh, yearly.served_kwh, 1e-3, "a day, a year of it")
check.close(day.unserved_kwh, yearly.unserved_kwh, 1e-3)
check.close(day.efc, yearly.efc, 1e-3)

local shared = os.getenv("AMPSTEAD_SHARED")
local folder = shared and shared .. "/data/load/"
local function is_there (name)
  local file = folder and io.open(folder .. name)
  if file then file:close() end
  return file ~= nil
end

local year, week, weather = "household_a_2008_hourly.csv",
  "household_a_2008_week01_1min.csv", "weather_tmy_45N_8E_hourly.csv"
if is_there(year) and is_there(week) and is_there(weather) then
  local columns = { load_w = "load_W" }
  local full = amp.profile.csv(folder .. year,
    { columns = columns, leap = true })
  check.close(full.year_kwh, house.year_kwh, 1e-9, "the shipped cut")
  says(full, "29 February dropped")
  -- 9,720 minutes: six whole days, and 1,080 minutes that are dropped
  local days = amp.profile.csv(folder .. week, { columns = columns })
  says(days, "1080 rows of a part day at the end dropped")
  -- the same six days, hour by hour: the two sources agree within 1 W
  local hours, n = { "time_s,load_w" }, 0
  for line in io.lines(folder .. year) do
    local time, watts = line:match("^(%d+),[^,]*,([%d.]+)")
    if time and n < 144 then
      n, hours[#hours + 1] = n + 1, time .. "," .. watts
    end
  end
  local same = amp.profile.text(table.concat(hours, "\n"))
  check.close(days.year_kwh, same.year_kwh, 8760 * 0.001)
  -- the temperature of a third
  local air = amp.profile.csv(folder .. weather, { columns = {
    pv_w = "ghi_W_m2", temp_c = "temperature_degC" } })
  check.close(amp.profile.net{ load = full, pv = sun, temp = air,
    solar_kwp = 2 }.supply_kwh, 2 * sun.supply_kwh, 1e-6)
  check.raises(function ()
    amp.profile.net{ load = days, pv = sun }
  end, "days")
else
  print("skipped: the week of minutes and the weather year " ..
    "(AMPSTEAD_SHARED names no folder with them)")
end
check.done()
