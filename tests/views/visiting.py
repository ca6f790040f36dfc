"""A house with two lots, of which a visit shows one; the inspector's browser."""

from dataclasses import dataclass

from django.test import Client
from django.urls import reverse

from lots.entries.record import issue_record
from lots.entries.visit import NewVisit, open_visit
from lots.models.lot import Lot
from lots.models.review import RecordIssued
from lots.models.visit import Visit
from lots.queries.house import establishment
from tests.entries.roads import finished
from tests.make import Book, moment

SHOWN, HIDDEN = "TR-1", "ZZ-HIDDEN-9"


@dataclass
class Visiting:
    """The shown lot went through every step; the other stood in loads of its own, a day before."""

    book: Book
    shown: Lot
    hidden: Lot
    visit: Visit
    code: str

    def issue(self, lot: Lot) -> RecordIssued:
        """The lot's sealed record, as of the evening before the visit."""
        house = establishment()
        assert house is not None
        return issue_record(self.book.reviewer, lot, house, moment("2026-03-04 21:00"))

    def client(self) -> Client:
        """A browser that has typed the code."""
        client = Client()
        answer = client.post(reverse("visit_in"), {"visit_code": self.code})
        assert answer["Location"] == reverse("visit_front"), answer.content.decode()
        return client


def visiting(book: Book, at: str = "2026-03-05 09:00", until: str = "2026-03-05 17:00") -> Visiting:
    """Opened for one lot of two.  Both broke a limit; what lapsed on the other is noticed as its record
    is issued."""
    hidden = book.open_lot(HIDDEN, at="2026-03-03 07:00")
    load = book.start("brine", "Brine tank 1", "2026-03-03 07:30", hidden)
    book.end(load, "2026-03-03 09:00")
    shown = finished(book, SHOWN, hottest="139")
    new = NewVisit(
        "Nora Nobody (invented)",
        "Invented Agency",
        moment(at),
        moment(until),
        [shown],
        "lots chosen one by one",
    )
    visit, code = open_visit(book.keeper, new, moment(at))
    return Visiting(book, shown, hidden, visit, code)
