--- Cautions: the registry, and a script's own.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

-- ---- the registry as a table ----

local all = amp.cautions()
check.ok(#all > 90, "the whole registry")
local joining = amp.cautions{ at = "joining" }
check.ok(#joining > 0 and #joining < #all, "some are raised at joining")
for i = 1, #joining do
  check.has(joining[i].at, "joining", joining[i].id)
end
check.raises(function () amp.cautions{ at = "joinin" } end,
  "did you mean 'joining'?")
check.raises(function () amp.cautions{ where = "offer" } end,
  "unknown key 'where'")
check.raises(function () amp.cautions "offer" end, "table of named keys")

-- ---- a script's own ----

local function nothing () end
local own = amp.caution{ id = "no_fire_detector", test = nothing,
  what = "no detector in the room" }
check.equal(own.id, "no_fire_detector", "keys read back")
check.equal(own.test, nothing, "the test too")
check.equal(own.who, "whoever wrote it", "who decides, unless given")
check.has(tostring(own), "no detector in the room", "it prints what it is")
check.raises(function () own.id = "x" end, "a caution never changes")
check.raises(function () return own.wht end, "did you mean 'what'?")
for _, bad in ipairs{ "", "ab", "Fire", "2_fast", "no fire", "no\0fire",
  ("a"):rep(48) } do
  check.raises(function () amp.caution{ id = bad, test = nothing } end,
    "caution: id must be", "'" .. bad .. "'")
end
check.raises(function () amp.caution{ test = nothing } end,
  "caution: id is wanted")
check.raises(function () amp.caution{ id = "fuse_above_cable",
  test = nothing } end, "is one of the program's own")
check.raises(function () amp.caution{ id = "mine_own" } end,
  "test must be a function")
check.raises(function () amp.caution{ id = "mine_own", test = nothing,
  tests = 1 } end, "did you mean 'test'?")
check.raises(function () amp.caution{ id = "mine_own", test = nothing,
  what = "two\nlines" } end, "what must be one line")

check.done()
