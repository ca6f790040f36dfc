"""Figures of a batch in words, each beside what it was got from: what pages show, what the record carries,
and what whoever checks the record computes again.

Planning figures all: what a batch can give at the most.  A laboratory's result overrides each of them.
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import Final

from lots.core.batch import Batch
from lots.core.brine import SATURATED, brine_figures
from lots.core.cure import ingoing_of
from lots.core.record_salt import Reckoned
from lots.core.salting import PER_CENT, equilibrium
from lots.core.units import MG_PER_G, MILLIONTHS, show_both, show_grams, show_number

DRY: Final = "dry salt"
TENTHS: Final = 1
HUNDREDTHS: Final = 2
THOUSANDTHS: Final = 3
G_PER_KG: Final = 1000


def _weight(mg: Fraction | int) -> str:
    """In kilograms from one up, else in grams."""
    kg = Fraction(mg) / (MG_PER_G * G_PER_KG)
    return f"{show_number(kg, THOUSANDTHS)} kg" if kg >= 1 else show_grams(mg)


def batch_figures(batch: Batch, temp: int | None) -> tuple[Reckoned, ...]:
    """What a batch is: strength in each way that it is said, density, freezing point, nitrite.

    Args:
        batch: a brine or a dry salting.
        temp: of the brine, ninths; None where nobody took it, and then nothing is said that rests on it.
    Raises:
        BadBatch, BadQuantity: a batch or a temperature that cannot be computed with.
    """
    if batch.method == DRY or temp is None:
        return tuple(_weighed(batch))
    return tuple(_brine(batch, temp))


def _weighed(batch: Batch) -> Iterator[Reckoned]:
    how = "salt, and curing salt less its nitrite"
    yield Reckoned("salt in it", _weight(batch.salt_mg), how)
    if batch.nitrite_mg:
        yield Reckoned("sodium nitrite in it", _weight(batch.nitrite_mg), "of the curing salt")


def _brine(batch: Batch, temp: int) -> Iterator[Reckoned]:
    found = brine_figures(batch, temp)
    at = show_both(temp)
    weights = f"{_weight(batch.salt_mg)} of salt in {_weight(batch.water_mg)} of water"
    if found.saturated:
        mixed = f"{show_number(found.mixed_pct, HUNDREDTHS)} %"
        yield Reckoned("salt as mixed", mixed, f"{weights}: more than dissolves at {at}")
    strength = f"{show_number(found.salt_pct, HUNDREDTHS)} %"
    yield Reckoned(
        "salt, of salt and water",
        strength,
        weights if not found.saturated else f"all that dissolves at {at}",
    )
    deg = f"{show_number(found.salometer_deg, TENTHS, 1)} °SAL"
    yield Reckoned(
        "strength", deg, f"of {show_number(SATURATED, THOUSANDTHS)} % salt at 100 °SAL, 60 °F"
    )
    litre = f"{show_number(found.grams_per_litre_of_water, TENTHS, 1)} g in a litre of water"
    gallon = f"{show_number(found.pounds_per_us_gallon_of_water, THOUSANDTHS)} lb in a US gallon of water"
    yield Reckoned("salt to water", litre, gallon)
    density = f"{show_number(found.density_kg_m3, TENTHS, 1)} kg/m³"
    gravity = (
        f"specific gravity {show_number(found.specific_gravity, THOUSANDTHS, THOUSANDTHS)} at 60 °F"
    )
    yield Reckoned(f"density at {at}", density, gravity)
    freezing = "below that of any brine" if found.freezing is None else show_both(found.freezing)
    yield Reckoned("begins to freeze at", freezing, "of salt and water alone")
    if batch.nitrite_mg:
        of_all = f"{_weight(batch.nitrite_mg)} in {_weight(batch.total_mg)}"
        yield Reckoned(
            "sodium nitrite in the brine", f"{show_number(found.nitrite_ppm, 0)} ppm", of_all
        )
    if found.left_out:
        yield Reckoned(
            "left out of strength and density",
            ", ".join(found.left_out),
            "a salometer is lifted by them too",
        )


def use_figures(
    batch: Batch, brine_g: int | None, fish_g: int, moisture: int = 0
) -> tuple[Reckoned, ...]:
    """What a batch, or a part of it, is to the fish that lies in it.

    Args:
        brine_g: grams of the batch on this fish; None: all of it.
        fish_g: all the fish in it, grams, above 0.
        moisture: of the raw fish, millionths of a per cent; 0: not known, and nothing rests on it.
    """
    return tuple(_used(batch, brine_g, fish_g, moisture))


def _used(batch: Batch, brine_g: int | None, fish_g: int, moisture: int) -> Iterator[Reckoned]:
    share = Fraction(1) if brine_g is None else Fraction(brine_g * MG_PER_G, batch.total_mg)
    part, fish = batch.total_mg * share, fish_g * MG_PER_G
    salt, water, nitrite = batch.salt_mg * share, batch.water_mg * share, batch.nitrite_mg * share
    on_fish = f"on {_weight(fish)} of fish"
    dry = batch.method == DRY
    if dry:
        pct = show_number(PER_CENT * salt / fish, HUNDREDTHS)
        yield Reckoned("salt to fish", f"{pct} %", f"{_weight(salt)} {on_fish}")
    else:
        ratio = f"{show_number(part / fish, HUNDREDTHS)} : 1"
        yield Reckoned("brine to fish", ratio, f"{_weight(part)} {on_fish}")
    if nitrite:
        ppm = f"{show_number(ingoing_of(batch, fish_g, brine_g), 0)} ppm"
        over = on_fish if dry else f"over fish and brine, {_weight(fish + part)}"
        yield Reckoned("ingoing sodium nitrite", ppm, f"{_weight(nitrite)} {over}")
    if moisture:
        wet = Fraction(moisture, MILLIONTHS)
        highest = f"{show_number(equilibrium(salt, water, fish_g, wet), HUNDREDTHS)} %"
        how = f"fish of {show_number(wet, TENTHS)} % moisture and brine at one strength"
        yield Reckoned(
            "highest water-phase salt before drying",
            highest,
            how if not dry else f"all the salt in fish of {show_number(wet, TENTHS)} % moisture",
        )
