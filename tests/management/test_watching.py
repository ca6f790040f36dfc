"""The book walks itself beside its use: each night, when it is asked to, and after an update."""

import json
import os
import shutil
import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from lots.entries.book import act
from lots.entries.files import Upload, keep_file
from lots.entries.house import open_place
from lots.entries.keeping import ask_for_walk
from lots.management.commands.watch_book import night_is_due
from lots.management.locks import walking_book
from lots.management.walking import walk_and_note
from lots.models.triggers import lift_triggers
from lots.queries.keeping import last_walk, walk_asked_at, walking
from tests.make import Book, make_book, moment
from tests.management.console import ROOT, Served, free_port, manage, newest


@pytest.fixture
def beside(settings: Any, tmp_path: Path) -> Path:
    """A data folder for the notes of this test alone."""
    settings.DATA_DIR = tmp_path
    settings.FILES_DIR = tmp_path / "files"
    return tmp_path


def _noted(folder: Path) -> dict[str, Any]:
    return dict(json.loads((folder / "keeping" / "walk.json").read_text()))


def _within(seconds: float, so: Callable[[], bool]) -> bool:
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if so():
            return True
        time.sleep(0.1)
    return False


def test_a_walk_that_agrees_is_noted_with_its_line_and_digest(book: Book, beside: Path) -> None:
    book.open_lot()
    walk = walk_and_note(moment("03:00"))
    assert last_walk() == walk
    assert (walk.agrees, walk.began_at, walk.lines > 20) == (True, moment("03:00"), True)


def test_a_walk_names_faults_and_files_amiss(book: Book, beside: Path) -> None:
    with act("paper kept", book.operator, moment("09:00")) as writing:
        kept = [
            keep_file(writing, Upload("a.png", data), "image/png") for data in (b"1", b"2", b"3")
        ]
    (beside / "files" / kept[0].sha256).unlink()
    (beside / "files" / kept[1].sha256).write_bytes(b"altered")
    lift_triggers()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE lots_place SET name = 'x' WHERE id = %s", [book.place("Table").pk])
    walk = walk_and_note(moment("03:00"))
    words = " ".join(walk.faults)
    assert walk.fault_count == 4  # the triggers, the row, and each of the two files
    for said in ("trigger is missing", "is not what was written", kept[0].sha256, kept[1].sha256):
        assert said in words


def test_a_book_that_cannot_be_walked_to_its_end_is_noted_as_such(
    book: Book, beside: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(files: bool) -> None:
        raise sqlite3.DatabaseError("database disk image is malformed")

    monkeypatch.setattr("lots.management.walking.book_faults", fails)
    walk = walk_and_note(moment("03:00"))
    assert (walk.agrees, "malformed" in walk.failed) == (False, True)
    assert last_walk() == walk


@pytest.mark.django_db(transaction=True)
def test_a_line_written_during_the_walk_is_no_fault_and_waits_for_nothing(beside: Path) -> None:
    book = make_book()
    before = connection.transaction_mode
    took: list[float] = []

    def write() -> None:
        began = time.monotonic()
        open_place(book.keeper, "New room", "cooler", None, moment("03:00"))
        took.append(time.monotonic() - began)
        connection.close()

    def writes_after_the_second(execute: Any, sql: str, *rest: Any) -> Any:
        answer = execute(sql, *rest)
        seen.append(sql)
        if len(seen) == 3:  # the lines were read by then; their rows not yet
            thread = threading.Thread(target=write)
            thread.start()
            thread.join(timeout=10)
        return answer

    seen: list[str] = []
    with connection.execute_wrapper(writes_after_the_second):
        walk = walk_and_note(moment("03:00"))
    assert took and took[0] < 5
    assert walk.faults == ()
    assert walk_and_note(moment("04:00")).lines == walk.lines + 1
    assert connection.transaction_mode == before


def test_a_night_is_due_once_and_a_missed_one_at_the_next_start(book: Book, beside: Path) -> None:
    assert night_is_due(moment("12:00"))  # never walked
    walk_and_note(moment("12:00"))
    assert not night_is_due(moment("2026-03-05 02:59"))
    assert night_is_due(moment("2026-03-05 03:00"))
    walk_and_note(moment("2026-03-05 03:00"))
    assert not night_is_due(moment("2026-03-05 23:00"))
    assert night_is_due(moment("2026-03-07 09:00"))


def test_nothing_is_walked_before_a_house_is_founded(db: None, beside: Path) -> None:
    assert not night_is_due(moment("12:00"))


def test_a_walk_asked_for_is_made_once(book: Book, beside: Path) -> None:
    ask_for_walk(moment("12:00"))
    assert walk_asked_at() == moment("12:00")
    walk_and_note(moment("12:00"))
    assert walk_asked_at() is None


def test_two_never_walk_at_once(beside: Path) -> None:
    with walking_book() as first, walking_book() as second:
        assert (first, second) == (True, False)
        assert walking()
    assert not walking()


def test_notes_that_cannot_be_read_are_as_none(beside: Path) -> None:
    (beside / "keeping").mkdir()
    for text in ("", "{", "[]", '{"began_at": 1}', "null"):
        (beside / "keeping" / "walk.json").write_text(text)
        assert last_walk() is None


def test_serve_walks_the_book_by_itself_at_low_priority_and_when_asked(data: Path) -> None:
    served = Served(data)
    try:
        served.wait()
        assert _within(30, lambda: (data / "keeping" / "walk.json").exists())
        first = _noted(data)
        assert (first["fault_count"], first["lines"]) == (0, newest(data)[0])
        names = {pid: Path(f"/proc/{pid}/cmdline").read_text() for pid in served.all_children()}
        (watcher,) = [pid for pid, words in names.items() if "watch_book" in words]
        assert os.getpriority(os.PRIO_PROCESS, watcher) == 10
        (data / "keeping" / "asked").write_text("1")
        assert _within(30, lambda: _noted(data)["began_at"] > first["began_at"])
        assert _within(5, lambda: not (data / "keeping" / "asked").exists())
    finally:
        served.end()
    assert not Path(f"/proc/{watcher}").exists()


def _old_book(tmp_path: Path, tampered: bool) -> Path:
    folder = Path(shutil.copytree(ROOT / "tests" / "books" / "1", tmp_path / "data"))
    if tampered:
        with closing(sqlite3.connect(folder / "book.sqlite3")) as book:
            book.execute("DROP TRIGGER lots_place_no_update")
            book.execute("UPDATE lots_place SET name = 'Elsewhere' WHERE id = 3")
            book.commit()
    return folder


def test_an_update_is_followed_by_a_walk_before_anything_is_served(tmp_path: Path) -> None:
    served = Served(_old_book(tmp_path, tampered=False))
    try:
        served.wait()
    finally:
        served.end()
    assert "walking the book" in served.output.read_text()
    (made,) = json.loads((tmp_path / "data" / "keeping" / "backups.json").read_text())
    assert (made["what"], Path(made["path"]).exists()) == ("database", True)
    again = Served(tmp_path / "data")  # nothing is changed any more
    try:
        again.wait()
    finally:
        again.end()
    assert "walking the book" not in again.output.read_text()


def test_a_book_at_fault_after_an_update_is_served_only_by_name(tmp_path: Path) -> None:
    folder = _old_book(tmp_path, tampered=True)
    kept = Path(shutil.copytree(folder, tmp_path / "kept"))
    done = manage(folder, "serve", "--port", str(free_port()))
    assert done.returncode == 1
    assert "row 3 of place is not what was written" in done.stdout
    assert "backups/book-" in done.stderr and "--despite-faults" in done.stderr
    shutil.rmtree(folder)
    shutil.copytree(kept, folder)
    served = Served(folder, "--despite-faults")
    try:
        served.wait()
    finally:
        served.end()


def test_check_book_keeps_its_result_only_where_it_read_the_files_too(data: Path) -> None:
    papers = [one for one in (data / "files").iterdir() if one.read_bytes()[:4] != b"%PDF"]
    file = min(papers)  # an issued record is looked at by every walk
    file.write_bytes(bytes(reversed(file.read_bytes())))
    assert manage(data, "watch_book").returncode == 1
    seen = _noted(data)
    assert manage(data, "check_book").returncode == 0  # which looks at the files' sizes alone
    assert _noted(data) == seen
    assert manage(data, "check_book", "--files").returncode == 1
    noted = _noted(data)
    assert noted["began_at"] > seen["began_at"] and noted["fault_count"] == 1, noted
