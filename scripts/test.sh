#!/usr/bin/env bash
# test.sh -- everything that is checked on each change, in one run.
# Prints one line for each check, what a failed one said, and at the end
# "N passed, N failed". Needs under 20 minutes on two cores.
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
passed=0
failed=0
skipped=0
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
began=$SECONDS

count () {
  if [ "$1" = 0 ]; then
    passed=$((passed + 1))
  else
    failed=$((failed + 1))
  fi
}

# check WHAT COMMAND...: one check; its output only where it fails
check () {
  local what=$1 t=$SECONDS st=0
  shift
  "$@" >"$tmp/log" 2>&1 </dev/null || st=$?
  count "$st"
  if [ "$st" = 0 ]; then
    printf 'ok    %s (%d s)\n' "$what" $((SECONDS - t))
  else
    printf 'FAIL  %s (status %d)\n' "$what" "$st"
    tail -n "${show:-40}" "$tmp/log" | sed 's/^/      /'
  fi
  return "$st"
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
  local what=$1 folder=$2 line n=0
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
    printf 'ran   %s: %d programs\n' "$what" "$n"
  else
    printf 'ok    %s: %d programs\n' "$what" "$n"
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
  (cd "$folder" && timeout "${limit:-120}" "${command[@]}" "$2") >"$3" 2>"$tmp/err" || {
    cat "$tmp/err"
    return 1
  }
}

same_as () { # WANTED COMMAND... -- SCRIPT
  local want=$1
  shift
  example "$@" "$tmp/got" && diff -u "$want" "$tmp/got"
}

cat >"$tmp/stock" <<END
#!/bin/sh
LUA_CPATH="$top/build/?.so" exec lua5.4 "\$@"
END
chmod +x "$tmp/stock"

examples () {
  local script name want
  for script in examples/*.lua; do
    name=$(basename "$script" .lua)
    want=$top/tests/examples/$name.out
    if [ ! -f "$want" ]; then
      count 1
      printf 'FAIL  %s has no tests/examples/%s.out\n' "$script" "$name"
      continue
    fi
    check "$script, runner" \
      same_as "$want" "$top/build/ampstead" --time 110 -- "$top/$script"
    # fits a cell, some ten seconds each time: once is enough in a hurry
    [ "$quick" = quick ] && [ "$name" = 05-own-test ] && continue
    if [ "$name" = 05-own-test ]; then
      check "docs/model shows the chart that is drawn" cmp \
        docs/model/us06-10c.svg "$(find "$tmp" -name us06-detailed.svg | head -n 1)"
    fi
    check "$script, stock lua" same_as "$want" "$tmp/stock" -- "$top/$script"
    check "$script, one thread" same_as "$want" "$top/build/ampstead" \
      --jobs 1 --time 110 -- "$top/$script"
    [ "$quick" = quick ] && continue
    check "$script, two threads" same_as "$want" "$top/build/ampstead" \
      --jobs 2 --time 110 -- "$top/$script"
    check "$script, clang" same_as "$want" "$top/build/clang/ampstead" \
      --time 110 -- "$top/$script"
    limit=400 check "$script, gcc -O0" same_as "$want" \
      "$top/build/O0/ampstead" --time 390 -- "$top/$script"
  done
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

# The scripts users wrote against the contract, where they are at hand.
contract () {
  local script
  if [ -z "${AMPSTEAD_SHARED:-}" ]; then
    skip "contract scripts, hostile scripts (AMPSTEAD_SHARED is not set)"
    return
  fi
  for script in 1-offers 2-limits 5-listings 6-post; do
    check "contract $script" example "$top/build/ampstead" -- \
      "$AMPSTEAD_SHARED/contract/$script.lua" "$tmp/got"
  done
  # what 6-post printed last holds its post
  check "contract 6-post, rechecked" "$top/build/ampstead" --recheck "$tmp/got"
  check "contract 3-pallet" pallet
  check "contract 4-own-test" example "$top/build/ampstead" \
    --time 110 --data "$AMPSTEAD_SHARED/data/cell_nca_18650" -- \
    "$AMPSTEAD_SHARED/contract/4-own-test.lua" "$tmp/got"
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

# One program under valgrind, about 60 times slower. What takes over 5 s by
# itself is left to the sanitizers, and said. Only what valgrind finds counts
# (99, or a signal): it reckons long double in 64 bits, so the tests that
# compare with it fail there, and each test has counted above already.
valgrind_one () { # PROGRAM FOLDER-FOR-LOGS
  local log st=0
  log=$2/$(basename "$1")
  timeout 5 "$1" >/dev/null 2>&1
  if [ $? = 124 ]; then
    echo "left out, over 5 s: $1"
    return 0
  fi
  valgrind -q --error-exitcode=99 --leak-check=full \
    --errors-for-leak-kinds=definite "$1" >"$log" 2>&1 || st=$?
  [ "$st" -lt 99 ] && return 0
  echo "$1: status $st"
  grep -E '^==|ERROR|FAILED' "$log" | head -n 12
  return 1
}
export -f valgrind_one

valgrind_tests () {
  mkdir -p "$tmp/valgrind"
  find build -maxdepth 1 -type f -perm -u+x -name '*_test_*' | sort \
    >"$tmp/programs"
  [ -s "$tmp/programs" ] &&
    xargs -P 2 -I % bash -c "valgrind_one % $tmp/valgrind" <"$tmp/programs"
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
    [ -f "$test" ] || continue
    check "$test" "$tmp/stock" "$top/$test"
  done
}

# ---- the run ----

check "setup" scripts/setup.sh
check "build, gcc" build build || {
  echo "$passed passed, $failed failed"
  exit 1
}
unit_tests "unit tests, gcc" build
check "floors" scripts/dev/check_floors.sh
check "tree" scripts/dev/check_tree.sh
check "luacheck" luacheck -q .
check "clang-format" format
lua_tests
check "runner" scripts/dev/check_runner.sh build/ampstead
check "our own hostile scripts" \
  scripts/dev/check_hostile.sh build/ampstead "$quick"
check "bad input" scripts/dev/check_badinput.sh build/ampstead
check "posts, mangled and rechecked" lua5.4 scripts/dev/check_recheck.lua \
  build/ampstead
check "docs/reference names each call" "$tmp/stock" \
  scripts/dev/check_reference.lua docs/reference

check "cautions" "$tmp/stock" scripts/dev/check_cautions.lua

check "README shows what runs" lua5.4 scripts/dev/check_readme.lua
check "the guide shows what runs" lua5.4 scripts/dev/check_guide.lua

if [ "$quick" != quick ]; then
  check "build, clang" build build/clang -DCMAKE_C_COMPILER=clang
  # the fits to measured logs take a minute each time: with gcc alone
  unit_tests "unit tests, clang" build/clang -E fit_measured
  check "build, gcc -O0" build build/O0 -DCMAKE_BUILD_TYPE=Debug \
    -DCMAKE_C_FLAGS_DEBUG=-O0
  check "build, sanitizers" build build/sanitize -DAMPSTEAD_SANITIZE=ON \
    -DCMAKE_C_FLAGS_RELEASE=-O1
  unit_tests "unit tests, sanitizers" build/sanitize -E fit_measured
  check "runner, sanitizers" \
    scripts/dev/check_runner.sh build/sanitize/ampstead
  check "posts, sanitizers" lua5.4 scripts/dev/check_recheck.lua \
    build/sanitize/ampstead
  check "valgrind" valgrind_tests
  check "fuzzing, 60 s each" scripts/dev/fuzz.sh 60
fi
examples
contract

printf '%d s, %d skipped\n' $((SECONDS - began)) "$skipped"
echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
