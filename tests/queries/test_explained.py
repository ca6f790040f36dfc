"""Why a verdict: for every kind of limit the figure, since when, and what would change it."""

from datetime import UTC, datetime
from typing import Any

import pytest

from lots.core import judging
from lots.core.folds import Finding
from lots.core.judging import Checked, Facts, Judgement, Use
from lots.core.limits import Limit, NotJudged, Verdict
from lots.core.plan import ControlPoint
from lots.models.lot import LoadPart
from lots.models.reading import Observation, Reading
from lots.queries.evidence import LoadEvidence
from lots.queries.explained import Explained, explain_all, explained, part_findings
from lots.queries.judgements import Judged, judge_parts, sitting_of
from lots.queries.rests_on import Behind
from tests.core.make import at, held, make_limit, make_step
from tests.entries.roads import brined, cooled, smoking
from tests.make import Book, moment

POINT = ControlPoint("smoke", "Hot smoking", "smoke", (), (), (), "Go on heating.", "Find out why.",
                     "", "")  # fmt: skip
HEAT = {"of": "fish", "at_least": "63 °C", "for_": "30 min", "longest_gap": "20 min"}
COOLING = {
    "of": "fish",
    "from_": "60 °C",
    "stages": [
        {"to": "21 °C", "within": "2 h"},
        {"to": "4 °C", "within": "4 h", "counted_from": "the stage before"},
    ],
}
EXPOSURE = {"of": "fish", "above": "10 °C", "at_most": "2 h", "longest_gap": "1 h"}
LETHALITY = {"of": "fish", "at_least": "10 min", "reference": "70 °C", "z": "7.5 °C"}


def show(ms: int) -> str:
    return f"{datetime.fromtimestamp(ms / 1000, UTC):%H:%M}"


def why(
    limit: Limit, finding: Finding, running: bool = True, rows: Behind | None = None, **more: Any
) -> Explained:
    judged = Judged(LoadPart(), POINT, limit, Judgement("limit", finding, **more))
    return explained(judged, [(limit, finding)], rows or Behind(), running, show)


def changes(limit: Limit, *pages: str, now: str = "", step: str = "08:00 on", **facts: Any) -> str:
    finding = held(limit, step, *pages, now=now, **facts)
    return " | ".join(why(limit, finding, running=step.endswith("on")).changes)


@pytest.mark.parametrize(
    ("limit", "page", "now", "words"),
    [
        (make_limit("at most", at_most="4 °C"), "08:10 3", "09:00",
         "a reading above 4 °C would break it"),
        (make_limit("at least", at_least="63 °C"), "08:10 64", "09:00",
         "a reading below 63 °C would break it"),
        (make_limit("between", at_least="1 °C", at_most="4 °C"), "08:10 3", "09:00",
         "a reading below 1 °C or above 4 °C would break it"),
        (make_limit("at least", at_least="63 °C", window="last reading"), "08:10 60", "09:00",
         "a reading at least 63 °C as the last reading"),
        (make_limit("at most", at_most="4 °C"), "", "09:00",
         "a reading at most 4 °C; with none the step's end breaks it"),
        (make_limit("maintained", **HEAT), "08:00 63, 08:15 63", "08:20",
         "30 min without a break at or above 63 °C; read again by 08:35, or the time starts anew"),
        (make_limit("maintained", **HEAT), "08:00 50", "08:20",
         "a reading on the wrong side starts the time anew"),
        (make_limit("maintained", **HEAT), "08:00 63, 08:15 63, 08:30 63", "08:40",
         "nothing in this step: heat or cold once had stays had"),
        (make_limit("maintained", of="fish", at_most="-20 °C", for_="7 days"), "08:00 -21", "08:40",
         "7 days without a break at or below -20 °C"),
        (make_limit("lethality", **LETHALITY), "08:00 70, 08:04 70", "08:20",
         "equivalent 6 min more at 70 °C"),
        (make_limit("lethality", **LETHALITY), "08:00 70, 08:14 70", "08:20",
         "nothing in this step"),
        (make_limit("exposure", **EXPOSURE), "08:00 12, 08:30 12", "08:40",
         "more than 80 min more above 10 °C would break it; without a reading at 10:00"),
        (make_limit("cooling", **COOLING), "08:00 61, 08:20 55", "08:40",
         "a reading at or below 21 °C by 10:00; later it is broken"),
        (make_limit("cooling", **COOLING), "08:00 61, 08:20 55, 09:00 21", "09:10",
         "a reading at or below 4 °C by 13:00; later it is broken"),
        (make_limit("cooling", **COOLING), "08:00 61, 08:20 55, 09:00 21, 10:00 4", "10:10",
         "a later rise restarts nothing"),
        (make_limit("duration", of="lot", at_least="1 h"), "", "08:20", "go on until 09:00"),
        (make_limit("duration", of="lot", at_most="1 h"), "", "08:20",
         "still running after 09:00 would break it"),
        (make_limit("every", within="1 h"), "08:10 3", "08:20",
         "no reading by 09:10 would break it"),
        (make_limit("every", within="1 h", file_within="2 h"), "08:10 3", "10:20",
         "the logger's file; without it"),
    ],
)  # fmt: skip
def test_a_running_limit_says_what_would_change_it(
    limit: Limit, page: str, now: str, words: str
) -> None:
    assert words in changes(limit, page, now=now)


def test_an_exposure_that_may_be_over_asks_for_a_reading_now() -> None:
    limit = make_limit("exposure", **(EXPOSURE | {"at_most": "30 min"}))
    said = changes(limit, "08:00 9", now="08:45")
    assert "read it now: only a reading before 09:00" in said
    assert "above 10 °C" in said


@pytest.mark.parametrize(
    ("limit", "facts", "words"),
    [
        (make_limit("measured", quantity="salt", at_least="3.5 %"), {},
         "salt measured in the step"),
        (make_limit("measured", quantity="salt", at_least="3.5 %", laboratory="yes"), {},
         "a laboratory's result"),
        (make_limit("measured", quantity="salt", at_least="3.5 %"), {"measured": {"salt": ["4"]}},
         "a sample that is not at least 3.5 % would break it"),
        (make_limit("observed", what="ice"), {}, "look for it before the step ends: ice"),
        (make_limit("observed", what="ice"), {"observed": {"ice": [True]}},
         "a look that does not find it so would break it"),
    ],
)  # fmt: skip
def test_a_fact_says_what_would_change_it(limit: Limit, facts: dict[str, Any], words: str) -> None:
    assert words in changes(limit, now="08:30", **facts)


def accurate(*checks: Checked) -> tuple[Limit, Finding]:
    limit = make_limit("accurate", of="fish", within="1 days")
    uses = {"fish": (Use("Thermometer 1", at("08:10"), at("08:40"), checks),)} if checks else {}
    return limit, judging.judge(limit, {}, Facts(make_step("08:00 on"), uses=uses), at("08:45"))


def test_an_instrument_limit_says_what_would_change_it() -> None:
    met = why(*accurate(Checked(at("07:00"), 0, True)))
    assert "found off at its next check" in met.changes[0]
    assert met.since == "last checked 07:00"
    waiting = why(*accurate())
    assert "names its instrument" in waiting.changes[0]
    broken = why(*accurate(Checked(at("07:00"), 0, False)))
    assert broken.since == "broken since 08:10, the newest breach 08:40"


def test_a_limit_without_figures_says_that_nothing_would_change_it() -> None:
    limit = Limit("limit", "lethality", NotJudged("lethality"), of="fish")
    found = judging.judge(limit, {}, Facts(make_step("08:00 on")), at("08:30"))
    assert "its figures are not stated" in why(limit, found).changes[0]


def test_a_deviation_says_since_when_and_what_ends_it() -> None:
    limit = make_limit("at most", at_most="4 °C")
    said = why(limit, held(limit, "08:00 on", "08:10 3, 08:20 5, 08:30 6", now="09:00"))
    assert said.opened
    assert said.since == "broken since 08:20, 2 times, the newest breach 08:30"
    assert "Go on heating. Find out why." in said.changes[0]
    assert "what becomes of all the fish is decided" in said.changes[1]
    assert len(said.changes) == 2


def test_a_deviation_for_want_of_readings_says_that_late_ones_need_the_reviewer() -> None:
    limit = make_limit("at most", at_most="4 °C")
    said = why(limit, held(limit, "08:00 to 09:00", ""), running=False)
    assert "only once the records reviewer accepts them" in said.changes[-1]


def test_an_operating_limit_says_what_to_adjust_also_while_the_heat_is_not_shown() -> None:
    limit = make_limit("at most", at_most="4 °C", operating={"at_most": "3 °C"})
    finding = held(limit, "08:00 on", "08:10 3.5", now="09:00")
    assert finding.verdict is Verdict.ADJUST
    said = why(limit, finding)
    assert said.opened
    assert "adjust the process until it is back at at most 3 °C" in said.changes[0]
    assert "above 4 °C would break it" in said.changes[1]


def test_what_is_met_is_closed_and_once_over_only_late_readings_change_it() -> None:
    limit = make_limit("at most", at_most="4 °C")
    said = why(limit, held(limit, "08:00 to 09:00", "08:10 3"), running=False)
    assert not said.opened
    assert said.changes == (
        "the step is over: only what is entered late or put right could change it",
    )


def test_an_either_or_says_that_one_is_enough() -> None:
    cold = {"id": "cold", "kind": "at most", "at_most": "4 °C"}
    iced = {"id": "iced", "kind": "observed", "what": "ice"}
    limit = make_limit("any of", of="fish", limits=[cold, iced])
    found = judging.judge(limit, {}, Facts(make_step("08:00 on")), at("08:30"))
    parts = [(one, judging.judge(one, {}, Facts(make_step("08:00 on")), at("08:30")))
             for one in limit.leaves()]  # fmt: skip
    said = explained(Judged(LoadPart(), POINT, limit, Judgement("limit", found)), parts, Behind(),
                     True, show)  # fmt: skip
    assert said.changes[0] == "one of these is enough:"
    assert "at most 4 °C" in said.changes[1]
    assert "look for it before the step ends: ice" in said.changes[2]


def test_readings_are_counted_with_the_first_and_the_last_and_the_late_ones_said() -> None:
    limit = make_limit("at most", at_most="4 °C")
    finding = held(limit, "08:00 on", "08:10 3", "08:10 3.5", now="09:00")
    rows = Behind(
        [Reading(observed_at=at("08:10"), entered_at=at("08:11")),
         Reading(observed_at=at("08:40"), entered_at=at("12:00")),
         Reading(observed_at=at("08:50"), entered_at=at("08:50"), corrects_id=1)],
        [Observation(observed_at=at("08:30"), entered_at=at("08:30"))],
    )  # fmt: skip
    said = why(limit, finding, rows=rows, rests_on_late=True).rests_on
    assert said == (
        "probe 2 governs, the least favourable",
        "3 readings by hand, the first 08:10, the last 08:50",
        "1 look, 08:30",
        "1 entered late, not accepted yet",
        "1 put right after it was entered",
        "with them it reads otherwise than as logged in time",
    )
    assert why(limit, finding).rests_on[-1] == "nothing yet"


def test_every_limit_of_a_lot_is_explained_from_its_own_loads_readings(book: Book) -> None:
    lot = book.open_lot()
    brined(book, lot)
    book.end(smoking(book, lot), "12:48")
    cooled(book, lot)
    pairs = [(part, ()) for part in lot.parts.select_related("load__place", "lot__plan_version")]
    now, sitting = moment("16:00"), sitting_of(pairs)
    judged = judge_parts(pairs, now, sitting=sitting)
    said = explain_all(judged, sitting, [lot], now, show)
    by_id = {one.limit.id: words for one, words in zip(judged, said, strict=True)}
    assert len(said) == len(judged) > 6
    assert all(one.figure and one.limit and one.rests_on and one.changes for one in said)
    assert by_id["smoke-heat"].rests_on[:2] == (
        "fish 1 governs, the least favourable",
        "18 readings by hand, the first 15:50, the last 17:45",  # UTC
    )
    assert by_id["smoke-heat"].since == "held from 17:00"
    assert any(line.startswith("15 readings by hand") for line in by_id["cooling"].rests_on)
    assert any("the step before" in line for line in by_id["cooling"].rests_on)


def test_a_combinations_parts_are_found_as_the_whole_was(book: Book) -> None:
    lot = book.open_lot()
    pairs = [(part, ()) for part in lot.parts.select_related("load__place", "lot__plan_version")]
    now, sitting = moment("07:30"), sitting_of(pairs)
    for one in judge_parts(pairs, now, sitting=sitting):
        parts = part_findings(one, sitting, [lot], now)
        assert one.verdict in {found.verdict for _, found in parts}


def test_the_rows_of_a_load_are_those_of_its_evidence(book: Book) -> None:
    from lots.queries.evidence import evidence
    from lots.queries.explained import _rows_of

    lot = book.open_lot()
    loads = [brined(book, lot), smoking(book, lot)]
    book.at_place("Smokehouse 1", "12:50 180")
    rows: dict[int, LoadEvidence] = _rows_of(loads)
    for load in loads:
        assert [row.pk for row in rows[load.pk].hand] == [row.pk for row in evidence(load).hand]
        assert rows[load.pk].hand
