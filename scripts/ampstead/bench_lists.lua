--- What every sheet for the bench says alike: work before the first joint and
-- after the last, first power-up, the years, the road. Common practice, no
-- source, unless one is named beside a line.
local lists = {}

lists.before = {
  "Off: rings, watch, chain. On: eye protection, insulated tools. A second " ..
    "person in the room; the way out is free.",
  "Cover every terminal and bar. Uncover one joint at a time: a module " ..
    "cannot be switched off. Main fuse out, switch open." }

lists.places = "Modules to their places, fixed against tipping, still " ..
  "covered."

lists.torque = "Each joint: clean, flat, lug and torque as the terminal's " ..
  "maker says; mark the bolt once it is tight."

-- boards, groups, wires
lists.sense = "%s: sense wires from the lowest - on. Measure %s groups at " ..
  "the plug of %s wires before it goes in."

lists.polarity = "Each string at the bars: same sign as the first, within " ..
  "its voltage on this sheet. String fuses go in last."

lists.last = {
  "Isolation: + to frame, - to frame, then across a resistor " ..
    "(amp.isolation); 100 ohm a volt is asked for.",
  "All loads off: pre-charge until the bus stands within 1 V, then close. " ..
    "It never completes with a load on.",
  "Main fuse goes in last, with the inverter off." }

lists.settings = "A BMS trip is the last resort, not the daily limit."

lists.power_up = {
  "Before: each BMS trip tried, over, under, cold; it opens the contactor.",
  "Charge at a tenth of the fuse; read all groups every 10 minutes. Over 50 " ..
    "mV apart: stop.",
  "Clamp meter on each string: shares beside those expected.",
  "Half load for an hour: warmth and millivolts of each joint; one that " ..
    "stands out is loose.",
  "First full charge, first night: somebody stays. Keep all as first " ..
    "readings." }

lists.years = {
  "Month: spread of groups at rest, full and low; more than at first is a " ..
    "weak group.",
  "Month: share of each string, temperature of the warmest.",
  "Year: capacity by a counted discharge beside the first; joints and " ..
    "torque marks; pre-charge, trips, detector tried.",
  "After a cold spell or a long stand: groups before charging." }

-- UN 3480, special provision 376: read through summaries, ask the carrier
lists.transport = {
  "Lithium modules are dangerous goods (UN 3480, class 9). Ask the carrier " ..
    "what it takes, and the papers.",
  "Damaged, swollen, wet, below 2 V a group: other rules (special provision " ..
    "376), not with the rest.",
  "Terminals covered, each fixed against sliding; 30 % charge is asked for " ..
    "by air.",
  "Two people lift; who drives knows what it is." }

lists.foot = "Not looked at: joints, arcs, how fuses are mounted, the room, " ..
  "what your code asks for. Lines of work are common practice."

return lists
