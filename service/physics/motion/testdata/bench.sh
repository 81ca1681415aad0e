#!/usr/bin/env bash
# Benchmarks the integration of a record side by side: package motion, a plain C loop, and scipy, in turn in every
# round, on this machine. Prints the medians in simulated over real time, on one core, their ratios, and whether the
# aims are met; ends with 1 if one is missed.
#
#   service/physics/motion/testdata/bench.sh [rounds]
#
# CC, CFLAGS, PYTHON and BENCHTIME may be set.
set -euo pipefail

rounds=${1:-5}
aim=150000
aim_new_sea=100000

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
root=$(cd "$here/../../../.." && pwd)
python=${PYTHON:-/usr/bin/python3}
out=$(mktemp -d)
trap 'rm -rf "$out"' EXIT

"${CC:-cc}" ${CFLAGS:--O3} -o "$out/reference" "$here/reference.c" -lm
cd "$root"
go test -c -o "$out/motion.test" ./service/physics/motion

for ((i = 1; i <= rounds; i++)); do
	echo "round $i of $rounds" >&2
	"$out/reference" >>"$out/c"
	"$python" "$here/reference.py" >>"$out/python"
	(cd service/physics/motion && "$out/motion.test" -test.run xxx -test.bench BenchmarkRecord -test.benchtime "${BENCHTIME:-1s}") >>"$out/go"
done

# median prints the middle of the numbers it is given, one a line, or nothing.
median() { sort -g | awk '{v[NR] = $1} END {if (NR) printf "%.0f\n", (v[int((NR+1)/2)] + v[int(NR/2)+1]) / 2}'; }
# value FILE NAME gives a reference program's figures of a name.
value() { awk -v name="$2" '$1 == name {print $2}' "$1"; }
# benchmark NAME gives a Go benchmark's figures of simulated over real time.
benchmark() { awk -v name="^$1(-[0-9]+)?$" '$1 ~ name {for (i = 2; i <= NF; i++) if ($i == "x-real-time") print $(i-1)}' "$out/go"; }
ratio() { awk -v a="$1" -v b="$2" 'BEGIN {if (b > 0) printf "%.3g", a / b; else printf "not known"}'; }
meets() { awk -v a="$1" -v aim="$2" 'BEGIN {exit !(a >= aim)}'; }

go=$(benchmark BenchmarkRecord | median)
go_new=$(benchmark BenchmarkRecordWithNewSea | median)
c=$(value "$out/c" x_real_time | median)
c_new=$(value "$out/c" x_real_time_with_new_sea | median)
py=$(value "$out/python" x_real_time | median)
if [[ -z $go || -z $go_new ]]; then
	echo "the Go benchmarks report no x-real-time" >&2
	exit 1
fi

row() { printf '%-28s %12s %12s %12s %12s\n' "$@"; }
figures() { for name in mean_n sd_n max_n; do value "$1" $name | median; done; }
mapfile -t of_c < <(figures "$out/c")
mapfile -t of_py < <(figures "$out/python")
mapfile -t of_go < <("$out/motion.test" -test.run 'TestIndependentCases/power_12_m,_storm,_stiff$' -test.v |
	sed -nE 's/.*: mean ([0-9]+) .* sd ([0-9]+) .* max ([0-9]+) .*/\1\n\2\n\3/p')

echo "medians of $rounds rounds"
row '' 'x real time' 'mean N' 'sd N' 'max N'
row 'Go' "$go" "${of_go[@]:-}"
row 'Go, record made anew' "$go_new" '' '' ''
row 'C' "$c" "${of_c[@]}"
row 'C, record made anew' "$c_new" '' '' ''
row 'Python, one short sea' "${py:-skipped}" "${of_py[@]:-}"
echo "Go/C $(ratio "$go" "$c"), with the record made anew $(ratio "$go_new" "$c_new"); Go/Python $(ratio "$go" "${py:-0}")"
if [[ -z $py ]]; then head -1 "$out/python"; fi

missed=0
for check in "Go:$go:$aim" "Go, record made anew:$go_new:$aim_new_sea"; do
	IFS=: read -r what got least <<<"$check"
	if meets "$got" "$least"; then
		echo "$what: $got times real time, aim $least met"
	else
		echo "$what: $got times real time, aim $least missed"
		missed=1
	fi
done
exit $missed
