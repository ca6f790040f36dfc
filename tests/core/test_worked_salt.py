"""Cases of cure and salt: how they may be written, and what is said of one that cannot be reckoned."""

import re
from decimal import Decimal
from typing import Any

import pytest

from lots.core.worked import run


def came(name: str, given: dict[str, Any], expect: dict[str, Any]) -> bool:
    outcome = run({"sum": name, "given": given, "expect": expect})
    assert not outcome.problem, outcome.problem
    return outcome.ok


@pytest.mark.parametrize("share", ["6.25 %", "6,25%", "0.0625", Decimal("0.0625")])
@pytest.mark.parametrize(("fish", "cure"), [("10 kg", "48 g"), ("10000 g", "0.048 kg")])
def test_the_same_cure_may_be_written_in_many_ways(share: object, fish: str, cure: str) -> None:
    """By hand: 48 g × 6.25 % in 20 kg is 150 ppm."""
    given = {"method": "equilibrium", "cure": cure, "nitrite_fraction": share, "fish": fish, "brine": "10 kg"}  # fmt: skip
    assert came("nitrite", given, {"nitrite_ppm": 150, "tolerance": Decimal("0.000001")})


def test_nitrite_itself_needs_no_share() -> None:
    given = {"method": "dry", "cure": "1 g", "fish": "10 kg"}
    assert came("nitrite", given, {"nitrite_ppm": 100})


def test_the_curing_salt_is_told_in_grams_and_ounces() -> None:
    given = {"method": "dry", "nitrite_ppm": Decimal("156.25"), "nitrite_fraction": "6.25 %", "fish": "100 lb"}  # fmt: skip
    assert came("nitrite", given, {"cure_oz": Decimal("4.000"), "cure_g": Decimal("113.398")})


@pytest.mark.parametrize("diffusivity", ["1e-10 m²/s", "1e-10 m2/s", "1e-10", "1e-6 cm²/s", "1e-6cm2/s"])  # fmt: skip
def test_a_diffusivity_may_be_written_in_many_ways(diffusivity: str) -> None:
    given = {"diffusivity": diffusivity, "thickness": "2 cm", "time": "24 h", "open_faces": 1}
    assert came("salt_uptake", given, {"fourier": Decimal("0.0216"), "tolerance": Decimal("1e-9")})


def test_a_bath_weakens_and_so_fills_the_sheet_sooner() -> None:
    """Two parts of water to one: the share by the first moments' formula, 3 (1 − e^(Fo/4) erfc(√Fo/2)), by
    hand 0.162 at Fo 0.01, where much brine gives 0.113."""
    given = {"fourier": "0.01", "bath": 2}
    assert came("salt_uptake", given, {"fraction": Decimal("0.162"), "tolerance": Decimal("0.001")})


@pytest.mark.parametrize(
    ("name", "given", "said"),
    [
        ("nitrite", {"method": "dry", "cure": "1 g", "nitrite_fraction": "6.25", "fish": "1 kg"}, "6.25 % or 0.0625"),
        ("nitrite", {"method": "by eye", "cure": "1 g", "fish": "1 kg"}, "Choose how"),
        ("nitrite", {"method": "dry", "cure": "1 cup", "fish": "1 kg"}, "Cannot convert"),
        ("nitrite", {"method": "dry", "cure": "1 g"}, "what the fish weighs"),
        ("nitrite", {"method": "pick-up", "cure": "1 g", "brine": "1 kg", "pick_up": "10"}, "10 % is 0.10"),
        ("water_phase_salt", {"salt_pct": 31, "moisture_pct": 70}, "over 100 %"),
        ("water_phase_salt", {"salt_pct": 3}, "moisture_pct is not given"),
        ("equilibrium", {"brine_pct": 10, "ratio": 1, "moisture_pct": 100}, "moisture of the raw fish"),
        ("salt_uptake", {"diffusivity": "1e-10", "time": "24 h"}, "neither fourier nor"),
        ("salt_uptake", {"diffusivity": "quick", "thickness": "2 cm", "time": "24 h"}, "1e-10 m²/s"),
        ("salt_uptake", {"diffusivity": "1e-10 in²/s", "thickness": "2 cm", "time": "24 h"}, "1e-10 m²/s"),
        ("salt_uptake", {"diffusivity": "1e-10", "thickness": "20", "time": "24 h"}, "Cannot convert"),
        ("salt_uptake", {"diffusivity": "1e-10", "thickness": "2 cm", "time": "24"}, "not a length of time"),
        ("salt_uptake", {"diffusivity": "1e-10", "thickness": "2 cm", "time": "1 h", "open_faces": 3}, "one face or two"),
        ("salt_uptake", {"fourier": "-1"}, "not below nothing"),
        ("salt_uptake", {"fourier": 1, "bath": 0}, "bath is above"),
        ("salt_uptake", {"fraction": 2}, "between 0 and 1"),
    ],
)  # fmt: skip
def test_what_cannot_be_reckoned_is_off_and_says_why(
    name: str, given: dict[str, Any], said: str
) -> None:
    outcome = run({"sum": name, "given": given, "expect": {"wps_pct": 1, "fraction": 1}})
    assert not outcome.ok
    assert re.search(said, outcome.problem), outcome.problem


@pytest.mark.parametrize(
    ("name", "given", "expect"),
    [
        ("nitrite", {"method": "dry", "cure": "4 oz", "nitrite_fraction": "6.25 %", "fish": "100 lb"}, {"nitrite_ppm": 157}),
        ("water_phase_salt", {"salt_pct": 3, "moisture_pct": 60}, {"wps_pct": Decimal("4.75")}),
        ("equilibrium", {"brine_pct": 15, "ratio": 2, "moisture_pct": 70}, {"wps_pct": Decimal("11.2")}),
        ("salt_uptake", {"fourier": "0.125"}, {"fraction": Decimal("0.3990")}),
    ],
)  # fmt: skip
def test_a_case_spoilt_by_hand_is_off(
    name: str, given: dict[str, Any], expect: dict[str, Any]
) -> None:
    assert not came(name, given, expect)
