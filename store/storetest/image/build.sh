#!/bin/sh
# Builds rideout-postgres:15, the image of Postgres the tests run when a Docker daemon answers.
# Nothing is pulled: the root file system comes from the Debian mirror this machine's own apt uses.
# Does nothing when the daemon has the image of this recipe already. Needs root, for debootstrap.
set -eu

image=rideout-postgres:15
suite=bookworm # the Debian release that carries Postgres 15
here=$(cd "$(dirname "$0")" && pwd)

die() {
	echo "build.sh: $*" >&2
	exit 1
}

docker info >/dev/null 2>&1 || die "no Docker daemon answers; the tests then use a private Postgres"
recipe=$(cat "$here/build.sh" "$here/entrypoint.sh" | sha256sum | cut -c 1-16)
if [ "$(docker image inspect --format '{{index .Config.Labels "rideout.recipe"}}' "$image" 2>/dev/null)" = "$recipe" ]; then
	echo "$image is there"
	exit 0
fi
[ "$(id -u)" = 0 ] || die "run as root: debootstrap makes device files"
if ! command -v debootstrap >/dev/null; then
	apt-get install -y -qq debootstrap >/dev/null || die "debootstrap is missing: apt-get install debootstrap"
fi

# The first mirror apt has for Debian itself; MIRROR overrides it.
mirror=${MIRROR:-$(apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' 'Origin: Debian' 'Label: Debian' | head -n 1)}
[ -n "$mirror" ] || die "apt has no Debian mirror configured; set MIRROR"
# debootstrap fetches with wget, which does not read apt's proxy.
proxy=$(apt-config dump --format '%v' Acquire::http::Proxy)
if [ -n "$proxy" ]; then
	export http_proxy="$proxy"
fi

work=$(mktemp -d "${TMPDIR:-/var/tmp}/rideout-image.XXXXXX")
trap 'rm -rf --one-file-system "$work"' EXIT
trap 'exit 1' INT TERM

if ! debootstrap --variant=minbase --include=postgresql-15 "$suite" "$work/root" "$mirror" >"$work/log" 2>&1; then
	tail -n 20 "$work/log" >&2
	die "debootstrap from $mirror failed"
fi
# The package makes a cluster of its own; the entrypoint makes one with the user and password asked for.
rm -rf "$work/root/var/lib/postgresql/15" "$work/root/etc/postgresql/15"
install -m 0755 "$here/entrypoint.sh" "$work/root/usr/local/bin/entrypoint.sh"

tar -C "$work/root" --one-file-system --exclude=./var/cache/apt --exclude=./var/lib/apt/lists \
	--exclude=./usr/share/doc --exclude=./usr/share/man --exclude=./proc/* --exclude=./sys/* -c . |
	docker import \
		--change 'ENTRYPOINT ["/usr/local/bin/entrypoint.sh"]' \
		--change "LABEL rideout.recipe=$recipe" \
		--change 'EXPOSE 5432' \
		--change 'ENV PATH=/usr/lib/postgresql/15/bin:/usr/sbin:/usr/bin:/sbin:/bin' \
		--change 'ENV PGDATA=/var/lib/postgresql/data' \
		- "$image" >/dev/null
echo "$image is built"
