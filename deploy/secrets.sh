#!/bin/sh
# Makes the secrets a deployment needs, in a directory, for the account that runs the service; what is there is left as
# it is. Usage: deploy/secrets.sh DIRECTORY [UID:GID] [HOST]
# HOST is where Postgres is reached (database, as in the compose file). RIDEOUT names the binary (bin/rideout).
set -eu
umask 077
dir=${1:?name the directory}
owner=${2:-65532:65532}
host=${3:-database}
here=$(cd "$(dirname "$0")/.." && pwd)

mkdir -p "$dir"
chmod 0755 "$dir"
make() { # NAME COMMAND...: the file appears when it is whole
	[ -e "$dir/$1" ] && return
	name=$1
	shift
	"$@" >"$dir/.$name" && chown "$owner" "$dir/.$name" && mv "$dir/.$name" "$dir/$name"
}
chance() { od -An -N"$1" -tx1 /dev/urandom | tr -d ' \n'; }
base64_32() { head -c 32 /dev/urandom | base64; }

make database_password chance 24
make database_url printf 'postgres://rideout:%s@%s:5432/rideout\n' "$(cat "$dir/database_password")" "$host"
make secrets.key base64_32
make session head -c 32 /dev/urandom
if [ ! -e "$dir/log.key" ]; then
	"${RIDEOUT:-$here/bin/rideout}" log-key --new --file "$dir/log.key" --name "${RIDEOUT_LOG_NAME:-$(hostname)}" >"$dir/log.pub"
	chown "$owner" "$dir/log.key" "$dir/log.pub"
fi
echo "the secrets are in $dir; keep log.key and secrets.key where no backup of the database is"
