"""The one-term solution of a slab, a long cylinder and a sphere: the course that the lag model follows.

Once the first fifth of its Fourier time is past, the distance of a body from its surroundings is
A1 · f(λ1 x) · e^(−λ1² Fo) of the distance that it began with: an exponential, and so a lag.  Forecasts take
that lag from readings; here it is computed from a body's size and stuff, to hold the one against the other.

Source: Carslaw and Jaeger, Conduction of Heat in Solids, sections 3.11, 7.7 and 9.4; Cengel, Heat and
Mass Transfer, chapter 4.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from math import cos, inf, pi, sin
from typing import Final

BESSEL_TERMS: Final = 30  # of the power series; beyond need up to the first roots
BISECTIONS: Final = 80
CYLINDER_END: Final = 2.5  # beyond the first root of J0
FOUR: Final = 4.0
SMALL: Final = 1e-9


class Shape(StrEnum):
    SLAB = "slab"
    CYLINDER = "cylinder"
    SPHERE = "sphere"


@dataclass(frozen=True, slots=True)
class OneTerm:
    """The first root, the first coefficient (in the middle), and the shape that they are of."""

    shape: Shape
    root: float
    coefficient: float

    def profile(self, place: float) -> float:
        """The share of the middle's distance at a place from 0, the middle, to 1, the surface."""
        x = self.root * place
        if x < SMALL:
            return 1.0
        return {Shape.SLAB: cos(x), Shape.CYLINDER: bessel(0, x), Shape.SPHERE: sin(x) / x}[
            self.shape
        ]


def bessel(order: int, x: float) -> float:
    """The Bessel function of the first kind of order 0 or 1, by its power series (Abramowitz and
    Stegun, 9.1.10)."""
    term = total = (x / 2) ** order
    for k in range(1, BESSEL_TERMS):
        term *= -((x / 2) ** 2) / (k * (k + order))
        total += term
    return total


def one_term(shape: Shape, biot: float) -> OneTerm:
    """The one-term solution.

    Args:
        shape: slab (of half thickness L), long cylinder or sphere (of radius L).
        biot: h · L / k, above 0; infinite: the surface is at once at the surroundings.
    Raises:
        ValueError: the Biot number is not above 0.
    """
    if not biot > 0:
        raise ValueError("a Biot number is above 0")
    match shape:
        case Shape.SLAB:
            root = _root(lambda x: x * sin(x), cos, biot, pi / 2)
            found = FOUR * sin(root) / (2 * root + sin(2 * root))
        case Shape.CYLINDER:
            root = _root(lambda x: x * bessel(1, x), lambda x: bessel(0, x), biot, CYLINDER_END)
            j0, j1 = bessel(0, root), bessel(1, root)
            found = 2 * j1 / (root * (j0**2 + j1**2))
        case Shape.SPHERE:
            root = _root(lambda x: sin(x) - x * cos(x), sin, biot, pi)
            found = FOUR * (sin(root) - root * cos(root)) / (2 * root - sin(2 * root))
    return OneTerm(shape, root, found)


def _root(
    inside: Callable[[float], float], outside: Callable[[float], float], biot: float, high: float
) -> float:
    """Where inside = Bi · outside first holds; with an infinite Biot number, where outside is 0."""
    low = 0.0
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        below = outside(middle) > 0 if biot == inf else inside(middle) < biot * outside(middle)
        low, high = (middle, high) if below else (low, middle)
    return (low + high) / 2
