"""What stands on a plan's forms."""

from typing import Any

from lots.core.plan import plan_from
from lots.core.plan_content import NOT_BOTULINUM
from lots.queries.plan_sheet import LimitSheet, plan_sheet
from lots.queries.plans import starting_limits, starting_plans


def sheet_with(kind: str, **more: Any) -> LimitSheet:
    """The form of a starting plan's smoking with one limit more, of the figures offered."""
    content: dict[str, Any] = starting_plans()["hot-smoked-vacuum-frozen"]
    row = next(row for row in starting_limits() if row["kind"] == kind)
    point = content["control_points"][3]
    point["limits"].append({"id": "more", "of": "fish", **row, **more})
    return plan_sheet(plan_from(content)).points[3].limits[-1]


def test_an_exposure_over_several_steps_names_them_as_the_plan_does() -> None:
    sheet = sheet_with("exposure", steps=["brine", "smoke"])
    for words in (sheet.sentence, sheet.figures[0].words):
        assert "“Brine”, “Hot smoke” and the time between together" in words


def test_heat_counted_together_says_on_paper_that_it_is_no_control_of_botulinum() -> None:
    assert sheet_with("lethality").caution == NOT_BOTULINUM
    assert sheet_with("maintained").caution == ""
