from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.logger import values
from lots.logger.values import NotANumber, OtherUnit, ninths


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("0", "C", 0),
        ("32", "F", 0),
        ("212.0", "F", 900_000),
        ("63.1", "F", 155_500),
        ("63.1", "C", 567_900),
        ("-0.005", "C", -45),
        ("\u22124", "F", -180_000),
        ("+4.5", "C", 40_500),
        ("63.", "C", 567_000),
        ("63.1 °F", "F", 155_500),
        ("63.1F", "F", 155_500),
        ("-40", "F", -360_000),
    ],
)
def test_a_text_becomes_whole_ninths_of_a_thousandth(text: str, unit: str, expected: int) -> None:
    assert ninths(text, unit) == (expected, False)


@given(st.integers(-400_000, 700_000), st.sampled_from("CF"), st.sampled_from(".,"))
def test_every_reading_of_three_decimals_is_exact(milli: int, unit: str, mark: str) -> None:
    text = f"{'-' if milli < 0 else ''}{abs(milli) // 1000}{mark}{abs(milli) % 1000:03d}"
    degrees = Fraction(milli, 1000)
    celsius = degrees if unit == "C" else (degrees - 32) * 5 / 9
    assert ninths(text, unit, mark) == (celsius * 9000, False)


@pytest.mark.parametrize(
    ("text", "milli"),
    [("1.0005", 1001), ("-1.0005", -1001), ("1.00049999", 1000), ("23.4500007629", 23450)],
)
def test_further_decimals_are_rounded_half_away_from_zero_and_said(text: str, milli: int) -> None:
    assert ninths(text, "C") == (milli * 9, True)


def test_trailing_noughts_are_not_rounding() -> None:
    assert ninths("4.4000000", "C") == (39_600, False)


@pytest.mark.parametrize("text", ["", "6O.2", "63.1.2", "6 3", "--4", "1e2", "63,1", "Err"])
def test_what_is_no_number_is_not_guessed(text: str) -> None:
    with pytest.raises(NotANumber):
        ninths(text, "C", ".")


def test_a_unit_in_the_cell_must_be_that_of_the_column() -> None:
    with pytest.raises(OtherUnit):
        ninths("63.1 °F", "C")


@pytest.mark.parametrize("text", ["Err", "---", "E04", "NaN", "n/a", "OL", "OPEN", "no probe"])
def test_words_of_instruments_for_no_measurement_are_error_codes(text: str) -> None:
    assert values.is_error_code(text)


@pytest.mark.parametrize("text", ["-999", "-999.0", "9999", "3276.7", "-32768", "65535"])
def test_numbers_for_no_measurement_are_error_codes(text: str) -> None:
    assert values.is_numeric_error_code(text)


@pytest.mark.parametrize("text", ["99", "99.9", "-99.9", "327.6", "145"])
def test_numbers_that_fish_can_have_are_no_error_codes(text: str) -> None:
    assert not values.is_numeric_error_code(text)


def test_words_are_an_event_and_a_spoilt_number_is_not() -> None:
    assert values.is_event("Probe 2 unplugged")
    assert not values.is_event("6O.2")
    assert not values.is_event("O6.2")
