"""What the latest readings of a running load say of its limits to come."""

from collections.abc import Mapping
from copy import deepcopy
from math import exp

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lots.core.forecast import Forecast, Says
from lots.core.limits import Verdict
from lots.core.series import Chunk
from lots.core.units import to_ninths
from lots.entries import plan, reading
from lots.entries.load import say_probe_left
from lots.entries.readings import Figure
from lots.models.lot import Load
from lots.queries.board import loads_now
from lots.queries.forecasts import (
    DENSE,
    Foreseen,
    _Eyes,
    _latest,
    foreseen,
    most_pressing,
    short_words,
)
from lots.queries.judgements import judge_parts, sitting_of
from lots.queries.plans import starting_plans
from tests.entries.roads import csv, imported
from tests.make import FOUNDED, Book, make_book, moment, seen

SMOKE, COLD = 182.0, 37.0


def clock(minutes: int, start: str) -> str:
    hour, minute = map(int, start.split(":"))
    whole = hour * 60 + minute + minutes
    return f"{whole // 60:02}:{whole % 60:02}"


def heat(minutes: float, lag: float) -> float:
    return SMOKE - (SMOKE - 50) * exp(-max(minutes - 5, 0) / lag)


def cold(minutes: float, lag: float) -> float:
    return COLD + (145 - COLD) * exp(-minutes / lag)


def rounds(
    book: Book, load: Load, start: str, minutes: range, figures: Mapping[str, float], course: object
) -> None:
    """Rounds of the fish in a load, each with its own lag in minutes."""
    for minute in minutes:
        row = [Figure(f"{course(minute, lag):.1f}", "F", name) for name, lag in figures.items()]  # type: ignore[operator]
        reading.enter_readings(book.operator, load.place, load, row, seen(clock(minute, start)))


FISH = {"fish 1": 62.0, "fish 2": 66.0, "fish 3": 75.0}


@pytest.fixture
def smoke(book: Book) -> Load:
    """A load that has been heated since 10:00, read until 11:20."""
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    book.at_place("Smokehouse 1", "10:05 182, 10:40 182, 11:15 182")
    rounds(book, load, "10:00", range(5, 85, 15), FISH, heat)
    return load


@pytest.fixture
def cooler(book: Book) -> Load:
    return book.start("cool", "Cooler", "12:00", book.open_lot())


def ahead(load: Load, at: str) -> list[Foreseen]:
    parts = load.parts.select_related("load__place__within", "lot__plan_version")
    pairs = [(part, ()) for part in parts]
    sitting, now = sitting_of(pairs), moment(at)
    return foreseen(load, judge_parts(pairs, now, sitting=sitting), sitting, now)


def test_heat_is_foreseen_from_the_slowest_fish_and_comes_so(book: Book, smoke: Load) -> None:
    (one,) = ahead(smoke, "11:21")
    reached = next(m for m in range(200) if heat(m, 75) >= 145) + 30
    assert one.probe == "fish 3"
    assert one.mark == "on course"
    assert one.found.says is Says.REACHES
    assert abs(one.found.moment_at - moment(clock(reached, "10:00"))) < 10 * 60_000
    assert one.words.startswith("145 °F for 30 min: will reach at about 12:")
    assert "(fish 3)" in one.words
    assert one.act == ""


def test_a_forecast_never_decides(book: Book, smoke: Load) -> None:
    for now in ("11:21", "11:30"):
        ahead(smoke, now)
        assert book.judged(book.lots["TR-1"], "smoke", now)["smoke-heat"].verdict is Verdict.PENDING


def test_two_readings_are_too_few_to_say(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    rounds(book, load, "10:00", range(5, 30, 15), FISH, heat)
    (one,) = ahead(load, "10:25")
    assert one.mark == "cannot say"
    assert "too few readings yet" in one.words


def test_no_reading_at_all_cannot_say_and_names_the_limit(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    (one,) = ahead(load, "10:25")
    assert one.words == "145 °F for 30 min: cannot say: too few readings yet"


def test_a_probe_that_fell_silent_is_not_dropped_to_the_fishs_favour(
    book: Book, smoke: Load
) -> None:
    two = {name: lag for name, lag in FISH.items() if name != "fish 3"}
    rounds(book, smoke, "10:00", range(95, 160, 15), two, heat)
    (one,) = ahead(smoke, "12:26")
    assert one.mark == "cannot say"
    assert one.probe == "fish 3"


def test_fewer_fish_than_the_plan_wants_cannot_say(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    rounds(book, load, "10:00", range(5, 85, 15), {"fish 1": 62, "fish 2": 66}, heat)
    (one,) = ahead(load, "11:21")
    assert "2 of 3 probes read" in one.words


def test_a_probe_that_lies_flat_while_another_moves_cannot_say(book: Book) -> None:
    load = book.start("cool", "Cooler", "12:00", book.open_lot())
    for minute in range(0, 110, 10):
        figures = [Figure(f"{cold(minute, 60):.1f}", "F", "fish 1"), Figure("142.0", "F", "fish 2")]
        reading.enter_readings(
            book.operator, load.place, load, figures, seen(clock(minute, "12:00"))
        )
    found = ahead(load, "13:41")
    assert {one.mark for one in found} == {"cannot say"}
    assert "fish 2 stays flat while another moves" in found[0].words


def test_a_slow_cooling_is_foreseen_to_miss_with_the_plans_action(book: Book, cooler: Load) -> None:
    book.at_place("Cooler", "12:01 37, 13:00 37")
    rounds(book, cooler, "12:00", range(2, 80, 12), {"fish 1": 150, "fish 2": 60}, cold)
    first, second = ahead(cooler, "13:16")
    assert (first.mark, first.probe) == ("likely to miss", "fish 1")
    assert first.found.deadline_at == moment("14:02")  # the last hot reading, and two hours
    assert "it will stand at about" in first.words
    assert "Spread the racks" in first.act
    assert second.limit_id == first.limit_id
    assert second.found.target != first.found.target


def test_a_quick_cooling_is_foreseen_to_meet_its_stages(book: Book, cooler: Load) -> None:
    book.at_place("Cooler", "12:01 37, 12:40 37")
    rounds(book, cooler, "12:00", range(2, 55, 8), {"fish 1": 45}, cold)
    first, second = ahead(cooler, "12:52")
    assert (first.mark, second.mark) == ("on course", "on course")
    reached = next(m for m in range(300) if cold(m, 45) <= 70)
    assert abs(first.found.moment_at - moment(clock(reached, "12:00"))) < 5 * 60_000
    assert "the deadline is 14:02" in first.words
    rounds(book, cooler, "12:00", range(58, 66, 7), {"fish 1": 45}, cold)
    (left,) = ahead(cooler, "13:06")
    assert left.found.target == second.found.target  # the first stage is reached
    judged = book.judged(book.lots["TR-1"], "cool", "13:06")["cooling"]
    assert left.found.deadline_at == judged.finding.next_at == moment("16:50")


def test_a_probe_that_a_person_said_left_is_dropped(book: Book, cooler: Load) -> None:
    book.at_place("Cooler", "12:01 37, 12:40 37")
    rounds(book, cooler, "12:00", range(2, 40, 8), {"fish 1": 45, "fish 2": 150}, cold)
    rounds(book, cooler, "12:00", range(42, 80, 8), {"fish 1": 45}, cold)
    silent = ahead(cooler, "13:16")
    assert {one.probe for one in silent} == {"fish 2"}
    assert {one.mark for one in silent} <= {"cannot say", "likely to miss"}
    say_probe_left(book.operator, cooler, "fish 2", seen("12:36", "13:15", "wet"), "slipped out")
    assert {one.probe for one in ahead(cooler, "13:16")} == {"fish 1"}


def test_what_is_shown_or_over_is_not_foreseen(book: Book, smoke: Load) -> None:
    rounds(book, smoke, "10:00", range(95, 186, 15), FISH, heat)
    assert ahead(smoke, "13:06") == []
    load = book.start("smoke", "Smokehouse 2", "10:00", book.open_lot("TR-2"))
    rounds(book, load, "10:00", range(5, 85, 15), FISH, heat)
    book.end(load, "11:21")
    assert ahead(load, "11:22") == []


def test_what_the_gap_has_broken_off_cannot_be_said(book: Book, smoke: Load) -> None:
    rounds(book, smoke, "10:00", range(95, 126, 15), FISH, heat)  # hot at 12:05
    (one,) = ahead(smoke, "12:10")
    assert one.mark == "on course"
    (late,) = ahead(smoke, "12:27")
    assert "no reading for longer than 20 min, so the time starts anew" in late.words


def test_a_place_read_long_ago_is_not_taken_for_the_surroundings(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    book.at_place("Smokehouse 1", "10:01 60")
    rounds(book, load, "10:00", range(5, 85, 15), FISH, heat)
    (one,) = ahead(load, "11:21")
    assert one.mark == "on course"  # with a place of 60 °F it would never be hot


LETHALITY = {
    "id": "smoke-heat", "kind": "lethality", "of": "fish", "at_least": "10 min",
    "reference": "158 °F (70 °C)", "z": "13.5 °F", "z_above": "18 °F", "probes": 3, "longest_gap": "20 min",
    "source": "invented for this test", "flag": "to be confirmed",
}  # fmt: skip


@pytest.fixture
def lethal(db: None) -> Load:
    """The load of `smoke` under a plan whose heat is an equivalent time."""
    book = make_book()
    content = deepcopy(starting_plans()["hot-smoked-vacuum-frozen"])
    point = next(one for one in content["control_points"] if one["id"] == "smoke")
    point["limits"][0] = LETHALITY
    draft = plan.begin_draft(book.coordinator, "Equivalent heat", content, None, moment(FOUNDED))
    version = plan.publish_plan(book.coordinator, draft, "", moment(FOUNDED))
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot(version=version))
    rounds(book, load, "10:00", range(5, 112, 15), FISH, heat)
    return load


def test_equivalent_heat_is_foreseen(lethal: Load) -> None:
    (one,) = ahead(lethal, "11:51")
    need, total, minute = 10.0, 0.0, 0.0
    while total < need:  # along the slowest fish's true course
        figure = heat(minute, 75)
        total += 10 ** ((figure - 158) / (13.5 if figure < 158 else 18)) / 10
        minute += 0.1
    assert one.found.for_ms == 10 * 60_000
    assert one.mark == "on course", one.words
    assert abs(one.found.moment_at - moment(clock(round(minute), "10:00"))) < 3 * 60_000


def test_a_loggers_series_is_thinned_and_its_newest_reading_stays() -> None:
    now = moment("18:00")
    at = list(range(now - 10 * 3_600_000, now, 1000))
    pairs = _latest([Chunk(at, list(range(len(at))))], now)
    assert len(pairs) <= DENSE
    assert pairs[-1][0] == at[-1]
    assert pairs[0][0] >= now - 3 * 3_600_000


def test_a_loggers_file_is_foreseen_from_too(book: Book, cooler: Load) -> None:
    figures = [f"{cold(m / 6, 45):.1f}" for m in range(300)]
    file = csv("2026-03-04 12:00:00", 10, figures)
    imported(book, file, "12:50", cooler.place, cooler, {1: "fish 1"})
    first, _ = ahead(cooler, "12:51")
    assert first.mark == "on course"


def test_the_board_costs_few_more_queries_for_its_forecasts(book: Book, smoke: Load) -> None:
    with CaptureQueriesContext(connection) as without:
        loads_now(moment("11:21"), ahead=False)
    with CaptureQueriesContext(connection) as with_them:
        (now,) = loads_now(moment("11:21"))
    assert now.ahead
    assert len(with_them) - len(without) <= 6


def _foreseen(says: Says, moment_at: int | None = None) -> Foreseen:
    return Foreseen("x", 1, Forecast(says, 0, moment_at), "", "", "")


def test_the_most_pressing_is_a_miss_then_what_cannot_be_said_then_the_soonest() -> None:
    soon, later = _foreseen(Says.REACHES, 1), _foreseen(Says.MEETS, 2)
    cannot, miss = _foreseen(Says.CANNOT_SAY), _foreseen(Says.NEVER)
    assert most_pressing([later, soon, cannot, miss]) == miss
    assert most_pressing([later, soon, cannot]) == cannot
    assert most_pressing([later, soon]) == soon
    assert most_pressing([]) is None


def test_a_short_line_says_what_and_when() -> None:
    def show(at: int) -> str:
        return f"@{at // 60_000}"

    made = {
        "0 °C for 1 min at about @3": Forecast(Says.REACHES, 0, 170_000, for_ms=60_000),
        "0 °C, due @2": Forecast(Says.MISSES, 0, deadline_at=120_000),
        "0 °C is not reached at this course": Forecast(Says.NEVER, 0),
        "too few (0 °C)": Forecast(Says.CANNOT_SAY, 0, why="too few"),
        "equivalent 1 min at about @3": Forecast(Says.REACHES, None, 170_000, for_ms=60_000),
    }
    for words, found in made.items():
        assert short_words(found, show, "C") == words


@pytest.mark.parametrize(("coldest", "level"), [(True, "160"), (False, "190")])
def test_of_several_thermometers_of_a_place_the_least_favourable_is_taken(
    book: Book, smoke: Load, coldest: bool, level: str
) -> None:
    for minute in range(10, 80, 30):
        row = [Figure("160", "F", "low"), Figure("190", "F", "high")]
        reading.enter_readings(book.operator, smoke.place, None, row, seen(clock(minute, "10:00")))
    parts = list(smoke.parts.select_related("load__place__within", "lot__plan_version"))
    eyes = _Eyes(smoke, sitting_of([(part, ()) for part in parts]), moment("11:21"))
    place = eyes._place("fish 1", coldest)
    assert place is not None
    levels = {value for _, value in place}
    assert to_ninths(level, "F") in levels
    assert not levels & {to_ninths("160", "F"), to_ninths("190", "F")} - {to_ninths(level, "F")}
