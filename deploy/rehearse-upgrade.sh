#!/bin/bash
# Rehearses an update without downtime: two processes of an old program serve one database, and are replaced one after the
# other by a new one, while plans are made and read without pause by a caller that goes where /readyz says yes. It counts what
# was asked, what failed for good, and whether every plan that was answered is there to the byte, read from both.
# Usage: DATABASE_URL=postgres://... deploy/rehearse-upgrade.sh OLD NEW    (two binaries; needs curl; an empty database)
set -euo pipefail
old=$(realpath "${1:?name the old binary}") new=$(realpath "${2:?name the new binary}")
: "${DATABASE_URL:?name an empty database}"
body=$(realpath "$(dirname "$0")/../testdata/golden/requests/kestrel.json")
export DATABASE_URL RIDEOUT_UNREADY=${RIDEOUT_UNREADY:-3s} RIDEOUT_BUDGET=${RIDEOUT_BUDGET:-30s} RIDEOUT_LOG_LEVEL=warn
work=$(mktemp -d)
ports=(18081 18082)
declare -A pid
trap 'touch "$work/stop"; for p in "${pid[@]}"; do kill "$p" 2>/dev/null || true; done; wait; rm -rf "$work"' EXIT

start() { # PORT BINARY: and wait until it is ready
	RIDEOUT_ADDR=127.0.0.1:$1 "$2" serve 2>>"$work/log.$1" &
	pid[$1]=$!
	for _ in $(seq 600); do
		if ready "$1"; then return; fi
		kill -0 "${pid[$1]}" 2>/dev/null || { cat "$work/log.$1"; exit 1; }
		sleep 0.1
	done
	echo "the process on $1 does not become ready"; exit 1
}
ready() { curl -sf -m 2 -o "$work/ready.$BASHPID" "http://127.0.0.1:$1/readyz"; }
replace() { # PORT
	kill -TERM "${pid[$1]}"
	wait "${pid[$1]}" || echo "the old process on $1 ended with code $?" | tee -a "$work/wrong"
	start "$1" "$new"
}
ask() { # FILE CURL-ARGS... PATH: at one that is ready, for a minute; the last answer's status
	local file=$1 path=${!#} status=none p
	set -- "${@:2:$#-2}"
	for _ in $(seq 120); do
		for p in "${ports[@]}"; do
			ready "$p" || continue
			status=$(curl -s -m 60 -o "$file" -w '%{http_code}' -H "Authorization: Bearer $key" "$@" "http://127.0.0.1:$p$path") || continue
			case $status in 2?? | 4??) echo "$status"; return ;; esac
		done
		sleep 0.5
	done
	echo "$status"
}
writer() {
	local n=0 status id
	while [ ! -e "$work/stop" ]; do
		n=$((n + 1))
		status=$(ask "$work/plan.$n" -X POST -H 'Content-Type: application/json' -H "Idempotency-Key: rehearsal-$n" -d "@$body" /v1/plans)
		echo "$status" >>"$work/made"
		if [ "$status" != 201 ]; then cat "$work/plan.$n" >>"$work/wrong"; continue; fi
		id=$(grep -o '"id":"[0-9a-f-]\{36\}"' "$work/plan.$n" | head -n 1 | cut -d '"' -f 4)
		echo "$n $id" >>"$work/ids"
		ask "$work/read" "/v1/plans/$id" >>"$work/read-status"
		cmp -s "$work/read" "$work/plan.$n" || echo "plan $id reads otherwise than it was answered" >>"$work/wrong"
	done
}

key=$("$old" key --organisation Rehearsal 2>"$work/log.key") || { cat "$work/log.key"; exit 1; }
version() { "$1" migrate | grep -o '[0-9]*$'; }
echo "the old program's schema: version $(version "$old")"
touch "$work/made" "$work/read-status" "$work/ids" "$work/wrong"
for p in "${ports[@]}"; do start "$p" "$old"; done
writer &
writing=$!
sleep "${REHEARSE_SECONDS:-10}"
replace "${ports[0]}"
echo "old and new side by side on version $(version "$new"), after $(wc -l <"$work/made") plans"
if "$old" migrate >"$work/older" 2>&1; then echo "the old program migrates a newer database" | tee -a "$work/wrong"; else echo "an old program that starts now says: $(cat "$work/older")"; fi
sleep "${REHEARSE_SECONDS:-10}"
kill -0 "${pid[${ports[1]}]}" || echo "the old process did not last" | tee -a "$work/wrong"
replace "${ports[1]}"
sleep "${REHEARSE_SECONDS:-10}"
touch "$work/stop"
wait "$writing"
lost=0
while read -r n id; do
	for p in "${ports[@]}"; do
		curl -s -H "Authorization: Bearer $key" "http://127.0.0.1:$p/v1/plans/$id" | cmp -s - "$work/plan.$n" || lost=$((lost + 1))
	done
done <"$work/ids"
failed=$(grep -cv '^201$' "$work/made" || true) unread=$(grep -cv '^200$' "$work/read-status" || true)
echo "plans asked for $(wc -l <"$work/made"), failed for good $failed; read back at once $(wc -l <"$work/read-status"), failed $unread; lost or altered at the end $lost"
cat "$work/wrong"
[ "$failed$unread$lost" = 000 ] && [ ! -s "$work/wrong" ] && [ -s "$work/ids" ]
