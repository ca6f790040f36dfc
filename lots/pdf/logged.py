"""A data logger's series in a small table: lowest, highest and count per minute, or per a longer
interval where the minutes would fill many pages; the paper says which."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import NamedTuple

from lots.core.record import LoggerSeries
from lots.core.units import MS_PER_MIN, TempUnit, degrees, show_number
from lots.pdf.faces import width
from lots.pdf.layout import ASCENT, RULE, SIZE, SMALL, Sheet, Text
from lots.pdf.shapes import Path
from lots.pdf.words import Shown, day, offset

INTERVALS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440)
MOST_ROWS = 1500
"""Rows of a series on paper, at most: a day by the minute fits (common practice; the whole series
stays in the attached record)."""
LINE = 10.8


class Slot(NamedTuple):
    """One interval: its start, its first reading's moment, its lowest and highest, and how many."""

    start_at: int
    first_at: int
    low: int
    high: int
    readings: int


def interval_of(series: LoggerSeries) -> int:
    """The interval in ms that the series is printed by."""
    for minutes in INTERVALS_MIN:
        interval = minutes * MS_PER_MIN
        if len({at // interval for at in series.at}) <= MOST_ROWS:
            return interval
    return INTERVALS_MIN[-1] * MS_PER_MIN


def slots(series: LoggerSeries, interval: int) -> list[Slot]:
    """The series by interval; intervals without a reading are left out, not filled in."""
    found: dict[int, list[int]] = {}
    firsts: dict[int, int] = {}
    for at, ninths in zip(series.at, series.ninths, strict=True):
        start = at // interval * interval
        firsts.setdefault(start, at)
        found.setdefault(start, []).append(ninths)
    return [Slot(at, firsts[at], min(v), max(v), len(v)) for at, v in sorted(found.items())]


def printed_words(series: LoggerSeries) -> str:
    """What the table holds, in words, as it stands above it."""
    interval = interval_of(series)
    minutes = interval // MS_PER_MIN
    if all(slot.readings == 1 for slot in slots(series, interval)):
        return "Each reading, by the minute it was taken in"
    if minutes == 1:
        return "Lowest, highest and number of readings of each minute"
    every = f"{minutes} minutes" if minutes < 60 else f"{minutes // 60} hours"
    every = "hour" if minutes == 60 else every
    return (
        f"Lowest, highest and number of readings of each {every} (by the minute it would fill too "
        "many pages)"
    )


def slot_words(series: LoggerSeries, shown: Shown) -> Iterator[tuple[str, ...]]:
    """The cells of each interval as they are printed, in order of time."""
    found = slots(series, interval_of(series))
    unit: TempUnit = "F" if series.unit == "F" else "C"
    single = all(slot.readings == 1 for slot in found)
    return (_cells(slot, shown, unit, single) for slot in found)


def draw_slots(sheet: Sheet, series: LoggerSeries, shown: Shown) -> None:
    """Writes the series' table, day by day, several columns side by side."""
    found = slots(series, interval_of(series))
    unit: TempUnit = "F" if series.unit == "F" else "C"
    single = all(slot.readings == 1 for slot in found)
    across = 7 if single else 4
    for title, rows in _by_day(found, shown):
        _grid(sheet, title, [_cells(slot, shown, unit, single) for slot in rows], across)


def _by_day(found: Iterable[Slot], shown: Shown) -> list[tuple[str, list[Slot]]]:
    days: dict[str, list[Slot]] = {}
    for slot in found:
        at = shown.local(slot.start_at)
        days.setdefault(f"{day(at)}, clock at {offset(at)}", []).append(slot)
    return list(days.items())


def _cells(slot: Slot, shown: Shown, unit: TempUnit, single: bool) -> tuple[str, ...]:
    low, high = (show_number(Fraction(degrees(n, unit)), 3, 1) for n in (slot.low, slot.high))
    clock = f"{shown.local(slot.first_at if single else slot.start_at):%H:%M}"
    return (clock, low) if single else (clock, low, high, str(slot.readings))


def _grid(sheet: Sheet, title: str, rows: list[tuple[str, ...]], across: int) -> None:
    """The day's rows, running down each column before the next begins."""
    position = 0
    while position < len(rows):
        sheet.need(2 * LINE + 14 + min(3, -(-len(rows) // across)) * LINE)
        _grid_head(sheet, title + (", continued" if position else ""), len(rows[0]), across)
        fit = max(1, int(sheet.left_over // LINE))
        deep = min(fit, -(-(len(rows) - position) // across))
        part = rows[position : position + deep * across]
        for index, cells in enumerate(part):
            _set(sheet, cells, index // deep, sheet.y - (index % deep) * LINE, across)
        sheet.gap(deep * LINE + 7)
        position += len(part)


def _grid_head(sheet: Sheet, title: str, cells: int, across: int) -> None:
    sheet.text(title, "Bold", SIZE)
    heads = ("time", "reading") if cells == 2 else ("from", "lowest", "highest", "no.")
    for column in range(across):
        _set(sheet, heads, column, sheet.y, across, SMALL, 0.35)
    sheet.gap(LINE + 1)
    ends = ((sheet.paper.left, sheet.y), (sheet.paper.width - sheet.paper.right, sheet.y))
    sheet.marks.append(Path(ends, stroke=0.0, thick=RULE))
    sheet.gap(2)


def _set(
    sheet: Sheet, cells: tuple[str, ...], column: int, top: float, across: int,
    size: float = SIZE, grey: float = 0.0,
) -> None:  # fmt: skip
    """One row of one column: the clock at the left, figures ending at even steps."""
    gutter = 16.0
    room = (sheet.paper.room + gutter) / across
    left, inner = sheet.paper.left + column * room, room - gutter
    ends = (None, inner) if len(cells) == 2 else (None, inner * 0.55, inner * 0.84, inner)
    for words, end in zip(cells, ends, strict=True):
        x = left if end is None else left + end - width(words, "Body", size)
        sheet.marks.append(Text(x, top - ASCENT * size, "Body", size, words, grey))
