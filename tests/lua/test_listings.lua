--- Adverts as people write them: fourteen worked one by one, and two hundred
-- made here from a seed, of which every row must be accounted for. Invented.
local here = arg[0]:match("^(.*)/tests/lua/") or "."
package.path = here .. "/tests/lua/?.lua;" .. package.path
local check = require "check"
local amp = require "ampstead"

local modules = {
  ["7s2p"] = amp.module{ name = "7s2p", chemistry = "nmc111", series = 7,
    parallel = 2, capacity_ah = amp.claimed(112), mass_kg = 17.5 },
  ["4s1p"] = amp.module{ name = "4s1p", chemistry = "nmc111", series = 4,
    parallel = 1, capacity_ah = amp.claimed(94), mass_kg = 12 },
  ["8s1p"] = amp.module{ name = "8s1p", chemistry = "lfp", series = 8,
    parallel = 1, capacity_ah = amp.claimed(105), mass_kg = 21.5 } }
local opts = { modules = modules, currency = "EUR",
  rates = { GBP = 1.17, dated = "2026-07-01" } }
local need = amp.need{ currency = "EUR", horizon_years = 12,
  inverter = amp.inverter{ v_min = 42, v_max = 58, v_abs_max = 60,
    power_w = 3000, efficiency_pct = 92, idle_w = 32 },
  duty = amp.profile.daily{ from_battery_kwh = 5, temp_c = 15 } }

local head = "listing,module,count,price,price is,currency,freight,tax," ..
  "claimed,tested ah,duds,seen,remark\n"

-- ---- the kinds of row, one by one ----

local fourteen = head .. [[
A,7s2p,12,2950,lot,EUR,260,excluded 20 %,112 Ah,,10 %,2026-06-28,"auction, premium 15 %"
B,8s1p,8,318,each,EUR,0,included,92 % SoH,,,2026-06-30,30 days return
C,4s1p,16,1480,lot,GBP,,excluded 20 %,94 Ah,,untested,2026-06-12,collect
D,7s2p,10,72,per kWh,EUR,310,included,,,,2026-05-02,kWh of what?
E,7s2p,12,245,each,EUR,260,included,112 Ah,"97.2; 95.0; 88.1",,2026-06-25,
F,7s2p,12,245,each,EUR,260,included,112 Ah,"97.2; 95.0; 88.1",,2026-06-26,again
G,8s1p,8,2100,each,EUR,120,included,105 Ah,,,2026-06-29,price of the lot?
H,8s1p,6,290,each,USD,180,included,95 % SoH,,,2026-06-20,
I,7s2p,,1900,lot,EUR,150,included,112 Ah,,,2026-06-18,about ten modules
J,4s1p,14,85,each,EUR,190,included,"94 Ah, 14.6 V, 2.2 kWh each",,,2026-06-15,
K,7s2p,9,199,each,EUR,240,,0.86,,,2026-04-01,
L,5s2p,10,150,each,EUR,200,included,88 Ah,,,2026-06-30,
M,8s1p,8,"2.480,00",lot,EUR,0,included,105 Ah,101.5,,2026-07-01,best one tested
N,7s2p,12,-245,each,EUR,260,included,112 Ah,,,2026-06-25,
]]
local offers = amp.offers.text(fourteen, opts)
check.equal(#offers, 14, "every row stays")
local function refused (i, words)
  check.has(offers[i].refused, words, offers[i].name)
  check.has(tostring(offers[i]), "refused, line " .. i + 1)
end
refused(6, "the same advert as E (line 6): every cell alike but what the " ..
  "remark says of it")
refused(7, 'the remark says "price of the lot?": is it the price of the lot, ' ..
  "262.50 each?")
refused(9, "how many modules exactly?")
refused(10, "2.2 kWh each, but Ah times V make 1.37") -- 94 x 14.6 / 1000
refused(11, 'claimed "0.86": a fraction, 86 %?')
refused(12, "module '5s2p' is not among opts.modules")
refused(14, "price must be above 0 (got -245)")

-- (2950 + 260) x 1.20 = 3852: no premium, it stands in the remark
check.close(offers[1]:landed().total, 3852, 1e-9)
check.equal(offers[1].premium_pct, nil)
check.equal(offers[1].dud_pct.basis, "claimed")
check.equal(offers[2].soh_pct.value, 92)
check.equal(offers[2].soh_pct.basis, "claimed")
-- 1480 x 1.20 x 1.17
check.close(offers[3]:landed{ currency = "EUR" }.total, 2077.92, 1e-9)
-- 72 x 10 x 25.55 V x 112 Ah + 310
check.close(offers[4]:landed().total, 72 * 28.616 + 310, 1e-9)
-- three tests of twelve: mean 93.43, by the seller
check.close(offers[5].tested_ah.value, (97.2 + 95.0 + 88.1) / 3, 1e-9)
check.equal(offers[5].tested_ah.basis, "claimed")
check.equal(offers[13].price_lot, 2480)

local t = amp.compare(offers, need, { draws = 200 })
check.equal(#t, 14, "and in the table")
local want = { "A", "B", "C", "D", "E", "M" }
local ranked = t:sort("per_usable")
for _, name in ipairs(want) do
  local seen = false
  for i = 1, #want do seen = seen or ranked[i].name == name end
  check.ok(seen, name .. " has a rank")
end
for i = #want + 1, 14 do
  check.equal(ranked[i].per_usable, nil)
  check.ok(#ranked[i].refused > 10, "and a reason")
  check.equal(ranked:cell(i, "total").why, ranked[i].refused)
end
check.has(t:text(), "no rate from USD to EUR")
check.has(t:text(), ">3852.00", "a lower bound where a premium is left out")
check.has(t:text(), ">2077.92", "and where freight is")
check.has(t:text(), "1 GBP = 1.17 EUR, dated 2026-07-01.")
check.has(t:text(), "at least  A C: freight was not told")
local csv = t:csv()
for _, name in ipairs{ "A", "F", "G", "H", "N" } do
  check.has(csv, "\n" .. name .. ",", "each listing is in the file")
end
check.has(csv, "price must be above 0 (got -245)", "with its reason")
-- one refused row alone, and offers of the script's own beside it
local mixed = amp.compare({ offers[14], offers[2] }, need, { draws = 20 })
check.has(mixed[1].refused, "above 0")
check.ok(mixed[2].total)

check.equal(offers:get("M"), offers[13])
check.has(offers:get("N").refused, "above 0")
check.raises(function () offers:get("Z") end, "no advert is called 'Z'")

-- ---- questions: the most decisive first ----

local q = offers:questions()
local asked = {}
for i = 1, #q do
  asked[q[i].who] = asked[q[i].who] or {}
  table.insert(asked[q[i].who], q[i].id)
end
local first = { A = "premium_in_remark", C = "freight_left_out",
  D = "price_per_kwh_of_what", F = "listing_twice",
  G = "price_lot_and_each_disagree", H = "currency_without_rate",
  I = "count_not_given", J = "capacity_and_energy_disagree",
  K = "fraction_for_percent", L = "module_not_known",
  N = "no_such_number" }
for name, id in pairs(first) do
  check.equal(asked[name][1], id, name .. " is asked that first")
end
local function is_asked (name, id)
  for _, x in ipairs(asked[name]) do
    if x == id then return true end
  end
end
check.ok(is_asked("K", "tax_not_known") and is_asked("K", "advert_old"))
check.ok(is_asked("M", "samples_picked_by_seller"))
check.ok(is_asked("E", "few_tests"))
check.ok(is_asked("C", "duds_zero_untested"))
check.ok(not is_asked("B", "advert_old"))
local said = q:text()
check.has(said, "14 adverts: 6 have a sum, 8 none yet.")
check.has(said, "A  A premium of 15 % on top?")
check.has(said, "K  Claimed \"0.86\": a fraction, 86 %? Tax: is it included")
for line in said:gmatch("[^\n]+") do check.ok(#line <= 78, line) end
local known = {}
for _, c in ipairs{ amp.cautions{ at = "offer" } } do
  for i = 1, #c do known[c[i].id] = true end
end
for i = 1, #q do check.ok(known[q[i].id], q[i].id .. " is in the registry") end

-- as_of: what is old follows the day
local later = amp.offers.text(fourteen, { modules = modules, currency = "EUR",
  rates = opts.rates, as_of = "2026-08-15" }):questions()
local old = 0
for i = 1, #later do old = old + (later[i].id == "advert_old" and 1 or 0) end
check.equal(old, 14, "all of them, on that day")
check.has(later:text(), "before 2026-08-15")

-- ---- one advert seen twice, or two lots: every cell decides ----

local function pair (above, below, more)
  return amp.offers.text("name,seller,module,count,price,tax,freight,claimed," ..
    "seen,remark,link\n" .. above .. "\n" .. below .. "\n", { modules = modules,
    ignore = more or { "link" } })
end
local plain = "a,yard,7s2p,12,140 each,included,0,80 % of new,2026-06-01,"
local same = pair(plain .. ",x", plain:gsub("^a", "b"):gsub("yard", "Yard") ..
  " ,x")
check.has(same[2].refused, "the same advert as a (line 2): every cell alike")
check.has(tostring(same), "b: refused, line 3: the same advert as a (line 2)")
local two = { { "seller", plain:gsub("yard", "barn") .. ",x" },
  { "count", (plain:gsub(",12,", ",13,")) .. ",x" },
  { "claimed", plain:gsub("of new", "of label") .. ",x" },
  { "seen", plain:gsub("06%-01", "06-02") .. ",x" },
  { "remark", plain .. "die anderen zw\u{f6}lf,x" },
  { "link", plain .. ",y" } }
for _, case in ipairs(two) do
  local l = pair(plain .. ",x", (case[2]:gsub("^a", "b")))
  check.ok(not l[2].refused, case[1] .. " tells them apart")
  local questions, found = l:questions(), nil
  for i = 1, #questions do
    if questions[i].id == "listing_alike" then found = questions[i] end
  end
  if case[1] == "count" then
    check.equal(found, nil, "other numbers are another lot")
  else
    check.equal(found.who, "b")
    check.has(found.ask, "like a (line 2) but for " .. case[1] ..
      ": one advert seen twice, or two lots? Counted as two")
    check.has(tostring(l), "asked, line 3: like a (line 2)")
  end
end

-- ---- no line passes 78 columns, however long names and remarks are ----

local function fits (text, what)
  for line in tostring(text):gmatch("[^\n]+") do
    check.ok((utf8.len(line) or #line) <= 78, what .. ": " .. line)
  end
end
for _, letters in ipairs{ 20, 40, 150 } do
  local word = ("H\u{fc}tte"):rep(letters // 5)
  local function named (name, cells) return name .. word .. "," .. cells end
  local wide = "name,seller,module,count,price,tax,freight,remark\n" ..
    named("a", word .. ",7s2p,12,140 each,included,0," .. word) .. "\n" ..
    named("b", word .. ",7s2p,12,140 each,included,0,") .. "\n" ..
    named("c", word .. ",7s2p,x" .. word .. ",140 each,none,0,") .. "\n" ..
    named("d", "yard," .. word .. ",12,140 each,included,0,swollen " .. word)
  local list = amp.offers.text(wide .. "\ne,barn,7s2p,2,99 each,none,9,\n",
    { modules = modules, currency = "EUR" })
  fits(list, "the list")
  fits(list:questions(), "the questions")
  for i = 1, #list do
    if list[i].refused then fits(list[i], "an entry") end
  end
  if letters < 60 then -- longer ones are refused as names
    fits(list[1]:landed(), "landed")
    fits(amp.compare(list, need, { draws = 5 }), "compared")
  end
  local _, none = pcall(amp.offers.text, wide:gsub("12", "-1"),
    { modules = modules })
  fits(tostring(none):match("\n(.*)"), "no row")
end

-- ---- words that a hurried reader takes for numbers ----

local worded = amp.offers.text("listing,module,count,price,tax,freight," ..
  "claimed,tested ah,duds\n" .. [[
ok,7s2p,12,140 each,included,0,80 % of new,,none
kwh,7s2p,12,95 per kWh,20 % on top,0,,,no idea
not,7s2p,12,2200 lot,not included,0,,,
sold,7s2p,12,2200 lot,none,0,80 % tested,,
of,7s2p,12,2200 lot,none,0,,2 of 12: 96.1; 91.4,
]], { modules = modules, currency = "EUR" })
check.equal(worded[1].price_each, 140)
check.equal(worded[1].soh_pct.value, 80)
check.equal(worded[1].dud_pct.value, 0)
check.equal(worded[2].price_per_kwh, 95)
check.equal(worded[2].tax_pct, 20)
check.equal(worded[2].dud_pct, nil, "no idea is not none")
check.equal(worded[3].price_lot, 2200)
check.equal(worded[3].tax, nil, "not included is not included")
check.has(worded[4].refused, "80 % of what: SoH, or of the modules?")
check.has(worded[5].refused, "which are the tests? Only numbers in Ah")

-- adverts as a board has them: what is not sure is asked, never dropped
local board = amp.offers.text("name;module;count;price;freight;tax;duds\n" .. [[
about;7s2p;12;ca. 140 EUR VB each;on request;included;2
free;7s2p;12x;€140/each;free;none;2 %
range;7s2p;12;140–160 each;;none;none
dollar;7s2p;12;$140 each;0;none;none
many;7s2p;12;12 x 140;0;none;none
]], { modules = modules, currency = "EUR" })
check.equal(board[1].price_each, 140)
check.equal(board[1].freight, nil)
check.equal(board[2].freight, 0)
check.equal(board[2].count, 12)
check.has(board[3].refused, 'price "140–160 each" is a range: which of it?')
check.has(board[4].refused, "a dollar sign: of which country?")
check.has(board[5].refused, 'price "12 x 140" is more than one number: which?')
local wants, got = board:questions(), {}
for i = 1, #wants do
  if wants[i].who == "about" then got[wants[i].id] = wants[i].ask end
end
check.has(got.number_only_about, 'price "ca. 140 EUR VB each": what exactly?')
check.has(got.price_negotiable, "negotiable, for how much?")
check.has(got.freight_left_out, 'freight "on request": what does freight cost')
check.has(got.duds_of_what, 'duds "2": percent, or modules? Counted as 2 %')
-- a module's name is found whatever its case and blanks, if it is one alone
local spelled = amp.offers.text("name;module;count;price;tax\n" .. [[
a; 7S2P;12;140 each;none
b;7s2p ;12;141 each;none
c;4s1P;12;99 each;none
]], { modules = { ["7s2p"] = modules["7s2p"], ["4S1p"] = modules["4s1p"],
  ["4s1p "] = modules["4s1p"] } })
check.equal(spelled[1].module, modules["7s2p"])
check.equal(spelled[2].module, modules["7s2p"])
check.has(spelled[3].refused, "module '4s1P' is not among opts.modules")
check.has(spelled:questions():text(), "3 adverts: 2 have a sum, 1 none yet.")
-- a sign and a currency beside it: the same dollar, or two currencies
local signs = amp.offers.text("name;module;count;price;currency;tax\n" .. [[
a;7s2p;12;$140 each;USD;none
b;7s2p;12;$140 each;EUR;none
c;7s2p;12;140 GBP each;EUR;none
d;7s2p;12;140 EUR each;eur;none
e;7s2p;12;140 each;€;none
f;7s2p;12;140 each;$;none
]], { modules = modules, currency = "EUR", rates = { USD = 0.9 } })
check.equal(signs[4].currency, "EUR")
check.equal(signs[5].currency, "EUR")
check.has(signs[6].refused, "a dollar sign: of which country?")
check.equal(signs[1].currency, "USD")
check.has(signs[2].refused, "two currencies in one row")
check.has(signs[3].refused, "two currencies in one row")
check.equal(signs[4].price_each, 140)
check.equal(amp.offers.text("name,module,count,price,tax\na,7s2p,2,$9 each," ..
  "none\n", { modules = modules, currency = "CAD" })[1].currency, "CAD")

-- the currency beside one sum is not that of a price without one
local function lent (cells, currency)
  local row = amp.offers.text("name;module;count;price;freight;tax;soh\na;" ..
    "7s2p;12;" .. cells .. "\n", { modules = modules, currency = currency or "EUR",
    rates = { GBP = 1.17 }, ask = true })[1]
  return row.refused or row.currency
end
check.has(lent("140 each;90 GBP;none;"), 'freight "90 GBP" names a currency, ' ..
  "the price none: which is the price in?")
check.has(lent("140 each;£90;none;"), "which is the price in?")
check.equal(lent("140 each;90 EUR;none;"), "EUR")
check.equal(lent("140 each;90 GBP;none;", "GBP"), "GBP")
check.equal(lent("140 GBP each;90 GBP;none;"), "GBP")
check.equal(lent("140 GBP each;90;none;"), "GBP")
check.has(lent("140 EUR each;90 GBP;none;"), "two currencies in one row")
-- a SoH of 0.9 is taken as it stands, warned of, and asked
local soh = amp.offers.text("name;module;count;price;freight;tax;soh\na;" ..
  "7s2p;12;140 each;90;none;0.9\n", { modules = modules, currency = "EUR" })
check.equal(soh[1].soh_pct, 0.9)
check.has(tostring(soh:questions()), 'SoH "0.9": a fraction, 90 %?')
check.equal(lent("140 each;90;none;90 %"), "EUR")

-- a sum that leaves freight out is no plain winner; damage stands beside it
local ageing = need:with{ life_model = "nmc_voltage_depth" }
local lives = { modules = { ["7s2p"] = modules["7s2p"]:with{
  soh_end_pct = 70 } }, currency = "EUR" }
local function wrapped (made) return (tostring(made):gsub("\n *", " ")) end
local half = wrapped(amp.compare(amp.offers.text(
  "name,module,count,price,tax,claimed,freight,remark\n" .. [[
Jo,7s2p,12,140 each,included,90 %,,one side swollen
Al,7s2p,12,480 each,included,90 %,100,no leak
]], lives), ageing, { draws = 50 }))
check.has(half, "Jo is cheapest over its life in 100 % of the draws before " ..
  "what was not told (freight).")
check.has(half, 'remark_of_damage  Jo: the remark says "swollen"')
check.ok(not half:find("Al: the remark", 1, true))
local dear = wrapped(amp.compare(amp.offers.text(
  "name,module,count,price,tax,claimed,freight\n" .. [[
Jo,7s2p,12,140 each,included,90 %,40
Al,7s2p,12,480 each,included,90 %,
]], lives), ageing, { draws = 50 }))
check.has(dear, "Jo is cheapest over its life in 100 % of the draws.")

-- ---- sellers, own words for the columns, decimal commas ----

local mine = amp.offers.text("Anzeige;Anbieter;Typ;Stueck;Preis;je;Steuer\n" ..
  "1;yard;7s2p;12;1.245,50;lot;included\n2;shed;8s1p;8;300,5;each;none\n" ..
  "3;yard;7s2p;4;99,5 EUR;each;excl. 19 %\n",
  { modules = modules, decimal = ",", columns = { name = "Anzeige",
    seller = "Anbieter", module = "Typ", count = "Stueck", price = "Preis",
    price_is = "je", tax = "Steuer" } })
check.equal(mine[1].price_lot, 1245.5)
check.equal(mine[2].price_each, 300.5)
check.equal(mine[3].tax_pct, 19)
check.equal(mine[3].currency, "EUR")
local by_seller = tostring(mine:questions())
check.has(by_seller, "3 adverts of 2 sellers")
local yard, shed = by_seller:find("To yard:", 1, true),
  by_seller:find("To shed:", 1, true)
local third = by_seller:find("\n3 ", 1, true)
check.ok(yard and shed and third and yard < third and third < shed,
  "adverts of one seller stand together")

check.equal(#amp.offers.text("advert,link,phone,module,count,price lot,tax\n" ..
  "a,x,y,7s2p,4,300,none\n", { modules = modules,
  ignore = { "link", "phone" } }), 1, "columns that say nothing")
check.raises(function () amp.offers.text("advert,link\na,x\n",
  { ignore = "link" }) end, "ignore must be a list")

-- ---- damage to the file raises; no usable row is bad data ----

check.raises(function () amp.offers.text(head .. "A,7s2p,12\n", opts) end,
  "3 of 13 fields")
check.raises(function () amp.offers.text(head:gsub("remark", "colour") ..
  fourteen:match("\n([^\n]+)"), opts) end, "'colour', is not known")
check.raises(function () amp.offers.text(head ..
  "A,7s2p,12,-2,lot,EUR,0,none,,,,,\n", opts) end,
  "text:2:11: ", "the place")
-- three reasons, in lines that a terminal holds
local ok, why = pcall(amp.offers.text, head .. ("A,7s2p,12,-2,lot,EUR,0," ..
  "none,0.86,2 of 3: 96,,,\n"):rep(5), opts)
why = tostring(why)
check.ok(not ok)
check.has(why, "no usable row of 5: mend the columns or the prices")
check.has(why, "\n  text:2:11: price must be above 0 (got -2)")
check.has(why, "\n  and 2 more rows")
check.ok(not why:find("text:5", 1, true), "of three rows only")
for line in why:gmatch("\n([^\n]+)") do check.ok(#line <= 78, line) end
-- what else is to ask stands there too; with ask = true the questions can be
-- had, and a comparison of such a list is bad data all the same
local blind = "name,module,count,price,tax\na,7s2p,,140 each,\n" ..
  "b,7s2p,12,140,none\n"
local _, asks = pcall(amp.offers.text, blind, opts)
check.has(asks, "text:2:8: how many modules exactly?")
check.has(tostring(asks):gsub("\n *", " "), "ask too: Tax: is it included, " ..
  "excluded, or none due? What does freight cost")
check.has(asks, "read it with ask = true, then offers:questions()")
local told = { modules = modules, ask = true }
local to_ask = amp.offers.text(blind, told)
check.equal(#to_ask, 2)
check.has(to_ask:questions():text(), "2 adverts: 0 have a sum, 2 none yet.")
check.has(to_ask:questions():text(), "b  140 for what: each, the lot, or a kWh?")
check.raises(function () amp.compare(to_ask, need) end, "no usable row of 2")
check.equal(#amp.offers.text(fourteen, { modules = modules, ask = true,
  currency = "EUR" }), 14, "and changes nothing else")
check.raises(function () amp.offers.text(blind, { ask = 1 }) end,
  "ask must be true or false")
-- the other mark than the one told is named
check.raises(function () amp.offers.text("name;module;count;price;claimed\n" ..
  "A;7s2p;12;200;0.9\n", { modules = modules, decimal = "," }) end,
  "claimed \"0.9\": its decimal mark is '.', but decimal = ',' was told")

check.raises(function () amp.offers.text(fourteen, { module = 1 }) end,
  "unknown key 'module'")
check.raises(function () amp.offers.text(fourteen, { modules = modules,
  as_of = "soon" }) end, "as_of must be a day")

-- ---- two hundred of our own invention ----

local state = 20260701
local function draw (n) -- Park and Miller's generator, 1988; 1 .. n
  state = state * 48271 % 2147483647
  return state % n + 1
end
local function pick (...) return select(draw(select("#", ...)), ...) end

local names = { "7s2p", "4s1p", "8s1p" }
local lines, broken = { head }, 0
for i = 1, 200 do
  local m = names[draw(3)]
  local kwh = modules[m].nameplate_kwh
  local count, per = draw(14) + 1, 60 + draw(120)
  local each = per * kwh // 1
  local row = { name = ("X%03d"):format(i), module = m, count = count,
    price = each, is = "each", currency = pick("EUR", "EUR", "GBP"),
    freight = 50 * draw(8), tax = pick("included", "excluded 20 %", "none"),
    claimed = pick("", "88 % SoH"), tests = "", duds = pick("", "5 %"),
    seen = ("2026-06-%02d"):format(draw(30)), remark = "" }
  local kind = draw(24)
  if kind == 1 then row.count = ""
  elseif kind == 2 then row.price = -each
  elseif kind == 3 then row.is = pick("", "?")
  elseif kind == 4 then row.module = "9s9p"
  elseif kind == 5 then row.tax = pick("", "?", "margin scheme")
  elseif kind == 6 then row.currency = "USD"
  elseif kind == 7 then row.claimed = "0.86"
  elseif kind == 8 then row.claimed = "999 Ah"
  elseif kind == 9 then row.price = ('"2,%03d"'):format(draw(999))
  elseif kind == 10 then row.tax = "excluded"
  elseif kind == 11 then row.claimed = '"1 kWh each, 300 Ah"'
  elseif kind == 12 then row.duds = "0.1"
  elseif kind == 13 then row.price, row.is = each * count, "lot"
  elseif kind == 14 then row.price, row.is = per, "per kWh"
  elseif kind == 15 then row.remark = '"auction, premium 12 %"'
  elseif kind == 16 then row.tests = modules[m].capacity_ah.value * 0.8
  elseif kind == 17 then row.freight = ""
  elseif kind == 18 then row.seen = "2026-01-05" end
  if kind <= 12 then broken = broken + 1 end
  lines[#lines + 1] = table.concat({ row.name, row.module, row.count,
    row.price, row.is, row.currency, row.freight, row.tax, row.claimed,
    row.tests, row.duds, row.seen, row.remark }, ",") .. "\n"
end
local text = table.concat(lines)
local many = amp.offers.text(text, opts)
check.equal(#many, 200)
local all = amp.compare(many, need, { draws = 50 })
check.equal(#all, 200, "a row for each advert")
local sums, reasons = 0, 0
for i = 1, 200 do
  check.equal(all[i].name, ("X%03d"):format(i), "in their order")
  if all[i].total then sums = sums + 1 end
  if all[i].refused then reasons = reasons + 1 end
  check.ok((all[i].total == nil) == (all[i].refused ~= nil),
    all[i].name .. ": a sum or a reason, never both")
end
check.equal(sums + reasons, 200)
check.ok(reasons >= broken, "what was broken has no sum")
check.ok(reasons > 70 and sums > 70, "both kinds are many")
local questions, per_row = many:questions(), {}
for i = 1, #questions do per_row[questions[i].who] = true end
for i = 1, 200 do
  local name = ("X%03d"):format(i)
  check.ok(per_row[name] or all[i].total, name .. " is asked, or has a sum")
  if all[i].refused and not all[i].refused:find("string") and
     not all[i].refused:find("module") then
    check.ok(per_row[name], name .. " is asked why")
  end
end
-- the order is that of the costs, and the refused stand last
local order = all:sort("per_usable")
for i = 2, 200 do
  local a, b = order[i - 1].per_usable, order[i].per_usable
  check.ok(b == nil or a ~= nil and a <= b, "sorted")
end
local _, rows = all:csv():gsub("\r\n", "")
check.equal(rows, 201, "each one in the file")
-- the same text again gives the same bytes
check.equal(amp.compare(amp.offers.text(text, opts), need,
  { draws = 50 }):csv(), all:csv())
check.done()
