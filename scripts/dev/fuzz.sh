#!/usr/bin/env bash
# fuzz.sh -- libFuzzer on what reads bytes of strangers: the CSV reader, the
# tables of options, the loader of scripts with the filter of its output, and
# saved posts.
# Starts from tests/fuzz/corpus; what is found stays in build/fuzz/found, and
# belongs into a test once it is mended.
#   scripts/dev/fuzz.sh [SECONDS] [NAME...]     each; 600 s by hand
#   scripts/dev/fuzz.sh keep       small inputs that reach new code, kept
set -u
cd "$(dirname "$0")/../.." || exit 70
seconds=${1:-600}
shift
names=${*:-csv options loader post}
found=$PWD/build/fuzz/found
kept=$PWD/tests/fuzz/corpus
grown=$PWD/build/fuzz/corpus
start=$PWD/build/fuzz/seeds
flags="-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all"

command -v clang >/dev/null || {
  echo "skipped  fuzzing (no clang)"
  exit 0
}
{ cmake -B build/fuzz -G Ninja -S . -DCMAKE_C_COMPILER=clang \
  -DAMPSTEAD_FUZZ=ON -DCMAKE_C_FLAGS="$flags" \
  -DCMAKE_BUILD_TYPE=Debug -DCMAKE_C_FLAGS_DEBUG="-O1 -g" && ninja -j 2 -C build/fuzz fuzz_csv fuzz_options fuzz_loader fuzz_post; } \
  >build/fuzz.log 2>&1 || {
  tail -n 20 build/fuzz.log
  exit 1
}
export ASAN_OPTIONS=detect_leaks=1:allocator_may_return_null=1
export UBSAN_OPTIONS=print_stacktrace=1

# of options: an input for each call and each key that there is today
seeds () {
  mkdir -p "$start/options"
  AMPSTEAD_SEEDS=$start/options build/fuzz/tests/fuzz/fuzz_options
}

if [ "$seconds" = keep ]; then
  seeds
  for name in csv options loader; do
    mkdir -p "$kept/$name" "$grown/$name" "$start/$name"
    more=build/fuzz/more/$name # the seeds, and what reaches further
    rm -rf "$more" && mkdir -p "$more"
    cp -r "$start/$name/." "$more"
    "build/fuzz/tests/fuzz/fuzz_$name" -set_cover_merge=1 -use_counters=0 \
      -max_len=200 -timeout=10 "$more" "$kept/$name" "$grown/$name" 2>&1 |
      tail -n 1
    for input in "$more"/*; do
      [ -e "$start/$name/${input##*/}" ] ||
        cp "$input" "$kept/$name/"
    done
  done
  du -sh "$kept"
  exit 0
fi

one () { # NAME
  local name=$1 log=build/fuzz/$1.log st=0 more=''
  mkdir -p "$kept/$name" "$grown/$name" "$start/$name" "$found"
  [ "$name" = options ] && more=-detect_leaks=0 # at the end alone: a Lua
                                # state keeps what it will free
  # shellcheck disable=SC2086 # none or one
  "build/fuzz/tests/fuzz/fuzz_$name" -max_total_time="$seconds" -timeout=10 \
    $more -rss_limit_mb=2048 -max_len=4000 -artifact_prefix="$found/$name-" \
    -print_final_stats=1 "$grown/$name" "$kept/$name" "$start/$name" >"$log" 2>&1 || st=$?
  if [ "$st" = 0 ]; then
    awk -v n="$name" '/number_of_executed_units/ { runs = $2 }
      / cov: / { for (i = 1; i < NF; i++) if ($i == "cov:") cov = $(i + 1) }
      END { printf "%-8s %d runs, %d edges, nothing found\n", n, runs, cov }' \
      "$log"
  else
    echo "FAIL $name: status $st, see build/fuzz/found"
    grep -aE -A12 'ERROR|runtime error|SUMMARY|ABORTING' "$log" | head -n 30
  fi
  return "$st"
}
seeds || exit 1
export -f one
export seconds kept grown start found
# shellcheck disable=SC2086 # a list of words is meant
printf '%s\n' $names | xargs -P 4 -I % bash -c 'one %'
