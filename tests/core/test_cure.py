"""Ingoing nitrite beside worked examples of the FSIS formulas, solved both ways, and tables entered wrongly."""

import tomllib
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.core.cure import (
    BadCure,
    cure_faults,
    cure_for_ppm,
    cure_rule,
    cure_rules,
    ingoing_of,
    ingoing_ppm,
    jurisdictions,
    not_permitted,
    permitted_faults,
)
from lots.core.units import GRAMS_PER_LB, GRAMS_PER_OZ

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
TABLE: dict[str, Any] = tomllib.loads((FIXTURES / "cure.toml").read_text())
PINK = Fraction("0.0625")  # 6.25 % sodium nitrite, the usual pink curing salt

MG = st.integers(1, 10**9)
SHARES = st.fractions(Fraction(1, 1000), 1)
PPM = st.integers(1, 500)


@dataclass
class Mix:
    method: str
    nitrite_mg: Fraction
    total_mg: int


def mg(grams: Fraction | int) -> Fraction:
    return Fraction(grams) * 1000


# --- beside worked examples -----------------------------------------------------------------------


def test_the_pick_up_is_that_of_a_worked_example() -> None:
    """3 oz of 6.25 % cure in a US gallon (8.33 lb), 10 %: 140 ppm, printed without its decimals."""
    found = ingoing_ppm(
        "pick-up",
        mg(3 * GRAMS_PER_OZ) * PINK,
        brine_mg=mg(Fraction("8.33") * GRAMS_PER_LB),
        pick_up=Fraction("0.10"),
    )
    assert int(found) == 140
    assert round(found, 2) == Fraction("140.68")


def test_a_dry_cure_is_that_of_the_well_known_label_rate() -> None:
    """4 oz of 6.25 % cure for 100 lb: 156 ppm (USDA FSIS Directive 7620.3, the dry formula)."""
    found = ingoing_ppm("dry", mg(4 * GRAMS_PER_OZ) * PINK, mg(100 * GRAMS_PER_LB))
    assert found == Fraction("156.25")


def test_by_equilibrium_the_nitrite_is_spread_over_fish_and_brine() -> None:
    """The formula of USDA FSIS Directive 7620.3, method two, by hand: 1.5 g in 10 kg + 5 kg is 100 ppm."""
    assert ingoing_ppm("equilibrium", mg(Fraction("1.5")), mg(10_000), mg(5_000)) == 100


def test_nothing_goes_in_where_no_nitrite_was() -> None:
    assert ingoing_ppm("dry", 0, 1000) == 0
    assert ingoing_of(Mix("brine", Fraction(0), 1000), 5) == 0
    assert ingoing_of(Mix("brine", Fraction(0), 0), 5) == 0


# --- both ways ------------------------------------------------------------------------------------


@given(PPM, SHARES, MG, MG, st.sampled_from(["equilibrium", "pick-up", "dry"]), SHARES)
def test_the_curing_salt_for_a_ppm_gives_that_ppm(
    ppm: int, share: Fraction, fish: int, brine: int, method: str, pick_up: Fraction
) -> None:
    need = cure_for_ppm(method, ppm, share, fish, brine, pick_up)
    assert need.nitrite_mg == need.cure_mg * share
    assert need.salt_mg + need.nitrite_mg == need.cure_mg
    assert ingoing_ppm(method, need.nitrite_mg, fish, brine, pick_up) == ppm


@given(PPM, st.fractions(Fraction(1, 100), 1), MG, MG, st.sampled_from(["equilibrium", "pick-up"]))
def test_curing_salt_put_on_top_of_a_brine_makes_it_heavier_by_itself(
    ppm: int, share: Fraction, fish: int, brine: int, method: str
) -> None:
    on_top = cure_for_ppm(method, ppm, share, fish, brine, Fraction(1, 10), on_top=True)
    whole = brine + on_top.cure_mg
    assert ingoing_ppm(method, on_top.nitrite_mg, fish, whole, Fraction(1, 10)) == ppm
    assert on_top.cure_mg > cure_for_ppm(method, ppm, share, fish, brine, Fraction(1, 10)).cure_mg


def test_150_ppm_for_ten_kilograms_and_as_much_brine_asks_for_48_g_of_pink_salt() -> None:
    """By hand: 20 kg × 150 ppm = 3 g of nitrite = 48 g of 6.25 %, of which 45 g are salt."""
    need = cure_for_ppm("equilibrium", 150, PINK, mg(10_000), mg(10_000))
    assert (need.cure_mg, need.nitrite_mg, need.salt_mg) == (48_000, 3_000, 45_000)


@given(MG, MG, MG, st.integers(1, 1000))
def test_more_fish_or_more_brine_to_the_same_nitrite_is_fewer_ppm(
    nitrite: int, fish: int, brine: int, more: int
) -> None:
    here = ingoing_ppm("equilibrium", nitrite, fish, brine)
    assert ingoing_ppm("equilibrium", nitrite, fish + more, brine) < here
    assert ingoing_ppm("equilibrium", nitrite, fish, brine + more) < here
    assert ingoing_ppm("dry", nitrite, fish) > here


@pytest.mark.parametrize(
    ("given_", "said"),
    [
        (("by eye", 1, 1, 1, 1), "Choose how"),
        (("dry", 1, 0, 0, 0), "what the fish weighs"),
        (("equilibrium", 1, 0, 5, 0), "what the fish weighs"),
        (("equilibrium", 1, 5, 0, 0), "what the brine weighs"),
        (("pick-up", 1, 0, 0, Fraction(1, 10)), "what the brine weighs"),
        (("pick-up", 1, 0, 5, 0), "pick-up as a share"),
        (("pick-up", 1, 0, 5, 10), "10 % is 0.10"),
        (("dry", -1, 5, 0, 0), "less than nothing"),
    ],
)
def test_what_cannot_be_reckoned_is_refused_in_words(given_: tuple[Any, ...], said: str) -> None:
    with pytest.raises(BadCure, match=said):
        ingoing_ppm(*given_)


@pytest.mark.parametrize(
    ("given_", "said"),
    [
        (("dry", 150, Fraction("6.25"), 5, 0, 0), "not as 6.25"),
        (("dry", 150, 0, 5, 0, 0), "6.25 % or 0.0625"),
        (("dry", -1, PINK, 5, 0, 0), "below nothing"),
        (("by eye", 1, PINK, 1, 1, 1), "Choose how"),
        (("equilibrium", 70_000, PINK, 5, 5, 0, True), "No amount"),
        (("equilibrium", 62_500, PINK, 5, 5, 0, True), "No amount"),
    ],
)
def test_a_cure_that_cannot_be_weighed_is_refused_in_words(
    given_: tuple[Any, ...], said: str
) -> None:
    with pytest.raises(BadCure, match=said):
        cure_for_ppm(*given_)


# --- of a batch -----------------------------------------------------------------------------------


def test_of_a_brine_only_the_part_used_on_the_fish_counts() -> None:
    """By hand: half of 20 kg with 6 g is 3 g in 10 kg of brine and 10 kg of fish: 150 ppm."""
    batch = Mix("brine", mg(6), 20_000_000)
    assert ingoing_of(batch, 10_000, 10_000) == 150
    assert ingoing_of(batch, 10_000) == 200  # 6 g in 30 kg


def test_of_a_dry_salting_all_nitrite_of_the_part_is_in_the_fish() -> None:
    batch = Mix("dry salt", mg(6), 2_000_000)
    assert ingoing_of(batch, 10_000) == 600
    assert ingoing_of(batch, 10_000, 500) == 150


def test_a_batch_with_nitrite_on_no_fish_is_refused() -> None:
    with pytest.raises(BadCure, match="what the fish weighs"):
        ingoing_of(Mix("brine", mg(6), 20_000_000), 0)


# --- what is permitted ----------------------------------------------------------------------------


def test_the_united_states_permit_nitrite_as_21_cfr_172_175_and_172_177_say() -> None:
    """21 CFR 172.175(a)(1) and (2), 172.177: the figures of the finished fish."""
    (us,) = jurisdictions(TABLE, _codes())
    bounds = {code: _row(code).bounds for code in ("SAL", "SAB", "SHA", "CIS", "YFT")}
    assert bounds == {
        "SAL": "at most 200 ppm",
        "SAB": "at most 200 ppm",
        "SHA": "at most 200 ppm",
        "CIS": "100 ppm to 200 ppm",
        "YFT": "at most 10 ppm",
    }
    assert {_row(code).rule for code in ("SAL", "SAB", "SHA")} == {"21 CFR 172.175(a)(2)"}
    assert "160 °F" in _row("CIS").heat
    assert "38 °F" in _row("CIS").cooling
    assert "172.175" in us.rule


@pytest.mark.parametrize("code", ["TRR", "TRS", "ACH", "WHL", "HER", "MAC", "ELE", "COD", ""])
def test_no_row_permits_nitrite_in_another_fish(code: str) -> None:
    assert cure_rule(code, jurisdictions(TABLE)[0].rules) is None


def test_nitrite_in_trout_is_told_with_the_rules_numbers() -> None:
    (us,) = jurisdictions(TABLE)
    said = not_permitted("rainbow trout", us.rules, us.rule)
    assert "salmon, sablefish and shad (21 CFR 172.175(a)(2))" in said
    assert "smoked chub (21 CFR 172.177)" in said
    assert "not in rainbow trout (21 CFR 172.170, 172.175 and 172.177" in said
    assert (
        not_permitted("trout", (), "some rule") == "Nitrite is not permitted in trout (some rule)."
    )


def test_each_row_says_where_it_was_read_and_the_species_of_chub_wait_for_the_trained_person() -> (
    None
):
    (us,) = jurisdictions(TABLE)
    assert all(row.source and row.flag for row in us.rules)
    assert [row.flag for row in us.rules if "CIS" in row.species] == ["to be confirmed"]


def _codes() -> set[str]:
    rows = tomllib.loads((FIXTURES / "species.toml").read_text())["species"]
    return {row["code"] for row in rows}


def _row(code: str) -> Any:
    found = cure_rule(code, jurisdictions(TABLE)[0].rules)
    assert found is not None
    return found


# --- another jurisdiction as data -----------------------------------------------------------------

ELSEWHERE: dict[str, Any] = {
    "form": 1,
    "jurisdiction": [
        {
            "name": "An invented country",
            "rule": "its food order, section 9",
            "source": "invented for this test",
            "flag": "to be confirmed",
            "permitted": [
                {"species": ["HER"], "at_most": "50 ppm", "rule": "its food order, section 8"}
            ],
        }
    ],
}


def test_another_jurisdiction_is_entered_as_data() -> None:
    (found,) = jurisdictions(ELSEWHERE, _codes())
    row = cure_rule("HER", found.rules)
    assert row is not None
    assert (row.at_least, row.at_most, row.words) == (None, 50_000_000, "HER")
    assert cure_rule("SAL", found.rules) is None


def test_a_jurisdiction_may_permit_nitrite_in_no_fish_but_not_say_nothing() -> None:
    none = changed("permitted", [])
    assert jurisdictions(none)[0].rules == ()
    silent = deepcopy(ELSEWHERE)
    del silent["jurisdiction"][0]["permitted"]
    assert [path for path, _ in cure_faults(silent)] == ["jurisdiction.0.permitted"]


def changed(key: str, value: Any) -> dict[str, Any]:
    out = deepcopy(ELSEWHERE)
    out["jurisdiction"][0][key] = value
    return out


def row_changed(**change: Any) -> dict[str, Any]:
    out = deepcopy(ELSEWHERE)
    out["jurisdiction"][0]["permitted"][0].update(change)
    return out


TWICE = {"species": ["HER"], "at_most": "60 ppm", "rule": "another"}


@pytest.mark.parametrize(
    ("entered", "path", "said"),
    [
        ({}, "form", "form = 1"),
        ({"form": 1}, "jurisdiction", "at least one"),
        ({"form": 1, "jurisdiction": "US"}, "jurisdiction", "at least one"),
        (changed("name", ""), "jurisdiction.0.name", "Name the jurisdiction"),
        (changed("rule", " "), "jurisdiction.0.rule", "number of the rule"),
        (changed("source", ""), "jurisdiction.0.source", "where the table was read"),
        (changed("flag", "sure"), "jurisdiction.0.flag", "published, to be confirmed"),
        (changed("permitted", ["SAL"]), "jurisdiction.0.permitted", "an empty list for none"),
        (row_changed(at_most=""), "jurisdiction.0.permitted.0.at_most", "most nitrite"),
        (row_changed(at_most="50"), "jurisdiction.0.permitted.0.at_most", "needs its unit: ppm"),
        (row_changed(at_most=50), "jurisdiction.0.permitted.0.at_most", "with its unit"),
        (row_changed(at_most="fifty ppm"), "jurisdiction.0.permitted.0.at_most", "not a number"),
        (row_changed(at_most="-1 ppm"), "jurisdiction.0.permitted.0.at_most", "below nothing"),
        (row_changed(at_least=5), "jurisdiction.0.permitted.0.at_least", "with its unit"),
        (row_changed(at_least="60 ppm"), "jurisdiction.0.permitted.0.at_least", "above the most"),
        (row_changed(rule=""), "jurisdiction.0.permitted.0.rule", "number of the rule"),
        (row_changed(flag="sure"), "jurisdiction.0.permitted.0.flag", "published"),
        (row_changed(limit="5 ppm"), "jurisdiction.0.permitted.0.limit", "has no “limit”"),
        (row_changed(species=[]), "jurisdiction.0.permitted.0.species", "List the FAO codes"),
        (row_changed(species="HER"), "jurisdiction.0.permitted.0.species", "List the FAO codes"),
        (row_changed(species=["herring"]), "jurisdiction.0.permitted.0.species", "three capital"),
        (row_changed(species=["XXX"]), "jurisdiction.0.permitted.0.species", "not among"),
        (row_changed(species=["HER", "HER"]), "jurisdiction.0.permitted.0.species", "in two rows"),
        (
            changed("permitted", [*ELSEWHERE["jurisdiction"][0]["permitted"], TWICE]),
            "jurisdiction.0.permitted.1.species",
            "in two rows",
        ),
    ],
)
def test_a_table_entered_wrongly_is_told_field_by_field(
    entered: dict[str, Any], path: str, said: str
) -> None:
    found = dict(cure_faults(entered, {"HER", "SAL"}))
    assert said in found[path]
    with pytest.raises(BadCure, match=path.replace(".", r"\.")):
        jurisdictions(entered, {"HER", "SAL"})


def test_two_jurisdictions_of_one_name_are_a_fault() -> None:
    twice = {**ELSEWHERE, "jurisdiction": ELSEWHERE["jurisdiction"] * 2}
    assert [path for path, _ in cure_faults(twice)] == ["jurisdiction.1.name"]


def test_the_right_table_has_no_fault() -> None:
    assert list(cure_faults(ELSEWHERE, _codes())) == []
    assert list(cure_faults(TABLE, _codes())) == []
    assert list(permitted_faults(TABLE["jurisdiction"][0])) == []


def test_a_plans_limit_is_read_as_a_jurisdictions_table_is() -> None:
    limit = {"id": "cure", "kind": "cure", "permitted": TABLE["jurisdiction"][0]["permitted"]}
    assert cure_rules(limit) == jurisdictions(TABLE)[0].rules
    with pytest.raises(BadCure, match=r"permitted: List"):
        cure_rules({"id": "cure", "kind": "cure"})
