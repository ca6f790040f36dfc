"""Quantities with their units: each conversion stands here, once.

A temperature is kept as an integer of 1/9000 °C ("ninths", a ninth of a millidegree): a reading of up
to three decimals in °C or °F is then a whole number, so every comparison is exact.  Moments are
integer milliseconds UTC, weights of fish integer grams, of what goes into a batch integer milligrams,
other quantities integer millionths of their unit.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

TempUnit = Literal["C", "F"]

NINTHS_PER_C: Final = 9000  # definition of the unit used here
NINTHS_PER_F: Final = 5000  # 1 °F step = 5/9 °C (NIST SP 811, appendix B)
FREEZING_F: Final = 32  # °F at 0 °C (NIST SP 811, appendix B)
GRAMS_PER_LB: Final = Fraction("453.59237")  # exact, international pound (NIST SP 811)
GRAMS_PER_OZ: Final = GRAMS_PER_LB / 16
MM_PER_IN: Final = Fraction("25.4")  # exact, international inch (NIST SP 811)
LITRE_PER_US_GALLON: Final = Fraction("3.785411784")  # exact (NIST SP 811)
MG_PER_G: Final = 1000
MG_PER_UNIT: Final[dict[str, Fraction]] = {
    "g": Fraction(MG_PER_G),
    "kg": Fraction(1000 * MG_PER_G),
    "oz": MG_PER_G * GRAMS_PER_OZ,
    "lb": MG_PER_G * GRAMS_PER_LB,
}
MS_PER_S: Final = 1000
MS_PER_MIN: Final = 60 * MS_PER_S
MS_PER_H: Final = 60 * MS_PER_MIN
MS_PER_DAY: Final = 24 * MS_PER_H
MILLIONTHS: Final = 1_000_000
QUANTITY_DECIMALS: Final = 4  # shown of a quantity other than temperature
BASE: Final = 10  # of the decimals shown
DECIMALS_KEPT: Final = 3  # of a temperature: what 1/9000 °C holds exactly in both units


class BadQuantity(ValueError):
    """What was typed cannot be read as the quantity asked for; the message says what to do."""


_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")


def read_number(text: str) -> Fraction:
    """The number that a person typed, exactly.

    Accepts a decimal point or a decimal comma, a true minus sign and spaces around.  A comma followed
    by exactly three digits could be a thousands sign and is refused unless the number begins with 0.

    Args:
        text: as typed, e.g. "63.1", "63,1", "−18".
    Raises:
        BadQuantity: not a number, or one that can be read two ways.
    """
    plain = text.strip().replace("−", "-").replace("\N{NO-BREAK SPACE}", "")
    if not plain:
        raise BadQuantity("Nothing was entered: type a number, such as 63.1.")
    if not _NUMBER.fullmatch(plain):
        raise BadQuantity(f"“{text.strip()}” is not a number. Type digits only, such as 63.1.")
    whole, _, decimals = plain.partition(",")
    if len(decimals) == DECIMALS_KEPT and whole.lstrip("+-").strip("0"):
        raise BadQuantity(
            f"“{text.strip()}” can be read two ways. Type {whole}.{decimals} or {whole}{decimals}."
        )
    return Fraction(plain.replace(",", "."))


def to_ninths(as_read: str, unit: TempUnit) -> int:
    """The temperature in 1/9000 °C, exactly.

    Args:
        as_read: the figure as read, at most three decimals.
        unit: "C" or "F".
    Raises:
        BadQuantity: not a number, or more decimals than can be kept exactly.
    """
    value = read_number(as_read)
    ninths = (value - FREEZING_F) * NINTHS_PER_F if unit == "F" else value * NINTHS_PER_C
    if ninths.denominator != 1:
        raise BadQuantity(
            f"“{as_read.strip()}” has more than {DECIMALS_KEPT} decimals. Type the figure as the "
            "thermometer shows it."
        )
    return int(ninths)


def to_milligrams(as_read: str, unit: str) -> int:
    """A small weight to the nearest milligram, for what goes into a brine or a dry salting.

    Args:
        as_read: the figure as read, more than nothing.
        unit: "g", "kg", "oz" or "lb" (avoirdupois).
    Raises:
        BadQuantity: not a number, not a unit of weight, or not a whole milligram.
    Source: NIST SP 811, appendix B (exact).
    """
    if unit not in MG_PER_UNIT:
        raise BadQuantity(f"“{unit}” is not a unit of weight: use {' or '.join(MG_PER_UNIT)}.")
    mg = round_half_up(read_number(as_read) * MG_PER_UNIT[unit])
    if mg <= 0:
        raise BadQuantity("Type a weight of more than nothing.")
    return mg


def round_half_up(value: Fraction) -> int:
    """The nearest whole number; a half goes away from zero, as on every page."""
    whole = (2 * abs(value.numerator) + value.denominator) // (2 * value.denominator)
    return -whole if value < 0 else whole


def round_up(value: Fraction, decimals: int = 0) -> Fraction:
    """The next figure up of so many decimals: what is asked for is never rounded away.  What is asked
    to be no more than this is rounded down: −round_up(−value)."""
    scaled = value * BASE**decimals
    return Fraction(-(-scaled.numerator // scaled.denominator), BASE**decimals)


def show_grams(mg: Fraction | int) -> str:
    """A small weight as people read it, in grams to the milligram, e.g. "12.5 g"."""
    return f"{show_number(Fraction(mg) / MG_PER_G, DECIMALS_KEPT)} g"


def degrees(ninths: int, unit: TempUnit) -> Fraction:
    """The temperature in degrees of the unit, exactly."""
    if unit == "F":
        return Fraction(ninths, NINTHS_PER_F) + FREEZING_F
    return Fraction(ninths, NINTHS_PER_C)


def show_number(value: Fraction, decimals: int, least: int = 0) -> str:
    """The number with at most `decimals` decimals, rounded half away from zero, no trailing zeros
    beyond `least` decimals, and a true minus sign."""
    scale = BASE**decimals
    scaled = (2 * abs(value.numerator) * scale + value.denominator) // (2 * value.denominator)
    whole, rest = divmod(scaled, scale)
    tail = f"{rest:0{decimals}d}".rstrip("0") if decimals else ""
    tail = tail.ljust(least, "0")
    sign = "−" if value < 0 and scaled else ""
    return f"{sign}{whole}.{tail}" if tail else f"{sign}{whole}"


def show_temperature(ninths: int, unit: TempUnit) -> str:
    """The temperature as people read it, e.g. "40.1 °F"; at least one decimal, at most three."""
    return f"{show_number(degrees(ninths, unit), DECIMALS_KEPT, 1)} °{unit}"


def show_both(ninths: int) -> str:
    """A temperature in both units, to a tenth, e.g. "60.0 °F (15.6 °C)"."""
    units: tuple[TempUnit, TempUnit] = ("F", "C")
    f, c = (f"{show_number(degrees(ninths, unit), 1, 1)} °{unit}" for unit in units)
    return f"{f} ({c})"


def show_off(ninths: int) -> str:
    """A temperature difference as people read it, in both units, e.g. "3.0 °F (1.667 °C)"."""
    in_f = show_number(Fraction(ninths, NINTHS_PER_F), DECIMALS_KEPT, 1)
    in_c = show_number(Fraction(ninths, NINTHS_PER_C), DECIMALS_KEPT, 1)
    return f"{in_f} °F ({in_c} °C)"


@dataclass(frozen=True, slots=True)
class Bound:
    """One end of a limit, held in each unit that the rule prints, so that a reading is compared in
    its own.  `c` governs readings in °C and `f` those in °F (ninths); for other quantities both hold
    the same integer of millionths."""

    c: int
    f: int
    text: str

    def for_unit(self, unit: str) -> int:
        """The figure that a reading in this unit is held against."""
        return self.f if unit == "F" else self.c


_TEMPERATURE = re.compile(r"([+\-−]?[\d.,]+)\s*°?\s*([CF])\b")


def read_temperature(text: str) -> Bound:
    """A temperature bound from its text, e.g. "40 °F (4.4 °C)", "62.8 °C".

    Where both units are printed each is kept as printed; with one, both are that one exactly.

    Raises:
        BadQuantity: no temperature with its unit in the text, or two in the same unit.
    """
    found = _TEMPERATURE.findall(text)
    by_unit = {unit: to_ninths(figure, "F" if unit == "F" else "C") for figure, unit in found}
    left = _TEMPERATURE.sub("", text).strip(" ()/,\N{NO-BREAK SPACE}")
    if not found or left or len(by_unit) != len(found):
        raise BadQuantity(f"“{text}” is not a temperature. Write it as 40 °F (4.4 °C) or 4.4 °C.")
    either = next(iter(by_unit.values()))
    c, f = by_unit.get("C", either), by_unit.get("F", either)
    if abs(c - f) > NINTHS_PER_C:
        raise BadQuantity(f"“{text}”: the two figures are more than 1 °C apart.")
    return Bound(c, f, " ".join(text.split()))


_DIFFERENCE: Final = re.compile(r"([+\-−]?[\d.,]+)\s*°?\s*([CF])(?:\s+difference)?")


def read_difference(text: str) -> int:
    """A temperature difference in ninths from its text, e.g. "7.5 °C", "13.5 °F", to the nearest ninth.

    A difference is not a temperature: 13.5 °F is 7.5 °C.

    Raises:
        BadQuantity: not a number with its unit.
    """
    found = _DIFFERENCE.fullmatch(text.strip())
    if found is None:
        raise BadQuantity(
            f"“{text}” is not a temperature difference. Write it as 7.5 °C or 13.5 °F."
        )
    size = NINTHS_PER_F if found[2] == "F" else NINTHS_PER_C
    return round(read_number(found[1]) * size)


_SPANS: Final = {
    "ms": 1,
    "s": MS_PER_S,
    "min": MS_PER_MIN,
    "h": MS_PER_H,
    "hours": MS_PER_H,
    "hour": MS_PER_H,
    "d": MS_PER_DAY,
    "day": MS_PER_DAY,
    "days": MS_PER_DAY,
}
_SPAN = re.compile(r"([\d.,]+)\s*(ms|s|min|hours|hour|h|days|day|d)\b")


def read_span(text: str) -> int:
    """A length of time in ms from its text, e.g. "30 min", "2 h 30 min", "7 days".

    Raises:
        BadQuantity: not a length of time with its unit.
    """
    found = _SPAN.findall(text)
    if not found or _SPAN.sub("", text).strip():
        raise BadQuantity(f"“{text}” is not a length of time. Write it as 30 min or 2 h 30 min.")
    total = sum(read_number(figure) * _SPANS[unit] for figure, unit in found)
    return int(total)


def show_span(span_ms: int) -> str:
    """A length of time as people say it: "45 s", "30 min", "2 h 30 min", "7 days".

    Nothing is rounded away: 29 min 59 s is not 30 min, and a limit missed by a second shows it.
    """
    if span_ms < 0:
        return "−" + show_span(-span_ms)
    if span_ms >= 2 * MS_PER_DAY and span_ms % MS_PER_DAY == 0:
        return f"{span_ms // MS_PER_DAY} days"
    if span_ms >= 2 * MS_PER_DAY:
        days, rest = divmod(span_ms, MS_PER_DAY)
        return f"{days} days {show_span(rest)}"
    minutes, rest = divmod(span_ms, MS_PER_MIN)
    if minutes < 2 and rest:
        minutes, rest = 0, span_ms
    if minutes * MS_PER_MIN < 2 * MS_PER_H and minutes * MS_PER_MIN % MS_PER_H:
        words = [f"{minutes} min"]
    else:
        hours, minutes = divmod(minutes, MS_PER_H // MS_PER_MIN)
        words = [f"{hours} h"] if hours else []
        words += [f"{minutes} min"] if minutes else []
    words += [f"{show_number(Fraction(rest, MS_PER_S), DECIMALS_KEPT)} s"] if rest else []
    return " ".join(words) or "0 min"


MINUTE_DECIMALS: Final = 3  # shown of equivalent minutes, cut downwards


def show_minutes(span_ms: int) -> str:
    """Equivalent minutes with three decimals, cut downwards so that none are shown that are not there."""
    scale = BASE**MINUTE_DECIMALS
    return f"{show_number(Fraction(span_ms * scale // MS_PER_MIN, scale), MINUTE_DECIMALS)} min"


# What may be measured beside temperature: name → (units that may be typed → millionths of the first).
QUANTITIES: Final[dict[str, dict[str, Fraction]]] = {
    "brine strength": {"°SAL": Fraction(MILLIONTHS)},
    "brine to fish ratio": {":1": Fraction(MILLIONTHS)},
    "thickness": {"mm": Fraction(MILLIONTHS), "in": MILLIONTHS * MM_PER_IN},
    "salt": {"%": Fraction(MILLIONTHS)},
    "moisture": {"%": Fraction(MILLIONTHS)},
    "water-phase salt": {"%": Fraction(MILLIONTHS)},
    "sodium nitrite": {"ppm": Fraction(MILLIONTHS)},
    "water activity": {"aw": Fraction(MILLIONTHS)},
    "pH": {"pH": Fraction(MILLIONTHS)},
    "histamine": {"ppm": Fraction(MILLIONTHS)},
    "Listeria": {"per 25 g": Fraction(MILLIONTHS)},
    "aerobic count": {"cfu/g": Fraction(MILLIONTHS)},
}


def read_quantity(text: str, quantity: str) -> Bound:
    """A bound of a quantity other than temperature, from its text, e.g. "3.5 %", "1.5 in", "2 :1".

    Raises:
        BadQuantity: the quantity is unknown, the unit does not belong to it, or no number.
    """
    units = QUANTITIES.get(quantity)
    if units is None:
        raise BadQuantity(f"“{quantity}” is not a quantity that this logbook measures.")
    for unit in sorted(units, key=len, reverse=True):
        if text.rstrip().endswith(unit):
            value = to_millionths(text.rstrip().removesuffix(unit), quantity, unit)
            return Bound(value, value, " ".join(text.split()))
    wanted = " or ".join(units)
    raise BadQuantity(f"“{text}” needs its unit: {wanted}.")


def to_millionths(as_read: str, quantity: str, unit: str) -> int:
    """A quantity in millionths of its first unit, exactly as typed (rounded beyond the sixth)."""
    units = QUANTITIES.get(quantity, {})
    if unit not in units:
        raise BadQuantity(f"{quantity} is not measured in {unit}; use {' or '.join(units)}.")
    return round(read_number(as_read) * units[unit])


def show_quantity(millionths: int, quantity: str) -> str:
    """A quantity as people read it, in its first unit, e.g. "3.52 %"."""
    unit = next(iter(QUANTITIES[quantity]))
    number = show_number(Fraction(millionths, MILLIONTHS), QUANTITY_DECIMALS)
    return f"{number}{'' if unit.startswith(':') else ' '}{unit}"


_CONVERT: Final[dict[str, tuple[str, Fraction]]] = {
    "g": ("weight", Fraction(1)),
    "kg": ("weight", Fraction(1000)),
    "oz": ("weight", GRAMS_PER_OZ),
    "lb": ("weight", GRAMS_PER_LB),
    "mm": ("length", Fraction(1)),
    "cm": ("length", Fraction(10)),
    "m": ("length", Fraction(1000)),
    "in": ("length", MM_PER_IN),
    "ft": ("length", 12 * MM_PER_IN),
    "L": ("volume", Fraction(1)),
    "mL": ("volume", Fraction(1, 1000)),
    "US gal": ("volume", LITRE_PER_US_GALLON),
    "s": ("time", Fraction(1)),
    "min": ("time", Fraction(60)),
    "h": ("time", Fraction(3600)),
    "days": ("time", Fraction(86400)),
    "°C difference": ("difference", Fraction(9)),
    "°F difference": ("difference", Fraction(5)),
    "%": ("share", Fraction(1, 100)),
    "ppm": ("share", Fraction(1, MILLIONTHS)),
    "fraction": ("share", Fraction(1)),
}
_TEMPERATURES: Final = ("°C", "°F", "K")
KELVIN_AT_0_C: Final = Fraction("273.15")  # exact (NIST SP 811)


def _to_celsius(value: Fraction, unit: str) -> Fraction:
    if unit == "°F":
        return (value - FREEZING_F) * NINTHS_PER_F / NINTHS_PER_C
    return value - KELVIN_AT_0_C if unit == "K" else value


def _from_celsius(value: Fraction, unit: str) -> Fraction:
    if unit == "°F":
        return value * NINTHS_PER_C / NINTHS_PER_F + FREEZING_F
    return value + KELVIN_AT_0_C if unit == "K" else value


def convert(text: str, to: str) -> Fraction:
    """The quantity in another unit of the same kind, exactly.

    A temperature is not a temperature difference: write "13.5 °F difference" for the latter.

    Args:
        text: number and unit, e.g. "145 °F", "3 oz", "1.5 in", "13.5 °F difference".
        to: the unit wanted, e.g. "°C", "kg", "mm".
    Raises:
        BadQuantity: a unit that is not known, or of another kind.
    Source: NIST Special Publication 811, appendix B (factors exact by definition).
    """
    known = sorted([*_CONVERT, *_TEMPERATURES], key=len, reverse=True)
    unit = next((name for name in known if text.strip().endswith(name)), None)
    if unit is None or to not in known:
        raise BadQuantity(f"Cannot convert “{text}” to “{to}”: known units are {', '.join(known)}.")
    value = read_number(text.strip().removesuffix(unit))
    if unit in _TEMPERATURES and to in _TEMPERATURES:
        return _from_celsius(_to_celsius(value, unit), to)
    if unit in _TEMPERATURES or to in _TEMPERATURES or _CONVERT[unit][0] != _CONVERT[to][0]:
        raise BadQuantity(f"{unit} and {to} are not units of the same kind.")
    return value * _CONVERT[unit][1] / _CONVERT[to][1]
