"""Figures of a laboratory's report, and the water-phase salt that follows from salt and moisture."""

from fractions import Fraction

import pytest

from lots.core.laboratory import ASKED_FOR, Found, computed, found, odd_together
from lots.core.units import QUANTITIES, BadQuantity


@pytest.mark.parametrize(
    ("text", "quantity", "millionths"),
    [
        ("3.52", "salt", 3_520_000),
        (" 3,52 ", "salt", 3_520_000),
        ("100", "moisture", 100_000_000),
        ("1", "water activity", 1_000_000),
        ("14", "pH", 14_000_000),
        ("0", "Listeria", 0),
        ("not detected", "Listeria", 0),
        ("ND", "Listeria", 0),
        ("Detected", "Listeria", 1_000_000),
        ("< 2.5", "histamine", 2_500_000),
        ("<10", "aerobic count", 10_000_000),
    ],
)
def test_a_figure_is_read_as_a_report_prints_it(text: str, quantity: str, millionths: int) -> None:
    assert found(text, quantity).millionths == millionths


@pytest.mark.parametrize(
    ("text", "quantity", "words"),
    [
        ("low", "salt", "is not a number"),
        ("-0.1", "salt", "below nothing"),
        ("100.01", "moisture", "moisture cannot be over 100 %"),
        ("1.001", "water activity", "cannot be over 1 aw"),
        ("14.1", "pH", "cannot be over 14 pH"),
        ("< 5", "sodium nitrite", "Ask the laboratory"),
        ("< 3", "salt", "Ask the laboratory"),
        ("not detected", "histamine", "is not a number"),
        ("1" * 21, "histamine", "too long"),
        ("9" * 19, "histamine", "too much"),
    ],
)
def test_what_is_no_figure_of_the_quantity_is_refused(text: str, quantity: str, words: str) -> None:
    with pytest.raises(BadQuantity, match=words):
        found(text, quantity)


def test_everything_asked_for_is_a_quantity_of_the_logbook() -> None:
    assert set(ASKED_FOR) <= set(QUANTITIES)


def both(salt: str, moisture: str, printed: str = "") -> dict[str, Found]:
    texts = {"salt": salt, "moisture": moisture, "water-phase salt": printed}
    return {quantity: found(text, quantity) for quantity, text in texts.items() if text}


@pytest.mark.parametrize(
    ("salt", "moisture", "expected"),
    [
        ("2.9", "62.1", "4.4615"),  # 290 / 65.0 = 4.46153…
        ("2.1", "57.9", "3.5"),  # 210 / 60.0: exactly on the figure
        ("2.5", "67.5", "3.5714"),  # 250 / 70.0 = 3.571428…
        ("2.1", "57.91", "3.4994"),  # 210 / 60.01 = 3.49941…: under it, and not rounded up to it
        ("0", "70", "0"),
    ],
)
def test_water_phase_salt_is_computed_and_cut_downwards(
    salt: str, moisture: str, expected: str
) -> None:
    # 100 × salt ÷ (salt + moisture): FDA Fish and Fishery Products Hazards and Controls Guidance, ch. 13
    sample = both(salt, moisture)
    ours = computed(sample["salt"], sample["moisture"])
    assert ours is not None
    assert ours.as_read == expected
    assert ours.millionths == Fraction(expected) * 1_000_000
    assert ours == found(ours.as_read, "water-phase salt")


def test_of_a_sample_without_salt_and_water_nothing_follows() -> None:
    sample = both("0", "0")
    assert computed(sample["salt"], sample["moisture"]) is None


@pytest.mark.parametrize("salt", ["40", "39.9"])
def test_salt_and_moisture_up_to_the_whole_fish_are_taken(salt: str) -> None:
    assert odd_together(both(salt, "60")) == []


def test_salt_and_moisture_over_the_whole_fish_are_refused() -> None:
    (odd,) = odd_together(both("40.1", "60"))
    assert odd.refused
    assert odd.quantity == "moisture"
    assert "100.1 % together" in odd.text


@pytest.mark.parametrize("printed", ["4.4", "4.46", "4.5", "4.54", "4"])
def test_a_printed_water_phase_salt_within_the_rounding_is_taken(printed: str) -> None:
    # 2.9 is 2.85 to 2.95 and 62.1 is 62.05 to 62.15: 4.385 to 4.539 follow, and half of the last digit
    assert odd_together(both("2.9", "62.1", printed)) == []


@pytest.mark.parametrize("printed", ["4.3", "4.37", "4.55", "4.6", "2.9", "6"])
def test_one_that_cannot_follow_is_asked_about_not_refused(printed: str) -> None:
    (odd,) = odd_together(both("2.9", "62.1", printed))
    assert not odd.refused
    assert odd.quantity == "water-phase salt"
    assert "4.4615 %" in odd.text


def test_dry_salt_alone_breaks_nothing() -> None:
    assert odd_together(both("100", "0", "100")) == []
    assert odd_together(both("0", "0", "0")) == []
    assert odd_together({"salt": found("2", "salt")}) == []
