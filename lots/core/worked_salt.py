"""The sums of cure and salt that a worked case may name: nitrite, water_phase_salt, equilibrium, salt_uptake."""

import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from math import inf, isinf
from typing import Any, Final

from lots.core.cure import cure_for_ppm, ingoing_ppm
from lots.core.limits import Verdict
from lots.core.salting import (
    PER_CENT,
    dry_salt_for,
    drying_to,
    equilibrium,
    strength_for,
    water_phase_salt,
)
from lots.core.sheet import (
    fourier,
    fourier_for,
    fraction_in,
    profile,
    seconds_for,
    thickness_for,
)
from lots.core.units import GRAMS_PER_OZ, MG_PER_G, MS_PER_S, convert
from lots.core.worked_text import BadCase, plain, span_ms

Case = Mapping[str, Any]
Got = Mapping[str, Verdict | Fraction]
KG_G: Final = 1000
S_PER_H: Final = 3600
MM_PER_M: Final = 1000
CM_PER_M: Final = 100


# --- the given ------------------------------------------------------------------------------------


def _number(given: Case, name: str) -> Fraction:
    """A plain number; one that ends in % keeps its figure."""
    if name not in given:
        raise BadCase(f"{name} is not given")
    return Fraction(plain(given[name]).strip().removesuffix("%").strip().replace(",", "."))


def _pct(given: Case, name: str, otherwise: int | None = None) -> Fraction:
    if name not in given and otherwise is not None:
        return Fraction(otherwise)
    return _number(given, name)


def _share(given: Case, name: str) -> Fraction:
    """A share: 0.0625, or 6.25 %."""
    found = _number(given, name)
    return found / PER_CENT if plain(given[name]).strip().endswith("%") else found


def _mg(given: Case, name: str) -> Fraction:
    """A weight with its unit in mg; nothing where it is not given."""
    return convert(plain(given[name]), "g") * MG_PER_G if name in given else Fraction(0)


# --- nitrite --------------------------------------------------------------------------------------


def _nitrite(given: Case) -> Got:
    """Ingoing nitrite; where nitrite_ppm is given, the curing salt for it."""
    method = plain(given.get("method", "")).strip()
    share = _share(given, "nitrite_fraction") if "nitrite_fraction" in given else Fraction(1)
    if share > 1:
        raise BadCase("write the nitrite in the curing salt as 6.25 % or 0.0625")
    pick_up = _share(given, "pick_up") if "pick_up" in given else Fraction(0)
    fish, brine = _mg(given, "fish"), _mg(given, "brine")
    if "nitrite_ppm" not in given:
        nitrite = _mg(given, "cure") * share
        return {"nitrite_ppm": ingoing_ppm(method, nitrite, fish, brine, pick_up)}
    on_top = plain(given.get("on_top", "no")).strip() == "yes"
    need = cure_for_ppm(method, _number(given, "nitrite_ppm"), share, fish, brine, pick_up, on_top)
    return {
        "cure_g": need.cure_mg / MG_PER_G,
        "cure_oz": need.cure_mg / MG_PER_G / GRAMS_PER_OZ,
        "nitrite_g": need.nitrite_mg / MG_PER_G,
        "salt_g": need.salt_mg / MG_PER_G,
    }


# --- salt -----------------------------------------------------------------------------------------


def _water_phase_salt(given: Case) -> Got:
    return {"wps_pct": water_phase_salt(_pct(given, "salt_pct"), _pct(given, "moisture_pct"))}


def _equilibrium(given: Case) -> Got:
    """Fish and brine at one strength; with a target, what would bring the fish there."""
    brine, ratio = _pct(given, "brine_pct"), _number(given, "ratio")
    moisture, own = _pct(given, "moisture_pct"), _pct(given, "fish_salt_pct", 0)
    salt, water = (ratio * KG_G * MG_PER_G * part / PER_CENT for part in (brine, PER_CENT - brine))
    wps = equilibrium(salt, water, KG_G, moisture, own)
    if "target_pct" not in given:
        return {"wps_pct": wps}
    target = _pct(given, "target_pct")
    got = {
        "wps_pct": wps,
        "strength_pct": strength_for(target, ratio, moisture, own),
        "dry_salt_g_per_kg": dry_salt_for(target, moisture, own),
    }
    dried = drying_to(wps, moisture, target, own)
    if dried is None:
        return got
    return {**got, "moisture_pct": dried.moisture_pct, "yield_pct": dried.yield_pct}


# --- uptake ---------------------------------------------------------------------------------------


_DIFFUSIVITY: Final = re.compile(r"(?P<number>[\d.]+(?:[eE][-+]?\d+)?)\s*(?:(?P<centi>c?)m[²2]/s)?")


def _float(given: Case, name: str) -> float | None:
    return float(_number(given, name)) if name in given else None


def _diffusivity(given: Case) -> float | None:
    """m²/s; a plain number is in m²/s."""
    if "diffusivity" not in given:
        return None
    found = _DIFFUSIVITY.fullmatch(plain(given["diffusivity"]).strip())
    if found is None:
        raise BadCase("write the diffusivity as 1e-10 m²/s or 1e-6 cm²/s")
    number = float(Fraction(found["number"]))
    return number / CM_PER_M**2 if found["centi"] else number


def _sheet(given: Case) -> tuple[float | None, float | None, float | None, int]:
    """Diffusivity in m²/s, thickness in m, time in s, open faces."""
    thickness = float(convert(plain(given["thickness"]), "m")) if "thickness" in given else None
    seconds = span_ms(given["time"]) / MS_PER_S if "time" in given else None
    return _diffusivity(given), thickness, seconds, int(_pct(given, "open_faces", 2))


def _uptake(given: Case) -> Got:
    """The share taken up and the share in the middle; from a share, the time or the thickness."""
    diffusivity, thickness, seconds, faces = _sheet(given)
    bath = float(_number(given, "bath")) if "bath" in given else inf
    if "fraction" in given:
        fraction = float(_number(given, "fraction"))
        got = {"fourier": fourier_for(fraction, bath)}
        if diffusivity and thickness:
            got["time_h"] = seconds_for(fraction, diffusivity, thickness, faces, bath) / S_PER_H
        elif diffusivity and seconds:
            got["thickness_mm"] = MM_PER_M * thickness_for(
                fraction, diffusivity, seconds, faces, bath
            )
        return {name: Fraction(value) for name, value in got.items() if not isinf(value)}
    number = _float(given, "fourier")
    if number is None:
        if diffusivity is None or thickness is None or seconds is None:
            raise BadCase("neither fourier nor diffusivity, thickness and time are given")
        number = fourier(diffusivity, seconds, thickness, faces)
    place = _float(given, "place") or 0.0
    return {
        "fourier": Fraction(number),
        "fraction": Fraction(fraction_in(number, bath)),
        "centre": Fraction(profile(0.0, number, bath)),
        "at_place": Fraction(profile(place, number, bath)),
    }


SALT_SUMS: Final[Mapping[str, Callable[[Case], Got]]] = {
    "nitrite": _nitrite,
    "water_phase_salt": _water_phase_salt,
    "equilibrium": _equilibrium,
    "salt_uptake": _uptake,
}
