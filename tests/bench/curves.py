"""Invented series of a smokehouse's probes: heated, cooled, kept cold; with a logger's noise.

Each is a function from seconds to °F.  The figures are invented; they have the shape of a hot smoke of
seven hours, of a cooling in seven hours, and of a cooler whose door is opened for a delivery.
"""

import math
import random
from collections.abc import Callable, Iterator

Curve = Callable[[float], float]
SMOKED_S, COOLED_S, HELD_S = 25_000, 25_000, 250_000
ROUND_S = 86_400  # a delivery a day
OPEN_S = 2_400  # the door stands open for it


def heated(second: float) -> float:
    """Out of the brine at 45 °F, dried, smoked, then held a little over 148 °F."""
    return 149.2 - 104 * math.exp(-second / 4_600)


def cooled(second: float) -> float:
    """Out of the smokehouse at 148 °F into a cooler of 35 °F."""
    return 35 + 113 * math.exp(-second / 4_200)


def held(second: float) -> float:
    """A cooler about 36 °F that warms while its door is open, and swings with its compressor."""
    since = second % ROUND_S - ROUND_S / 2
    warm = 6.5 * math.sin(math.pi * since / OPEN_S) if 0 <= since <= OPEN_S else 0
    return 35.8 + 0.9 * math.sin(second / 190) + warm


def read(curve: Curve, seconds: float, count: int, probe: int) -> Iterator[float]:
    """So many readings of one probe over the seconds, °F with one decimal."""
    chance = random.Random(probe)
    offset = 0.3 * probe
    for number in range(count):
        yield round(curve(number * seconds / count) - offset + chance.gauss(0, 0.25), 1)
