"""Each conversion beside what its source prints, and what is refused."""

from fractions import Fraction

import pytest

from lots.core.units import (
    BadQuantity,
    convert,
    degrees,
    read_number,
    read_quantity,
    read_span,
    read_temperature,
    round_half_up,
    show_both,
    show_grams,
    show_number,
    show_quantity,
    show_span,
    show_temperature,
    to_milligrams,
    to_millionths,
    to_ninths,
)


@pytest.mark.parametrize(
    ("typed", "number"),
    [
        ("63.1", "63.1"),
        ("63,1", "63.1"),
        ("−18", "-18"),
        ("-18,25", "-18.25"),
        (" 4. ", "4"),
        (",5", "0.5"),
        ("+3", "3"),
        ("0,125", "0.125"),
        ("1 ", "1"),
    ],
)
def test_a_number_is_read_as_typed(typed: str, number: str) -> None:
    assert read_number(typed) == Fraction(number)


@pytest.mark.parametrize("typed", ["", "  ", "abc", "6 3", "1.2.3", "63..1", "1e3", "--4", "63.1x"])
def test_what_is_not_a_number_is_refused(typed: str) -> None:
    with pytest.raises(BadQuantity):
        read_number(typed)


@pytest.mark.parametrize("typed", ["1,440", "63,125", "-1,000"])
def test_a_comma_that_can_be_read_two_ways_is_refused(typed: str) -> None:
    with pytest.raises(BadQuantity, match="two ways"):
        read_number(typed)


# NIST SP 811, appendix B: t/°C = (t/°F − 32)/1.8
@pytest.mark.parametrize(
    ("typed", "unit", "ninths"),
    [
        ("0", "C", 0),
        ("32", "F", 0),
        ("212", "F", 900_000),
        ("-40", "F", -360_000),
        ("-40", "C", -360_000),
        ("145", "F", 565_000),
        ("62.8", "C", 565_200),
        ("0.001", "F", -159_995),
        ("0.001", "C", 9),
    ],
)
def test_a_temperature_is_kept_exactly(typed: str, unit: str, ninths: int) -> None:
    assert to_ninths(typed, "F" if unit == "F" else "C") == ninths


def test_a_temperature_of_more_than_three_decimals_is_refused() -> None:
    with pytest.raises(BadQuantity, match="decimals"):
        to_ninths("62.77778", "C")


@pytest.mark.parametrize("typed", ["40.1", "-3.999", "145", "0.001"])
@pytest.mark.parametrize("unit", ["C", "F"])
def test_a_temperature_comes_back_as_it_was_read(typed: str, unit: str) -> None:
    scale = "F" if unit == "F" else "C"
    assert degrees(to_ninths(typed, scale), scale) == Fraction(typed)


@pytest.mark.parametrize(
    ("typed", "unit", "shown"),
    [("40.1", "F", "40.1 °F"), ("40", "F", "40.0 °F"), ("-3.875", "C", "−3.875 °C")],
)
def test_a_temperature_is_shown_with_its_unit(typed: str, unit: str, shown: str) -> None:
    scale = "F" if unit == "F" else "C"
    assert show_temperature(to_ninths(typed, scale), scale) == shown


def test_a_number_is_rounded_half_away_from_zero() -> None:
    assert [show_number(Fraction(n), 1) for n in ("0.25", "-0.25", "0.24", "-0.04")] == [
        "0.3",
        "−0.3",
        "0.2",
        "0",
    ]


@pytest.mark.parametrize(
    ("text", "c", "f"),
    [
        ("40 °F (4.4 °C)", 39_600, 40_000),
        ("4.4 °C", 39_600, 39_600),
        ("40 °F", 40_000, 40_000),
        ("−4 °F (−20 °C)", -180_000, -180_000),
        ("62,8 C", 565_200, 565_200),
    ],
)
def test_a_bound_holds_each_unit_as_printed(text: str, c: int, f: int) -> None:
    bound = read_temperature(text)
    assert (bound.for_unit("C"), bound.for_unit("F")) == (c, f)


@pytest.mark.parametrize(
    "text",
    ["", "40", "cold", "40 °F 41 °F", "40 °F (10 °C)", "4-5 °C", "38–40 °F", "about 40 °F", "40 K"],
)
def test_what_is_not_one_temperature_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity):
        read_temperature(text)


@pytest.mark.parametrize(
    ("text", "ms"),
    [
        ("30 min", 1_800_000),
        ("2 h 30 min", 9_000_000),
        ("90 s", 90_000),
        ("7 days", 604_800_000),
        ("1,5 h", 5_400_000),
        ("168 h", 604_800_000),
        ("0.5 s", 500),
    ],
)
def test_a_span_is_read_in_milliseconds(text: str, ms: int) -> None:
    assert read_span(text) == ms


@pytest.mark.parametrize("text", ["", "30", "half an hour", "30 min or so", "-30 min", "h"])
def test_what_is_not_a_span_is_refused(text: str) -> None:
    with pytest.raises(BadQuantity):
        read_span(text)


@pytest.mark.parametrize(
    ("ms", "shown"),
    [
        (0, "0 min"),
        (45_000, "45 s"),
        (90_000, "90 s"),
        (1_800_000, "30 min"),
        (1_799_000, "29 min 59 s"),
        (1_802_400, "30 min 2.4 s"),
        (3_600_000, "1 h"),
        (3_660_000, "61 min"),
        (7_200_000, "2 h"),
        (7_210_000, "2 h 10 s"),
        (9_000_000, "2 h 30 min"),
        (604_800_000, "7 days"),
        (-60_000, "−1 min"),
    ],
)
def test_a_span_is_shown_without_rounding(ms: int, shown: str) -> None:
    assert show_span(ms) == shown


@pytest.mark.parametrize(
    "ms", [1, 999, 1_000, 59_999, 119_999, 120_001, 7_199_999, 7_200_001, 10**9]
)
def test_a_span_reads_back_as_it_is_shown(ms: int) -> None:
    assert read_span(show_span(ms)) == ms


# NIST SP 811, appendix B.8 (factors) and B.9 (temperature)
@pytest.mark.parametrize(
    ("value", "to", "printed", "within"),
    [
        ("212 °F", "°C", "100", "0"),
        ("32 °F", "K", "273.15", "0"),
        ("1 lb", "kg", "0.4535924", "0.00000005"),
        ("1 oz", "g", "28.34952", "0.000005"),
        ("1 in", "mm", "25.4", "0"),
        ("1 US gal", "L", "3.785412", "0.0000005"),
        ("13.5 °F difference", "°C difference", "7.5", "0"),
    ],
)
def test_a_quantity_converts_as_nist_prints_it(
    value: str, to: str, printed: str, within: str
) -> None:
    assert abs(convert(value, to) - Fraction(printed)) <= Fraction(within)


@pytest.mark.parametrize(
    ("value", "to"), [("1 lb", "mm"), ("7.5 °C difference", "°F"), ("3 pints", "L"), ("1 lb", "st")]
)
def test_units_of_different_kinds_do_not_convert(value: str, to: str) -> None:
    with pytest.raises(BadQuantity):
        convert(value, to)


@pytest.mark.parametrize(
    ("text", "quantity", "millionths"),
    [
        ("3.5 %", "water-phase salt", 3_500_000),
        ("1.5 in", "thickness", 38_100_000),
        ("38.1 mm", "thickness", 38_100_000),
        ("2:1", "brine to fish ratio", 2_000_000),
        ("0,97 aw", "water activity", 970_000),
        ("100 ppm", "sodium nitrite", 100_000_000),
    ],
)
def test_a_quantity_is_kept_in_millionths_of_its_first_unit(
    text: str, quantity: str, millionths: int
) -> None:
    assert read_quantity(text, quantity).c == millionths


@pytest.mark.parametrize(
    ("text", "quantity"), [("3.5", "salt"), ("3.5 ppm", "salt"), ("1 kg", "love"), ("% ", "salt")]
)
def test_a_quantity_in_a_foreign_unit_is_refused(text: str, quantity: str) -> None:
    with pytest.raises(BadQuantity):
        read_quantity(text, quantity)


def test_a_quantity_is_shown_in_its_first_unit() -> None:
    assert show_quantity(to_millionths("3,52", "salt", "%"), "salt") == "3.52 %"
    assert show_quantity(2_500_000, "brine to fish ratio") == "2.5:1"


@pytest.mark.parametrize(
    ("typed", "unit", "mg"),
    [
        ("12.5", "g", 12_500),
        ("0,0005", "g", 1),  # half a milligram goes up
        ("2.5", "kg", 2_500_000),
        ("1", "oz", 28_350),  # 28.349523125 g (NIST SP 811)
        ("1", "lb", 453_592),
    ],
)
def test_a_small_weight_is_kept_to_the_milligram(typed: str, unit: str, mg: int) -> None:
    assert to_milligrams(typed, unit) == mg


@pytest.mark.parametrize(
    ("typed", "unit", "said"),
    [
        ("3", "cup", "is not a unit of weight"),
        ("0", "g", "more than nothing"),
        ("-1", "g", "more than nothing"),
        ("0.0004", "g", "more than nothing"),
        ("some", "g", "is not a number"),
    ],
)
def test_a_small_weight_that_cannot_be_is_refused(typed: str, unit: str, said: str) -> None:
    with pytest.raises(BadQuantity, match=said):
        to_milligrams(typed, unit)


def test_halves_are_rounded_away_from_nothing() -> None:
    halves = [Fraction(n, 2) for n in (-3, -1, 0, 1, 3, 5)]
    assert [round_half_up(half) for half in halves] == [-2, -1, 0, 1, 2, 3]
    assert round_half_up(Fraction(-1, 3)) == 0


def test_small_weights_and_temperatures_are_shown_whole() -> None:
    assert show_grams(12_500) == "12.5 g"
    assert show_grams(Fraction(62_500, 1000)) == "0.063 g"
    assert show_both(to_ninths("38", "F")) == "38.0 °F (3.3 °C)"
