"""The diffusivity of salt in this house's own fish, fitted to what a laboratory found in it.

One figure is fitted, the diffusivity at 5 °C, to the salt of each point, by least squares of logarithms:
results err in proportion.  A laboratory finds salt in the finished, dried fish; with the yield from brined
to sampled weight it is put back on the brined fish: all salt stays in drying, and all that is lost is water.
So of a gram as brined, with salt share s and moisture share m found and yield y,

    salt = s · y,    water = m · y + 1 − y,

and salt over water is held against what `uptake.Brining` gives for that strength, ratio, time, temperature
and thickness.  The band holds every diffusivity whose misfit is no worse than Student's t at the stated level
allows.  It says how well the figure is known, given that points err independently and alike; `forecast` adds
to it how far a single result lies from it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import cos, exp, inf, log, pi, sin, sqrt
from typing import Final

from lots.core.salting import PER_CENT, BadSalting
from lots.core.units import MILLIONTHS, MS_PER_S
from lots.core.uptake import SENSITIVITY_STEP, THICKEST_M, THINNEST_M, Brining, Diffusivity

# Of the method, our own choices: the level of the band, how finely the fit looks, and when it says nothing
# rather than something weak.  To be confirmed by whoever knows the laboratory's and the house's scatter.
LEVEL: Final = 0.95  # of the band, both ends
FEWEST: Final = 3  # two results say next to nothing of how far results lie apart
NEAR_END: Final = (
    0.95  # share of the final salt: beyond it a point tells no longer how fast it came
)
APART: Final = 0.25  # of the logarithm: results that scatter by more contradict each other
ABOVE: Final = (
    1.15  # of the final salt: more than a laboratory's error over what a brine could give
)
WIDEST: Final = 20.0  # high over low: as wide as the published range is no knowledge of one's own
STEPS: Final = 48  # of the first look, over the whole range
GOLDEN: Final = (sqrt(5.0) - 1) / 2
HALVINGS: Final = 34
DECIMALS: Final = 1000
# m²/s, the range looked over: through skin with fat the slowest published (uptake.PUBLISHED), and at 5 °C
# not quicker than in water alone (0.9e-9; 1.6e-9 at 25 °C, from memory).
SLOWEST: Final = 1e-14
QUICKEST: Final = 1e-9


class Why(StrEnum):
    """Why nothing can be said; the value is the words for people, with what to do."""

    NONE = "No result has been kept yet: until then the published range holds, as a wide band."
    ONE = (
        "One result can be met by a diffusivity of its own, right or wrong: keep at least three, best of "
        "thick and thin pieces and of short and long brinings."
    )
    TWO = "Two results do not show how far results lie apart: keep at least one more."
    AT_END = (
        "These pieces had all but come to the strength of their brine: they show where it ends, not how fast "
        "it goes. Keep results of thicker pieces or shorter brinings."
    )
    ABOVE_END = (
        "More salt was found than the brine could give this fish: look again at strength, ratio, moisture "
        "and yield."
    )
    TOO_QUICK = (
        "The salt went in faster than it moves in water alone: look again at the thickness and its unit, at "
        "the time, and at the number of open faces."
    )
    TOO_SLOW = (
        "The salt went in slower than through skin and fat: look again at the thickness and its unit, and "
        "at the time."
    )
    APART = (
        "The results contradict each other: no one diffusivity comes near all of them. Look for the one whose "
        "figures are wrong, and leave it out with a reason."
    )
    TOO_WIDE = (
        "The results leave the diffusivity open by more than the published range does: keep more."
    )
    NO_SALT = (
        "A result without salt tells nothing of how fast salt goes in: leave it out with a reason."
    )


@dataclass(frozen=True, slots=True)
class CannotSay:
    """Why there is no fit; `farthest`: of results that contradict each other, the number of the one (from 0)
    that lies farthest from the others' middle."""

    reason: Why
    farthest: int | None = None

    @property
    def why(self) -> str:
        return self.reason.value


@dataclass(frozen=True, slots=True)
class Point:
    """What the fish of one result had been through, and what the laboratory found in it; shares in per cent.

    `brining.yield_pct` is the weight as sampled of the weight as brined.
    """

    brining: Brining
    thickness_m: float
    seconds: float
    salt_pct: float
    moisture_pct: float

    def __post_init__(self) -> None:
        if not THINNEST_M <= self.thickness_m <= THICKEST_M:
            raise BadSalting("State how thick the piece was, with its unit: 0.1 mm to 500 mm.")
        if not self.seconds > 0:
            raise BadSalting("State how long the piece was brined.")
        if self.salt_pct < 0 or not self.moisture_pct > 0:
            raise BadSalting("State the salt and the moisture that the laboratory found.")
        if self.salt_pct + self.moisture_pct > PER_CENT:
            raise BadSalting(
                "Salt and moisture are over 100 % together: look at both figures again."
            )

    @property
    def salt(self) -> float:
        """Grams of salt for one of water in the fish as brined, before it was dried."""
        share = self.brining.yield_pct / PER_CENT
        water = self.moisture_pct / PER_CENT * share + 1 - share
        return self.salt_pct / PER_CENT * share / water

    def fitted(self, diffusivity: Diffusivity) -> float:
        """The same as a diffusivity (its best figure) gives it."""
        here = diffusivity.at(self.brining.temp_ninths).best
        return self.brining.salt(here, self.thickness_m, self.seconds)

    def as_found_pct(self, salt: float) -> float:
        """Water-phase salt as the laboratory would find it, had the brined fish this much salt for one of
        water."""
        share = self.brining.yield_pct / PER_CENT
        water = self.moisture_pct / PER_CENT * share
        grams = salt * (water + 1 - share)
        return PER_CENT * grams / (grams + water)


def point_from(
    *,
    thickness_um: int,
    open_faces: int,
    brined_ms: int,
    brine_temp: int,
    brine_salt: int,
    ratio: int,
    raw_moisture: int,
    salt: int,
    moisture: int,
    yield_share: int,
) -> Point:
    """A point from figures as they are kept: micrometres, ms, ninths, millionths of a per cent, and the
    ratio in millionths.

    Raises:
        BadSalting: a figure that cannot be.
    """
    brining = Brining(
        brine_salt / MILLIONTHS,
        ratio / MILLIONTHS,
        raw_moisture / MILLIONTHS,
        brine_temp,
        open_faces,
        yield_share / MILLIONTHS,
    )
    return Point(
        brining,
        thickness_um / MILLIONTHS,
        brined_ms / MS_PER_S,
        salt / MILLIONTHS,
        moisture / MILLIONTHS,
    )


@dataclass(frozen=True, slots=True)
class Residual:
    """A point's water-phase salt as found and as the fit has it, per cent (thousandths)."""

    found_pct: Fraction
    fitted_pct: Fraction

    @property
    def off_pct(self) -> Fraction:
        return self.found_pct - self.fitted_pct


@dataclass(frozen=True, slots=True)
class Calibration:
    """The fitted diffusivity at 5 °C with its band, what is left over of each point, and the band's level."""

    diffusivity: Diffusivity
    residuals: tuple[Residual, ...]
    n: int
    level: float

    @property
    def best(self) -> float:
        """m²/s at 5 °C."""
        return self.diffusivity.best

    @property
    def low(self) -> float:
        """The lower end of the band, m²/s at 5 °C."""
        return self.diffusivity.low

    @property
    def high(self) -> float:
        """The upper end of the band, m²/s at 5 °C."""
        return self.diffusivity.high


def calibrate(points: Sequence[Point], level: float = LEVEL) -> Calibration | CannotSay:
    """The diffusivity of these points, or why they do not give one.

    Args:
        points: results with what their fish had been through.
        level: of the band, between 0 and 1.
    """
    why = _too_little(points)
    if why is not None:
        return CannotSay(why)
    misfit = _misfit(points)
    best = _lowest(misfit)
    least, free = misfit(best), len(points) - 1
    why = _unlikely(points, best, sqrt(least / free))
    if why is not None:
        return CannotSay(why, _farthest(points, best) if why is Why.APART else None)
    reach = student(level, free)
    allowed = least * (1 + reach**2 / free)
    low, high = (_crossing(misfit, best, end, allowed) for end in (log(SLOWEST), log(QUICKEST) + 1))
    if low is None or high is None or high - low > log(WIDEST):
        return CannotSay(Why.AT_END if _at_end(points) else Why.TOO_WIDE)
    found = Diffusivity(
        exp(best), exp(low), exp(high), sqrt(least / free), reach, _weight(points, best), moves=True
    )
    return Calibration(found, tuple(_residual(p, found) for p in points), len(points), level)


def _too_little(points: Sequence[Point]) -> Why | None:
    if any(point.salt_pct == 0 for point in points):
        return Why.NO_SALT
    if len(points) < FEWEST:
        return (Why.NONE, Why.ONE, Why.TWO)[len(points)]
    shares = sorted(point.salt / point.brining.end for point in points)
    if shares[len(shares) // 2] > ABOVE:
        return Why.ABOVE_END
    return Why.AT_END if shares[0] >= NEAR_END else None


def _at_end(points: Sequence[Point]) -> bool:
    shares = sorted(point.salt / point.brining.end for point in points)
    return shares[len(shares) // 2] >= NEAR_END


def _unlikely(points: Sequence[Point], best: float, scatter: float) -> Why | None:
    if scatter > APART:
        return Why.APART
    if best > log(QUICKEST):
        return Why.AT_END if _at_end(points) else Why.TOO_QUICK
    return Why.TOO_SLOW if best < log(SLOWEST) + 1 else None


def _farthest(points: Sequence[Point], best: float) -> int:
    known = _known(best)
    off = [log(point.salt / point.fitted(known)) for point in points]
    middle = sorted(off)[len(off) // 2]
    return max(range(len(off)), key=lambda number: abs(off[number] - middle))


def _known(logarithm: float) -> Diffusivity:
    figure = exp(logarithm)
    return Diffusivity(figure, figure, figure, moves=True)


def _misfit(points: Sequence[Point]) -> Callable[[float], float]:
    found = [(point, log(point.salt)) for point in points]

    def misfit(logarithm: float) -> float:
        known = _known(logarithm)
        return sum((said - log(point.fitted(known))) ** 2 for point, said in found)

    return misfit


def _lowest(misfit: Callable[[float], float]) -> float:
    """Where the misfit is least: a look over the whole range, then the golden section."""
    first, width = log(SLOWEST), (log(QUICKEST) + 1 - log(SLOWEST)) / STEPS
    near = min(range(STEPS + 1), key=lambda step: misfit(first + step * width))
    low, high = first + (near - 1) * width, first + (near + 1) * width
    left, right = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    at_left, at_right = misfit(left), misfit(right)
    for _ in range(HALVINGS):
        if at_left < at_right:
            high, right, at_right = right, left, at_left
            left = high - GOLDEN * (high - low)
            at_left = misfit(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + GOLDEN * (high - low)
            at_right = misfit(right)
    return (low + high) / 2


def _crossing(
    misfit: Callable[[float], float], best: float, end: float, allowed: float
) -> float | None:
    """Where, from the best towards an end, the misfit passes what is allowed; None: it never does."""
    if misfit(end) <= allowed:
        return None
    inside, outside = best, end
    for _ in range(HALVINGS):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if misfit(middle) <= allowed else (inside, middle)
    return inside


def _weight(points: Sequence[Point], best: float) -> float:
    """What the points know of the diffusivity: the sum of the squares of how their salt moves with it."""
    here, there = _known(best), _known(best + SENSITIVITY_STEP)
    moves = [log(p.fitted(there) / p.fitted(here)) / SENSITIVITY_STEP for p in points]
    return sum(each**2 for each in moves)


def _residual(point: Point, known: Diffusivity) -> Residual:
    found, fitted = (point.as_found_pct(x) for x in (point.salt, point.fitted(known)))
    return Residual(*(Fraction(round(x * DECIMALS), DECIMALS) for x in (found, fitted)))


# --- Student's t ----------------------------------------------------------------------------------


def student(level: float, free: int) -> float:
    """The t that a share `level` of Student's distribution lies within, both sides.

    Args:
        level: between 0 and 1; free: degrees of freedom, at least 1.
    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.
    """
    low, high = 0.0, pi / 2
    for _ in range(HALVINGS + STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if _within(middle, free) < level else (low, middle)
    return sqrt(free) * sin(low) / cos(low) if low < pi / 2 else inf


def _within(angle: float, free: int) -> float:
    """The share within t = √free · tan(angle)."""
    odd = free % 2
    term, total = (cos(angle) if odd else 1.0), 0.0
    for k in range(1 + odd, free, 2):
        total += term
        term *= cos(angle) ** 2 * k / (k + 1)
    if odd:
        return 2 / pi * (angle + sin(angle) * total)
    return sin(angle) * total
