"""The numbers of rules that no plan states, and the list of species."""

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest

from lots.core.rules import BadRules, Rules, rules_from
from lots.core.units import MS_PER_DAY, MS_PER_H, MS_PER_MIN, to_ninths

FIXTURES = Path(__file__).parents[2] / "fixtures"
DATA: dict[str, Any] = tomllib.loads((FIXTURES / "rules.toml").read_text(encoding="utf-8"))
SPECIES: list[dict[str, str]] = tomllib.loads(
    (FIXTURES / "species.toml").read_text(encoding="utf-8")
)["species"]


@pytest.fixture
def rules() -> Rules:
    return rules_from(DATA)


def test_records_are_reviewed_within_one_week(rules: Rules) -> None:
    # 21 CFR 123.8(a)(3)
    assert rules.review_within_ms == 7 * MS_PER_DAY
    assert 0 < rules.review_warn_ms < rules.review_within_ms


def test_records_are_kept_one_year_chilled_and_two_frozen(rules: Rules) -> None:
    # 21 CFR 123.9(b)(1) and (2)
    assert rules.retention_years == {"chilled": 1, "frozen": 2}
    assert rules.study_retention_years == 2


def test_records_for_traceability_are_kept_two_years(rules: Rules) -> None:
    # 21 CFR 1.1455(d); whether it applies to the house is another question
    assert rules.traceability_months == 24
    assert DATA["traceability"]["applies_flag"] == "to be confirmed"


def test_a_visit_ends_by_itself_and_is_never_open_for_weeks(rules: Rules) -> None:
    visit = rules.visit
    assert 0 < visit.idle_ms < visit.usual_ms <= visit.longest_ms <= 7 * MS_PER_DAY


def test_a_control_point_is_shown_over_ninety_days(rules: Rules) -> None:
    assert rules.period.looks_back_ms == 90 * MS_PER_DAY
    assert min(rules.period.most_steps, rules.period.most_lots, rules.period.largest_bytes) > 0


def test_a_piece_of_fish_is_asked_about_outside_what_is_likely(rules: Rules) -> None:
    pieces = rules.pieces
    assert (
        0 < pieces.thinnest_um < 25_400 < pieces.thickest_um < 25_400 * 38
    )  # 38 in is asked about
    assert pieces.thinnest_um > 1_500  # and so is 1.5 mm
    assert 0 < pieces.lightest_mg < pieces.heaviest_mg
    assert pieces.uneven > 1


def test_a_plan_is_reassessed_at_least_yearly(rules: Rules) -> None:
    # 21 CFR 123.8(a)(1)
    assert rules.reassess_within_ms == 365 * MS_PER_DAY


def test_a_thermometer_is_right_within_2_f_or_1_c(rules: Rules) -> None:
    # Food Code 4-203.11: a difference, not a temperature
    assert rules.tolerance == {
        "F": to_ninths("34", "F") - to_ninths("32", "F"),
        "C": to_ninths("1", "C"),
    }


def test_the_numbers_of_common_practice_are_read(rules: Rules) -> None:
    assert rules.late_after_ms == 15 * MS_PER_MIN
    assert rules.future_grace_ms == 2 * MS_PER_MIN
    assert rules.upload_bytes == 50 * 10**6
    assert rules.demo_stale_ms == 12 * MS_PER_H


@pytest.mark.parametrize("figure", ["-76.1", "400.1"])
def test_no_fish_and_no_oven_has(rules: Rules, figure: str) -> None:
    assert not rules.possible.holds(to_ninths(figure, "F"))


@pytest.mark.parametrize("figure", ["-76", "400"])
def test_the_edges_of_what_is_possible_are_possible(rules: Rules, figure: str) -> None:
    assert rules.possible.holds(to_ninths(figure, "F"))


def test_fish_at_88_c_is_unlikely_but_possible(rules: Rules) -> None:
    reading = to_ninths("88.0", "C")
    assert not rules.likely_for("fish", "smokehouse").holds(reading)
    assert rules.possible.holds(reading)


def test_the_same_figure_is_likely_in_one_place_and_not_in_another(rules: Rules) -> None:
    reading = to_ninths("225", "F")
    assert rules.likely_for("place", "smokehouse").holds(reading)
    assert not rules.likely_for("place", "cooler").holds(reading)


def test_a_kind_of_place_not_listed_gets_the_range_of_the_subject(rules: Rules) -> None:
    assert rules.likely_for("fish", "cellar") == rules.likely_for("fish", "")
    assert rules.likely_for("lot", "cellar") == rules.possible


def test_every_likely_range_lies_in_the_possible(rules: Rules) -> None:
    for span in rules.likely.values():
        assert rules.possible.holds(span.lowest)
        assert rules.possible.holds(span.highest)


LIMITS_OF_STARTING_PLANS = [
    ("fish", "receiving dock", "40"),
    ("place", "brine tank", "60"),
    ("room", "brine tank", "38"),
    ("place", "room", "38"),
    ("fish", "smokehouse", "145"),
    ("fish", "cooler", "140"),
    ("fish", "freezer", "-4"),
    ("place", "freezer", "0"),
    ("place", "smokehouse", "90"),
    ("place", "cooler", "40"),
]


@pytest.mark.parametrize(("of", "place_kind", "figure"), LIMITS_OF_STARTING_PLANS)
def test_a_reading_on_a_limit_is_not_asked_about(
    rules: Rules, of: str, place_kind: str, figure: str
) -> None:
    assert rules.likely_for(of, place_kind).holds(to_ninths(figure, "F"))


def test_each_number_has_a_source_and_a_flag() -> None:
    def unsourced(node: Any, path: str) -> list[str]:
        if isinstance(node, list):
            return [p for n, item in enumerate(node) for p in unsourced(item, f"{path}.{n}")]
        named = [key for key in node if key.endswith("source")]
        bad = [path] if not named else []
        flags = ("published", "to be confirmed")
        bad += [k for k in named if node.get(k.removesuffix("source") + "flag") not in flags]
        bad += [
            k for k in named if "common practice" in node[k] and node[k[:-6] + "flag"] == flags[0]
        ]
        return bad

    tables = {key: value for key, value in DATA.items() if isinstance(value, dict | list)}
    assert [found for key, value in tables.items() for found in unsourced(value, key)] == []


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("review", "within", "soon"),
        ("possible", "lowest", "cold"),
        ("possible", "lowest", "500 °F"),
        ("upload", "largest_bytes", "much"),
        ("thermometer", "tolerance_f", "2 °F"),
        ("entry", "late_after", 15),
    ],
)
def test_rules_that_cannot_be_read_are_refused(table: str, key: str, value: Any) -> None:
    data = copy.deepcopy(DATA)
    data[table][key] = value
    with pytest.raises(BadRules):
        rules_from(data)


def test_rules_that_lack_a_number_say_which() -> None:
    data = {key: value for key, value in DATA.items() if key != "session"}
    with pytest.raises(BadRules, match="session"):
        rules_from(data)


def test_each_species_has_a_code_of_its_own_and_names() -> None:
    # FAO ASFIS: three-letter codes
    codes = [row["code"] for row in SPECIES]
    assert len(set(codes)) == len(codes) > 40
    for row in SPECIES:
        assert row["code"].isalpha() and row["code"].isupper() and len(row["code"]) == 3
        assert row["scientific_name"] and row["english_name"]


def test_a_species_that_forms_scombrotoxin_says_who_says_so() -> None:
    assert {row["scombrotoxin"] for row in SPECIES} == {"yes", ""}
    for row in SPECIES:
        assert (row["scombrotoxin"] == "yes") == ("scombrotoxin_source" in row)


@pytest.mark.parametrize(
    ("code", "scientific_name"),
    [("TRR", "Oncorhynchus mykiss"), ("SAL", "Salmo salar"), ("MAC", "Scomber scombrus")],
)
def test_codes_are_those_of_the_fao_list(code: str, scientific_name: str) -> None:
    # FAO ASFIS list of species
    [row] = [row for row in SPECIES if row["code"] == code]
    assert row["scientific_name"] == scientific_name
