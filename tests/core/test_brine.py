"""The figures of a brine batch, and what a salometer should show in it."""

from fractions import Fraction

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from lots.core.batch import BadBatch, Batch, part_from
from lots.core.brine import (
    SATURATED,
    SIXTY_F,
    brine_figures,
    density_kg_m3,
    expected_reading,
    most_salt_pct,
    salometer_reading,
    true_salometer,
)
from lots.core.units import BadQuantity, to_ninths

SALT_20 = "INCOMP::MNA[0.20]"  # the independent library's name of 20 % sodium chloride
COLD = to_ninths("38", "F")


def brine(salt: str = "2", *more: tuple[str, str, str], water: str = "8") -> Batch:
    parts = [
        part_from("water", "water", water, "kg"),
        part_from("salt", "pickling salt", salt, "kg"),
    ]
    for kind, name, kg in more:
        share = "6.25 %" if kind == "curing salt" else ""
        parts.append(part_from(kind, name, kg, "kg", nitrite=share))
    return Batch("brine", tuple(parts))


def test_a_fifth_of_salt_has_the_figures_of_a_20_per_cent_brine() -> None:
    got = brine_figures(brine("2"), COLD)
    assert (got.salt_pct, got.mixed_pct, got.saturated) == (20, 20, False)
    assert got.salometer_deg == 2000 / SATURATED
    assert got.freezing == to_ninths("-16.46", "C")  # CRC Handbook
    # 250 g to a kilogram of water, of which a litre at 60 °F weighs 0.99902
    assert abs(got.grams_per_litre_of_water - Fraction("249.755")) < Fraction("0.01")
    assert abs(got.pounds_per_us_gallon_of_water - Fraction("2.0843")) < Fraction("0.0002")
    library = {f: PropsSI("D", "T", (f + 459.67) / 1.8, "P", 101325, SALT_20) for f in (38, 60)}
    assert abs(got.density_kg_m3 - Fraction(library[38])) < Fraction("0.3")
    assert abs(got.specific_gravity - Fraction(library[60]) / Fraction("999.016")) < Fraction(
        "0.0003"
    )
    assert (got.nitrite_ppm, got.left_out) == (0, ())


def test_curing_salt_counts_as_salt_but_for_its_nitrite() -> None:
    got = brine_figures(brine("1.85", ("curing salt", "pink salt", "0.16")), COLD)
    assert got.salt_pct == 20  # 1.85 kg and 150 g of 160
    assert got.nitrite_ppm == Fraction(10_000 * 1_000_000, 10_010_000)  # 10 g in 10.01 kg of brine


def test_sugar_and_spice_are_left_out_of_the_strength_and_said_so() -> None:
    plain = brine_figures(brine("2"), COLD)
    sweet = brine_figures(brine("2", ("sugar", "brown sugar", "1"), ("other", "dill", "0.1")), COLD)
    assert sweet.left_out == ("brown sugar", "dill")
    assert (sweet.salt_pct, sweet.freezing) == (plain.salt_pct, plain.freezing)


def test_a_brine_is_no_stronger_than_what_dissolves() -> None:
    got = brine_figures(brine("5"), COLD)
    assert got.saturated
    assert got.mixed_pct == Fraction(500, 13)
    assert got.salt_pct == got.most_salt_pct == most_salt_pct(COLD)
    assert got.freezing is None
    assert not brine_figures(brine("2.8"), COLD).saturated


@pytest.mark.parametrize(
    "batch",
    [
        Batch("dry salt", (part_from("salt", "salt", "2", "kg"),)),
        Batch("brine", (part_from("salt", "salt", "2", "kg"),)),
        Batch("brine", (part_from("water", "water", "2", "kg"),)),
    ],
)
def test_what_is_no_brine_has_no_figures(batch: Batch) -> None:
    with pytest.raises(BadBatch):
        brine_figures(batch, COLD)


def test_a_temperature_that_is_not_known_is_refused() -> None:
    with pytest.raises(BadQuantity, match="outside what the density"):
        brine_figures(brine(), to_ninths("-16", "C"))


def test_a_float_should_show_what_salt_and_water_give() -> None:
    assert expected_reading(brine("2"), SIXTY_F) == 2000 / SATURATED
    assert expected_reading(brine("2"), COLD) == salometer_reading(Fraction(20), COLD)
    assert expected_reading(brine("2"), SIXTY_F, SIXTY_F, Fraction(25)) == 80


def test_sugar_lifts_the_float_as_its_density_does() -> None:
    # CRC Handbook: 10 % sucrose at 20 °C is 1.0381 g/cm³, and 5.59 % salt is 1.0383
    room = to_ninths("20", "C")
    sugar_water = Batch(
        "brine", (part_from("water", "water", "9", "kg"), part_from("sugar", "sugar", "1", "kg"))
    )
    shown = expected_reading(sugar_water, room, room)
    assert abs(density_kg_m3(shown * SATURATED / 100, room) - Fraction("1038.1")) < Fraction("0.4")
    # 10 kg of 20 % brine fill 8.66 L at 38 °F and 1 kg of sugar 0.62 L more: 1.186 kg/L, some 94°
    sweet = brine("2", ("sugar", "sugar", "1"))
    assert 13 < expected_reading(sweet, COLD) - expected_reading(brine("2"), COLD) < 16


@given(
    st.fractions(Fraction(1, 10), Fraction(27, 10), max_denominator=100), st.integers(0, 360_000)
)
def test_what_a_float_should_show_is_truly_the_brines_strength(kg: Fraction, temp: int) -> None:
    batch = brine(str(float(kg)))
    figures = brine_figures(batch, temp)
    shown = expected_reading(batch, temp)
    if not figures.saturated and 0 <= shown <= 100:
        assert true_salometer(shown, temp) == figures.salometer_deg
