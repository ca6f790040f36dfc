"""The points that the forecast of salt is fitted to, the fit, and what is known of the diffusivity now."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Final

from django.db.models import QuerySet

from lots.core.calibration import Calibration, CannotSay, Point, Residual, calibrate, point_from
from lots.core.salting import PER_CENT
from lots.core.sheet import seconds_for
from lots.core.units import MILLIONTHS, MM_PER_IN, show_both, show_number
from lots.core.uptake import AT_NINTHS, PUBLISHED, Diffusivity, published
from lots.models.lot import LaboratoryResult, LaboratorySample, Lot
from lots.models.salt import UptakePoint, UptakePointLeftOut

UM_PER_MM: Final = 1000
WHY_OUT: Final = ("left_out", "result__corrected_by", "result__lot__voided")
S_PER_H, H_PER_DAY = 3600, 24
HALF, INCH_M = 0.5, 0.0254
WATER_PHASE: Final = "water-phase salt"
FIGURES: Final = (
    "thickness_um", "open_faces", "brined_ms", "brine_temp", "brine_salt", "ratio", "raw_moisture",
    "salt", "moisture", "yield_share",
)  # fmt: skip


def points() -> list[UptakePoint]:
    """Every point, those left out too, oldest first."""
    rows = UptakePoint.objects.select_related(*WHY_OUT, "line__person", "left_out__line__person")
    return list(rows.order_by("pk"))


def why_out(row: UptakePoint) -> str:
    """Why the fit passes a point by; nothing where it is in the fit."""
    if getattr(row, "left_out", None) is not None:
        return "left out"
    if getattr(row.result, "corrected_by", None) is not None:
        return "the laboratory's result was corrected: keep a point of the new one"
    return "" if getattr(row.result.lot, "voided", None) is None else "the lot was voided"


def in_fit(row: UptakePoint) -> bool:
    return not why_out(row)


def point_of(row: UptakePoint) -> Point:
    return point_from(**{name: getattr(row, name) for name in FIGURES})


@lru_cache(maxsize=16)
def _fitted(points: tuple[Point, ...]) -> Calibration | CannotSay:
    return calibrate(points)


@dataclass(frozen=True)
class Known:
    """What the forecast rests on: the fit to the house's own results, or the published range and why."""

    diffusivity: Diffusivity
    fit: Calibration | CannotSay

    @property
    def own(self) -> Calibration | None:
        return self.fit if isinstance(self.fit, Calibration) else None

    @property
    def words(self) -> str:
        """Which it is, for whoever reads a forecast."""
        if self.own is not None:
            return (
                f"Fitted to {self.own.n} of this house's own laboratory results. The band is such that of twenty "
                f"single results {round(20 * self.own.level)} are likely to lie in it."
            )
        return (
            "From the published range, from the slowest to the quickest of it: a wide band, and its middle is no "
            "more than that. Keep laboratory results of your own fish as points, and it narrows."
        )

    @property
    def everyday(self) -> str:
        """The diffusivity as a time that a person can picture: half of the way in a piece of an inch."""
        found = self.diffusivity.at(AT_NINTHS)
        half = [seconds_for(HALF, one, INCH_M, 1) for one in (found.high, found.best, found.low)]
        soon, best, late = (_about(seconds) for seconds in half)
        return (
            "So an inch (25.4 mm) of fish with its skin on, in much brine at 41.0 °F (5.0 °C), has taken up half of what it "
            f"can after about {best}: {soon} by the quick end of the band, {late} by the slow one."
        )

    @property
    def why(self) -> str:
        """Why the house's own results do not give one; nothing where they do."""
        return self.fit.why if isinstance(self.fit, CannotSay) else ""


def _about(seconds: float) -> str:
    """A time to the hour, from two days on to the day."""
    hours = max(1, round(seconds / S_PER_H))
    return f"{hours} h" if hours < 2 * H_PER_DAY else f"{round(hours / H_PER_DAY)} days"


def known_of(rows: Sequence[UptakePoint]) -> Known:
    fit = _fitted(tuple(point_of(row) for row in rows if in_fit(row)))
    return Known(fit.diffusivity if isinstance(fit, Calibration) else published(), fit)


def known_now() -> Known:
    """What is known of the diffusivity by the points that stand."""
    return known_of(list(UptakePoint.objects.select_related(*WHY_OUT).order_by("pk")))


def diffusivity_text(figure: float) -> str:
    """1.9 × 10⁻¹⁰ m²/s"""
    digits, _, power = f"{Decimal(figure):.1e}".partition("e")
    raised = str(int(power)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{digits} × 10{raised} m²/s"


@dataclass(frozen=True)
class PublishedRow:
    material: str
    band: str
    source: str
    flag: str


def published_rows() -> list[PublishedRow]:
    """The published range, each with its source and whether it is still to be confirmed."""
    return [
        PublishedRow(
            row.material,
            f"{diffusivity_text(row.low)} to {diffusivity_text(row.high)}",
            row.source,
            row.flag,
        )
        for row in PUBLISHED
    ]


@dataclass(frozen=True)
class PointShown:
    """A point in words, with what the fit leaves of it."""

    row: UptakePoint
    residual: Residual | None

    @property
    def left_out(self) -> UptakePointLeftOut | None:
        return getattr(self.row, "left_out", None)

    @property
    def out(self) -> str:
        return why_out(self.row)

    @property
    def thickness(self) -> str:
        mm = Fraction(self.row.thickness_um, UM_PER_MM)
        return f"{show_number(mm, 1)} mm ({show_number(mm / MM_PER_IN, 2)} in)"

    @property
    def faces(self) -> str:
        return "skin on" if self.row.open_faces == 1 else "skin off"

    @property
    def raw_moisture(self) -> str:
        return _percent(self.row.raw_moisture, 1)

    @property
    def dried(self) -> str:
        return f"{_percent(self.row.yield_share, 1)} of brined weight"

    @property
    def strength(self) -> str:
        dry = self.row.brine_salt == PER_CENT * MILLIONTHS
        return "dry-salted" if dry else f"{_percent(self.row.brine_salt)} salt"

    @property
    def ratio(self) -> str:
        return show_number(Fraction(self.row.ratio, MILLIONTHS), 2)

    @property
    def temp(self) -> str:
        return show_both(self.row.brine_temp)

    @property
    def salt(self) -> str:
        return _percent(self.row.salt)

    @property
    def moisture(self) -> str:
        return _percent(self.row.moisture)

    @property
    def found_words(self) -> str:
        """Water-phase salt that the laboratory found."""
        found = Fraction(PER_CENT * self.row.salt, self.row.salt + self.row.moisture)
        return f"{show_number(found, 2)} %"

    @property
    def fitted(self) -> str:
        return f"{show_number(self.residual.fitted_pct, 2)} %" if self.residual else ""

    @property
    def off(self) -> str:
        """By how much more (+) or less (−) was found than the fit has."""
        if self.residual is None:
            return ""
        off = self.residual.off_pct
        return f"{'+' if off > 0 else ''}{show_number(off, 2)} %"


def _percent(millionths: int, decimals: int = 2) -> str:
    return f"{show_number(Fraction(millionths, MILLIONTHS), decimals)} %"


def shown(rows: Sequence[UptakePoint], known: Known) -> list[PointShown]:
    """Each point, with its residual where it is in a fit."""
    left = iter(known.own.residuals if known.own else ())
    return [PointShown(row, next(left, None) if in_fit(row) else None) for row in rows]


def results_without_point() -> QuerySet[LaboratoryResult]:
    """Laboratories' water-phase salt of lots that no point was kept of yet, newest first."""
    rows = LaboratoryResult.objects.filter(
        quantity=WATER_PHASE,
        uptake_point=None,
        corrected_by=None,
        lot__isnull=False,
        lot__voided=None,
    )
    return rows.select_related("lot").order_by("-sampled_at", "-pk")


def laboratory_found(lot: Lot) -> LaboratorySample | None:
    """The lowest water-phase salt that a laboratory found in a lot; None where none was asked."""
    rows = LaboratorySample.objects.filter(
        result__lot=lot, result__quantity=WATER_PHASE, result__corrected_by=None
    )
    return rows.select_related("result").order_by("value", "pk").first()


def lowest_sample(result: LaboratoryResult) -> LaboratorySample | None:
    """The sample that governs: the lowest."""
    return result.samples.order_by("value", "number").first()


def same_sample(result: LaboratoryResult, quantity: str, number: int) -> int | None:
    """Salt or moisture of the same sample, in millionths of a per cent: of the same lot, sampled at the same
    time; None where the laboratory did not say."""
    found = LaboratorySample.objects.filter(
        result__lot=result.lot_id,
        result__quantity=quantity,
        result__sampled_at=result.sampled_at,
        result__corrected_by=None,
        number=number,
    )
    return found.order_by("-result_id").values_list("value", flat=True).first()


def as_percent(millionths: int) -> Fraction:
    return Fraction(millionths, MILLIONTHS)
