"""How much salt the fish is likely to have taken up: a planning aid, which a laboratory result overrides.

Salt is taken to diffuse into a plane sheet (core/sheet.py) from a brine that is moved, and counts as grams
of salt for one of water, so that the end is exactly `salting.equilibrium`.  What errs: a brine that lies
still, skin and fat let salt in more slowly; water that a strong brine draws is not followed; the raw fish's
own salt is left out; in a dry salting the face is taken as of the final strength from the start, where in
truth salt lies on it, so that it errs against the processor.

Floats are fine here.  What leaves this module for a page or a record is rounded (`Fraction` of thousandths),
the same on every machine.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from math import exp, inf, log, sqrt
from typing import Final

from lots.core.salt_water import SATURATED
from lots.core.salting import PER_CENT, BadSalting
from lots.core.sheet import FACES, fourier, fraction_in
from lots.core.units import MS_PER_DAY, MS_PER_S, NINTHS_PER_C

PLANNING: Final = "A planning aid: what a laboratory finds in the finished fish stands above it, and it is no proof."

# --- diffusivity ----------------------------------------------------------------------------------

AT_NINTHS: Final = 5 * NINTHS_PER_C  # what diffusivities fitted to results are stated at
COLDEST: Final = -5 * NINTHS_PER_C  # brine of fish: colder it is frozen, warmer it is no brining
WARMEST: Final = 40 * NINTHS_PER_C
KELVIN_AT_0_C: Final = 273.15
VISCOSITY_AT_C: Final = 20.0
VISCOSITY: Final = (1.2364, -1.37e-3, 5.7e-6, 96.0)
LN_10: Final = log(10)


def mobility(temp_ninths: int) -> float:
    """How much quicker salt moves in water at a temperature than at 5 °C: absolute temperature over the
    viscosity of water.

    That the diffusivity in fish goes with that in water is an assumption, to be confirmed: it follows the
    water between the solids, but fat and protein change with temperature too.

    Args:
        temp_ninths: −5 °C to 40 °C.
    Raises:
        BadSalting: outside that range.
    Source: Stokes-Einstein relation (Einstein, 1905); viscosity of water: Kestin, Sokolov and Wakeham,
        J. Phys. Chem. Ref. Data 7 (1978) 941 (from memory; held against the release of the IAPWS on viscosity, 2008).
    """
    if not COLDEST <= temp_ninths <= WARMEST:
        raise BadSalting(
            "State the brine's temperature, between −5 °C and 40 °C (23 °F and 104 °F)."
        )
    here, there = temp_ninths / NINTHS_PER_C, AT_NINTHS / NINTHS_PER_C
    kelvins = (KELVIN_AT_0_C + here) / (KELVIN_AT_0_C + there)
    return kelvins * _viscosity(there) / _viscosity(here)


def _viscosity(celsius: float) -> float:
    """The viscosity of water of what it is at 20 °C."""
    a, b, c, pole = VISCOSITY
    off = VISCOSITY_AT_C - celsius
    return exp(LN_10 * off / (celsius + pole) * (a + b * off + c * off * off))


@dataclass(frozen=True, slots=True)
class Published:
    """A range of diffusivities of salt in fish as published, m²/s, with its source."""

    material: str
    low: float
    high: float
    source: str
    flag: str


PUBLISHED: Final = (
    Published("fish meat, salt on the flesh side", 1e-11, 1e-10, "J. Cookery Sci. Jpn 25(4):283 (1992), abstract", "published"),
    Published("salmon fillet in brine, 5 to 20 °C", 1e-10, 7e-10, "Wang et al. (2000) and others; from memory", "to be confirmed"),
    Published("rainbow trout in brine", 1e-10, 6e-10, "Akkose and Aktas (2016); from memory", "to be confirmed"),
)  # fmt: skip
# Through skin (1e-13 to 1e-10) and skin with fat (1e-14 to 1e-12, same journal) next to nothing goes: a face
# with its skin on is no open face.


@dataclass(frozen=True, slots=True)
class Diffusivity:
    """What is known of the diffusivity, m²/s at 5 °C: the best figure and the ends of its band.

    `scatter`, `reach` and `weight` are of a fit to results (core/calibration.py): how far single results lie
    from it (of the logarithm), how many such widths the band spans, and what the results know of it in all;
    0 where it was not fitted.  `moves`: whether it is taken to change with temperature; the published range
    is so wide that it holds it for every brining.
    """

    best: float
    low: float
    high: float
    scatter: float = 0.0
    reach: float = 0.0
    weight: float = 0.0
    moves: bool = False

    def at(self, temp_ninths: int) -> "Diffusivity":
        """The same at a brine's temperature."""
        if not self.moves:
            return self
        more = mobility(temp_ninths)
        return replace(self, best=self.best * more, low=self.low * more, high=self.high * more)


def published() -> Diffusivity:
    """The published range as one wide band; its best figure is its middle and no more than that."""
    low, high = min(row.low for row in PUBLISHED), max(row.high for row in PUBLISHED)
    return Diffusivity(sqrt(low * high), low, high)


# --- the brining ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Brining:
    """What the fish lies in, and how; shares in per cent.

    brine_pct: salt of salt and water in the brine; 100 for a dry salting.
    ratio: weight of salt and water on one of fish.
    moisture_pct: of the raw fish.
    open_faces: 1 where the skin is on, 2 where it is off.
    yield_pct: what the fish weighs when sampled or packed of what it weighed as brined; 100: not dried.
    """

    brine_pct: float
    ratio: float
    moisture_pct: float
    temp_ninths: int
    open_faces: int = 1
    yield_pct: float = float(PER_CENT)

    def __post_init__(self) -> None:
        if not 0 < self.brine_pct <= PER_CENT:
            raise BadSalting("State the brine's strength in per cent, above 0 and at most 100.")
        if not self.ratio > 0:
            raise BadSalting("State the brine for one part of fish, above nothing.")
        if not 0 < self.moisture_pct < PER_CENT:
            raise BadSalting("State the moisture of the raw fish in per cent, between 0 and 100.")
        if self.open_faces not in FACES:
            raise BadSalting("Fish takes up salt through one face (skin on) or two (skin off).")
        if not 0 < self.yield_pct <= PER_CENT:
            raise BadSalting(
                "State the yield in per cent of the brined weight, above 0, at most 100."
            )
        mobility(self.temp_ninths)

    @cached_property
    def end(self) -> float:
        """Grams of salt for one of the fish's water at full equilibrium, never above what dissolves."""
        salt = self.ratio * self.brine_pct / PER_CENT
        most = float(SATURATED / (PER_CENT - SATURATED))
        return min(salt / (self.ratio - salt + self.moisture_pct / PER_CENT), most)

    @cached_property
    def bath(self) -> float:
        """The brine's water for one of the fish's; a dry salting has no bath that weakens."""
        water = self.ratio * (1 - self.brine_pct / PER_CENT)
        return water / (self.moisture_pct / PER_CENT) if water else inf

    def salt(self, diffusivity: float, thickness_m: float, seconds: float) -> float:
        """Grams of salt for one of water in the whole piece, before it is dried."""
        number = fourier(diffusivity, seconds, thickness_m, self.open_faces)
        return self.end * fraction_in(number, self.bath)

    def finished_pct(self, salt: float) -> float:
        """Water-phase salt, per cent, of fish brought to this much salt for one of water, and then dried."""
        water = self.moisture_pct / PER_CENT
        left = water - (1 - self.yield_pct / PER_CENT) * (1 + salt * water)
        if left <= 0:
            raise BadSalting("At that yield no water would be left in the fish: look at it again.")
        return PER_CENT * salt * water / (salt * water + left)


# --- a forecast -----------------------------------------------------------------------------------

SENSITIVITY_STEP: Final = 0.01  # of the logarithm of the diffusivity
DECIMALS: Final = (
    1000  # a figure is rounded to thousandths of a per cent, a thickness to thousandths of a mm
)
M_PER_MM: Final = 0.001
LONGEST_DAYS: Final = 60  # no fish is brined longer: common practice, to be confirmed
LONGEST_S: Final = LONGEST_DAYS * MS_PER_DAY // MS_PER_S
THICKEST_M: Final = 0.5
THINNEST_M: Final = 0.0001
HALVINGS: Final = 40


@dataclass(frozen=True, slots=True)
class Forecast:
    """Water-phase salt, per cent: the best figure, and the ends of what a result is likely to lie between."""

    low: Fraction
    best: Fraction
    high: Fraction


class Standing(StrEnum):
    """How a forecast stands to a target; the value is the words for people."""

    REACHES = "likely to reach it"
    IN_DOUBT = "in doubt"
    FAILS = "likely to fail"


def standing(forecast: Forecast, target_pct: Fraction) -> Standing:
    """How a forecast stands to the target: in doubt wherever its band holds the target."""
    if forecast.low >= target_pct:
        return Standing.REACHES
    return Standing.IN_DOUBT if forecast.high >= target_pct else Standing.FAILS


def _thousandths(figure: float) -> Fraction:
    return Fraction(round(figure * DECIMALS), DECIMALS)


def _salts(
    brining: Brining, known: Diffusivity, thickness_m: float, seconds: float
) -> tuple[float, float, float]:
    """Lowest, best and highest salt for one of water, before drying."""
    here = known.at(brining.temp_ninths)
    best = brining.salt(here.best, thickness_m, seconds)
    if not known.scatter:
        low = brining.salt(here.low, thickness_m, seconds)
        return low, best, brining.salt(here.high, thickness_m, seconds)
    if not best:
        return 0.0, 0.0, 0.0
    more = brining.salt(here.best * exp(SENSITIVITY_STEP), thickness_m, seconds)
    moves = log(more / best) / SENSITIVITY_STEP
    width = known.reach * known.scatter * sqrt(1 + moves**2 / known.weight)
    return best * exp(-width), best, min(best * exp(width), brining.end)


def forecast(brining: Brining, known: Diffusivity, thickness_m: float, seconds: float) -> Forecast:
    """The water-phase salt that a piece is likely to have, dried as the brining's yield says.

    Before any result the band is that of the published diffusivities; after, it holds nineteen of twenty
    single results, if the fit's level is 95 %.

    Args:
        thickness_m: of the whole piece, m; seconds: in the brine.
    """
    found = _salts(brining, known, thickness_m, seconds)
    return Forecast(*(_thousandths(brining.finished_pct(salt)) for salt in found))


@dataclass(frozen=True, slots=True)
class Reach:
    """When a piece comes to the target, in seconds, or how thick one may be, in mm (thousandths): `best`,
    and the sure and the hopeful end of the band.  None: never, or not at any thickness."""

    sure: Fraction | None
    best: Fraction | None
    hopeful: Fraction | None


def time_to_reach(
    brining: Brining, known: Diffusivity, thickness_m: float, target_pct: Fraction
) -> Reach:
    """How long until a piece is likely to have the target: seconds, rounded up to whole ones.

    `sure` is the moment at which even the low end of the band has it: that is what to plan by.  None where
    60 days do not bring it there.
    """

    def reached(which: int) -> Fraction | None:
        def short(seconds: float) -> bool:
            salts = _salts(brining, known, thickness_m, seconds)
            return _thousandths(brining.finished_pct(salts[which])) < target_pct

        found = _first_not(short, 1.0, float(LONGEST_S))
        return None if found is None else Fraction(-int(-found // 1))

    return Reach(*(reached(which) for which in range(len(("low", "best", "high")))))


def _first_not(short: Callable[[float], bool], low: float, high: float) -> float | None:
    """Where it first no longer falls short, between two figures, by halving their ratio; None: nowhere."""
    if short(high):
        return None
    if not short(low):
        return low
    for _ in range(HALVINGS):
        middle = sqrt(low * high)
        low, high = (middle, high) if short(middle) else (low, middle)
    return high


def thickest(brining: Brining, known: Diffusivity, seconds: float, target_pct: Fraction) -> Reach:
    """How thick a piece may be to have the target after this time: mm, rounded down to thousandths.

    Pieces up to `sure` are likely to reach it, those above `hopeful` to fail, those between are in doubt.
    """

    def reached(which: int) -> Fraction | None:
        def short(thinner: float) -> bool:
            salts = _salts(brining, known, 1 / thinner, seconds)
            return _thousandths(brining.finished_pct(salts[which])) < target_pct

        found = _first_not(short, 1 / THICKEST_M, 1 / THINNEST_M)
        return None if found is None else Fraction(int(DECIMALS / found / M_PER_MM), DECIMALS)

    return Reach(*(reached(which) for which in range(len(("low", "best", "high")))))


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a thickness (mm), what is forecast of it, and how that stands to the target."""

    thickness_mm: Fraction
    forecast: Forecast
    standing: Standing


def pieces(
    brining: Brining,
    known: Diffusivity,
    seconds: float,
    thicknesses_mm: Iterable[Fraction],
    target_pct: Fraction,
) -> tuple[Piece, ...]:
    """Which of pieces of uneven thickness reach the target after this time, fail, or are in doubt."""
    out = []
    for mm in thicknesses_mm:
        found = forecast(brining, known, float(mm) * M_PER_MM, seconds)
        out.append(Piece(mm, found, standing(found, target_pct)))
    return tuple(out)


# --- the picture ----------------------------------------------------------------------------------

COURSE_POINTS: Final = 48


def course(
    brining: Brining, known: Diffusivity, thickness_m: float, until_s: int
) -> tuple[tuple[int, Forecast], ...]:
    """Water-phase salt over time from 0 to `until_s`: (seconds, forecast), closer where it rises faster."""
    at = [round(until_s * (n / COURSE_POINTS) ** 2) for n in range(COURSE_POINTS + 1)]
    return tuple((s, forecast(brining, known, thickness_m, s)) for s in dict.fromkeys(at))
