"""What the tests of pages share."""

from collections.abc import Callable

import pytest
from django.test import Client

from tests.make import Book, moment
from tests.views.pages import as_person


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], int]:
    """Sets the clock of the pages: clock("10:00") on 4 March 2026."""

    def stand_at(text: str) -> int:
        at = moment(text)
        monkeypatch.setattr("lots.views.middleware.now_ms", lambda: at)
        return at

    stand_at("14:00")
    return stand_at


@pytest.fixture
def olga(book: Book, clock: Callable[[str], int]) -> Client:
    """The operator's browser."""
    return as_person(book.operator)
