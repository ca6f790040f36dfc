"""`manage.py notice_lapses`: writes what time alone has caused, once or every so often."""

import logging
import os
import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import connection

from lots.entries.lapses import notice_lapses
from lots.entries.visit import end_visits_past_their_time
from lots.queries.house import lots_in_hand

log = logging.getLogger("lots")


def notice_all(at: int) -> tuple[int, int]:
    """How many deviations opened, and how many lots could not be looked at (the log says why)."""
    opened = failed = 0
    for lot in lots_in_hand():
        try:
            opened += notice_lapses([lot], at)
        except Exception:
            log.exception("lapses of lot %s could not be noticed", lot.code)
            failed += 1
    end_visits_past_their_time(at)
    return opened, failed


class Command(BaseCommand):
    help = "Opens the deviations that time alone has caused, such as a reading not taken."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--every", type=int, metavar="SECONDS", help="again and again")
        parser.add_argument(
            "--beside", type=int, metavar="PID", help="end when this parent is gone"
        )

    def handle(self, *args: Any, every: int | None, beside: int | None, **options: Any) -> None:
        if every:
            self._go_on(max(every, 1), beside or os.getppid())
            return
        opened, failed = notice_all(time.time_ns() // 1_000_000)
        self.stdout.write(f"{opened} opened, {failed} lots could not be looked at.")
        if failed:
            raise SystemExit(1)

    def _go_on(self, every: int, parent: int) -> None:
        """Until whoever started it is gone."""
        try:
            while True:
                try:
                    notice_all(time.time_ns() // 1_000_000)
                except Exception:
                    log.exception("lapses could not be noticed; trying again")
                connection.close()
                for _ in range(every):
                    time.sleep(1)
                    if os.getppid() != parent:
                        return
        except KeyboardInterrupt:
            return
