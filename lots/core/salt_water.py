"""Salt in water: strength, density, freezing point, how much dissolves, and what float and prism read.

Strength is salt over salt and water, in per cent by weight; whatever else stands in a brine is left out.
Everything is exact (Fraction); tables are straight between their points, the density's along the
temperature a parabola through three of them.
"""

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from lots.core.units import (
    GRAMS_PER_LB,
    LITRE_PER_US_GALLON,
    NINTHS_PER_C,
    NINTHS_PER_F,
    BadQuantity,
    read_number,
    round_half_up,
    show_both,
    show_number,
    to_ninths,
)


class BadBrineTemp(BadQuantity):
    """A strength cannot be said at the brine's temperature; the message says what to do."""


WHOLE: Final = 100  # per cent
FULL_SCALE: Final = 100  # °SAL: where a salometer's scale ends
# Per cent of salt at 100 that a salometer is taken to be made for; outside it the figure was mistyped.  Our
# own choice about the scales in use, 25 to 26.395 % (common practice).
LEAST_FULL_SCALE: Final = 20
MOST_FULL_SCALE: Final = Fraction("27.5")
KG_M3_PER_G_ML: Final = 1000
# % salt at 100 °SAL and 60 °F: Salt Institute, "Solubility of Salt at Various Temperatures".
SATURATED: Final = Fraction("26.395")
SIXTY_F: Final = to_ninths("60", "F")  # what most salometers are scaled at
# % salt; beyond it salt, not ice, comes out first (Salt Institute).
EUTECTIC: Final = Fraction("23.31")
# Ends of the density table; below 0 °C it is drawn on, and the library CoolProp agrees down to −15 °C.
COLDEST: Final = to_ninths("-15", "C")
WARMEST: Final = to_ninths("60", "C")

# Specific volume in cm³/g at 1 bar by molality (mol NaCl in 1 kg of water).  CRC Handbook of Chemistry and
# Physics, "Volumetric Properties of Aqueous Sodium Chloride Solutions", after Rogers and Pitzer,
# J. Phys. Chem. Ref. Data 11, 15 (1982).
_MOLAL: Final = ("0.1", "0.25", "0.5", "0.75", "1", "2", "3", "4", "5")
_VOLUMES: Final[dict[int, str]] = {
    0: "0.995732 0.989259 0.978889 0.968991 0.959525 0.925426 0.896292 0.870996 0.848646",
    10: "0.995998 0.989781 0.979804 0.970256 0.961101 0.927905 0.899262 0.874201 0.851958",
    20: "0.997620 0.991564 0.981833 0.972505 0.963544 0.930909 0.902565 0.877643 0.855469",
    30: "1.000279 0.994319 0.984735 0.975539 0.966694 0.934382 0.906194 0.881334 0.859185",
    40: "1.003796 0.997883 0.988374 0.979243 0.970455 0.938287 0.910145 0.885276 0.863108",
    50: "1.008064 1.002161 0.992668 0.983551 0.974772 0.942603 0.914411 0.889473 0.867241",
    60: "1.0130 1.0071 0.9976 0.9885 0.9797 0.9474 0.9191 0.8940 0.8716",
}
# Water, kg/m³.  CRC Handbook, 70th ed., standard density of water; from 40 °C to two decimals.
_WATER: Final = {
    0: "999.8395",
    10: "999.7026",
    20: "998.2071",
    30: "995.6502",
    40: "992.22",
    50: "988.04",
    60: "983.20",
}
_NACL: Final = Fraction("58.443")  # g/mol (CRC Handbook)
_KILO: Final = 1000
_TOP_PCT: Final = Fraction(26)
_TOP_20: Final = Fraction("1197.2")  # kg/m³ at 26 %, 20 °C (CRC, "Concentrative Properties …")
_ROOM: Final = 20  # °C, of the table that the topmost row is from
_GRID: Final = ((0, 10, 20), (20, 30, 40), (40, 50, 60))  # °C: the points of each parabola

# Depression of the freezing point, °C.  CRC Handbook, "Concentrative Properties of Aqueous Solutions":
# each second per cent.  The last: Salt Institute, eutectic.
_DEPRESSION: Final = (
    (Fraction(0), Fraction(0)),
    (Fraction(1), Fraction("0.59")),
    (Fraction(2), Fraction("1.19")),
    (Fraction(4), Fraction("2.41")),
    (Fraction(6), Fraction("3.70")),
    (Fraction(8), Fraction("5.08")),
    (Fraction(10), Fraction("6.56")),
    (Fraction(12), Fraction("8.18")),
    (Fraction(14), Fraction("9.94")),
    (Fraction(16), Fraction("11.89")),
    (Fraction(18), Fraction("14.04")),
    (Fraction(20), Fraction("16.46")),
    (Fraction(22), Fraction("19.18")),
    (Fraction(23), Fraction("20.67")),
    (EUTECTIC, Fraction("21.11")),
)

# What dissolves: °F, % salt.  Salt Institute, "Solubility of Salt at Various Temperatures".  Its rows at 0, 32,
# 40, 50, 80, 125 and 212 °F are not points here: they are worked cases, and lie within 0.03 % of the line.
_DISSOLVES: Final = (
    ("-6", "23.31"),
    ("10", "24.7"),
    ("20", "25.53"),
    ("30", "26.16"),
    ("32.2", "26.31"),
    ("60", "26.395"),
    ("70", "26.45"),
    ("100", "26.68"),
    ("150", "27.21"),
    ("175", "27.62"),
    ("200", "27.91"),
    ("220", "28.29"),
)


# --- tables ---------------------------------------------------------------------------------------


def _between(x: Fraction, points: Sequence[tuple[Fraction, Fraction]]) -> Fraction:
    """The table's value at x, straight between its points and on from its last two."""
    at = min(max(bisect_right([p for p, _ in points], x), 1), len(points) - 1)
    (x0, y0), (x1, y1) = points[at - 1], points[at]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def _pct_of_molal(text: str) -> Fraction:
    salt = Fraction(text) * _NACL
    return WHOLE * salt / (_KILO + salt)


_PCTS: Final = (Fraction(0), *(_pct_of_molal(m) for m in _MOLAL), _TOP_PCT)


def _row(celsius: int) -> tuple[Fraction, ...]:
    """Densities at the strengths of `_PCTS`.  The topmost is the table's at 20 °C, brought to this
    temperature by the ratio of the two strongest solutions, drawn on to its strength."""
    here = [Fraction(v) for v in _VOLUMES[celsius].split()]
    room = [Fraction(v) for v in _VOLUMES[_ROOM].split()]
    shrunk = [(p, r / v) for p, r, v in zip(_PCTS[1:-1], room, here, strict=True)]
    top = _TOP_20 * _between(_TOP_PCT, shrunk[-2:])
    return (Fraction(_WATER[celsius]), *(_KILO / v for v in here), top)


_ROWS: Final = {celsius: _row(celsius) for celsius in _VOLUMES}
_SOLUBILITY: Final = tuple((Fraction(to_ninths(f, "F")), Fraction(pct)) for f, pct in _DISSOLVES)


def _isotherm(temp: int) -> list[tuple[Fraction, Fraction]]:
    """Strength and density at one temperature, each density on a parabola through three of the table."""
    if not COLDEST <= temp <= WARMEST:
        raise BadBrineTemp(
            f"{show_both(temp)} is outside what the density of brine is known for here: "
            f"{show_both(COLDEST)} to {show_both(WARMEST)}."
        )
    celsius = Fraction(temp, NINTHS_PER_C)
    points = next(grid for grid in _GRID if celsius <= grid[-1])
    weights = [_lagrange(celsius, point, points) for point in points]
    rows = [_ROWS[point] for point in points]
    at = [
        sum((w * d for w, d in zip(weights, column, strict=True)), Fraction(0))
        for column in zip(*rows, strict=True)
    ]
    return list(zip(_PCTS, at, strict=True))


def _lagrange(x: Fraction, own: int, points: Sequence[int]) -> Fraction:
    weight = Fraction(1)
    for other in points:
        if other != own:
            weight *= (x - other) / (own - other)
    return weight


def _strength(pct: Fraction) -> Fraction:
    if not 0 <= pct < WHOLE:
        raise BadQuantity(
            f"A strength of {show_number(pct, 2)} % cannot be: it runs from 0 to below 100 %."
        )
    return pct


# --- strength -------------------------------------------------------------------------------------


def salt_pct(salt: Fraction | int, water: Fraction | int) -> Fraction:
    """The strength of a salt solution, % by weight; sugar and everything else left out.

    Args:
        salt, water: weights in one unit, not both nothing.
    Raises:
        BadQuantity: a negative weight, or nothing at all.
    """
    if min(salt, water) < 0 or salt + water == 0:
        raise BadQuantity("Salt and water are weights of more than nothing.")
    return Fraction(WHOLE * salt) / (salt + water)


def salometer_deg(pct: Fraction) -> Fraction:
    """Degrees salometer (°SAL): the share of what a brine saturated at 60 °F holds, in per cent.

    Args:
        pct: strength, 0 to 100 %.  Above 26.395 % the figure is above 100: no brine at 60 °F has it.
    Source: 26.395 % at 100 °SAL (Salt Institute).
    """
    return WHOLE * _strength(pct) / SATURATED


def pct_of_salometer(deg: Fraction, full_scale_pct: Fraction = SATURATED) -> Fraction:
    """The strength that a salometer's degree stands for.

    Args:
        deg: 0 to 100.
        full_scale_pct: the strength at the scale's 100; 26.395 % but for special ones (25 %).
    Raises:
        BadQuantity: a degree that the scale does not have, or a scale that cannot be.
    """
    _scale(full_scale_pct)
    if not 0 <= deg <= FULL_SCALE:
        raise BadQuantity(
            f"A salometer's scale runs from 0 to 100; {show_number(deg, 2)} cannot be read on it. Read it again."
        )
    return deg * full_scale_pct / WHOLE


def read_full_scale(text: str) -> Fraction:
    """What a salometer's 100 stands for, per cent, from what stands on it: "26.395 %", "25".

    Raises:
        BadQuantity: no figure, or none that a salometer is scaled to.
    """
    figure = read_number(text.strip().removesuffix("%"))
    if not LEAST_FULL_SCALE <= figure <= MOST_FULL_SCALE:
        raise BadQuantity(
            f"A salometer's 100 stands for about 25 or 26.4 % salt, not for {text.strip()}. Look at what stands "
            "on it."
        )
    return figure


def _scale(full_scale_pct: Fraction) -> None:
    if not 0 < full_scale_pct <= _SOLUBILITY[-1][1]:
        raise BadQuantity(
            f"A salometer's 100 cannot stand for {show_number(full_scale_pct, 2)} % salt: look on the instrument "
            "for 26.395 % or 25 %."
        )


def most_salt_pct(temp: int) -> Fraction:
    """The strongest brine that can be at a temperature, % salt: beyond it salt stays on the ground.

    Args:
        temp: ninths, −6 °F to 220 °F.
    Raises:
        BadQuantity: outside.
    Source: Salt Institute, solubility of salt; straight between its points, at most 0.03 % above its
    other rows.
    """
    if not _SOLUBILITY[0][0] <= temp <= _SOLUBILITY[-1][0]:
        first, last = (show_both(int(_SOLUBILITY[i][0])) for i in (0, -1))
        raise BadBrineTemp(
            f"How much salt dissolves is known from {first} to {last}, not at {show_both(temp)}."
        )
    return _between(Fraction(temp), _SOLUBILITY)


# --- weight and volume ----------------------------------------------------------------------------


def density_kg_m3(pct: Fraction, temp: int) -> Fraction:
    """The density of a salt solution in kg/m³.

    Args:
        pct: strength, 0 to 28 %.
        temp: ninths, −15 °C to 60 °C; whether it is frozen there is not asked.
    Returns:
        Within 0.2 of the CRC's column at 20 °C, and within 0.4 of the library CoolProp (to 23 %).
    Raises:
        BadQuantity: outside.
    Source: CRC Handbook (Rogers and Pitzer 1982; Söhnel and Novotny at 26 %).
    """
    strongest = _SOLUBILITY[-1][1]
    if not 0 <= pct <= strongest:
        raise BadQuantity(
            f"No brine has {show_number(pct, 2)} % salt: at most {show_number(strongest, 2)} % dissolves."
        )
    return _between(pct, _isotherm(temp))


WATER_60F: Final = _between(Fraction(0), _isotherm(SIXTY_F))  # kg/m³; 999.04, CRC 999.02


def specific_gravity(pct: Fraction) -> Fraction:
    """The specific gravity at 60 °F, against water at 60 °F, as salometer tables print it."""
    return density_kg_m3(pct, SIXTY_F) / WATER_60F


def grams_per_litre_of_water(pct: Fraction) -> Fraction:
    """Grams of salt to each litre of water (measured at 60 °F) for this strength."""
    return WATER_60F * _strength(pct) / (WHOLE - pct)


def pounds_per_us_gallon_of_water(pct: Fraction) -> Fraction:
    """Pounds of salt to each US gallon of water (measured at 60 °F) for this strength."""
    return grams_per_litre_of_water(pct) * LITRE_PER_US_GALLON / GRAMS_PER_LB


def freezing(pct: Fraction) -> int | None:
    """Where ice first forms in a salt solution, ninths; errs to the cold side by at most 0.05 °C.

    Args:
        pct: strength, 0 to 100 %.
    Returns:
        None beyond 23.31 %: there salt comes out first, and no freezing point stands for the brine.
    Source: CRC Handbook; Salt Institute (−6 °F at 23.31 %).
    """
    if _strength(pct) > EUTECTIC:
        return None
    return -round_half_up(_between(pct, _DEPRESSION) * NINTHS_PER_C)


# --- what instruments read ------------------------------------------------------------------------


def true_salometer(
    reading_deg: Fraction,
    brine_temp: int,
    reference_temp: int = SIXTY_F,
    full_scale_pct: Fraction = SATURATED,
) -> Fraction:
    """The brine's degrees salometer (26.395 % at 100), from what a float showed at another temperature.

    The float sinks to a density; its scale gives the strength that has this density at the reference.
    The glass's own shrinking is left out: over 20 °F it moves the reading by 0.15 degrees at most.
    What else stands in the brine (sugar above all) lifts the float as well and reads as salt.

    Args:
        reading_deg: 0 to 100, on the instrument's own scale.
        brine_temp, reference_temp: ninths, −15 °C to 60 °C.
        full_scale_pct: the strength at the scale's 100.
    Returns:
        May be a little below 0 or above 100, where the reading and the temperature cannot both be right.
    Raises:
        BadQuantity: a reading that the scale does not have, or a temperature outside.
    """
    marked = density_kg_m3(pct_of_salometer(reading_deg, full_scale_pct), reference_temp)
    at = [(density, pct) for pct, density in _isotherm(brine_temp)]
    return WHOLE * _between(marked, at) / SATURATED


def salometer_reading(
    pct: Fraction,
    brine_temp: int,
    reference_temp: int = SIXTY_F,
    full_scale_pct: Fraction = SATURATED,
) -> Fraction:
    """What a float would show in a brine of this strength; the way back of `true_salometer`."""
    return salometer_at(density_kg_m3(pct, brine_temp), reference_temp, full_scale_pct)


def salometer_at(density: Fraction, reference_temp: int, full_scale_pct: Fraction) -> Fraction:
    """The degree at which a float's scale has a density, kg/m³; on from its ends where it has none."""
    _scale(full_scale_pct)
    at = [(dense, strength) for strength, dense in _isotherm(reference_temp)]
    return WHOLE * _between(density, at) / full_scale_pct


# A salt refractometer without correction of its own is not corrected here.  The one published course of the
# index with temperature (Tan and Huang, J. Chem. Eng. Data 60, 2827 (2015), 20 to 45 °C) falls by 0.00014 to
# 0.00016 per °C, against 0.0018 for each per cent of salt (CRC Handbook): some 0.08 to 0.09 % of salt per °C.
# It does not reach down to a cold brine, and its indices lie 0.001 above the CRC's.
REFRACTOMETER_SPAN: Final = 2 * NINTHS_PER_C  # either side of the reference: 0.2 % of salt at most
CORRECTS_FROM: Final = to_ninths("10", "C")  # makers' instructions: they correct from 10 to 30 °C
CORRECTS_TO: Final = to_ninths("30", "C")


def refractometer(
    reading_pct: Fraction, temp: int, reference_temp: int, corrects_itself: bool
) -> Fraction:
    """The strength that a salt refractometer showed, % salt; nothing is added or taken off.

    Args:
        reading_pct: % salt as read, 0 to 28.29.
        temp: ninths, of the drop on the prism: it takes the instrument's temperature, not the tank's.
        reference_temp: ninths, what the scale was made at.
        corrects_itself: the instrument corrects for temperature.
    Raises:
        BadQuantity: read where the instrument does not read true; the words say what to do.
    """
    strongest = _SOLUBILITY[-1][1]
    if not 0 <= reading_pct <= strongest:
        raise BadQuantity(
            f"No brine has {show_number(reading_pct, 2)} % salt: at most {show_number(strongest, 2)} % dissolves. "
            "Read it again, on the scale for salt."
        )
    if corrects_itself and not CORRECTS_FROM <= temp <= CORRECTS_TO:
        raise BadBrineTemp(
            f"This refractometer corrects itself from {show_both(CORRECTS_FROM)} to {show_both(CORRECTS_TO)}, not at "
            f"{show_both(temp)}. Let the drop stand on the prism until it is as warm as the room, and read again."
        )
    if not corrects_itself and abs(temp - reference_temp) > REFRACTOMETER_SPAN:
        span = show_number(Fraction(REFRACTOMETER_SPAN, NINTHS_PER_F), 1, 1)
        raise BadBrineTemp(
            f"This refractometer does not correct itself and reads true only within {span} °F of "
            f"{show_both(reference_temp)}; it stood at {show_both(temp)}. Bring instrument and drop there, or use a salometer."
        )
    return reading_pct
