"""The starting plans: complete, sourced, and in each figure what their sources print.

21 CFR 123.6 was read in the 2015 edition of the CFR.  The sources of figures stand beside the checks.
"""

import json
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from lots.core.cure import CureRule, jurisdictions
from lots.core.limits import (
    AnyOf,
    Cooling,
    Cure,
    Duration,
    Given,
    Limit,
    Maintained,
    Measured,
    NotJudged,
    Within,
    demand,
    operating_demand,
)
from lots.core.plan import HAZARDS, PUBLISHED, TO_CONFIRM, Plan, faults, plan_from
from lots.core.statements import statement_faults, statements_from
from lots.core.units import MILLIONTHS, MS_PER_H, MS_PER_MIN, read_quantity, to_ninths

FIXTURES = Path(__file__).parents[2] / "fixtures"
CONTENTS: dict[str, dict[str, Any]] = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in sorted((FIXTURES / "plans").glob("*.toml"))
}
FROZEN, CHILLED = "hot-smoked-vacuum-frozen", "hot-smoked-vacuum-chilled"
AIR, COLD = "hot-smoked-air-chilled", "cold-smoked-vacuum-chilled"
PLANS = {name: plan_from(content) for name, content in CONTENTS.items()}

every_plan = pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS)


def limits(plan: Plan) -> list[Limit]:
    return [limit for point in plan.control_points for limit in point.limits]


def leaves(plan: Plan) -> list[Limit]:
    return [leaf for limit in limits(plan) for leaf in limit.leaves()]


def limit_of(name: str, limit_id: str) -> Limit:
    [found] = [limit for limit in limits(PLANS[name]) if limit.id == limit_id]
    return found


def celsius(text: str) -> int:
    return to_ninths(text, "C")


def fahrenheit(text: str) -> int:
    return to_ninths(text, "F")


def sourced(node: Any) -> Iterator[tuple[str, str]]:
    """Every (source, flag) in a content, those of single figures included."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key.endswith("source") and key.removesuffix("source") + "flag" in node:
                yield value, node[key.removesuffix("source") + "flag"]
            yield from sourced(value)
    elif isinstance(node, list):
        for item in node:
            yield from sourced(item)


def test_there_are_the_four_starting_plans() -> None:
    assert set(PLANS) == {FROZEN, CHILLED, AIR, COLD}


@pytest.mark.parametrize("name", [FROZEN, AIR])
def test_nothing_bars_publishing_of(name: str) -> None:
    assert faults(CONTENTS[name]) == []


@pytest.mark.parametrize("name", [CHILLED, COLD])
def test_a_chilled_vacuum_pack_lacks_only_its_process_study(name: str) -> None:
    content = CONTENTS[name]
    assert [fault.path for fault in faults(content)] == ["product.process_study"]
    studied = {**content, "product": {**content["product"], "process_study": "Study 1, 2026"}}
    assert faults(studied) == []


@pytest.mark.parametrize("content", CONTENTS.values(), ids=CONTENTS)
def test_a_content_is_the_same_after_being_stored(content: dict[str, Any]) -> None:
    assert json.loads(json.dumps(content, ensure_ascii=False, sort_keys=True)) == content


@every_plan
def test_each_limit_says_its_demand_in_a_sentence(plan: Plan) -> None:
    for limit in [*limits(plan), *leaves(plan)]:
        assert " " in demand(limit)
        assert "None" not in demand(limit)
        assert bool(operating_demand(limit)) == (limit.operating is not None)


@every_plan
def test_each_limit_is_of_a_kind_that_is_judged(plan: Plan) -> None:
    assert [leaf.id for leaf in leaves(plan) if isinstance(leaf.rule, NotJudged)] == []


def test_the_frozen_plan_waits_for_no_laboratory_unless_a_sample_was_taken() -> None:
    rules = [leaf.rule for leaf in leaves(PLANS[FROZEN]) if isinstance(leaf.rule, Measured)]
    assert all(rule.when_sampled for rule in rules if rule.laboratory)


@every_plan
def test_nitrite_goes_where_21_cfr_says(plan: Plan) -> None:
    # 21 CFR 172.175(a) (2006) and 172.177 (2015): salmon, sablefish, shad 200 ppm; tuna 10; chub 100 to 200
    [rule] = [leaf.rule for leaf in leaves(plan) if isinstance(leaf.rule, Cure)]
    found = {
        code: (row.at_least, row.at_most, row.rule) for row in rule.rows for code in row.species
    }
    ppm = MILLIONTHS
    for code in ("SAL", "CHI", "COH", "SOC", "SAB", "SHA"):
        assert found[code] == (None, 200 * ppm, "21 CFR 172.175(a)(2)")
    assert found["CIS"] == (100 * ppm, 200 * ppm, "21 CFR 172.177")
    assert found["YFT"] == (None, 10 * ppm, "21 CFR 172.175(a)(1)")
    assert not {"TRR", "WHL", "HER", "MAC", "ELE", "COD"} & set(found)


@every_plan
def test_the_rows_are_those_of_the_jurisdiction_s_table(plan: Plan) -> None:
    table = jurisdictions(tomllib.loads((FIXTURES / "cure.toml").read_text(encoding="utf-8")))
    [rule] = [leaf.rule for leaf in leaves(plan) if isinstance(leaf.rule, Cure)]

    def bare(rows: tuple[CureRule, ...]) -> list[CureRule]:
        return [replace(row, source="", flag="") for row in rows]

    assert (bare(rule.rows), rule.rule) == (bare(table[0].rules), table[0].rule)


@every_plan
def test_listeria_and_histamine_are_asked_of_lots_that_were_sampled(plan: Plan) -> None:
    # FDA CPG 540.525 (Nov 2024): 35 ppm histamine; Listeria: not found in 25 g (from memory)
    rules = [leaf.rule for leaf in leaves(plan) if isinstance(leaf.rule, Measured)]
    most = {r.quantity: r.high.c for r in rules if r.when_sampled and r.high}
    assert most == {"Listeria": 0, "histamine": 35 * MILLIONTHS}


@pytest.mark.parametrize("content", CONTENTS.values(), ids=CONTENTS)
def test_a_figure_from_memory_or_practice_is_never_called_published(
    content: dict[str, Any],
) -> None:
    found = list(sourced(content))
    assert len(found) > len(content["control_points"])
    for source, flag in found:
        assert flag in (PUBLISHED, TO_CONFIRM)
        unsure = ("memory", "common practice", "worked example", "own process study")
        if any(words in source for words in unsure):
            assert flag == TO_CONFIRM, source


@every_plan
def test_each_control_point_stands_at_a_step_of_its_own_plan(plan: Plan) -> None:
    for point in plan.control_points:
        assert plan.step(point.step).id == point.step


@every_plan
def test_species_are_those_of_the_list(plan: Plan) -> None:
    table = tomllib.loads((FIXTURES / "species.toml").read_text(encoding="utf-8"))
    listed = {row["code"]: row for row in table["species"]}
    for species in plan.species:
        row = listed[species.code]
        assert species.scientific_name == row["scientific_name"]
        assert species.scombrotoxin == (row["scombrotoxin"] == "yes")


@every_plan
def test_scombrotoxin_is_significant_just_where_a_species_forms_it(plan: Plan) -> None:
    [row] = [hazard for hazard in plan.hazards if hazard.hazard == "scombrotoxin"]
    assert row.significant == any(species.scombrotoxin for species in plan.species)
    assert bool(plan.controlled_at(row.id)) == row.significant


# --- item by item with 21 CFR 123.6(b)-(d) ---------------------------------------------------------


@every_plan
def test_123_6_b_the_plan_is_of_one_kind_of_product(plan: Plan) -> None:
    """(b)(2): each kind of fish and product; (b)(1), the location, is the establishment's own."""
    assert plan.product.name
    assert plan.species
    assert plan.product.intended_use
    assert plan.product.consumer
    assert plan.product.distribution


@every_plan
def test_123_6_c_1_the_hazards_are_listed_and_judged(plan: Plan) -> None:
    assert {hazard.hazard for hazard in plan.hazards} >= set(HAZARDS)
    assert all(hazard.why for hazard in plan.hazards)
    for hazard in plan.hazards:
        if hazard.significant:
            assert plan.controlled_at(hazard.id) or hazard.prerequisites, hazard.name


@every_plan
def test_123_6_c_2_the_critical_control_points_are_listed_for_the_hazards(plan: Plan) -> None:
    significant = {hazard.id for hazard in plan.hazards if hazard.significant}
    for point in plan.control_points:
        assert point.hazards
        assert set(point.hazards) <= significant
    assert plan.controlled_at("c-botulinum"), "smoked fish: 21 CFR 123.16"


@every_plan
def test_123_6_c_3_each_control_point_has_critical_limits(plan: Plan) -> None:
    assert all(point.limits for point in plan.control_points)


@every_plan
def test_123_6_c_4_each_control_point_has_monitoring_and_its_frequency(plan: Plan) -> None:
    for point in plan.control_points:
        assert point.monitoring
        for row in point.monitoring:
            assert all((row.what, row.how, row.frequency, row.who)), point.id


@every_plan
def test_123_6_c_5_each_control_point_has_a_corrective_action(plan: Plan) -> None:
    """As 123.7(b) asks: (1) no unsafe product enters commerce, (2) the cause is corrected."""
    for point in plan.control_points:
        assert point.fish_action
        assert point.cause_action


@every_plan
def test_123_6_c_6_each_control_point_has_verification_and_its_frequency(plan: Plan) -> None:
    for point in plan.control_points:
        assert "within a week" in point.verification
        assert "each day" in point.verification


@every_plan
def test_123_6_c_7_each_control_point_names_the_record_of_its_values(plan: Plan) -> None:
    assert all(point.record for point in plan.control_points)


def keys(node: Any) -> set[str]:
    if isinstance(node, dict):
        return set(node).union(*map(keys, node.values()))
    return set().union(*map(keys, node)) if isinstance(node, list) else set()


@pytest.mark.parametrize("content", CONTENTS.values(), ids=CONTENTS)
def test_123_6_d_a_starting_plan_comes_unsigned(content: dict[str, Any]) -> None:
    """Signing and dating is an act of publishing; no field of a file may stand in for it."""
    assert not [
        key for key in keys(content) if "sign" in key.replace("significant", "") or "date" in key
    ]


# --- the figures, against their sources ------------------------------------------------------------


@pytest.mark.parametrize("name", [FROZEN, CHILLED, AIR])
def test_hot_smoke_asks_for_145_f_for_30_minutes_in_three_fish(name: str) -> None:
    # Mich. Admin. Code R285.569.7; Maine 01-001 ch. 359; three fish: AFDO model text
    limit = limit_of(name, "smoke-heat")
    assert isinstance(limit.rule, Maintained)
    assert limit.rule.low is not None
    assert (limit.rule.low.f, limit.rule.low.c) == (fahrenheit("145"), celsius("62.8"))
    assert limit.rule.for_ms == 30 * MS_PER_MIN
    assert limit.probes == 3
    assert (limit.of, limit.flag) == ("fish", PUBLISHED)


@pytest.mark.parametrize("name", [FROZEN, CHILLED, AIR])
def test_smoked_fish_cools_to_70_f_in_2_hours_and_to_40_f_in_4_more(name: str) -> None:
    # AFDO model text (60 to 21 °C in 2 h, then to 4 °C in 4 h more); Oregon the same
    rule = limit_of(name, "cooling").rule
    assert isinstance(rule, Cooling)
    assert rule.begin is not None
    assert (rule.begin.f, rule.begin.c) == (fahrenheit("140"), celsius("60"))
    assert [(s.to.f, s.to.c, s.within_ms, s.from_start) for s in rule.stages] == [
        (fahrenheit("70"), celsius("21"), 2 * MS_PER_H, True),
        (fahrenheit("40"), celsius("4"), 4 * MS_PER_H, False),
    ]


@pytest.mark.parametrize("name", [FROZEN, CHILLED, AIR])
def test_brine_starts_at_most_at_60_f_and_a_long_brining_is_in_a_room_at_most_at_38_f(
    name: str,
) -> None:
    # Mich. Admin. Code R285.569.5; 1 NYCRR 262.5
    start = limit_of(name, "brine-start")
    assert isinstance(start.rule, Within)
    assert start.rule.high is not None
    assert start.rule.high.f == fahrenheit("60")
    assert start.window.which == "first reading"
    room = limit_of(name, "brine-room")
    assert isinstance(room.rule, Given)
    assert room.rule.condition.rule == Duration(None, 4 * MS_PER_H, None)
    cold = next(room.rule.then.leaves())
    assert isinstance(cold.rule, Within)
    assert cold.rule.high is not None
    assert (cold.of, cold.rule.high.f, cold.rule.high.c) == (
        "room",
        fahrenheit("38"),
        celsius("3.3"),
    )


@pytest.mark.parametrize("name", [CHILLED, COLD])
def test_a_chilled_vacuum_pack_has_3_5_percent_water_phase_salt(name: str) -> None:
    # FDA Guidance ch. 13, figure confirmed by FDA warning letter FLA-02-27; Maine 01-001 ch. 359
    first = next(limit_of(name, "water-phase-salt").leaves()).rule
    assert first == Measured(
        "water-phase salt", read_quantity("3.5 %", "water-phase salt"), None, True
    )


def test_the_lower_salt_needs_nitrite_and_only_salmon_and_sablefish_may_hold_it() -> None:
    # the same letter: 3.0 % with at least 100 ppm; 21 CFR 172.175: at most 200 ppm, salmon, sablefish, shad
    rule = limit_of(CHILLED, "water-phase-salt").rule
    assert isinstance(rule, AnyOf)
    salt, nitrite = (leaf.rule for leaf in rule.parts[1].leaves())
    assert isinstance(salt, Measured)
    assert salt.low == read_quantity("3.0 %", "water-phase salt")
    assert isinstance(nitrite, Measured)
    assert nitrite.low == read_quantity("100 ppm", "sodium nitrite")
    assert nitrite.high == read_quantity("200 ppm", "sodium nitrite")
    assert all(s.name.endswith("salmon") or s.name == "Sablefish" for s in PLANS[CHILLED].species)
    for name in (FROZEN, AIR, COLD):
        asked = [leaf.rule for leaf in leaves(PLANS[name]) if isinstance(leaf.rule, Measured)]
        assert "sodium nitrite" not in [rule.quantity for rule in asked]


def test_an_air_pack_has_3_percent_water_phase_salt() -> None:
    # Mich. Admin. Code R285.569.8; Maine 01-001 ch. 359 asks 2.5 %
    rule = limit_of(AIR, "water-phase-salt").rule
    assert rule == Measured(
        "water-phase salt", read_quantity("3.0 %", "water-phase salt"), None, True
    )


def test_freezing_against_parasites_is_minus_4_f_for_7_days() -> None:
    # FDA Guidance ch. 5; Food Code 3-402.11
    rule = limit_of(COLD, "parasite-freezing").rule
    assert isinstance(rule, Maintained)
    assert rule.high is not None
    assert (rule.high.f, rule.high.c) == (fahrenheit("-4"), celsius("-20"))
    assert rule.for_ms == 168 * MS_PER_H


def test_cold_smoke_is_90_f_for_20_hours_or_50_f_for_24() -> None:
    # Maine 01-001 ch. 359; AFDO model text (32 °C for 20 h or 10 °C for 24 h)
    rule = limit_of(COLD, "smoke-chamber").rule
    assert isinstance(rule, AnyOf)
    found = []
    for part in rule.parts:
        chamber, time = (leaf.rule for leaf in part.leaves())
        assert isinstance(chamber, Within)
        assert isinstance(time, Duration)
        assert chamber.high is not None
        found.append((chamber.high.f, chamber.high.c, time.at_most_ms))
    assert found == [
        (fahrenheit("90"), celsius("32"), 20 * MS_PER_H),
        (fahrenheit("50"), celsius("10"), 24 * MS_PER_H),
    ]


@pytest.mark.parametrize("name", [CHILLED, AIR, COLD])
def test_the_finished_fish_is_kept_at_most_at_40_f_and_better_at_38(name: str) -> None:
    # 40 °F (4.4 °C): Seafood HACCP Alliance training model, Sept 2017; 38 °F: Maine 01-001 ch. 359
    limit = limit_of(name, "storage-cold")
    assert isinstance(limit.rule, Within)
    assert isinstance(limit.operating, Within)
    assert limit.rule.high is not None
    assert limit.operating.high is not None
    assert (limit.rule.high.f, limit.rule.high.c) == (fahrenheit("40"), celsius("4.4"))
    assert (limit.operating.high.f, limit.operating.high.c) == (fahrenheit("38"), celsius("3.3"))


def test_the_frozen_pack_says_keep_frozen_and_its_label_is_looked_at() -> None:
    assert PLANS[FROZEN].statement.startswith("Keep frozen. Thaw under refrigeration")
    assert "Keep frozen" in demand(limit_of(FROZEN, "label"))
    assert PLANS[FROZEN].product.reduced_oxygen
    assert PLANS[FROZEN].product.storage == "frozen"


KNOWN_STATEMENTS = statements_from(tomllib.loads((FIXTURES / "statements.toml").read_text("utf-8")))


@every_plan
def test_each_plan_says_what_its_jurisdiction_asks_and_how_long_a_pack_keeps(plan: Plan) -> None:
    assert plan.product.jurisdiction
    assert statement_faults(plan.content, KNOWN_STATEMENTS) == []
    assert plan.product.keeps_for is not None
    # the text that a person reads and the time that is counted say the same
    assert plan.product.shelf_life.startswith(plan.product.use_by)
    assert f"from the day of {plan.product.use_by_from}" in plan.product.shelf_life
