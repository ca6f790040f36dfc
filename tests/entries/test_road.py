"""One lot from receiving to the freezer, through entries."""

from tests.make import Book


def test_a_lot_opens_with_its_receiving_judged(book: Book) -> None:
    lot = book.open_lot()
    judged = book.judged(lot, "receiving", "07:00")
    print({k: (v.verdict, v.finding.figure) for k, v in judged.items()})
    assert {v.verdict.value for v in judged.values()} == {"MET"}
