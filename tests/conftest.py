"""Fixtures that every test may use."""

import shutil
from collections.abc import Iterator

import pytest
from django.db import connection
from django.test import TransactionTestCase

from lots.models.triggers import lay_triggers, lift_triggers
from lots.queries.keeping import keeping_folder
from tests.make import Book, make_book

_flush = TransactionTestCase._fixture_teardown


def _flush_past_the_triggers(self: TransactionTestCase) -> None:
    """A transactional test ends with a flush, which the append-only triggers would refuse: they are
    lifted for the flush alone and laid again.  The numbers that SQLite gave begin anew with it, since
    check_book would miss the rows that had them."""
    lift_triggers()
    try:
        _flush(self)
        if connection.vendor == "sqlite":
            with connection.cursor() as cursor:
                cursor.execute("DELETE FROM sqlite_sequence")
    finally:
        lay_triggers()


TransactionTestCase._fixture_teardown = _flush_past_the_triggers  # type: ignore[method-assign]


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What is about the other database is left to the run on that one: tests/all.sh does both."""
    there = [item for item in items if _elsewhere(item)]
    config.hook.pytest_deselected(items=there)
    items[:] = [item for item in items if item not in there]


def _elsewhere(item: pytest.Item) -> bool:
    mark = item.get_closest_marker("of_database")
    return mark is not None and mark.args != (connection.vendor,)


@pytest.fixture(autouse=True)
def _pens_stay_open(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests jump by hours with one browser; the pen closes only where a test is about that."""
    if "pens_close" not in request.keywords:
        monkeypatch.setattr("lots.views.pen.lock_after_ms", lambda: 10**13)


@pytest.fixture(autouse=True)
def _nothing_is_known_of_another_tests_book() -> Iterator[None]:
    """What a walk noted lies beside the book, and no test's end takes it back."""
    yield
    shutil.rmtree(keeping_folder(), ignore_errors=True)


@pytest.fixture
def book(db: None) -> Iterator[Book]:
    """A small smokehouse with its people, places and one published plan, made through entries."""
    yield make_book()
    assert not connection.needs_rollback
