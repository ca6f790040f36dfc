"""The browser, opened for each file of journeys and closed after it: its event loop must not outlive it."""

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

from tests.journeys.browser import clock, open_browser
from tests.journeys.served import Served, fill_demo, serve_demo

__all__ = ["browser", "clock"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    yield from open_browser()


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A demo filled once; whoever writes in it takes a copy."""
    return fill_demo(tmp_path_factory.mktemp("demo") / "house")


@pytest.fixture(scope="module")
def served(demo_folder: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A copy of the demo, served by a process of its own."""
    folder = tmp_path_factory.mktemp("served") / "house"
    shutil.copytree(demo_folder, folder)
    with serve_demo(folder) as house:
        yield house
