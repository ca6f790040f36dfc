"""The numbers of rules that no plan states: review, retention, lateness, what a reading can be.

They are data with their sources; `rules_from` reads them once.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import time
from fractions import Fraction
from typing import Any, Final

from lots.core.pieces import PieceRule, thickness_um, weight_mg
from lots.core.units import (
    MILLIONTHS,
    NINTHS_PER_C,
    BadQuantity,
    TempUnit,
    convert,
    read_quantity,
    read_span,
    read_temperature,
)
from lots.core.watch import FlatRule

Data = Mapping[str, Any]
ANYWHERE: Final = ""


class BadRules(ValueError):
    """Rules that cannot be read; the message says which."""


@dataclass(frozen=True, slots=True)
class Range:
    """Temperatures from `lowest` to `highest`, both included; ninths (1/9000 °C)."""

    lowest: int
    highest: int

    def holds(self, ninths: int) -> bool:
        """Whether the temperature is in the range."""
        return self.lowest <= ninths <= self.highest


@dataclass(frozen=True, slots=True)
class SlipRule:
    """When a figure is asked about as a slip of the finger; ms, and differences in ninths."""

    last_within_ms: int
    far: int
    near: int


@dataclass(frozen=True, slots=True)
class KeepingRule:
    """When the book walks itself (minutes after midnight in the house's zone), after how long without a
    walk or a backup a keeper is warned (ms), and how many bytes stay free on the disk."""

    walk_at_min: int
    stale_ms: int
    backup_ms: int
    free_bytes: int


@dataclass(frozen=True, slots=True)
class VisitRule:
    """How long an inspector's visit lasts if nothing else is said, at most, and how long its session
    stays open unused; ms."""

    usual_ms: int
    longest_ms: int
    idle_ms: int


@dataclass(frozen=True, slots=True)
class PeriodRule:
    """How far back a control point is shown (ms) and over how many steps; how many lots, and bytes of
    their records, go into one file."""

    looks_back_ms: int
    most_steps: int
    most_lots: int
    largest_bytes: int


@dataclass(frozen=True, slots=True)
class BriningRule:
    """How far a measured strength may be from the recipe (millionths of °SAL), the moisture taken for raw
    fish and the salt that a chilled pack without air is held to (per cent), and how long before the fish
    goes in its strength may have been read (ms)."""

    strength_off: int
    raw_moisture_pct: Fraction
    chilled_vacuum_pct: Fraction
    read_within_ms: int


@dataclass(frozen=True, slots=True)
class UptakeRule:
    """Beyond what a figure of a point is asked about: how long its fish was brined (ms), how much of the
    brined weight was left, and how far the printed water-phase salt is off (millionths of a per cent)."""

    brined_ms: int
    least_left: int
    off: int


@dataclass(frozen=True, slots=True)
class Rules:
    """The numbers, in the units that their names end in; `tolerance` is a difference in ninths."""

    review_within_ms: int
    review_warn_ms: int
    retention_years: Mapping[str, int]
    study_retention_years: int
    traceability_months: int
    reassess_within_ms: int
    late_after_ms: int
    future_grace_ms: int
    possible: Range
    likely: Mapping[tuple[str, str], Range]
    tolerance: Mapping[TempUnit, int]
    accuracy_within_ms: int
    flat: FlatRule
    upload_bytes: int
    lock_after_ms: int
    password_after_ms: int
    invitation_ms: int
    pin_tries: int
    pin_wait_ms: int
    slip: SlipRule
    demo_stale_ms: int
    check_bytes: int
    check_memory_mb: int
    check_seconds: int
    check_tries: int
    check_within_ms: int
    keeping: KeepingRule
    visit: VisitRule
    period: PeriodRule
    histamine_most: int  # millionths of a ppm
    brining: BriningRule
    pieces: PieceRule
    uptake: UptakeRule

    def likely_for(self, of: str, place_kind: str) -> Range:
        """What a reading of this subject in this kind of place is likely to lie in.

        Args:
            of: what is read: "fish", "place" or "room".
            place_kind: the kind of place, e.g. "smokehouse"; one not listed gets the range of the
                subject anywhere, and failing that what is possible at all.
        """
        anywhere = self.likely.get((of, ANYWHERE), self.possible)
        return self.likely.get((of, place_kind), anywhere)


def rules_from(data: Data) -> Rules:
    """The rules that a rules file states.

    Args:
        data: as in the file: tables with quantities as text with their unit, counts as whole numbers.
    Raises:
        BadRules: a number is missing or cannot be read.
    """
    try:
        return _rules(data)
    except KeyError as error:
        raise BadRules(f"the rules lack {error}") from error
    except (BadQuantity, TypeError, ValueError) as error:
        raise BadRules(f"the rules cannot be read: {error}") from error


def _rules(data: Data) -> Rules:
    review, plan, entry = data["review"], data["plan"], data["entry"]
    thermometer = data["thermometer"]
    return Rules(
        review_within_ms=read_span(review["within"]),
        review_warn_ms=read_span(review["warn_before_end"]),
        retention_years={row["storage"]: int(row["years"]) for row in data["retention"]},
        study_retention_years=int(data["process_study"]["years_after_last_use"]),
        traceability_months=int(data["traceability"]["months"]),
        reassess_within_ms=read_span(plan["reassess_within"]),
        late_after_ms=read_span(entry["late_after"]),
        future_grace_ms=read_span(entry["future_grace"]),
        possible=_range(data["possible"]),
        likely={
            (row["of"], row.get("place_kind", ANYWHERE)): _range(row) for row in data["likely"]
        },
        tolerance={
            "C": _difference(thermometer["tolerance_c"]),
            "F": _difference(thermometer["tolerance_f"]),
        },
        accuracy_within_ms=read_span(thermometer["checked_within"]),
        flat=_flat(data["flat_probe"]),
        upload_bytes=int(data["upload"]["largest_bytes"]),
        lock_after_ms=read_span(data["session"]["lock_after"]),
        password_after_ms=read_span(data["session"]["password_after"]),
        invitation_ms=read_span(data["session"]["invitation_valid"]),
        pin_tries=int(data["pin"]["tries"]),
        pin_wait_ms=read_span(data["pin"]["wait"]),
        slip=_slip(data["slip"]),
        demo_stale_ms=read_span(data["demo"]["stale_after"]),
        check_bytes=int(data["check"]["largest_bytes"]),
        check_memory_mb=int(data["check"]["memory_mb"]),
        check_seconds=int(data["check"]["seconds"]),
        check_tries=int(data["check"]["tries"]),
        check_within_ms=read_span(data["check"]["tries_within"]),
        keeping=_keeping(data["keeping"]),
        visit=_visit(data["visit"]),
        period=_period(data["history"], data["period"]),
        histamine_most=read_quantity(data["laboratory"]["histamine_at_most"], "histamine").c,
        brining=_brining(data["brining"]),
        pieces=_pieces(data["pieces"]),
        uptake=_uptake(data["uptake"]),
    )


def _brining(row: Data) -> BriningRule:
    return BriningRule(
        read_quantity(row["strength_off"], "brine strength").c,
        Fraction(read_quantity(row["raw_moisture"], "moisture").c, MILLIONTHS),
        Fraction(read_quantity(row["chilled_vacuum_salt"], "water-phase salt").c, MILLIONTHS),
        read_span(row["strength_read_within"]),
    )


def _uptake(row: Data) -> UptakeRule:
    return UptakeRule(
        read_span(row["brined_within"]),
        read_quantity(row["least_left"], "moisture").c,
        read_quantity(row["off"], "water-phase salt").c,
    )


def _visit(row: Data) -> VisitRule:
    return VisitRule(read_span(row["usual"]), read_span(row["longest"]), read_span(row["idle"]))


def _period(history: Data, period: Data) -> PeriodRule:
    return PeriodRule(
        read_span(history["looks_back"]),
        int(history["most_steps"]),
        int(period["most_lots"]),
        int(period["largest_bytes"]),
    )


def _pieces(row: Data) -> PieceRule:
    return PieceRule(
        thickness_um(*row["thinnest"].split()),
        thickness_um(*row["thickest"].split()),
        weight_mg(*row["lightest"].split()),
        weight_mg(*row["heaviest"].split()),
        thickness_um(*row["no_fish_from"].split()),
        Fraction(row["uneven_from"]),
    )


def _slip(row: Data) -> SlipRule:
    return SlipRule(
        read_span(row["last_within"]), _difference(row["far"]), _difference(row["near"])
    )


def _keeping(row: Data) -> KeepingRule:
    return KeepingRule(
        _hour(row["walk_at"]),
        read_span(row["stale_after"]),
        read_span(row["backup_within"]),
        int(row["free_bytes_at_least"]),
    )


MIN_PER_HOUR: Final = 60


def _hour(text: str) -> int:
    """Minutes after midnight of "03:00"."""
    at = time.fromisoformat(text)
    return at.hour * MIN_PER_HOUR + at.minute


def _flat(row: Data) -> FlatRule:
    width, lasts = read_span(row["looked_at_each"]), read_span(row["for"])
    return FlatRule(
        width, max(2, lasts // width), _difference(row["within"]), _difference(row["another_moves"])
    )


def _range(row: Data) -> Range:
    lowest, highest = read_temperature(row["lowest"]), read_temperature(row["highest"])
    if lowest.c >= highest.c:
        raise ValueError(f"{lowest.text} is not below {highest.text}")
    return Range(min(lowest.c, lowest.f), max(highest.c, highest.f))


def _difference(text: str) -> int:
    value: Fraction = convert(text, "°C difference") * NINTHS_PER_C
    return int(value)
