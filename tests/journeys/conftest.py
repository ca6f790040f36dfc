"""The browser, opened once for all journeys."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.journeys.browser import clock, open_browser

__all__ = ["browser", "clock"]


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    yield from open_browser()
