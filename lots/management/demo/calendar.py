"""The demo's days: clock times of the house's zone, counted from the morning after the last night."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

MINUTE: Final = 60_000
HOUR: Final = 60 * MINUTE
SETTLED: Final = time(9, 30)  # by then the morning's work on what the night left is done
DAYS_BEFORE: Final = 7


class Calendar:
    """Turns "day −2, 08:20" into ms UTC.  Day 0 is the morning of the last night that is over: today,
    or yesterday where it is not half past nine yet."""

    def __init__(self, now: int, zone: str) -> None:
        self.now = now
        self.zone = ZoneInfo(zone)
        here = datetime.fromtimestamp(now / 1000, self.zone)
        self.today = here.date()
        self.morning = self.today if here.time() >= SETTLED else self.today - timedelta(days=1)

    def day(self, offset: int) -> date:
        return self.morning + timedelta(days=offset)

    def at(self, offset: int, clock: str) -> int:
        """The moment of a clock time on a day."""
        local = datetime.combine(self.day(offset), time.fromisoformat(clock), self.zone)
        return round(local.timestamp()) * 1000

    def days(self) -> range:
        """Every day of the demo up to today."""
        return range(-DAYS_BEFORE, (self.today - self.morning).days + 1)

    def code(self, stem: str, at: int, number: int) -> str:
        """A lot's code: fish, month and day received, and a number."""
        return f"{stem}-{datetime.fromtimestamp(at / 1000, self.zone):%m%d}-{number}"


def utc_text(at: int) -> str:
    """A moment as a logger prints it: "2026-03-04 19:05"."""
    return f"{datetime.fromtimestamp(at / 1000, UTC):%Y-%m-%d %H:%M}"
