"""Worked cases of lethality and exposure, and how many of all cases are checks from outside."""

import tomllib
from collections import Counter
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from lots.core.worked import OUTSIDE, run

ROOT = Path(__file__).resolve().parents[2] / "fixtures" / "worked"
CASES = [tomllib.loads(p.read_text("utf-8"), parse_float=Decimal) for p in ROOT.rglob("*.toml")]
MOST_OF_ONE_TABLE = 10


def test_sixty_cases_of_eight_sources_are_checks_from_outside_at_most_ten_of_one_table() -> None:
    tables = Counter(
        str(case["source"]).partition(":")[0].strip() for case in CASES if case["basis"] in OUTSIDE
    )
    counted = sum(min(MOST_OF_ONE_TABLE, cases) for cases in tables.values())
    assert counted >= 60
    assert len({table.partition(",")[0] for table in tables}) >= 8


def test_both_sums_have_checks_from_outside_of_two_tables_each() -> None:
    for name in ("lethality", "exposure"):
        outside = [c for c in CASES if c["sum"] == name and c["basis"] in OUTSIDE]
        assert len({str(c["source"]).partition(":")[0] for c in outside}) >= 2


def came(sum_name: str, given: dict[str, Any], expect: dict[str, Any]) -> bool:
    outcome = run({"sum": sum_name, "given": given, "expect": expect})
    assert not outcome.problem, outcome.problem
    return outcome.ok


HELD = "0 min 70 °C\n2 min 70 °C"


@pytest.mark.parametrize(
    "given",
    [
        {"reference": "70 °C", "z": "7.5 °C", "readings": HELD, "at_least_min": 2},
        {"reference": "158 °F", "z": "13.5 °F", "readings": HELD, "at_least": "2 min"},
        {"reference": "70 °C", "z": "7,5 °C", "readings": HELD, "at_least": "120 s", "lowest": "63 °C"},
        {"reference": "70 °C", "z": "13.5 °F", "z_above": "18 °F", "readings": HELD, "at_least_min": Decimal("2.0")},
        {"reference": "70 °C", "z": "7.5 °C", "longest_gap": "2 min", "readings": HELD, "at_least_min": 2},
        {"reference": "70 °C", "z": "7.5 °C", "method": "trapezoid", "readings": HELD, "at_least_min": 2},
        {"reference": "70 °C", "z": "7.5 °C", "method": "linear", "readings": HELD, "at_least_min": 2},
        {"reference": "70 °C", "z": "7.5 °C", "readings": "0 min 158 °F 162 °F\n2 min 158 °F 170 °F", "at_least_min": 2},
    ],
)  # fmt: skip
def test_a_lethality_may_be_written_in_many_ways(given: dict[str, Any]) -> None:
    expect = {"verdict": "MET", "equivalent_min": 2, "estimated_min": 2, "tolerance": Decimal("0.0001")}  # fmt: skip
    assert came("lethality", given, expect)


@pytest.mark.parametrize("method", ["conservative", "trapezoid", "linear"])
@pytest.mark.parametrize(
    ("more", "minutes"),
    [
        ({}, Decimal("12")),
        ({"longest_gap_min": 9}, Decimal("2")),  # the ten minutes are too long
        ({"lowest": "70.1 °C"}, Decimal("0")),
        ({"lowest": "70 °C"}, Decimal("12")),
    ],
)
def test_a_gap_and_a_lowest_temperature_count_by_every_method(
    method: str, more: dict[str, Any], minutes: Decimal
) -> None:
    readings = "0 min 70 °C\n10 min 70 °C\n12 min 70 °C"
    given = {"reference": "70 °C", "z": "7.5 °C", "method": method, "readings": readings, **more}
    assert came("lethality", given, {"equivalent_min": minutes, "tolerance": Decimal("0.0001")})


def test_a_trapezoid_gives_no_rate_to_an_end_below_the_lowest() -> None:
    given = {"reference": "70 °C", "z": "10 °C", "method": "trapezoid", "readings": "0 min 60 °C\n10 min 70 °C"}  # fmt: skip
    assert came("lethality", given, {"equivalent_min": Decimal("5.5")})
    assert came("lethality", {**given, "lowest": "61 °C"}, {"equivalent_min": Decimal("5.0")})


def test_a_line_counts_only_from_where_it_comes_up_to_the_lowest() -> None:
    # from 60 to 70 °C in 10 min; over the last 5 min: 5 × (1 − 10^−0.5) / ln(10^0.5) = 2.9696
    given = {"reference": "70 °C", "z": "10 °C", "method": "linear", "lowest": "65 °C"}
    rising = {**given, "readings": "0 min 60 °C\n10 min 70 °C"}
    expect = {"equivalent_min": Decimal("2.9696"), "estimated_min": Decimal("2.9696"), "tolerance": Decimal("0.0001")}  # fmt: skip
    assert came("lethality", rising, expect)


def test_the_rate_has_one_z_below_the_reference_and_another_from_it_on() -> None:
    given = {"reference": "90 °C", "z": "7 °C", "z_above": "10 °C"}
    for method in ("conservative", "trapezoid", "linear"):
        below = {**given, "method": method, "readings": "0 min 83 °C\n10 min 83 °C"}
        above = {**given, "method": method, "readings": "0 min 100 °C\n10 min 100 °C"}
        assert came("lethality", below, {"equivalent_min": 1, "tolerance": Decimal("0.0001")})
        assert came("lethality", above, {"equivalent_min": 100, "tolerance": Decimal("0.0001")})
    # a line from 83 to 100 °C in 17 min: 7 × 0.9 / ln 10 below and 10 × 9 / ln 10 above
    line = {**given, "method": "linear", "readings": "0 min 83 °C\n17 min 100 °C"}
    assert came("lethality", line, {"equivalent_min": Decimal("41.8226"), "tolerance": Decimal("0.0001")})  # fmt: skip


def test_too_little_heat_is_a_deviation_whichever_way_it_is_added_up() -> None:
    given = {"reference": "70 °C", "z": "10 °C", "at_least_min": 2, "readings": "0 min 60 °C\n10 min 70 °C"}  # fmt: skip
    for method, minutes in (("conservative", 1), ("trapezoid", Decimal("5.5"))):
        expect = {"verdict": "DEVIATION", "equivalent_min": minutes}
        assert came("lethality", {**given, "method": method}, expect)


BAND = {"above": "50 °F (10 °C)", "up_to": "135 °F (57.2 °C)", "at_most_min": 60}


@pytest.mark.parametrize(
    ("given", "expect"),
    [
        ({"readings": "0 min 60 °F\n60 min 50 °F"}, {"verdict": "MET", "exposed_min": 60}),
        ({"readings": "0 min 60 °F\n61 min 50 °F"}, {"verdict": "DEVIATION", "exposed_min": 61}),
        ({"readings": "0 min 10,0 °C\n61 min 10,0 °C"}, {"verdict": "MET", "exposed_min": 0}),
        ({"readings": "0 min 10.1 °C\n1 h 9 °C\n5 h 4 °C"}, {"verdict": "MET", "exposed_min": 60}),
        (
            {"readings": "0 min 9 °C\n61 min 4 °C", "longest_gap": "1 h"},
            {"verdict": "DEVIATION", "exposed_min": 61, "estimated_min": 0},
        ),
        (
            {"readings": "0 min 40 °F 60 °F\n30 min 40 °F 50 °F"},
            {"verdict": "MET", "exposed_min": 30, "estimated_min": 30},
        ),
        (
            {"readings": "", "start": "08:00", "end": "09:30"},
            {"verdict": "DEVIATION", "exposed_min": 90, "estimated_min": 0},
        ),
        (
            {"readings": "0 min 60 °F\n30 min 60 °F", "probes": 2},
            {"verdict": "DEVIATION", "exposed_min": 30},
        ),
    ],
)
def test_an_exposure_is_judged_and_its_minutes_told(
    given: dict[str, Any], expect: dict[str, Any]
) -> None:
    assert came("exposure", {**BAND, **given}, expect)


def test_an_exposure_without_a_longest_time_gives_its_minutes_alone() -> None:
    given = {"above": "4 °C", "readings": "0 min 5 °C\n90 s 3 °C"}
    assert came("exposure", given, {"exposed_min": Decimal("1.5")})
    outcome = run({"sum": "exposure", "given": given, "expect": {"verdict": "MET"}})
    assert not outcome.ok
    assert "not a figure of this sum" in outcome.got


@pytest.mark.parametrize(
    ("name", "given"),
    [
        ("lethality", {"reference": "70 °C", "z": "7.5 °C", "method": "mean", "readings": HELD}),
        ("lethality", {"reference": "70 °C", "z": "0 °C", "readings": HELD}),
        ("lethality", {"reference": "hot", "z": "7.5 °C", "readings": HELD}),
        ("lethality", {"z": "7.5 °C", "readings": HELD}),
        ("exposure", {"readings": HELD}),
        ("exposure", {"above": "50 °F", "up_to": "40 °F", "readings": HELD}),
        ("exposure", {"above": "50 °F", "readings": ""}),
    ],
)
def test_what_cannot_be_summed_is_off_and_says_why(name: str, given: dict[str, Any]) -> None:
    outcome = run({"sum": name, "given": given, "expect": {"verdict": "MET"}})
    assert not outcome.ok
    assert "cannot be computed" in outcome.problem
