"""The fit behind forecasts of cooling and heating: which courses agree with the latest readings.

Source: variable projection: for each time constant the two linear figures by least squares (Golub and
Pereyra, SIAM Journal on Numerical Analysis 10, 1973), the best time constant by golden section.  The bag
holds time constants that fit nearly as well, by the likelihood of their residuals.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import exp, log, sqrt
from typing import Final

from lots.core.lag import (
    OUTER,
    CannotSay,
    Curve,
    LagFit,
    Place,
    Point,
    Readings,
    Reason,
    place_of,
    points_of,
    response,
)
from lots.core.units import MS_PER_H, MS_PER_MIN, NINTHS_PER_C, NINTHS_PER_F

LOOK_BACK_MS: Final = 8 * MS_PER_H  # older readings say nothing of the present course
FEWEST: Final = 4  # readings from which three figures can be fitted and doubted
FEW: Final = 8  # up to so many readings a disturbance may hide in a good fit
SHORTEST_MS: Final = 20 * MS_PER_MIN
SILENT_MS: Final = 10 * MS_PER_MIN  # a probe is never called silent earlier
SILENT_GAPS: Final = 3  # usual gaps without a reading after which a probe is called silent
LEAST_TREND: Final = 3 * NINTHS_PER_F / 2  # a change that noise of ±0.5 °F does not make
LARGEST_MISFIT: Final = (
    2.2  # of the residuals, in their expected size; beyond, older ones are left out
)
LEFT_OUT: Final = 3  # one in so many, at a time
JUMP: Final = 6 * NINTHS_PER_F  # off the course by so much, the latest reading is a disturbance
PLACE_SD: Final = 1.0 * NINTHS_PER_C  # between the place's thermometer and the air round the fish
PLACE_SHARE: Final = 0.04  # and this share of the distance between place and fish
# no smokehouse's air is colder or hotter
COLDEST, HOTTEST = -40.0 * NINTHS_PER_C, 150.0 * NINTHS_PER_C
TAU_SHORTEST, TAU_LONGEST = 3 * MS_PER_MIN, 16 * MS_PER_H  # time constants looked at
TAU_OF_FISH: Final = 7 * MS_PER_MIN  # nothing in a fish's core is quicker than this
TAU_STEPS: Final = 28  # of the first look, spread evenly in log τ
TAUS: Final = tuple(
    exp(log(TAU_SHORTEST) + i * (log(TAU_LONGEST) - log(TAU_SHORTEST)) / (TAU_STEPS - 1))
    for i in range(TAU_STEPS)
)
BAG_STEPS: Final = 20  # of the second, over the time constants that fit nearly as well as the best
FIRST_STRIDE: Final = 0.005  # in log τ
GOLDEN: Final = (sqrt(5) - 1) / 2
GOLDEN_STEPS: Final = 22
KEPT: Final = 0.003  # the bag ends where the weight falls to this share of the best's
# Gauss-Hermite quadrature, three nodes: Abramowitz and Stegun, table 25.10
NODES: Final = ((-sqrt(3), 1 / 6), (0.0, 2 / 3), (sqrt(3), 1 / 6))


@dataclass(frozen=True, slots=True)
class _Try:
    """The least-squares fit of the two linear figures at one time constant: `b` the surroundings (or their
    distance from the place), `a` the amplitude at the first point, and their covariance."""

    tau: float
    b: float
    a: float
    bb: float
    ba: float
    aa: float
    misfit: float  # weighted sum of squares
    residuals: tuple[float, ...]
    base: float  # of the middle at the last reading, as `response` has it; 0 without a place
    outer: float  # the outer layer's distance at the last reading


class _Fitter:
    """The points of one window and the place, ready to be tried with any time constant."""

    def __init__(self, points: Sequence[Point], place: Place | None) -> None:
        self.points, self.place = points, place
        self.steps = place.steps(points) if place else []
        away = abs(points[0].value - place.at(points[0].t)) if place else 0.0
        self.prior = 1 / (PLACE_SD**2 + (PLACE_SHARE * away) ** 2) if place else 0.0
        self.weight = sum(p.counts for p in points)

    def at(self, tau: float) -> _Try:
        points, start = self.points, self.points[0].t
        base, outer = [0.0] * (len(points) + 1), 0.0
        if self.place:
            base, outer = response(self.place, self.steps, start, tau)
        phi = [exp(-(p.t - start) / tau) for p in points]
        rest = [p.value - g for p, g in zip(points, base[:-1], strict=True)]
        w = [p.counts for p in points]
        bb = self.weight + self.prior
        ba = sum(x * f for x, f in zip(w, phi, strict=True))
        aa = sum(x * f * f for x, f in zip(w, phi, strict=True))
        rb = sum(x * r for x, r in zip(w, rest, strict=True))
        ra = sum(x * f * r for x, f, r in zip(w, phi, rest, strict=True))
        det = bb * aa - ba * ba
        b, a = (rb * aa - ra * ba) / det, (ra * bb - rb * ba) / det
        residuals = tuple(r - b - a * f for r, f in zip(rest, phi, strict=True))
        misfit = sum(x * e * e for x, e in zip(w, residuals, strict=True)) + self.prior * b * b
        return _Try(tau, b, a, aa / det, -ba / det, bb / det, misfit, residuals, base[-1], outer)

    def curve(
        self, found: _Try, b: float, a: float, weight: float = 1.0, drift: float = 0.0
    ) -> Curve:
        """The course from the last reading on; `drift` moves the surroundings from there on."""
        now = found.base + b + a * exp(self.points[0].t / found.tau)
        air = b + (self.place.level + drift if self.place else 0.0)
        outer = -found.outer * OUTER / (1 - OUTER)
        return Curve(found.tau, air, now - air - outer, outer, weight)


def _best(fitter: _Fitter, tries: Sequence[_Try]) -> _Try:
    """The time constant of the least sum of squares: golden section between the grid's neighbours."""
    i = min(range(len(tries)), key=lambda i: tries[i].misfit)
    low, high = log(tries[max(i - 1, 0)].tau), log(tries[min(i + 1, len(tries) - 1)].tau)
    left = fitter.at(exp(high - (high - low) * GOLDEN))
    right = fitter.at(exp(low + (high - low) * GOLDEN))
    for _ in range(GOLDEN_STEPS):
        if left.misfit <= right.misfit:
            high, right = log(right.tau), left
            left = fitter.at(exp(high - (high - low) * GOLDEN))
        else:
            low, left = log(left.tau), right
            right = fitter.at(exp(low + (high - low) * GOLDEN))
    return min(left, right, key=lambda one: one.misfit)


def _edge(fitter: _Fitter, best: _Try, scale: float, way: int) -> float:
    """How far in log τ, up or down, the fits stay nearly as good as the best."""
    stride = FIRST_STRIDE
    while TAU_SHORTEST < best.tau * exp(way * stride) < TAU_LONGEST:
        if fitter.at(best.tau * exp(way * stride)).misfit - best.misfit > -2 * scale * log(KEPT):
            break
        stride *= sqrt(2)
    return way * stride


def _bag(fitter: _Fitter, best: _Try, scale: float) -> tuple[Curve, ...]:
    """Curves round each time constant that fits nearly as well as the best, their weights adding to 1."""
    out = []
    drift = fitter.place.drift if fitter.place else 0.0
    low, high = (_edge(fitter, best, scale, way) for way in (-1, 1))
    for step in range(BAG_STEPS + 1):
        one = fitter.at(best.tau * exp(low + (high - low) * step / BAG_STEPS))
        weight = exp(-max(one.misfit - best.misfit, 0.0) / (2 * scale))
        sd_b = sqrt(one.bb * scale)
        slope, left = one.ba / one.bb, sqrt(max(one.aa - one.ba**2 / one.bb, 0.0) * scale)
        for x, px in NODES:
            for y, py in NODES:
                b, a = one.b + x * sd_b, one.a + slope * x * sd_b + y * left
                curve = fitter.curve(one, b, a, weight * px * py, x * drift)
                if COLDEST <= curve.surroundings <= HOTTEST:
                    out.append(curve)
    total = sum(curve.weight for curve in out)
    return tuple(replace(curve, weight=curve.weight / total) for curve in out)


def _fitted(points: Sequence[Point], place: Place | None) -> tuple[_Fitter, _Try, float]:
    """The window's fits, the best of them, and its misfit as a multiple of what noise explains."""
    fitter = _Fitter(points, place)
    tries = [fitter.at(tau) for tau in TAUS]
    best = _best(fitter, tries)
    free = (2 if place else FEWEST - 1) / len(points)
    return fitter, best, best.misfit / (sum(p.fresh for p in points) * (1 - free))


def _settled(points: Sequence[Point], place: Place | None) -> tuple[_Fitter, _Try, float] | None:
    """The fit of the longest run of latest points that follows one course."""
    while len(points) >= FEWEST and points[-1].t - points[0].t >= SHORTEST_MS:
        found = _fitted(points, place)
        if found[-1] <= LARGEST_MISFIT**2:
            return found
        points = points[max(len(points) // LEFT_OUT, 1) :]
    return None


def _disturbed(points: Sequence[Point], place: Place | None) -> bool:
    """Whether the points before the latest agree on a course that the latest is far off."""
    found = _settled(points[:-1], place)
    if found is None:
        return False
    fitter, best, _ = found
    expected = fitter.curve(best, best.b, best.a).after(points[-1].t)
    return abs(points[-1].value - expected) > JUMP


def fit_lag(
    at: Sequence[int],
    ninths: Sequence[int],
    surroundings: Readings | int | None = None,
    now: int | None = None,
) -> LagFit | CannotSay:
    """The course of the latest readings of one probe.

    Errs to neither side; where the readings leave the course open it says so.

    Args:
        at: moments of the readings, ms UTC, in any order.
        ninths: temperatures, as many, 1/9000 °C.
        surroundings: readings (moment, ninths) of the place, or one steady temperature; None: fitted.
        now: the moment of asking, from which a probe is silent; None: that of the last reading.
    Returns:
        The fit, or why there is none.
    Raises:
        ValueError: not as many temperatures as moments.
    """
    moment = max(at, default=0) if now is None else now
    pairs = sorted(
        (t, v) for t, v in zip(at, ninths, strict=True) if moment - LOOK_BACK_MS <= t <= moment
    )
    lacking = _lacking(pairs, moment)
    if lacking is not None:
        return CannotSay(lacking)
    points, last = points_of(pairs), pairs[-1][0]
    place = _surroundings(surroundings, last)
    found = _settled(points, place)
    doubtful = found is None or found[-1] > 1 or len(found[0].points) < len(points)
    if (doubtful or len(points) < FEW) and _disturbed(points, place):
        return CannotSay(Reason.DISTURBED)
    if found is None:
        return CannotSay(Reason.OFF_COURSE)
    fitter, best, scale = found
    curve = fitter.curve(best, best.b, best.a)
    if abs(best.a) > JUMP and best.tau < TAU_OF_FISH:
        return CannotSay(Reason.TOO_QUICK)
    bag = _bag(fitter, best, max(scale, 1.0))
    if not bag:
        return CannotSay(Reason.TOO_WIDE)
    n = len(fitter.points)
    rms = sqrt(sum(e * e for e in best.residuals) / n)
    since = round(last + fitter.points[0].t)
    return LagFit(curve.surroundings, curve.amplitude, best.tau, last, rms, n, since, bag)


def _lacking(pairs: Readings, now: int) -> Reason | None:
    if len(pairs) < FEWEST:
        return Reason.TOO_FEW
    if pairs[-1][0] - pairs[0][0] < SHORTEST_MS:
        return Reason.TOO_SHORT
    gaps = sorted(b - a for (a, _), (b, _) in pairwise(pairs))
    if now - pairs[-1][0] > max(SILENT_MS, SILENT_GAPS * gaps[len(gaps) // 2]):
        return Reason.SILENT
    values = [value for _, value in pairs]
    return Reason.NO_TREND if max(values) - min(values) < LEAST_TREND else None


def _surroundings(given: Readings | int | None, last: int) -> Place | None:
    if isinstance(given, int):
        given = [(last, given)]
    past = sorted(pair for pair in given or () if last - LOOK_BACK_MS <= pair[0] <= last)
    return place_of(past, last) if past else None
