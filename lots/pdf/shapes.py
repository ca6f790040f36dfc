"""The verdicts' shapes, told apart without colour and when photocopied: the worse, the blacker.

Within limits: an open ring with a tick.  Adjust process: a triangle, filled in its lower half.  Not
yet shown: an open hourglass.  Deviation: a solid diamond with a white cross.
"""

from collections.abc import Callable, Sequence
from math import cos, pi, sin
from typing import NamedTuple

Point = tuple[float, float]

SHAPE_ROOM = 13.0


class Path(NamedTuple):
    """Straight strokes through the points; greys run from 0 (black) to 1 (white), None is nothing."""

    points: Sequence[Point]
    closed: bool = False
    fill: float | None = None
    stroke: float | None = None
    thick: float = 0.7
    dash: tuple[float, ...] = ()


def ring(x: float, y: float, radius: float, corners: int = 28) -> list[Point]:
    """The corners of a circle drawn as straight strokes."""
    turns = [2 * pi * i / corners for i in range(corners)]
    return [(x + radius * cos(a), y + radius * sin(a)) for a in turns]


def _met(x: float, y: float) -> list[Path]:
    tick = [(x - 1.7, y), (x - 0.4, y - 1.5), (x + 1.8, y + 1.5)]
    return [Path(ring(x, y, 3.7), True, None, 0.0, 0.7), Path(tick, stroke=0.0, thick=0.8)]


def _adjust(x: float, y: float) -> list[Path]:
    low, high = y - 3.4, y + 3.8
    half = [(x - 4.0, low), (x + 4.0, low), (x + 2.1, y), (x - 2.1, y)]
    outline = [(x - 4.0, low), (x + 4.0, low), (x, high)]
    return [Path(half, True, 0.0), Path(outline, True, None, 0.0, 0.7)]


def _pending(x: float, y: float) -> list[Path]:
    glass = [(x - 3.2, y + 3.6), (x + 3.2, y + 3.6), (x - 3.2, y - 3.6), (x + 3.2, y - 3.6)]
    return [Path(glass, True, None, 0.0, 0.8)]


def _deviation(x: float, y: float) -> list[Path]:
    r, c = 4.7, 1.35
    diamond = [(x - r, y), (x, y + r), (x + r, y), (x, y - r)]
    strokes = [((x - c, y - c), (x + c, y + c)), ((x - c, y + c), (x + c, y - c))]
    return [Path(diamond, True, 0.0), *(Path(s, stroke=1.0, thick=0.9) for s in strokes)]


_DRAWN: dict[str, Callable[[float, float], list[Path]]] = {
    "MET": _met,
    "ADJUST": _adjust,
    "PENDING": _pending,
    "DEVIATION": _deviation,
}


def verdict_shape(verdict: str, x: float, y: float) -> list[Path]:
    """The verdict's shape around a centre."""
    return _DRAWN[verdict](x, y)
