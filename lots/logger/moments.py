"""Dates and times as loggers write them, turned into local milliseconds."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "day first", "month first", "year first"
ORDERS = (DAY_FIRST, MONTH_FIRST, YEAR_FIRST)

SECOND_MS = 1000
MINUTE_MS = 60 * SECOND_MS
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
_EPOCH = date(1970, 1, 1).toordinal()

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = rf"(?:{'|'.join(_MONTHS)})[a-z]*\.?"
_WEEKDAY = r"(?:(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+)?"
_NUMERIC = re.compile(r"(\d{1,4})([./-])(\d{1,2})\2(\d{1,4})")
_COMPACT = re.compile(r"((?:19|20)\d\d)(\d\d)(\d\d)")
_DAY_NAMED = re.compile(rf"(\d{{1,2}})[. -]*({_MONTH}),?[ -]*(\d{{4}}|\d\d)", re.I)
_MONTH_NAMED = re.compile(rf"({_MONTH})[ -]*(\d{{1,2}})(?:st|nd|rd|th)?,?[ -]+(\d{{4}})", re.I)
_YEAR_NAMED = re.compile(rf"(\d{{4}})[ -]*({_MONTH})[ -]*(\d{{1,2}})", re.I)

_DATE = (
    r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|(?:19|20)\d{6}"
    rf"|\d{{1,2}}[. -]*{_MONTH},?[ -]*(?:\d{{4}}|\d\d)"
    rf"|{_MONTH}[ -]*\d{{1,2}}(?:st|nd|rd|th)?,?[ -]+\d{{4}}"
    rf"|\d{{4}}[ -]*{_MONTH}[ -]*\d{{1,2}}"
)
_TIME = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,6})?)?(?:\s*[ap]\.?\s?m\b\.?)?"
_OFFSET = r"(?:\s*(?P<offset>Z|(?:UTC|GMT)?[+\u2212-]\d{2}:?\d{2}|UTC|GMT))?"

_DATE_CELL = re.compile(rf"{_WEEKDAY}(?:{_DATE})", re.I)
_TIME_CELL = re.compile(_TIME + _OFFSET, re.I)
_HALF_CELL = re.compile(r"[ap]\.?\s?m\.?", re.I)
_MOMENT = re.compile(rf"{_WEEKDAY}(?P<date>{_DATE})(?:,?\s+|T)(?P<time>{_TIME}){_OFFSET}", re.I)
_TIME_FIRST = re.compile(rf"(?P<time>{_TIME}){_OFFSET}[ ,]+{_WEEKDAY}(?P<date>{_DATE})", re.I)
_CLOCK = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,6}))?)?\s*(?:([ap])\.?\s?m\.?)?", re.I
)


class Parts(NamedTuple):
    """A moment as written, in its parts."""

    date: str
    time: str
    offset: str | None


def parts(text: str) -> Parts | None:
    """The date, time and offset of a cell, or None if it is no moment."""
    match = _MOMENT.fullmatch(text) or _TIME_FIRST.fullmatch(text)
    return None if match is None else Parts(match["date"], match["time"], match["offset"])


def moment_columns(row: list[str]) -> tuple[int, ...]:
    """The columns of a row that together say when: one, or date and time (and AM/PM)."""
    for column, cell in enumerate(row):
        if ":" in cell and parts(cell) is not None:
            return (column,)
    dates = [i for i, cell in enumerate(row) if _DATE_CELL.fullmatch(cell)]
    times = [i for i, cell in enumerate(row) if _TIME_CELL.fullmatch(cell)]
    if not dates or not times:
        return ()
    found = (dates[0], times[0])
    after = times[0] + 1
    if after < len(row) and _HALF_CELL.fullmatch(row[after]):
        return (*found, after)
    return found


def has_half(time: str) -> bool:
    """Whether a time says AM or PM."""
    return not time[-1].isdigit()


def day_of(text: str, order: str) -> int:
    """Days since 1 January 1970 of a date read in an order.

    A year of two digits is of this century: loggers were not earlier.

    Raises:
        ValueError: there is no such day when read so.
    """
    year, month, day = _year_month_day(text, order)
    return date(year, month, day).toordinal() - _EPOCH


def _year_month_day(text: str, order: str) -> tuple[int, int, int]:
    if match := _NUMERIC.fullmatch(text):
        return _numeric(match[1], match[3], match[4], order)
    if match := _COMPACT.fullmatch(text):
        return _year(match[1]), int(match[2]), int(match[3])
    if match := _DAY_NAMED.fullmatch(text):
        return _year(match[3]), _month(match[2]), int(match[1])
    if match := _MONTH_NAMED.fullmatch(text):
        return _year(match[3]), _month(match[1]), int(match[2])
    if match := _YEAR_NAMED.fullmatch(text):
        return _year(match[1]), _month(match[2]), int(match[3])
    raise ValueError(text)


def _year(text: str) -> int:
    """The year; four digits far from any logger's time are no year."""
    year = int(text) + (2000 if len(text) == 2 else 0)
    if not 1970 <= year < 2200:
        raise ValueError(text)
    return year


def _numeric(first: str, second: str, third: str, order: str) -> tuple[int, int, int]:
    """Year, month and day; where the year stands by its four digits, that governs."""
    if order == YEAR_FIRST:
        if len(first) not in (2, 4) or len(third) > 2:
            raise ValueError(order)
        return _year(first), int(second), int(third)
    if len(first) > 2 or len(third) not in (2, 4):
        raise ValueError(order)
    if order == DAY_FIRST:
        return _year(third), int(second), int(first)
    return _year(third), int(first), int(second)


def _month(name: str) -> int:
    return _MONTHS.index(name[:3].lower()) + 1


class Order(NamedTuple):
    """In which order day, month and year stand, and whether the dates leave no doubt."""

    name: str
    certain: bool


def order_of(dates: Iterable[str], guess: str) -> Order:
    """The order in which every date of a file can be read.

    Certain only if no other order reads as many of the dates, or if the others read the same days
    out of them. Two-digit years may stand first only between hyphens (ISO 8601:1988 allowed it);
    with strokes or dots they stand last (common practice).

    Args:
        dates: the distinct dates of the file, as written.
        guess: the order to name where the file leaves it open.
    """
    texts = list(dates)
    days = {order: _days(texts, order) for order in ORDERS}
    if any(len(match[1]) == 2 and match[2] != "-" for t in texts if (match := _NUMERIC.match(t))):
        del days[YEAR_FIRST]
    most = max(len(found) for found in days.values())
    if not most:
        return Order(guess, False)
    best = [order for order in days if len(days[order]) == most]
    name = guess if guess in best else best[0]
    if len(best) == len(ORDERS):
        name = _as_it_stands(texts[0], name)
    return Order(name, all(days[order] == days[name] for order in best))


def _as_it_stands(text: str, otherwise: str) -> str:
    """The order of a date that no order chosen could change, such as one with a month's name."""
    if _COMPACT.fullmatch(text) or _YEAR_NAMED.fullmatch(text):
        return YEAR_FIRST
    if _MONTH_NAMED.fullmatch(text):
        return MONTH_FIRST
    return DAY_FIRST if _DAY_NAMED.fullmatch(text) else otherwise


def _days(texts: list[str], order: str) -> dict[str, int]:
    found = {}
    for text in texts:
        try:
            found[text] = day_of(text, order)
        except ValueError:
            continue
    return found


def readings_of(text: str) -> tuple[tuple[str, date], ...]:
    """Every order in which a date can be read, with the day it would be."""
    return tuple(
        (order, date.fromordinal(day + _EPOCH))
        for order in ORDERS
        for day in _days([text], order).values()
    )


class LocalTimes:
    """Reads moments of one file; remembers each distinct date and time."""

    def __init__(self, order: str) -> None:
        self.order = order
        self._days: dict[str, int] = {}
        self._times: dict[str, int] = {}

    def read(self, found: Parts) -> int:
        """Milliseconds since 1970 began by the clock on the wall, zone aside.

        Raises:
            ValueError: no such day or time.
        """
        day = self._days.get(found.date)
        if day is None:
            day = self._days[found.date] = day_of(found.date, self.order) * DAY_MS
        time = self._times.get(found.time)
        if time is None:
            time = self._times[found.time] = time_of_day(found.time)
        return day + time


def time_of_day(text: str) -> int:
    """Milliseconds since midnight by the clock on the wall.

    Raises:
        ValueError: no such time.
    """
    match = _CLOCK.fullmatch(text)
    if match is None:
        raise ValueError(text)
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if match[5]:
        hour = _hour_of_half(hour, match[5].lower() == "p")
    if hour > 23 or minute > 59 or second > 59:
        raise ValueError(text)
    milli = int((match[4] or "0")[:3].ljust(3, "0"))
    return hour * HOUR_MS + minute * MINUTE_MS + second * SECOND_MS + milli


def _hour_of_half(hour: int, afternoon: bool) -> int:
    """The hour of 24. "14:05 PM" can mean one thing only; "14:05 AM" means nothing."""
    if hour > 12:
        if not afternoon:
            raise ValueError(hour)
        return hour
    return hour % 12 + (12 if afternoon else 0)
