"""The sums of brines that a worked case may name: brine, salometer, solubility."""

import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, Final

from lots.core.batch import Batch, part_from
from lots.core.brine import (
    SATURATED,
    SIXTY_F,
    density_kg_m3,
    freezing,
    grams_per_litre_of_water,
    most_salt_pct,
    pct_of_salometer,
    pounds_per_us_gallon_of_water,
    salometer_deg,
    salometer_reading,
    salt_pct,
    specific_gravity,
    true_salometer,
)
from lots.core.units import degrees
from lots.core.worked_text import BadCase, plain, temperature

Case = Mapping[str, Any]
Got = Mapping[str, Fraction]
WHOLE: Final = 100
_FIGURE: Final = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*(.*?)\s*")


def _number(value: object) -> Fraction:
    """A bare number, or one with a degree or per cent sign behind it."""
    found = _FIGURE.fullmatch(plain(value))
    if found is None or found[2] not in ("", "%", "°", "°SAL"):
        raise BadCase(f"“{value}” is not a number")
    return Fraction(found[1])


def _temp(given: Case, *names: str) -> int:
    stated = next((given[name] for name in names if name in given), None)
    return SIXTY_F if stated is None else temperature(stated)


def _weight(value: object) -> tuple[str, str]:
    found = _FIGURE.fullmatch(plain(value))
    if found is None or not found[2]:
        raise BadCase(f"“{value}” has no unit: write it as 500 g or 1 L")
    return found[1], found[2]


def _strength(given: Case) -> Fraction:
    if "salt_pct" in given:
        return _number(given["salt_pct"])
    if "salometer_deg" in given:
        return pct_of_salometer(_number(given["salometer_deg"]))
    if "salt" in given and "water" in given:
        parts = tuple(part_from(kind, kind, *_weight(given[kind])) for kind in ("salt", "water"))
        batch = Batch("brine", parts)
        return salt_pct(batch.salt_mg, batch.water_mg)
    raise BadCase("give salt_pct, salometer_deg, or salt and water")


def _brine(given: Case) -> Got:
    """A brine's figures; those of volume at its temperature, 60 °F where none is given."""
    pct, temp = _strength(given), _temp(given, "temp", "temperature")
    density, share = density_kg_m3(pct, temp), pct / WHOLE
    water = density_kg_m3(Fraction(0), temp)
    got = {
        "salt_pct": pct,
        "salometer_deg": salometer_deg(pct),
        "specific_gravity": specific_gravity(pct),
        "density": density,
        "salt_per_water": grams_per_litre_of_water(pct),
        "salt_per_water_lb_gal": pounds_per_us_gallon_of_water(pct),
        "salt_per_brine": density * share,
        "water_per_brine": density * (1 - share),
        "brine_per_water": water / (density * (1 - share)),
    }
    point = freezing(pct)
    if point is not None:
        got |= {"freezing_c": degrees(point, "C"), "freezing_f": degrees(point, "F")}
    return got


def _salometer(given: Case) -> Got:
    """The true degree of a reading, or the reading of a true degree."""
    temp = _temp(given, "temp", "brine_temp")
    reference = _temp(given, "reference")
    full = _number(given["full_scale"]) if "full_scale" in given else SATURATED
    if "reading_deg" in given:
        reading = _number(given["reading_deg"])
        true = true_salometer(reading, temp, reference, full)
    elif "salometer_deg" in given:
        true = _number(given["salometer_deg"])
        reading = salometer_reading(pct_of_salometer(true), temp, reference, full)
    else:
        raise BadCase("give reading_deg, or salometer_deg")
    return {
        "salometer_deg": true,
        "salt_pct": true * SATURATED / WHOLE,
        "reading_deg": reading,
        "to_add": true - reading,
    }


def _solubility(given: Case) -> Got:
    """What dissolves at a temperature."""
    if "temp" not in given:
        raise BadCase("the temperature is not given")
    pct = most_salt_pct(temperature(given["temp"]))
    return {
        "salt_pct": pct,
        "salt_per_water": grams_per_litre_of_water(pct),
        "salt_per_100_g_water": WHOLE * pct / (WHOLE - pct),
    }


BRINE_SUMS: Final[Mapping[str, Callable[[Case], Got]]] = {
    "brine": _brine,
    "salometer": _salometer,
    "solubility": _solubility,
}
