"""The sums of brine, cure and salt as a person reads them: each figure beside how it was got.

Nothing is kept and no row is read.  What the figures rest on is in core; here are their words.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.batch import Batch, volume_litres
from lots.core.brine import brine_figures
from lots.core.cure import (
    CureNeeded,
    CureRule,
    cure_rule,
    not_permitted,
)
from lots.core.salt_water import (
    EUTECTIC,
    SATURATED,
    density_kg_m3,
    freezing,
    grams_per_litre_of_water,
    most_salt_pct,
    pounds_per_us_gallon_of_water,
    salometer_deg,
    specific_gravity,
)
from lots.core.salting import PER_CENT, Ahead
from lots.core.units import (
    GRAMS_PER_LB,
    LITRE_PER_US_GALLON,
    MG_PER_G,
    MILLIONTHS,
    round_up,
    show_both,
    show_number,
)
from lots.queries.house import cure_tables, species


@dataclass(frozen=True)
class Row:
    """One figure and how it was got."""

    what: str
    figure: str
    how: str


@dataclass(frozen=True)
class Answer:
    """What a sum comes to: the figure asked for, those beside it, what to know, what speaks against it."""

    what: str
    figure: str
    how: str
    rows: tuple[Row, ...] = ()
    notes: tuple[str, ...] = ()
    against: tuple[str, ...] = ()


def percent(value: Fraction, decimals: int = 2) -> str:
    return f"{show_number(Fraction(value), decimals, 1)} %"


def mass(mg: Fraction | int) -> str:
    """A weight in the unit that it is weighed in, with pounds or ounces beside it."""
    grams = Fraction(mg) / MG_PER_G
    pounds = grams / GRAMS_PER_LB
    if grams >= MG_PER_G:
        return f"{show_number(grams / MG_PER_G, 3)} kg ({show_number(pounds, 2)} lb)"
    return f"{show_number(grams, 2)} g ({show_number(16 * pounds, 2)} oz)"


def volume(litres: Fraction) -> str:
    return f"{show_number(litres, 2)} L ({show_number(litres / LITRE_PER_US_GALLON, 2)} US gal)"


# --- brine ----------------------------------------------------------------------------------------


def brine_answer(pct: Fraction, temp: int, got: str, left: Fraction = Fraction(0)) -> Answer:
    """A brine of this strength at a temperature, in each way that it is said."""
    return Answer(
        "Strength",
        f"{show_number(salometer_deg(pct), 1, 1)} °SAL",
        f"100 × {percent(pct)} ÷ 26.395 %: a brine saturated at 60 °F is 100 °SAL",
        (
            Row("Salt by weight", percent(pct), got),
            Row(
                "Salt to each litre of water",
                f"{show_number(grams_per_litre_of_water(pct), 1)} g",
                "the water's weight × salt % ÷ (100 − salt %); water measured at 60 °F weighs 0.999 kg/L",
            ),
            Row(
                "Salt to each US gallon of water",
                f"{show_number(pounds_per_us_gallon_of_water(pct), 3)} lb",
                "the same, with 3.785 L to the gallon and 453.6 g to the pound",
            ),
            *_physical(pct, temp),
        ),
        _left_words(left),
    )


def _physical(pct: Fraction, temp: int) -> tuple[Row, ...]:
    point = freezing(pct)
    return (
        Row(
            f"Density at {show_both(temp)}",
            f"{show_number(density_kg_m3(pct, temp), 1)} kg/m³",
            "tables of the CRC Handbook, between their points",
        ),
        Row(
            "Specific gravity (60/60 °F)",
            show_number(specific_gravity(pct), 4, 3),
            "density at 60 °F over that of water at 60 °F",
        ),
        Row(
            "Begins to freeze at",
            show_both(point) if point is not None else "no freezing point",
            "table of the CRC Handbook, straight between its points"
            if point is not None
            else f"above {percent(EUTECTIC)} salt comes out first, not ice",
        ),
        Row(
            f"Most that dissolves at {show_both(temp)}",
            percent(most_salt_pct(temp)),
            "solubility table of the Salt Institute, straight between its points",
        ),
    )


def _left_words(left: Fraction) -> tuple[str, ...]:
    if left <= 0:
        return ()
    return (
        f"About {mass(left)} of the salt lies undissolved at the bottom: it counts in no figure here.",
    )


def reading_answer(
    deg: Fraction, read: Fraction, brine_temp: int, reference: int, full_scale: Fraction
) -> Answer:
    """What a salometer's reading stands for, corrected."""
    pct = deg * SATURATED / PER_CENT
    notes = ["Sugar and whatever else is dissolved lift the float too, and read as salt."]
    if not 0 <= pct <= most_salt_pct(brine_temp):
        notes.insert(
            0,
            "No brine at this temperature has that strength: read both again, and look which scale "
            "the instrument has.",
        )
    return Answer(
        "True strength",
        f"{show_number(deg, 1, 1)} °SAL",
        f"read {show_number(read, 1)} in brine at {show_both(brine_temp)}; the scale is right at {show_both(reference)} and "
        f"its 100 stands for {percent(full_scale, 3)} salt: the brine that is as dense at its own temperature",
        (
            Row("Salt by weight", percent(pct), f"26.395 % × {show_number(deg, 1, 1)} ÷ 100"),
            Row(
                "Correction",
                _signed(deg - read * full_scale / SATURATED),
                "true °SAL less what the scale showed, brought to a scale of 26.395 %",
            ),
        ),
        tuple(notes),
    )


def _signed(deg: Fraction) -> str:
    return f"{'+' if deg >= 0 else ''}{show_number(deg, 1, 1)} °SAL"


def prism_answer(pct: Fraction, temp: int, corrects_itself: bool) -> Answer:
    """What a salt refractometer's reading stands for: it is taken as read, where it reads true."""
    how = (
        "it corrects itself at this temperature"
        if corrects_itself
        else "read where its scale is right"
    )
    return Answer(
        "Strength",
        percent(pct),
        f"taken as read: {how} ({show_both(temp)})",
        (
            Row(
                "In degrees salometer",
                f"{show_number(salometer_deg(pct), 1, 1)} °SAL",
                f"100 × {percent(pct)} ÷ 26.395 %",
            ),
        ),
        (
            "Sugar bends light too, and reads as salt. A drop warms or cools to the prism, not to the tank.",
        ),
    )


# --- nitrite --------------------------------------------------------------------------------------


METHOD_WORDS: Final = {
    "equilibrium": "nitrite ÷ (fish + brine): fish and brine come to one strength",
    "pick-up": "nitrite ÷ brine × pick-up: the fish holds as much brine as it gained",
    "dry": "nitrite ÷ fish: all of it goes into the fish",
}
PLANNING_PPM: Final = (
    "Ingoing nitrite is a planning figure. The law's figures are those of the finished fish: only a "
    "laboratory finds them."
)


def nitrite_answer(
    method: str, ppm: Fraction, cure_mg: int, nitrite_mg: Fraction, code: str
) -> Answer:
    """What goes in, for so much curing salt."""
    against, notes = _law(code, ppm)
    return Answer(
        "Ingoing sodium nitrite",
        f"{show_number(ppm, 0)} ppm",
        f"{METHOD_WORDS[method]}; on the fish's green weight",
        (
            Row(
                "Nitrite in it",
                mass(nitrite_mg),
                f"curing salt {mass(cure_mg)} × its share of nitrite",
            ),
            Row("Salt that it brings", mass(cure_mg - nitrite_mg), "curing salt less its nitrite"),
        ),
        (*notes, PLANNING_PPM),
        against,
    )


def cure_answer(method: str, wanted: Fraction, needed: CureNeeded, code: str) -> Answer:
    """How much curing salt a wanted ppm asks for."""
    against, notes = _law(code, wanted)
    return Answer(
        f"Curing salt for {show_number(wanted, 0)} ppm",
        f"{show_number(needed.cure_mg / MG_PER_G, 1)} g",
        f"solved back from {METHOD_WORDS[method]}",
        (
            Row("The same", mass(needed.cure_mg), "in pounds and ounces; weigh it in grams"),
            Row("Nitrite in it", mass(needed.nitrite_mg), "curing salt × its share of nitrite"),
            Row(
                "Salt that it brings",
                mass(needed.salt_mg),
                "curing salt less its nitrite: take as much less of the other salt",
            ),
        ),
        (*notes, PLANNING_PPM),
        against,
    )


def _law(code: str, ppm: Fraction) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(what speaks against it, what to know) of nitrite in a species, by each jurisdiction's table."""
    if not code:
        return (), ("Choose the fish to see whether nitrite is permitted in it.",)
    against, notes = [], []
    for table in cure_tables():
        rule = cure_rule(code, table.rules)
        if rule is None:
            against.append(
                f"{table.name}: {not_permitted(fish_name(code), table.rules, table.rule)}"
            )
        else:
            notes.append(_permitted(rule, table.name))
            against += _beyond(rule, ppm)
    return tuple(against), tuple(notes)


def _permitted(rule: CureRule, law: str) -> str:
    asks = "; ".join(part for part in (rule.heat, rule.cooling) if part)
    flag = f" This row is {rule.flag}." if rule.flag == "to be confirmed" else ""
    return (
        f"{law}: in {rule.words} {rule.bounds} in the finished fish ({rule.rule})"
        f"{f', with {asks}' if asks else ''}.{flag}"
    )


def _beyond(rule: CureRule, ppm: Fraction) -> list[str]:
    if ppm * MILLIONTHS > rule.at_most:
        return [
            f"{show_number(ppm, 0)} ppm going in is above what the finished fish may hold, {rule.bounds} ({rule.rule})."
        ]
    if rule.at_least is not None and ppm * MILLIONTHS < rule.at_least:
        return [
            f"{show_number(ppm, 0)} ppm going in is below what the finished fish must hold, {rule.bounds} ({rule.rule})."
        ]
    return []


def fish_name(code: str) -> str:
    """A species as people call it."""
    names = {row["code"]: str(row["english_name"]) for row in species()}
    return names.get(code, code)


# --- a batch made larger or smaller ---------------------------------------------------------------


def scaled_answer(before: Batch, after: Batch, temp: int) -> Answer:
    """A batch as it is to be weighed."""
    factor = Fraction(after.total_mg, before.total_mg)
    rows = tuple(
        Row(part.name.capitalize(), mass(part.mg), f"{mass(old.mg)} × {show_number(factor, 4)}")
        for old, part in zip(before.parts, after.parts, strict=True)
    )
    notes = (
        "Each part is rounded to the milligram; weigh as finely as the scale goes, curing salt to the gram or finer.",
    )
    figure, other = mass(after.total_mg).split(" (")
    whole = figure, f"{other.rstrip(')')}; the sum of the parts"
    if after.method != "brine":
        return Answer("All together", *whole, rows, notes)
    figures = brine_figures(after, temp)
    rows += (
        Row(
            f"Fills at {show_both(temp)}",
            volume(volume_litres(after, temp)),
            "weight of salt and water over the density of that brine; sugar by what it takes in water",
        ),
        Row(
            "Strength",
            f"{percent(figures.salt_pct)}, {show_number(figures.salometer_deg, 1, 1)} °SAL",
            "salt ÷ (salt + water)",
        ),
    )
    if figures.nitrite_ppm:
        rows += (
            Row(
                "Nitrite in the brine",
                f"{show_number(figures.nitrite_ppm, 0)} ppm",
                "nitrite ÷ the whole batch",
            ),
        )
    return Answer("All together", *whole, rows, notes)


# --- salt in the fish -----------------------------------------------------------------------------


def water_phase_answer(salt: Fraction, moisture: Fraction, wps: Fraction) -> Answer:
    return Answer(
        "Water-phase salt",
        percent(wps),
        f"100 × {show_number(salt, 3)} ÷ ({show_number(salt, 3)} + {show_number(moisture, 3)}): salt ÷ (salt + moisture)",
        notes=(
            "Where there are several samples, the lowest governs, never the mean. Whether it will do, the "
            "plan's critical limit says.",
        ),
    )


NO_PROOF: Final = "Neither figure is proof: what a laboratory finds in the finished fish is, in the thickest piece."


def ahead_answer(found: Ahead, method: str) -> Answer:
    """What a brine or a dry salting can do for the fish at the very best, and what would do."""
    share = show_number(found.ratio, 2)
    over, what = (
        ("(salt + water of the brine + water of the fish)", "brine")
        if method == "brine"
        else ("(salt + water of the fish)", "salt")
    )
    rows = [
        Row("This strength", _strength(found), "salt ÷ (salt + water)")
        if method == "brine"
        else Row("Salt to 1 of fish", share, "by weight"),
        Row("Dried for the target", _dried(found), _dried_how(found)),
    ]
    if not found.reaches:
        rows += _would_do(found, method)
    verdict = (
        f"The target of {percent(found.target_pct)} can be reached in it, given time enough; whether it is, nothing here shows."
        if found.reaches
        else f"The target of {percent(found.target_pct)} cannot be reached in it before drying, however long the fish lies in it."
    )
    keep = (
        ()
        if found.reaches
        else ("Or keep the packs frozen until they are used, and say so on the label.",)
    )
    return Answer(
        "Highest water-phase salt, before any drying",
        percent(found.wps_pct),
        f"all of the salt ÷ {over}, with {share} of {what} to 1 of fish: everything at one strength, which takes days",
        tuple(rows),
        (verdict, *keep, NO_PROOF),
    )


def _strength(found: Ahead) -> str:
    deg = PER_CENT * found.batch_pct / SATURATED
    return f"{percent(found.batch_pct)}, {show_number(deg, 1, 1)} °SAL"


def _dried(found: Ahead) -> str:
    if found.reaches:
        return "not needed for it"
    if found.dry_to is None:
        return "no drying would do"
    return f"to {percent(-round_up(-found.dry_to.moisture_pct, 1), 1)} moisture"


def _dried_how(found: Ahead) -> str:
    if found.dry_to is None or found.reaches:
        return "salt stays, water goes"
    return (
        f"salt stays, water goes: at most {percent(found.dry_to.yield_pct, 1)} of the brined weight is "
        f"left then; the raw fish has {percent(found.moisture_pct, 1)} moisture"
    )


def _would_do(found: Ahead, method: str) -> list[Row]:
    rows = []
    if method == "brine":
        strong = found.strength_sal
        rows.append(
            Row(
                "A stronger brine",
                "none of this amount is strong enough"
                if strong is None
                else f"at least {show_number(round_up(strong, 1), 1, 1)} °SAL ({percent(round_up(found.strength_pct or Fraction(0), 2))})",
                f"with {show_number(found.ratio, 2)} to 1 of fish, at full equilibrium",
            )
        )
        rows.append(
            Row(
                "More of this brine",
                "no amount would do"
                if found.ratio_needed is None
                else f"at least {show_number(round_up(found.ratio_needed, 2), 2)} to 1 of fish",
                "by weight of salt and water, at full equilibrium",
            )
        )
    rows.append(
        Row(
            "Dry salting",
            f"at least {round_up(found.dry_salt_g)} g of salt to each kg of fish",
            "if all of it goes in and no water is drawn: the least that could do",
        )
    )
    return rows
