"""A sample of pieces: what is read, how far it spreads, what is asked about."""

from fractions import Fraction

import pytest

from lots.core.pieces import (
    Piece,
    PieceRule,
    content_of,
    is_uneven,
    odd_thickness,
    odd_weight,
    piece_from,
    pieces_from,
    show_mg,
    show_um,
    spread,
    thickness_um,
    weight_mg,
)
from lots.core.units import BadQuantity

RULE = PieceRule(3_000, 120_000, 5_000, 15_000_000, 300_000, Fraction("1.5"))


@pytest.mark.parametrize(
    ("text", "unit", "um"),
    [("25.4", "mm", 25_400), ("1", "in", 25_400), ("1,5", "in", 38_100), ("1.00001", "in", 25_401)],
)
def test_thickness_is_kept_in_micrometres_rounded_up(text: str, unit: str, um: int) -> None:
    # 1 in = 25.4 mm exactly (NIST SP 811)
    assert thickness_um(text, unit) == um


@pytest.mark.parametrize(
    ("text", "unit", "mg"),
    [("250", "g", 250_000), ("0.25", "kg", 250_000), ("8", "oz", 226_796), ("1", "lb", 453_592)],
)
def test_weight_is_kept_in_milligrams(text: str, unit: str, mg: int) -> None:
    # 1 lb = 453.59237 g exactly (NIST SP 811)
    assert weight_mg(text, unit) == mg


@pytest.mark.parametrize(
    ("thickness", "thickness_unit", "weight", "weight_unit"),
    [
        ("", "mm", "", "g"),
        ("thick", "mm", "", "g"),
        ("0", "mm", "", "g"),
        ("-3", "mm", "", "g"),
        ("3", "cm", "", "g"),
        ("", "mm", "5", "stone"),
        ("9" * 21, "mm", "", "g"),
    ],
)
def test_what_is_no_piece_is_refused(
    thickness: str, thickness_unit: str, weight: str, weight_unit: str
) -> None:
    with pytest.raises(BadQuantity):
        piece_from(thickness, thickness_unit, weight, weight_unit)


def test_a_piece_is_kept_and_read_back_as_it_was() -> None:
    pieces = (piece_from("1.5", "in", "", "oz"), piece_from("", "in", "8", "oz"))
    assert pieces[0] == Piece("1.5", "in", 38_100, "", "", 0)
    assert pieces_from(content_of(pieces)) == pieces


def test_the_spread_leaves_out_what_was_not_measured() -> None:
    found = spread([20_000, 0, 31_000, 24_000])
    assert found is not None
    assert (found.count, found.smallest, found.largest, found.mean) == (3, 20_000, 31_000, 25_000)
    assert spread([0, 0]) is None


@pytest.mark.parametrize(("largest", "uneven"), [(30_000, False), (30_001, True), (20_000, False)])
def test_exactly_on_the_rule_is_even(largest: int, uneven: bool) -> None:
    assert is_uneven(spread([20_000, largest]), RULE) is uneven


def test_of_nothing_measured_nobody_says_uneven() -> None:
    assert not is_uneven(None, RULE)


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("1.5", "mm", "1.5 mm is unlikely for a piece of fish. Was it 1.5 in?"),
        ("38", "in", "38 in (965.2 mm) is unlikely for a piece of fish. Was it 38 mm?"),
        ("500", "mm", "500 mm is unlikely for a piece of fish. Check it"),
        ("3", "mm", ""),
        ("120", "mm", ""),
        ("120.001", "mm", "unlikely"),
        ("2.999", "mm", "unlikely"),
    ],
)
def test_a_thickness_in_the_wrong_unit_is_asked_about(text: str, unit: str, words: str) -> None:
    said = odd_thickness(piece_from(text, unit, "", ""), RULE)
    assert said.startswith(words) or words in said
    assert bool(said) is bool(words)


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [("250", "g", ""), ("0.25", "g", "Was it 0.25 kg or oz or lb?"), ("250", "lb", "250 g"), ("", "g", "")],
)  # fmt: skip
def test_a_weight_in_the_wrong_unit_is_asked_about(text: str, unit: str, words: str) -> None:
    said = odd_weight(piece_from("20", "mm", text, unit), RULE)
    assert words in said
    assert bool(said) is bool(words)


def test_figures_are_shown_in_both_units() -> None:
    assert show_um(38_100) == "38.1 mm (1.5 in)"
    assert show_mg(226_796) == "226.8 g (8 oz)"
