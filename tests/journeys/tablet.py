"""A tablet beside the smoker: the opening page in a browser of its own, and the book that it writes in."""

import json
import sqlite3
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.journeys.browser import Visitor
from tests.journeys.served import Served

QUEUE = "const q = await import('/static/js/beside/queue.js');"
Row = dict[str, Any]


@dataclass
class Tablet:
    """One browser with its own store, at the opening page, with an operator logged in."""

    page: Any
    house: Served
    who: str = "olive"
    data: dict[str, Any] = field(default_factory=dict)

    def begin(self) -> "Tablet":
        self.page.set_default_timeout(15000)
        Visitor(self.page, self.house.base).log_in(self.who, self.house.passwords[self.who])
        self.page.wait_for_selector("#board")
        self.data = json.loads(self.page.text_content("#shift-data"))
        return self

    def run(self, script: str, given: Any = None) -> Any:
        """What a script of the page returns that has the queue as `q`."""
        return self.page.evaluate(f"async given => {{ {QUEUE} {script} }}", given)

    def keep_the_page(self) -> None:
        """Waits until the service worker keeps the opening page and answers for it."""
        script = (
            """async () => Boolean(navigator.serviceWorker.controller && await caches.match('/'))"""
        )
        for _ in range(100):
            if self.page.evaluate(script):
                return
            self.page.wait_for_timeout(100)
        raise AssertionError("the opening page is not kept")

    def reload(self) -> None:
        self.page.reload()
        self.page.wait_for_selector("#board .load")

    def put(self, entry: Row) -> str:
        return str(self.run("return q.put(given)", entry))

    def send(self) -> None:
        """Sends, with whatever the page itself is sending at the moment."""
        self.run("await q.send(); await q.send();")

    def waiting(self) -> int:
        return int(self.run("return q.waiting()"))

    def entry(self, key: str) -> Row:
        return next(one for one in self.entries() if one["key"] == key)

    def entries(self) -> list[Row]:
        return list(self.run("return q.list()"))

    def id_of(self, name: str) -> int:
        return int(next(one["id"] for one in self.data["people"] if one["name"].startswith(name)))

    def pin_of(self, name: str) -> str:
        """As the demo's own sheet says it."""
        sheet = (self.house.folder / "demo_people.txt").read_text().splitlines()
        row = next(line for line in sheet if line.startswith(name))
        return row.rpartition("PIN ")[2].rstrip(")")

    def reading(self, number: int, place: str, person: int = 0, **changes: Any) -> Row:
        """A reading of a place, `number` seconds after twelve minutes ago, 36.1 °F and on by tenths."""
        spot = next(one for one in self.data["places"] if one["name"] == place)
        figure = {
            "as_read": f"{36 + number // 10}.{number % 10}", "unit": "F", "probe": "",
            "quantity": "temperature", "instrument": None, "confirmed": True,
        }  # fmt: skip
        body = {
            "place": spot["id"], "load": None, "figures": [figure], "late_reason": "", "note": "",
            "observed_at": self.data["now"] - 720_000 + number * 1000,
        }  # fmt: skip
        return {
            "kind": "reading", "person": person or self.data["pen"]["person"],
            "label": f"{place} {number}", "body": body | changes,
        }  # fmt: skip


def in_the_book(folder: Path, keys: list[str]) -> list[Row]:
    """The readings that came with these keys, in the order of the book."""
    marks = ",".join("?" * len(keys))
    question = f"""SELECT l.number, l.client_key, r.as_read, r.observed_at, r.entered_at, l.at,
        r.device_offset_ms, r.place_id, l.person_id
        FROM lots_bookline l JOIN lots_reading r ON r.line_id = l.number
        WHERE l.client_key IN ({marks}) ORDER BY l.number"""
    with closing(sqlite3.connect(f"file:{folder / 'book.sqlite3'}?mode=ro", uri=True)) as book:
        book.row_factory = sqlite3.Row
        return [dict(row) for row in book.execute(question, keys)]
