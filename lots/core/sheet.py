"""Diffusion into a plane sheet: how much of what it can take up it has taken up, and where it is.

A piece of fish is a sheet that salt enters through one face (skin below) or two; the other faces are small
beside these.  Times count as the Fourier number D t / a², where a is the half thickness with two open faces
and the whole thickness with one.  The brine around it is either much (its strength stays) or a `bath`: as
much water as is in the fish times so much, moved enough to be of one strength, which falls as the fish rises.

Shares are of the final state, where fish and brine are at one strength.  A planning aid, so floats are fine.

Source: Crank, The Mathematics of Diffusion, 2nd edition, 1975: section 4.3.2, pages 47 and 48 (the face held
at one strength), and section 4.3.5 (a stirred bath of limited volume); Carslaw and Jaeger, Conduction of Heat
in Solids, chapter XII, for the first moments in such a bath (sections from memory).
"""

from functools import lru_cache
from math import cos, erfc, exp, inf, pi, sin, sqrt
from typing import Final

EARLY: Final = (
    0.05  # Fourier number below which the middle still knows nothing of the faces (to 1e-9)
)
TERMS: Final = 9  # of the series from there on: the next is below 1e-17
BISECTIONS: Final = 70
LONGEST: Final = 1000.0  # Fourier number at which nothing is left to take up
FAR: Final = 20.0  # from where the asymptotic series of erfcx is exact to 1e-9
ASYMPTOTIC: Final = (1.0, -1 / 2, 3 / 4, -15 / 8)  # of erfcx (Abramowitz and Stegun, 7.1.23)
FACES: Final = (1, 2)
BATHS_KEPT: Final = 256


def fourier(diffusivity: float, seconds: float, thickness_m: float, open_faces: int) -> float:
    """The Fourier number of a piece.

    Args:
        diffusivity: m²/s, at least 0; seconds: at least 0.
        thickness_m: of the whole piece, m, above 0; open_faces: 1 or 2.
    Raises:
        ValueError: a figure out of its range.
    """
    if not (thickness_m > 0 and seconds >= 0 and diffusivity >= 0):
        raise ValueError("a thickness is above nothing, a time and a diffusivity are not below it")
    return diffusivity * seconds / _depth(thickness_m, open_faces) ** 2


def _depth(thickness_m: float, open_faces: int) -> float:
    """How far salt has to come: to the middle, or to the closed face."""
    if open_faces not in FACES:
        raise ValueError("a piece takes up salt through one face or two")
    return thickness_m / open_faces


# --- how much is in -------------------------------------------------------------------------------


def fraction_in(fourier: float, bath: float = inf) -> float:
    """What the sheet has taken up as a share of what it will have in the end, 0 to 1.

    Args:
        fourier: at least 0.
        bath: water around for one of water in the fish, above 0; infinite: the brine's strength stays.
    Raises:
        ValueError: a figure out of its range.
    """
    _look(fourier, bath)
    if fourier == 0:
        return 0.0
    if fourier < EARLY:
        return _early(fourier, bath)
    if bath == inf:
        return 1 - sum(2 / q**2 * exp(-(q**2) * fourier) for q in _roots(inf))
    return 1 - sum(
        2 * bath * (1 + bath) / (1 + bath + (bath * q) ** 2) * exp(-(q**2) * fourier)
        for q in _roots(bath)
    )


def _look(fourier: float, bath: float) -> None:
    if not (fourier >= 0 and bath > 0):
        raise ValueError("a Fourier number is not below nothing, and a bath is above it")


def _early(fourier: float, bath: float) -> float:
    """While the middle knows nothing of the faces yet: a sheet as if without end."""
    root = sqrt(fourier)
    return 2 * root / sqrt(pi) if bath == inf else (1 + bath) * (1 - _erfcx(root / bath))


def _erfcx(x: float) -> float:
    """exp(x²) · erfc(x), without overflow."""
    if x < FAR:
        return exp(x * x) * erfc(x)
    total = 0.0
    for each in reversed(ASYMPTOTIC):
        total = total / (x * x) + each
    return total / (x * sqrt(pi))


@lru_cache(maxsize=BATHS_KEPT)
def _roots(bath: float) -> tuple[float, ...]:
    """The first q with tan q = −bath · q; in much brine the odd multiples of π/2."""
    if bath == inf:
        return tuple((2 * n + 1) * pi / 2 for n in range(TERMS))
    return tuple(_root(n, bath) for n in range(1, TERMS + 1))


def _root(n: int, bath: float) -> float:
    low, high = (2 * n - 1) * pi / 2, n * pi
    sign = sin(low)
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        outside = sin(middle) + bath * middle * cos(middle)
        low, high = (middle, high) if outside * sign > 0 else (low, middle)
    return (low + high) / 2


# --- where it is ----------------------------------------------------------------------------------


def profile(place: float, fourier: float, bath: float = inf) -> float:
    """The strength at a place as a share of the final one; in a small bath the face is above 1 at first.

    Args:
        place: from 0, the middle (or the closed face), to 1, the open face.
        fourier, bath: as `fraction_in`.
    """
    _look(fourier, bath)
    if not 0 <= place <= 1:
        raise ValueError("a place lies between 0, the middle, and 1, the face")
    if fourier < EARLY:
        return _wave(1 - place, fourier, bath) + _wave(1 + place, fourier, bath)
    if bath == inf:
        return 1.0 - sum(
            2 / (q * sin(q)) * exp(-(q**2) * fourier) * cos(q * place) for q in _roots(inf)
        )
    return 1 + sum(
        2 * (1 + bath) / (1 + bath + (bath * q) ** 2)
        * exp(-(q**2) * fourier) * cos(q * place) / cos(q)
        for q in _roots(bath)
    )  # fmt: skip


def _wave(deep: float, fourier: float, bath: float) -> float:
    """What has come in from one face at a depth, while the sheet is still as if without end."""
    if fourier == 0:
        face = 1.0 if bath == inf else (1 + bath) / bath
        return 0.0 if deep else face
    root = sqrt(fourier)
    if bath == inf:
        return erfc(deep / (2 * root))
    near = exp(-((deep / (2 * root)) ** 2))
    return (1 + bath) / bath * near * _erfcx(deep / (2 * root) + root / bath)


# --- the other way round --------------------------------------------------------------------------


def fourier_for(fraction: float, bath: float = inf) -> float:
    """The Fourier number at which that share is in; infinite for all of it.

    Args:
        fraction: 0 to 1.
    """
    if not 0 <= fraction <= 1:
        raise ValueError("a share lies between 0 and 1")
    if fraction == 0:
        return 0.0
    if fraction_in(LONGEST, bath) <= fraction:
        return inf
    low, high = 0.0, LONGEST
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        low, high = (middle, high) if fraction_in(middle, bath) < fraction else (low, middle)
    return (low + high) / 2


def seconds_for(
    fraction: float, diffusivity: float, thickness_m: float, open_faces: int, bath: float = inf
) -> float:
    """Seconds until that share is in; infinite for all of it."""
    return (
        fourier_for(fraction, bath)
        * _depth(thickness_m, open_faces) ** 2
        / _above(diffusivity, "a diffusivity")
    )


def thickness_for(
    fraction: float, diffusivity: float, seconds: float, open_faces: int, bath: float = inf
) -> float:
    """The whole thickness, m, at which that share is in after so many seconds; a thicker piece has less."""
    depth = sqrt(diffusivity * seconds / _above(fourier_for(fraction, bath), "a share"))
    return depth / _depth(1, open_faces)


def _above(figure: float, name: str) -> float:
    if not figure > 0:
        raise ValueError(f"{name} is above nothing")
    return figure
