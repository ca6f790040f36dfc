"""Water-phase salt, full equilibrium, drying and what would do instead, by hand and both ways."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lots.core.salt_water import SATURATED
from lots.core.salting import (
    Ahead,
    BadSalting,
    ahead,
    dry_salt_for,
    drying_to,
    equilibrium,
    strength_for,
    water_phase_salt,
)

MOISTURE = st.integers(40, 85)
TARGET = st.fractions(Fraction(1), Fraction(10))
RATIO = st.fractions(Fraction(1, 2), Fraction(10))
SALTED = st.fractions(Fraction(1, 10), Fraction(20))


@dataclass
class Mix:
    method: str
    salt_mg: int
    water_mg: int
    other_mg: int = 0

    @property
    def total_mg(self) -> int:
        return self.salt_mg + self.water_mg + self.other_mg


def brine(pct: Fraction | int, kilograms: int) -> Mix:
    salt = int(Fraction(pct) * kilograms * 10_000)
    return Mix("brine", salt, kilograms * 1_000_000 - salt)


# --- water-phase salt -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("salt", "moisture", "wps"),
    [("2.0", "70", "2.7778"), ("3.0", "60", "4.7619"), ("2.1762", "60", "3.5001"), ("1.8", "68", "2.5788")],
)  # fmt: skip
def test_water_phase_salt_is_salt_of_salt_and_water(salt: str, moisture: str, wps: str) -> None:
    """The formula of FDA Fish and Fishery Products Hazards and Controls Guidance, chapter 13."""
    found = water_phase_salt(Fraction(salt), Fraction(moisture))
    assert round(found, 4) == Fraction(wps)


@pytest.mark.parametrize(
    ("salt", "moisture", "said"),
    [(31, 70, "over 100 %"), (-1, 70, "below nothing"), (1, -1, "below nothing"), (0, 0, "both nothing")],
)  # fmt: skip
def test_salt_and_moisture_that_cannot_be_are_refused(salt: int, moisture: int, said: str) -> None:
    with pytest.raises(BadSalting, match=said):
        water_phase_salt(salt, moisture)


def test_salt_and_moisture_of_exactly_100_are_taken() -> None:
    assert water_phase_salt(30, 70) == 30


# --- full equilibrium -----------------------------------------------------------------------------


def test_fish_and_brine_come_to_one_strength() -> None:
    """By hand: 0.5 kg of salt in 9.5 kg of water on 10 kg of fish of 70 %: 0.5 / (0.5 + 9.5 + 7)."""
    assert equilibrium(500_000, 9_500_000, 10_000, 70) == Fraction(100 * 5, 170)


def test_the_fishs_own_salt_counts() -> None:
    """By hand: 0.3 % of 10 kg is 30 g more of salt."""
    assert equilibrium(500_000, 9_500_000, 10_000, 70, Fraction("0.3")) == Fraction(100 * 53, 1703)


def test_a_dry_salting_leaves_all_its_salt_in_the_fish() -> None:
    """By hand: 300 g on 10 kg of 70 %: 0.3 / 7.3."""
    assert equilibrium(300_000, 0, 10_000, 70) == Fraction(100 * 3, 73)


def test_salt_that_does_not_dissolve_does_not_go_in() -> None:
    """100 °SAL, 26.395 %, is all that water holds at 60 °F (the salometer tables)."""
    assert equilibrium(5_000_000, 0, 10_000, 70) == SATURATED


@given(MOISTURE, st.integers(1, 25), RATIO)
def test_no_fish_comes_above_its_brine(moisture: int, pct: int, ratio: Fraction) -> None:
    salt, water = ratio * pct * 10_000, ratio * (100 - pct) * 10_000
    assert equilibrium(salt, water, 1000, moisture) < pct


@given(MOISTURE, TARGET, RATIO)
def test_the_strength_that_would_do_does(moisture: int, target: Fraction, ratio: Fraction) -> None:
    pct = strength_for(target, ratio, moisture)
    assume(pct < 100)
    salt, water = ratio * pct * 10_000, ratio * (100 - pct) * 10_000
    assert equilibrium(salt, water, 1000, moisture) == target


@given(MOISTURE, TARGET, st.fractions(0, Fraction(1, 2)))
def test_the_dry_salt_that_would_do_does(moisture: int, target: Fraction, own: Fraction) -> None:
    grams = dry_salt_for(target, moisture, own)
    itself = water_phase_salt(own, moisture)
    assert equilibrium(grams * 1000, 0, 1000, moisture, own) == max(target, itself)


def test_fish_salt_enough_by_itself_needs_none() -> None:
    assert dry_salt_for(3, 50, 5) == 0


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ((1, 1, 0, 70), "what the fish weighs"),
        ((-1, 1, 1, 70), "not below nothing"),
        ((1, -1, 1, 70), "not below nothing"),
        ((1, 1, 1, 0), "moisture of the raw fish"),
        ((1, 1, 1, 100), "moisture of the raw fish"),
        ((1, 1, 1, 70, 31), "over 100 %"),
        ((1, 1, 1, 70, -1), "over 100 %"),
    ],
)
def test_an_equilibrium_of_figures_that_cannot_be_is_refused(
    figures: tuple[Any, ...], said: str
) -> None:
    with pytest.raises(BadSalting, match=said):
        equilibrium(*figures)


# --- drying ---------------------------------------------------------------------------------------


def test_how_far_fish_is_dried_for_the_target() -> None:
    """By hand: 100 g of raw fish of 70 % at 2 % water-phase salt holds 70/49 g of salt and 30 g of dry
    matter; for 3.5 % its water comes down to 70/49 × 96.5/3.5 = 39.388 g of 70.816 g in all."""
    found = drying_to(2, 70, Fraction("3.5"))
    assert found is not None
    assert round(found.moisture_pct, 3) == Fraction("55.62")
    assert round(found.yield_pct, 2) == Fraction("69.82")


@given(MOISTURE, SALTED, TARGET)
def test_fish_dried_so_far_comes_to_the_target(
    moisture: int, wps: Fraction, target: Fraction
) -> None:
    found = drying_to(wps, moisture, target)
    assert found is not None
    salt = moisture * wps / (100 - wps)
    after = 100 * salt / ((100 + salt) * found.yield_pct / 100)  # per cent of the dried fish
    reached = water_phase_salt(after, found.moisture_pct)
    assert reached == max(wps, target)
    assert found.yield_pct == 100 or wps < target


def test_fish_without_salt_is_dried_to_no_target() -> None:
    assert drying_to(0, 70, 3) is None


@pytest.mark.parametrize("figures", [(-1, 70, 3), (100, 70, 3), (2, 70, 0), (2, 70, 100)])
def test_a_drying_of_figures_that_cannot_be_is_refused(figures: tuple[int, int, int]) -> None:
    with pytest.raises(BadSalting, match="between 0 and 100"):
        drying_to(*figures)


# --- before the fish goes in ----------------------------------------------------------------------


def test_a_household_brine_of_three_per_cent_cannot_reach_a_vacuum_packs_salt() -> None:
    """By hand: 10 kg of 3 % on 10 kg of fish of 72 %: 0.3 / 17.2 = 1.744 %; for 3.5 % the brine would need
    3.5 % of 17.2 kg in 10 kg, 6.02 % or 22.81 °SAL, or 26.1 g of dry salt for a kilogram."""
    found = ahead(brine(3, 10), None, 10_000, 72, Fraction("3.5"))
    assert not found.reaches
    assert round(found.wps_pct, 3) == Fraction("1.744")
    assert (found.ratio, found.batch_pct) == (1, 3)
    assert found.strength_pct == Fraction("6.02")
    assert found.strength_sal is not None
    assert round(found.strength_sal, 2) == Fraction("22.81")
    assert found.ratio_needed is None  # the brine itself is weaker than the target
    assert round(found.dry_salt_g, 1) == Fraction("26.1")
    assert found.dry_to is not None
    assert round(found.dry_to.moisture_pct, 2) == Fraction("54.62")


def test_a_stronger_brine_too_small_for_the_fish_says_how_much_would_do() -> None:
    """By hand: 6 % for 10 kg of 72 %: 3.5 % × 0.72 / 2.5 % = 1.008 of brine to one of fish."""
    found = ahead(brine(6, 5), None, 10_000, 72, Fraction("3.5"))
    assert not found.reaches
    assert found.ratio_needed == Fraction("1.008")
    enough = ahead(brine(6, 11), None, 10_000, 72, Fraction("3.5"))
    assert enough.reaches
    assert enough.dry_to is not None
    assert enough.dry_to.yield_pct == 100  # nothing has to be dried


def test_only_the_part_of_the_batch_that_is_on_the_fish_counts_and_sugar_does_not() -> None:
    whole = ahead(brine(6, 10), None, 10_000, 72, 3)
    sweet = Mix("brine", 1_200_000, 18_800_000, other_mg=20_000_000)
    assert ahead(brine(6, 20), 10_000, 10_000, 72, 3) == whole
    assert ahead(sweet, 20_000, 10_000, 72, 3) == whole


def test_no_brine_is_strong_enough_where_there_is_too_little_of_it() -> None:
    found = ahead(brine(20, 1), None, 10_000, 72, Fraction("3.5"))
    assert found.strength_pct is None
    assert found.strength_sal is None
    needs = strength_for(Fraction("3.5"), Fraction(1, 10), 72)
    assert needs > SATURATED


def test_a_batch_without_salt_and_water_still_says_what_would_do() -> None:
    found = ahead(Mix("dry salt", 0, 0, other_mg=1000), None, 1000, 70, 3)
    assert (found.wps_pct, found.ratio, found.strength_pct, found.dry_to) == (0, 0, None, None)
    assert found.dry_salt_g > 0


def test_an_empty_batch_is_refused() -> None:
    with pytest.raises(BadSalting, match="weighs nothing"):
        ahead(Mix("brine", 0, 0), None, 1000, 70, 3)


@given(st.integers(1, 25), st.integers(1, 20), MOISTURE, TARGET)
def test_what_would_do_does(pct: int, kilograms: int, moisture: int, target: Fraction) -> None:
    def highest(salt: Fraction, water: Fraction) -> Fraction:
        return equilibrium(salt, water, 10_000, moisture)

    found: Ahead = ahead(brine(pct, kilograms), None, 10_000, moisture, target)
    if found.strength_pct is not None:
        solution = found.ratio * 10_000_000
        share = found.strength_pct / 100
        assert highest(share * solution, (1 - share) * solution) == target
    if found.ratio_needed is not None:
        solution = found.ratio_needed * 10_000_000
        salt = solution * found.batch_pct / 100
        assert highest(salt, solution - salt) == target
        assert found.reaches == (found.ratio >= found.ratio_needed)
    else:
        assert not found.reaches
