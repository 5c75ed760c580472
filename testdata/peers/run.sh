#!/usr/bin/env bash
# The same sealed cycle by SciPy, by C (Runge-Kutta by hand; CVODE's Adams where
# libsundials-dev is there) and by this project's solver, one after the other on one core:
# time of a cycle, greatest relative error of pressure at 541 angles against DOP853 at 1e-13,
# and for each the fastest setting whose error is at most 1e-5, over ours.
# Needs python3-scipy and gcc. usage: testdata/peers/run.sh
set -euo pipefail
cd "$(dirname "$0")"
work=$(mktemp -d)
trap 'rm -r "$work"' EXIT
if ! gcc -O2 -march=native -DCVODE closed.c -o "$work/closed" -lsundials_cvode -lsundials_nvecserial -lm 2>/dev/null; then
	echo "no CVODE (libsundials-dev): left out" >&2
	gcc -O2 -march=native closed.c -o "$work/closed" -lm
fi
{
	(cd ../.. && GOMAXPROCS=1 go test ./solve -run '^$' -bench SealedPeer -benchtime 2000x) |
		awk '/^BenchmarkSealedPeer/ {split($1, name, "/"); if ($1 ~ /-[0-9]+-[0-9]+$/ || name[2] !~ /e/) sub(/-[0-9]+$/, "", name[2]); printf "phasebench %s %.6g %.3g\n", name[2], $3 * 1e-9, $5}'
	"$work/closed" reference.csv
	python3=/usr/bin/python3
	$python3 closed.py reference.csv
} | tee "$work/all" | awk 'BEGIN {printf "%-14s %8s %12s %10s\n", "", "setting", "us a cycle", "error"} {printf "%-14s %8s %12.1f %10.1e\n", $1, $2, $3 * 1e6, $4}'
echo
awk '$4 <= 1e-5 && (!($1 in best) || $3 < best[$1]) {best[$1] = $3; at[$1] = $2}
	END {for (name in best) printf "%-14s %8s %10.1f us, %.2f times ours\n", name, at[name], best[name] * 1e6, best[name] / best["phasebench"]}' "$work/all" | sort -k3 -n
