"""The week of 21 CFR 123.8(a)(3): what was reviewed within it, what later, what not yet."""

import pytest

from lots.entries.note import write_note
from lots.entries.review import sign_reviews
from lots.models.lot import Lot
from lots.queries.release import last_line
from lots.queries.review_status import ReviewStatus, review_status
from tests.make import Book, moment, seen

DAY = 86_400_000


def status(lot: Lot, at: str) -> ReviewStatus:
    (found,) = review_status([lot], moment(at))
    return found


def reviewed(book: Book, lot: Lot, at: str) -> None:
    last = last_line(lot)
    assert last is not None
    sign_reviews(book.reviewer, [(lot, last.number)], "", moment(at))


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot(at="2026-03-04 07:00")


@pytest.mark.parametrize(
    ("at", "overdue", "in_time"),
    [
        ("2026-03-04 08:00", 0, True),
        ("2026-03-11 08:00", 0, True),  # the clock was put forward on 8 March: still 7 × 24 h
        ("2026-03-11 08:01", 60_000, False),
        ("2026-03-13 08:00", 2 * DAY, False),
    ],
)
def test_what_nobody_has_reviewed_is_past_its_week_to_the_minute(
    at: str, overdue: int, in_time: bool, lot: Lot
) -> None:
    found = status(lot, at)
    assert (found.waiting, found.overdue_ms, found.in_time) == (1, overdue, in_time)


@pytest.mark.parametrize(
    ("at", "late", "in_time"),
    [("2026-03-11 08:00", 0, True), ("2026-03-12 09:00", 25 * 3_600_000, False)],
)
def test_a_review_is_late_by_what_it_came_after_the_week(
    at: str, late: int, in_time: bool, book: Book, lot: Lot
) -> None:
    reviewed(book, lot, at)
    found = status(lot, "2026-04-01 08:00")
    assert [one.late_ms for one in found.reviews] == [late]
    assert (found.waiting, found.overdue_ms, found.in_time) == (0, 0, in_time)


def test_a_second_review_counts_from_what_came_after_the_first(book: Book, lot: Lot) -> None:
    reviewed(book, lot, "2026-03-05 08:00")
    write_note(book.operator, None, lot, "Later.", seen("2026-03-20 08:00"))
    waiting = status(lot, "2026-03-21 08:00")
    assert (waiting.waiting, waiting.left_ms) == (1, 6 * DAY)
    reviewed(book, lot, "2026-03-21 08:00")
    found = status(lot, "2026-03-21 09:00")
    assert [one.lines for one in found.reviews] == [1, 1]
    assert [one.after_ms for one in found.reviews][1] == DAY
    assert found.in_time


def test_several_lots_come_in_the_order_given(book: Book, lot: Lot) -> None:
    other = book.open_lot("TR-2", at="2026-03-04 08:00")
    found = review_status([other, lot], moment("2026-03-05 08:00"))
    assert [one.lot.code for one in found] == ["TR-2", "TR-1"]
