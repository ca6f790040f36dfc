"""When the book is to walk itself: each night, and at once where a night was missed."""

from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from lots.core.units import MS_PER_DAY, MS_PER_S

DAY_MS: Final = MS_PER_DAY
MIN_PER_HOUR: Final = 60


def newest_hour(now_ms: int, minute: int, zone: ZoneInfo) -> int:
    """The newest moment, ms UTC, not after now at which the zone's clocks showed this time of day.

    Args:
        now_ms: ms UTC.
        minute: of the day, from midnight.  An hour that a clock change leaves out counts as the hour
            after it; of one that comes twice the first counts.
    """
    today = datetime.fromtimestamp(now_ms / MS_PER_S, UTC).astimezone(zone).date()
    for day in (today + timedelta(days=1), today, today - timedelta(days=1)):
        clock = datetime(day.year, day.month, day.day, *divmod(minute, MIN_PER_HOUR), tzinfo=zone)
        at = int(clock.timestamp() * MS_PER_S)
        if at <= now_ms:
            return at
    raise AssertionError("a day has 25 hours at most")


def walk_is_due(last_ms: int | None, now_ms: int, minute: int, zone: ZoneInfo) -> bool:
    """Whether the book has not been walked since the newest such hour.  A walk that lies ahead of the
    clock says nothing: the clock was wrong then or is now.  All ms UTC."""
    if last_ms is None or last_ms > now_ms + DAY_MS:
        return True
    return last_ms < newest_hour(now_ms, minute, zone)
