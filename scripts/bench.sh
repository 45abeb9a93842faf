#!/usr/bin/env bash
# bench.sh -- how fast is a step, beside what a careful user would write
# instead, run in turn on this machine; and time and memory of each example.
# Judge by the ratios: nanoseconds are this machine's. "wanted" gives what is
# wanted first, then, and in the end.
# The peers' sources stand in $AMPSTEAD_SHARED/peers (or ../shared/peers);
# without them their lines, and what needs their profile, are "skipped".
set -u
cd "$(dirname "$0")/.." || exit 70
peers=${AMPSTEAD_SHARED:-../shared}/peers
from=$(realpath -m "$peers")
out=build/peers
log=$(mktemp)
trap 'rm -f "$log"' EXIT

scripts/setup.sh || exit 1
{ cmake -B build -G Ninja -S . && ninja -C build &&
  ninja -C build bench_simulate bench_match bench_agreement \
    bench_accuracy bench_curves bench_start; } >"$log" 2>&1 || {
  cat "$log" >&2
  exit 1
}

# it takes some minutes: where it is, and since when
title () { printf '\n%s  (%d s so far)\n' "$1" "$SECONDS"; }
run () { # WHAT COMMAND...; the text stays in $log
  local what=$1
  shift
  printf '%s\n' "$what"
  "$@" 2>&1 | tee "$log" | sed 's/^/    /'
}
# the number before "ns/step" or "ms" in the line of $log that has a word
number () { # WORD UNIT
  awk -v w="$1" -v u="$2" 'index($0, w) {
    for (i = 2; i <= NF; i++) if ($i == u) { print $(i - 1); exit } }' "$log"
}
ratio () { # WHAT OURS THEIRS UNIT WANTED
  awk -v what="$1" -v a="$2" -v b="$3" -v u="$4" -v w="$5" 'BEGIN {
    if (a > 0 && b > 0)
      printf "%-34s %9.2f %9.2f %-8s %6.2fx  (wanted %s)\n",
             what, a, b, u, b / a, w
    else printf "%-34s skipped\n", what }'
}

title "A year of minutes"
if [ -f "$peers/Makefile" ]; then
  mkdir -p "$out"
  if make -s -C "$peers" B="$PWD/$out" >"$out/make.log" 2>&1; then
    [ -f "$out/profile.f64" ] || (cd "$out" && ./mkprofile)
    many=
    for isa in 0 1 2; do
      # 0 what every machine has, 1 AVX2, 2 AVX-512, where it has them
      [ "$isa" = 1 ] && ! grep -qw avx2 /proc/cpuinfo && continue
      [ "$isa" = 2 ] && ! grep -qw avx512vl /proc/cpuinfo && continue
      for workers in 1 2; do
        run "ampstead core, isa $isa, $workers thread(s)" \
          build/bench_simulate "$out/profile.f64" "$isa" "$workers"
        one=$(number one ns/step)
        many=$(number batch ns/step)
      done
    done
    cd "$out" || exit 70
    run "textbook C" ./plain k1 k2
    plain=$(number k1 ns/step)
    numpy='' numpy_ms='' jit='' lua=''
    if python3 -c 'import numpy' 2>/dev/null; then
      run "NumPy" python3 "$from/pack_numpy.py"
      numpy=$(number k2 ns/step)
      numpy_ms=$(number k6 ms)
    else
      echo "skipped  NumPy (python3-numpy is not installed)"
    fi
    for name in luajit lua5.4; do
      if command -v "$name" >/dev/null; then
        run "$name" "$name" "$from/pack.lua"
        [ "$name" = luajit ] && jit=$(number k1 ns/step)
        [ "$name" = lua5.4 ] && lua=$(number k1 ns/step)
      else
        echo "skipped  $name (not installed)"
      fi
    done
    cd ../.. || exit 70

    title "Ours beside theirs: the widest build, two threads for many packs"
    ratio "one pack, textbook C" "$one" "$plain" ns/step "1x 1.7x 2.2x"
    ratio "many packs, NumPy" "$many" "$numpy" ns/step "12x 20x 40x"
    ratio "many packs, LuaJIT loop" "$many" "$jit" ns/step "9x 17x 30x"
    ratio "many packs, Lua 5.4 loop" "$many" "$lua" ns/step "45x 85x 150x"
    make -s -C "$peers" B="$PWD/$out" more >"$out/more.log" 2>&1
    if gcc -O2 -std=gnu11 -w -I"$peers" -Icore tests/bench/beside_peers.c \
      build/libampcore.a -lcminpack -lm -o "$out/beside_peers"; then
      (cd "$out" && { [ -f profile.csv ] || ./csv >/dev/null; } &&
        ./beside_peers profile.f64 profile.csv) | tee "$log"
      awk '/^offers/ { print $2 }' "$log" >"$out/offers"
      awk '/^CSV/ { print $7 }' "$log" >"$out/csv.ms"
      ratio "100,000 offers, NumPy" "$(cat "$out/offers")" "$numpy_ms" ms \
        "1x 3.5x 8x"
      loadtxt=$(python3 -c 'import numpy, time
t = []
for k in range(7):
    a = time.perf_counter()
    numpy.loadtxt("'"$out"'/profile.csv", delimiter=",", skiprows=1)
    t.append(time.perf_counter() - a)
print(1e3 * sorted(t)[3])' 2>/dev/null)
      ratio "CSV, 10,000 rows of 3, np.loadtxt" "$(cat "$out/csv.ms")" \
        "$loadtxt" ms "1x 5x 8x"
    fi
  else
    echo "skipped  peers (they do not build here: $out/make.log)"
  fi
else
  echo "skipped  all of it (no peers: see the head of this script)"
fi

title "What a step of a minute errs, against one of a second"
build/bench_accuracy

title "Which module goes where"
run "24 proven, 40 within 0.1 % in a second, 200 in ten" build/bench_match

title "Measured drives of one 18650, fitted on its pulse tests"
AMPSTEAD_SHARED=${AMPSTEAD_SHARED:-../shared} build/bench_agreement

title "Measured 1C discharges of three cells: error of energy, of voltage"
AMPSTEAD_SHARED=${AMPSTEAD_SHARED:-../shared} build/bench_curves

title "A step of 60 s against an independent integrator"
if [ -x build/run_test_cvode ]; then
  build/run_test_cvode 2>/dev/null | grep '^greatest error' |
    sed 's/$/  (wanted 1e-5 1e-6 1e-7)/'
else
  echo "skipped  (libsundials-dev is not installed)"
fi

title "What a sweep from Lua adds to its simulations (processor time)"
if command -v lua5.4 >/dev/null; then
  sweep () { LUA_CPATH="build/?.so" lua5.4 tests/bench/sweep.lua "$1"; }
  for _ in 1 2 3; do echo "$(sweep 10) $(sweep 1)"; done | sort -k2 |
    awk 'NR == 2 { own = (10 * $2 - $4) / 9; if (own < 0) own = 0
      printf "%d cases over a year of minutes: %.2f s, of which its own " \
             "%.3f s, %.1f %%  (wanted 5 %% 1 %% 0.2 %%)\n",
             $1, $4, own, 100 * own / ($4 - own) }'
fi

title "What the cases of a sweep share (processor time)"
if command -v lua5.4 >/dev/null; then
  LUA_CPATH="build/?.so" lua5.4 tests/bench/cases.lua
else
  echo "skipped  (lua5.4 is not installed)"
fi

title "What two processes and the cage add to a start, 300 in turn"
if command -v lua5.4 >/dev/null; then
  LUA_CPATH="build/?.so" build/bench_start lua5.4 build/ampstead
else
  echo "skipped  (lua5.4 is not installed)"
fi

title "100,000 draws of three offers with all spread; NumPy's 100,000 offers"
if [ -x /usr/bin/time ]; then
  for draws in 2000 100000; do
    /usr/bin/time -f '%e %M' -o "$log" build/ampstead tests/bench/offers.lua \
      "$draws"
    awk -v d="$draws" '{ printf "%d draws %.2f s %.1f MB\n", d, $1, $2 / 1024 }' \
      "$log"
  done
  if [ -f "$from/pack_numpy.py" ] && python3 -c 'import numpy' 2>/dev/null; then
    { echo 'import time, numpy as np'
      sed -n '/^tt = \[\]; g = /,$p' "$from/pack_numpy.py"; } >"$out/k6.py"
    /usr/bin/time -f '%M' -o "$log" python3 "$out/k6.py"
    awk '{ printf "NumPy %.1f MB\n", $1 / 1024 }' "$log"
  else
    echo "skipped  NumPy"
  fi
else
  echo "skipped  (no /usr/bin/time)"
fi

title "Examples: seconds, MB at most"
for script in examples/*.lua; do
  [ -f "$script" ] || continue
  if [ -x /usr/bin/time ]; then
    tmp=$(mktemp -d)
    /usr/bin/time -f '%e %M' -o "$tmp/t" \
      build/ampstead --out "$tmp/out" "$script" >"$tmp/o" 2>&1
    tail -n 1 "$tmp/t" |
      awk -v s="$script" '{ printf "%-32s %6.2f s %7.1f MB\n", s, $1, $2/1024 }'
    rm -rf "$tmp"
  else
    echo "skipped  $script (no /usr/bin/time)"
  fi
done
printf '\n%d s in all\n' "$SECONDS"
