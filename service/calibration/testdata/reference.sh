#!/bin/bash
# Runs the model in JAGS (apt-get install jags) on a fleet's CSV and prints, for each unknown, mean,
# standard deviation and the 5, 50 and 95 % quantiles of all chains. reference.sh mixed.csv
set -euo pipefail
model=$(cd "$(dirname "$0")" && pwd)/reference.bug
csv=$(realpath "$1")
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cd "$work"

awk -F, 'NR > 1 {
	n++
	if (!($2 in seenV)) { seenV[$2] = 1; vs[++nv] = $2 }
	if (!($3 in seenC)) { seenC[$3] = 1; cs[++nc] = $3 }
	v[n] = $2; c[n] = $3; load[n] = ($4 == "load"); z[n] = log($6 / $5); s[n] = $7
}
function list(name, a,   i, line) {
	line = "`" name "` <- c("
	for (i = 1; i <= n; i++) line = line (i > 1 ? "," : "") a[i]
	print line ")"
}
function sorted(a, m,   i, j, t) {
	for (i = 2; i <= m; i++) for (j = i; j > 1 && a[j] < a[j-1]; j--) { t = a[j]; a[j] = a[j-1]; a[j-1] = t }
}
END {
	sorted(vs, nv); sorted(cs, nc)
	for (i = 1; i <= nv; i++) number[vs[i]] = i
	for (i = 1; i <= nc; i++) number[cs[i]] = i
	for (i = 1; i <= n; i++) {
		vi[i] = number[v[i]]; ci[i] = number[c[i]]; k[i] = 1 + load[i]
		onF[i] = load[i] ? 1 : 0.5; onD[i] = load[i] ? 0 : -0.5; zi[i] = sprintf("%.15g", z[i])
	}
	print "`N` <- " n "\n`V` <- " nv "\n`C` <- " nc
	list("vessel", vi); list("canopy", ci); list("kind", k); list("onWindage", onF); list("onDrag", onD); list("z", zi); list("deviation", s)
}' "$csv" >data.R

for chain in 1 2 3 4; do
	printf '".RNG.name" <- "base::Mersenne-Twister"\n".RNG.seed" <- %d\n' "$chain" >"seed$chain.R"
done
cat >run.cmd <<CMD
model in "$model"
data in "data.R"
compile, nchains(4)
parameters in "seed1.R", chain(1)
parameters in "seed2.R", chain(2)
parameters in "seed3.R", chain(3)
parameters in "seed4.R", chain(4)
initialize
update 20000
monitor lnF, thin(10)
monitor lnD, thin(10)
monitor lnDrift, thin(10)
monitor meanF, thin(10)
monitor meanD, thin(10)
monitor betweenF, thin(10)
monitor betweenD, thin(10)
monitor noise, thin(10)
monitor isWild, thin(10)
update 400000
coda *, stem(out)
exit
CMD
jags run.cmd >log 2>&1 || { cat log >&2; exit 1; }

while read -r name from to; do
	for chain in 1 2 3 4; do sed -n "${from},${to}p" "outchain$chain.txt"; done | awk '{ print $2 }' | sort -g | awk -v name="$name" '
		{ x[NR] = $1; sum += $1; squares += $1 * $1 }
		END {
			mean = sum / NR
			printf "%s mean %.5f sd %.5f q05 %.5f q50 %.5f q95 %.5f\n", name, mean, sqrt((squares - NR * mean * mean) / (NR - 1)), x[int(0.05 * NR)], x[int(0.5 * NR)], x[int(0.95 * NR)]
		}'
done <outindex.txt
