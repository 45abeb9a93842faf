#!/usr/bin/env bash
# check_tree.sh -- the visible top level, no paths of a machine in the tree,
# no number by printf in the Lua half, no word in the output that nobody can
# vouch for.
set -u
cd "$(dirname "$0")/../.." || exit 70
bad=0

want="CMakeLists.txt DEVELOPERS.md LICENSE README.md bindings core docs examples scripts tests"
have=$(git ls-tree --name-only HEAD | grep -v '^\.' | LC_ALL=C sort | tr '\n' ' ')
if [ "${have% }" != "$want" ]; then
  echo "top level: have ${have% }"
  bad=1
fi

home='(^|[^A-Za-z.])/(work|farm|root|home)/'
if git grep -nIE "$home" -- . ':!scripts/dev/check_tree.sh'; then
  echo "paths of a machine stand above"
  bad=1
fi

# Numbers become words by core.fixed, short and trim: no printf of the C
# library, no logarithm of it.
if git grep -nE '%[-+#0-9.]*[efgEFG]([^[:alpha:][]|$)|math\.(log|exp|sin|cos|tan)\b' \
    -- 'scripts/ampstead/*.lua'; then
  echo "numbers by the C library's printf or logarithm stand above"
  bad=1
fi

# A battery is never called safe here; docs may say that nothing is.
if git grep -nIiE '\b(guaranteed|compliant|is safe|are safe)\b' -- \
    core bindings scripts/ampstead 'tests/examples' |
    grep -viE 'not (safe|compliant|guaranteed)|thread|signal'; then
  echo "promises that nobody can keep stand above"
  bad=1
fi
exit $bad
