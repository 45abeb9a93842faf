#!/usr/bin/env bash
# setup.sh -- install what the build and the tests need (Debian 12), and only
# what is missing. As root, or with sudo. Prints nothing when all is there.
set -eu

needed="git gcc libc6-dev make cmake ninja-build pkg-config lua5.4 liblua5.4-dev
  libmd-dev libseccomp-dev libcminpack-dev libcmocka-dev libsundials-dev clang
  libclang-rt-14-dev clang-format lua-check valgrind time"

missing=""
for package in $needed; do
  state=$(dpkg-query -W -f '${db:Status-Status}' "$package" 2>/dev/null || true)
  [ "$state" = installed ] || missing="$missing $package"
done
[ -n "$missing" ] || exit 0

if [ "$(id -u)" = 0 ]; then
  root=""
elif command -v sudo >/dev/null; then
  root=sudo
else
  echo "setup.sh: please install, as root:$missing" >&2
  exit 1
fi
echo "installing:$missing"
export DEBIAN_FRONTEND=noninteractive
# shellcheck disable=SC2086 # lists of words are meant
$root apt-get install -y -q --no-install-recommends $missing >/dev/null ||
  { $root apt-get update -q >/dev/null &&
    $root apt-get install -y -q --no-install-recommends $missing >/dev/null; }
