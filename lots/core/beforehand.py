"""What is said of a batch and of the fish before the fish goes in: figures, what is asked, what bars it.

Planning figures all of them.  What a laboratory finds in the finished fish stands above each.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.batch import Batch, Doubt, doubts, scaled
from lots.core.brine import brine_figures
from lots.core.cure import NITRITE, CureRule, cure_rule, ingoing_of, not_permitted
from lots.core.salting import Ahead, ahead
from lots.core.units import (
    MG_PER_G,
    MILLIONTHS,
    round_half_up,
    round_up,
    show_number,
    show_quantity,
)

BRINE: Final = "brine"
DECIMALS: Final = 2  # of ratios, strengths and shares that are said
NOT_PROOF: Final = (
    "Neither is proof: only a laboratory result in the finished fish shows its water-phase salt."
)
NO_PROOF: Final = (
    "That is no proof: only a laboratory result in the finished fish shows its water-phase salt."
)
PLANNED: Final = (
    "That is what goes in, a planning figure: only a laboratory result in the finished fish shows what is "
    "in it."
)


@dataclass(frozen=True, slots=True)
class FishIn:
    """Fish that is to go in: its lot, its name and FAO code, its weight, the rows that permit nitrite under
    its plan, and the water-phase salt that its pack asks for, per cent (None: none is asked for)."""

    lot: str
    name: str
    species: str
    grams: int
    rules: tuple[CureRule, ...]
    rule: str
    target_pct: Fraction | None


@dataclass(frozen=True, slots=True)
class Beforehand:
    """`facts`: (what, figure); `nitrite` and `salt`: sentences; `asks`: odd but possible; `barred`: what
    the law or the weights do not let be."""

    facts: tuple[tuple[str, str], ...]
    nitrite: tuple[str, ...] = ()
    salt: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    barred: tuple[str, ...] = ()


def beforehand(
    batch: Batch,
    brine_g: int | None,
    fish: Sequence[FishIn],
    temp: int,
    moisture_pct: Fraction,
    weigh: Callable[[int], str],
) -> Beforehand:
    """What this batch is and can do for this fish, before the fish goes in.

    Errs to the fish's disfavour where it bars, and upwards where it says what salt is possible at most.

    Args:
        batch: as it was made.
        brine_g: grams of it on this fish, above 0; None: all of it.
        fish: all that goes in together, each above 0 grams.
        temp: the brine's temperature, ninths.
        moisture_pct: taken for the raw fish, per cent.
        weigh: says a weight of grams as the house weighs.
    """
    grams = sum(one.grams for one in fish)
    used_g = round_half_up(Fraction(batch.total_mg, MG_PER_G)) if brine_g is None else brine_g
    ingoing = ingoing_of(batch, grams, brine_g)
    found = _doubts(batch, brine_g, grams, temp)
    nitrite = [*_nitrite(fish, ingoing)] if batch.nitrite_mg else []
    return Beforehand(
        facts=tuple(_facts(batch, used_g, grams, temp, ingoing, weigh)),
        nitrite=tuple(dict.fromkeys(text for kind, text in nitrite if kind == "said")),
        salt=tuple(_salt(batch, brine_g, fish, grams, moisture_pct)),
        asks=(
            *(doubt.text for doubt in found if not doubt.refused),
            *dict.fromkeys(text for kind, text in nitrite if kind == "asked"),
        ),
        barred=(
            *(doubt.text for doubt in found if doubt.refused),
            *dict.fromkeys(text for kind, text in nitrite if kind == "barred"),
        ),
    )


def _doubts(batch: Batch, brine_g: int | None, grams: int, temp: int) -> list[Doubt]:
    """What is odd in this much of the batch on this much fish; what is odd in the batch itself was asked
    when it was made."""
    used = batch if brine_g is None else scaled(batch, Fraction(brine_g * MG_PER_G, batch.total_mg))
    alone = {doubt.text for doubt in doubts(used, temp)}
    return [doubt for doubt in doubts(used, temp, grams) if doubt.text not in alone]


def _facts(
    batch: Batch,
    used_g: int,
    grams: int,
    temp: int,
    ingoing: Fraction,
    weigh: Callable[[int], str],
) -> Iterator[tuple[str, str]]:
    ratio = show_number(Fraction(used_g, grams), DECIMALS)
    what = "Brine to fish" if batch.method == BRINE else "Salting to fish"
    yield what, f"{ratio} : 1 by weight, {weigh(used_g)} on {weigh(grams)} of fish"
    if batch.method == BRINE:
        figures = brine_figures(batch, temp)
        yield "Strength by the recipe", strength_words(figures.salometer_deg, figures.salt_pct)
    if batch.nitrite_mg:
        how = "by equilibrium" if batch.method == BRINE else "all of it in the fish"
        yield "Ingoing nitrite", f"{show_number(ingoing, 0)} ppm {how}; a planning figure"


def strength_words(deg: Fraction, pct: Fraction) -> str:
    """A strength as people say it: "72.5 °SAL (19.14 % salt)"."""
    return f"{show_number(deg, 1)} °SAL ({show_number(pct, DECIMALS)} % salt)"


# --- nitrite --------------------------------------------------------------------------------------


def _nitrite(fish: Sequence[FishIn], ingoing: Fraction) -> Iterator[tuple[str, str]]:
    """("said" | "asked" | "barred", sentence) for each species."""
    for one in fish:
        row = cure_rule(one.species, one.rules)
        if row is None:
            yield "barred", not_permitted(one.name, one.rules, one.rule)
        else:
            yield "said", _permitted(one.name, row)
            yield from _beyond(one.name, row, ingoing)


def _permitted(name: str, row: CureRule) -> str:
    also = "; ".join(filter(None, [row.heat, row.cooling]))
    asks = f" It also asks for: {also}." if also else ""
    return f"{name}: {row.rule} permits {NITRITE} of {row.bounds} in the finished fish.{asks} {PLANNED}"


def _beyond(name: str, row: CureRule, ingoing: Fraction) -> Iterator[tuple[str, str]]:
    goes_in = f"{show_number(ingoing, 0)} ppm goes into {name}"
    if ingoing * MILLIONTHS > row.at_most:
        most = show_quantity(row.at_most, NITRITE)
        yield (
            "asked",
            f"{goes_in}, more than the {most} that {row.rule} permits in the finished fish.",
        )
    if row.at_least is not None and ingoing * MILLIONTHS < row.at_least:
        least = show_quantity(row.at_least, NITRITE)
        yield (
            "asked",
            f"{goes_in}, less than the {least} that {row.rule} asks for in the finished fish.",
        )


# --- salt -----------------------------------------------------------------------------------------


def _salt(
    batch: Batch, brine_g: int | None, fish: Sequence[FishIn], grams: int, moisture: Fraction
) -> Iterator[str]:
    targets = sorted({one.target_pct for one in fish if one.target_pct is not None})
    if not targets:
        return
    found = [ahead(batch, brine_g, grams, moisture, target) for target in targets]
    yield (
        f"The highest water-phase salt possible at full equilibrium, before any drying, is "
        f"{_pct(found[0].wps_pct)} (raw fish taken at {_pct(moisture)} moisture)."
    )
    for one in found:
        yield from _target(batch, one)
    yield NO_PROOF if all(one.reaches for one in found) else NOT_PROOF


def _target(batch: Batch, one: Ahead) -> Iterator[str]:
    wanted = f"The pack asks for at least {_pct(one.target_pct)}"
    if one.reaches:
        yield (
            f"{wanted}: fish left in long enough could come to it, which does not show that it does."
        )
        return
    yield f"{wanted}, which no time in it reaches. {_dried(one)}"
    yield (
        f"What would do: {'; '.join(_instead(batch, one))}; or keep it frozen, under a plan that says so. "
        f"Wetter fish than of {_pct(one.moisture_pct)} moisture wants more of it."
    )


def _dried(one: Ahead) -> str:
    if one.dry_to is None:
        return "No drying brings it there: the fish takes up no salt."
    return (
        f"The fish would have to be dried from {_pct(one.moisture_pct)} to {_pct(-round_up(-one.dry_to.moisture_pct, DECIMALS))} "
        f"moisture, to {show_number(one.dry_to.yield_pct, 0)} % of its weight as brined."
    )


def _instead(batch: Batch, one: Ahead) -> Iterator[str]:
    ratio = show_number(one.ratio, DECIMALS)
    if batch.method == BRINE and one.strength_sal is not None:
        deg = round_up(one.strength_sal)
        yield f"a brine of at least {deg} °SAL at this {ratio} : 1 (time and thickness still govern)"
    elif batch.method == BRINE:
        yield f"no brine is strong enough at this {ratio} : 1: more of it, or a stronger one"
    least = round_up(one.dry_salt_g)
    yield f"dry salting, with more than {least} g of salt to each kg of fish"


def _pct(value: Fraction) -> str:
    return f"{show_number(value, DECIMALS)} %"
