"""The figures of a brine: strength in each way that it is said, density, freezing point, nitrite.

The sums of salt in water are those of `salt_water`, and may be taken from here as well.
"""

from dataclasses import dataclass
from fractions import Fraction

from lots.core.batch import SUGAR_ML_PER_G, BadBatch, Batch, dissolved_mg
from lots.core.salt_water import (
    FULL_SCALE,
    KG_M3_PER_G_ML,
    SATURATED,
    SIXTY_F,
    density_kg_m3,
    freezing,
    grams_per_litre_of_water,
    most_salt_pct,
    pct_of_salometer,
    pounds_per_us_gallon_of_water,
    refractometer,
    salometer_at,
    salometer_deg,
    salometer_reading,
    salt_pct,
    specific_gravity,
    true_salometer,
)
from lots.core.units import MG_PER_G, MILLIONTHS

__all__ = [
    "FULL_SCALE",
    "SATURATED",
    "SIXTY_F",
    "BrineFigures",
    "brine_figures",
    "density_kg_m3",
    "expected_reading",
    "freezing",
    "grams_per_litre_of_water",
    "most_salt_pct",
    "pct_of_salometer",
    "pounds_per_us_gallon_of_water",
    "refractometer",
    "salometer_deg",
    "salometer_reading",
    "salt_pct",
    "specific_gravity",
    "true_salometer",
]


@dataclass(frozen=True, slots=True)
class BrineFigures:
    """What a brine is at a temperature.  All figures but `mixed_pct` and `nitrite_ppm` are of what dissolves."""

    temp: int  # ninths
    mixed_pct: Fraction  # % salt as weighed: salt over salt and water
    salt_pct: Fraction  # % salt in the solution: no more than dissolves
    saturated: bool  # part of the salt stays on the ground
    salometer_deg: Fraction  # °SAL
    grams_per_litre_of_water: Fraction
    pounds_per_us_gallon_of_water: Fraction
    specific_gravity: Fraction  # 60/60 °F
    density_kg_m3: Fraction  # at temp
    freezing: int | None  # ninths; None beyond the eutectic
    most_salt_pct: Fraction  # what would dissolve at temp
    nitrite_ppm: Fraction  # mg of sodium nitrite in each kg of the whole batch
    left_out: tuple[str, ...]  # names of parts that strength, density and freezing point leave out


def brine_figures(batch: Batch, temp: int) -> BrineFigures:
    """The figures of a brine; strength errs to the lower side where salt does not dissolve.

    Args:
        batch: of method "brine", with water and salt.
        temp: ninths, −15 °C to 60 °C.
    Raises:
        BadBatch: a dry salting, or no water.
        BadQuantity: a temperature outside.
    """
    salt = dissolved_mg(batch, temp)
    if not salt:
        raise BadBatch("A brine has salt in it.")
    pct = salt_pct(salt, batch.water_mg)
    return BrineFigures(
        temp=temp,
        mixed_pct=salt_pct(batch.salt_mg, batch.water_mg),
        salt_pct=pct,
        saturated=salt < batch.salt_mg,
        salometer_deg=salometer_deg(pct),
        grams_per_litre_of_water=grams_per_litre_of_water(pct),
        pounds_per_us_gallon_of_water=pounds_per_us_gallon_of_water(pct),
        specific_gravity=specific_gravity(pct),
        density_kg_m3=density_kg_m3(pct, temp),
        freezing=freezing(pct),
        most_salt_pct=most_salt_pct(temp),
        nitrite_ppm=MILLIONTHS * batch.nitrite_mg / batch.total_mg,
        left_out=tuple(part.name for part in batch.parts if part.kind in ("sugar", "other")),
    )


def expected_reading(
    batch: Batch,
    temp: int,
    reference_temp: int = SIXTY_F,
    full_scale_pct: Fraction = SATURATED,
) -> Fraction:
    """What a salometer should show in the batch at a temperature, on its own scale.

    Sugar lifts the float too: it is reckoned in by what it takes in water.  Other parts are not, so with
    much of them the float stands higher than this.

    Args:
        batch, temp: as for `brine_figures`.
        reference_temp, full_scale_pct: the instrument's.
    Returns:
        Degrees; above 100 where the float would stand beyond its scale.
    Raises:
        BadBatch, BadQuantity: as `brine_figures`.
    """
    salt = dissolved_mg(batch, temp)
    solution = Fraction(salt + batch.water_mg, MG_PER_G)
    sugar = Fraction(batch.sugar_mg, MG_PER_G)
    plain = density_kg_m3(salt_pct(salt, batch.water_mg), temp)
    ml = solution * KG_M3_PER_G_ML / plain + sugar * SUGAR_ML_PER_G
    floats = KG_M3_PER_G_ML * (solution + sugar) / ml
    return salometer_at(floats, reference_temp, full_scale_pct)
