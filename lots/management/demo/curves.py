"""Temperatures that look measured: fish lags behind its surroundings, machines cycle, probes tremble.

A figure depends on its probe and its minute alone, so that a hand reading and the logger's row of the same
minute agree, and the same moment always shows the same.
"""

from collections.abc import Callable, Sequence
from math import exp, pi, sin
from random import Random
from typing import Final

from lots.management.demo.calendar import MINUTE, utc_text

Oven = Callable[[float], float]  # minutes since the load began → °F
COOLER_F: Final = 34.0


class Curve:
    """°F of one probe, a value a minute from `start`; the fish's first temperature is `first_f`."""

    def __init__(
        self, name: str, start: int, minutes: int, first_f: float, oven: Oven, lag_min: float
    ) -> None:
        self.start = start
        self.last = start + minutes * MINUTE
        random = Random(f"{name} {first_f} {lag_min}")
        fish, self._f = first_f, [first_f]
        for minute in range(minutes):
            fish += (oven(minute) - fish) / lag_min
            self._f.append(fish)
        self._shown = [round(value + random.gauss(0, 0.12), 1) for value in self._f]

    @property
    def last_f(self) -> float:
        return self._f[-1]

    def read(self, at: int) -> str:
        """What the probe shows at a moment, to a tenth."""
        index = (at - self.start) // MINUTE
        return f"{self._shown[max(0, min(index, len(self._shown) - 1))]:.1f}"


def trembling(name: str, by_f: float) -> Callable[[int], float]:
    """A small error that depends on the moment alone."""
    return lambda at: Random(f"{name} {at // MINUTE}").gauss(0, by_f)


def hot_smoke(name: str) -> Oven:
    """The air of a smokehouse: an hour's drying, then heat, then smoke held lower."""
    error = Random(name)
    shift = error.uniform(0, 20)

    def air(minute: float) -> float:
        cycle = 4.5 * sin(2 * pi * (minute + shift) / 17)
        if minute < 60:
            base = 128.0
        elif minute < 120:
            base = 128 + (minute - 60) * 1.75
        else:
            base = 233.0 if minute < 155 else 172.0
        return 66 + (base - 66) * (1 - exp(-minute / 12)) + cycle

    return air


def dying_fire(name: str, dies_min: float) -> Oven:
    """The same house, whose fire goes out."""
    before = hot_smoke(name)

    def air(minute: float) -> float:
        if minute <= dies_min:
            return before(minute)
        return 74 + (before(dies_min) - 74) * exp(-(minute - dies_min) / 35)

    return air


def cold_air(minute: float) -> float:
    """The cooler's air."""
    return COOLER_F + 0.7 * sin(2 * pi * minute / 38)


def cooler_f(at: int) -> float:
    return 35.6 + 0.8 * sin(2 * pi * at / (38 * MINUTE)) + trembling("cooler", 0.15)(at)


def freezer_f(at: int) -> float:
    """A freezer that cycles, with a defrost every eight hours that stays below 0 °F."""
    since = at / MINUTE % 480
    defrost = 3.4 * exp(-(((since - 30) / 14) ** 2))
    return -6.2 + 0.9 * sin(2 * pi * at / (52 * MINUTE)) + defrost + trembling("freezer", 0.12)(at)


def room_f(warm_from: int, warm_to: int) -> Callable[[int], float]:
    """The brine room: steady, but for one night on which its door stood ajar."""

    def at_moment(at: int) -> float:
        warm = 0.0
        if at > warm_from:
            warm = 9.5 * (1 - exp(-(min(at, warm_to) - warm_from) / (95 * MINUTE)))
        if at > warm_to:
            warm *= exp(-(at - warm_to) / (22 * MINUTE))
        cycle = 0.7 * sin(2 * pi * at / (44 * MINUTE))
        return 35.9 + cycle + warm + trembling("brine room", 0.14)(at)

    return at_moment


def csv_of(
    title: str, channels: Sequence[tuple[str, Callable[[int], float | str]]], moments: Sequence[int]
) -> bytes:
    """A logger's file as bytes: a line that says it is invented, headings, a row a moment."""
    lines = [f"{title} - invented, demo data", ""]
    lines.append(",".join(["Date Time (UTC)", *(f"{name} (°F)" for name, _ in channels)]))
    for at in moments:
        cells = [read(at) for _, read in channels]
        shown = [cell if isinstance(cell, str) else f"{cell:.1f}" for cell in cells]
        lines.append(",".join([utc_text(at), *shown]))
    return ("\r\n".join(lines) + "\r\n").encode()
