"""Moments as people read them, in a zone; no clock is read here."""

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
MS_PER_S: Final = 1000


def show_offset(when: datetime) -> str:
    """The offset from UTC, e.g. "−05:00".

    Args:
        when: a moment with its zone.
    """
    text = when.isoformat()[-len("+00:00") :]
    return text.replace("-", "−")


def show_day(day: date) -> str:
    """An unmistakable day: "4 Mar 2026"."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def show_moment(at_ms: int, zone: ZoneInfo) -> str:
    """An unmistakable moment: "4 Mar 2026 14:05 −05:00".

    Args:
        at_ms: ms UTC.
        zone: the establishment's.
    """
    when = datetime.fromtimestamp(at_ms // MS_PER_S, zone)
    return f"{show_day(when)} {when:%H:%M} {show_offset(when)}"


def show_day_of(at_ms: int, zone: ZoneInfo) -> str:
    """The unmistakable day of a moment: "4 Mar 2026".

    Args:
        at_ms: ms UTC.
        zone: the establishment's.
    """
    return show_day(datetime.fromtimestamp(at_ms // MS_PER_S, zone))
