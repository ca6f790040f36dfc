"""The commands over a PostgreSQL of their own: served, filled with the demo, and with a role that can
do no more than it must.  Run by tests/postgres.sh."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.error import URLError
from urllib.parse import urlsplit
from urllib.request import urlopen

import psycopg
import pytest

from lots.models.kept import KEPT
from tests.management.console import CODE, PATIENCE_S, ROOT, free_port

pytestmark = pytest.mark.of_database("postgresql")
NAME = f"smokehouse_commands_{os.environ.get('PYTEST_XDIST_WORKER', 'alone')}"


def url_of(name: str, role: str = "") -> str:
    """The URL of another database of the same server, or of the same under another role."""
    parts = urlsplit(os.environ["DATABASE_URL"])
    netloc = parts.netloc.replace("smokehouse:", f"{role}:", 1) if role else parts.netloc
    return parts._replace(path=f"/{name}", netloc=netloc).geturl()


def password() -> str:
    return urlsplit(os.environ["DATABASE_URL"]).password or ""


@pytest.fixture
def url() -> Iterator[str]:
    """An empty database for one test."""
    with psycopg.connect(os.environ["SUPERUSER_URL"], autocommit=True) as boss:
        boss.execute(f"CREATE DATABASE {NAME} OWNER smokehouse")
        yield url_of(NAME)
        boss.execute(f"DROP DATABASE {NAME} WITH (FORCE)")


def manage(url: str, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(ROOT / "manage.py"), "--data", str(folder), *words]
    return subprocess.run(
        command, capture_output=True, text=True, timeout=300, cwd="/", env=environ(url)
    )


def environ(url: str) -> dict[str, str]:
    plain = ("DJANGO_SETTINGS_MODULE", "SMOKEHOUSE_DATA", "SUPERUSER_URL")
    kept = {name: value for name, value in os.environ.items() if name not in plain}
    return kept | {"DATABASE_URL": url}


def asked(url: str, sql: str) -> list[tuple[object, ...]]:
    with psycopg.connect(url) as session:
        return session.execute(sql).fetchall()  # type: ignore[arg-type]


def served(url: str, folder: Path) -> str:
    """What `serve` says from its start to its end, once it has answered."""
    port, log = free_port(), folder.parent / "serve.log"
    command = [sys.executable, str(ROOT / "manage.py"), "--data", str(folder), "serve"]
    with log.open("w") as output:
        process = subprocess.Popen(
            [*command, "--port", str(port)], stdout=output, stderr=output, cwd="/", env=environ(url)
        )
    try:
        wait(port, process)
        assert get(port, "/found/") in (200, 302)
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(20)
    return log.read_text()


def wait(port: int, process: subprocess.Popen[bytes]) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline and process.poll() is None:
        try:
            if get(port, "/healthz") == 200:
                return
        except (URLError, OSError):
            time.sleep(0.2)
    raise AssertionError("it was never served")


def get(port: int, path: str) -> int:
    with urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
        return int(answer.status)


def test_serve_makes_the_book_serves_it_and_leaves_copies_to_the_databases_tools(
    url: str, tmp_path: Path
) -> None:
    folder = tmp_path / "data"
    first = served(url, folder)
    assert CODE.search(first)
    assert "pg_dump" not in first  # nothing to copy yet
    assert "owns the book's tables" in first
    again = served(url, folder)
    assert f"pg_dump --format=custom --file=book.dump --host={socket(url)}" in again
    assert password() not in first + again
    assert not (folder / "book.sqlite3").exists()
    assert not (folder / "backups").exists()


def socket(url: str) -> str:
    return urlsplit(url).query.removeprefix("host=")


def test_serve_refuses_a_database_that_cannot_keep_every_letter(tmp_path: Path) -> None:
    with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as session:
        session.execute(
            f"CREATE DATABASE {NAME} ENCODING 'LATIN1' LOCALE 'C' LOCALE_PROVIDER libc "
            "TEMPLATE template0"
        )
        try:
            told = manage(url_of(NAME), tmp_path / "data", "serve", "--port", str(free_port()))
        finally:
            session.execute(f"DROP DATABASE {NAME} WITH (FORCE)")
    assert told.returncode == 1
    assert "keeps text as LATIN1" in told.stderr


def test_a_folder_with_a_book_in_sqlite_is_told_of(url: str, tmp_path: Path) -> None:
    folder = tmp_path / "data"
    folder.mkdir()
    (folder / "book.sqlite3").write_bytes(b"")
    assert "also holds a book in SQLite" in served(url, folder)
    refused = manage(url, folder, "demo", "--no-serve")
    assert refused.returncode == 1
    assert "also holds a book in SQLite" in refused.stderr


def test_the_demo_fills_checks_is_thrown_away_and_never_touches_what_is_not_its_own(
    url: str, tmp_path: Path
) -> None:
    folder = tmp_path / "data"
    with psycopg.connect(url) as session:
        session.execute("CREATE TABLE somebody_elses (n int)")
    refused = manage(url, folder, "demo", "--no-serve")
    assert "tables of something else (somebody_elses)" in refused.stderr
    with psycopg.connect(url) as session:
        session.execute("DROP TABLE somebody_elses")
    filled = manage(url, folder, "demo", "--no-serve")
    assert filled.returncode == 0, filled.stderr
    checked = manage(url, folder, "check_book")
    assert "lines agree" in checked.stdout, checked.stdout
    as_real = manage(url, tmp_path / "other", "serve", "--port", str(free_port()))
    assert f"The PostgreSQL database “{NAME}” holds invented demonstration data" in as_real.stderr
    thrown = manage(url, folder, "shell", "-c", THROW_AWAY)  # as --fresh does before it fills anew
    assert thrown.returncode == 0, thrown.stderr
    assert asked(url, "SELECT count(*) FROM pg_tables WHERE schemaname = 'public'") == [(0,)]
    assert manage(url, folder, "migrate", "-v", "0").returncode == 0
    assert manage(url, folder, "check").returncode == 0  # the triggers stand anew


THROW_AWAY = """
from django.conf import settings
from lots.management.demo.folder import throw_away
throw_away(settings.DATA_DIR)
"""
ROLE = "smokehouse_serving"
WRITE = """
from lots.entries.house import House, found_house, open_place
from lots.entries.note import write_note
from lots.entries.moments import moments
from lots.entries.pins import set_pin, check_pin
at = 1_772_000_000_000
kim = found_house(House("Invented", "Nowhere", "both", "UTC", "F", "lb"), "kim", "Kim", "K",
                  "alder-and-oak", at)
open_place(kim, "Table", "table", None, at)
write_note(kim, None, None, "kept", moments(at, at))
set_pin(kim, "4071", at)
check_pin(kim, "4071", "192.0.2.7", at)
print("written")
"""


@pytest.fixture
def serving(url: str, tmp_path: Path) -> Iterator[str]:
    """The URL of a role that has the least rights, on a book that its owner has made."""
    assert manage(url, tmp_path / "data", "migrate", "-v", "0").returncode == 0
    rights = manage(url, tmp_path / "data", "least_rights", ROLE)
    assert rights.returncode == 0, rights.stderr
    with psycopg.connect(os.environ["SUPERUSER_URL"], autocommit=True) as boss:
        boss.execute(f"CREATE ROLE {ROLE} LOGIN PASSWORD '{password()}'")
        with psycopg.connect(url) as owner:
            for line in rights.stdout.splitlines():
                owner.execute(line)  # type: ignore[arg-type]
        yield url_of(NAME, ROLE)
        with psycopg.connect(os.environ["SUPERUSER_URL"], dbname=NAME) as there:
            there.execute(f"DROP OWNED BY {ROLE}")
        boss.execute(f"DROP ROLE {ROLE}")


def test_a_role_with_the_least_rights_serves_the_book(serving: str, tmp_path: Path) -> None:
    said = served(serving, tmp_path / "data")
    assert "could switch off" not in said
    written = manage(serving, tmp_path / "data", "shell", "-c", WRITE)
    assert written.stdout.endswith("written\n"), written.stderr
    assert "lines agree" in manage(serving, tmp_path / "data", "check_book").stdout
    assert manage(serving, tmp_path / "data", "check").returncode == 0


def test_a_dumped_book_restored_agrees_and_withstands(url: str, tmp_path: Path) -> None:
    """As README says, with the command that `backup` names."""
    data, dump = tmp_path / "data", tmp_path / "book.dump"
    assert manage(url, data, "migrate", "-v", "0").returncode == 0
    assert manage(url, data, "shell", "-c", WRITE).stdout.endswith("written\n")
    named = manage(url, data, "backup", str(tmp_path / "x")).stderr.splitlines()[1].split()
    named[named.index("--file=book.dump")] = f"--file={dump}"
    known = environ(url) | {"PGPASSWORD": password()}
    subprocess.run(named, check=True, env=known)
    with psycopg.connect(os.environ["SUPERUSER_URL"], autocommit=True) as boss:
        boss.execute(f"DROP DATABASE {NAME} WITH (FORCE)")
        boss.execute(f"CREATE DATABASE {NAME} OWNER smokehouse")
    to = [f"--host={socket(url)}", "--username=smokehouse", f"--dbname={NAME}"]
    subprocess.run(["pg_restore", *to, str(dump)], check=True, env=known)
    assert "lines agree" in manage(url, data, "check_book").stdout
    assert manage(url, data, "check").returncode == 0  # every trigger is there, and ALWAYS


FORBIDDEN = (
    "ALTER TABLE lots_place DISABLE TRIGGER ALL",
    "DROP TRIGGER lots_place_no_change ON lots_place",
    "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RETURN NEW; END $$",
    "SET session_replication_role = replica",
    "DROP TABLE lots_place CASCADE",
    *(f"UPDATE {model._meta.db_table} SET {model._meta.pk.column} = 0" for model in KEPT),
    *(f"DELETE FROM {model._meta.db_table}" for model in KEPT),
    *(f"TRUNCATE {model._meta.db_table} CASCADE" for model in KEPT),
)


def test_a_role_with_the_least_rights_cannot_change_what_is_kept(serving: str) -> None:
    with psycopg.connect(serving) as session:
        assert [sql for sql in FORBIDDEN if not lacks_the_right(session, sql)] == []


def lacks_the_right(session: psycopg.Connection, sql: str) -> bool:
    try:
        session.execute(sql)  # type: ignore[arg-type]
    except psycopg.errors.InsufficientPrivilege:
        return True
    except psycopg.Error:
        return False
    finally:
        session.rollback()
    return False
