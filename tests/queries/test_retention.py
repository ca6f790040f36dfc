"""21 CFR 123.9(b): one year for refrigerated, two for frozen products."""

from datetime import date

from lots.queries.house import establishment
from lots.queries.retention import keep_until
from tests.make import Book, make_book


def test_a_frozen_lot_is_kept_for_two_years_from_the_day_it_came_in_until_finished(
    book: Book,
) -> None:
    house = establishment()
    assert house is not None
    kept = keep_until(book.open_lot(at="2026-03-04 23:30"), house)
    assert (kept.day, kept.years, kept.storage) == (date(2028, 3, 4), 2, "frozen")


def test_a_chilled_lot_is_kept_for_one_year(db: None) -> None:
    book = make_book("hot-smoked-air-chilled")
    house = establishment()
    assert house is not None
    assert keep_until(book.open_lot(), house).day == date(2027, 3, 4)
