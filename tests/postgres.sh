#!/usr/bin/env bash
# Runs a command beside a PostgreSQL of its own, named by DATABASE_URL: tests/postgres.sh COMMAND [WORD …]
# The server lies in a temporary folder, listens on a unix socket alone, and ends with the command.
# DATABASE_URL is of a role that may make databases and nothing else; SUPERUSER_URL is of one that may
# do anything, for the tests of what even that one must not be able to do unseen.
set -euo pipefail
(($#)) || { echo "Say what to run: tests/postgres.sh COMMAND [WORD …]" >&2; exit 2; }

bin=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -n 1 || true)
[ -x "$bin/initdb" ] || bin=$(dirname "$(command -v initdb || true)")
if [ ! -x "$bin/initdb" ]; then
  echo "PostgreSQL is needed (on Debian, as root: apt-get install postgresql)." >&2
  exit 1
fi

folder=$(mktemp -d /tmp/pg.XXXXXX) # short: a socket's path may have 107 letters
as=()
if [ "$(id -u)" -eq 0 ]; then # the server refuses to run as root
  as=(runuser -u postgres --)
  chown postgres "$folder"
fi
end() {
  (cd / && "${as[@]}" "$bin/pg_ctl" -D "$folder/data" -m immediate -w stop >/dev/null 2>&1) || true
  rm -rf "$folder"
}
trap end EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

password=$(head -c 15 /dev/urandom | base64 | tr '+/' '-_')
pwfile=$folder/password
(umask 077 && printf '%s\n' "$password" >"$pwfile")
[ ${#as[@]} -eq 0 ] || chown postgres "$pwfile"
words=(--locale=C.UTF-8) # the order of letters as people have it, where this version knows how
"$bin/initdb" --help | grep -q icu-locale && words+=(--locale-provider=icu --icu-locale=en-US)
(
  cd /
  "${as[@]}" "$bin/initdb" -D "$folder/data" -U boss --pwfile="$pwfile" --auth=scram-sha-256 \
    --encoding=UTF8 --no-sync "${words[@]}" >"$folder/initdb.log" 2>&1 \
    || { cat "$folder/initdb.log" >&2; exit 1; }
  "${as[@]}" "$bin/pg_ctl" -D "$folder/data" -l "$folder/log" -w -t 60 \
    -o "-c listen_addresses='' -c unix_socket_directories=$folder -c fsync=off" start >/dev/null \
    || { cat "$folder/log" >&2; exit 1; }
)
PGPASSWORD=$password "$bin/psql" -X -q -v ON_ERROR_STOP=1 -h "$folder" -U boss -d postgres <<SQL
CREATE ROLE smokehouse LOGIN CREATEDB PASSWORD '$password';
CREATE DATABASE smokehouse OWNER smokehouse;
SQL
export DATABASE_URL="postgresql://smokehouse:$password@/smokehouse?host=$folder"
export SUPERUSER_URL="postgresql://boss:$password@/smokehouse?host=$folder"
PATH=$PATH:$bin "$@"
