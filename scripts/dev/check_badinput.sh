#!/usr/bin/env bash
# check_badinput.sh -- damaged input files end the program with status 65 and
# a message that says where; a missing one with 66; big ones in bounded time.
# usage: check_badinput.sh PATH-OF-ampstead
set -u
amp=$(realpath "$1")
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
cd "$tmp" || exit 70
passed=0
failed=0

verdict () { # HELD WHAT DETAIL
  if [ "$1" = 0 ]; then
    passed=$((passed + 1))
  else
    failed=$((failed + 1))
    echo "FAIL $2: $3"
    cut -c1-300 err | sed 's/^/     /'
  fi
}

# read_file STATUS FILE TEXT...: offers or a duty read from FILE; stderr
# holds each TEXT
read_file () {
  local want=$1 file=$2 got=0 text
  shift 2
  timeout -s KILL 60 "$amp" read.lua "$file" >out 2>err </dev/null || got=$?
  [ "$got" = "$want" ]
  verdict $? "$file" "status $got, wanted $want"
  for text in "$@"; do
    grep -qF -- "$text" err
    verdict $? "$file" "stderr does not say: $text"
  done
  ! LC_ALL=C grep -q '[[:cntrl:]]' err
  verdict $? "$file" "stderr holds control bytes"
}

quiet () { # FILE: nothing on stderr of the last run
  [ ! -s err ]
  verdict $? "$1" "stderr is not empty"
}

cat >read.lua <<'END'
local amp = require "ampstead"
local file = arg[1]
if file:find("^test") then
  local log = amp.log.csv(file, { columns = { current_a = "amps" } })
  if file:find("fit") then
    amp.fit{ chemistry = "nca", capacity_ah = 2.9, pulses = log }
  end
elseif file:find("^load") then
  amp.profile.csv(file, { columns = { load_w = "power_w" } })
else
  print(#amp.offers.csv(file, { columns = { price_lot = "price_eur" } }))
end
END

head='offer,cell,modules,capacity_ah,voltage_v,soh_pct,price_eur'
row='A,NMC,8,60,7.4,82,95.50'

printf '%s\n' "$head" "$row" 'B,LFP,12,100,12.8,91,140' >plain_ok.csv
read_file 0 plain_ok.csv
quiet plain_ok.csv
printf '%s\nA,NMC,8,6\0000,7.4,82,95.50\n' "$head" >nul_bytes.csv
read_file 65 nul_bytes.csv 'nul_bytes.csv:2:' 'NUL byte'
printf '%s\n' "$head" 'A,NMC,8,1e999,7.4,82,95.50' >huge_exponent.csv
read_file 65 huge_exponent.csv 'huge_exponent.csv:2:9:' '1e999'
printf '%s\n' "$head" 'A,NMC,8,60,7.4,82' >ragged.csv
read_file 65 ragged.csv 'ragged.csv:2:' '6 of 7 fields'
printf '\xef\xbb\xbf%s\n%s\n' "$head" "$row" >bom.csv
read_file 0 bom.csv
quiet bom.csv
printf '%s\r\n' "$head" "$row" >crlf.csv
read_file 0 crlf.csv
quiet crlf.csv
printf '%s\n' "$head" 'A,NMC,8,-60,7.4,82,95.50' >negative_capacity.csv
read_file 65 negative_capacity.csv 'negative_capacity.csv:2:9:' '-60'
printf '%s\n' "${head/_ah/_mah}" "$row" >unit_mixup.csv
read_file 65 unit_mixup.csv 'unit_mixup.csv:1:' "'capacity_ah'"
printf '%s\n' "${head/voltage_v/capacity_ah}" "$row" >duplicate_headers.csv
read_file 65 duplicate_headers.csv 'duplicate_headers.csv:1:' \
  'columns 4 and 5'
printf '%s\n' "${head//,/;}" 'A;NMC;8;60,5;7,4;82;95,50' >locale_commas.csv
read_file 65 locale_commas.csv 'locale_commas.csv:2:9:' "decimal = ','"
printf '%s\n' "$head" '"A, the ""blue"" lot",NMC,8,60,7.4,82,"95.50"' \
  '"B' 'second line",LFP,12,"100",12.8,91,140' >excel_quotes.csv
read_file 0 excel_quotes.csv
printf '%s\n' "$head" 'A,NMC,8,60,7.4,0.82,95.50' >soh_fraction.csv
read_file 0 soh_fraction.csv 'read.lua:11: ' 'soh_pct = 0.82 looks like a fraction'
for soh in 182 -5 0; do
  printf '%s\n' "$head" "A,NMC,8,60,7.4,$soh,95.50" >soh_out_of_range.csv
  read_file 65 soh_out_of_range.csv 'soh_out_of_range.csv:2:' "$soh"
done
: >empty.csv
read_file 65 empty.csv 'empty.csv: ' empty
printf '%s\n' "$head" >header_only.csv
read_file 65 header_only.csv 'header_only.csv:' 'no rows'
printf '%s\n%s' "$head" "$row" >no_final_newline.csv
read_file 0 no_final_newline.csv
quiet no_final_newline.csv
printf '%s\n' time_s,power_w 0,500 900,520 1800, 2700,nan >load_gap.csv
read_file 65 load_gap.csv 'load_gap.csv:4:' gap
printf '%s\n' time_s,power_w 0,500 900,520 450,530 >load_backwards.csv
read_file 65 load_backwards.csv 'load_backwards.csv:4:' 'time goes back'
test_head='time_s,amps,voltage_v'
printf '%s\n' "$test_head" 0,0,4.1 10,1,4.0 5,1,3.9 >test_back.csv
read_file 65 test_back.csv 'test_back.csv:4:1:' 'time goes back'
printf '%s\n' "$test_head" 0,0,4.1 10,one,4.0 5,1,3.9 >test_word.csv
read_file 65 test_word.csv 'test_word.csv:3:4:' "'one' is not a number"
printf '%s\n' time_s,Amps,voltage_v 0,0,4.1 1,1,4 2,1,4 >test_header.csv
read_file 65 test_header.csv 'test_header.csv:1:' "did you mean 'Amps'?"
printf '%s\n' "$test_head" 0,0,4.1 10,1,4.0 20,1,3.9 >test_fit_short.csv
read_file 65 test_fit_short.csv 'pulses[1] "test_fit_short.csv"'
read_file 66 nowhere.csv nowhere.csv
printf '%s\n' "$head" 'A,NMC,8,'$'\033''[2J,7.4,82,1' >escapes.csv
read_file 65 escapes.csv '\x1b'

# 100 MB, two million rows, a quote that never ends
{
  echo "$head"
  yes 'O,LFP,4,50,12.8,88,70'
} | head -c 100000000 >big.csv
read_file 65 big.csv big.csv 'longer than 64 MB'
head -c 30000000 big.csv | sed '$d' >long_list.csv
read_file 65 long_list.csv long_list.csv rows
{
  printf 'offer,price_eur\n"'
  head -c 50000000 /dev/zero | tr '\0' x
} >long_line.csv
read_file 65 long_line.csv 'long_line.csv:2:' field
rm -f big.csv long_list.csv long_line.csv

echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
