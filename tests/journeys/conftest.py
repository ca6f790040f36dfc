"""The browser, opened for each file of journeys and closed after it: its event loop must not outlive it."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.journeys.browser import clock, open_browser

__all__ = ["browser", "clock"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    yield from open_browser()
