"""Lots looked for by words."""

import pytest

from lots.queries.lineage import found
from tests.make import Book


@pytest.mark.parametrize("words", ["tr-7", " ISF-118 ", "springs", "TR\0-7"])
def test_a_lot_is_found_by_its_code_its_suppliers_lot_or_the_supplier(
    words: str, book: Book
) -> None:
    lot = book.open_lot("TR-7")
    assert found(words) == [lot]


@pytest.mark.parametrize("words", ["", " ", "\0", "TR-8", "%"])
def test_other_words_find_nothing(words: str, book: Book) -> None:
    book.open_lot("TR-7")
    assert found(words) == []
