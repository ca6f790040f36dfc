"""Which accuracy checks of an instrument stand in a lot's record, and which of them on paper."""

from dataclasses import replace

import pytest

from lots.core.record import LotRecord
from lots.entries.house import check_accuracy
from lots.pdf.layout import PAPERS, Text
from lots.pdf.render import lay_out
from tests.entries.roads import finished
from tests.make import Book, seen
from tests.queries.test_record import record_of

pytestmark = pytest.mark.django_db


def checked(book: Book, *days: str, read: str = "32.1") -> None:
    for day in days:
        moment = seen(f"{day} 06:00")
        check_accuracy(book.operator, book.thermometer, "ice point", read, "32", "F", moment)


def days_in(record: LotRecord) -> list[str]:
    """The days of the thermometer's checks, the newest first."""
    from datetime import datetime

    from tests.pdf.make import ZONE

    (one,) = record.instruments
    return [
        datetime.fromtimestamp(check.checked_at / 1000, ZONE).strftime("%d %b").lstrip("0")
        for check in one.checks
    ]


def test_of_the_checks_before_the_lots_work_the_last_one_bears_on_it(book: Book) -> None:
    checked(book, "2026-03-01", "2026-03-02", "2026-03-03")
    record = record_of(book, finished(book))
    assert days_in(record)[-1] != "1 Mar"
    assert "2 Mar" not in days_in(record) and "1 Mar" not in days_in(record)
    assert days_in(record)[-1] == "3 Mar"


def test_a_check_during_the_work_and_the_first_one_after_it_bear_on_it(book: Book) -> None:
    checked(book, "2026-03-03")
    one = finished(book)
    checked(book, "2026-03-06", "2026-03-07", "2026-03-08")
    found = days_in(record_of(book, one, "2026-03-09 12:00"))
    assert found[-1] == "3 Mar" and "6 Mar" in found
    assert "7 Mar" not in found and "8 Mar" not in found


def test_of_many_checks_those_found_off_are_printed_and_the_rest_counted(book: Book) -> None:
    checked(book, "2026-03-03")
    record = record_of(book, finished(book))
    (one,) = record.instruments
    many = tuple(
        replace(
            one.checks[0], checked_at=one.checks[0].checked_at - n * 86_400_000, within=int(n != 15)
        )
        for n in range(30)
    )
    bent = replace(record, instruments=(replace(one, checks=many),))
    pages = lay_out(bent, PAPERS["letter"], "ab" * 32)
    words = [mark.text for page in pages for mark in page.marks if isinstance(mark, Text)]
    assert "21 more between these," in " ".join(words)
