"""Frozen packs thawed: what the book takes, what it refuses, and what may be released then."""

from collections.abc import Callable

import pytest

from lots.entries.lot import void_lot
from lots.entries.pack import thaw_packs
from lots.entries.refusals import NotAllowed, Refused
from lots.entries.review import release_lot
from lots.models.book import BookLine
from lots.models.lot import Lot
from lots.models.salt import Thawed
from lots.queries.release import bars, unreviewed
from tests.entries.roads import finished
from tests.entries.test_review import release, reviewed
from tests.make import Book, moment, seen
from tests.packs import AIR, under


def thawed(book: Book, lot: Lot, grams: int = 6_000, at: str = "2026-03-10 09:00") -> Thawed:
    return thaw_packs(book.operator, lot, grams, "for the counter", seen(at))


def refused(attempt: Callable[[], object], field: str, words: str) -> None:
    """The words stand beside the field, and nothing was written."""
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        attempt()
    assert words in refusal.value.fields[field]
    assert BookLine.objects.count() == before
    assert not Thawed.objects.filter(line__number__gt=before).exists()


def test_packs_thawed_are_kept_with_weight_moment_and_reason(book: Book) -> None:
    lot = finished(book)
    row = thaw_packs(
        book.operator, lot, 6_000, " for the counter ",
        seen("2026-03-10 09:00", "2026-03-10 12:00", "the tablet was flat"),
    )  # fmt: skip
    assert (row.grams, row.at) == (6_000, moment("2026-03-10 09:00"))
    assert row.entered_at == moment("2026-03-10 12:00")
    assert row.reason == "for the counter. the tablet was flat"
    assert (row.line.kind, row.line.person) == ("packs thawed", book.operator)
    assert [line.kind for line in unreviewed(lot)][-1] == "packs thawed"


def test_the_same_entry_sent_twice_is_taken_once(book: Book) -> None:
    lot = finished(book)
    args = (book.operator, lot, 6_000, "for the counter", seen("2026-03-10 09:00"), "key-1")
    assert thaw_packs(*args).pk == thaw_packs(*args).pk
    assert Thawed.objects.count() == 1


def test_more_than_there_is_is_refused(book: Book) -> None:
    lot = finished(book)
    refused(lambda: thawed(book, lot, 18_001), "grams", "Only 18 kg of lot TR-1 is there")
    refused(lambda: thawed(book, lot, 0), "grams", "more than nothing")
    refused(lambda: thawed(book, lot, -1), "grams", "more than nothing")


def test_what_was_thawed_is_not_thawed_again(book: Book) -> None:
    lot = finished(book)
    thawed(book, lot, 6_000)
    refused(lambda: thawed(book, lot, 12_001), "grams", "after 6 kg that was thawed already")
    thawed(book, lot, 12_000)
    refused(lambda: thawed(book, lot, 1), "grams", "not thawed again")


def test_of_a_released_lot_only_what_was_released_is_there(book: Book) -> None:
    lot = finished(book)
    reviewed(book, lot)
    release(book, lot, release=15_000, destroy=3_000)
    refused(lambda: thawed(book, lot, 15_001), "grams", "Only 15 kg")
    assert thawed(book, lot, 15_000).grams == 15_000


def test_a_lot_not_packed_is_refused(book: Book) -> None:
    lot = book.open_lot()
    refused(lambda: thawed(book, lot), "", "not packed yet")


def test_a_chilled_lot_is_refused(book: Book) -> None:
    under(book, AIR)
    lot = book.open_lot()
    refused(lambda: thawed(book, lot), "", "kept chilled")


def test_a_voided_lot_is_refused(book: Book) -> None:
    lot = book.open_lot()
    void_lot(book.operator, lot, "opened twice", moment("08:00"))
    refused(lambda: thawed(book, lot), "", "was voided")


def test_a_moment_before_the_lot_was_finished_is_refused(book: Book) -> None:
    lot = finished(book)
    early = seen("20:09", "20:15")
    refused(
        lambda: thaw_packs(book.operator, lot, 1_000, "a sample", early),
        "thawed_at",
        "before the lot was finished",
    )
    assert thaw_packs(book.operator, lot, 1_000, "a sample", seen("20:10", "20:15")).grams == 1_000


def test_a_moment_to_come_and_one_long_past_without_a_reason_are_refused(book: Book) -> None:
    lot = finished(book)
    ahead = seen("2026-03-10 09:00", "2026-03-09 09:00")
    refused(lambda: thaw_packs(book.operator, lot, 1, "x", ahead), "thawed_at", "still to come")
    late = seen("2026-03-09 09:00", "2026-03-10 09:00")
    refused(lambda: thaw_packs(book.operator, lot, 1, "x", late), "late_reason", "comes late")


def test_no_reason_is_refused(book: Book) -> None:
    lot = finished(book)
    when = seen("2026-03-10 09:00")
    refused(lambda: thaw_packs(book.operator, lot, 1_000, "  ", when), "reason", "Say why")


def test_a_reason_too_long_to_keep_is_refused(book: Book) -> None:
    lot = finished(book)
    when = seen("2026-03-10 09:00")
    refused(lambda: thaw_packs(book.operator, lot, 1_000, "x" * 301, when), "reason", "Shorten")


def test_only_an_operator_thaws(book: Book) -> None:
    lot = finished(book)
    with pytest.raises(NotAllowed):
        thaw_packs(book.inspector, lot, 1_000, "x", seen("2026-03-10 09:00"))
    assert not Thawed.objects.exists()


def test_a_lot_past_its_use_by_date_is_not_released(book: Book) -> None:
    lot = finished(book)
    at = "2026-09-05 10:00"
    reviewed(book, lot, at)
    assert "its use-by date is past: 4 Sep 2026" in bars(lot, moment(at))
    refused(lambda: release(book, lot, at), "", "its use-by date is past")


def test_of_a_lot_thawed_in_part_and_past_that_day_only_the_rest_may_be_released(
    book: Book,
) -> None:
    lot = finished(book)
    thawed(book, lot, 6_000)
    at = "2026-03-16 10:00"
    reviewed(book, lot, at)

    def go(**quantities: int) -> object:
        return release_lot(book.reviewer, lot, quantities, "", moment(at), "Keep frozen")

    refused(lambda: go(release=18_000), "release", "6 kg of it was thawed")
    refused(lambda: go(release=12_001, destroy=5_999), "release", "may not be released")
    go(release=12_000, destroy=6_000)
