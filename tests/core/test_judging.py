"""Facts, combinations, operating limits, and what late or corrected readings may change."""

from datetime import datetime
from typing import Any

import pytest

from lots.core import judging
from lots.core.folds import Finding, Span
from lots.core.judging import Facts, settle
from lots.core.limits import Limit, Verdict, limit_from, waiting_for_files
from lots.core.units import MS_PER_H
from tests.core.make import at, held, make_facts, make_limit, make_readings, make_step

EIGHT = "08:00 to 16:00"


def found_in(
    limit: Limit, step: str | Span, now: str = "", series: Any = None, **facts: Any
) -> Finding:
    """What a limit finds in a step; series as {"room": {"": "08:00 3"}}."""
    span = make_step(step) if isinstance(step, str) else step
    runs = {of: {p: make_readings(t) for p, t in s.items()} for of, s in (series or {}).items()}
    moment = at(now) if now else span.end
    assert moment is not None
    states = judging.start(limit, runs, span)
    return judging.judge(limit, states, make_facts(span, **facts), moment)


# --- duration -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("demand", "step", "verdict"),
    [
        ({"at_least": "6 h"}, "08:00 to 14:00", "MET"),
        ({"at_least": "6 h"}, "08:00 to 13:59", "DEVIATION"),
        ({"at_most": "20 h"}, "18:00 to 2/14:00", "MET"),
        ({"at_most": "20 h"}, "18:00 to 2/14:01", "DEVIATION"),
        ({"longer_than": "4 h"}, "08:00 to 12:00", "DEVIATION"),
        ({"longer_than": "4 h"}, "08:00 to 12:01", "MET"),
        ({"at_least": "2 h", "at_most": "4 h"}, "08:00 to 10:00", "MET"),
        ({"at_least": "2 h", "at_most": "4 h"}, "08:00 to 12:01", "DEVIATION"),
    ],
)
def test_a_step_lasts_long_enough_or_not(demand: dict[str, str], step: str, verdict: str) -> None:
    assert found_in(make_limit("duration", **demand), step).verdict == verdict


@pytest.mark.parametrize(
    ("demand", "now", "verdict", "next_at"),
    [
        ({"at_least": "6 h"}, "13:59", "PENDING", "14:00"),
        ({"at_least": "6 h"}, "14:00", "MET", ""),
        ({"at_most": "6 h"}, "09:00", "MET", "14:00"),
        ({"at_most": "6 h"}, "14:00", "MET", "14:00"),
        ({"at_most": "6 h"}, "14:01", "DEVIATION", ""),
        ({"longer_than": "6 h"}, "14:00", "PENDING", "14:00"),
        ({"at_least": "2 h", "longer_than": "6 h"}, "09:00", "PENDING", "14:00"),
    ],
)
def test_a_step_that_runs_says_when_its_time_comes(
    demand: dict[str, str], now: str, verdict: str, next_at: str
) -> None:
    found = found_in(make_limit("duration", **demand), "08:00 on", now)
    assert (found.verdict, found.next_at) == (verdict, at(next_at) if next_at else None)


def test_a_step_that_lasts_too_long_broke_when_its_time_was_up() -> None:
    assert found_in(make_limit("duration", at_most="6 h"), EIGHT).broke_at == at("14:00")


def test_an_end_entered_late_counts_for_at_least_to_the_last_reading_only() -> None:
    late = make_step("08:00 to 14:00", counted_end=at("13:00"))
    least = found_in(make_limit("duration", at_least="6 h"), late)
    assert (least.verdict, least.figure) == ("DEVIATION", "5 h shown of 6 h stated")
    assert found_in(make_limit("duration", at_least="5 h"), late).verdict == "MET"
    assert found_in(make_limit("duration", at_most="5 h 30 min"), late).verdict == "DEVIATION"
    assert found_in(make_limit("duration", longer_than="5 h"), late).verdict == "DEVIATION"


# --- measured and observed ------------------------------------------------------------------------

SALT = make_limit("measured", quantity="water-phase salt", at_least="3.5 %")
LABORATORY = make_limit(
    "measured", quantity="sodium nitrite", at_least="100 ppm", at_most="200 ppm", laboratory="yes"
)
ICE = make_limit("observed", what="ice round the fish")


@pytest.mark.parametrize(
    ("figures", "verdict"),
    [
        (["3.5"], "MET"),
        (["3.49"], "DEVIATION"),
        (["3.9", "3.4", "3.9"], "DEVIATION"),  # the lowest governs, not the mean of 3.73
        (["3.9", "3.6"], "MET"),
        ([], "DEVIATION"),
    ],
)
def test_the_least_favourable_sample_governs(figures: list[str], verdict: str) -> None:
    assert found_in(SALT, EIGHT, measured={"water-phase salt": figures}).verdict == verdict


@pytest.mark.parametrize(
    ("figures", "verdict"),
    [
        (["100"], "MET"),
        (["200"], "MET"),
        (["99.9"], "DEVIATION"),
        (["200.1"], "DEVIATION"),
        (["110", "120", "205"], "DEVIATION"),
    ],
)
def test_a_quantity_meets_both_its_bounds(figures: list[str], verdict: str) -> None:
    assert found_in(LABORATORY, EIGHT, laboratory={"sodium nitrite": figures}).verdict == verdict


def test_only_a_result_from_the_laboratory_may_still_be_awaited_when_the_step_is_over() -> None:
    assert found_in(LABORATORY, EIGHT).verdict == "PENDING"
    assert found_in(LABORATORY, EIGHT, measured={"sodium nitrite": ["150"]}).verdict == "PENDING"
    assert found_in(SALT, EIGHT).verdict == "DEVIATION"
    assert found_in(SALT, "08:00 on", "16:00").verdict == "PENDING"


@pytest.mark.parametrize(
    ("sightings", "verdict"),
    [([True], "MET"), ([True, True], "MET"), ([True, False], "DEVIATION"), ([False], "DEVIATION")],
)
def test_a_thing_is_found_so_each_time_or_it_is_a_deviation(
    sightings: list[bool], verdict: str
) -> None:
    assert found_in(ICE, EIGHT, observed={"ice round the fish": sightings}).verdict == verdict


def test_a_thing_not_looked_for_is_a_deviation_once_the_step_is_over() -> None:
    assert found_in(ICE, "08:00 on", "09:00").verdict == "PENDING"
    assert found_in(ICE, EIGHT).verdict == "DEVIATION"


def test_a_kind_that_is_not_judged_bars_the_release() -> None:
    assert found_in(make_limit("lethality"), EIGHT).verdict == "PENDING"


# --- combinations ---------------------------------------------------------------------------------

# FDA: water-phase salt at least 3.5 %, or at least 3.0 % with at least 100 ppm of nitrite
NITRITE = make_limit(
    "any of",
    limits=[
        {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.5 %"},
        {
            "kind": "all of",
            "limits": [
                {"kind": "measured", "quantity": "water-phase salt", "at_least": "3.0 %"},
                {"kind": "measured", "quantity": "sodium nitrite", "at_least": "100 ppm"},
            ],
        },
    ],
)
# Mich. Admin. Code R285.569.5: where brining lasts longer than 4 h, the area at most 38 °F
BRINE = make_limit(
    "given",
    of="room",
    if_={"kind": "duration", "longer_than": "4 h"},
    then={"kind": "at most", "at_most": "38 °F (3.3 °C)"},
)


@pytest.mark.parametrize(
    ("salt", "nitrite", "verdict"),
    [
        ("3.5", None, "MET"),
        ("3.4", None, "DEVIATION"),
        ("3.4", "100", "MET"),
        ("3.0", "100", "MET"),
        ("3.0", "99", "DEVIATION"),
        ("2.9", "150", "DEVIATION"),
        (None, "150", "DEVIATION"),
    ],
)
def test_the_mildest_of_several_ways_and_the_worst_within_one_count(
    salt: str | None, nitrite: str | None, verdict: str
) -> None:
    figures = {"water-phase salt": salt, "sodium nitrite": nitrite}
    measured = {name: [figure] for name, figure in figures.items() if figure}
    assert found_in(NITRITE, EIGHT, measured=measured).verdict == verdict


def test_of_several_ways_the_last_to_break_dates_the_deviation() -> None:
    # Maine 01-001 ch. 359: 90 °F for no more than 20 h, or 50 °F for no more than 24 h
    smoke = make_limit(
        "any of",
        limits=[
            {"kind": "all of", "limits": [{"kind": "at most", "at_most": "90 °F"}, {"kind": "duration", "at_most": "20 h"}]},
            {"kind": "all of", "limits": [{"kind": "at most", "at_most": "50 °F"}, {"kind": "duration", "at_most": "24 h"}]},
        ],
    )  # fmt: skip
    warm = {"place": {"": "08:00 20, 12:00 27, 2/06:00 27"}}
    assert found_in(smoke, "08:00 to 2/04:00", series=warm).verdict == "MET"
    late = found_in(smoke, "08:00 to 2/06:00", series=warm)
    assert (late.verdict, late.broke_at) == ("DEVIATION", at("2/04:00"))


@pytest.mark.parametrize(
    ("step", "room", "verdict"),
    [
        ("08:00 to 12:00", "08:00 9", "MET"),  # exactly 4 h: it does not bind
        ("08:00 to 12:01", "08:00 9", "DEVIATION"),
        ("08:00 to 12:01", "08:00 3.3", "MET"),
        ("08:00 to 12:01", "08:00 38.1 F", "DEVIATION"),
        ("08:00 to 12:01", "", "DEVIATION"),
    ],
)
def test_a_consequence_binds_where_its_condition_holds(step: str, room: str, verdict: str) -> None:
    series = {"room": {"": room}} if room else {}
    assert found_in(BRINE, step, series=series).verdict == verdict


def test_a_condition_that_may_still_come_true_is_pending_and_says_when_it_binds() -> None:
    warm = {"room": {"": "08:00 9"}}
    found = found_in(BRINE, "08:00 on", "10:00", warm)
    assert (found.verdict, found.next_at) == ("PENDING", at("12:00"))
    after = found_in(BRINE, "08:00 on", "12:01", warm)
    assert (after.verdict, after.broke_at) == ("DEVIATION", at("12:00"))


def test_a_condition_of_which_nothing_is_known_binds_when_the_step_is_over() -> None:
    limit = make_limit(
        "given",
        if_={"kind": "observed", "what": "vacuum packed"},
        then={"kind": "measured", "quantity": "salt", "at_least": "3 %"},
    )
    bad = {"measured": {"salt": ["2"]}}
    assert found_in(limit, EIGHT, **bad).verdict == "DEVIATION"
    assert found_in(limit, EIGHT, observed={"vacuum packed": [False]}, **bad).verdict == "MET"
    assert found_in(limit, EIGHT, observed={"vacuum packed": [True]}, **bad).verdict == "DEVIATION"


@pytest.mark.parametrize(
    ("kind", "observed", "verdict"),
    [
        ("all of", {"wet": [False]}, "MET"),  # one is known false: all of them cannot hold
        ("all of", {"wet": [True]}, "DEVIATION"),
        ("any of", {"wet": [False]}, "DEVIATION"),  # the other may have held
        ("any of", {"wet": [False], "cold": [False]}, "MET"),
    ],
)
def test_a_combined_condition_binds_unless_it_is_shown_not_to_hold(
    kind: str, observed: dict[str, list[bool]], verdict: str
) -> None:
    parts = [{"kind": "observed", "what": what} for what in ("wet", "cold")]
    salt = {"kind": "measured", "quantity": "salt", "at_least": "3 %"}
    limit = make_limit("given", if_={"kind": kind, "limits": parts}, then=salt)
    found = found_in(limit, EIGHT, observed=observed, measured={"salt": ["2"]})
    assert found.verdict == verdict


def test_a_condition_counts_the_whole_time_stated_where_the_end_was_entered_late() -> None:
    late = make_step("08:00 to 14:00", counted_end=at("11:00"))
    assert found_in(BRINE, late, series={"room": {"": "08:00 9"}}).verdict == "DEVIATION"


def test_the_soonest_of_its_parts_says_when_time_changes_a_combination() -> None:
    both = make_limit(
        "all of",
        limits=[{"kind": "duration", "at_most": "6 h"}, {"kind": "every", "within": "2 h"}],
    )
    found = found_in(both, "08:00 on", "09:00", {"place": {"": "08:30 3"}})
    assert (found.verdict, found.next_at) == ("MET", at("10:30"))


COLD_AND_READ = make_limit(
    "all of",
    limits=[{"kind": "at most", "at_most": "4.4 °C"}, {"kind": "every", "within": "2 h"}],
)
COLD_OR_SHORT = make_limit(
    "any of",
    limits=[{"kind": "at most", "at_most": "4.4 °C"}, {"kind": "duration", "at_most": "6 h"}],
)


def test_all_that_broke_of_a_combination_is_told_with_its_newest_breach() -> None:
    page = {"place": {"": "08:00 3, 11:00 3, 12:30 9, 14:00 9, 15:30 3"}}
    found = found_in(COLD_AND_READ, EIGHT, series=page)
    assert (found.broke_at, found.last_broke_at) == (at("10:00"), at("14:00"))
    assert found.breaches == 3
    assert "longest 3 h without a reading" in found.figure
    assert "highest 9.0 °C" in found.figure
    assert "readings outside" in found.why
    assert "longer than 2 h" in found.why


def test_a_part_that_holds_is_not_told_among_what_broke() -> None:
    page = {"place": {"": "08:00 3, 10:00 9, 12:00 3, 14:00 3, 16:00 3"}}
    found = found_in(COLD_AND_READ, EIGHT, series=page)
    assert (found.figure, found.breaches, found.last_broke_at) == ("highest 9.0 °C", 1, at("10:00"))


def test_a_way_left_open_is_no_breach_and_the_last_to_close_dates_it() -> None:
    page = {"place": {"": "08:00 3, 09:00 9, 15:00 9"}}
    assert found_in(COLD_OR_SHORT, "08:00 to 14:00", series=page).verdict == "MET"
    found = found_in(COLD_OR_SHORT, EIGHT, series=page)
    assert (found.broke_at, found.last_broke_at) == (at("14:00"), at("15:00"))
    assert found.breaches == 3
    assert found.figure == "highest 9.0 °C; 8 h"


# --- what waits for the logger's file -------------------------------------------------------------


def waiting(limit: dict[str, Any], page: str, step: str, now: str) -> Finding:
    """What is found of the fish where a logger's file may follow until four hours after the end."""
    kept = {"id": "e", "kind": "every", "of": "fish", "within": "1 h", "file_within": "4 h"}
    one, _ = waiting_for_files([limit_from({"id": "x", "of": "fish", **limit}), limit_from(kept)])
    span = make_step(step)
    series = {"fish": {"a": make_readings(page)}} if page else {}
    return judging.judge(one, judging.start(one, series, span), Facts(span), at(now))


QUICKLY = {"kind": "cooling", "from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}
HELD = {"kind": "maintained", "at_least": "63 °C", "for": "30 min", "longest_gap": "15 min"}
NEVER_WARM = {"kind": "at most", "at_most": "4.4 °C"}


@pytest.mark.parametrize(
    ("limit", "page", "verdict"),
    [
        (QUICKLY, "08:00 63, 09:00 50, 10:00 40, 11:00 20", "DEVIATION"),
        (QUICKLY, "08:00 63, 09:00 50", "DEVIATION"),
        (QUICKLY, "", "DEVIATION"),
        (NEVER_WARM, "08:00 9", "DEVIATION"),
        (NEVER_WARM, "", "PENDING"),
        (NEVER_WARM | {"probes": 2}, "08:00 3", "PENDING"),
        (HELD, "08:00 63, 08:20 63", "PENDING"),
        (HELD, "", "PENDING"),
    ],
)
def test_only_what_is_not_shown_waits_for_the_file(
    limit: dict[str, Any], page: str, verdict: str
) -> None:
    assert waiting(limit, page, "08:00 to 11:30", "11:30").verdict == verdict
    assert waiting(limit, page, "08:00 to 11:30", "15:31").verdict == "DEVIATION"


def test_a_cooling_that_broke_while_the_step_ran_stays_broken_when_it_ends() -> None:
    page = "08:00 63, 09:00 50, 10:00 40, 11:00 20"
    assert waiting(QUICKLY, page, "08:00 on", "11:00").verdict == "DEVIATION"
    assert waiting(QUICKLY, page, "08:00 to 11:00", "11:00").verdict == "DEVIATION"


# --- operating limits -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "critical", "operating", "page", "verdict"),
    [
        ("at most", {"at_most": "40 °F"}, {"at_most": "38 °F"}, "08:00 38 F", "MET"),
        ("at most", {"at_most": "40 °F"}, {"at_most": "38 °F"}, "08:00 38.1 F", "ADJUST"),
        ("at most", {"at_most": "40 °F"}, {"at_most": "38 °F"}, "08:00 40 F", "ADJUST"),
        ("at most", {"at_most": "40 °F"}, {"at_most": "38 °F"}, "08:00 40.1 F", "DEVIATION"),
        ("at least", {"at_least": "2 °C"}, {"at_least": "3 °C"}, "08:00 2.9", "ADJUST"),
        ("maintained", {"at_least": "63 °C", "for": "30 min"}, {"for": "40 min"}, "08:00 63, 08:30 63", "ADJUST"),
        ("maintained", {"at_least": "63 °C", "for": "30 min"}, {"for": "40 min"}, "08:00 63, 08:40 63", "MET"),
        ("maintained", {"at_least": "63 °C", "for": "30 min"}, {"for": "40 min"}, "08:00 63, 08:29 63", "DEVIATION"),
        ("every", {"within": "8 h"}, {"within": "4 h"}, "12:01 3", "ADJUST"),
        ("duration", {"at_most": "9 h"}, {"at_most": "7 h"}, "", "ADJUST"),
        ("cooling", {"from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}, {"stages": [{"to": "21 °C", "within": "90 min"}]}, "08:00 60, 09:31 21", "ADJUST"),
        ("cooling", {"from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}, {"stages": [{"to": "21 °C", "within": "90 min"}]}, "08:00 60, 09:30 21", "MET"),
    ],
)  # fmt: skip
def test_an_operating_limit_asks_for_an_adjustment_while_the_critical_limit_holds(
    kind: str, critical: dict[str, Any], operating: dict[str, Any], page: str, verdict: str
) -> None:
    limit = make_limit(kind, **critical, operating=operating)
    assert held(limit, EIGHT, page).verdict == verdict


def test_an_operating_limit_not_yet_shown_asks_for_nothing() -> None:
    limit = make_limit("maintained", at_least="63 °C", for_="30 min", operating={"for": "40 min"})
    assert held(limit, "08:00 on", "08:00 63, 08:30 63", now="08:31").verdict == "MET"


# --- late and corrected ---------------------------------------------------------------------------

COLD = make_limit("at most", at_most="4.4 °C")
HEAT = make_limit("maintained", at_least="63 °C", for_="30 min", longest_gap="10 min")
EVERY = make_limit("every", within="2 h")
QUICK = make_limit("cooling", from_="60 °C", stages=[{"to": "21 °C", "within": "2 h"}])
HEATED = "08:00 63, 08:10 63, 08:20 63, 08:30 63"


@pytest.mark.parametrize(
    ("limit", "monitored", "known"),
    [
        (COLD, "08:00 44", "08:00 4.4"),  # corrected: a slip of the pen
        (COLD, "", "08:00 3"),  # late
        (HEAT, "08:00 63, 08:10 63, 08:30 63", HEATED),
        (HEAT, "08:00 63, 08:10 36, 08:20 63, 08:30 63", HEATED),
        (EVERY, "08:00 3, 12:00 3, 14:00 3", "08:00 3, 10:00 3, 12:00 3, 14:00 3"),
        (QUICK, "08:00 60, 11:00 10", "08:00 60, 09:50 21, 11:00 10"),
    ],
)
def test_what_late_or_corrected_readings_made_milder_stays_a_deviation_until_accepted(
    limit: Limit, monitored: str, known: str
) -> None:
    then, now = held(limit, EIGHT, monitored), held(limit, EIGHT, known)
    assert (then.verdict, now.verdict) == ("DEVIATION", "MET")
    settled = settle(limit.id, now, then, accepted=False)
    assert (settled.verdict, settled.rests_on_late) == ("DEVIATION", True)
    assert settled.finding.broke_at == then.broke_at
    accepted = settle(limit.id, now, then, accepted=True)
    assert (accepted.verdict, accepted.rests_on_late) == ("MET", True)


@pytest.mark.parametrize(
    ("limit", "monitored", "known"),
    [
        (COLD, "08:00 3", "08:00 3, 08:10 9"),
        (HEAT, HEATED, "08:00 63, 08:10 63, 08:15 60, 08:20 63, 08:30 63"),
        (QUICK, "08:00 60, 10:00 21", "08:00 60, 10:00 22, 10:10 21"),
    ],
)
def test_what_late_or_corrected_readings_made_worse_counts_at_once(
    limit: Limit, monitored: str, known: str
) -> None:
    settled = settle(limit.id, held(limit, EIGHT, known), held(limit, EIGHT, monitored), False)
    assert (settled.verdict, settled.rests_on_late) == ("DEVIATION", True)


def test_what_nothing_late_touched_says_nothing_about_it() -> None:
    found = held(COLD, EIGHT, "08:00 3")
    assert not settle("limit", found, None, False).rests_on_late
    assert not settle("limit", found, found, False).rests_on_late
    milder = held(COLD, EIGHT, "08:00 3, 08:10 4")
    assert settle("limit", milder, found, False).rests_on_late


# --- clocks that change, and states ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("walls", "hours"),
    [
        (("2026-10-24T22:00+02:00", "2026-10-25T17:00+01:00"), 20),  # the clock goes back
        (("2026-03-28T22:00+01:00", "2026-03-29T19:00+02:00"), 20),  # the clock goes forward
    ],
)
def test_a_day_on_which_the_clock_changes_lasts_as_long_as_it_lasts(
    walls: tuple[str, str], hours: int
) -> None:
    start, end = (int(datetime.fromisoformat(wall).timestamp() * 1000) for wall in walls)
    assert end - start == hours * MS_PER_H
    exactly, less = (make_limit("duration", at_most=f"{hours * 60 - n} min") for n in (0, 1))
    assert held(exactly, Span(start, end)).verdict == "MET"
    assert held(less, Span(start, end)).verdict == "DEVIATION"


def test_states_carried_on_reading_by_reading_are_those_folded_at_once() -> None:
    span = make_step("08:00 to 16:00")
    limit = make_limit(
        "all of",
        limits=[
            {"kind": "at most", "at_most": "70 °C", "operating": {"at_most": "66 °C"}},
            {"kind": "maintained", "at_least": "63 °C", "for": "30 min", "longest_gap": "10 min"},
            {"kind": "cooling", "from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]},
            {"kind": "every", "within": "2 h"},
        ],
    )
    page = "08:00 50, 08:10 64, 08:20 67, 08:30 63, 09:30 59, 11:00 21"
    at_once = judging.start(limit, {"place": {"a": make_readings(page)}}, span)
    one_by_one = judging.start(limit, {"place": {}}, span)
    for entry in page.split(", "):
        (chunk,) = make_readings(entry)
        one_by_one = judging.advance(limit, one_by_one, "place", "a", chunk, span)
        one_by_one = judging.advance(limit, one_by_one, "fish", "a", chunk, span)
    assert one_by_one == at_once


def test_a_deviation_is_bad_fish_and_never_an_exception() -> None:
    for kind, data in (
        ("at most", {"at_most": "4 °C"}),
        ("maintained", {"at_least": "63 °C", "for": "30 min"}),
        ("cooling", {"from": "60 °C", "stages": [{"to": "21 °C", "within": "2 h"}]}),
        ("every", {"within": "2 h"}),
    ):
        for page in ("", "08:00 999", "08:00 -273"):
            assert isinstance(held(make_limit(kind, **data), EIGHT, page).verdict, Verdict)
            running = held(make_limit(kind, **data), "08:00 on", page, now="08:01")
            assert running.broke_at is None or running.broke_at <= at("08:01")


def test_a_condition_that_may_still_come_true_is_pending_even_while_the_rest_holds() -> None:
    from lots.core.folds import Finding
    from lots.core.judging import _given

    met = Finding(Verdict.MET, "highest 36 °F")
    waits = Finding(Verdict.PENDING, "2 h", next_at=7)
    found = _given(waits, met)
    assert (found.verdict, found.next_at) == (Verdict.PENDING, 7)
    assert "binds" in found.why
