"""A small sample of a lot's pieces: thickness and weight of each, how far they spread, and what is odd.

Thickness is kept in micrometres and weight in milligrams; a piece that was not weighed, or whose
thickness was not measured, has 0 there.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from lots.core.units import MG_PER_G, MM_PER_IN, BadQuantity, convert, read_number, show_number

UM_PER_MM: Final = 1000
LENGTH_UNITS: Final = ("mm", "in")
WEIGHT_UNITS: Final = ("g", "kg", "oz", "lb")
SHOWN: Final = 1  # decimals of a mean or a millimetre
IN_SHOWN: Final = 2  # decimals of an inch
LONGEST: Final = 20  # characters of a figure as read
LARGEST: Final = 10**12  # of a figure in its first unit: any database keeps it


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece as measured: the texts as read with their units, and the figures kept."""

    thickness: str
    thickness_unit: str
    um: int
    weight: str
    weight_unit: str
    mg: int


@dataclass(frozen=True, slots=True)
class PieceRule:
    """Outside what a piece is asked about (µm, mg), over what thickness it is none, and from how many
    times the thinnest the thickest makes a sample uneven."""

    thinnest_um: int
    thickest_um: int
    lightest_mg: int
    heaviest_mg: int
    no_fish_um: int
    uneven: Fraction


def piece_from(thickness: str, thickness_unit: str, weight: str, weight_unit: str) -> Piece:
    """A piece from what was typed; either figure may be empty, not both.  Thickness is rounded up to
    the micrometre, since thick is what takes up salt last.

    Raises:
        BadQuantity: not a number, nothing or below it, a unit that is none, or no figure at all.
    """
    if not thickness.strip() and not weight.strip():
        raise BadQuantity("Type the piece's thickness, its weight, or both.")
    return Piece(
        thickness.strip(),
        thickness_unit if thickness.strip() else "",
        thickness_um(thickness, thickness_unit) if thickness.strip() else 0,
        weight.strip(),
        weight_unit if weight.strip() else "",
        weight_mg(weight, weight_unit) if weight.strip() else 0,
    )


def thickness_um(text: str, unit: str) -> int:
    """The thickness in micrometres, rounded up.

    Raises:
        BadQuantity: not a number over nothing, or not in mm or in.
    """
    if unit not in LENGTH_UNITS:
        raise BadQuantity("Measure thickness in mm or in.")
    size = UM_PER_MM * (MM_PER_IN if unit == "in" else 1)
    return -(-_over_nothing(text) * size // 1)


def weight_mg(text: str, unit: str) -> int:
    """The weight in milligrams, to the nearest.

    Raises:
        BadQuantity: not a number over nothing, or not in g, kg, oz or lb.
    """
    if unit not in WEIGHT_UNITS:
        raise BadQuantity("Weigh in g, kg, oz or lb.")
    return round(_over_nothing(text) * MG_PER_G * convert(f"1 {unit}", "g"))


def _over_nothing(text: str) -> Fraction:
    value = read_number(text)
    if value <= 0:
        raise BadQuantity("No piece has this. Type a figure of more than nothing.")
    if value > LARGEST or len(text.strip()) > LONGEST:
        raise BadQuantity("The figure is too large or too long. Check it.")
    return value


def content_of(pieces: Iterable[Piece]) -> list[dict[str, Any]]:
    """The pieces as they are kept: texts and whole numbers."""
    return [
        {
            "thickness": one.thickness,
            "thickness_unit": one.thickness_unit,
            "um": one.um,
            "weight": one.weight,
            "weight_unit": one.weight_unit,
            "mg": one.mg,
        }
        for one in pieces
    ]


def pieces_from(content: Sequence[Mapping[str, Any]]) -> tuple[Piece, ...]:
    """The pieces of a kept sample."""
    return tuple(
        Piece(
            str(one["thickness"]), str(one["thickness_unit"]), int(one["um"]),
            str(one["weight"]), str(one["weight_unit"]), int(one["mg"]),
        )
        for one in content
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spread:
    """How many, the smallest, the largest and the mean of some figures, in the unit that they came in."""

    count: int
    smallest: int
    largest: int
    mean: Fraction

    @property
    def times(self) -> Fraction:
        """How many times the smallest the largest is."""
        return Fraction(self.largest, self.smallest)


def spread(figures: Iterable[int]) -> Spread | None:
    """The spread of the figures that are there (0 is none); None where there are none."""
    there = [one for one in figures if one]
    if not there:
        return None
    return Spread(len(there), min(there), max(there), Fraction(sum(there), len(there)))


def is_uneven(found: Spread | None, rule: PieceRule) -> bool:
    """Whether the largest is more times the smallest than the rule takes for even; exactly on it is even."""
    return found is not None and found.times > rule.uneven


def odd_thickness(piece: Piece, rule: PieceRule) -> str:
    """What is asked about a thickness that no piece is likely to have, naming the other unit where that
    would be likely; nothing of a likely one or none."""
    if not piece.um or rule.thinnest_um <= piece.um <= rule.thickest_um:
        return ""
    other = "mm" if piece.thickness_unit == "in" else "in"
    meant = thickness_um(piece.thickness, other)
    said = f"{piece.thickness} {piece.thickness_unit}"
    if piece.thickness_unit == "in":
        said += f" ({show_number(Fraction(piece.um, UM_PER_MM), SHOWN)} mm)"
    hint = (
        f" Was it {piece.thickness} {other}?"
        if rule.thinnest_um <= meant <= rule.thickest_um
        else ""
    )
    return f"{said} is unlikely for a piece of fish.{hint} Check it; if it is so, say so."


def odd_weight(piece: Piece, rule: PieceRule) -> str:
    """What is asked about a weight that no piece is likely to have; nothing of a likely one or none."""
    if not piece.mg or rule.lightest_mg <= piece.mg <= rule.heaviest_mg:
        return ""
    meant = [
        unit
        for unit in WEIGHT_UNITS
        if unit != piece.weight_unit
        and rule.lightest_mg <= weight_mg(piece.weight, unit) <= rule.heaviest_mg
    ]
    hint = f" Was it {piece.weight} {' or '.join(meant)}?" if meant else ""
    return (
        f"{piece.weight} {piece.weight_unit} is unlikely for a piece of fish.{hint} Check it; if it is so, "
        "say so."
    )


def show_um(um: int | Fraction) -> str:
    """A thickness in millimetres and inches, e.g. "25.4 mm (1 in)"."""
    mm = Fraction(um) / UM_PER_MM
    return f"{show_number(mm, SHOWN)} mm ({show_number(mm / MM_PER_IN, IN_SHOWN)} in)"


def show_mg(mg: int | Fraction) -> str:
    """A piece's weight in grams and ounces, e.g. "227 g (8 oz)"."""
    grams = Fraction(mg) / MG_PER_G
    ounces = grams / convert("1 oz", "g")
    return f"{show_number(grams, SHOWN)} g ({show_number(ounces, SHOWN)} oz)"
