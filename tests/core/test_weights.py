"""Weights through the stages: yields, what left meanwhile, what was weighed only in part."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.core.units import BadQuantity
from lots.core.weights import (
    BRINED,
    SMOKED,
    STAGES,
    Gone,
    MassBalance,
    Typed,
    Weighed,
    between,
    typed_weight,
    yields,
)


@pytest.mark.parametrize(
    ("text", "unit", "typed"),
    [
        ("12.5", "kg", Typed("12.5", "kg", 12_500)),
        ("12,5 kg", "lb", Typed("12,5", "kg", 12_500)),
        ("27 lbs", "kg", Typed("27", "lb", 12_247)),
        ("500 g", "kg", Typed("500", "g", 500)),
        ("8 oz", "kg", Typed("8", "oz", 227)),
    ],
)
def test_a_weight_is_read_with_its_unit(text: str, unit: str, typed: Typed) -> None:
    # 1 lb = 453.59237 g exactly (NIST SP 811): 27 lb is 12,246.99 g
    assert typed_weight(text, unit) == typed


@pytest.mark.parametrize("text", ["", "kg", "12 st", "-5 kg", "1e9", "9999999999 kg"])
def test_what_is_no_weight_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity):
        typed_weight(text, "kg")


WAY = (
    Weighed("smoked", 12_000, 50),
    Weighed("received", 20_000, 10),
    Weighed("trimmed", 15_000, 20),
    Weighed("brined", 15_600, 30),
    Weighed("packed", 11_700, 60),
)


def test_each_stage_is_held_against_the_one_before() -> None:
    found = {one.stage: one for one in yields(WAY, ())}
    assert list(found) == list(STAGES)
    assert found["received"].share is None
    assert found["trimmed"].share == Fraction(3, 4)
    assert found["trimmed"].gone_g == 5_000
    assert found["brined"].share == Fraction("1.04")
    assert found["brined"].gained
    assert not found["smoked"].gained
    assert found["packed"].whole == Fraction(11_700, 20_000)


def test_the_same_weight_again_is_no_gain() -> None:
    found = yields((Weighed("received", 10, 0), Weighed("trimmed", 10, 1)), ())
    assert not found[1].gained
    assert found[1].gone_g == 0


def test_what_left_meanwhile_is_no_loss_of_the_work() -> None:
    gone = (Gone(5_000, 25), Gone(4_000, 5), Gone(1_000, 55))
    found = {one.stage: one for one in yields(WAY, gone)}
    assert found["trimmed"].of_grams == 20_000  # what left before it was weighed in
    assert found["brined"].of_grams == 10_000
    assert found["packed"].of_grams == 11_000
    assert found["packed"].gained


def test_what_left_at_the_moment_of_a_weighing_left_before_it() -> None:
    found = yields((Weighed("received", 10, 0), Weighed("trimmed", 6, 8)), (Gone(4, 8),))
    assert found[1].of_grams == 6


def test_a_stage_weighed_in_part_has_no_yield_and_is_passed_over() -> None:
    rows = (WAY[1], Weighed("brined", 7_000, 30, "1 of 2 loads"), Weighed("smoked", 14_000, 50))
    found = {one.stage: one for one in yields(rows, ())}
    assert found["brined"].share is None
    assert found["smoked"].before == "received"
    assert found["smoked"].share == Fraction(7, 10)
    assert between(found.values(), BRINED, SMOKED) is None


def test_a_part_that_is_more_than_all_there_was_is_a_gain() -> None:
    rows = (WAY[1], Weighed("brined", 20_001, 30, "1 of 2 loads"))
    assert yields(rows, ())[1].gained


def test_nothing_left_to_weigh_has_no_share() -> None:
    found = yields((Weighed("received", 10, 0), Weighed("smoked", 3, 8)), (Gone(10, 4),))
    assert (found[1].of_grams, found[1].share, found[1].whole) == (0, None, None)


def test_the_drying_is_what_smoking_left_of_the_brined_fish() -> None:
    assert between(yields(WAY, ()), BRINED, SMOKED) == Fraction(12_000, 15_600)
    assert between(yields(WAY[:2], ()), BRINED, SMOKED) is None


@given(st.lists(st.integers(1, 10**6), min_size=5, max_size=5))
def test_the_shares_multiply_to_the_whole(grams: list[int]) -> None:
    rows = [
        Weighed(stage, one, at) for at, (stage, one) in enumerate(zip(STAGES, grams, strict=True))
    ]
    found = yields(rows, ())
    product = Fraction(1)
    for one in found[1:]:
        assert one.share is not None
        product *= one.share
    assert found[-1].whole == product == Fraction(grams[-1], grams[0])


@given(st.integers(1, 1000), st.integers(0, 1000), st.integers(1, 1000))
def test_fish_that_leaves_never_lowers_the_yield_of_the_rest(
    came: int, gone: int, out: int
) -> None:
    rows = (Weighed("received", came, 0), Weighed("smoked", out, 9))
    without, with_gone = yields(rows, ())[1].share, yields(rows, (Gone(gone, 5),))[1].share
    assert with_gone is None or (without is not None and with_gone >= without)


def test_the_balance_says_what_was_lost() -> None:
    found = MassBalance(20_000, 5_000, 1_000, 10_500, "packed")
    assert (found.lost, found.lost_share) == (3_500, Fraction(1, 4))
    assert MassBalance(5, 5, 0, 0, "received").lost_share is None
