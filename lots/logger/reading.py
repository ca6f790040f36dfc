"""The readings of a logger's file, once it is understood; what cannot be read is refused."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from lots.logger import zones
from lots.logger.errors import Code, LoggerFileError
from lots.logger.layout import no_readings
from lots.logger.leaving import Faults, LeftOut, LeftOuts, Why
from lots.logger.sorting import Row, moment_rows, refuse_unclear_clock
from lots.logger.text import read_text
from lots.logger.timing import in_time
from lots.logger.understanding import Channel, Understanding, chosen
from lots.logger.values import (
    Ninths,
    NotANumber,
    OtherUnit,
    is_error_code,
    is_event,
    is_numeric_error_code,
)

_WORD = re.compile(r"[^\W\d_]{3}")


@dataclass(frozen=True)
class Bounds:
    """What a reading can be at all, from the establishment's rules and the clock.

    Attributes:
        lowest, highest: 1/9000 °C; a reading beyond them is refused.
        earliest_at: ms UTC; a reading before it is refused.
        now_at: ms UTC; a reading later than this by more than `grace_ms` is refused.
        grace_ms: how far a logger's clock may be ahead.
    """

    lowest: int
    highest: int
    earliest_at: int
    now_at: int
    grace_ms: int


class Reading(NamedTuple):
    """One reading: ms UTC, 1/9000 °C, the text in the file, and its line (from 1)."""

    observed_at: int
    ninths: int
    as_read: str
    line: int


@dataclass(frozen=True)
class Series:
    """The readings of one channel, earliest first."""

    channel: Channel
    readings: tuple[Reading, ...]


@dataclass(frozen=True)
class Parsed:
    """All that a file gives: readings, what was left out and why, and what should be known."""

    series: tuple[Series, ...]
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]


def rows(
    data: bytes, understanding: Understanding, bounds: Bounds, *, largest_bytes: int = 50_000_000
) -> Parsed:
    """The readings of a file as it is understood.

    In doubt it refuses: a row is left out only if it says itself that it is no reading.

    Args:
        data: the same bytes that were understood.
        understanding: from `understand` or `with_choices`.
        bounds: what a reading can be at all.
        largest_bytes: a larger file is refused.

    Raises:
        LoggerFileError: whatever keeps a row from being read with certainty.
    """
    channels = chosen(understanding)
    _refuse_open_questions(understanding)
    lines = read_text(data, understanding.encoding, largest_bytes).lines
    faults, left = Faults(), LeftOuts()
    notes: list[str] = []
    found = moment_rows(lines, understanding, faults, left)
    refuse_unclear_clock(found, understanding)
    placed = in_time(found, understanding, faults, notes)
    _check_moments(placed, bounds, understanding, faults)
    columns = [channel.column for channel in channels]
    speaking = _speaking(placed, columns, understanding.delimiter, left)
    series = []
    for channel in channels:
        reader = _ChannelReader(channel, understanding.decimal, bounds, faults, left)
        series.append(Series(channel, reader.read(speaking)))
        notes += reader.notes
    faults.refuse()
    if not any(one.readings for one in series):
        raise no_readings()
    return Parsed(tuple(series), left.all(), tuple(notes))


def _refuse_open_questions(understanding: Understanding) -> None:
    if understanding.truncated and not understanding.accept_truncated:
        raise LoggerFileError(
            Code.TRUNCATED,
            f"The file seems cut short. {understanding.truncated} Read the logger out again and "
            "send the whole file, or say in the preview that the last line may be left out.",
        )
    if not understanding.date_order_certain:
        readings = " or ".join(f"{day} ({order})" for order, day in understanding.date_readings)
        raise LoggerFileError(
            Code.AMBIGUOUS_DATES,
            f"The dates can be read in more than one way: the first can be {readings}. "
            "Choose the order of day and month in the preview.",
        )


def _check_moments(
    placed: Iterable[tuple[int, Row]],
    bounds: Bounds,
    understanding: Understanding,
    faults: Faults,
) -> None:
    latest = bounds.now_at + bounds.grace_ms
    for at, row in placed:
        if at > latest:
            faults.add(
                Code.IN_THE_FUTURE,
                row.line,
                f"{zones.shown(at, understanding.zone)} is still to come. Check the order of day "
                "and month and the zone in the preview, and the logger's clock.",
            )
        elif at < bounds.earliest_at:
            faults.add(
                Code.TOO_OLD,
                row.line,
                f"{zones.shown(at, understanding.zone)} is too long ago. Check the order of day, "
                "month and year in the preview, and the logger's clock.",
            )


def _speaking(
    placed: Sequence[tuple[int, Row]], columns: Sequence[int], delimiter: str, left: LeftOuts
) -> list[tuple[int, Row]]:
    """The rows with something in a column of temperatures; the others are left out."""
    speaking = []
    for at, row in placed:
        if _has_any(row.cells, columns):
            speaking.append((at, row))
            continue
        words = any(_WORD.search(cell) and ":" not in cell for cell in row.cells)
        left.add(Why.EVENT if words else Why.EMPTY, row.line, delimiter.join(row.cells))
    return speaking


def _has_any(row: list[str], columns: Sequence[int]) -> bool:
    return any(column < len(row) and row[column] for column in columns)


class _ChannelReader:
    """Reads the cells of one column."""

    def __init__(
        self, channel: Channel, decimal: str, bounds: Bounds, faults: Faults, left: LeftOuts
    ) -> None:
        self._channel = channel
        self._values = Ninths(channel.unit, decimal)
        self._decimal = decimal
        self._bounds = bounds
        self._faults = faults
        self._left = left
        self.notes: list[str] = []

    def read(self, placed: Sequence[tuple[int, Row]]) -> tuple[Reading, ...]:
        column, beside = self._channel.column, self._channel.unit_column
        lowest, highest = self._bounds.lowest, self._bounds.highest
        readings = []
        for at, row in placed:
            text = row.cells[column] if column < len(row.cells) else ""
            whole = text
            if beside is not None and text and beside < len(row.cells):
                whole = f"{text} {row.cells[beside].strip('()[]')}".strip()
            try:
                value = self._values[whole]
            except (NotANumber, OtherUnit) as error:
                self._not_a_value(text, row, error)
                continue
            if lowest <= value <= highest:
                readings.append(Reading(at, value, text, row.line))
            else:
                self._beyond(text, row)
        if self._values.rounded:
            self.notes.append(
                f"{self._channel.name}: more than three decimals were rounded to three."
            )
        return self._once(readings)

    def _not_a_value(self, text: str, row: Row, error: ValueError) -> None:
        if isinstance(error, OtherUnit):
            self._faults.add(
                Code.MIXED_UNITS,
                row.line,
                f"“{error}” is not in °{self._channel.unit} like the rest of "
                f"{self._channel.name}. Export the file again in one unit.",
            )
        elif not text:
            self._left.add(Why.EMPTY, row.line, ", ".join(row.cells), self._channel.name)
        elif is_error_code(text):
            self._left.add(Why.ERROR_CODE, row.line, text, self._channel.name)
        elif is_event(text):
            self._left.add(Why.EVENT, row.line, text, self._channel.name)
        else:
            other = "comma" if self._decimal == "," else "point"
            self._faults.add(
                Code.NUMBER_NOT_UNDERSTOOD,
                row.line,
                f"“{text}” in {self._channel.name} is no number with a decimal {other}. "
                "Check the decimal sign in the preview.",
            )

    def _beyond(self, text: str, row: Row) -> None:
        if is_numeric_error_code(text):
            self._left.add(Why.ERROR_CODE, row.line, text, self._channel.name)
            return
        unit = self._channel.unit
        lowest, highest = _degrees(self._bounds.lowest, unit), _degrees(self._bounds.highest, unit)
        self._faults.add(
            Code.NOT_PLAUSIBLE,
            row.line,
            f"{text} °{unit} in {self._channel.name} is no temperature of fish, brine, room or "
            f"smokehouse ({lowest} to {highest} °{unit}). Check unit and decimal sign in the "
            "preview, and the probe.",
        )

    def _once(self, readings: list[Reading]) -> tuple[Reading, ...]:
        """The readings without repetitions of the same moment and value."""
        if all(a.observed_at < b.observed_at for a, b in pairwise(readings)):
            return tuple(readings)
        seen: dict[int, set[int]] = {}
        kept = []
        differing = 0
        for reading in readings:
            values = seen.setdefault(reading.observed_at, set())
            if reading.ninths in values:
                self._left.add(Why.REPEATED, reading.line, reading.as_read, self._channel.name)
                continue
            differing += bool(values)
            values.add(reading.ninths)
            kept.append(reading)
        if differing:
            self.notes.append(
                f"{self._channel.name}: {differing} readings differ from another of the same "
                "moment; all were kept."
            )
        return tuple(kept)


def _degrees(ninths: int, unit: str) -> str:
    tenths = round(ninths / 900) if unit == "C" else round(ninths / 500) + 320
    return f"{tenths / 10:g}".replace("-", "\u2212")
