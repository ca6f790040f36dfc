"""The readings taken with an instrument while it is in doubt, and the loads that they speak of.

In doubt a reading counts: one put right or taken back still does until that is accepted.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q, QuerySet

from lots.core.series import Chunk, unpack
from lots.core.units import TempUnit, show_temperature
from lots.models.house import AccuracyCheck
from lots.models.lot import Load
from lots.models.reading import PackedSeries, Reading
from lots.queries.accuracy_checks import Window, off_by
from lots.queries.evidence import loads_at, started_at

Packed = tuple[PackedSeries, Chunk]


@dataclass
class Used:
    """A load, and the readings of the instrument that speak of it."""

    load: Load
    off: int  # how much the instrument read too high, ninths
    hand: list[Reading] = field(default_factory=list)
    packed: list[Packed] = field(default_factory=list)

    @property
    def count(self) -> int:
        return len(self.hand) + sum(len(chunk) for _, chunk in self.packed)

    @property
    def first_at(self) -> int:
        return min([row.observed_at for row in self.hand] + [run.at[0] for _, run in self.packed])

    @property
    def last_at(self) -> int:
        return max([row.observed_at for row in self.hand] + [run.at[-1] for _, run in self.packed])

    @property
    def subjects(self) -> set[str]:
        """What was read, seen from the load: its fish, its place, the room around it."""
        rows: list[Reading | PackedSeries] = [*self.hand, *(row for row, _ in self.packed)]
        return {subject_in(self.load, row.place_id, row.load_id) for row in rows}

    @property
    def range(self) -> str:
        """The lowest and the highest of them, as read: "60.0 °F to 148.0 °F"."""
        return self._range(0)

    @property
    def range_if_off(self) -> str:
        """The same without the error that was found, had it been there all along."""
        return self._range(self.off)

    def _range(self, off: int) -> str:
        values = [row.value for row in self.hand]
        values += [value for _, run in self.packed for value in (run.lowest, run.highest)]
        units = [row.unit for row in self.hand] + [run.unit for _, run in self.packed]
        unit: TempUnit = "F" if units[0] == "F" else "C"
        low, high = (show_temperature(value - off, unit) for value in (min(values), max(values)))
        return low if low == high else f"{low} to {high}"


def subject_in(load: Load, place_id: int, load_id: int | None) -> str:
    if load_id is not None:
        return "fish"
    return "place" if place_id == load.place_id else "room"


def uses_of(check: AccuracyCheck, window: Window) -> dict[int, Used]:
    """By number, the loads that the instrument's readings in the window speak of."""
    off = off_by(check)
    uses: dict[int, Used] = {}
    for hand in _by_place(_hand(check, window)):
        for load, row in _of_loads(hand):
            uses.setdefault(load.pk, Used(load, off)).hand.append(row)
    for packed in _packed(check, window):
        for load, run in _runs(packed, window):
            uses.setdefault(load.pk, Used(load, off)).packed.append((packed, run))
    return uses


def _hand(check: AccuracyCheck, window: Window) -> list[Reading]:
    """The instrument's temperatures by hand; of a reading and its correction the newer, and both where
    the correction names another instrument and is not accepted."""
    rows = Reading.objects.filter(
        instrument=check.instrument_id, quantity="temperature", observed_at__gte=window.since
    )
    if window.until is not None:
        rows = rows.filter(observed_at__lte=window.until)
    rows = rows.select_related("place", "accepted", "corrected_by__accepted")
    return [row for row in rows.order_by("observed_at", "id") if _stands(row)]


def _accepted(row: Any) -> bool:
    return getattr(row, "accepted", None) is not None


def _stands(row: Reading) -> bool:
    newer = getattr(row, "corrected_by", None)
    if newer is not None and (_accepted(newer) or newer.instrument_id == row.instrument_id):
        return False
    return not (row.withdrawn and _accepted(row))


def _by_place(rows: Iterable[Reading]) -> list[list[Reading]]:
    groups: dict[tuple[int, int | None], list[Reading]] = {}
    for row in rows:
        groups.setdefault((row.place_id, row.load_id), []).append(row)
    return list(groups.values())


def _of_loads(rows: list[Reading]) -> Iterator[tuple[Load, Reading]]:
    """Readings of one place, or of one load's fish, each with the loads that it speaks of."""
    first, last = rows[0], rows[-1]
    if first.load_id is not None:
        load = _fresh(first.load_id)
        yield from ((load, row) for row in rows)
        return
    for load in loads_at(first.place_id, first.observed_at, last.observed_at):
        start, end = _time_of(load)
        for row in rows:
            if start <= row.observed_at and (end is None or row.observed_at <= end):
                yield load, row


def _fresh(load_id: int) -> Load:
    rows = Load.objects.select_related("place__within")
    return rows.prefetch_related("moves", "ends").get(pk=load_id)


def _time_of(load: Load) -> tuple[int, int | None]:
    """From the start as it stands to the latest end that was ever stated."""
    return started_at(load), max((end.ended_at for end in load.ends.all()), default=None)


def _packed(check: AccuracyCheck, window: Window) -> QuerySet[PackedSeries]:
    rows = PackedSeries.objects.filter(
        source__instrument=check.instrument_id, last_at__gte=window.since
    )
    if window.until is not None:
        rows = rows.filter(first_at__lte=window.until)
    rows = rows.filter(Q(source__withdrawn=None) | Q(source__withdrawn__accepted=None))
    return rows.select_related("source__file").order_by("first_at", "id")


def _runs(packed: PackedSeries, window: Window) -> Iterator[tuple[Load, Chunk]]:
    run = unpack(bytes(packed.data)).between(window.since, window.until)
    if not len(run):
        return
    if packed.load_id is not None:
        yield _fresh(packed.load_id), run
        return
    for load in loads_at(packed.place_id, run.at[0], run.at[-1]):
        part = run.between(*_time_of(load))
        if len(part):
            yield load, part
