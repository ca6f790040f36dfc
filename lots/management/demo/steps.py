"""The steps of a lot as this house takes them: a load with its readings, from start to end."""

from collections.abc import Mapping, Sequence
from math import exp
from random import Random
from typing import Final

from lots.management.demo.calendar import MINUTE
from lots.management.demo.curves import (
    Curve,
    Oven,
    cold_air,
    cooler_f,
    freezer_f,
    hot_smoke,
    trembling,
)
from lots.management.demo.salting import mixed
from lots.management.demo.script import Script

COOLING_ROUNDS = (4, 55, 105, 160, 210, 250)  # minutes; the plan wants one an hour
COOLING_MIN = 258
SMOKING_ROUNDS = (4, 66, 128, 190)
TANK_EVERY_MIN = 85


class Tank:
    """Brine that cools towards the room it stands in."""

    def __init__(self, start: int, first_f: float) -> None:
        self._start, self._first = start, first_f
        self._error = trembling(f"tank {start}", 0.1)

    def __call__(self, at: int) -> float:
        hours = max(0, at - self._start) / (60 * MINUTE)
        return 36.8 + (self._first - 36.8) * exp(-hours / 4) + self._error(at)

    def read(self, at: int) -> str:
        return f"{self(at):.1f}"


LONGEST_SHORT: Final = 240 * MINUTE


def brine(
    s: Script, key: str, tank: str, keys: Sequence[str], start: int, end: int,
    recipe: str = "house", ratio: float = 2.2,
) -> None:  # fmt: skip
    """A few hours in a batch made for it, the tank read by hand."""
    declared = "long" if end - start > LONGEST_SHORT else "short"
    mixed(s, key, keys, start, recipe, ratio)
    s.start(key, start, "brine", tank, keys, "", declared)
    liquid = Tank(start, Random(key).uniform(41.6, 46.4))
    at = start + MINUTE
    while at < end - 20 * MINUTE:
        s.at_place(tank, at, liquid.read(at))
        at += TANK_EVERY_MIN * MINUTE
    s.at_place(tank, end - 3 * MINUTE, liquid.read(end - 3 * MINUTE))
    s.end(key, end)


def stand(
    s: Script,
    key: str,
    step: str,
    place: str,
    keys: Sequence[str],
    start: int,
    end: int,
    note: str = "",
) -> None:
    """A step without readings of its own: trimming, drying, holding, storage; open where `end` is 0."""
    s.start(key, start, step, place, keys, note)
    if end:
        s.end(key, end)


def probes(
    key: str, start: int, minutes: int, first_f: Sequence[float], air: Oven, lag_min: float
) -> list[Curve]:
    """Three fish of a load: a thick one, a middling one, and one in a warm corner."""
    random = Random(key)
    shares = random.sample((1.07, 1.0, 0.94), 3)
    day = random.uniform(0.93, 1.04)  # how full the load is, how the wind stands
    lags = [lag_min * day * share * random.uniform(0.98, 1.02) for share in shares]
    return [
        Curve(f"{key} {n}", start, minutes, first, air, lag)
        for n, (first, lag) in enumerate(zip(first_f, lags, strict=True))
    ]


def smoke(
    s: Script, key: str, number: int, keys: Sequence[str], start: int, minutes: int,
    air: Oven | None = None, lag_min: float = 84, rounds: Sequence[int] = SMOKING_ROUNDS,
    note: str = "",
) -> None:  # fmt: skip
    """A load in a smokehouse: rounds by hand, then the loggers of air and probes read out before it is
    taken out."""
    air = air or hot_smoke(key)
    house, instrument = f"Smokehouse {number}", f"Smoke probes {number}"
    s.curves[key] = probes(key, start, minutes, (38.4, 37.9, 39.1), air, lag_min)
    s.start(key, start, "smoke", house, keys, note)
    for minute in rounds:
        s.round(key, start + minute * MINUTE)
    out = start + (minutes - 5) * MINUTE
    moments = range(start - 5 * MINUTE, out + 1, MINUTE)
    tremble = trembling(key, 0.5)

    def air_f(at: int) -> float:
        return air(max(0, at - start) / MINUTE) + tremble(at)

    s.file_of_place(house, out + MINUTE, f"{house} air.csv", instrument, air_f, moments)
    s.file_of_load(key, out + 2 * MINUTE, out, f"{house} probes.csv", instrument)
    s.end(key, start + minutes * MINUTE)


def cool(
    s: Script, key: str, smoked: str, keys: Sequence[str], start: int,
    rounds: Sequence[int] = COOLING_ROUNDS, minutes: int = COOLING_MIN,
    wrong: Mapping[int, Mapping[int, str]] | None = None, ends: bool = True,
) -> None:  # fmt: skip
    """Out of the smoke into the cooler, each hour a round over the same three fish."""
    hot = [curve.last_f - 1.5 for curve in s.curves[smoked]]
    s.curves[key] = probes(key, start, minutes, hot, cold_air, 70)
    s.start(key, start, "cool", "Cooler", keys)
    if wrong is None and rounds is COOLING_ROUNDS:
        random = Random(key)
        rounds = [minute + random.randint(-3, 1) for minute in rounds]
    for minute in rounds:
        s.round(key, start + minute * MINUTE, (wrong or {}).get(minute))
    if ends:
        s.end(key, start + minutes * MINUTE)


def pack_frozen(s: Script, key: str, start: int, minutes: int, frozen_until: int) -> None:
    """Packing, freezing overnight, the finish, and storage from there on."""
    s.start(f"pack {key}", start, "pack", "Packing table", [key])
    s.look(f"pack {key}", start + 12 * MINUTE, "label")
    packed = start + minutes * MINUTE
    s.end(f"pack {key}", packed)
    s.start(f"freeze {key}", packed + 4 * MINUTE, "freeze", "Freezer", [key])
    s.look(f"freeze {key}", frozen_until - 2 * MINUTE, "packs")
    s.end(f"freeze {key}", frozen_until)
    s.finish(key, frozen_until + 12 * MINUTE, 0.5)
    stored = frozen_until + 15 * MINUTE
    s.start(f"store {key}", stored, "storage", "Freezer", [key])
    s.at_place("Freezer", stored + MINUTE, f"{freezer_f(stored + MINUTE):.1f}")


def pack_chilled(s: Script, key: str, start: int, minutes: int) -> None:
    """Packing in a film that breathes, the finish, and chilled storage from there on."""
    s.start(f"pack {key}", start, "pack", "Packing table", [key])
    s.look(f"pack {key}", start + 12 * MINUTE, "label", "film")
    packed = start + minutes * MINUTE
    s.end(f"pack {key}", packed)
    s.finish(key, packed + 8 * MINUTE, 0.75)
    stored = packed + 10 * MINUTE
    s.start(f"store {key}", stored, "storage", "Cooler", [key])
    s.at_place("Cooler", stored + MINUTE, f"{cooler_f(stored + MINUTE):.1f}")
