--- What the places worked by hand (test_hut, test_mast, test_cold_store) share:
-- rest voltages, invented, joined by straight lines; their readings as typed.
local amp = require "ampstead"

local invented = {}

invented.curve = amp.chemistry{ name = "nickel-rich", interp = "linear",
  ocv_v = { { 0, 3.00 }, { 5, 3.30 }, { 10, 3.42 }, { 20, 3.52 },
    { 30, 3.58 }, { 40, 3.62 }, { 50, 3.67 }, { 60, 3.75 }, { 70, 3.84 },
    { 80, 3.93 }, { 90, 4.05 }, { 100, 4.18 } } }

invented.pallet = [[
id;ocv_v;group_min_v;group_max_v;r10s_mohm;ah_c3_25c;remark
1;25.76;3.679;3.682;1.9;;
2;25.75;3.677;3.681;1.9;;
3;25.76;3.679;3.681;1.8;96.1;
4;25.74;3.674;3.680;2.1;;
5;25.75;3.677;3.680;1.9;;white crust at one lower corner
6;25.71;3.662;3.679;2.6;;
7;25.76;3.679;3.682;1.8;;
8;25.73;3.672;3.679;2.2;91.4;
9;25.40;3.619;3.634;2.0;;
10;25.75;3.677;3.680;1.9;;
11;24.38;2.310;3.681;2.0;;
12;25.76;3.678;3.682;1.9;;
]]

invented.mast = [[
module,OCV (V),R mOhm
A,25.62,14
B,25.60,14
C,25.64,13
D,25.58,15
E,25.61,14
F,24.86,14
G,25.63,
H,25.59,14
]]

--- Does the users' page 'name' below AMPSTEAD_SHARED hold 'text' as it is?
-- true, false, or nil where the page isn't at hand.
function invented.stands_in (name, text)
  local shared = os.getenv("AMPSTEAD_SHARED")
  local page = shared and io.open(shared .. "/" .. name, "rb")
  if not page then return nil end
  local all = page:read("a")
  page:close()
  return all:find(text, 1, true) ~= nil
end

return invented
