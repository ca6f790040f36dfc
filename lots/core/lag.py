"""The lag model of heating and cooling: T(t) = S + A · exp(−t / τ), as values.

A body in steady surroundings S nears them so that the distance falls by the same share in each minute
(Newton's law of cooling); in a body that conducts slowly the middle follows the same law once the first
fifth of its Fourier time is past (the one-term solution of the slab, cylinder and sphere: Carslaw and
Jaeger, Conduction of Heat in Solids, chapter III; Cengel, Heat and Mass Transfer, chapter 4).  Where
readings of the place are given, the surroundings may change: they reach the middle through an outer layer
of shorter lag.

A forecast is an estimate and never decides, so floats are fine here.  What is uncertain stays so: a fit is
a bag of curves, each weighted by how well it agrees with the readings, and a figure is read off all of
them.  Times are ms after the last reading, temperatures ninths (1/9000 °C).
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import exp, inf
from typing import Final

from lots.core.units import MS_PER_H, NINTHS_PER_C, NINTHS_PER_F

POINTS: Final = 40  # means over equal slots: bounds the cost of a logger's thousands of readings
READING_SD: Final = 0.3 * NINTHS_PER_F  # of a reading: ±0.5 °F evenly spread, and one digit
MODEL_SD: Final = 0.1 * NINTHS_PER_F  # of the model: what a mean of many readings does not lose
FORGET_MS: Final = 3 * MS_PER_H  # a reading older by this counts half
PLACE_STEADY: Final = 3 * NINTHS_PER_C  # readings of the place that are one level with its last
PLACE_MS: Final = MS_PER_H  # how long back they are looked at
OUTER: Final = 0.15  # lag of the outer layer as a share of the main lag: slab 0.11, cylinder 0.19
HALF: Final = 0.5

Readings = Sequence[tuple[int, int]]  # (moment ms UTC, ninths)


class Reason(StrEnum):
    """Why nothing can be said; the value is the words for people."""

    TOO_FEW = "too few readings yet"
    TOO_SHORT = "the readings span too short a time yet"
    SILENT = "no reading for too long"
    NO_TREND = "the readings show no trend yet"
    OFF_COURSE = "the readings follow no steady course"
    DISTURBED = "the latest reading is off the course: the probe or the surroundings were disturbed"
    TOO_QUICK = "the readings change faster than a fish can: is the probe still in it?"
    TOO_WIDE = "the readings fit too many courses yet"


@dataclass(frozen=True, slots=True)
class CannotSay:
    """Why there is no fit."""

    reason: Reason

    @property
    def why(self) -> str:
        return self.reason.value


@dataclass(frozen=True, slots=True)
class Curve:
    """One course: T = surroundings + amplitude · e^(−t/τ) + outer · e^(−t/(OUTER·τ)), t ms after the last
    reading; `weight` is its share in the bag."""

    tau_ms: float
    surroundings: float
    amplitude: float
    outer: float = 0.0
    weight: float = 1.0

    def after(self, ms: float) -> float:
        """The temperature that many ms after the last reading, ninths."""
        part = exp(-ms / self.tau_ms)
        outer = self.outer and self.outer * exp(-ms / (OUTER * self.tau_ms))
        return self.surroundings + self.amplitude * part + outer


@dataclass(frozen=True, slots=True)
class LagFit:
    """The course of one probe: the best curve's figures, and the bag of curves that fit nearly as well.

    surroundings, amplitude: ninths; amplitude: the distance from the surroundings at `at`, the last
    reading's moment.  rms: of the residuals, ninths.  readings: how many points were fitted; since: the
    moment of the oldest.
    """

    surroundings: float
    amplitude: float
    tau_ms: float
    at: int
    rms: float
    readings: int
    since: int
    curves: tuple[Curve, ...]

    @property
    def rising(self) -> bool:
        return self.amplitude < 0

    def temperature(self, at: int, share: float = HALF) -> float:
        """The temperature at a moment that `share` of the weight lies at or below, ninths."""
        return spread(((c.after(at - self.at), c.weight) for c in self.curves), share)


def spread(figures: Iterable[tuple[float, float]], share: float) -> float:
    """The figure that `share` of the weight lies at or below; figures with their weights, adding to 1."""
    total, ordered = 0.0, sorted(figures)
    before = ordered[0][0]
    for figure, weight in ordered:
        total += weight
        if total >= share:
            if figure == inf or weight == 0:
                return figure
            return figure - (figure - before) * (total - share) / weight
        before = figure
    return ordered[-1][0]


# --- the readings ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Point:
    """The mean of some readings: ms after the last reading, ninths, how fresh (1 for the latest), and
    how much it counts."""

    t: float
    value: float
    fresh: float
    counts: float


def _thinned(
    pairs: Sequence[tuple[int, int]], most: int = POINTS
) -> list[tuple[float, float, int]]:
    """Means over equal slots of time: (moment, ninths, readings), at most `most` of them."""
    if len(pairs) <= most:
        return [(at, value, 1) for at, value in pairs]
    start, size = pairs[0][0], (pairs[-1][0] - pairs[0][0]) / most + 1
    slots: dict[int, list[tuple[int, int]]] = {}
    for pair in pairs:
        slots.setdefault(int((pair[0] - start) / size), []).append(pair)
    return [
        (sum(at for at, _ in slot) / len(slot), sum(v for _, v in slot) / len(slot), len(slot))
        for slot in slots.values()
    ]


def points_of(pairs: Readings) -> list[Point]:
    """The readings of a probe, in order, as points to be fitted."""
    last = pairs[-1][0]
    out = []
    for at, value, count in _thinned(pairs):
        age = last - at
        fresh = HALF ** (age / FORGET_MS)
        out.append(Point(-age, value, fresh, fresh / (READING_SD**2 / count + MODEL_SD**2)))
    return out


# --- the surroundings -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Place:
    """The surroundings as read: ms after the probe's last reading, ninths; constant before and after."""

    t: tuple[float, ...]
    value: tuple[float, ...]
    level: float  # held from the last reading on
    drift: float  # how far it moved of late, and may move yet

    def at(self, t: float) -> float:
        i = bisect_left(self.t, t)
        if i in (0, len(self.t)):
            return self.value[min(i, len(self.t) - 1)]
        share = (t - self.t[i - 1]) / (self.t[i] - self.t[i - 1])
        return self.value[i - 1] + share * (self.value[i] - self.value[i - 1])

    def steps(self, points: Sequence[Point]) -> list[list[tuple[float, float]]]:
        """Before each point and after the last: pieces of (length, mean surroundings)."""
        out: list[list[tuple[float, float]]] = [[]]
        for a, b in pairwise([*(point.t for point in points), 0.0]):
            cuts = [a, *(t for t in self.t if a < t < b), b]
            out.append([(v - u, (self.at(u) + self.at(v)) / 2) for u, v in pairwise(cuts)])
        return out


def place_of(pairs: Readings, last: int) -> Place:
    """The surroundings from readings of the place, in order; `last`: the moment of the probe's last."""
    thin = _thinned(pairs)
    level = thin[-1][1]
    near = [
        v for at, v, _ in thin if thin[-1][0] - at <= MS_PER_H and abs(v - level) <= PLACE_STEADY
    ]
    half = (len(near) + 1) // 2
    drift = abs(sum(near[-half:]) - sum(near[:half])) / half
    t, value = zip(*sorted({at - last: v for at, v, _ in thin}.items()), strict=True)
    return Place(t, value, sum(near) / len(near), drift)


def response(
    place: Place, steps: list[list[tuple[float, float]]], begin: float, tau: float
) -> tuple[list[float], float]:
    """What the middle would read at each point, and at the last reading, had it stood at the
    surroundings at the first; and the outer layer's distance from them at the last reading."""
    outer = middle = place.at(begin)
    out = []
    for pieces in steps:
        for ms, air in pieces:
            slow, quick = exp(-ms / tau), exp(-ms / (OUTER * tau))
            part = -(outer - air) * OUTER / (1 - OUTER)
            middle = air + (middle - air - part) * slow + part * quick
            outer = air + (outer - air) * quick
        out.append(middle)
    return out, outer - place.level
