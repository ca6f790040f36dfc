"""One control point over the last quarter of a year: which lots, which figures, and their drawing."""

from dataclasses import replace

import pytest

from lots.core.limits import Verdict
from lots.core.units import TempUnit
from lots.queries.control_point_history import History, history
from lots.queries.history_chart import Panel, panels
from lots.queries.house import rules
from tests.entries.roads import brined, finished, smoking
from tests.make import ZONE, Book, moment


def of(book: Book, point: str, at: str, lots: set[int] | None = None) -> History:
    found = history(book.version.plan, point, moment(at), lots)
    assert found is not None
    return found


def codes(found: History) -> list[str]:
    return [step.part.lot.code for step in found.steps]


def drawn(found: History) -> dict[str, Panel]:
    return {panel.text: panel for panel in panels(found, "F", ZONE)}


def test_a_point_that_no_version_has_has_no_history(book: Book) -> None:
    assert history(book.version.plan, "no-such-point", moment("12:00")) is None


def test_each_step_tells_its_figures_against_the_limits(book: Book) -> None:
    finished(book, "TR-1")
    finished(book, "TR-2", hottest="139")
    found = of(book, "smoke", "2026-03-05 08:00")
    assert codes(found) == ["TR-2", "TR-1"]
    assert [step.verdict for step in found.steps] == [Verdict.DEVIATION, Verdict.MET]
    assert found.in_words == [("DEVIATION", 1), ("MET", 1)]
    heat = found.steps[1].limits[0].judged.finding
    assert "45 min unbroken" in heat.figure


@pytest.mark.parametrize(("at", "shown"), [("2026-06-02 12:47", True), ("2026-06-02 13:49", False)])
def test_a_step_stands_in_it_for_ninety_days_after_its_end(
    at: str, shown: bool, book: Book
) -> None:
    lot = book.open_lot()
    brined(book, lot)
    book.end(smoking(book, lot), "12:48")
    assert bool(of(book, "smoke", at).steps) is shown


def test_a_step_that_runs_is_in_it_and_stands_at_now(book: Book) -> None:
    lot = book.open_lot()
    brined(book, lot)
    smoking(book, lot)
    (step,) = of(book, "smoke", "12:50").steps
    assert (step.ended_at, step.at) == (None, moment("12:50"))


def test_only_the_lots_asked_for_are_in_it(book: Book) -> None:
    first, _ = finished(book, "TR-1"), finished(book, "TR-2")
    assert codes(of(book, "smoke", "2026-03-05 08:00", {first.pk})) == ["TR-1"]
    assert codes(of(book, "smoke", "2026-03-05 08:00", set())) == []


def test_more_steps_than_fit_are_counted(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    one = replace(rules(), period=replace(rules().period, most_steps=1))
    monkeypatch.setattr("lots.queries.control_point_history.rules", lambda: one)
    finished(book, "TR-1")
    finished(book, "TR-2")
    found = of(book, "smoke", "2026-03-05 08:00")
    assert (len(found.steps), found.left_out) == (1, 1)


def test_each_limit_with_figures_is_drawn_once_with_a_mark_a_lot(book: Book) -> None:
    finished(book, "TR-1")
    finished(book, "TR-2", hottest="139")
    heat = next(
        p for text, p in drawn(of(book, "smoke", "2026-03-05 08:00")).items() if "145" in text
    )
    assert (heat.unit, heat.lots) == ("min", 2)
    wide = heat.drawings[0]
    assert [bound.text for bound in wide.bounds] == ["at least 30 min"]
    by_verdict = {mark.verdict: mark for mark in wide.marks}
    assert by_verdict["MET"].y < wide.bounds[0].y < by_verdict["DEVIATION"].y
    assert "TR-2" in by_verdict["DEVIATION"].words and "deviation" in by_verdict["DEVIATION"].words


def test_every_mark_and_line_lies_within_its_drawing(book: Book) -> None:
    finished(book, "TR-1", hottest="139")
    finished(book, "TR-2")
    for point in ("receiving", "brine", "smoke", "cool", "pack", "freeze", "storage"):
        for panel in panels(of(book, point, "2026-03-20 08:00"), "F", ZONE):
            for chart in panel.drawings:
                heights = [mark.y for mark in chart.marks] + [line.y for line in chart.bounds]
                assert all(chart.top <= y <= chart.floor for y in heights), (point, panel.text)
                assert all(chart.left < mark.x < chart.right for mark in chart.marks)
                assert len(chart.marks) == panel.lots


def test_a_point_of_alternatives_has_a_table_and_no_drawing(book: Book) -> None:
    book.open_lot()
    found = of(book, "receiving", "2026-03-05 08:00")
    assert len(found.steps) == 1
    assert panels(found, "F", ZONE) == []


@pytest.mark.parametrize(("unit", "words"), [("F", "at most 0 °F"), ("C", "at most −18 °C")])
def test_a_temperature_is_drawn_in_the_unit_of_the_house(
    unit: TempUnit, words: str, book: Book
) -> None:
    finished(book)
    cold = [p for p in panels(of(book, "freeze", "2026-03-05 08:00"), unit, ZONE) if "°" in p.unit]
    assert [bound.text for panel in cold for bound in panel.drawings[0].bounds] == [words]
    assert {panel.unit for panel in cold} == {f"°{unit}"}
