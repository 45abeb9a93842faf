-- Does the model of a cell agree with its own test log?
-- Pulses at three temperatures and a slow discharge make the model; a drive
-- at 10 C, which it has not seen, judges it. Measured by others on one new
-- 2.9 Ah cell: data/SOURCES.md says by whom.
-- Your own logs: name their columns below, and say where they are with
--   ampstead --data FOLDER 05-own-test.lua
local amp = require "ampstead"
local names = { time_s = "time_s", current_a = "current_A",   -- > 0 discharges
                voltage_v = "voltage_V", temp_c = "temperature_degC" }

local function log (name)
  return amp.log.csv("data/nca-18650/" .. name .. ".csv", { columns = names })
end

local cell = amp.fit{ chemistry = "nca", capacity_ah = 2.9,
  pulses = { log "pulse_25degC", log "pulse_10degC", log "pulse_00degC" },
  slow = log "c20_discharge_charge_25degC" }
print(cell)                   -- parameters, their confidence, residuals

local drive = log "drive_us06_10degC"
for _, level in ipairs{ "simple", cell.level } do
  local run = cell:with{ level = level }:simulate(drive:profile())
  print(run:against(drive, "voltage_v", { soc_above_pct = 20 }))
  run:plot{ "voltage_v", against = drive }:write("us06-" .. level .. ".svg")
end
