"""What a batch can do for the fish, said in words before the fish goes in: the same on screen and on paper."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.salting import Ahead
from lots.core.units import BASE, show_number

PROOF: Final = (
    "Neither is proof: most fish leaves the brine long before it is as strong as the brine, and dries more in "
    "one place than in another. Only a laboratory shows the salt of the finished fish."
)
FROZEN: Final = "Keep the packs frozen, from packing until they are used, and say so on them."
TENTHS: Final = 1
HUNDREDTHS: Final = 2


@dataclass(frozen=True, slots=True)
class AheadWords:
    """`highest`: what the batch could do at the very best; `dried`: how far drying would have to go; `proof`:
    that neither is any; `instead`: what would do, nothing where the target is within reach."""

    highest: str
    dried: str
    proof: str
    instead: tuple[str, ...]


def ahead_words(found: Ahead) -> AheadWords:
    """What `ahead` found, in words.  Figures are rounded against the processor: what is reached downwards,
    what is needed upwards."""
    return AheadWords(_highest(found), _dried(found), PROOF, _instead(found))


def _highest(found: Ahead) -> str:
    how = "if all the salt goes in" if found.dry else "at full equilibrium"
    wps, target = _down(found.wps_pct, HUNDREDTHS), show_number(found.target_pct, HUNDREDTHS)
    if found.reaches:
        return (
            f"Before drying this fish could come to {wps} % water-phase salt at the very most, {how}; "
            f"{target} % is asked for. Whether it does depends on time, thickness and temperature."
        )
    return (
        f"Before drying this fish comes to no more than {wps} % water-phase salt, however long it lies, "
        f"{how}; {target} % is asked for."
    )


def _dried(found: Ahead) -> str:
    if found.dry_to is None:
        return "There is no salt in this batch, so no drying would bring the fish there."
    if found.reaches:
        return "At that strength it would not have to be dried for its salt."
    return (
        f"It would have to be dried from {_down(found.moisture_pct, TENTHS)} % moisture to "
        f"{_down(found.dry_to.moisture_pct, TENTHS)} %, to {_down(found.dry_to.yield_pct, TENTHS)} % of what it "
        "weighs as brined."
    )


def _instead(found: Ahead) -> tuple[str, ...]:
    if found.reaches:
        return ()
    grams = f"at least {_up(found.dry_salt_g, 0)} g of salt for a kilogram of fish, if all of it goes in"
    if found.dry:
        return (f"More salt: {grams}.", FROZEN)
    return (_stronger(found), *_more(found), f"Dry salting: {grams}.", FROZEN)


def _stronger(found: Ahead) -> str:
    if found.strength_pct is None or found.strength_sal is None:
        return "A stronger brine would not do at this ratio: no brine dissolves so much salt."
    return (
        f"A stronger brine: at this ratio at least {_up(found.strength_pct, TENTHS)} % salt, "
        f"{_up(found.strength_sal, 0)} °SAL at 60 °F."
    )


def _more(found: Ahead) -> tuple[str, ...]:
    if found.ratio_needed is None:
        return ()
    ratio = _up(found.ratio_needed, HUNDREDTHS)
    return (f"More of this brine: at least {ratio} of salt and water by weight for one of fish.",)


def _down(figure: Fraction, decimals: int) -> str:
    scale = BASE**decimals
    return show_number(Fraction(figure * scale // 1, scale), decimals)


def _up(figure: Fraction, decimals: int) -> str:
    scale = BASE**decimals
    return show_number(Fraction(-(-figure * scale // 1), scale), decimals)
