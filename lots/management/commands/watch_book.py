"""`manage.py watch_book`: walks the book once, or each night beside `serve`, which does so by itself."""

import logging
import os
import threading
import time
from argparse import ArgumentParser
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand
from django.db import connection

from lots.core.keeping import walk_is_due
from lots.management.locks import walking_book, watching_book
from lots.management.walking import walk_and_note, walk_said
from lots.queries.house import establishment, rules
from lots.queries.keeping import last_walk, walk_asked_at

log = logging.getLogger("lots")
NICE: Final = 10  # readings go before the walk
LOOKS_AT_CLOCK_EVERY: Final = 20  # seconds; whether a walk was asked for is looked at each second


def now_ms() -> int:
    return time.time_ns() // 1_000_000


def night_is_due(at: int) -> bool:
    """Whether the house's night has come, or one was missed; not before a house is founded."""
    house = establishment()
    if house is None:
        return False
    last = last_walk()
    zone = ZoneInfo(house.zone)
    return walk_is_due(last.began_at if last else None, at, rules().keeping.walk_at_min, zone)


class Command(BaseCommand):
    help = (
        "Walks the book and looks at the kept files as `serve` does each night, and keeps the result for "
        "the pages (exit 0 all agrees, 1 something does not)."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--beside", type=int, metavar="PID", help="each night, until this parent is gone"
        )

    def handle(self, *args: Any, beside: int | None, **options: Any) -> None:
        os.nice(NICE)
        if beside:
            _end_with(beside)
            with watching_book():
                self._go_on()
        with walking_book() as free:
            if not free:
                self.stderr.write("The book is being walked already: see its page or wait.")
                raise SystemExit(1)
            walk = walk_and_note(now_ms())
        for words in walk_said(walk):
            self.stdout.write(words)
        raise SystemExit(0 if walk.agrees else 1)

    def _go_on(self) -> None:
        tick = 0
        while True:
            time.sleep(1)
            try:
                due = walk_asked_at() is not None or (
                    tick % LOOKS_AT_CLOCK_EVERY == 0 and night_is_due(now_ms())
                )
                if due:
                    _walk_unless_walked()
            except Exception:
                log.exception("the book could not be walked; trying again")
                time.sleep(LOOKS_AT_CLOCK_EVERY)
            connection.close()
            tick += 1


def _walk_unless_walked() -> None:
    """Two servers on one folder walk it once: whoever comes second finds the other's lock, or its
    result."""
    with walking_book() as free:
        if free and (walk_asked_at() is not None or night_is_due(now_ms())):
            walk_and_note(now_ms())


def _end_with(parent: int) -> None:
    """Ends this process, even in the middle of a walk, once whoever started it is gone."""

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(1)
        os._exit(0)

    threading.Thread(target=watch, daemon=True).start()
