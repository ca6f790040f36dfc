"""A row changed behind the application's back is found and named."""

import pytest
from django.db import connection

from lots.models.triggers import lift_triggers
from lots.queries.book_check import book_faults
from tests.make import Book


def _raw(sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)


def test_an_untouched_book_agrees(book: Book) -> None:
    lot = book.open_lot()
    book.end(book.start("brine", "Brine tank 1", "07:30", lot), "08:00")
    assert list(book_faults()) == []


ALTERED: dict[str, tuple[str, str]] = {
    "a reading": ("UPDATE lots_reading SET value = value + 5000", "not what was written"),
    "a row gone": ("DELETE FROM lots_observation", "is gone"),
    "a line's words": (
        "UPDATE lots_bookline SET kind = 'x' WHERE number = 5",
        "not what its digest says",
    ),
    "a line's person": (
        "UPDATE lots_bookline SET person_id = (SELECT min(id) FROM lots_person) "
        "WHERE kind = 'lot opened'",
        "not what its digest says",
    ),
    "a row put in": (
        "INSERT INTO lots_place (name, kind, within_id, line_id) VALUES ('x', 'table', NULL, 3)",
        "stands in no line",
    ),
    "a lot's mention taken away": ("DELETE FROM lots_linelot", "concerns were changed"),
}


@pytest.mark.parametrize(("sql", "words"), ALTERED.values(), ids=ALTERED.keys())
def test_what_was_altered_is_named(sql: str, words: str, book: Book) -> None:
    book.open_lot()
    lift_triggers()
    _raw(sql)
    assert any(words in fault.words for fault in book_faults())


def test_a_line_taken_out_is_missed(book: Book) -> None:
    book.open_lot()
    lift_triggers()
    if connection.vendor == "sqlite":  # PostgreSQL looks at a row's number of another at the end
        _raw("PRAGMA defer_foreign_keys = ON")
    _raw("DELETE FROM lots_bookline WHERE number = 7")
    faults = [fault.words for fault in book_faults()]
    assert "line 7 is missing: the next is 8" in faults
    _raw("UPDATE lots_place SET line_id = 1 WHERE line_id = 7")
    _raw("UPDATE lots_instrument SET line_id = 1 WHERE line_id = 7")
    _raw("UPDATE lots_righttaken SET line_id = 1 WHERE line_id = 7")
    for table in ("person", "rightgiven"):
        _raw(f"UPDATE lots_{table} SET line_id = 1 WHERE line_id = 7")
