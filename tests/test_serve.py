"""Starting the logbook for real, and the commands of the server's own console."""

import os
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from lots.entries import people
from lots.management.backing_up import KEPT_BACKUPS
from lots.management.commands.notice_lapses import notice_all
from lots.management.serving import check_loopback, check_port
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.queries.house import lots_in_hand
from tests.make import Book, moment
from tests.management.console import CODE, PASSPHRASE, PLAIN, ROOT, Served, free_port, get, manage


@pytest.fixture(scope="module")
def migrated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an empty, migrated book; tests copy it."""
    folder = tmp_path_factory.mktemp("migrated")
    done = manage(folder, "migrate", "--verbosity", "0")
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def folder(migrated: Path, tmp_path: Path) -> Path:
    shutil.copytree(migrated, tmp_path / "data")
    return tmp_path / "data"


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    one = Served(tmp_path / "data")
    yield one
    if one.process.poll() is None:
        one.end()


def in_book(folder: Path, sql: str) -> None:
    with sqlite3.connect(folder / "book.sqlite3") as book:
        book.execute(sql)


def test_an_empty_folder_is_served_and_its_founding_code_printed(
    served: Served, tmp_path: Path
) -> None:
    served.wait()
    told = served.output.read_text()
    assert f"http://127.0.0.1:{served.port}/" in told
    assert CODE.search(told)
    status, page = get(served.port, "/")
    assert (status, b"Found the house" in page) == (200, True)
    status, css = get(served.port, "/static/css/smokehouse.css")
    assert (status, len(css) > 1000) == (200, True)
    folder = tmp_path / "data"
    assert folder.stat().st_mode & 0o777 == 0o700
    readable = [
        file.name for file in folder.rglob("*") if file.is_file() and file.stat().st_mode & 0o077
    ]
    assert readable == []


def test_the_passphrase_is_shown_at_the_first_start_alone_and_lies_in_no_copy_of_the_folder(
    folder: Path, tmp_path: Path
) -> None:
    told = []
    for _ in range(2):
        served = Served(folder)
        try:
            served.wait()
        finally:
            served.end()
        told.append(served.output.read_text())
    found = PASSPHRASE.search(told[0])
    assert found
    assert not PASSPHRASE.search(told[1])
    assert "NOTHING CAN BE SEALED" not in told[1]
    words = found[1].encode()
    holding = [
        file for file in tmp_path.rglob("*") if file.is_file() and words in file.read_bytes()
    ]
    (kept,) = [file for file in holding if file != served.output]
    assert kept.parent == tmp_path / "config" / "smokehouse"
    assert kept.stat().st_mode & 0o777 == 0o600


def test_a_passphrase_file_in_the_data_folder_is_refused_and_the_logbook_served_all_the_same(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "words").write_text("alder")
    (folder / "words").chmod(0o600)
    monkeypatch.setitem(PLAIN, "SEAL_PASSPHRASE_FILE", str(folder / "words"))
    served = Served(folder)
    try:
        served.wait()
    finally:
        served.end()
    told = served.output.read_text()
    assert "NOTHING CAN BE SEALED" in told
    assert "lies in the data folder" in told


def test_ending_the_server_ends_its_workers_and_what_runs_beside(served: Served) -> None:
    served.wait()
    children = served.all_children()
    assert len(children) == 4
    assert served.end() == 0
    time.sleep(0.2)
    assert [pid for pid in children if _runs(pid)] == []


def test_a_second_start_backs_the_book_up_and_keeps_the_last_ten(folder: Path) -> None:
    backups = folder / "backups"
    backups.mkdir()
    for number in range(KEPT_BACKUPS + 2):
        (backups / f"book-20200101T0000{number:02}.000Z.sqlite3").write_text("old")
    served = Served(folder)
    try:
        served.wait()
    finally:
        served.end()
    kept = sorted(file.name for file in backups.iterdir())
    assert len(kept) == KEPT_BACKUPS
    assert kept[0] == "book-20200101T000003.000Z.sqlite3"
    with sqlite3.connect(backups / kept[-1]) as copy:
        assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert copy.execute("SELECT count(*) FROM django_migrations").fetchone()[0] > 0


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.20", "smokehouse.example", "::", ""])
def test_an_address_other_than_this_machine_is_refused(host: str) -> None:
    with pytest.raises(CommandError, match="speaks https"):
        check_loopback(host)


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1"])
def test_this_machines_own_addresses_are_taken(host: str) -> None:
    check_loopback(host)


def test_serve_refuses_a_public_address_before_it_listens(tmp_path: Path) -> None:
    done = manage(tmp_path / "data", "serve", "--host", "smokehouse.example")
    assert done.returncode == 1
    assert "smokehouse.example" in done.stderr
    assert not (tmp_path / "data" / "book.sqlite3").exists()


def test_a_port_in_use_is_refused_in_words() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(CommandError, match="Is the logbook running already"):
            check_port("127.0.0.1", other.getsockname()[1])


@pytest.mark.parametrize("port", [0, -1, 65536])
def test_what_is_no_port_is_refused(port: int) -> None:
    with pytest.raises(CommandError, match="is not a port"):
        check_port("127.0.0.1", port)


def test_a_demo_folder_is_not_served_as_a_real_one(folder: Path) -> None:
    in_book(
        folder, "INSERT INTO lots_bookline VALUES (1, 0, 'made up', '{}', 1, 'p', 'd', NULL, NULL)"
    )
    in_book(
        folder,
        "INSERT INTO lots_establishment (name, address, sells, zone, temperature_unit, weight_unit,"
        " demo, line_id) VALUES ('Invented', 'Nowhere', 'both', 'UTC', 'F', 'kg', 1, 1)",
    )
    done = manage(folder, "serve", "--port", str(free_port()))
    assert done.returncode == 1
    assert "invented demonstration data" in done.stderr
    assert not (folder / "backups").exists()


def test_a_book_of_a_newer_version_is_refused_and_left_alone(folder: Path) -> None:
    in_book(
        folder,
        "INSERT INTO django_migrations (app, name, applied)"
        " VALUES ('lots', '0999_from_the_future', '2099-01-01')",
    )
    done = manage(folder, "serve", "--port", str(free_port()))
    assert done.returncode == 1
    assert "A newer version" in done.stderr
    assert "lots.0999_from_the_future" in done.stderr
    assert not (folder / "backups").exists()


def test_a_book_that_lost_a_trigger_is_refused_and_not_quietly_mended(folder: Path) -> None:
    in_book(folder, "DROP TRIGGER lots_reading_no_update")
    for _ in range(2):
        done = manage(folder, "serve", "--port", str(free_port()))
        assert done.returncode == 1
        assert "lots_reading_no_update is missing" in done.stderr


def test_a_damaged_book_is_refused(folder: Path) -> None:
    (folder / "book.sqlite3").write_bytes(b"not a database, but something else" * 200)
    done = manage(folder, "serve", "--port", str(free_port()))
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "damaged" in done.stderr


@pytest.mark.parametrize("name", ["olga", "Olga Operator"])
def test_let_in_prints_a_code_that_works_once(
    name: str, book: Book, capsys: pytest.CaptureFixture[str]
) -> None:
    call_command("let_in", name)
    found = CODE.search(capsys.readouterr().out)
    now = time.time_ns() // 1_000_000
    assert found
    assert people.set_password(found[1], "birch-and-apple", now) == book.operator
    assert people.invited(found[1], now) is None
    assert BookLine.objects.filter(kind="let in from the console").count() == 1


def test_let_in_refuses_whom_it_does_not_know_and_who_holds_no_right(book: Book) -> None:
    with pytest.raises(CommandError, match="Nobody here is called “olaf”"):
        call_command("let_in", "olaf")
    people.take_right(book.keeper, book.operator, "operator", "left", moment("09:00"))
    lines = BookLine.objects.count()
    with pytest.raises(CommandError, match="holds no right"):
        call_command("let_in", "olga")
    assert BookLine.objects.count() == lines


def test_three_hours_off_while_a_reading_was_due_open_one_deviation_dated_to_the_minute(
    book: Book,
) -> None:
    """The cooler is read every 16 hours; the server is off from 23:00 to 02:00."""
    book.start("hold", "Cooler", "08:00", book.open_lot())
    book.at_place("Cooler", "08:00 36.2")
    assert notice_all(moment("23:00")) == (0, 0)
    assert notice_all(moment("2026-03-05 02:00")) == (1, 0)
    assert notice_all(moment("2026-03-05 02:01")) == (0, 0)
    deviation = Deviation.objects.get()
    assert deviation.broke_at // 60_000 * 60_000 == moment("2026-03-05 00:00")
    assert deviation.line.at == moment("2026-03-05 02:00")
    assert deviation.line.person is None


def test_a_lot_that_cannot_be_looked_at_does_not_hide_the_lapses_of_the_next(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = book.open_lot("TR-1"), book.open_lot("TR-2")
    book.start("hold", "Cooler", "08:00", first, second)
    book.at_place("Cooler", "08:00 36.2")
    from lots.management.commands import notice_lapses as command

    noticing = command.notice_lapses

    def fails_on_the_first(lots: list[object], at: int) -> int:
        if lots == [first]:
            raise RuntimeError("planted")
        return noticing(lots, at)

    monkeypatch.setattr(command, "notice_lapses", fails_on_the_first)
    assert notice_all(moment("2026-03-05 02:00")) == (1, 1)
    assert Deviation.objects.get().lot == second


def test_a_lot_that_was_voided_is_not_looked_at_any_more(book: Book) -> None:
    from lots.entries.lot import void_lot

    lot = book.open_lot()
    assert list(lots_in_hand()) == [lot]
    void_lot(book.operator, lot, "opened twice", moment("07:30"))
    assert list(lots_in_hand()) == []


def test_noticing_goes_on_until_whoever_started_it_is_gone(folder: Path) -> None:
    starter = subprocess.Popen(
        [sys.executable, "-c",
         "import os, subprocess, sys, time\n"
         f"one = subprocess.Popen([sys.executable, {str(ROOT / 'manage.py')!r}, '--data',"
         f" {str(folder)!r}, 'notice_lapses', '--every', '1', '--beside', str(os.getpid())])\n"
         "print(one.pid, flush=True); time.sleep(60)"],
        stdout=subprocess.PIPE, text=True, env=PLAIN,
    )  # fmt: skip
    assert starter.stdout
    pid = int(starter.stdout.readline())
    time.sleep(3)
    assert _runs(pid)
    starter.kill()
    starter.wait()
    assert _ends(pid)


def test_a_server_killed_at_once_leaves_nothing_running(served: Served) -> None:
    served.wait()
    children = served.all_children()
    served.process.kill()
    served.process.wait()
    assert [pid for pid in children if not _ends(pid)] == []


def _ends(pid: int) -> bool:
    """Whether the process ends by itself within ten seconds; it is ended here otherwise."""
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline:
        if not _runs(pid):
            return True
        time.sleep(0.2)
    os.kill(pid, signal.SIGKILL)
    return False


def _runs(pid: int) -> bool:
    try:
        return ") Z " not in Path(f"/proc/{pid}/stat").read_text()
    except FileNotFoundError:
        return False
