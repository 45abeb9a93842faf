#!/usr/bin/env bash
# test.sh -- everything that is checked on each change, in one run.
# Prints one line for each check as it ends, what a failed one said, and at
# the end "N passed, N failed". Needs under 15 minutes on two cores.
#   scripts/test.sh           all
#   scripts/test.sh quick     without sanitizers, valgrind and other builds
set -u
cd "$(dirname "$0")/.." || exit 70
top=$PWD
# measured files and users' scripts, where they are at hand
if [ -z "${AMPSTEAD_SHARED:-}" ] && [ -d ../shared/data ]; then
  AMPSTEAD_SHARED=$(cd ../shared && pwd)
  export AMPSTEAD_SHARED
fi
quick=${1:-}
skipped=0
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
began=$SECONDS

# A line for each check: those that run beside each other all add to it.
: >"$tmp/counts"
count () { # STATUS
  local how=failed
  [ "$1" = 0 ] && how=passed
  echo "$how" >>"$tmp/counts"
}
counted () { # passed or failed
  grep -c "^$1" "$tmp/counts"
}

# check WHAT COMMAND...: one check; its output only where it fails
check () {
  local what=$1 t=$SECONDS st=0 log
  log=$(mktemp "$tmp/log.XXXXXX")
  shift
  "$@" >"$log" 2>&1 </dev/null || st=$?
  count "$st"
  if [ "$st" = 0 ]; then
    printf 'ok    %s (%d s)\n' "$what" $((SECONDS - t))
  else
    { # in one piece
      printf 'FAIL  %s (status %d)\n' "$what" "$st"
      tail -n "${show:-40}" "$log" | sed 's/^/      /'
    } >"$log.told"
    cat "$log.told"
  fi
  return "$st"
}

# later COMMAND...: put off until 'all_of_it', which runs what was put off in
# that order, two at a time: put the longest first, and nothing that measures
# time or that another needs.
waiting=()
later () {
  waiting+=("$(printf '%q ' "$@")")
}
all_of_it () {
  local one
  for one in "${waiting[@]}"; do
    while [ "$(jobs -rp | wc -l)" -ge 2 ]; do wait -n; done
    eval "$one" &
  done
  wait
  waiting=()
}

skip () {
  skipped=$((skipped + 1))
  printf 'skipped  %s\n' "$1"
}

build () { # FOLDER CMAKE-ARGUMENTS...
  local folder=$1
  shift
  cmake -B "$folder" -G Ninja -S . "$@" && ninja -C "$folder"
}

# The unit tests of a build folder, each counted; a silent folder fails.
unit_tests () { # WHAT FOLDER CTEST-OPTIONS...
  local what=$1 folder=$2 line n=0 t=$SECONDS
  shift 2
  ctest --test-dir "$folder" -j 2 --timeout 300 --output-on-failure "$@" \
    >"$tmp/ctest" 2>&1
  while IFS= read -r line; do
    n=$((n + 1))
    case $line in
    *Passed*) count 0 ;;
    *)
      count 1
      printf 'FAIL  %s: %s\n' "$what" "$line"
      ;;
    esac
  done < <(grep -E '^ *[0-9]+/[0-9]+ Test +#' "$tmp/ctest")
  if [ "$n" = 0 ]; then
    count 1
    printf 'FAIL  %s: no test ran\n' "$what"
  elif ! grep -q '^100% tests passed' "$tmp/ctest"; then
    grep -E '\[  ERROR|\[  FAILED|: error|runtime error|ERROR:|!=' \
      "$tmp/ctest" | head -n 40 | sed 's/^/      /'
    printf 'ran   %s: %d programs (%d s)\n' "$what" "$n" $((SECONDS - t))
  else
    printf 'ok    %s: %d programs (%d s)\n' "$what" "$n" $((SECONDS - t))
  fi
}

# ---- examples ----

# Run an example in an empty folder: its bytes on stdout go to $2.
example () { # RUNNER-COMMAND... -- SCRIPT OUT
  local command=() folder
  while [ "$1" != -- ]; do
    command+=("$1")
    shift
  done
  folder=$(mktemp -d "$tmp/run.XXXXXX")
  (cd "$folder" && timeout "${limit:-120}" "${command[@]}" "$2") \
    >"$3" 2>"$folder.err" || {
    cat "$folder.err"
    return 1
  }
}

same_as () { # WANTED COMMAND... -- SCRIPT
  local want=$1 got
  got=$(mktemp "$tmp/got.XXXXXX")
  shift
  example "$@" "$got" && diff -u "$want" "$got"
}

cat >"$tmp/stock" <<END
#!/bin/sh
LUA_CPATH="$top/build/?.so" exec lua5.4 "\$@"
END
chmod +x "$tmp/stock"

patient () { # COMMAND...: an unoptimised build takes its time
  limit=400 "$@"
}

# One example in each way that it can be run.
ways () { # NAME
  local script=examples/$1.lua want=$top/tests/examples/$1.out
  local ours=("$top/build/ampstead" --time 110)
  if [ ! -f "$want" ]; then
    check "$script has tests/examples/$1.out" false
    return
  fi
  if [ "$quick" != quick ]; then
    later patient check "$script, gcc -O0" same_as "$want" \
      "$top/build/O0/ampstead" --time 390 -- "$top/$script"
    later check "$script, clang" same_as "$want" \
      "$top/build/clang/ampstead" --time 110 -- "$top/$script"
    later check "$script, two threads" same_as "$want" "${ours[@]}" \
      --jobs 2 -- "$top/$script"
  fi
  later check "$script, runner" same_as "$want" "${ours[@]}" -- "$top/$script"
  # fits a cell, some ten seconds each time: once is enough in a hurry
  [ "$quick" = quick ] && [ "$1" = 05-own-test ] && return
  # stock lua has the same core: the others show how it prints
  [ "$1" = 05-own-test ] || later check "$script, stock lua" same_as "$want" \
    "$tmp/stock" -- "$top/$script"
  later check "$script, one thread" same_as "$want" "${ours[@]}" --jobs 1 \
    -- "$top/$script"
}

examples () {
  local script
  ways 05-own-test # the longest
  for script in examples/*.lua; do
    [ "$script" = examples/05-own-test.lua ] ||
      ways "$(basename "$script" .lua)"
  done
}

# What an example drew stands in the folder where it ran.
chart () {
  cmp docs/model/us06-10c.svg \
    "$(find "$tmp" -name us06-detailed.svg | head -n 1)"
}

# The pallet's script prints, and leaves a page for one sheet of A4 in out/.
pallet () {
  local folder
  folder=$(mktemp -d "$tmp/run.XXXXXX")
  (cd "$folder" && timeout 120 "$top/build/ampstead" \
    --data "$AMPSTEAD_SHARED/contract" \
    "$AMPSTEAD_SHARED/contract/3-pallet.lua") &&
    grep '@page{size:A4' "$folder/out/sheet.html"
}

# What it printed last holds its post.
post () {
  local ran=$tmp/post.out
  check "contract 6-post" example "$top/build/ampstead" -- \
    "$AMPSTEAD_SHARED/contract/6-post.lua" "$ran" &&
    check "contract 6-post, rechecked" "$top/build/ampstead" --recheck "$ran"
}

# The scripts users wrote against the contract, where they are at hand.
contract () {
  local script
  if [ -z "${AMPSTEAD_SHARED:-}" ]; then
    skip "contract scripts, hostile scripts (AMPSTEAD_SHARED is not set)"
    return
  fi
  later check "contract 4-own-test" example "$top/build/ampstead" \
    --time 110 --data "$AMPSTEAD_SHARED/data/cell_nca_18650" -- \
    "$AMPSTEAD_SHARED/contract/4-own-test.lua" "$tmp/4-own-test.out"
  for script in 1-offers 2-limits 5-listings; do
    later check "contract $script" example "$top/build/ampstead" -- \
      "$AMPSTEAD_SHARED/contract/$script.lua" "$tmp/$script.out"
  done
  later post
  later check "contract 3-pallet" pallet
}

# Users' hostile scripts: each has a second, so nothing runs beside them.
hostile () {
  [ -z "${AMPSTEAD_SHARED:-}" ] && return
  check "hostile scripts" env LIMIT=5 \
    "$AMPSTEAD_SHARED/hostile/check.sh" \
    "$top/build/ampstead" --time 1 --memory 128
  if [ "$(id -u)" = 0 ] && [ "$quick" != quick ]; then
    cp "$top/build/ampstead" "$tmp/ampstead"
    chmod 755 "$tmp" "$tmp/ampstead"
    check "hostile scripts, as another user" env LIMIT=5 TMPDIR=/tmp \
      setpriv --reuid 65534 --regid 65534 --clear-groups \
      bash "$AMPSTEAD_SHARED/hostile/check.sh" \
      "$tmp/ampstead" --time 1 --memory 128
  fi
}

# One program under valgrind, about 60 times slower. What takes over 2 s by
# itself is left to the sanitizers, and said. Only what valgrind finds counts
# (99, or a signal): it reckons long double in 64 bits, so the tests that
# compare with it fail there, and each test has counted above already; and
# what is one of many is tried less often (tests/support/often.h).
valgrind_one () { # PROGRAM FOLDER-FOR-LOGS
  local log st=0
  log=$2/$(basename "$1")
  AMPSTEAD_FEW=1 timeout 2 "$1" >/dev/null 2>&1
  if [ $? = 124 ]; then
    echo "left out, over 2 s: $1"
    return 0
  fi
  AMPSTEAD_FEW=1 valgrind -q --error-exitcode=99 --leak-check=full \
    --errors-for-leak-kinds=definite "$1" >"$log" 2>&1 || st=$?
  [ "$st" -lt 99 ] && return 0
  echo "$1: status $st"
  grep -E '^==|ERROR|FAILED' "$log" | head -n 12
  return 1
}
export -f valgrind_one

# The longest first, as ctest has measured them.
valgrind_tests () {
  local found=$tmp/found timed=$tmp/timed
  mkdir -p "$tmp/valgrind"
  find build -maxdepth 1 -type f -perm -u+x -name '*_test_*' | sort >"$found"
  awk '{ sub(/^core\//, "", $1); sub("/", "_", $1); print $3, "build/" $1 }' \
    build/Testing/Temporary/CTestCostData.txt | sort -rn | cut -d ' ' -f 2 |
    grep -xFf "$found" >"$timed"
  [ -s "$found" ] && { cat "$timed" && grep -vxFf "$timed" "$found"; } |
    xargs -P 2 -I % bash -c "valgrind_one % $tmp/valgrind"
}

# Headers are set by hand: their comments stand in columns.
format () {
  local files
  files=$(git ls-files 'core/*.c' 'bindings/*.c' 'tests/*.c')
  # shellcheck disable=SC2086 # a list of words is meant
  clang-format --dry-run -Werror $files
}

lua_tests () {
  local test
  for test in tests/lua/test_*.lua; do
    [ -f "$test" ] && later check "$test" "$tmp/stock" "$top/$test"
  done
}

# ---- the run ----

check "setup" scripts/setup.sh
check "build, gcc" build build || {
  echo "$(counted passed) passed, $(counted failed) failed"
  exit 1
}
unit_tests "unit tests, gcc" build
check "runner" scripts/dev/check_runner.sh build/ampstead

later check "our own hostile scripts" \
  scripts/dev/check_hostile.sh build/ampstead "$quick"
lua_tests
later check "posts, mangled and rechecked" lua5.4 \
  scripts/dev/check_recheck.lua build/ampstead
later check "the guide shows what runs" lua5.4 scripts/dev/check_guide.lua
later check "README shows what runs" lua5.4 scripts/dev/check_readme.lua
later check "bad input" scripts/dev/check_badinput.sh build/ampstead
later check "docs/reference names each call" "$tmp/stock" \
  scripts/dev/check_reference.lua docs/reference
later check "cautions" "$tmp/stock" scripts/dev/check_cautions.lua
later check "floors" scripts/dev/check_floors.sh
later check "tree" scripts/dev/check_tree.sh
later check "luacheck" luacheck -q .
later check "clang-format" format
all_of_it

if [ "$quick" != quick ]; then
  check "build, clang" build build/clang -DCMAKE_C_COMPILER=clang
  # the fits to measured logs take half a minute each time: with gcc alone
  unit_tests "unit tests, clang" build/clang -E fit_measured
  check "build, gcc -O0" build build/O0 -DCMAKE_BUILD_TYPE=Debug \
    -DCMAKE_C_FLAGS_DEBUG=-O0
  check "build, sanitizers" build build/sanitize -DAMPSTEAD_SANITIZE=ON \
    -DCMAKE_C_FLAGS_RELEASE=-O1
  AMPSTEAD_FEW=1 unit_tests "unit tests, sanitizers" build/sanitize \
    -E fit_measured
  check "runner, sanitizers" \
    scripts/dev/check_runner.sh build/sanitize/ampstead
  check "valgrind" valgrind_tests
  check "fuzzing, 60 s each" scripts/dev/fuzz.sh 60
  later check "posts, sanitizers" lua5.4 scripts/dev/check_recheck.lua \
    build/sanitize/ampstead
fi
examples
contract
all_of_it
[ "$quick" = quick ] || check "docs/model shows the chart that is drawn" chart
hostile

printf '%d s, %d skipped\n' $((SECONDS - began)) "$skipped"
echo "$(counted passed) passed, $(counted failed) failed"
[ "$(counted failed)" = 0 ]
