"""A person at a real browser, against a server whose clock the test sets."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass
class Clock:
    """What the server's clock says, ms UTC."""

    ms: int = 0


@dataclass
class Visitor:
    """One person's own browser window."""

    page: Any
    base: str

    def __post_init__(self) -> None:
        self.page.set_default_timeout(8000)

    def go(self, path: str) -> None:
        response = self.page.goto(self.base + path)
        assert response.status == 200, (path, response.status, self.page.inner_text("main"))

    def log_in(self, username: str, password: str) -> None:
        self.page.goto(self.base + "/in/")
        self.type(username=username, password=password)
        self.press("Log in")

    def type(self, **fields: str) -> None:
        for name, text in fields.items():
            self.page.fill(f"main [name='{name}']", text)

    def put(self, name: str, text: str) -> None:
        self.page.fill(f"main [name='{name}']", text)

    def choose(self, name: str, value: str) -> None:
        """Ticks a radio button or a box."""
        self.page.check(f"main [name='{name}'][value='{value}']", force=True)

    def pick(self, name: str, label: str) -> None:
        """Chooses from a list."""
        self.page.select_option(f"main [name='{name}']", label=label)

    def press(self, words: str) -> None:
        self.page.locator(f"main button:has-text('{words}')").last.click()
        self.page.wait_for_load_state()

    def follow(self, words: str) -> None:
        self.page.locator(f"main a:has-text('{words}')").first.click()
        self.page.wait_for_load_state()

    def sees(self, words: str) -> bool:
        return words.lower() in self.page.inner_text("main").lower()

    def text(self) -> str:
        return str(self.page.inner_text("main"))


def open_browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: clock.ms)
    return clock
