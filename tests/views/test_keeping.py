"""The keeper's page of the book itself, and the banner on every page of those who answer for it."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.urls import reverse

from lots.entries.book import act
from lots.entries.files import Upload, keep_file
from lots.entries.keeping import note_backup, note_walk
from lots.management.locks import walking_book, watching_book
from lots.models.book import BookLine
from lots.queries.keeping import BackupMade, Walk, walk_asked_at
from tests.make import Book, moment
from tests.views.pages import as_person

DAY_MS = 24 * 3600 * 1000
Clock = Callable[[str], int]


@pytest.fixture(autouse=True)
def beside(settings: Any, tmp_path: Path) -> Path:
    settings.DATA_DIR = tmp_path
    settings.FILES_DIR = tmp_path / "files"
    return tmp_path


def page(book: Book) -> str:
    answer = as_person(book.keeper).get(reverse("keeping"))
    assert answer.status_code == 200
    return answer.content.decode()


def walked(at: int, *faults: str, failed: str = "") -> None:
    note_walk(Walk(at, 2400, 20, "a" * 64, len(faults), faults, failed))


def backed_up(at: int, **changes: Any) -> None:
    told = {"what": "whole", "path": "/nowhere/b", "size": 2048, "lines": 20, "same_disk": False}
    note_backup(BackupMade(at, **told | changes))


def test_a_book_never_checked_nor_backed_up_says_so(book: Book, clock: Clock) -> None:
    shown = page(book)
    assert "has not been checked here yet" in shown
    assert "No backup of this book has been made" in shown
    assert "manage.py backup FILE" in shown


def test_a_book_in_order_shows_its_lines_digest_and_backup(book: Book, clock: Clock) -> None:
    now = clock("14:00")
    walked(now - 3_600_000)
    backed_up(now - DAY_MS)
    shown = page(book)
    last = BookLine.objects.order_by("-number").first()
    assert last is not None
    for words in (f"<dd>{last.number}</dd>", last.digest, "up to line 20, in 2.4 s", "Every line follows",
                  "The newest backup is 24 h", "/nowhere/b", "There is room"):  # fmt: skip
        assert words in shown, words
    assert "Wrong" not in shown


@pytest.mark.parametrize(
    ("age_days", "changes", "words"),
    [
        (6.9, {}, "The newest backup is 6 d"),
        (7.1, {}, "older than 7 d"),
        (1, {"same_disk": True}, "one failed disk would take both"),
        (1, {"what": "database"}, "No backup of this book has been made"),
    ],
)
def test_an_old_backup_or_one_on_the_same_disk_is_cautioned(
    age_days: float, changes: dict[str, Any], words: str, book: Book, clock: Clock
) -> None:
    backed_up(clock("14:00") - int(age_days * DAY_MS), **changes)
    assert words in page(book)


def test_a_check_long_ago_is_cautioned(book: Book, clock: Clock) -> None:
    walked(clock("14:00") - 3 * DAY_MS)
    assert "It agreed when it was last checked" in page(book)


def test_faults_are_named_with_what_to_do(book: Book, clock: Clock) -> None:
    walked(clock("14:00"), "line 17: row 3 of place is gone", "line 18 is missing: the next is 19")
    shown = page(book)
    for words in (
        "in 2 places",
        "line 17: row 3 of place is gone",
        "line 18 is missing",
        "touch nothing",
    ):
        assert words in shown


def test_missing_files_are_named_as_they_are_now(book: Book, clock: Clock, beside: Path) -> None:
    with act("paper kept", book.operator, moment("09:00")) as writing:
        kept = keep_file(writing, Upload("a.png", b"1"), "image/png")
    assert "is in its folder" in page(book)
    shutil.rmtree(beside / "files")
    shown = page(book)
    assert "1 file that the book names is missing" in shown
    assert kept.sha256 in shown


def test_a_full_disk_is_cautioned(
    book: Book, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Usage:
        free, total = 1_999_999_999, 10**12

    monkeypatch.setattr("lots.queries.keeping_page.shutil.disk_usage", lambda folder: Usage)
    assert "A full disk takes no readings" in page(book)
    Usage.free = 2_000_000_000
    assert "There is room" in page(book)


def test_the_check_is_asked_for_by_the_keeper_and_only_where_somebody_makes_it(
    book: Book, clock: Clock
) -> None:
    now, kim = clock("14:00"), as_person(book.keeper)
    answer = kim.post(reverse("keeping_check"), follow=True)
    assert "does not run" in answer.content.decode()
    assert "Check the book now" not in answer.content.decode()
    assert walk_asked_at() is None
    with watching_book():
        assert "Check the book now" in page(book)
        answer = kim.post(reverse("keeping_check"), follow=True)
        assert "begins within seconds" in answer.content.decode()
        assert walk_asked_at() == now
        assert "Check the book now" not in page(book)


def test_a_check_at_work_is_shown_and_no_second_one_begun(book: Book, clock: Clock) -> None:
    with watching_book(), walking_book():
        assert "is being checked now" in page(book)
        answer = as_person(book.keeper).post(reverse("keeping_check"), follow=True)
        assert "being checked already" in answer.content.decode()
        assert walk_asked_at() is None


BROKEN = {
    "a fault": ({}, ("line 17: row 3 of place is gone",), "does not agree with itself: line 17: row 3"),
    "several": ({}, ("line 17 is missing: the next is 18", "x", "y"), "the next is 18 and 2 more."),
    "a walk that failed": ({"failed": "disk I/O error"}, (), "could not be checked: disk I/O error"),
}  # fmt: skip


@pytest.mark.parametrize(("told", "faults", "words"), BROKEN.values(), ids=BROKEN.keys())
def test_what_is_wrong_stands_on_every_page_of_keeper_and_reviewer_and_of_nobody_else(
    told: dict[str, Any], faults: tuple[str, ...], words: str, book: Book, clock: Clock
) -> None:
    walked(clock("14:00"), *faults, **told)
    for person in (book.keeper, book.reviewer):
        for name in ("shift", "lots", "places", "help", "people"):
            shown = as_person(person).get(reverse(name)).content.decode()
            assert words in shown, (person, name)
            assert 'class="trouble"' in shown
    for person in (book.operator, book.coordinator, book.inspector):
        assert 'class="trouble"' not in as_person(person).get(reverse("shift")).content.decode()


def test_a_check_that_agrees_again_takes_the_banner_away(book: Book, clock: Clock) -> None:
    walked(clock("14:00"), "line 17: row 3 of place is gone")
    walked(clock("15:00"))
    assert 'class="trouble"' not in as_person(book.keeper).get(reverse("shift")).content.decode()


def test_only_keepers_are_led_to_the_page(book: Book, clock: Clock) -> None:
    address = reverse("keeping")
    assert address in as_person(book.keeper).get(reverse("shift")).content.decode()
    assert address not in as_person(book.reviewer).get(reverse("shift")).content.decode()
