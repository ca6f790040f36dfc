#!/usr/bin/env bash
# Runs every check and every test, from nothing: makes .venv, installs what is missing (Debian's chromium,
# poppler-utils, postgresql and a checker of PDF/A-1b included), or says plainly what it lacks the right to
# install.
set -euo pipefail
cd "$(dirname "$0")/.."

need=()
command -v chromium >/dev/null || need+=(chromium)
command -v pdfsig >/dev/null || need+=(poppler-utils)
command -v certutil >/dev/null || need+=(libnss3-tools)
command -v qpdf >/dev/null || need+=(qpdf)
command -v java >/dev/null || need+=(default-jre-headless)
for jar in preflight:libpdfbox2-java jaxb-api:libjaxb-api-java javax.activation:libactivation-java; do # a checker of PDF/A-1b
  [ -e "/usr/share/java/${jar%%:*}.jar" ] || need+=("${jar##*:}")
done
compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null || command -v initdb >/dev/null || need+=(postgresql)
if ((${#need[@]})); then
  if [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${need[@]}" >/dev/null
  else
    echo "These are needed and this user may not install them: ${need[*]}" >&2
    echo "Install them (on Debian, as root: apt-get install ${need[*]}) and run this again." >&2
    exit 1
  fi
fi

python=${PYTHON:-python3}
[ -x .venv/bin/python ] || "$python" -m venv .venv
.venv/bin/pip install -q --disable-pip-version-check -c .ci/constraints.txt -e '.[test]'

export SMOKEHOUSE_DATA
SMOKEHOUSE_DATA=$(mktemp -d)
trap 'rm -rf "$SMOKEHOUSE_DATA"' EXIT
say() { printf '\n== %s\n' "$1"; }

say "formatting and linting"
.venv/bin/ruff format --check .
.venv/bin/ruff check .
.venv/bin/djlint --quiet --lint templates
say "import contracts"
.venv/bin/lint-imports
say "strict typing of core, pdf and logger"
.venv/bin/mypy
say "migrations and system checks"
.venv/bin/python manage.py makemigrations --check --dry-run
.venv/bin/python manage.py migrate -v 0
.venv/bin/python manage.py check
say "worked cases"
.venv/bin/python manage.py worked | tail -n 1
unset DATABASE_URL # SQLite first, whatever this machine serves
if [ $# -gt 0 ]; then
  say "tests"
  .venv/bin/python -m pytest "$@"
  exit
fi
timed="journey or fault" # waits for answers: runs alone, the rest on every core
say "tests"
.venv/bin/python -m pytest -n auto --dist loadfile -m "not ($timed)"
say "tests with browsers, and with servers that are killed"
.venv/bin/python -m pytest -m "$timed"
say "tests on PostgreSQL"
tests/postgres.sh .venv/bin/python -m pytest -n auto --dist loadfile -m "not ($timed)" \
  tests/entries tests/queries tests/models tests/books tests/test_postgres.py
say "servers that are killed, on PostgreSQL"
tests/postgres.sh .venv/bin/python -m pytest tests/faults
