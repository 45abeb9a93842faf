#!/usr/bin/env bash
# check_hostile.sh -- every script of tests/hostile in the program, as who
# runs this and, where that is root, as a user without rights too. The first
# line of each says with which exit status it may end:
#   -- ends 0 1: what it tries
# None may print GOT OUT; one that may end with 0 then says "kept in". No
# control byte arrives, no file stands outside out/, nothing runs on, and none
# takes longer than its limit and half a second (and what a busy machine adds).
# usage: check_hostile.sh PATH-OF-ampstead [quick]     quick: as one user only
set -u
amp=$(realpath "$1")
quick=${2:-}
scripts=$(realpath "$(dirname "$0")/../../tests/hostile")
limit=5     # tenths of a second
[ "$quick" = quick ] && limit=2
slack=3000  # ms, for a busy machine; the deadline itself: check_runner.sh
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
cp "$amp" "$tmp/runner" # a name that nothing else on the machine runs by
chmod 755 "$tmp" "$tmp/runner"
passed=0
failed=0

fail () {
  why="$why; $1"
}

# A folder with what the file scripts try to reach: $1/run is the script's.
furnish () {
  mkdir -p "$1/run/data"
  echo 'TOP SECRET' >"$1/secret.csv"
  echo 'time_s,current_a' >"$1/run/.hidden.csv"
  echo 'return 42' >"$1/run/victim.lua"
  ln -s /etc "$1/run/link"
  ln -s ../secret.csv "$1/run/link.csv"
  ln -s loop "$1/run/loop"
  mkfifo "$1/run/fifo"
  ln -s /dev/zero "$1/run/device"
  cp "$scripts"/*.lua "$1/run/"
  chmod -R a+rX "$1"
}

# What stands in the folder besides out/, with a sum of each plain file.
listing () {
  (cd "$1" && find . -path ./run/out -prune -o -print | LC_ALL=C sort &&
    find . -path ./run/out -prune -o -type f -exec cksum {} + |
    LC_ALL=C sort)
}

still_runs () {
  [ -n "$(find /proc -maxdepth 2 -name exe -lname "$tmp/runner" 2>/dev/null)" ]
}

# try FOLDER NAME LIMIT COMMAND...: run it; st its status, ms how long beyond
# the limit
try () {
  local dir=$1 name=$2 time=$3 t
  shift 3
  t=$(date +%s%N)
  (cd "$dir/run" && timeout -s KILL 30 "$@" "$tmp/runner" --time "$time" \
    --memory 128 "$name") >"$dir.out" 2>"$dir.err" </dev/null
  st=$?
  ms=$(awk -v a="$t" -v b="$(date +%s%N)" -v l="$time" \
    'BEGIN { printf "%d", (b - a) / 1e6 - 1000 * l }')
}

judge () { # ALLOWED-STATUSES FOLDER
  why=""
  [ -n "$1" ] || fail "its first line does not say how it ends"
  [[ $1 == *" $st "* ]] || fail "status $st, wanted$1"
  grep -aq 'GOT OUT' "$2.out" "$2.err" && fail "$(grep -ah 'GOT OUT' "$2.out")"
  [ "$st" != 0 ] || grep -aq 'kept in' "$2.out" || fail "does not say kept in"
  LC_ALL=C grep -aqP '[\x00-\x08\x0b-\x1f\x7f]|\xc2[\x80-\x9f]|\xe2\x80[\xaa-\xae]' \
    "$2.out" "$2.err" && fail "control bytes arrived"
  [ "$(cat "$2.out" "$2.err" | wc -c)" -le 17000000 ] || fail "output"
  [ "$ms" -le "$slack" ] || fail "$ms ms beyond the limit"
  still_runs && fail "something still runs"
  [ "$(listing "$2")" = "$(cat "$2.before")" ] || fail "files changed"
}

# all_as WHO COMMAND...: every script, started by COMMAND
all_as () {
  local who=$1 script name dir ends
  shift
  for script in "$scripts"/*.lua; do
    name=$(basename "$script")
    dir=$tmp/$who-$name
    furnish "$dir"
    chmod a+rwx "$dir/run"
    listing "$dir" >"$dir.before"
    try "$dir" "$name" "0.$limit" "$@"
    ends=$(sed -n '1s/^-- ends \([0-9 ]*\):.*/ \1 /p' "$script")
    # a busy machine may take longer over what ends by itself
    [ "$st" != 124 ] || [[ $ends == *" 124 "* ]] ||
      try "$dir" "$name" 10 "$@"
    judge "$ends" "$dir"
    if [ -z "$why" ]; then
      passed=$((passed + 1))
    else
      failed=$((failed + 1))
      echo "FAIL $name as $who$why"
      head -c 300 "$dir.err" | sed 's/^/     /'
    fi
    rm -rf "${dir:?}"*
  done
}

all_as "$(id -un)" env
if [ "$quick" = quick ]; then
  echo "skipped  as another user"
elif [ "$(id -u)" = 0 ] && command -v setpriv >/dev/null; then
  all_as nobody setpriv --reuid 65534 --regid 65534 --clear-groups
else
  echo "skipped  as another user (this is not root)"
fi

echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
