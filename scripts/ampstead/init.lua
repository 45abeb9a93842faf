--- The public table of the module: the C half's objects, and tables of
-- results laid out in Lua.
local core, loader = ...

-- what the C half keeps for this half
local inside = { compare_raw = true, sweep_raw = true, table_new = true,
  simulate_raw = true, trace_raw = true,
  kind = true, keys = true, name = true, defaults = true, value = true,
  methods = true, fail = true, warn = true, progress = true, read = true,
  write = true, script = true, params_used = true, settings = true,
  daily = true, net = true, series = true, steps = true, describe = true,
  plain = true, profile_csv = true, profile_text = true,
  profile_steps = true,
  offers_raw = true, sha256 = true, nearest = true,
  log = true, log_csv = true, log_text = true, log_facts = true,
  print_by = true, fit = true, cell_facts = true, drawn = true,
  replay = true, replay_facts = true, replay_rows = true,
  replay_against = true, trace_handle = true, bid_raw = true }

for _, name in ipairs{ "readings_csv", "readings_text", "lot_with",
  "worth_raw", "tests_for", "accepted_raw", "missed_raw", "tests_to_see",
  "tariff", "charge_price", "savings_raw", "annuity",
  "lot_accept", "lot_is_accepted", "lot_rows", "lot_mean", "lot_judge",
  "judging_rules", "bench_hours", "match_raw", "module_facts",
  "discharge", "post", "post_text", "posted", "words", "modules", "fixed",
  "short", "trim" } do
  inside[name] = true
end
for _, name in ipairs{ "cable_raw", "busbar_raw", "link_raw", "cascade_raw",
  "short_raw", "circuit_raw", "check_raw", "layout_loads", "layout_nominal",
  "bench_raw" } do
  inside[name] = true
end

for _, name in ipairs{ "caution_places", "caution_is", "caution_free",
  "plausible", "plausible_keys", "damage_word" } do
  inside[name] = true
end

local wording, notes = loader("wording"), loader("notes")
local plain = loader("plain")
local amp, known = {}, {}

-- ---- parts that are read when first asked for ----

-- Reading all of this half takes ten times as long as starting an
-- interpreter, and a script wants a few parts of it. Until one is asked for,
-- stand-ins have the places that it fills.
local stand_ins = {} -- part --> {{of, key, before}, ..}

-- A part may build on what it replaces, so the stand-ins go first; where it
-- cannot be read (no memory) they come back.
local function part (name)
  local list, here = stand_ins[name] or {}, {}
  for i, one in ipairs(list) do
    here[i], one.of[one.key] = one.of[one.key], one.before
  end
  stand_ins[name] = nil
  local ok, got = pcall(loader, name)
  if ok then return got end
  for i, one in ipairs(list) do one.of[one.key] = here[i] end
  stand_ins[name] = list
  error(got, 0)
end

-- amp.NAME of a part
local function call (name, key)
  return function (...) return part(name)[key](...) end
end

-- methods that a part gives the objects of a class
local function methods (name, class, keys)
  local of = type(class) == "string" and core.methods(class) or class
  local list = stand_ins[name] or {}
  stand_ins[name] = list
  for _, key in ipairs(keys) do
    list[#list + 1] = { of = of, key = key, before = of[key] }
    of[key] = function (...)
      part(name)
      return of[key](...)
    end
  end
end

-- classes that a part prints
local function prints (name, classes)
  for _, class in ipairs(classes) do
    core.print_by(class, function (object)
      part(name)
      return tostring(object)
    end)
  end
end

methods("lot", "lot", { "judge", "accepted", "mean", "bench_time", "rows",
  "with" })
methods("worth", "lot", { "worth_testing", "tests_wanted" })
methods("chances", "offer", { "accepted", "tests_wanted" })
methods("offers", "offer", { "landed" })
methods("answers", "pack", { "life", "autonomy" })
methods("pack", "pack", { "without", "balance", "warm" })
methods("run", "pack", { "simulate" })
methods("check", "pack", { "check" })
methods("bench_sheet", "pack", { "sheet" })
methods("copper", "pack", { "short_circuit" })
methods("copper", "fuse_link", { "cascade" })
methods("copper", "module", { "cascade" })
methods("air", "still_air", { "table" })
methods("cell", "cell", { "parameters", "residuals" })
methods("agreement", "cell", { "simulate" })
methods("agreement", "log", { "profile" })
methods("log", "log", { "plot" })
methods("post", core, { "post" })
local conductors = { "cable", "busbar", "fuse_link", "circuit", "precharge",
  "isolation", "balancing" }
for _, class in ipairs(conductors) do methods("copper", class, { "table" }) end
prints("copper", conductors)
prints("lot", { "lot" })
prints("air", { "still_air" })
prints("cell", { "cell", "fit" })
prints("log", { "log" })

-- ---- the public table ----

for key, value in pairs(core) do
  if not inside[key] then amp[key] = value end
end
-- the file's checksum goes under every table that comes later
local function reader (read)
  return read and function (path, opts)
    local got = read(path, opts)
    notes.file(path)
    return got
  end
end

amp.profile = { daily = core.daily, net = core.net,
  csv = reader(core.profile_csv), text = core.profile_text,
  steps = core.profile_steps }
amp.readings = { csv = reader(core.readings_csv), text = core.readings_text,
  capacity = call("lot", "capacity") }
amp.offers = { csv = reader(call("listings", "csv")),
  text = call("listings", "text") }
amp.log = { csv = reader(core.log_csv), text = core.log_text }
for _, list in ipairs{ amp.profile, amp.readings, amp.offers, amp.log } do
  plain.list(list)
end
for _, name in ipairs{ "rainflow", "chemistries", "life_models" } do
  amp[name] = call("answers", name)
end
amp.range, amp.params = plain.lists(core.range), plain.lists(core.params)
amp.match = call("plan", "match")
amp.paralleling = call("joining", "paralleling")
amp.joining_order = call("joining", "order")
amp.layouts = call("layouts", "layouts")
amp.fit = call("cell", "fit")
amp.caution, amp.cautions = call("cautions", "caution"),
  call("cautions", "cautions")
amp.table = call("table", "new")
amp.bid_ceiling = call("offers", "bid_ceiling")
amp.compare = call("compare", "compare")
amp.savings = call("alternatives", "savings")
amp.sweep = call("sweep", "sweep")

for key in pairs(amp) do known[#known + 1] = key end
table.sort(known)

return setmetatable(amp, {
  __tostring = function () return "ampstead " .. core.version end,
  __index = function (_, key)
    core.fail("script", wording.has_no("amp", key, known))
  end })
