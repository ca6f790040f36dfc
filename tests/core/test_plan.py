"""What bars a plan from being published, and what a plan answers."""

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lots.core.limits import demand
from lots.core.plan import BadPlan, Fault, Plan, faults, plan_from, publishable
from lots.core.plan_content import misshapen, unstorable
from lots.core.plan_sources import changes
from lots.core.rules import rules_from

FIXTURES = Path(__file__).parents[2] / "fixtures"
FROZEN = "hot-smoked-vacuum-frozen"
GONE = object()


def content_of(name: str = FROZEN) -> dict[str, Any]:
    return tomllib.loads((FIXTURES / "plans" / f"{name}.toml").read_text(encoding="utf-8"))


def changed(changes: dict[str, Any], name: str = FROZEN) -> dict[str, Any]:
    """A starting plan with the fields at these paths set, appended ("+") or taken out (GONE)."""
    content = content_of(name)
    for path, value in changes.items():
        *way, last = path.split(".")
        spot: Any = content
        for key in way:
            spot = spot[int(key)] if isinstance(spot, list) else spot[key]
        if last == "+":
            spot.append(value)
        elif value is GONE:
            del spot[int(last) if isinstance(spot, list) else last]
        else:
            spot[int(last) if isinstance(spot, list) else last] = value
    return content


# Where things stand in the starting plan that the cases below change.
CONTENT = content_of()
POINTS = {point["id"]: f"control_points.{n}" for n, point in enumerate(CONTENT["control_points"])}
STEPS = {step["id"]: f"steps.{n}" for n, step in enumerate(CONTENT["steps"])}
HAZARDS = {row["id"]: f"hazards.{n}" for n, row in enumerate(CONTENT["hazards"])}
RECEIVING, BRINE, HOLD = POINTS["receiving"], POINTS["brine"], POINTS["cold-hold"]
SMOKE, COOL, PACK = POINTS["smoke"], POINTS["cool"], POINTS["pack"]
FREEZE, STORAGE = POINTS["freeze"], POINTS["storage"]
NEXT = {path: f"{path}.limits.{len(CONTENT['control_points'][n]['limits'])}"
        for n, path in enumerate(POINTS.values())}  # where one more limit would stand  # fmt: skip
LIMITS = {limit["id"]: f"control_points.{n}.limits.{k}"
          for n, point in enumerate(CONTENT["control_points"])
          for k, limit in enumerate(point["limits"])}  # fmt: skip
SOURCED = {"source": "common practice", "flag": "to be confirmed"}


def test_the_plan_that_the_cases_change_has_no_faults() -> None:
    assert faults(content_of()) == []
    assert publishable(content_of())


# name of the case: what is changed → where the fault stands, and words that it says
CASES: dict[str, tuple[dict[str, Any], str, str]] = {
    "no title": ({"title": " "}, "title", "title"),
    "no product name": ({"product.name": ""}, "product.name", "Name the product"),
    "no intended use": ({"product.intended_use": GONE}, "product.intended_use", "used"),
    "no consumer": ({"product.consumer": ""}, "product.consumer", "eat it"),
    "no shelf life": ({"product.shelf_life": ""}, "product.shelf_life", "keeps"),
    "shelf life without source": ({"product.shelf_life_source": ""}, "product.shelf_life_source", "from"),
    "shelf life without flag": ({"product.shelf_life_flag": "sure"}, "product.shelf_life_flag", "one of"),
    "no distribution": ({"product.distribution": ""}, "product.distribution", "buyer"),
    "an unknown pack": ({"product.pack": "tin"}, "product.pack", "vacuum"),
    "no storage": ({"product.storage": GONE}, "product.storage", "chilled, frozen"),
    "no statement on a vacuum pack": ({"product.statement": ""}, "product.statement", "Keep frozen"),
    "no species": ({"species": []}, "species", "at least one species"),
    "a species without code": ({"species.0.code": ""}, "species.0.code", "FAO code"),
    "a species without name": ({"species.1.name": ""}, "species.1.name", "name"),
    "a species without origin": ({"species.1.origin": "pond"}, "species.1.origin", "farmed"),
    "scombrotoxin neither yes nor no": ({"species.1.scombrotoxin": ""}, "species.1.scombrotoxin", "yes, no"),
    "an unknown hazard in the analysis": (
        {"hazards.+": {"id": "mould", "hazard": "mould", "name": "Mould", "significant": "no", "why": "Dry."}},
        f"hazards.{len(CONTENT['hazards'])}.hazard", "one of",
    ),
    "a prerequisite id twice": ({"prerequisites.+": {"id": "knives", "name": "More knives"}},
        f"prerequisites.{len(CONTENT['prerequisites'])}.id", "Two prerequisites"),
    "a looser operating limit deep inside": (
        {f"{RECEIVING}.limits.0.limits.0.limits.0.operating.at_most": "42 °F"},
        f"{RECEIVING}.limits.0.limits.0.limits.0.operating", "looser",
    ),
    "a species twice": ({"species.1.code": "TRR"}, "species.1.code", "Two species"),
    "a scombrotoxin former unheeded": (
        {"species.0.scombrotoxin": "yes"},
        f"{HAZARDS['scombrotoxin']}.significant",
        "Rainbow trout forms scombrotoxin",
    ),
    "an unknown step kind": ({f"{STEPS['dispatch']}.kind": "sell"}, f"{STEPS['dispatch']}.kind", "one of"),
    "an unknown place kind": ({f"{STEPS['thaw']}.place_kind": "sink"}, f"{STEPS['thaw']}.place_kind", "table"),
    "required neither yes nor no": ({f"{STEPS['rinse']}.required": ""}, f"{STEPS['rinse']}.required", "yes, no"),
    "logger neither yes nor no": ({f"{STEPS['rinse']}.logger": "1"}, f"{STEPS['rinse']}.logger", "yes, no"),
    "a step without name": ({f"{STEPS['rinse']}.name": ""}, f"{STEPS['rinse']}.name", "Name the step"),
    "a step id twice": ({f"{STEPS['rinse']}.id": "thaw"}, f"{STEPS['rinse']}.id", "Two steps"),
    "a step id with a space": ({f"{STEPS['rinse']}.id": "r 1"}, f"{STEPS['rinse']}.id", "small letters"),
    "receiving not first": ({"steps.0.kind": "thaw", "steps.1.kind": "receiving"}, "steps.0.kind", "first"),
    "a controlled step that a lot may pass by": (
        {f"{STEPS['brine']}.required": "no"}, f"{BRINE}.step", "required for release"
    ),
    "no smoking step": ({f"{STEPS['smoke']}.kind": "cool"}, "steps", "smoke"),
    "no freezing step": ({f"{STEPS['freeze']}.kind": "chill"}, "steps", "freeze"),
    "a hazard left out": ({HAZARDS["metal"]: GONE}, "hazards", "metal"),
    "a hazard neither yes nor no": ({f"{HAZARDS['metal']}.significant": ""}, f"{HAZARDS['metal']}.significant", "yes, no"),
    "a hazard without why": ({f"{HAZARDS['metal']}.why": ""}, f"{HAZARDS['metal']}.why", "why"),
    "a hazard id twice": ({f"{HAZARDS['metal']}.id": "parasites"}, f"{HAZARDS['metal']}.id", "Two hazards"),
    "a significant hazard controlled nowhere": (
        {f"{HAZARDS['metal']}.significant": "yes", f"{HAZARDS['metal']}.prerequisites": []},
        HAZARDS["metal"], "say where it is controlled",
    ),
    "an unknown prerequisite": (
        {f"{HAZARDS['metal']}.prerequisites": ["magnet"]}, f"{HAZARDS['metal']}.prerequisites.0", "magnet"
    ),
    "a prerequisite without name": ({"prerequisites.0.name": ""}, "prerequisites.0.name", "Name"),
    "an unknown step at a control point": ({f"{HOLD}.step": "cellar"}, f"{HOLD}.step", "cellar"),
    "an unknown hazard at a control point": ({f"{HOLD}.hazards.+": "mould"}, f"{HOLD}.hazards.1", "mould"),
    "a hazard said not to matter at a control point": ({f"{HOLD}.hazards.+": "metal"}, f"{HOLD}.hazards.1", "metal"),
    "a control point without hazard": ({f"{HOLD}.hazards": []}, f"{HOLD}.hazards", "hazard"),
    "a control point without name": ({f"{HOLD}.name": ""}, f"{HOLD}.name", "Name"),
    "a control point id twice": ({f"{HOLD}.id": "brine"}, f"{HOLD}.id", "Two control points"),
    "no limit": ({f"{PACK}.limits": []}, f"{PACK}.limits", "critical limit"),
    "no monitoring": ({f"{HOLD}.monitoring": []}, f"{HOLD}.monitoring", "monitoring"),
    "monitoring without what": ({f"{HOLD}.monitoring.0.what": ""}, f"{HOLD}.monitoring.0.what", "what"),
    "monitoring without how": ({f"{HOLD}.monitoring.0.how": ""}, f"{HOLD}.monitoring.0.how", "how"),
    "monitoring without frequency": ({f"{HOLD}.monitoring.0.frequency": ""}, f"{HOLD}.monitoring.0.frequency", "how often"),
    "monitoring without who": ({f"{HOLD}.monitoring.0.who": ""}, f"{HOLD}.monitoring.0.who", "who"),
    "no action for the fish": ({f"{HOLD}.corrective_action.fish": ""}, f"{HOLD}.corrective_action.fish", "fish"),
    "no action for the cause": ({f"{HOLD}.corrective_action.cause": ""}, f"{HOLD}.corrective_action.cause", "cause"),
    "no verification": ({f"{HOLD}.verification": ""}, f"{HOLD}.verification", "verified"),
    "no record": ({f"{HOLD}.record": ""}, f"{HOLD}.record", "record"),
    "a limit id twice": ({f"{HOLD}.limits.1.id": "brine-read"}, f"{HOLD}.limits.1.id", "Two limits"),
    "a limit without id": ({f"{PACK}.limits.0.id": ""}, f"{PACK}.limits.0.id", "id"),
    "a limit without source": ({f"{HOLD}.limits.0.source": ""}, f"{HOLD}.limits.0.source", "comes from"),
    "a limit without flag": ({f"{HOLD}.limits.0.flag": "law"}, f"{HOLD}.limits.0.flag", "to be confirmed"),
    "a part of a limit without source": (
        {f"{RECEIVING}.limits.0.limits.1.source": GONE}, f"{RECEIVING}.limits.0.limits.1.source", "comes from"
    ),
    "an operating limit without source": (
        {f"{HOLD}.limits.0.operating.source": ""}, f"{HOLD}.limits.0.operating.source", "comes from"
    ),
    "a figure that cannot be read": ({f"{HOLD}.limits.0.at_most": "cold"}, f"{HOLD}.limits.0.at_most", "not a temperature"),
    "a missing figure": ({f"{HOLD}.limits.0.at_most": ""}, f"{HOLD}.limits.0.at_most", "Fill in “at most”"),
    "a figure without unit": ({f"{PACK}.limits.0.at_most": "2"}, f"{PACK}.limits.0.at_most", "length of time"),
    "a figure deep inside a limit": (
        {f"{BRINE}.limits.2.then.limits.0.at_most": "38"}, f"{BRINE}.limits.2.then.limits.0.at_most", "38"
    ),
    "an unknown kind": ({f"{PACK}.limits.1.kind": "hoped"}, f"{PACK}.limits.1.kind", "hoped"),
    "a cooling stage that cannot be read": (
        {f"{COOL}.limits.0.stages.1.within": "soon"}, f"{COOL}.limits.0.stages.1.within", "soon"
    ),
    "a cooling stage without time": (
        {f"{COOL}.limits.0.stages.1.within": ""}, f"{COOL}.limits.0.stages.1.within", "Fill in"
    ),
    "a cooling without stages": ({f"{COOL}.limits.0.stages": []}, f"{COOL}.limits.0", "at least one stage"),
    "a subject that is none": ({f"{PACK}.limits.0.of": "cat"}, f"{PACK}.limits.0.of", "must be one of"),
    "an operating figure that cannot be read": (
        {f"{HOLD}.limits.0.operating.at_most": "cool"}, f"{HOLD}.limits.0.operating.at_most", "cool"
    ),
    "a cooling that goes up": ({f"{COOL}.limits.0.stages.1.to": "80 °F"}, f"{COOL}.limits.0", "does not go down"),
    "heat without a longest gap": ({f"{SMOKE}.limits.0.longest_gap": ""}, f"{SMOKE}.limits.0.longest_gap", "far apart"),
    "a looser operating limit": (
        {f"{HOLD}.limits.0.operating.at_most": "42 °F"}, f"{HOLD}.limits.0.operating", "looser"
    ),
    "an operating limit that can never be met": (
        {f"{PACK}.limits.0.operating": {"at_least": "3 h", "at_most": "2 h", **SOURCED}},
        f"{PACK}.limits.0.operating", "cannot both hold",
    ),
    "a limit on readings that nobody has to take": ({f"{HOLD}.limits.1": GONE}, f"{HOLD}.limits.0", "how often"),
    "heat that nobody has to read": ({f"{SMOKE}.limits.1": GONE}, f"{SMOKE}.limits.0", "how often"),
    "a room that nobody has to read": (
        {f"{BRINE}.limits.2.then.limits.1.of": "place"}, f"{BRINE}.limits.2.then.limits.0", "room"
    ),
    "a logger's step without a time for the file": (
        {f"{BRINE}.limits.1.file_within": ""}, f"{BRINE}.limits.1.file_within", "how long after"
    ),
    "a time for a file on a step without logger": (
        {f"{HOLD}.limits.1.file_within": "2 h"}, f"{HOLD}.limits.1.file_within", "No data logger"
    ),
    "a salting step at which nothing is said of nitrite": (
        {LIMITS["cure"]: GONE}, STEPS["brine"], "in which fish nitrite may go"
    ),
    "a row without the rule's number": (
        {f"{LIMITS['cure']}.permitted.0.rule": ""}, f"{LIMITS['cure']}.permitted.0.rule", "number of the rule"
    ),
    "a row without a most": (
        {f"{LIMITS['cure']}.permitted.1.at_most": ""}, f"{LIMITS['cure']}.permitted.1.at_most", "most nitrite"
    ),
    "a row whose least is above its most": (
        {f"{LIMITS['cure']}.permitted.1.at_least": "300 ppm"}, f"{LIMITS['cure']}.permitted.1.at_least", "above the most"
    ),
    "a row in another unit": (
        {f"{LIMITS['cure']}.permitted.0.at_most": "0.02 %"}, f"{LIMITS['cure']}.permitted.0.at_most", "needs its unit"
    ),
    "a row of no species": (
        {f"{LIMITS['cure']}.permitted.0.species": []}, f"{LIMITS['cure']}.permitted.0.species", "FAO codes"
    ),
    "a row whose species is no code": (
        {f"{LIMITS['cure']}.permitted.0.species": ["salmon"]}, f"{LIMITS['cure']}.permitted.0.species", "FAO code"
    ),
    "a species in two rows": (
        {f"{LIMITS['cure']}.permitted.2.species": ["SAB"]}, f"{LIMITS['cure']}.permitted.2.species", "two rows"
    ),
    "an operating limit of where nitrite may go": (
        {f"{LIMITS['cure']}.operating": {"rule": "stricter", **SOURCED}}, f"{LIMITS['cure']}.operating", "no operating limit"
    ),
    "a declaration of no time": (
        {f"{LIMITS['declared']}.longer_than": ""}, f"{LIMITS['declared']}.longer_than", "Fill in"
    ),
    "a declaration after nothing": (
        {f"{LIMITS['declared']}.longer_than": "0 h"}, f"{LIMITS['declared']}.longer_than", "longer than nothing"
    ),
    "a looser operating declaration": (
        {f"{LIMITS['declared']}.operating": {"longer_than": "5 h", **SOURCED}}, f"{LIMITS['declared']}.operating", "looser"
    ),
    "a declaration where nobody is asked": (
        {f"{PACK}.limits.+": {"id": "extra", "kind": "declared", "longer_than": "4 h", **SOURCED}},
        f"{NEXT[PACK]}.kind", "Only of brining",
    ),
    "nitrite looked for where none goes in": (
        {f"{PACK}.limits.+": {"id": "extra", "kind": "cure", "permitted": [], **SOURCED}},
        f"{NEXT[PACK]}.kind", "Only of brining",
    ),
    "packs that go on to no step": (
        {f"{LIMITS['to-freezer']}.by": "cellar"}, f"{LIMITS['to-freezer']}.by", "There is no step “cellar”"
    ),
    "packs that go back": (
        {f"{LIMITS['to-freezer']}.by": "smoke"}, f"{LIMITS['to-freezer']}.by", "does not come after"
    ),
    "packs that go on to their own step": (
        {f"{LIMITS['to-freezer']}.by": "pack"}, f"{LIMITS['to-freezer']}.by", "does not come after"
    ),
    "a looser operating time to the freezer": (
        {f"{LIMITS['to-freezer']}.operating": {"within": "7 h", **SOURCED}}, f"{LIMITS['to-freezer']}.operating", "looser"
    ),
    "a sample that no laboratory is asked of": (
        {f"{LIMITS['listeria-sampled']}.laboratory": ""}, f"{LIMITS['listeria-sampled']}.when_sampled", "laboratory"
    ),
    "a nitrite wanted in fish that may have none": (
        {"species": [{"code": "TRR", "name": "Rainbow trout", "origin": "farmed", "scombrotoxin": "no"}],
         f"{PACK}.limits.+": {"id": "extra", "kind": "measured", "quantity": "sodium nitrite", "at_least": "100 ppm",
                      "laboratory": "yes", **SOURCED}},
        NEXT[PACK], "no row of the limit “cure” permits it",
    ),
    "frozen, but stored above freezing": (
        {f"{STORAGE}.limits.0.at_most": "40 °F", f"{STORAGE}.limits.0.operating": GONE},
        STEPS["storage"], "below freezing",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_a_plan_is_not_published_with(case: str) -> None:
    changes, path, words = CASES[case]
    found = faults(changed(changes))
    assert path in [fault.path for fault in found]
    assert any(words in fault.text for fault in found if fault.path == path), found
    assert not publishable(changed(changes))


ALONE = [
    name
    for name in CASES
    # These take away what other rows rest on, so that more than one thing is said.
    if name not in ("a hazard id twice", "no limit", "no smoking step", "a hazard left out", "a limit without id")
]  # fmt: skip


@pytest.mark.parametrize("case", ALONE)
def test_one_fault_is_said_once(case: str) -> None:
    changes, path, _ = CASES[case]
    assert [fault.path for fault in faults(changed(changes))] == [path]


def extra(**limit: Any) -> dict[str, Any]:
    return {"id": "extra", **SOURCED, **limit}


CONTRADICTIONS: dict[str, tuple[str, dict[str, Any]]] = {
    "at least against at most": (HOLD, extra(kind="at least", of="place", at_least="70 °F")),
    "one step further in the other unit": (HOLD, extra(kind="at least", of="place", at_least="4.5 °C")),
    "whole step against last reading": (
        HOLD, extra(kind="at least", of="place", at_least="70 °F", window="last reading")
    ),
    "heat against cold": (SMOKE, extra(kind="at most", of="fish", at_most="90 °F")),
    "a band above what cooling asks for": (COOL, extra(kind="at least", of="fish", at_least="50 °F")),
    "longer than, against at most": (PACK, extra(kind="duration", longer_than="2 h")),
    "at least, against at most": (PACK, extra(kind="duration", at_least="3 h")),
    "longer than what the step may last": (
        SMOKE, extra(kind="all of", limits=[
            {"kind": "duration", "at_most": "20 min"}, {"kind": "observed", "what": "smoke"}])
    ),
    "inside one branch of any of": (
        HOLD, extra(kind="any of", limits=[
            {"kind": "at least", "of": "place", "at_least": "70 °F"}, {"kind": "observed", "what": "ice"}])
    ),
    "when the condition holds": (
        HOLD, extra(kind="given", **{"if": {"kind": "duration", "longer_than": "4 h"},
            "then": {"kind": "at least", "of": "place", "at_least": "70 °F"}})
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CONTRADICTIONS)
def test_limits_that_cannot_both_hold_are_named(case: str) -> None:
    point, limit = CONTRADICTIONS[case]
    found = faults(changed({f"{point}.limits.+": limit}))
    assert [fault.text for fault in found if "cannot both hold" in fault.text] != []
    assert all(fault.path.startswith(f"{point}.limits.") for fault in found)


def test_a_limit_that_contradicts_itself_is_named() -> None:
    alone = extra(kind="between", of="place", at_least="70 °F", at_most="40 °F")
    [fault] = faults(changed({f"{HOLD}.limits.+": alone}))
    assert fault.path.startswith(f"{HOLD}.limits.2")
    assert "cannot both hold" in fault.text


def test_longer_than_and_at_most_the_same_time_can_never_hold() -> None:
    never = extra(kind="duration", longer_than="4 h", at_most="4 h")
    [fault] = faults(changed({f"{HOLD}.limits.+": never}))
    assert fault == Fault(f"{HOLD}.limits.2", f"“{demand_of(never)}” can never hold: change it.")


def demand_of(limit: dict[str, Any]) -> str:
    return demand(plan_from(changed({f"{HOLD}.limits.+": limit})).held_at("hold")[-1][1])


COMPATIBLE: dict[str, tuple[str, dict[str, Any]]] = {
    "exactly on each other": (HOLD, extra(kind="at least", of="place", at_least="40 °F (4.4 °C)")),
    "another subject": (SMOKE, extra(kind="every", of="place", within="2 h")),
    "first reading against last": (
        BRINE, extra(kind="at least", of="place", at_least="70 °F", window="last reading")
    ),
    "heat after a cold start": (
        SMOKE, extra(kind="at most", of="fish", at_most="60 °F", window="first reading")
    ),
    "a condition that asks for what is limited elsewhere": (
        PACK, extra(kind="given", **{"if": {"kind": "duration", "longer_than": "3 h"},
            "then": {"kind": "observed", "what": "ice"}})
    ),
    "two branches of any of": (
        PACK, extra(kind="any of", limits=[
            {"kind": "measured", "quantity": "salt", "at_least": "5 %"},
            {"kind": "measured", "quantity": "salt", "at_most": "3 %"}])
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", COMPATIBLE)
def test_limits_that_can_both_hold_are_left_alone(case: str) -> None:
    point, limit = COMPATIBLE[case]
    changes = {f"{point}.limits.+": limit}
    if case == "exactly on each other":  # its operating limit of 38 °F could not be met
        changes[f"{point}.limits.0.operating"] = GONE
    assert faults(changed(changes)) == []


def test_an_operating_limit_that_a_second_limit_forbids_is_named() -> None:
    floor = extra(kind="at least", of="place", at_least="39 °F")
    [fault] = faults(changed({f"{HOLD}.limits.+": floor}))
    assert "cannot both hold" in fault.text


def test_every_in_one_branch_does_not_watch_another() -> None:
    branches = [
        {"kind": "at most", "of": "fish", "at_most": "40 °F"},
        {"kind": "every", "of": "fish", "within": "1 h"},
    ]
    limit = extra(kind="any of", limits=branches)
    [fault] = faults(changed({f"{PACK}.limits.+": limit}))
    assert fault.path == f"{NEXT[PACK]}.limits.0"


CHILLED = "hot-smoked-vacuum-chilled"


def test_a_chilled_vacuum_pack_without_study_is_published_only_as_kept_frozen() -> None:
    [fault] = faults(content_of(CHILLED))
    assert fault.path == "product.process_study"
    assert "can be published only as kept frozen" in fault.text


def test_a_process_study_lets_a_chilled_vacuum_pack_be_published() -> None:
    assert faults(changed({"product.process_study": "Study 4 of 2 March 2026"}, CHILLED)) == []


def test_another_reduced_oxygen_pack_needs_a_study_too() -> None:
    changes = {"product.pack": "other reduced oxygen"}
    assert [f.path for f in faults(changed(changes, CHILLED))] == ["product.process_study"]


def test_saying_frozen_is_not_enough_where_the_store_is_a_cooler() -> None:
    texts = [fault.text for fault in faults(changed({"product.storage": "frozen"}, CHILLED))]
    assert any("freeze" in text for text in texts)
    assert any("below freezing" in text for text in texts)


def test_a_chilled_plan_kept_frozen_throughout_can_be_published() -> None:
    content = changed({"product.storage": "frozen"}, CHILLED)
    step = next(s for s in content["steps"] if s["kind"] == "chill")
    step.update(kind="freeze", place_kind="freezer")
    point = next(p for p in content["control_points"] if p["step"] == "storage")
    point["limits"][0].update(at_most="0 °F (−18 °C)")
    del point["limits"][0]["operating"]
    assert faults(content) == []


def test_values_that_cannot_be_stored_are_said_first_and_alone() -> None:
    content = {
        "title": "",
        "steps": [{"required": True, "hours": 1.5, "big": 2**60, "half": "\ud800"}],
    }
    assert {fault.path for fault in faults(content)} == {
        "steps.0.required",
        "steps.0.hours",
        "steps.0.big",
        "steps.0.half",
    }


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("product", "fish"),
        ("steps", "brine"),
        ("species", ["TRR"]),
        (f"{HOLD}.limits", {"at_most": "40 °F"}),
        (f"{HOLD}.hazards", "s-aureus"),
        (f"{HOLD}.monitoring", ["daily"]),
        (f"{HOLD}.corrective_action", "none"),
        (f"{HOLD}.limits.0.operating", "38 °F"),
        (f"{COOL}.limits.0.stages", ["70 °F"]),
        (f"{BRINE}.limits.2.then", ["38 °F"]),
        (f"{HAZARDS['metal']}.prerequisites", "knives"),
    ],
)
def test_a_field_of_the_wrong_shape_is_named(path: str, value: Any) -> None:
    [fault] = faults(changed({path: value}))
    assert fault.path == path
    assert "must be a" in fault.text


def test_a_table_that_holds_itself_is_refused_not_followed() -> None:
    content: dict[str, Any] = {}
    content["product"] = content
    assert "nested too deeply" in faults(content)[0].text


scalars = st.none() | st.booleans() | st.floats() | st.integers() | st.text() | st.binary()
fields = st.text() | st.sampled_from(
    ["product", "species", "steps", "hazards", "control_points", "prerequisites", "limits", "stages", "if", "then", "operating", "of", "kind", "at_most", "at_least", "for", "within", "id", "source", "flag", "what", "quantity", "probes", "window", "step"]
)  # fmt: skip
words = st.sampled_from(
    [
        "all of",
        "any of",
        "given",
        "cooling",
        "maintained",
        "every",
        "duration",
        "40 °F",
        "2 h",
        "yes",
        "²",
    ]
)
anything = st.recursive(
    scalars | words,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(fields | st.integers(), inner, max_size=6)
    ),
    max_leaves=30,
)


@given(st.dictionaries(fields, anything, max_size=8))
@settings(max_examples=300, deadline=None)
def test_no_content_whatever_makes_faults_raise(content: dict[Any, Any]) -> None:
    assert faults(content), "a plan made at random cannot be complete"


def spots(node: Any) -> list[tuple[Any, Any]]:
    """Every place of a nested content: its container and its key."""
    keys = (
        list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    )
    found = [(node, key) for key in keys]
    return found + [deeper for key in keys for deeper in spots(node[key])]


@given(
    st.sampled_from(sorted(path.stem for path in (FIXTURES / "plans").glob("*.toml"))),
    st.lists(st.tuples(st.integers(0, 10**6), st.just(GONE) | anything), min_size=1, max_size=3),
)
@settings(max_examples=300, deadline=None)
def test_a_spoilt_plan_is_named_or_can_be_read(name: str, spoils: list[tuple[int, Any]]) -> None:
    content = content_of(name)
    for pick, value in spoils:
        places = spots(content)
        container, key = places[pick % len(places)]
        if value is GONE:
            del container[key]
        else:
            container[key] = copy.deepcopy(value)
    if not any(unstorable(content)) and not any(misshapen(content)):
        assert isinstance(changes(content, [content_of(name)]), list)  # it does not raise
    if publishable(content):
        plan = plan_from(content)
        assert all(
            plan.control_point_of(limit.id) for s in plan.steps for _, limit in plan.held_at(s.id)
        )
    else:
        try:
            plan_from(content)
        except BadPlan as error:
            assert error.faults


# --- what a plan answers ---------------------------------------------------------------------------


@pytest.fixture
def plan() -> Plan:
    return plan_from(content_of())


def test_an_unfinished_plan_can_be_read() -> None:
    plan = plan_from({"title": "A draft"})
    assert plan.title == "A draft"
    assert plan.required_steps == ()


def test_a_plan_with_a_limit_that_cannot_be_read_says_which() -> None:
    with pytest.raises(BadPlan) as refused:
        plan_from(changed({f"{HOLD}.limits.0.at_most": "cold"}))
    assert refused.value.faults[0].path == f"{HOLD}.limits.0.at_most"


def test_the_limits_of_a_step_are_those_of_its_control_points(plan: Plan) -> None:
    assert [limit.id for _, limit in plan.held_at("hold")] == ["hold-cold", "hold-read"]
    assert plan.held_at("rinse") == []


def test_a_part_of_a_limit_belongs_to_the_control_point_of_the_whole(plan: Plan) -> None:
    inner = [leaf.id for leaf in plan.held_at("receiving")[0][1].leaves()]
    assert inner[0].startswith("receiving-cold/")
    assert plan.control_point_of(inner[0]).id == "receiving"


def test_an_unknown_step_or_limit_is_a_key_error(plan: Plan) -> None:
    with pytest.raises(KeyError):
        plan.step("cellar")
    with pytest.raises(KeyError):
        plan.control_point_of("cellar-cold")


def test_steps_come_in_the_plans_order(plan: Plan) -> None:
    before = plan.step_before("cool")
    assert before is not None
    assert before.id == "smoke"
    assert plan.step_before("receiving") is None


def test_release_needs_the_steps_up_to_packing_and_freezing(plan: Plan) -> None:
    assert [step.id for step in plan.required_steps] == [
        "receiving", "brine", "smoke", "cool", "pack", "freeze"
    ]  # fmt: skip
    assert [step.id for step in plan.storage_steps] == ["storage"]


def test_records_are_kept_two_years_for_frozen_and_one_for_chilled_fish() -> None:
    # 21 CFR 123.9(b)(1)
    rules = rules_from(tomllib.loads((FIXTURES / "rules.toml").read_text(encoding="utf-8")))
    assert plan_from(content_of()).retention_years(rules) == 2
    assert plan_from(content_of(CHILLED)).retention_years(rules) == 1


def test_the_statement_of_a_frozen_pack_says_so(plan: Plan) -> None:
    assert plan.statement == "Keep frozen. Thaw under refrigeration immediately before use."


def test_a_hazard_knows_where_it_is_controlled(plan: Plan) -> None:
    assert [point.id for point in plan.controlled_at("listeria")] == ["smoke", "cool"]


def test_the_corrective_action_says_both_halves(plan: Plan) -> None:
    point = plan.control_point_of("hold-cold")
    assert point.fish_action in point.corrective_action
    assert point.cause_action in point.corrective_action


@pytest.mark.parametrize(
    ("said", "origin"), [("wild", "wild"), ("farmed", "farmed"), ("wild or farmed", "either")]
)
def test_a_plan_says_where_fish_of_a_species_may_come_from(said: str, origin: str) -> None:
    plan = plan_from(changed({"species.0.origin": said}))
    assert plan.origin_of("TRR") == origin
    with pytest.raises(KeyError):
        plan.origin_of("MAC")


def test_what_a_plan_says_of_use_and_ingredients_is_read_and_an_old_plan_says_nothing() -> None:
    product = plan_from(content_of()).product
    assert product.keeps_for is not None and product.keeps_for.text == "6 months"
    assert product.thawed_keeps_for is not None and product.thawed_keeps_for.count == 5
    assert product.use_by_from == "packing"
    assert product.ingredients_listed[:2] == ("salt", "brown sugar")
    keys = ("use_by", "use_by_from", "use_by_thawed", "ingredients", "jurisdiction")
    old = plan_from(changed({f"product.{key}": GONE for key in keys})).product
    assert (old.keeps_for, old.thawed_keeps_for, old.ingredients_listed) == (None, None, ())


def test_a_chilled_vacuum_pack_without_a_use_by_date_cannot_be_published() -> None:
    content = changed({"product.process_study": "a study", "product.use_by": GONE}, CHILLED)
    assert [fault.path for fault in faults(content)] == ["product.use_by"]
