#!/usr/bin/env bash
# bench.sh -- how fast is a step, beside what a careful user would write
# instead, run in turn on this machine; and time and memory of each example.
# Judge by the ratios: nanoseconds are this machine's.
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
    bench_accuracy bench_curves; } >"$log" 2>&1 || {
  cat "$log" >&2
  exit 1
}

title () { printf '\n%s\n' "$1"; }
run () { # WHAT COMMAND...
  local what=$1
  shift
  printf '%s\n' "$what"
  "$@" 2>&1 | sed 's/^/    /'
}

title "A year of minutes"
if [ -f "$peers/Makefile" ]; then
  mkdir -p "$out"
  if make -s -C "$peers" B="$PWD/$out" >"$out/make.log" 2>&1; then
    [ -f "$out/profile.f64" ] || (cd "$out" && ./mkprofile)
    for isa in 0 1 2; do
      # 0 what every machine has, 1 AVX2, 2 AVX-512, where it has them
      [ "$isa" = 1 ] && ! grep -qw avx2 /proc/cpuinfo && continue
      [ "$isa" = 2 ] && ! grep -qw avx512vl /proc/cpuinfo && continue
      for workers in 1 2; do
        run "ampstead core, isa $isa, $workers thread(s)" \
          build/bench_simulate "$out/profile.f64" "$isa" "$workers"
      done
    done
    (cd "$out" && run "textbook C" ./plain k1 k2)
    if python3 -c 'import numpy' 2>/dev/null; then
      (cd "$out" && run "NumPy" python3 "$from/pack_numpy.py")
    else
      echo "skipped  NumPy (python3-numpy is not installed)"
    fi
    for lua in lua5.4 luajit; do
      if command -v "$lua" >/dev/null; then
        (cd "$out" && run "$lua" "$lua" "$from/pack.lua")
      else
        echo "skipped  $lua (not installed)"
      fi
    done
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
