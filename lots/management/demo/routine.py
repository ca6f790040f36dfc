"""What every day has: accuracy checks, the cold places read twice, and the loggers read out."""

from collections.abc import Callable

from lots.entries.house import check_accuracy
from lots.entries.moments import moments
from lots.management.demo.calendar import MINUTE
from lots.management.demo.curves import cooler_f, freezer_f
from lots.management.demo.script import Script

ROOM_EVERY = 5 * MINUTE
FREEZER_EVERY = 10 * MINUTE
WARM_COOLER = (-3, "17:35", "38.6")  # racks straight from the smoke: over the operating limit


def plan_days(s: Script, opened: int, room: Callable[[int], float]) -> None:
    """The routine of each day up to today."""
    room_since = freezer_since = opened
    for day in s.calendar.days():
        _accuracy(s, day)
        for clock in ("07:10", "17:35"):
            _cold_places(s, day, clock)
        for clock in ("07:05", "17:25"):
            room_since = _read_out(s, "Brine room", day, clock, room, ROOM_EVERY, room_since)
        freezer_since = _read_out(
            s, "Freezer", day, "07:15", freezer_f, FREEZER_EVERY, freezer_since
        )


def _accuracy(s: Script, day: int) -> None:
    for n, name in enumerate(s.stage.off_f):
        at = s.calendar.at(day, "06:40") + n * 2 * MINUTE
        shown = f"{32 + s.stage.off_f[name] + (day % 2) * 0.1:.1f}"

        def act(now: int, name: str = name, shown: str = shown) -> None:
            instrument = s.stage.instruments[name]
            check_accuracy(
                s.hand(now), instrument, "ice slush", shown, "32", "F", moments(now, now)
            )

        s.add(at, act)


def _cold_places(s: Script, day: int, clock: str) -> None:
    at = s.calendar.at(day, clock)
    warm = WARM_COOLER[2] if (day, clock) == WARM_COOLER[:2] else ""
    s.at_place("Cooler", at, warm or f"{cooler_f(at):.1f}")
    s.at_place("Freezer", at + 2 * MINUTE, f"{freezer_f(at + 2 * MINUTE):.1f}")


def _read_out(
    s: Script,
    place: str,
    day: int,
    clock: str,
    read: Callable[[int], float],
    every: int,
    since: int,
) -> int:
    """Reads a logger out and imports its file; the moment from which the next one begins."""
    at = s.calendar.at(day, clock)
    rows = range(since - since % every + every, at, every)
    if not rows:
        return since
    name = f"{place} {s.calendar.day(day)} {clock.replace(':', '')}.csv"
    s.file_of_place(place, at, name, f"{place} logger", read, rows)
    return rows[-1]
