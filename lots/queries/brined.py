"""What the book knows of how a lot was salted: its pieces, its batch, its time, its temperature, its
weights.  What it does not know is left out, and said so by being empty."""

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Final

from lots.core.batch import Batch, dissolved_mg
from lots.core.limits import Measured
from lots.core.salting import PER_CENT
from lots.core.units import (
    MG_PER_G,
    MILLIONTHS,
    MM_PER_IN,
    BadQuantity,
    TempUnit,
    degrees,
    show_number,
    show_span,
)
from lots.models.lot import BrineBatch, Load, LoadPart, Lot
from lots.queries.batches import batch_of, batch_value, brine_g_of
from lots.queries.lineage import parts_of
from lots.queries.pieces import samples_of
from lots.queries.plans import plan_value
from lots.queries.series_of import series_of
from lots.queries.sight import end_of, spans_of, started_at
from lots.queries.uptake_points import WATER_PHASE
from lots.queries.yields import dried_share

SALTED_IN: Final = ("brine", "dry-salt")
UM_PER_MM: Final = 1000
MOST_PIECES: Final = 40  # of a sample, that the form is begun with
MINUTE_MS: Final = 60_000


@dataclass(frozen=True)
class Brined:
    """How a lot was salted, as far as the book says; `got` says where each figure came from."""

    lot: Lot
    load: Load | None = None
    batch: BrineBatch | None = None
    method: str = "brine"
    pieces_um: tuple[int, ...] = ()
    brined_ms: int | None = None
    temp: int | None = None  # ninths
    strength_pct: Fraction | None = None
    ratio: Fraction | None = None
    yield_pct: Fraction | None = None
    target_pct: Fraction | None = None
    got: tuple[str, ...] = field(default=())

    def typed(self, unit: TempUnit) -> dict[str, str]:
        """The figures as a form holds them: only those that the book knows."""
        found: dict[str, Any] = {
            "thickness": ", ".join(_length(one, unit) for one in self.pieces_um) or None,
            "time": None if self.brined_ms is None else show_span(_whole(self.brined_ms)),
            "temp": None if self.temp is None else show_number(degrees(self.temp, unit), 1),
            "strength": _figure(self.strength_pct),
            "ratio": _figure(self.ratio),
            "yield_pct": _figure(self.yield_pct, 1),
            "target": _figure(self.target_pct),
        }
        known = {name: text for name, text in found.items() if text is not None}
        if "thickness" in known:
            known["thickness_unit"] = "in" if unit == "F" else "mm"
        if "strength" in known:
            known["strength_unit"] = "%"
        return known | {"method": self.method, "unit": unit}


def _length(um: int, unit: TempUnit) -> str:
    """In inches where the house reads °F, else in millimetres."""
    if unit == "F":
        return show_number(Fraction(um, UM_PER_MM) / MM_PER_IN, 2)
    return show_number(Fraction(um, UM_PER_MM), 1)


def _whole(ms: int) -> int:
    return max(MINUTE_MS, ms // MINUTE_MS * MINUTE_MS)


def _figure(value: Fraction | None, decimals: int = 2) -> str | None:
    return None if value is None else show_number(value, decimals)


def brined(lot: Lot, at: int) -> Brined:
    """What the book knows of the lot's salting at a moment; of several brinings the last."""
    salted = [part for part in parts_of(lot) if part.load.step_kind in SALTED_IN]
    part = salted[-1] if salted else None
    known: dict[str, Any] = {"target_pct": _target(lot)}
    got: list[str] = []
    if part is not None:
        _of_load(part.load, at, known, got)
    if known["target_pct"] is not None:
        got.append("The water-phase salt wanted is the plan's.")
    _pieces(lot, known, got)
    _dried(lot, known, got)
    return Brined(lot, part.load if part else None, got=tuple(got), **known)


def _target(lot: Lot) -> Fraction | None:
    """The highest water-phase salt that the plan asks for."""
    plan = plan_value(lot.plan_version)
    rules = [
        leaf.rule
        for point in plan.control_points
        for limit in point.limits
        for leaf in limit.leaves()
    ]
    found = [
        rule.low.c
        for rule in rules
        if isinstance(rule, Measured) and rule.quantity == WATER_PHASE and rule.low is not None
    ]
    return Fraction(max(found), MILLIONTHS) if found else None


def _of_load(load: Load, at: int, known: dict[str, Any], got: list[str]) -> None:
    known["method"] = "dry salt" if load.step_kind == "dry-salt" else "brine"
    end = end_of(load)
    known["brined_ms"] = max(MINUTE_MS, (end.ended_at if end else at) - started_at(load))
    got.append(
        f"The time is that in {load.place.name}{'' if end else ' up to now: it is still running'}."
    )
    _temperature(load, known, got)
    _batch(load, known, got)


def _temperature(load: Load, known: dict[str, Any], got: list[str]) -> None:
    """The mean of what was read in the brine itself."""
    span, monitored, _ = spans_of(load)
    probes = series_of(load, span, monitored).series.get("place", {})
    values = [value for runs in probes.values() for run in runs for value in run.value]
    if values:
        known["temp"] = round(Fraction(sum(values), len(values)))
        got.append(f"The temperature is the mean of {len(values)} readings at {load.place.name}.")


def _batch(load: Load, known: dict[str, Any], got: list[str]) -> None:
    row, brine_g = batch_of(load), brine_g_of(load)
    if row is None:
        return
    known["batch"] = row
    batch = batch_value(row)
    grams = sum(LoadPart.objects.filter(load=load).values_list("grams", flat=True))
    strength, solution_mg = _solution(batch, known.get("temp"))
    used = Fraction(1) if brine_g is None else Fraction(brine_g * MG_PER_G, batch.total_mg)
    if strength:
        known["strength_pct"] = strength
    if grams:
        known["ratio"] = solution_mg * used / (grams * MG_PER_G)
    got.append(f"Strength and amount are those of batch {row.code}, on all the fish of the load.")


def _solution(batch: Batch, temp: int | None) -> tuple[Fraction | None, Fraction]:
    """The strength of a batch and what of it is salt and water; of a dry salting the salt alone."""
    if batch.method != "brine" or not batch.water_mg:
        return None, Fraction(batch.salt_mg)
    try:
        salt = dissolved_mg(batch, 0 if temp is None else temp)
    except BadQuantity:
        salt = batch.salt_mg
    return PER_CENT * Fraction(salt) / (salt + batch.water_mg), salt + batch.water_mg


def _pieces(lot: Lot, known: dict[str, Any], got: list[str]) -> None:
    """The newest sample in which a thickness stands: one that was taken back holds none."""
    for shown in samples_of(lot):
        thick = sorted((one.um for one in shown.pieces if one.um), reverse=True)
        if thick:
            known["pieces_um"] = tuple(thick[:MOST_PIECES])
            got.append(f"The thicknesses are those of the {len(thick)} pieces measured last.")
            return


def _dried(lot: Lot, known: dict[str, Any], got: list[str]) -> None:
    share = dried_share(lot)
    if share is not None and share <= 1:
        known["yield_pct"] = PER_CENT * share
        got.append("The yield is the weight as smoked over the weight as brined.")
