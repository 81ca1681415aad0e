#!/bin/sh
# Makes a cluster for POSTGRES_USER, POSTGRES_PASSWORD and POSTGRES_DB, once, and serves it on port 5432.
# POSTGRES_PASSWORD_FILE may name a file that holds the password instead.
# Arguments are handed to postgres, such as: -c fsync=off
# LIFETIME_S, when set, ends the server after so many seconds: a test that was killed cannot.
set -eu

user=${POSTGRES_USER:-postgres}
database=${POSTGRES_DB:-$user}

as_postgres() {
	setpriv --reuid=postgres --regid=postgres --init-groups "$@"
}

cd /
if [ ! -s "$PGDATA/PG_VERSION" ]; then
	if [ -n "${POSTGRES_PASSWORD_FILE:-}" ]; then
		POSTGRES_PASSWORD=$(cat "$POSTGRES_PASSWORD_FILE")
	fi
	[ -n "${POSTGRES_PASSWORD:-}" ] || {
		echo "entrypoint: POSTGRES_PASSWORD is not set" >&2
		exit 1
	}
	install -d -o postgres -g postgres -m 0700 "$PGDATA"
	secret=$(as_postgres mktemp)
	printf '%s\n' "$POSTGRES_PASSWORD" >"$secret"
	as_postgres initdb -D "$PGDATA" -U "$user" --pwfile="$secret" --auth-local=trust --auth-host=scram-sha-256 \
		--encoding=UTF8 --no-locale --no-sync >/dev/null
	rm "$secret"
	echo 'host all all all scram-sha-256' >>"$PGDATA/pg_hba.conf"
	# Single-user mode, so that "ready to accept connections" is logged once and means what it says.
	if [ "$database" != postgres ]; then
		printf 'CREATE DATABASE "%s"\n' "$database" | as_postgres postgres --single -D "$PGDATA" postgres >/dev/null
	fi
fi
if [ -n "${LIFETIME_S:-}" ]; then
	(sleep "$LIFETIME_S" && kill -INT 1) &
fi
exec setpriv --reuid=postgres --regid=postgres --init-groups postgres -c listen_addresses='*' -c unix_socket_directories=/tmp "$@"
