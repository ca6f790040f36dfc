"""The sums of brines that a case may name: what is taken as given, and what is off and says why."""

from decimal import Decimal
from typing import Any

import pytest

from lots.core.worked import run


def case(sum_: str, given: dict[str, Any], **expect: Any) -> dict[str, Any]:
    return {"title": "a brine", "sum": sum_, "given": given, "expect": expect}


@pytest.mark.parametrize(
    "given",
    [
        {"salt_pct": 20},
        {"salt_pct": Decimal("20.0")},
        {"salt_pct": "20 %"},
        {"salometer_deg": "75.772", "temp": "60 °F"},
        {"salt": "2 lb", "water": "8 lb"},
        {"salt": "250 g", "water": "1 L"},
        {"salt": "2500 g", "water": "10 kg", "temp": "20 °C"},
    ],
)
def test_a_brine_may_be_given_in_each_way(given: dict[str, Any]) -> None:
    outcome = run(case("brine", given, salt_pct=20, salometer_deg="75.77", tolerance="0.01"))
    assert outcome.ok, outcome.got


def test_a_reading_and_its_degree_are_each_others_way_back() -> None:
    given = {"temp": "40 °F", "reference": "60 °F", "reading_deg": "62.14"}
    assert run(case("salometer", given, salometer_deg=60, to_add="-2.14", tolerance="0.01")).ok
    back = {"temp": "40 °F", "salometer_deg": 60}
    assert run(case("salometer", back, reading_deg="62.14", salt_pct="15.837", tolerance="0.01")).ok


@pytest.mark.parametrize(
    ("sum_", "given", "said"),
    [
        ("brine", {}, "give salt_pct, salometer_deg, or salt and water"),
        ("brine", {"salt": "2 kg"}, "give salt_pct"),
        ("brine", {"salt": 2, "water": 8}, "has no unit"),
        ("brine", {"salt": "2 cups", "water": "8 kg"}, "weighs what"),
        ("brine", {"salt_pct": "strong"}, "is not a number"),
        ("brine", {"salt_pct": "20 ppm"}, "is not a number"),
        ("brine", {"salt_pct": 40}, "No brine has 40 % salt"),
        ("brine", {"salt_pct": 20, "temp": "80 °C"}, "outside what the density"),
        ("brine", {"salometer_deg": 101}, "runs from 0 to 100"),
        ("salometer", {"temp": "60 °F"}, "give reading_deg, or salometer_deg"),
        ("salometer", {"reading_deg": 101}, "runs from 0 to 100"),
        ("salometer", {"reading_deg": 50, "full_scale": 0}, "cannot stand for 0 % salt"),
        ("solubility", {}, "temperature is not given"),
        ("solubility", {"temp": "250 °F"}, "is known from"),
        ("solubility", {"temp": "60"}, "is not a temperature"),
    ],
)
def test_what_cannot_be_computed_is_off_and_says_why(
    sum_: str, given: dict[str, Any], said: str
) -> None:
    outcome = run(case(sum_, given, salt_pct=20))
    assert not outcome.ok
    assert said in outcome.got


def test_a_brine_beyond_the_eutectic_has_no_freezing_point_to_expect() -> None:
    outcome = run(case("brine", {"salt_pct": 25}, freezing_c="-20"))
    assert not outcome.ok
    assert "not a figure of this sum" in outcome.got
