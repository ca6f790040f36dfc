"""Samples of pieces: those of a lot as its pages show them, and the loads whose thickness limit they speak for."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Final

from lots.core.limits import Measured
from lots.core.pieces import Piece, Spread, is_uneven, pieces_from, show_mg, show_um, spread
from lots.core.units import MILLIONTHS, Bound
from lots.models.lot import LoadPart, Lot
from lots.models.reading import Reading
from lots.models.salt import PieceSample
from lots.queries.house import rules
from lots.queries.lineage import lineage, parts_of
from lots.queries.plans import plan_value
from lots.queries.sight import end_of, started_at

THICKNESS: Final = "thickness"
UM: Final = MILLIONTHS // 1000  # millionths of a millimetre in a micrometre


def pieces_of(row: PieceSample) -> tuple[Piece, ...]:
    """The pieces of a kept sample."""
    return pieces_from(json.loads(row.pieces))


def probe_of(root: int, number: int) -> str:
    """The name by which a piece's thickness is a reading of a load; `root`: the number of the sample, or
    of the first that it puts right."""
    return f"piece {number} of sample {root}"


def root_of(row: PieceSample) -> int:
    """The number of the sample, or of the first that it puts right."""
    while row.corrects is not None:
        row = row.corrects
    return row.pk


@dataclass(frozen=True)
class SampleShown:
    """A sample as a page shows it, with those that it puts right, the newest first."""

    row: PieceSample
    past: list[PieceSample]
    largest: Bound | None  # the plan's largest thickness

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        return pieces_of(self.row)

    @property
    def thickness(self) -> Spread | None:
        return spread(one.um for one in self.pieces)

    @property
    def weight(self) -> Spread | None:
        return spread(one.mg for one in self.pieces)

    @property
    def uneven(self) -> bool:
        """Whether the thickest is more times the thinnest than fixtures/rules.toml takes for even."""
        return is_uneven(self.thickness, rules().pieces)

    @property
    def late(self) -> bool:
        return self.row.entered_at - self.row.observed_at > rules().late_after_ms

    @property
    def too_thick(self) -> int:
        """How many pieces are thicker than the plan's largest thickness."""
        return sum(self.is_too_thick(one) for one in self.pieces)

    def is_too_thick(self, piece: Piece) -> bool:
        return self.largest is not None and bool(piece.um) and piece.um * UM > self.largest.c

    def marked(self) -> list[tuple[Piece, bool]]:
        """Each piece, and whether it is thicker than the plan's largest."""
        return [(one, self.is_too_thick(one)) for one in self.pieces]

    @property
    def words(self) -> str:
        """One line: how many pieces, from how thick to how thick, how heavy on the mean."""
        said = [f"{len(self.pieces)} pieces" if len(self.pieces) != 1 else "1 piece"]
        if found := self.thickness:
            said.append(f"{show_um(found.smallest)} to {show_um(found.largest)} thick")
        if found := self.weight:
            said.append(f"{show_mg(found.mean)} on the mean")
        return ", ".join(said)

    def before(self) -> list[tuple[PieceSample, str]]:
        """The samples that it puts right, each with its words."""
        return [
            (row, SampleShown(row, [], None).words if pieces_of(row) else "taken back")
            for row in self.past
        ]

    def times(self) -> Fraction | None:
        """How many times the thinnest the thickest is."""
        found = self.thickness
        return found.times if found else None


def largest_thickness(lot: Lot) -> Bound | None:
    """The strictest largest thickness that the lot's plan holds any step to."""
    bounds = [
        leaf.rule.high
        for point in plan_value(lot.plan_version).control_points
        for limit in point.limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Measured) and leaf.rule.quantity == THICKNESS and leaf.rule.high
    ]
    return min(bounds, key=lambda one: one.c, default=None)


def samples_of(lot: Lot) -> list[SampleShown]:
    """The samples of the lot and, up to when the fish left them, of those it came from; newest first.
    One that was taken back is shown for what it was."""
    found: list[PieceSample] = []
    for ancestor in lineage(lot):
        rows = PieceSample.objects.filter(lot=ancestor.lot).select_related(
            "lot", "load__place", "instrument", "line__person", "corrected_by"
        )
        if ancestor.until is not None:
            rows = rows.filter(observed_at__lte=ancestor.until)
        found += rows
    by_number = {row.pk: row for row in found}
    largest = largest_thickness(lot)
    out = []
    for row in sorted(found, key=lambda one: (one.observed_at, one.pk), reverse=True):
        if hasattr(row, "corrected_by"):
            continue
        past, older = [], row
        while older.corrects_id in by_number:
            older = by_number[older.corrects_id]
            past.append(older)
        out.append(SampleShown(row, past, largest))
    return out


def asks_thickness(part: LoadPart) -> bool:
    """Whether a limit of the step wants the pieces' thickness measured."""
    return any(
        isinstance(leaf.rule, Measured)
        and leaf.rule.quantity == THICKNESS
        and not leaf.rule.laboratory
        for _, limit in plan_value(part.lot.plan_version).held_at(part.step)
        for leaf in limit.leaves()
    )


def speaks_for(row: PieceSample, part: LoadPart, parts: Sequence[LoadPart]) -> bool:
    """Whether the sample's thickness is held against a step of the lot: one measured in that load, or one
    that was measured before it, and since the step before that began (trimming, say), in no load that
    asks for it itself.

    Args:
        parts: all steps of the lot.
    """
    if not asks_thickness(part):
        return False
    if row.load_id is not None:
        if row.load_id == part.load_id:
            return True
        if any(one.load_id == row.load_id and asks_thickness(one) for one in parts):
            return False
    begun = started_at(part.load)
    before = [started_at(one.load) for one in parts if one.step != part.step]
    since = max((at for at in before if at <= begun), default=0)
    return since <= row.observed_at <= begun


def spoken_for(row: PieceSample) -> list[LoadPart]:
    """The steps of the sample's lot, begun so far, that its thickness is held against; a load once."""
    parts = parts_of(row.lot)
    found = {part.load_id: part for part in parts if speaks_for(row, part, parts)}
    return list(found.values())


def speaking(part: LoadPart) -> list[PieceSample]:
    """The standing samples whose thickness is held against a step that begins."""
    if not asks_thickness(part):
        return []
    parts = parts_of(part.lot)
    rows = [one.row for one in samples_of(part.lot) if one.pieces]
    return [row for row in reversed(rows) if speaks_for(row, part, parts)]


def readings_of(root: int, load_ids: Iterable[int] | None = None) -> dict[int, dict[str, Reading]]:
    """By load and piece the newest reading that a sample's thickness is kept in."""
    rows = Reading.objects.filter(quantity=THICKNESS, probe__endswith=f" of sample {root}")
    if load_ids is not None:
        rows = rows.filter(load__in=list(load_ids))
    out: dict[int, dict[str, Reading]] = {}
    for row in rows.select_related("place", "load", "instrument").order_by("id"):
        out.setdefault(row.load_id or 0, {})[row.probe] = row
    return out


@dataclass(frozen=True)
class Where:
    """A load that pieces may have been measured in, and whether its step asks for their thickness."""

    part: LoadPart
    asks: bool
    running: bool

    @property
    def words(self) -> str:
        step = plan_value(self.part.lot.plan_version).step(self.part.step).name
        return f"in {step}, {self.part.load.place.name}"


def places_to_measure(lot: Lot) -> list[Where]:
    """The lot's own loads, the newest first."""
    rows = [part for part in parts_of(lot) if part.lot_id == lot.pk]
    return [Where(part, asks_thickness(part), end_of(part.load) is None) for part in reversed(rows)]
