#!/usr/bin/env bash
# check_floors.sh -- does every include line stay on its floor or go down, and
# does core/ampstead.h name every header that is part of the interface?
# Prints each line that does not; ends with status 1 when there was one.
set -u
cd "$(dirname "$0")/../.." || exit 70

# floor: the floors it may include besides itself
allowed () {
  case $1 in
  base) echo "" ;;
  cell) echo "base" ;;
  pack) echo "base cell" ;;
  run) echo "base cell pack" ;;
  life) echo "base cell pack run" ;;
  cost | report) echo "base" ;;
  job) echo "base cell pack run life cost report" ;;
  *) echo "unknown floor" ;;
  esac
}

bad=0
complain () {
  echo "$1"
  bad=1
}

# What C11 gives; no files, clock, locale, threads or system calls in core.
system='assert\.h|ctype\.h|float\.h|inttypes\.h|limits\.h|math\.h|stdalign\.h'
system="$system|stdarg\.h|stdbool\.h|stddef\.h|stdint\.h|stdlib\.h|string\.h"

# and the least squares of base
for file in core/*/*.[ch]; do
  least='nothing'
  [ "$file" = core/base/least.c ] && least='#include <cminpack\.h>'
  floor=$(basename "$(dirname "$file")")
  may=" $floor $(allowed "$floor") "
  while IFS= read -r line; do
    name=${line#*\"}
    to=${name%%/*}
    case $may in
    *" $to "*) ;;
    *) complain "$file: floor $floor may not include ${name%%\"*}" ;;
    esac
  done < <(grep -E '^ *# *include "' "$file")
  while IFS= read -r line; do
    complain "$file: core does not include $line"
  done < <(grep -E '^ *# *include <' "$file" | grep -vE "<($system)>" |
           grep -vE "^$least")
  # the core never ends a program, prints, reads files or asks a clock
  while IFS= read -r line; do
    complain "$file:$line"
  done < <(grep -nE '\b(printf|fprintf|snprintf|sprintf|fopen|getenv|exit|abort|time|clock|rand|setlocale|strtod|atof|system) ?\(' "$file" |
           grep -vE '^[0-9]+: *(/?\*|//)' | grep -vE '/\*.*\b(time|clock|exit|system)\b.*\*/')
done

# Headers say so where they are for their own floor alone (their first lines,
# which may break the sentence); those of the lanes are parts of one kernel.
for file in core/*/*.h; do
  name=${file#core/}
  case $name in run/lanes*) continue ;; esac
  head -12 "$file" | tr -s '\n* ' ' ' |
    grep -qE 'Not part of the interface|Private to core' && continue
  grep -qF "#include \"$name\"" core/ampstead.h ||
    complain "core/ampstead.h does not include $name"
done

# Subjects of the Lua module share bind.h and do not include each other; the
# files of one subject share its bind_<subject>_parts.h.
for file in bindings/module/*.c; do
  while IFS= read -r name; do
    case $file in *"/${name%_parts.h}"*) continue ;; esac
    complain "$file: subjects share bind.h only, not $name"
  done < <(sed -nE 's/^ *# *include "(module\/)?(bind_.*)".*/\2/p' "$file" |
           grep -v bind_inside.h)
done

# The runner knows base and the module's one header.
while IFS= read -r line; do
  complain "the runner knows nothing of that: $line"
done < <(grep -nE '^ *# *include "' bindings/runner/*.[ch] |
         grep -vE '"(runner/[a-z_]+\.h|base/[a-z]+\.h|module/ampstead_module\.h)"')

exit $bad
