"""What bars limits of the kinds that count together, and operating limits where none can be."""

from typing import Any

import pytest

from lots.core.plan import faults
from lots.core.plan_content import NOT_BOTULINUM
from tests.core.test_plan import (
    BRINE,
    CONTENT,
    GONE,
    HAZARDS,
    HOLD,
    NEXT,
    PACK,
    RECEIVING,
    SMOKE,
    SOURCED,
    STEPS,
    changed,
    content_of,
    extra,
)

LISTERIA = extra(
    kind="lethality", of="fish", at_least="2 min", reference="70 °C", z="7.5 °C",
    lowest="145 °F (63 °C)", longest_gap="10 min",
)  # fmt: skip
BAND = extra(kind="exposure", above="50 °F (10 °C)", at_most="4 h", longest_gap="30 min")
ORDER = [step["id"] for step in CONTENT["steps"]]
NAMES = {step["id"]: step["name"] for step in CONTENT["steps"]}
BETWEEN = ORDER[ORDER.index("brine") : ORDER.index("hold") + 1]
MIDDLE = [step for step in BETWEEN if step not in ("brine", "hold")]


def told(point: str, limit: dict[str, Any], **more: Any) -> list[tuple[str, str]]:
    """The faults of the plan with one more limit, each by its path and words."""
    found = faults(changed({f"{point}.limits.+": limit} | more))
    return [(fault.path, fault.text) for fault in found]


def test_equivalent_time_and_exposure_alone_bar_nothing() -> None:
    assert told(SMOKE, LISTERIA) == []
    assert told(HOLD, BAND) == []
    assert told(SMOKE, extra(kind="accurate", of="fish", within="24 h", tolerance="2 °F")) == []


@pytest.mark.parametrize(
    ("limit", "field", "words"),
    [
        (LISTERIA | {"longest_gap": ""}, "longest_gap", "for the time between them to count"),
        (LISTERIA | {"z": "−1 °C"}, "z", "above 0"),
        (LISTERIA | {"reference": "hot"}, "reference", "is not a temperature"),
        (BAND | {"longest_gap": ""}, "longest_gap", "counts whole"),
        (BAND | {"steps": ["hold", "hold"]}, "steps", "names a step twice"),
        (BAND | {"steps": "hold"}, "steps", "must be a list of ids"),
        (extra(kind="accurate"), "", "Fill in the figures of this limit (accurate)"),
        (extra(kind="accurate", within="24 h", tolerance="−1 °F"), "tolerance", "not be below 0"),
    ],
)
def test_a_figure_that_is_wrong_is_named(limit: dict[str, Any], field: str, words: str) -> None:
    point = SMOKE if limit["kind"] == "lethality" else HOLD
    [(path, text)] = told(point, limit)
    assert path == f"{point}.limits.2" + (f".{field}" if field else "")
    assert words in text


def test_what_counts_together_must_be_read_too() -> None:
    [(path, text)] = told(PACK, BAND)
    assert path == NEXT[PACK]
    assert "Say how often this is read" in text
    [(path, _)] = told(PACK, LISTERIA)
    assert path == NEXT[PACK]


OVER: dict[str, tuple[list[str], str]] = {
    "no step of the plan": (["cellar", "hold"], "There is no step “cellar”"),
    "its own step left out": (["brine"], f"Its own step, “{NAMES['hold']}”, must be one"),
    "a step left out between": (["brine", "hold"], f"“{NAMES[MIDDLE[0]]}” is left out between them"),
    "a step that nobody has to read": (BETWEEN, f"Nobody has to read the place at “{NAMES[MIDDLE[0]]}”"),
}  # fmt: skip


@pytest.mark.parametrize("case", OVER)
def test_the_steps_of_an_exposure_are_held_against_the_plan(case: str) -> None:
    steps, words = OVER[case]
    found = told(HOLD, BAND | {"steps": steps})
    assert [path for path, _ in found] == [f"{HOLD}.limits.2.steps"]
    assert words in found[0][1]


def test_an_exposure_inside_a_combination_ends_at_its_own_step() -> None:
    after = ORDER[ORDER.index("hold") + 1]
    part = {key: value for key, value in BAND.items() if key != "id"} | {"steps": ["hold", after]}
    whole = extra(kind="all of", limits=[part, {"kind": "observed", "what": "ice"}])
    [(path, text)] = told(HOLD, whole)
    assert path == f"{HOLD}.limits.2.limits.0.steps"
    assert "Inside a combination it is judged at its own step" in text


def test_an_exposure_may_run_on_into_the_step_after_its_own_where_that_is_read() -> None:
    after = ORDER[ORDER.index("hold") + 1]
    [(_, text)] = told(HOLD, BAND | {"steps": ["hold", after]})
    assert f"Nobody has to read the place at “{NAMES[after]}”" in text


def test_an_exposure_over_its_own_step_alone_may_name_it() -> None:
    assert told(HOLD, BAND | {"steps": ["hold"]}) == []


def test_an_exposure_over_steps_that_are_all_read_bars_nothing() -> None:
    steps = [step for step in CONTENT["steps"] if step["id"] not in MIDDLE]
    assert told(HOLD, BAND | {"steps": ["brine", "hold"]}, steps=steps) == []
    [(_, text)] = told(HOLD, BAND | {"steps": ["brine", "hold"], "of": "fish"}, steps=steps)[:1]
    assert "how often this is read" in text or "Nobody has to read the fish" in text


def test_nothing_counts_where_nothing_so_warm_is_allowed() -> None:
    cold = extra(kind="at most", of="fish", at_most="144 °F") | {"id": "cold"}
    content = changed({f"{SMOKE}.limits.0": LISTERIA, f"{SMOKE}.limits.+": cold})
    [fault] = faults(content)
    assert "cannot both hold" in fault.text
    cold["at_most"] = "146 °F"
    assert faults(changed({f"{SMOKE}.limits.0": LISTERIA, f"{SMOKE}.limits.+": cold})) == []


def test_heat_for_longer_than_it_may_be_warm_is_named() -> None:
    band = BAND | {"of": "fish", "at_most": "29 min"}
    [(path, text)] = told(SMOKE, band, **{f"{SMOKE}.limits.0.operating": GONE})
    assert path == f"{SMOKE}.limits.2"
    assert "cannot both hold" in text


@pytest.mark.parametrize(
    ("point", "limit"),
    [
        (SMOKE, BAND | {"of": "fish", "at_most": "30 min"}),
        (SMOKE, BAND | {"of": "fish", "at_most": "29 min", "up_to": "135 °F (57.2 °C)"}),
        (SMOKE, BAND | {"of": "fish", "above": "145 °F (62.8 °C)", "at_most": "1 min"}),
    ],
)
def test_a_band_that_leaves_room_for_the_heat_is_no_contradiction(
    point: str, limit: dict[str, Any]
) -> None:
    found = faults(changed({f"{point}.limits.0.operating": GONE, f"{point}.limits.+": limit}))
    assert found == []


def test_equivalent_time_that_cannot_be_had_within_the_step_is_named() -> None:
    # 65 °C for 5 min: 5 × 10^((65 − 70) ÷ 7.5) = 1.077 min, computed; 10 min would do: 2.154 min
    heat = {"kind": "at most", "of": "fish", "at_most": "65 °C"}
    for most, short in (("5 min", True), ("10 min", False)):
        parts = [LISTERIA, heat, {"kind": "duration", "at_most": most}]
        whole = extra(kind="all of", of="fish", limits=[
            {key: value for key, value in part.items() if key != "id"} for part in parts])  # fmt: skip
        content = changed({f"{SMOKE}.limits.+": whole, f"{SMOKE}.limits.0": GONE})
        texts = [f.text for f in faults(content)]
        if short:
            assert texts and texts[0].startswith("Even 65 °C throughout 5 min"), texts
            assert "only 1.077 min at 70 °C" in texts[0]
        else:
            assert texts == []


def alone(*hazards: str, **more: Any) -> list[tuple[str, str]]:
    """A plan whose only heat at the smoking is equivalent time."""
    content = changed({f"{SMOKE}.hazards": list(hazards), f"{SMOKE}.limits.0": LISTERIA} | more)
    return [(fault.path, fault.text) for fault in faults(content)]


def test_equivalent_time_never_stands_in_where_smoking_controls_botulinum() -> None:
    assert alone("listeria", "s-aureus") == []
    [(path, text)] = alone("listeria", "s-aureus", "c-botulinum")
    assert path == f"{SMOKE}.limits.0"
    assert text.startswith(NOT_BOTULINUM)


def test_with_the_heat_kept_beside_it_equivalent_time_may_stand() -> None:
    assert told(SMOKE, LISTERIA, **{f"{SMOKE}.hazards.+": "c-botulinum"}) == []


def test_the_heat_under_a_condition_is_not_kept_beside_it() -> None:
    heat = CONTENT["control_points"][int(SMOKE.split(".")[1])]["limits"][0]
    either = extra(kind="any of", of="fish", limits=[
        {key: value for key, value in part.items() if key not in ("id", "operating")}
        for part in (LISTERIA, heat)])  # fmt: skip
    content = changed({f"{SMOKE}.hazards.+": "c-botulinum", f"{SMOKE}.limits.0": either})
    texts = [fault.text for fault in faults(content)]
    assert any(text.startswith(NOT_BOTULINUM) for text in texts), texts


COMBINED = {
    "all of": ({"limits": [{"kind": "observed", "what": "a"}, {"kind": "observed", "what": "b"}]}, "its parts"),
    "any of": ({"limits": [{"kind": "observed", "what": "a"}, {"kind": "observed", "what": "b"}]}, "its parts"),
    "given": (
        {"if": {"kind": "duration", "longer_than": "4 h"}, "then": {"kind": "observed", "what": "ice"}},
        "its parts"),
    "observed": ({"what": "ice"}, "found so or not"),
}  # fmt: skip


@pytest.mark.parametrize("kind", COMBINED)
def test_a_combination_has_no_operating_limit_of_its_own(kind: str) -> None:
    data, words = COMBINED[kind]
    limit = extra(kind=kind, **data, operating={"what": "more ice", **SOURCED})
    [(path, text)] = told(PACK, limit)
    assert path == f"{NEXT[PACK]}.operating"
    assert words in text


def test_the_cases_stand_where_they_say() -> None:
    assert MIDDLE and BRINE != HOLD and RECEIVING and HAZARDS["c-botulinum"]


# --- what chilled packs without air rest on --------------------------------------------------------

CHILLED = content_of("hot-smoked-vacuum-chilled")
STUDIED = {"product.process_study": "Study 1, 2026"}
[SALT] = [
    f"control_points.{n}.limits.{k}"
    for n, point in enumerate(CHILLED["control_points"])
    for k, limit in enumerate(point["limits"])
    if limit["id"] == "water-phase-salt"
]  # fmt: skip
BY_LABORATORY = {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.5 %",
                 "laboratory": "yes"}  # fmt: skip


def of_chilled(changes: dict[str, Any]) -> list[str]:
    found = faults(changed(STUDIED | changes, "hot-smoked-vacuum-chilled"))
    return [fault.path for fault in found]


def test_a_chilled_pack_without_air_rests_on_salt_that_a_laboratory_shows() -> None:
    assert of_chilled({}) == []
    assert of_chilled({SALT: extra(**BY_LABORATORY)}) == []
    assert of_chilled({SALT: extra(**BY_LABORATORY, verified_within="90 days")}) == []
    assert of_chilled({SALT: GONE}) == ["control_points"]
    assert (
        of_chilled({SALT: GONE, "product.storage": "frozen"})[0] == "steps"
    )  # it is no other plan
    assert "control_points" not in of_chilled({SALT: GONE, "product.pack": "air"})


@pytest.mark.parametrize(
    "limit",
    [
        BY_LABORATORY | {"laboratory": "no"},
        BY_LABORATORY | {"when_sampled": "yes"},
        BY_LABORATORY | {"at_least": "", "at_most": "6 %"},
        BY_LABORATORY | {"quantity": "salt"},
        {"kind": "any of", "limits": [BY_LABORATORY, {"kind": "observed", "what": "salty"}]},
        {"kind": "given", "if": {"kind": "observed", "what": "thick"}, "then": BY_LABORATORY},
    ],
)
def test_salt_that_may_be_gone_round_shows_nothing(limit: dict[str, Any]) -> None:
    assert of_chilled({SALT: extra(**limit)}) == ["control_points"]


def test_a_way_with_nitrite_is_left_alone_where_one_of_the_fish_may_have_it() -> None:
    one = [row for row in CHILLED["species"] if row["code"] == "SAB"]
    trout = {"code": "TRR", "name": "Rainbow trout", "origin": "farmed", "scombrotoxin": "no"}
    assert of_chilled({"species": [*one, trout]}) == []
    assert of_chilled({"species": [trout]}) == [f"{SALT}.limits.1.limits.1"]


def test_one_of_two_ways_of_salting_may_be_passed_by() -> None:
    step = {"id": "dry-salt", "name": "Dry-salt", "kind": "dry-salt", "place_kind": "cooler",
            "required": "no", "logger": "no"}  # fmt: skip
    point = changed({})["control_points"][int(BRINE.rpartition(".")[2])]
    cure = next(limit for limit in point["limits"] if limit["kind"] == "cure")
    other = point | {"id": "dry-salt", "step": "dry-salt", "limits": [cure | {"id": "cure-dry"}]}
    bare = faults(changed({"steps.+": step}))
    assert [fault.path for fault in bare] == [f"steps.{len(CONTENT['steps'])}"]
    both = {"steps.+": step, "control_points.+": other}
    assert faults(changed(both)) == []
    found = faults(changed(both | {f"{STEPS['brine']}.required": "no"}))
    assert {fault.path.rpartition(".")[2] for fault in found} == {"step"}
