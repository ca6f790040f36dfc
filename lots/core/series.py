"""Readings in order: a chunk is a run of readings of one probe in one unit, held as columns.

A fold over chunks can look at a chunk's lowest, highest and longest gap first, and only walks the
readings when that does not settle the matter.
"""

import struct
import sys
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from operator import sub
from typing import Final

from lots.core.units import TempUnit

PACK_FORM: Final = 1
PACK_ROWS: Final = 1000  # readings in one packed row
_HEAD: Final = struct.Struct("<BcI")


class BadSeries(ValueError):
    """Bytes or columns that are not a series of readings."""


@dataclass(frozen=True)
class Chunk:
    """Readings of one probe, one unit, in order of time.

    Args:
        at: moments, ms UTC, never falling.
        value: temperatures in ninths (1/9000 °C), as many as moments.
        unit: the unit they were read in.
    Raises:
        BadSeries: columns of unequal length, or moments that fall.
    """

    at: Sequence[int]
    value: Sequence[int]
    unit: TempUnit = field(default="C")

    def __post_init__(self) -> None:
        if len(self.at) != len(self.value):
            raise BadSeries("a series needs as many values as moments")
        if min(self.gaps, default=0) < 0:
            raise BadSeries("the moments of a series must not fall")

    def __len__(self) -> int:
        return len(self.at)

    @cached_property
    def lowest(self) -> int:
        return min(self.value)

    @cached_property
    def highest(self) -> int:
        return max(self.value)

    @cached_property
    def gaps(self) -> Sequence[int]:
        """The times between neighbours, ms."""
        at = self.at.tolist() if isinstance(self.at, array) else self.at
        return list(map(sub, at[1:], at))

    @cached_property
    def longest_gap(self) -> int:
        """The longest time between two neighbours, ms; 0 for a single reading."""
        return max(self.gaps, default=0)

    @cached_property
    def meets_twice(self) -> bool:
        """Whether two of its readings are of the same moment."""
        return 0 in self.gaps

    @cached_property
    def figures(self) -> Sequence[int]:
        """The values as a list: what is walked more than once."""
        return self.value.tolist() if isinstance(self.value, array) else list(self.value)

    def moments(self, highest: bool) -> "Chunk":
        """One reading a moment: the highest or the lowest of those that it has."""
        if not self.meets_twice:
            return self
        best: dict[int, int] = {}
        for at, value in zip(self.at, self.value, strict=True):
            known = best.get(at, value)
            best[at] = max(known, value) if highest else min(known, value)
        return Chunk(list(best), list(best.values()), self.unit)

    def between(self, start: int | None, end: int | None) -> "Chunk":
        """The part observed from start to end, both included; None leaves that side open."""
        low = 0 if start is None else bisect_left(self.at, start)
        high = len(self.at) if end is None else bisect_right(self.at, end)
        if low == 0 and high == len(self.at):
            return self
        return self.part(low, high)

    def part(self, low: int, high: int) -> "Chunk":
        """Its readings from one index up to another, which are in order since these are."""
        cut = object.__new__(Chunk)
        cut.__dict__.update(at=self.at[low:high], value=self.value[low:high], unit=self.unit)
        return cut


def chunks(readings: Iterable[tuple[int, int, TempUnit]]) -> list[Chunk]:
    """Readings (moment, ninths, unit) in any order, as chunks in order of time, cut where the unit
    changes.  Readings of the same moment keep the order of their values, so that the result does not
    depend on the order of arrival."""
    out: list[Chunk] = []
    at: array[int] = array("q")
    value: array[int] = array("q")
    current: TempUnit = "C"
    for moment, ninths, unit in sorted(readings):
        if len(at) and unit != current:
            out.append(Chunk(at, value, current))
            at, value = array("q"), array("q")
        current = unit
        at.append(moment)
        value.append(ninths)
    if len(at):
        out.append(Chunk(at, value, current))
    return out


def merge(runs: Iterable[Chunk]) -> list[Chunk]:
    """Chunks of one probe in order of time; joined and re-sorted only where they overlap."""
    ordered = sorted((run for run in runs if len(run)), key=lambda run: (run.at[0], run.at[-1]))
    if all(a.at[-1] < b.at[0] for a, b in pairwise(ordered)):
        return ordered
    return chunks(
        (at, value, run.unit)
        for run in ordered
        for at, value in zip(run.at, run.value, strict=True)
    )


def pack(chunk: Chunk) -> bytes:
    """The chunk as bytes: form, unit, count, moments (8 bytes each), values (4 bytes each),
    little-endian."""
    at, value = array("q", chunk.at), array("i", chunk.value)
    if sys.byteorder == "big":
        at.byteswap()
        value.byteswap()
    head = _HEAD.pack(PACK_FORM, chunk.unit.encode(), len(chunk))
    return head + at.tobytes() + value.tobytes()


def unpack(data: bytes) -> Chunk:
    """The chunk that was packed.

    Raises:
        BadSeries: bytes of another form or length.
    """
    if len(data) < _HEAD.size:
        raise BadSeries("too short for a packed series")
    form, unit, count = _HEAD.unpack_from(data)
    at, value = array("q"), array("i")
    middle = _HEAD.size + count * at.itemsize
    if form != PACK_FORM or len(data) != middle + count * value.itemsize:
        raise BadSeries("not a packed series of a form that is known here")
    at.frombytes(data[_HEAD.size : middle])
    value.frombytes(data[middle:])
    if sys.byteorder == "big":
        at.byteswap()
        value.byteswap()
    return Chunk(at, value, "F" if unit == b"F" else "C")
