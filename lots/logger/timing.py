"""When each row was, in UTC and in order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from lots.logger import zones
from lots.logger.errors import Code
from lots.logger.leaving import Faults
from lots.logger.moments import MINUTE_MS
from lots.logger.sorting import Row
from lots.logger.understanding import Understanding


def in_time(
    found: list[Row], understanding: Understanding, faults: Faults, notes: list[str]
) -> list[tuple[int, Row]]:
    """The rows with their moments UTC, earliest first."""
    if _is_newest_first(found):
        found = found[::-1]
        notes.append("The file has its newest rows first; they were turned round.")
    placed = _by_row(found, faults) if understanding.rows_say_zone else []
    if not understanding.rows_say_zone:
        placed = _by_walk(found, understanding, faults, notes)
    ordered = sorted(placed, key=lambda pair: pair[0])
    if [row.line for _, row in ordered] != [row.line for _, row in placed]:
        notes.append("The rows were not in order of time; they were put in order.")
    return ordered


def _is_newest_first(found: Sequence[Row]) -> bool:
    steps = [row.local - before.local for before, row in pairwise(found)]
    return sum(step < 0 for step in steps) > sum(step > 0 for step in steps)


def _by_row(found: Iterable[Row], faults: Faults) -> list[tuple[int, Row]]:
    offsets: dict[str, int] = {}
    placed = []
    for row in found:
        if row.offset is None:
            faults.add(
                Code.MIXED_ZONES,
                row.line,
                "this row does not say its offset from UTC, while others do. Choose the zone "
                "of all rows in the preview.",
            )
            continue
        if row.offset not in offsets:
            offsets[row.offset] = zones.row_offset(row.offset) * MINUTE_MS
        placed.append((row.local - offsets[row.offset], row))
    return placed


def _by_walk(
    found: Iterable[Row], understanding: Understanding, faults: Faults, notes: list[str]
) -> list[tuple[int, Row]]:
    walk = zones.Walk(understanding.zone)
    placed = []
    for row in found:
        try:
            placed.append((walk.utc(row.local), row))
        except zones.NeverExisted:
            faults.add(
                Code.TIME_NEVER_EXISTED,
                row.line,
                f"this time never was in {understanding.zone}: the clocks were put forward over "
                "it. If the logger's clock is not changed in summer, choose its offset from UTC "
                "as the zone.",
            )
    if not all(walk.seen_twice.values()):
        notes.append(
            "The clocks were put back on a day of this file, and the file shows the doubled hour "
            "once; it was taken as the first pass, summer time."
        )
    return placed
