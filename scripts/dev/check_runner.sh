#!/usr/bin/env bash
# check_runner.sh -- exit statuses, limits and file rules of the program.
# usage: check_runner.sh PATH-OF-ampstead
set -u
amp=$(realpath "$1")
runner_tests=$(realpath "$(dirname "$0")/../../tests/runner")
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
mkdir "$tmp/work"
cd "$tmp/work" || exit 70
passed=0
failed=0

verdict () { # HELD WHAT DETAIL
  if [ "$1" = 0 ]; then
    passed=$((passed + 1))
  else
    failed=$((failed + 1))
    echo "FAIL $2: $3"
    sed 's/^/     /' "$tmp/err"
  fi
}

# exits STATUS WHAT ARGUMENTS...
exits () {
  local want=$1 what=$2 got=0
  shift 2
  timeout -s KILL 20 "$amp" "$@" >"$tmp/out" 2>"$tmp/err" </dev/null || got=$?
  [ "$got" = "$want" ]
  verdict $? "$what" "status $got, wanted $want"
}

says () { # WHAT TEXT: on stderr of the last run
  grep -qF -- "$2" "$tmp/err"
  verdict $? "$1" "stderr does not say: $2"
}

prints () { # WHAT TEXT: the whole of stdout of the last run
  [ "$(cat "$tmp/out")" = "$2" ]
  verdict $? "$1" "stdout is: $(head -c 300 "$tmp/out")"
}

holds () { # WHAT COMMAND...
  local what=$1
  shift
  "$@"
  verdict $? "$what" "$*"
}

script () { cat >"$1"; }

# ---- statuses ----
exits 0 "an empty script" -e ''
exits 1 "an error" -e 'error("no")'
says "an error keeps its words" "no"
exits 1 "an error that is a table" -e 'error({})'
exits 1 "a syntax error" -e 'x x'
exits 64 "an unknown option" --nonsense
exits 64 "an option without its value" --time
exits 64 "a time that is no number" --time x -e ''
exits 64 "a time that is not a number" --time nan -e ''
exits 64 "a seed with a fraction" --seed 1.5 -e ''
exits 64 "an option of a later version" --shard 1/2 -e ''
exits 66 "a script that is missing" nowhere.lua
exits 66 "a data folder that is missing" --data nowhere -e ''
exits 0 "help" --help
exits 0 "version" --version
holds "version is one line" test "$(wc -l <"$tmp/out")" = 1

# ---- the script's name and line, arguments, standard input ----
printf '\n\nerror("here")\n' | script hut.lua
exits 1 "an error in a file" hut.lua
says "the message names file and line" "ampstead: hut.lua:3: here"
printf '#!/usr/bin/env ampstead\nerror("there")\n' | script bang.lua
exits 1 "a first line for the system" bang.lua
says "lines keep their numbers" "bang.lua:2: there"
exits 1 "a script without require" -e 'print(amp.version)'
says "names what was forgotten" 'begin with: local amp = require "ampstead"'
echo 'print(#arg, arg[0], ...)' | script args.lua
exits 0 "an option behind the script" args.lua --seed 3 --seeds
says "is told" "--seed stands behind the script and goes to it"
holds "and what is none of ours is not" test "$(wc -l <"$tmp/err")" = 2
exits 0 "arguments" args.lua a k=v
prints "arguments arrive" "$(printf '2\targs.lua\ta\tk=v')"
got=$(echo 'print(1 + 1)' | "$amp" - 2>&1)
holds "a script on standard input" test "$got" = 2
got=$(printf '1+1\nfor i=1,2 do\nprint(i)\nend\nerror("e")\n3\n' |
  "$amp" -i 2>/dev/null | tr '\n' ' ')
holds "the prompt goes on after an error" test "$got" = "2 1 2 3 "

# ---- the environment ----
exits 0 "pairs goes in key order" -e 'local t = {b = 1, a = 2, [10] = 3,
  [2] = 4, [1.5] = 5, [-1] = 6}
  for k in pairs(t) do io.write(tostring(k), " ") end'
prints "numbers, then strings" "-1 1.5 2 10 a b "
exits 0 "clearing fields while walking" -e 'local t = {a = 1, b = 2, c = 3}
  for k in pairs(t) do t[k] = nil end print(next(t))'
exits 0 "next goes in key order, as pairs does" "$runner_tests/walks.lua"
prints "to its end" walked
exits 124 "what next remembers counts as the script's" --memory 18 -e '
  local all = {}
  for i = 1, 5000 do
    local t = {}
    for k = 1, 100 do t[k] = true end
    next(t, 1)
    all[i] = t
  end'
says "by its limit" "memory limit of 18 MB"
exits 0 "which without it is enough" --memory 18 -e '
  local all = {}
  for i = 1, 5000 do
    local t = {}
    for k = 1, 100 do t[k] = true end
    all[i] = t
  end'
exits 0 "sort keeps the order of what compares alike" -e '
  local t = {}
  for i = 1, 60000 do t[i] = { math.random(20000), i } end
  t[1][1], t[#t][1] = 0, 0 -- what makes the first part of a quicksort small
  table.sort(t, function (a, b) return a[1] < b[1] end)
  for i = 2, #t do
    assert(t[i - 1][1] < t[i][1] or t[i - 1][1] == t[i][1] and
      t[i - 1][2] < t[i][2])
  end'
exits 0 "sort as in Lua" -e 'local t = { 3, 1, 2, -1, 1.5, 3 }
  table.sort(t) print(table.concat(t, " "))
  table.sort(t, function (a, b) return a > b end) print(table.concat(t, " "))
  local n, all = 0, { 5, 4, 3 }
  table.sort(setmetatable({}, { __len = function () return 3 end,
    __index = all, __newindex = function (_, k, v) n = n + 1 all[k] = v end }))
  print(n, all[1], all[3], pcall(table.sort, { 1, "a" }))
  for _, wrong in ipairs{ { { 1, 2 }, 3 }, { 3 }, { setmetatable({}, {
      __len = function () return 1 << 40 end }) } } do
    print(pcall(table.sort, table.unpack(wrong)))
  end
  table.sort({}) table.sort({ 1 }) print(table.sort({ 2, 1 }))'
prints "with its refusals" '-1 1 1.5 2 3 3
3 3 2 1.5 1 -1
3	3	5	false	attempt to compare string with number
false	bad argument #2 to '"'?'"' (function expected, got number)
false	bad argument #1 to '"'?'"' (table expected, got number)
false	bad argument #1 to '"'?'"' (array too big)'
exits 0 "random, once" -e 'print(math.random(1e9), math.random())'
cp "$tmp/out" first
exits 0 "random, again" -e 'print(math.random(1e9), math.random())'
holds "random starts from the seed" cmp -s "$tmp/out" first
exits 0 "random, other seed" --seed 2 -e 'print(math.random(1e9), math.random())'
holds "--seed changes it" test "$(cat "$tmp/out")" != "$(cat first)"
exits 0 "nothing dangerous is there" -e 'for _, n in ipairs{"debug",
  "package", "dofile", "loadfile"} do assert(_G[n] == nil, n) end
  for _, n in ipairs{"execute", "exit", "remove", "rename", "tmpname",
  "getenv", "setlocale"} do assert(os[n] == nil, n) end
  for n in pairs(io) do assert(n == "write", n) end
  assert(string.dump == nil and ("").dump == nil)
  assert(getmetatable("") == false)'
exits 0 "bytecode is refused" -e 'assert(not load("\27Lua", "x", "b"))
  assert(not load("\27Lua")) assert(load("return 1")() == 1)'
mkdir -p parts
echo 'return {n = 42}' | script parts/cells.lua
echo 'print(require("parts.cells").n, require("parts.cells") ==
  require("parts.cells"))' | script main.lua
exits 0 "a module beside the script" main.lua
prints "is loaded once" "$(printf '42\ttrue')"
exits 0 "a module by -l" -l parts.cells -e 'print(1)'
exits 1 "a module outside" -e 'require("../x")'
exits 1 "a module that is missing" -e 'require("nowhere")'

# ---- started with closed descriptors ----
"$amp" -e 'print(1)' >&-
holds "without standard output" test $? = 0
"$amp" -e 'print(1)' <&- >"$tmp/out" 2>&-
holds "without the other two" test "$(cat "$tmp/out")" = 1

# ---- limits ----
printf 'local n = 0\nwhile true do n = n + 1 end\n' | script loop.lua
exits 124 "an endless loop" --time 0.5 loop.lua
says "names line and limit" "loop.lua:2: stopped: time limit of 0.5 s"
exits 124 "an endless match in C" --time 0.5 -e 'local s = ("a"):rep(30)
  s:find(("a-"):rep(30) .. "b")'
says "names the limit" "time limit of 0.5 s"
exits 124 "memory" --memory 32 -e 'local t = {}
  for i = 1, math.maxinteger do t[i] = {} end'
says "names the memory limit" "memory limit of 32 MB"
exits 124 "a log that memory does not hold is no bad file" --memory 8 -e '
  require("ampstead").log.text("time_s,current_a\n" .. string.rep("1,1\n", 4e5))'
exits 124 "a test in steps that memory does not hold" --memory 300 -e '
  local amp = require "ampstead"
  local c = amp.cell{ chemistry = "nca", capacity_ah = 50, r0_mohm = 1 }
  c:simulate(amp.profile.steps{ { rest_h = 1 }, step_s = 0.001 })'
says "says what would need less" "no memory for 3600000 steps of 0.001 s"
says "by its key" "a longer step_s needs less"
exits 0 "a caught memory error" --memory 32 -e 'assert(not pcall(string.rep,
  "x", 1 << 30)) print(1)'
exits 124 "a flood of output" --time 15 -e 'local s = ("x"):rep(1000)
  while true do print(s) end'
says "names the output limit" "output limit of 16 MB"
holds "the flood ends at 16 MB" test "$(wc -c <"$tmp/out")" -le 16777216
exits 0 "control bytes" -e 'print("\27[2J a\rb\0\127 \194\155 \226\128\174 ü")'
prints "are shown, not sent" \
  '\x1b[2J a\x0db\x00\x7f \xc2\x9b \xe2\x80\xae ü'
exits 0 "lines that end in CR LF, and a CR alone at the end" \
  -e 'io.write("a,b\r\n1,2\r") io.write("\n3\r")'
holds "pass, and the CR is shown" \
  test "$(od -An -c "$tmp/out" | tr -d ' \n')" = 'a,b\r\n1,2\r\n3\x0d'
exits 0 "broken UTF-8" -e 'io.write("\195") io.write("\188 \195( \255")'
prints "is shown, a cut letter is joined" 'ü \xc3( \xff'

"$amp" --time 15 loop.lua >/dev/null 2>&1 &
pid=$!
sleep 0.4
kill -INT $pid
wait $pid
holds "interrupted" test $? = 130
"$amp" --time 15 -e 'while true do print("y") end' 2>/dev/null | head -n 1 >/dev/null
holds "a reader that went away" test "${PIPESTATUS[0]}" = 74

# ---- the end of a worker ----
# Seconds beyond the limit that the best of three runs takes to end.
over_limit () { # SCRIPT
  local best=9 k t
  for k in 1 2 3; do
    t=$(date +%s%N)
    "$amp" --time 0.5 "$1" >/dev/null 2>&1
    best=$(echo "$t $(date +%s%N) $best" |
      awk '{ d = ($2 - $1) / 1e9 - 0.5; print d < $3 ? d : $3 }')
  done
  echo "$best"
}
within () { awk -v a="$1" -v b="$2" 'BEGIN { exit !(a < b) }'; }
echo 'setmetatable({}, { __gc = function() while true do end end })
  collectgarbage()' | script gc.lua
over=$(over_limit gc.lua)
holds "what no hook sees ends within 0.5 s of the limit ($over s)" \
  within "$over" 0.5
exits 124 "a loop in a coroutine" --time 0.5 -e 'coroutine.wrap(function()
  pcall(function() while true do end end) end)()'
says "names its line too" "(command line):2: stopped: time limit of 0.5 s"

alive () { [ -n "$(find /proc -maxdepth 2 -name exe -lname "$1" 2>/dev/null)" ]; }
cp "$amp" "$tmp/lonely"
"$tmp/lonely" --time 15 loop.lua >/dev/null 2>&1 &
pid=$!
sleep 0.4
holds "parent and worker run" alive "$tmp/lonely"
kill -KILL $pid
wait $pid 2>/dev/null
sleep 0.3
! alive "$tmp/lonely"
verdict $? "a worker whose parent was killed" "runs on as an orphan"

# ---- the cage ----
exits 0 "version, in detail" --version -v
holds "names each layer" test \
  "$(grep -cE '^  (user|orphan|limits|files|calls) ' "$tmp/out")" = 5
exits 0 "times are UTC wherever it runs" \
  -e 'print(os.time{ year = 2026, month = 1, day = 1, hour = 0 })'
prints "the same bytes" 1767225600
exits 0 "objects are numbered, not placed" \
  -e 'local t = {} print(t, print, t, ("%5s"):format({}))'
cp "$tmp/out" first
exits 0 "and again" -e 'local t = {} print(t, print, t, ("%5s"):format({}))'
holds "in the same way" cmp -s "$tmp/out" first

# ---- trust, which a person has to type ----
echo 'print(io.open("/etc/passwd"):read("l") ~= nil, os.getenv("SEEN"),
  require("parts.cells").n, require("ampstead").version ~= nil)' |
  script open.lua
export SEEN=yes
exits 1 "without --trust no file opens" open.lua
exits 0 "with --trust it does" --trust open.lua
prints "and the environment is there" "$(printf 'true\tyes\t42\ttrue')"
says "says what that opens" "change and"
exits 7 "os.exit" --trust -e 'os.exit(7)'
exits 0 "io.write and print keep their order" \
  --trust -e 'io.write("a") print("b") io.write("c")'
prints "in one stream" "$(printf 'ab\nc')"
exits 124 "the limits stay" --trust --time 0.5 loop.lua
got=$(echo line | "$amp" --trust -e 'print(io.read("l"))' 2>/dev/null)
holds "standard input is its own" test "$got" = line
printf '#!/usr/bin/env -S ampstead --trust\nprint(1)\n' | script sly.lua
exits 77 "a script that trusts itself" --trust sly.lua
says "says how it is done" "ampstead --trust SCRIPT"
exits 0 "without the option it runs in the cage" sly.lua

# ---- files ----
mkdir data
script write.lua <<'END'
local amp = require "ampstead"
local t = amp.table{ columns = { "name", "n" },
                     rows = { { name = arg[2] or "H1", n = 1 } } }
t:write(arg[1])
END
exits 0 "a result" write.lua one.csv
holds "stands in out/" grep -q H1 out/one.csv
exits 0 "a result again" write.lua one.csv H2
holds "is replaced in out/" grep -q H2 out/one.csv
holds "no temporary file stays" \
  test "$(find out -type f -printf '%P\n' | sort | tr '\n' ' ')" \
  = ".results one.csv "
cp write.lua other.lua
exits 73 "another script's result" other.lua one.csv H3
holds "was kept" grep -q H2 out/one.csv
exits 0 "but by --overwrite" --overwrite other.lua one.csv H3
exits 73 "which makes it the other's" write.lua one.csv H2
if command -v lua5.4 >/dev/null; then
  LUA_CPATH="$(dirname "$amp")/?.so" lua5.4 write.lua stock.csv
  LUA_CPATH="$(dirname "$amp")/?.so" lua5.4 write.lua stock.csv
  exits 0 "a result that stock Lua made of this script" write.lua stock.csv H2
  holds "is replaced too" grep -q H2 out/stock.csv
  holds "is recorded once" test "$(grep -c stock out/.results)" = 1
  exits 73 "not by another script" other.lua stock.csv H3
  rm out/stock.csv
fi
exits 0 "a result in a folder of its own" write.lua deep/one.csv
holds "stands there" test -s out/deep/one.csv
exits 77 "a result outside" write.lua ../one.csv
exits 77 "a result at an absolute path" write.lua "$tmp/work/one.csv"
exits 77 "a hidden result" write.lua .one.csv
holds "nothing was written" test ! -e one.csv
exits 0 "--out" --out results write.lua one.csv
exits 73 "--out keeps what exists" --out results write.lua one.csv H2
says "names the way out" "--overwrite"
holds "it was kept" grep -q H1 results/one.csv
exits 0 "--overwrite" --out results --overwrite write.lua one.csv H2
holds "it was replaced" grep -q H2 results/one.csv
name=$(printf 'a\342\200\256vsc.csv')
exits 77 "a name that reads backwards" write.lua "$name"
exits 77 "a name that is no UTF-8" write.lua "$(printf 'a\377.csv')"
exits 77 "folders without end" write.lua \
  "$(printf 'd/%.0s' 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17)x.csv"
rm out/.results
mkfifo out/.results
exits 0 "a fifo where the record was" write.lua new.csv
says "is no record" ".results cannot be written"
rm out/.results
ln -s /etc out/link
exits 77 "a link in out/" write.lua link/x.csv
touch target.csv
ln -s ../target.csv out/target.csv
exits 77 "a link as result" write.lua target.csv
holds "its target stays empty" test ! -s target.csv
rm -rf out
ln -s results out
exits 73 "out/ that is a link" write.lua two.csv
rm out
touch blocked
exits 73 "a folder that cannot be made" --out blocked/x write.lua two.csv

# ---- a disk that is full, a run that is killed ----
script big.lua <<'END'
local amp = require "ampstead"
local rows = {}
for i = 1, 20000 do rows[i] = { n = i } end
local t = amp.table{ columns = { "n" }, rows = rows }
for _ = 1, tonumber(arg[1]) do t:write("big.csv") end
END
got=0
(ulimit -f 16 && exec "$amp" big.lua 1) >"$tmp/out" 2>"$tmp/err" || got=$?
holds "a file larger than may be written: status $got" test "$got" = 74
holds "leaves nothing" test -z "$(find out -type f 2>/dev/null)"
rm -rf out
if mkdir small && mount -t tmpfs -o size=64k tmpfs small 2>/dev/null; then
  exits 74 "a full disk" --out small big.lua 1
  says "says so" "No space left"
  holds "leaves no half" test -z "$(find small -type f)"
  exits 0 "a small result fits" --out small write.lua one.csv
  got=0
  (ulimit -f 1000 && exec "$amp" -e 'print(("x"):rep(200000))') \
    >small/text 2>"$tmp/err" || got=$?
  holds "printing to a full disk: status $got" test "$got" = 74
  says "is told" "output cannot be written"
  umount small
else
  echo "skipped  a full disk (no mount here)"
fi
# killed at any moment of many writes, the file is whole or not there
exits 0 "the whole file" --out whole big.lua 1
for wait in 0.1 0.15 0.2 0.3 0.5; do
  "$amp" big.lua 1000 >/dev/null 2>&1 &
  pid=$!
  sleep "$wait"
  kill -KILL $pid
  wait $pid 2>/dev/null
  [ ! -e out/big.csv ] || cmp -s out/big.csv whole/big.csv
  verdict $? "a run killed after $wait s" "left half a file"
done
rm -rf out

script read.lua <<'END'
local amp = require "ampstead"
amp.profile.csv(arg[1], {})
END
ln -s /etc/passwd data/passwd.csv
exits 66 "a missing file" read.lua data/none.csv
exits 77 "a file above the script" read.lua ../x.csv
exits 77 "an absolute path" read.lua /etc/passwd
exits 77 "a link that leads out" read.lua data/passwd.csv
exits 77 "a hidden file" read.lua .secret
exits 77 "a folder" read.lua data
mkfifo data/fifo
exits 77 "a fifo, without waiting for it" read.lua data/fifo
mkdir data/deep
ln -s deep data/short
printf 'not,a,profile\n1,2\n' >data/deep/x.csv
exits 65 "a file further down" read.lua data/deep/x.csv
exits 77 "by a link on the way" read.lua data/short/x.csv
printf 'not,a,profile\n1,2\n' >data/bad.csv
exits 65 "bad data" read.lua data/bad.csv
exits 65 "bad data by --data" --data data read.lua bad.csv
exits 66 "--data is the folder" --data data read.lua data/bad.csv

echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
