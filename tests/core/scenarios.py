"""Made-up coolings and smokes with what truly happens in the core, for tests of forecasts; fixed seeds.

The core is that of a slab with convection at both faces, from the series solution with six terms (Carslaw
and Jaeger, Conduction of Heat in Solids, section 3.11; Cengel, Heat and Mass Transfer, chapter 4), each
term driven by air that changes from minute to minute.  The forecasts' own model knows none of it.
Thermal figures of fish from memory: conductivity 0.5 W/m K, diffusivity 1.3e-7 m²/s.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, exp, pi, sin, tan

from lots.core.units import MS_PER_MIN, NINTHS_PER_F, to_ninths

CONDUCTIVITY, DIFFUSIVITY = 0.5, 1.3e-7
TERMS = 6
START = 1_780_000_000_000  # some moment, ms UTC
EVERY_MIN = 15

Pairs = list[tuple[int, int]]


def eigenvalue(biot: float, n: int) -> float:
    """The n-th root of λ tan λ = Bi, from n = 0."""
    low, high = n * pi, n * pi + pi / 2
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (low, middle) if middle * tan(middle) > biot else (middle, high)
    return low


def slab_core(half_mm: float, h: float, start_f: float, air_f: Sequence[float]) -> list[float]:
    """The core's temperature at each minute, °F, in air of `air_f` at each minute; h in W/m² K."""
    half = half_mm / 1000
    roots = [eigenvalue(h * half / CONDUCTIVITY, n) for n in range(TERMS)]
    share = [4 * sin(x) / (2 * x + sin(2 * x)) for x in roots]
    share[-1] += 1 - sum(share)  # what the cut-off terms hold dies at once
    keep = [exp(-60 * DIFFUSIVITY * (x / half) ** 2) for x in roots]
    state = [start_f] * TERMS
    out = [start_f]
    for air in air_f[1:]:
        state = [air + (s - air) * k for s, k in zip(state, keep, strict=True)]
        out.append(sum(s * a for s, a in zip(state, share, strict=True)))
    return out


def read(true_f: Sequence[float], rng: random.Random, every: int, offset: float = 0.0) -> Pairs:
    """Readings of ±0.5 °F in tenths, each `every` minutes: (ms UTC, ninths)."""
    return [
        (
            START + m * MS_PER_MIN,
            to_ninths(f"{true_f[m] + offset + rng.uniform(-0.5, 0.5):.1f}", "F"),
        )
        for m in range(0, len(true_f), every)
    ]


def fahrenheit(ninths: float) -> float:
    return ninths / NINTHS_PER_F + 32


def minute(at: int) -> float:
    return (at - START) / MS_PER_MIN


# --- coolings -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CoolingRun:
    """One cooling: the true core and room minute by minute, °F, and the readings of both."""

    room_kind: str
    core: list[float]
    room: list[float]
    readings: Pairs
    place: Pairs


def _room(rng: random.Random, kind: str, minutes: int) -> list[float]:
    """The cooler's air: warmed by the load at first, then steady, drifting or swinging."""
    base, load = rng.uniform(31, 38.5), rng.uniform(2, 10)
    drift = rng.uniform(-3, 5) if kind == "drifting" else 0.0
    swing, period = (rng.uniform(1, 2), rng.uniform(20, 45)) if kind == "swinging" else (0, 30)
    return [
        base + load * exp(-m / 60) + drift * m / 360 + swing * cos(2 * pi * m / period)
        for m in range(minutes)
    ]


def coolings(count: int = 200, seed: int = 20_260_304, minutes: int = 660) -> list[CoolingRun]:
    """Coolings from about 150 °F, of fish of many thicknesses in coolers of many kinds."""
    rng = random.Random(seed)
    out = []
    for number in range(count):
        kind = ("steady", "drifting", "swinging")[number % 3]
        room = _room(rng, kind, minutes)
        half, h = rng.uniform(8, 28), rng.uniform(10, 25)
        core = slab_core(half, h, rng.uniform(146, 158), room)
        place = read(room, rng, EVERY_MIN, rng.uniform(-1, 1))
        out.append(CoolingRun(kind, core, room, read(core, rng, EVERY_MIN), place))
    return out


# --- a hot smoke ----------------------------------------------------------------------------------

STAGES = ((0, 120.0), (75, 160.0), (150, 185.0))  # minute from which, air °F
FISH = {
    "probe 1": (12.0, 24.0),
    "probe 2": (16.0, 22.0),
    "probe 3": (20.0, 20.0),
    "probe 4": (25.0, 20.0),
}


@dataclass(frozen=True)
class Smoke:
    """A smoke of four probes: true cores and air minute by minute, °F, and readings each quarter hour."""

    cores: dict[str, list[float]]
    air: list[float]
    probes: dict[str, Pairs]
    place: Pairs
    last_stage_min: int


def _air(stages: Sequence[tuple[int, float]], minutes: int) -> list[float]:
    """The smokehouse nears each stage's temperature with a lag of ten minutes."""
    out = [70.0]
    for m in range(1, minutes):
        aim = [f for start, f in stages if start <= m][-1]
        out.append(aim + (out[-1] - aim) * exp(-1 / 10))
    return out


def hot_smoke(pulled: bool = False, seed: int = 7, minutes: int = 480) -> Smoke:
    """Four fish of different thickness, dried at 120 °F, then 160, then 185 °F.

    With `pulled` the probe in the thickest fish, the coldest, is pulled out half way through the last
    stage and reads the air of the room from then on.
    """
    rng = random.Random(seed)
    air = _air(STAGES, minutes)
    cores = {name: slab_core(half, h, 45.0, air) for name, (half, h) in FISH.items()}
    shown = {name: list(core) for name, core in cores.items()}
    if pulled:
        at = STAGES[-1][0] + 40
        coldest = min(cores, key=lambda name: cores[name][at])
        left = cores[coldest][at]
        shown[coldest][at:] = [70 + (left - 70) * exp(-(m + 5) / 3) for m in range(minutes - at)]
    probes = {name: read(core, rng, EVERY_MIN) for name, core in shown.items()}
    return Smoke(cores, air, probes, read(air, rng, EVERY_MIN), STAGES[-1][0])
