"""A tablet beside the smoker, used as a person uses it: by its keys."""

import json
from dataclasses import dataclass
from typing import Any

from tests.journeys.looked_at import UPRIGHT
from tests.journeys.served import Served

FACES = {".": "point", "-": "minus", "−": "minus"}
INITIALS = {"olive": "OT", "bram": "BS"}


@dataclass
class Hands:
    """One browser on the opening page, with what it keeps."""

    page: Any
    house: Served

    def log_in(self, who: str = "olive") -> None:
        self.page.goto(self.house.base + "/in/?next=/")
        self.page.fill("[name=username]", who)
        self.page.fill("[name=password]", self.house.passwords[who])
        self.page.click("main button[type=submit]")
        self.page.wait_for_selector("#strip > *")

    def keep_the_page(self) -> None:
        """Waits until the page would open without network."""
        wait_until_kept(self.page)

    def go(self, where: str) -> None:
        self.page.evaluate("where => { location.hash = ''; location.hash = where; }", where)
        self.page.wait_for_selector("#beside h1")

    def type(self, figure: str) -> None:
        for letter in figure:
            self.page.click(f".keys .key-{FACES.get(letter, letter)}")

    def initial(self, who: str, pin: str = "") -> None:
        """Own name and PIN, where the page asks."""
        self.page.click(f".button-name:has-text('{INITIALS[who]}')")
        self.type(pin or self.house.pins[who])
        self.page.click("button:text-is('Done')")

    def asked_who(self) -> bool:
        return bool(self.page.locator(".names").count())

    def read(self, where: str, *figures: str, who: str = "olive", pin: str = "") -> None:
        """Reads a place or a round, initialled where that is asked."""
        self.go(f"read/{where}")
        for number, figure in enumerate(figures):
            self.type(figure)
            if number + 1 < len(figures):
                self.page.click(".key-next")
        self.page.click(".key-store")
        self.page.wait_for_function(
            "() => location.hash.startsWith('#answer/') || document.querySelector('.names')"
        )
        if self.asked_who():
            self.initial(who, pin)
        self.page.wait_for_function("() => location.hash.startsWith('#answer/')")
        self.page.wait_for_selector(".answer")

    def queue(self, call: str, *words: Any) -> Any:
        """Asks the page's own queue."""
        asked = (
            "async ([call, words]) => (await import('/static/js/beside/queue.js'))[call](...words)"
        )
        return self.page.evaluate(asked, [call, list(words)])

    def entries(self) -> list[dict[str, Any]]:
        return [entry | {"body": json.loads(entry["body"])} for entry in self.queue("list")]

    def waiting(self) -> int:
        return int(self.queue("waiting"))

    def until_sent(self, left: int = 0, seconds: int = 60) -> None:
        """Sends again and again, as the page does by itself, until no more than so many wait."""
        for _ in range(4 * seconds):
            self.queue("send")
            if self.waiting() <= left:
                return
            self.page.wait_for_timeout(250)
        raise AssertionError(f"{self.waiting()} entries still wait")


def wait_until_kept(page: Any) -> None:
    """Until the service worker holds the page, at most twenty seconds."""
    held = "async () => { await navigator.serviceWorker.ready; return Boolean(await caches.match('/')); }"
    for _ in range(80):
        if page.evaluate(held):
            return
        page.wait_for_timeout(250)
    raise AssertionError("the page is not kept")


def new_hands(browser: Any, house: Served, **options: Any) -> Hands:
    page = browser.new_context(viewport=UPRIGHT, **options).new_page()
    page.set_default_timeout(15_000)
    return Hands(page, house)
