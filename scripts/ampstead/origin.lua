--- Which reading of which lot a module was made from: a pack from a plan
-- knows, one that was typed does not.
local core, loader = ...
local lots = loader("lot")

local origin = {}

local of = setmetatable({}, { __mode = "k" })

--- Remember that 'module' is the one called 'id' in 'lot'.
function origin.put (module, lot, id)
  of[module] = { { lot = lot, row_id = id } }
  return module
end

--- The same of a module that stands for all of these: {lot, row_id} each.
function origin.put_all (module, list)
  of[module] = list
  return module
end

--- The reading that 'module' was made from, as a table of its keys; nil,
-- also where it stands for several.
function origin.reading (module)
  local from = of[module]
  if not from or #from ~= 1 then return nil end
  for _, row in ipairs(core.lot_rows(from[1].lot)) do
    if row.id == from[1].row_id then return row end
  end
end

-- id --> {verdict, soc, flat_v, unread} of every reading, judged once a lot
local function judged (lot, seen)
  if seen[lot] then return seen[lot] end
  local list, whole = {}, core.lot_is_accepted(lot)
  local verdicts, sum = core.lot_judge(lot)
  for i, row in ipairs(core.lot_rows(lot)) do
    list[row.id] = { verdict = whole and "accept" or verdicts[i].verdict,
      soc = verdicts[i].soc,
      flat_v = sum.flat and not verdicts[i].soc and verdicts[i].group or nil,
      unread = lots.is_unread(verdicts[i]) and row.remark or nil }
  end
  seen[lot] = list
  return list
end

local function take (o, one, id)
  o.known = o.known + 1
  if one.verdict == "accept" then
    o.accepted = o.accepted + 1
  elseif not o.worst then
    o.worst, o.verdict = id, one.verdict
  end
  if one.flat_v then
    o.flat_low = math.min(o.flat_low or one.flat_v, one.flat_v)
    o.flat_high = math.max(o.flat_high or one.flat_v, one.flat_v)
  end
  if one.unread then
    o.unread[#o.unread + 1] = { id = id, remark = one.unread }
  end
  if one.soc then
    o.soc_low = math.min(o.soc_low or one.soc, one.soc)
    o.soc_high = math.max(o.soc_high or one.soc, one.soc)
  end
end

--- What is known of these modules, typed ones by their names in 'lot' (or
-- nil): {known, accepted, worst, verdict, soc_low, soc_high}, and V a group of
-- those whose voltage tells no charge: flat_low, flat_high; of which the remark
-- was not read: unread = {{id, remark}, ..}.
function origin.sum (modules, lot)
  local o, seen = { known = 0, accepted = 0, unread = {} }, {}
  for _, module in ipairs(modules) do
    local from = lot and { { lot = lot, row_id = core.keys(module).name } } or
      of[module] or {}
    for _, entry in ipairs(from) do
      local list = judged(entry.lot, seen)
      if list[entry.row_id] then
        take(o, list[entry.row_id], entry.row_id)
      end
    end
  end
  return o
end

return origin
