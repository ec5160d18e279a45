#!/usr/bin/env bash
# bench.sh times whole runs of tidemark side by side with what an administrator
# could use instead, or could not beat, and prints the ratios. One command:
#
#     scan/testdata/bench.sh [ROW...]        rows: random go mixed unchanged changed
#
# It builds the program, makes its trees below a folder of its own, warms the
# page cache, runs the two sides of each row in turns (who begins changes every
# round), prints medians and the ratio of the medians, and removes the folder.
# A run starts with the process and ends with it: logbook made or loaded,
# snapshot committed. Needed: bash, go, GNU find, xargs, awk, b3sum, sha256sum.
#
#   BENCH_ROUNDS   runs of each side, default 7
#   BENCH_DIR      where the folder is made, default ${TMPDIR:-/tmp}; about 5 GB
#   BENCH_MIXED    folders with real data, separated by colons, of which 1 GB is
#                  copied; default: the Go installation, the module cache,
#                  /usr/lib and /usr/share
#   BENCH_SCALE    whole number that all made sizes are divided by, default 1
#                  (larger: only to try the script out)
set -euo pipefail
export LC_ALL=C
cd "$(dirname "$0")/../.."

rounds=${BENCH_ROUNDS:-7}
scale=${BENCH_SCALE:-1}
rows=${*:-random go mixed unchanged changed}
for tool in go find xargs awk b3sum sha256sum; do
	command -v "$tool" >/dev/null || { echo "bench.sh: $tool is not installed" >&2; exit 1; }
done
work=$(mktemp -d "${BENCH_DIR:-${TMPDIR:-/tmp}}/tidemark-bench-XXXXXX")
trap 'rm -rf "$work"' EXIT
goroot=$(go env GOROOT)

CGO_ENABLED=0 go build -o "$work/tidemark" ./cmd/tidemark
CGO_ENABLED=0 go build -o "$work/sidebyside" ./scan/testdata/sidebyside
unset "${!TIDEMARK_@}"

# timed FILE COMMAND...: runs it and adds "wall cpu" in seconds to FILE.
timed() {
	local file=$1 TIMEFORMAT='%R %U %S'
	shift
	{ time "$@" >"$work/out" 2>"$work/err"; } 2>"$work/time" || { cat "$work/err" >&2; return 1; }
	awk '{ print $1, $2 + $3 }' "$work/time" >>"$file"
}

# median FILE COLUMN
median() {
	awk -v c="$2" '{ print $c }' "$1" | sort -n |
		awk '{ v[NR] = $1 } END { print NR % 2 ? v[(NR + 1) / 2] : (v[NR / 2] + v[NR / 2 + 1]) / 2 }'
}

# row NAME BAR BEFORE OURS THEIRS: the three are functions; BEFORE is not timed.
row() {
	local name=$1 bar=$2 before=$3 ours=$4 theirs=$5 i
	: >"$work/ours"; : >"$work/theirs"
	for ((i = 1; i <= rounds; i++)); do
		"$before" "$i"
		if ((i % 2)); then
			timed "$work/ours" "$ours"; timed "$work/theirs" "$theirs"
		else
			timed "$work/theirs" "$theirs"; timed "$work/ours" "$ours"
		fi
	done
	awk -v name="$name" -v bar="$bar" \
		-v ow="$(median "$work/ours" 1)" -v oc="$(median "$work/ours" 2)" \
		-v tw="$(median "$work/theirs" 1)" -v tc="$(median "$work/theirs" 2)" 'BEGIN {
		said = bar == "-" ? "" : ow / tw <= bar ? "reached" : "OPEN"
		printf "%-44s %8.3f %8.3f %7.2f %5s  %-7s %8.2f\n", name, ow, tw, ow / tw, bar, said, oc / tc }'
}

warm() { find "$1" -type f -print0 | xargs -0 cat >/dev/null; }
nothing() { :; }
no_book() { rm -rf "$work/book"; }
scan() { "$work/tidemark" scan --quiet --logbook "$work/book" "$@"; }

echo "$(date -u +%F), $(uname -sm), $(nproc) cores, $(awk -F': *' '/^model name/ { print $2; exit }' /proc/cpuinfo 2>/dev/null), $(go env GOVERSION), $rounds rounds"
printf '%-44s %8s %8s %7s %5s  %-7s %8s\n' 'work | against' 'ours s' 'other s' 'ratio' 'bar' '' 'cpu ratio'

for r in $rows; do
	case $r in
	random)
		"$work/sidebyside" random "$work/random" 8 $((2147483648 / scale))
		warm "$work/random"
		first() { scan --compress all "$work/random"; }
		b3() { b3sum "$work"/random/*; }
		sha() { sha256sum "$work"/random/*; }
		row 'first scan, random | b3sum' 1.0 no_book first b3
		row 'first scan, random | sha256sum' - no_book first sha
		rm -rf "$work/random"
		;;
	go)
		warm "$goroot"
		first() { scan "$goroot"; }
		b3() { find "$goroot" -type f -print0 | xargs -0 b3sum; }
		row 'first scan, Go | find, xargs b3sum' 1.0 no_book first b3
		;;
	mixed)
		IFS=: read -ra from <<<"${BENCH_MIXED:-$goroot:$(go env GOMODCACHE):/usr/lib:/usr/share}"
		"$work/sidebyside" mixed "$work/mixed" $((1000000000 / scale)) "${from[@]}"
		warm "$work/mixed"
		first() { scan "$work/mixed"; }
		plain() { "$work/sidebyside" loop "$work/mixed"; }
		row 'first scan, mixed | plain loop' 0.33 no_book first plain
		rm -rf "$work/mixed"
		;;
	unchanged | changed)
		if [[ ! -d $work/tree ]]; then
			"$work/sidebyside" tree "$work/tree" $((100000 / scale))
			warm "$work/tree"
		fi
		sleep 3 # a file as young as the scan is read again
		no_book
		scan "$work/tree"
		night() { scan; }
		walk() { find "$work/tree" -printf '%p %s %T@ %C@ %i\n'; }
		if [[ $r == unchanged ]]; then
			row 'night, unchanged | find' 1.5 nothing night walk
		else
			alter() { "$work/sidebyside" change "$work/tree" "$1" >"$work/list"; sleep 1; }
			both() { walk && xargs -0 b3sum <"$work/list"; }
			row 'night, 1 % changed | find, b3sum of the changed' 1.5 alter night both
		fi
		;;
	*)
		echo "bench.sh: no row $r (there are random, go, mixed, unchanged and changed)" >&2
		exit 1
		;;
	esac
done
