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
  "alternative_raw", "tariff", "charge_price", "savings_raw", "pay_back",
  "annuity", "compound",
  "lot_accept", "lot_is_accepted", "lot_rows", "lot_mean", "lot_judge",
  "judging_rules", "bench_hours", "match_raw", "module_facts",
  "discharge", "post", "post_text", "posted", "words", "modules" } do
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
local plain, answers = loader("plain"), loader("answers")
local amp, known = {}, {}

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
local lots = loader("lot")
loader("worth") -- lot:worth_testing, lot:tests_wanted
loader("chances") -- offer:accepted, offer:tests_wanted
amp.match = loader("plan").match
amp.readings = { csv = reader(lots.csv), text = lots.text,
  capacity = lots.capacity }
local listings = loader("listings")
amp.offers = { csv = reader(listings.csv), text = listings.text }
amp.log = { csv = reader(core.log_csv), text = core.log_text }
for _, name in ipairs{ "rainflow", "chemistries",
  "life_models" } do
  amp[name] = answers[name]
end
amp.range, amp.params = plain.lists(core.range), plain.lists(core.params)
plain.list(amp.profile)
plain.list(amp.offers)
plain.list(amp.log)
local joining = loader("joining")
amp.paralleling, amp.joining_order = joining.paralleling, joining.order
amp.layouts = loader("layouts").layouts
loader("copper") -- pack:short_circuit, and how conductors print
plain.list(amp.readings)
amp.fit = loader("cell").fit
loader("agreement") -- cell:simulate, log:profile
local cautions = loader("cautions")
amp.caution, amp.cautions = cautions.caution, cautions.cautions
amp.table = loader("table").new
amp.bid_ceiling = loader("offers").bid_ceiling
amp.compare = loader("compare").compare
amp.savings = loader("alternatives").savings
amp.sweep = loader("sweep").sweep
loader("run") -- pack:simulate
loader("check") -- pack:check
loader("pack") -- pack:without, :balance, :warm
loader("bench_sheet") -- pack:sheet
loader("air") -- how amp.still_air{} prints
loader("post") -- t:post

for key in pairs(amp) do known[#known + 1] = key end
table.sort(known)

return setmetatable(amp, {
  __tostring = function () return "ampstead " .. core.version end,
  __index = function (_, key)
    local near = type(key) == "string" and wording.nearest(key, known)
    core.fail("script", "amp has no '" .. tostring(key) .. "'" ..
      (near and " (did you mean '" .. near .. "'?)" or ""))
  end })
