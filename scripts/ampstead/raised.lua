--- Which cautions apply to offers, modules, a duty, an inverter and a row of
-- answers: what stands under tables of costs, lives and runs.
local core, loader = ...
local wording = loader("wording")
local notes = loader("notes")

local raised = {}

-- "ours, no source" where the registry says so
local unlike_label = 0.05   -- nominal V over the chemistry's
local aged = 95             -- % SoH below which cells are no new ones
local daily_cycles = 330    -- full cycles a year
local old_days = 180        -- between two dates of prices
local few_months = 3        -- for which one figure of the sun is plain
local full_duty_w, peaks_w = 60, 500 -- W that never rest
local wide = 0.10           -- band of a mean over that mean
local uneven = 0.10         -- of a string's share over an even one
local hot_c = 100           -- as the sentences of a run have it

local function number_of (given)
  if core.kind(given) == "value" then return core.value(given).value end
  return type(given) == "number" and given or nil
end

-- all numbers of a number, a value or a list
local function numbers (given)
  local one = number_of(given)
  if one then return { one } end
  local list = {}
  if type(given) == "table" then
    for i = 1, #given do list[#list + 1] = number_of(given[i]) end
  end
  return list
end

-- the prices of {{from, to, price}, ..}
local function tariff_prices (given)
  local list = {}
  for i = 1, type(given) == "table" and #given or 0 do
    list[i] = number_of(given[i][3])
  end
  return list
end

-- ---- numbers in another unit, fractions for percent ----

local ranges = core.plausible_keys()

local function look_units (c, object, who)
  local kind, keys = core.kind(object), core.keys(object)
  for _, range in ipairs(ranges) do
    local of = range.key == "import_at" and tariff_prices or numbers
    for _, v in ipairs(range.kind == kind and of(keys[range.key]) or {}) do
      local p = core.plausible(kind, range.key, v)
      if p then
        c:add(p.id, who, string.format("%s = %s: %s", range.key,
          wording.trim(v), p.words))
      end
    end
  end
end

-- shares of which one percent or less is a slip; 1 % of the last is plain
local shares = { "soh_pct", "dud_pct", "premium_pct", "customs_pct",
  "tax_pct", "soc_min_pct", "soc_max_pct", "soh_end_pct", "efficiency_pct",
  "performance_pct", "round_trip_pct", "discount_pct" }

--- Of an object's keys, or a call's.
function raised.fractions (c, keys, who)
  for _, key in ipairs(shares) do
    local v = number_of(keys[key])
    if v and v > 0 and (v < 1 or v == 1 and key ~= "discount_pct") then
      c:add("fraction_for_percent", who, string.format("%s = %s counts as " ..
        "%s %%", key, wording.trim(v), wording.trim(v)))
    end
  end
end

local function look_fractions (c, object, who)
  raised.fractions(c, core.keys(object), who)
end

-- ---- a module ----

local volts = {} -- nominal, of the built-in chemistries
for _, entry in ipairs(core.chemistries()) do
  volts[entry.name] = entry.nominal_v
end

--- Cautions of a module; cases that share one look at it once.
function raised.module (c, module, who)
  if not c:first(module, who) then return end
  local keys = core.keys(module)
  look_units(c, module, who)
  if core.kind(keys.cell) == "cell" then look_units(c, keys.cell, who) end
  look_fractions(c, module, who)
  local each = volts[keys.chemistry]
  local v = number_of(keys.nominal_v)
  if each and v and keys.series and
     math.abs(v / (each * keys.series) - 1) > unlike_label then
    c:add("label_disagrees", who, string.format("%s V on the label, %d " ..
      "groups of %s have %s", wording.trim(v), keys.series, keys.chemistry,
      wording.short(each * keys.series)))
  end
end

--- Cautions of a pack's modules and limits.
function raised.pack (c, pack, who)
  local keys = core.keys(pack)
  look_fractions(c, pack, who)
  local list = notes.modules(keys)
  if #list == 0 then list = { keys.module } end
  for _, module in ipairs(list) do raised.module(c, module, who) end
end

-- ---- a duty and an inverter ----

-- the one number of a load that never changes; nil where it does
local function level_load (given)
  local list = numbers(given)
  for i = 2, #list do
    if list[i] ~= list[1] then return nil end
  end
  return list[1]
end

local function look_load (c, keys, inverter)
  local w = level_load(keys.load_w)
  if w and w >= peaks_w then
    c:add("load_like_sum_of_peaks", "", string.format("%s W at all hours, " ..
      "%s kWh a day: a mean, or all peaks added up?", wording.trim(w),
      wording.short(w * 0.024)))
  elseif w and w >= full_duty_w then
    c:add("load_at_full_duty", "", string.format("%s W at all hours, %s kWh " ..
      "a day: what runs part of the time asks less", wording.trim(w),
      wording.short(w * 0.024)))
  end
  local most, power = 0, inverter and core.keys(inverter).power_w
  for _, v in ipairs(numbers(keys.load_w)) do most = math.max(most, v) end
  if power and most > power then
    c:add("load_above_inverter", "", string.format("%s W asked, %s W given",
      wording.trim(most), wording.trim(power)))
  end
end

local function look_sun (c, keys, grid)
  local peak, sun = number_of(keys.solar_kwp), numbers(keys.sun_hours)
  local months = type(keys.months) == "table" and #keys.months or 12
  local all_same = #sun > 0
  for i = 2, #sun do all_same = all_same and sun[i] == sun[1] end
  if peak and peak > 0 and all_same and months > few_months and not grid then
    c:add("sun_same_all_year", "", string.format("%s h in each of %d " ..
      "months: the worst month has less than the mean",
      wording.trim(sun[1]), months))
  end
end

local function temperature_assumed (duty)
  for _, said in ipairs(core.defaults(duty) or {}) do
    if said:find("^temp_c: ") then return true end
  end
  return false
end

--- Cautions of an inverter; 'who' may be "".
function raised.inverter (c, inverter, who)
  look_units(c, inverter, who)
  look_fractions(c, inverter, who)
  if (core.keys(inverter).idle_w or 0) <= 0 then
    c:add("idle_draw_left_out", who)
  end
end

--- Cautions of a duty and what stands before it; 'grid': another source may
-- fill it up in winter.
function raised.duty (c, duty, inverter, grid)
  if core.kind(duty) ~= "profile" or
     not c:first(duty, inverter or "") then return end
  local keys = core.keys(duty)
  if keys.steps or keys.log then return end -- a test on the bench
  look_units(c, duty, "")
  look_fractions(c, duty, "")
  look_load(c, keys, inverter)
  look_sun(c, keys, grid)
  if temperature_assumed(duty) then c:add("temperature_not_given", "") end
  if inverter then raised.inverter(c, inverter, "") end
end

--- Frost in a duty, where nothing locks charging out.
function raised.frost (c, duty)
  local keys, least = core.keys(duty), nil
  for _, v in ipairs(numbers(keys.temp_c)) do
    least = math.min(least or v, v)
  end
  for _, v in ipairs(numbers(keys.temp_f)) do
    least = math.min(least or v, (v - 32) / 1.8)
  end
  if least and least < 0 then
    c:add("charge_below_freezing", "", string.format("the duty has %s C, " ..
      "and charging is not locked out in these sums: pack:simulate with " ..
      "current_limits counts it", wording.trim(least)))
  end
end

--- Cautions of a need.
function raised.need (c, need)
  local keys = core.keys(need)
  look_units(c, need, "")
  look_fractions(c, need, "")
  raised.duty(c, keys.duty, keys.inverter, keys.import_price ~= nil or
    keys.import_at ~= nil)
end

-- ---- offers ----

local function tested_value (given)
  local v = core.kind(given) == "value" and core.value(given)
  return v and (v.n ~= nil or v.basis == "measured") and v or nil
end

-- what is known of an offer's modules: "tested", "told" or nothing
local function knowledge (keys, module)
  for _, of in ipairs{ keys, module } do
    if tested_value(of.tested_ah) or tested_value(of.soh_pct) then
      return "tested"
    elseif of.tested_ah ~= nil or of.soh_pct ~= nil then
      return "told"
    end
  end
end

local function is_new (keys, module)
  local soh = number_of(keys.soh_pct) or number_of(module.soh_pct)
  return soh ~= nil and soh >= 100
end

local function look_tests (c, keys, module, who)
  local v = core.kind(keys.tested_ah) == "value" and core.value(keys.tested_ah)
  if v and v.n and v.of and v.n < v.of and
     (v.n == 1 or v.half_width > wide * v.value) then
    c:tell("few_tests") -- in the line of its tests
  end
  if v and v.by and v.by:lower():find("seller", 1, true) then
    c:add("samples_picked_by_seller", who, string.format("%d of %d, chosen " ..
      "by the seller: the best, perhaps", v.n, v.of))
  end
  if tested_value(module.tested_ah) and not keys.tested_ah and
     (keys.soh_pct or keys.price_per_kwh) then
    c:add("nameplate_for_tested", who, keys.soh_pct and "its SoH of the " ..
      "label counts, though the module was tested" or "price_per_kwh counts " ..
      "the kWh of the label, though the module was tested")
  end
end

local function look_duds (c, keys, module, who)
  local dud = number_of(keys.dud_pct) or 0
  local fixed = core.kind(keys.dud_pct) ~= "value" or
    core.value(keys.dud_pct).spread == "fixed"
  if dud == 0 and fixed and knowledge(keys, module) ~= "tested" and
     not is_new(keys, module) then
    c:add("duds_zero_untested", who, "no dud is counted, and nobody tested " ..
      "the lot")
  end
  if dud > 0 and keys.costs == nil then
    c:add("tests_and_disposal_left_out", who)
  end
end

local function look_left_out (c, keys, who)
  if keys.freight == nil and keys.collection == nil then
    c:add("freight_left_out", who)
  end
  if keys.dated == nil then c:add("price_without_date", who) end
end

-- owners of each word, in their order: "H1 excluded, H2 H3 included"
local function shares_of (words, names)
  local order, of = {}, {}
  for i = 1, #names do
    local word = words[i]
    if word and not of[word] then order[#order + 1], of[word] = word, {} end
    if word then table.insert(of[word], names[i]) end
  end
  local parts = {}
  for k, word in ipairs(order) do
    parts[k] = (#of[word] > 3 and #of[word] .. " of them" or
      table.concat(of[word], table.concat(of[word]):find(" ") and ", " or
        " ")) .. " " .. word
  end
  return #order, table.concat(parts, ", ")
end

-- days since a fixed day, of a date "2026-11-20" in a text; nil
local function day_of (text)
  local y, m, d = tostring(text or ""):match("(%d%d%d%d)%-(%d%d)%-(%d%d)")
  y, m, d = tonumber(y), tonumber(m), tonumber(d)
  if not (y and m >= 1 and m <= 12 and d >= 1 and d <= 31) then return nil end
  if m <= 2 then y, m = y - 1, m + 12 end -- the year begins in March
  return 365 * y + y // 4 - y // 100 + y // 400 + (153 * m - 457) // 5 + d
end

local function look_dates (c, all, names, rates)
  local newest, when = day_of(rates and rates.dated), rates and rates.dated
  for _, keys in ipairs(all) do
    local day = day_of(keys.dated)
    if day and (not newest or day > newest) then
      newest, when = day, keys.dated
    end
  end
  for i, keys in ipairs(all) do
    local day = day_of(keys.dated)
    if day and newest - day > old_days then
      c:add("price_old", names[i], string.format("of %s, %d days before %s",
        keys.dated, newest - day, when))
    end
  end
end

local function look_side_by_side (c, all, modules, names)
  local tax, known, bare, boxed = {}, {}, {}, false
  for i, keys in ipairs(all) do
    tax[i] = keys.tax
    known[i] = knowledge(keys, modules[i]) and "tested or told" or
      "by its label"
    if keys.bos == nil then bare[#bare + 1] = names[i] else boxed = true end
  end
  local n, words = shares_of(tax, names)
  if n > 1 then
    c:add("tax_status_mixed", "", words .. ": costs hold the tax; who gets " ..
      "it back compares without")
  end
  n, words = shares_of(known, names)
  if n > 1 then c:add("nameplate_beside_tested", "", words) end
  for _, name in ipairs(bare) do
    if boxed then
      c:add("used_bare_against_new_boxed", name, "no bos is counted, the " ..
        "others have it")
    else
      c:add("bos_left_out", name)
    end
  end
end

-- a remark enters no sum: what it says of damage stands beside the sums
local function look_damage (c, keys, who)
  local word = keys.remark and core.damage_word(keys.remark)
  if word then
    c:add("remark_of_damage", who, 'the remark says "' .. word ..
      '": ask what was damaged. No sum counts it')
  end
end

--- Cautions of offers side by side, called by 'names'; 'rates' as the need
-- has them. Each offer's module is looked at too.
function raised.offers (c, offers, names, rates)
  local all, modules = {}, {}
  for i, offer in ipairs(offers) do
    local keys = core.keys(offer)
    all[i], modules[i] = keys, core.keys(keys.module)
    raised.module(c, keys.module, names[i])
    look_fractions(c, offer, names[i])
    look_tests(c, keys, modules[i], names[i])
    look_duds(c, keys, modules[i], names[i])
    look_damage(c, keys, names[i])
  end
  look_side_by_side(c, all, modules, names)
  look_dates(c, all, names, rates)
  for i, keys in ipairs(all) do look_left_out(c, keys, names[i]) end
end

-- ---- a row of answers ----

local function has_cycle_table (given)
  if core.kind(given) == "life_model" then
    return core.keys(given).cycles_at_dod ~= nil
  elseif type(given) == "table" then
    for i = 1, #given do
      if has_cycle_table(given[i]) then return true end
    end
  end
  return false
end

--- Cautions of years and cycles: 'row' as the C half gives it, 'models' the
-- life models that went in.
function raised.years (c, row, models, who)
  local efc, soh = row.efc, row.soh_start_pct or row.soh_start
  if row.refused then return end
  if efc and not wording.missing(efc.p50) and efc.p50 > daily_cycles then
    c:add("full_cycle_every_day", who, string.format("%s full cycles a year: " ..
      "does the load ask that each day?", wording.fixed(efc.p50, 0)))
  end
  if has_cycle_table(models) and soh and not wording.missing(soh.p50) and
     soh.p50 < aged then
    c:add("cycle_life_of_new_cells", who, string.format("cycles_at_dod is of " ..
      "new cells, these begin at %s %% SoH", wording.fixed(soh.p50, 0)))
  end
  local out = row.outside
  if out and (out.temp or out.rate or out.depth) then
    c:tell("years_beyond_data") -- in the line of what lies outside
  end
  if row.years_why and row.years_why:find("neither a tested", 1, true) then
    c:tell("years_without_soh")
  end
end

--- Cautions of a run, told in the sentences above its table.
function raised.run (c, raw)
  local list, most = raw.strings or {}, 0
  for _, s in ipairs(list) do
    most = math.max(most, s.share_max_pct or 0)
  end
  if #list > 1 and most > 100 / #list * (1 + uneven) then
    c:tell("string_share_uneven")
  end
  if (raw.cold_charge_h or 0) > 0 then c:tell("charge_below_freezing") end
  if raw.temp_max_c > hot_c then c:tell("cells_too_hot") end
end

--- The supply of the worst month is short: the head says so.
function raised.deficit (c, heads)
  if #heads > 0 then c:tell("deficit_no_battery_cures") end
end

return raised
