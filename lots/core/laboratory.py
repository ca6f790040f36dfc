"""A laboratory's report: each sample's figures, what cannot be, and the water-phase salt that follows from
salt and moisture.

Figures are integers of millionths of the quantity's first unit, as everywhere.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.salting import water_phase_salt
from lots.core.units import BASE, MILLIONTHS, QUANTITIES, BadQuantity, show_quantity, to_millionths

SALT: Final = "salt"
MOISTURE: Final = "moisture"
WATER_PHASE_SALT: Final = "water-phase salt"
LISTERIA: Final = "Listeria"
# What a laboratory is asked for, in the order of a report.
ASKED_FOR: Final = (
    WATER_PHASE_SALT, SALT, MOISTURE, "sodium nitrite", "water activity", "pH", "histamine", LISTERIA,
    "aerobic count",
)  # fmt: skip
# What no figure can pass: a share of the whole, the activity of pure water, the scale of pH.
MOST: Final[Mapping[str, int]] = {
    SALT: 100 * MILLIONTHS,
    MOISTURE: 100 * MILLIONTHS,
    WATER_PHASE_SALT: 100 * MILLIONTHS,
    "water activity": MILLIONTHS,
    "pH": 14 * MILLIONTHS,
}
WHOLE: Final = 100 * MILLIONTHS  # per cent
LONGEST: Final = 20  # characters of a figure as printed
LARGEST: Final = 10**15  # millionths: a thousand million of any unit was mistyped
NOT_FOUND: Final = ("not detected", "not found", "nd", "n.d.", "absent", "negative", "none")
WAS_FOUND: Final = ("detected", "found", "present", "positive")
BELOW_A_BOUND: Final = ("histamine", "aerobic count")  # of these only an upper limit is set
COMPUTED: Final = "computed from the salt and moisture of the same report"  # as a result's method
COMPUTED_DECIMALS: Final = 4  # of a computed share, cut downwards


@dataclass(frozen=True, slots=True)
class Found:
    """One sample's figure of one quantity: the text as printed, and its value in millionths."""

    quantity: str
    as_read: str
    millionths: int

    @property
    def unit(self) -> str:
        """The unit that a report's figures of this quantity are in: the quantity's first."""
        return unit_of(self.quantity)


def cell(quantity: str, number: int) -> str:
    """The name of a sample's figure in a form, and in what is refused about it: "water-phase-salt-2"."""
    return f"{quantity.replace(' ', '-')}-{number}"


def unit_of(quantity: str) -> str:
    """The first unit of a quantity, in which reports print it."""
    return next(iter(QUANTITIES[quantity]))


def found(text: str, quantity: str) -> Found:
    """A sample's figure as a report prints it.

    “Not detected” of Listeria is none in 25 g, “detected” at least one.  “< 5” of a quantity that only an
    upper limit is set for counts as 5, against the processor.

    Args:
        text: as printed, e.g. "3.52", "3,52", "not detected", "< 2.5"; at most 20 characters.
        quantity: one of the quantities of units.QUANTITIES.
    Raises:
        BadQuantity: not a figure, below nothing, beyond what the quantity can be, or too long.
    """
    plain = " ".join(text.split())
    if len(plain) > LONGEST:
        raise BadQuantity("A figure is too long. Check the report.")
    return Found(quantity, plain, _value(plain, quantity))


def _value(plain: str, quantity: str) -> int:
    if quantity == LISTERIA and plain.lower() in NOT_FOUND:
        return 0
    if quantity == LISTERIA and plain.lower() in WAS_FOUND:
        return MILLIONTHS
    figure = plain
    if plain.startswith("<"):
        if quantity not in BELOW_A_BOUND:
            raise BadQuantity(f"“{plain}” is no figure of {quantity}. Ask the laboratory for one.")
        figure = plain.removeprefix("<").strip()
    value = to_millionths(figure, quantity, unit_of(quantity))
    if value < 0:
        raise BadQuantity("A figure below nothing cannot be. Check the report.")
    most = MOST.get(quantity, LARGEST)
    if value > most:
        can = f": {quantity} cannot be over {show_quantity(most, quantity)}"
        raise BadQuantity(
            f"“{plain}” is too much{can if quantity in MOST else ''}. Check the report."
        )
    return value


def computed(salt: Found, moisture: Found) -> Found | None:
    """The sample's water-phase salt as computed from the two, cut downwards to four decimals and so
    never to the processor's favour; None where the sample has neither salt nor water.

    Source: see salting.water_phase_salt.
    """
    exact = _followed(Fraction(salt.millionths), Fraction(moisture.millionths))
    if exact is None:
        return None
    step = MILLIONTHS // BASE**COMPUTED_DECIMALS
    value = exact // step * step
    text = show_quantity(value, WATER_PHASE_SALT).removesuffix(f" {unit_of(WATER_PHASE_SALT)}")
    return Found(WATER_PHASE_SALT, text, value)


@dataclass(frozen=True, slots=True)
class Odd:
    """What is wrong with one figure of a sample: refused, or only asked about."""

    quantity: str
    text: str
    refused: bool


def odd_together(sample: Mapping[str, Found]) -> list[Odd]:
    """What of a sample's figures cannot be together: salt and moisture over the whole are refused, a
    water-phase salt that the other two do not give is asked about."""
    salt, moisture = sample.get(SALT), sample.get(MOISTURE)
    if salt is None or moisture is None:
        return []
    together = salt.millionths + moisture.millionths
    if together > WHOLE:
        words = show_quantity(together, MOISTURE)
        return [Odd(MOISTURE, f"Salt and moisture are {words} together, over the whole fish. Check the "
                "report.", True)]  # fmt: skip
    printed = sample.get(WATER_PHASE_SALT)
    if printed is None or _may_follow(salt, moisture, printed):
        return []
    ours = computed(salt, moisture)
    said = f"{ours.as_read} {ours.unit}" if ours else "none"
    return [Odd(WATER_PHASE_SALT, f"From salt {salt.as_read} % and moisture {moisture.as_read} % follows "
            f"a water-phase salt of {said}, not {printed.as_read} %. If the report does print all three so, "
            "say so: the lower of the two then counts.", False)]  # fmt: skip


def _may_follow(salt: Found, moisture: Found, printed: Found) -> bool:
    """Whether the printed figure can follow from the two, each of them rounded to its last digit."""
    half_salt, half_moisture = _half_a_digit(salt), _half_a_digit(moisture)
    least = _followed(salt.millionths - half_salt, moisture.millionths + half_moisture) or 0
    most = _followed(salt.millionths + half_salt, moisture.millionths - half_moisture) or 0
    half = _half_a_digit(printed)
    return least - half <= printed.millionths <= most + half


def _followed(salt: Fraction, moisture: Fraction) -> Fraction | None:
    """The water-phase salt in millionths of a per cent; None of neither salt nor water."""
    salt = min(max(salt, Fraction(0)), Fraction(WHOLE))
    moisture = min(max(moisture, Fraction(0)), WHOLE - salt)
    if not salt + moisture:
        return None
    return water_phase_salt(salt / MILLIONTHS, moisture / MILLIONTHS) * MILLIONTHS


def _half_a_digit(one: Found) -> Fraction:
    """Half a unit of the last digit printed, in millionths."""
    _, _, decimals = one.as_read.replace(",", ".").partition(".")
    return Fraction(MILLIONTHS, 2 * BASE ** len(decimals))
