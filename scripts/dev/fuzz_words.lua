--- The words that tests/fuzz/fuzz_options.c makes its inputs of, as a C file:
-- every word in backticks of the reference, which the test run holds against
-- the module, and the keys of each call that is written as "pack:check{ a, b }".
-- usage: lua5.4 fuzz_words.lua OUT PAGE..
local out = assert(io.open(arg[1], "wb"))

local function sorted (set)
  local list = {}
  for word in pairs(set) do list[#list + 1] = word end
  table.sort(list)
  return list
end

local words, calls = {}, {}

local function add (call, inside)
  calls[call] = calls[call] or {}
  for word in (inside or ""):gmatch("%f[%w_][%l_][%w_]*") do
    calls[call][word] = true
  end
end

local function take (code)
  for word in code:gmatch("%f[%w_][%a_][%w_]*") do words[word] = true end
  for name, inside in code:gmatch("([%a_]+)%s*(%b())") do
    add(name, inside:match("%b{}"))
  end
  for name, inside in code:gmatch("([%a_]+)%s*(%b{})") do add(name, inside) end
end

for i = 2, #arg do
  local page = assert(io.open(arg[i], "rb"))
  for code in page:read("a"):gmatch("`([^`]+)`") do take(code) end
  page:close()
end

out:write("/* Written by scripts/dev/fuzz_words.lua from docs/reference. */\n",
  "static const char *const known_words[] = {\n")
for _, word in ipairs(sorted(words)) do
  out:write(("    \"%s\",\n"):format(word))
end
out:write("};\n\nstatic const struct {\n  const char *call, *keys[KNOWN_KEYS];\n",
  "} known_calls[] = {\n")
for _, name in ipairs(sorted(calls)) do
  local keys = sorted(calls[name])
  if #keys > 0 then
    out:write(("    {\"%s\", {\"%s\", NULL}},\n"):format(name,
      table.concat(keys, "\", \"", 1, math.min(#keys, 40))))
  end
end
out:write("};\n")
out:close()
