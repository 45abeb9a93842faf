#!/usr/bin/env bash
# demo.sh -- set up, build into build/, answer the first question: which of
# three salvage offers is cheapest per kWh that it will really deliver?
set -eu
cd "$(dirname "$0")/.."

scripts/setup.sh
log=$(mktemp)
trap 'rm -f "$log"' EXIT
[ -x build/ampstead ] || echo "building, about a minute ..." >&2
if ! { cmake -B build -G Ninja -S . && ninja -C build; } >"$log" 2>&1; then
  cat "$log" >&2
  exit 1
fi
build/ampstead "$@" examples/01-offers.lua
