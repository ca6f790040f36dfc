"""The rows of a file that have a date and time, told from headings, summaries and spoilt rows."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from lots.logger import moments
from lots.logger.errors import Code, LoggerFileError
from lots.logger.layout import is_unit_line
from lots.logger.leaving import Faults, LeftOuts, Why
from lots.logger.moments import DAY_MS, HOUR_MS
from lots.logger.text import cells
from lots.logger.understanding import Understanding
from lots.logger.values import is_number


class Row(NamedTuple):
    """A row with its moment by the clock on the wall; lines are counted from 1."""

    line: int
    local: int
    offset: str | None
    cells: list[str]


def moment_rows(
    lines: Sequence[str], understanding: Understanding, faults: Faults, left: LeftOuts
) -> list[Row]:
    """The rows that have a moment, in the order of the file."""
    sorter = _Sorter(lines, understanding, faults, left)
    last = len(lines)
    if understanding.truncated:
        last = max(i for i, line in enumerate(lines) if line.strip())
        left.add(Why.CUT_SHORT, last + 1, lines[last])
    for number in range(understanding.first_row, last):
        line = lines[number]
        if line and not line.isspace():
            sorter.sort(number, line)
    sorter.finish()
    return sorter.found


class _Sorter:
    """Tells rows with a moment from headings, summaries and spoilt rows."""

    def __init__(
        self, lines: Sequence[str], understanding: Understanding, faults: Faults, left: LeftOuts
    ) -> None:
        self.found: list[Row] = []
        self._lines = lines
        self._understanding = understanding
        self._delimiter = understanding.delimiter
        self._columns = understanding.moment_columns
        self._needed = max(self._columns) + 1
        self._times = moments.LocalTimes(understanding.date_order)
        self._faults = faults
        self._left = left
        self._without: list[tuple[int, list[str]]] = []
        self._headings = self._header()
        self._counts = False  # whether the first cell of a row is a running number

    def _header(self) -> list[str]:
        header = self._understanding.header_row
        return [] if header is None else cells(self._lines[header], self._delimiter)

    def sort(self, number: int, line: str) -> None:
        row = cells(line, self._delimiter)
        found = None
        if len(row) >= self._needed:
            found = moments.parts(" ".join([row[column] for column in self._columns]))
        if found is None:
            self._without.append((number, row))
            return
        if not self.found:
            self._counts = 0 not in self._columns and row[0].isdecimal()
        elif self._counts and row[0][:1].isalpha():
            self._left.add(Why.SUMMARY, number + 1, line)
            return
        if len(row) > self._understanding.headed:
            self._refuse_extra(number, row)
        try:
            local = self._times.read(found)
        except ValueError:
            self._faults.add(Code.MOMENT_NOT_UNDERSTOOD, number + 1, self._no_such(found))
            return
        self.found.append(Row(number + 1, local, found.offset, row))

    def _no_such(self, found: moments.Parts) -> str:
        return (
            f"“{found.date} {found.time}” is no date and time when read "
            f"{self._understanding.date_order}. Check the order of day and month in the preview."
        )

    def _refuse_extra(self, number: int, row: list[str]) -> None:
        """Refuses a row in which a decimal comma has made two cells of one."""
        headed = self._understanding.headed
        extra = any(is_number(cell) for cell in row[headed:])
        for channel in self._understanding.channels:
            after = row[channel.column + 1 : channel.column + 2]
            extra |= channel.taken and self._delimiter == "," and "".join(after).isdecimal()
        if extra:
            self._faults.add(
                Code.EXTRA_FIELDS,
                number + 1,
                f"this row has {len(row)} fields under {headed} headings. If the decimal sign "
                "is a comma, export the file with semicolons or tabs between the columns.",
            )

    def finish(self) -> None:
        """Judges the rows without a moment, once it is known where the readings end."""
        last = self.found[-1].line if self.found else 0
        for number, row in self._without:
            line = self._lines[number]
            if row == self._headings or is_unit_line(row):
                self._left.add(Why.HEADING, number + 1, line)
            elif self._is_spoilt(row) and (number + 1 <= last + 1 or not last):
                text = " ".join(row[column] for column in self._columns)
                self._faults.add(
                    Code.MOMENT_NOT_UNDERSTOOD,
                    number + 1,
                    f"“{text}” was not understood as a date and time. Check in the preview which "
                    "column holds them.",
                )
            else:
                why = Why.SUMMARY if number + 1 > last else Why.NO_MOMENT
                self._left.add(why, number + 1, line)

    def _is_spoilt(self, row: list[str]) -> bool:
        """Whether a row without a moment looks like a reading all the same."""
        if len(row) < self._needed or not row[self._columns[0]][:1].isdigit():
            return False
        taken = [c.column for c in self._understanding.channels if c.taken]
        return any(column < len(row) and is_number(row[column]) for column in taken)


def refuse_unclear_clock(found: Sequence[Row], understanding: Understanding) -> None:
    """Refuses a clock of twelve hours that does not say which half of the day it is."""
    if understanding.clock == "12 h":
        return
    if any(not HOUR_MS <= row.local % DAY_MS < 13 * HOUR_MS for row in found):
        return
    for before, row in pairwise(found):
        if -12 * HOUR_MS < row.local - before.local <= -10 * HOUR_MS:
            raise LoggerFileError(
                Code.CLOCK_UNCLEAR,
                "the clock goes from 12 to 1 and does not say AM or PM. Export the file again "
                "with a clock of 24 hours, or with AM and PM.",
                row.line,
            )
