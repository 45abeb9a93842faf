#!/usr/bin/env bash
# keep_outputs.sh -- write tests/examples/*.out, the README's output and the
# chart of docs/model anew from what the examples print and draw now. Read the
# difference before you commit it: a changed line is a changed answer, and
# wants its reason in the commit.
set -eu
cd "$(dirname "$0")/../.."
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
for script in examples/*.lua; do
  build/ampstead --time 300 --out "$tmp/out" "$script" >"$tmp/text"
  cp "$tmp/text" "tests/examples/$(basename "$script" .lua).out"
done
cp "$tmp/out/us06-detailed.svg" docs/model/us06-10c.svg
lua5.4 scripts/dev/check_readme.lua --write
git diff --stat -- tests/examples README.md
