"""What a batch can do, in words: no claim that anything is safe, and figures rounded against the processor."""

from fractions import Fraction

import pytest

from lots.core.salting import Ahead, ahead
from lots.core.salting_words import FROZEN, PROOF, ahead_words
from tests.core.test_salting import Mix, brine

TARGET = Fraction("3.5")


def found(batch: Mix, target: Fraction = TARGET) -> Ahead:
    return ahead(batch, None, 10_000, 72, target)


def test_a_household_brine_is_told_what_it_cannot_do_and_what_would() -> None:
    words = ahead_words(found(brine(3, 10)))
    assert "no more than 1.74 % water-phase salt" in words.highest
    assert "3.5 % is asked for" in words.highest
    assert "from 72 % moisture to 54.6 %" in words.dried
    assert words.proof == PROOF
    assert words.instead == (
        "A stronger brine: at this ratio at least 6.1 % salt, 23 °SAL at 60 °F.",
        "Dry salting: at least 27 g of salt for a kilogram of fish, if all of it goes in.",
        FROZEN,
    )


def test_too_little_of_a_strong_brine_is_told_that_no_stronger_one_would_do() -> None:
    words = ahead_words(found(brine(20, 1)))
    assert "no brine dissolves so much salt" in words.instead[0]
    assert words.instead[1].startswith("More of this brine: at least 0.16 of salt and water")


def test_a_dry_salting_is_told_of_more_salt_and_of_no_brine() -> None:
    words = ahead_words(found(Mix("dry salt", 200_000, 0)))
    assert "if all the salt goes in" in words.highest
    assert words.instead == (
        "More salt: at least 27 g of salt for a kilogram of fish, if all of it goes in.",
        FROZEN,
    )


def test_a_batch_within_reach_is_told_that_this_is_no_proof() -> None:
    words = ahead_words(found(brine(15, 20)))
    assert "could come to" in words.highest
    assert "would not have to be dried" in words.dried
    assert words.proof == PROOF
    assert words.instead == ()


def test_a_batch_without_salt_is_dried_to_no_target() -> None:
    words = ahead_words(found(Mix("brine", 0, 10_000_000)))
    assert "no salt in this batch" in words.dried
    assert words.instead[-1] == FROZEN


@pytest.mark.parametrize("pct", ["6.0199", "6.02", "6.0201"])
def test_a_figure_just_short_of_the_target_is_never_rounded_up_to_it(pct: str) -> None:
    """6.02 % of as much brine as fish of 72 % is 3.5 % exactly."""
    words = ahead_words(found(brine(Fraction(pct), 10)))
    assert ("no more than 3.49 %" in words.highest) == (pct == "6.0199")
    assert ("could come to 3.5 %" in words.highest) == (pct != "6.0199")


def test_nothing_is_called_safe() -> None:
    for batch in (brine(3, 10), brine(15, 20), brine(20, 1), Mix("dry salt", 200_000, 0)):
        words = ahead_words(found(batch))
        assert "safe" not in " ".join([words.highest, words.dried, words.proof, *words.instead])
