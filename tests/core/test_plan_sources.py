"""Figures changed under a source that states another: common sense of citing, no regulation's words."""

from copy import deepcopy
from typing import Any

import pytest

from lots.core.plan_sources import changes, source_faults

HEAT: dict[str, Any] = {
    "id": "heat",
    "kind": "maintained",
    "of": "fish",
    "at_least": "145 °F (62.8 °C)",
    "for": "30 min",
    "longest_gap": "20 min",
    "probes": 3,
    "source": "An invented code, section 1",
    "flag": "published",
    "longest_gap_source": "common practice",
    "longest_gap_flag": "to be confirmed",
    "operating": {
        "at_least": "150 °F",
        "for": "30 min",
        "source": "our house",
        "flag": "published",
    },
}
COOLING: dict[str, Any] = {
    "id": "cooling",
    "kind": "cooling",
    "of": "fish",
    "from": "140 °F",
    "stages": [
        {"to": "70 °F", "within": "2 h", "counted_from": "the start"},
        {"to": "41 °F", "within": "4 h", "counted_from": "the stage before"},
    ],
    "source": "An invented code, section 2",
    "flag": "published",
}


def plan(*limits: dict[str, Any]) -> dict[str, Any]:
    return {"control_points": [{"id": "point", "limits": [deepcopy(limit) for limit in limits]}]}


BEFORE = plan(HEAT, COOLING)


def with_(path: str, text: Any, **more: Any) -> dict[str, Any]:
    content = plan(HEAT, COOLING)
    for at, value in {
        path: text,
        **{key.replace("__", "."): one for key, one in more.items()},
    }.items():
        *above, last = at.split(".")
        place: Any = content["control_points"][0]["limits"]
        for key in above:
            place = place[int(key) if key.isdigit() else key]
        place[last] = value
    return content


def test_a_plan_compared_with_itself_has_no_changes() -> None:
    assert changes(BEFORE, [BEFORE]) == []


@pytest.mark.parametrize(
    ("path", "text", "told"),
    [
        ("0.at_least", "14,5 °F", "You changed 145 °F (62.8 °C) to 14,5 °F: "),
        ("0.for", "3 min", "You changed 30 min to 3 min: "),
        ("0.for", "30 s", "You changed 30 min to 30 s: "),
        ("0.probes", "", "You changed 3 to one probe: "),
        ("0.operating.at_least", "146 °F", "You changed 150 °F to 146 °F: "),
        ("1.stages.1.within", "14 h", "You changed 4 h to 14 h: "),
        ("1.stages.1.counted_from", "the start", "You changed the stage before to the start: "),
    ],
)
def test_a_changed_figure_still_called_published_is_a_fault_beside_it(
    path: str, text: str, told: str
) -> None:
    [fault] = source_faults(with_(path, text), [BEFORE])
    assert fault.path == f"control_points.0.limits.{path}"
    assert fault.text.startswith(f"{told}the source named no longer states it.")


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("0.at_least", "145 °F"),
        ("0.at_least", "62,8 °C"),
        ("0.at_least", "145°F (62.80 °C)"),
        ("0.for", "0.5 h"),
        ("1.stages.1.within", "240 min"),
    ],
)
def test_the_same_figure_written_otherwise_is_no_change(path: str, text: str) -> None:
    assert changes(with_(path, text), [BEFORE]) == []


def test_a_figure_to_be_confirmed_may_differ_and_is_told_all_the_same() -> None:
    content = with_("0.for", "20 min", **{"0__flag": "to be confirmed"})
    assert source_faults(content, [BEFORE]) == []
    [change] = changes(content, [BEFORE])
    assert (change.was, change.now, change.same_source) == ("30 min", "20 min", True)


def test_a_figure_with_a_source_of_its_own_is_no_fault_and_is_told_as_changed() -> None:
    content = with_("0.for", "20 min", **{"0__source": "An invented study"})
    assert source_faults(content, [BEFORE]) == []
    [change] = changes(content, [BEFORE])
    assert change.words == "You changed 30 min to 20 min"


def test_a_stop_added_to_the_old_source_does_not_make_it_another() -> None:
    content = with_("0.for", "20 min", **{"0__source": f"{HEAT['source'].upper()} ."})
    assert source_faults(content, [BEFORE])


def test_a_gap_to_be_confirmed_may_be_changed_and_not_called_published() -> None:
    assert source_faults(with_("0.longest_gap", "30 min"), [BEFORE]) == []
    content = with_("0.longest_gap", "30 min", **{"0__longest_gap_flag": "published"})
    assert [fault.path for fault in source_faults(content, [BEFORE])] == [
        "control_points.0.limits.0.longest_gap"
    ]


def test_a_figure_to_be_confirmed_cannot_vouch_for_itself_as_published() -> None:
    between = with_("0.for", "3 min", **{"0__flag": "to be confirmed"})
    assert source_faults(with_("0.for", "3 min"), [between, BEFORE])


def test_another_kind_of_limit_under_the_old_source_is_a_fault() -> None:
    content = plan({"id": "heat", "kind": "at least", "of": "fish", "at_least": "145 °F (62.8 °C)",
                    "source": HEAT["source"], "flag": "published"})  # fmt: skip
    [fault] = source_faults(content, [BEFORE])
    assert "maintained" in fault.text


def test_a_limit_taken_out_of_a_combination_leaves_the_others_unchanged() -> None:
    parts = [{key: one[key] for key in one if key != "id"} for one in (HEAT, COOLING)]
    whole = {"id": "both", "kind": "all of", "of": "fish", "limits": parts}
    content = plan(whole | {"limits": parts[1:]})
    assert changes(content, [plan(whole)]) == []


def test_a_limit_that_no_plan_before_has_is_no_change() -> None:
    assert changes(plan({**HEAT, "id": "new"}), [BEFORE]) == []
