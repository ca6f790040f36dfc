"""Maintained: at or above for heat, at or below for freezing, unbroken."""

import pytest

from lots.core.units import MS_PER_MIN
from tests.core.make import at, held, make_limit

# Mich. Admin. Code R285.569.7: 145 °F (62.8 °C) for 30 continuous minutes
HEAT = make_limit("maintained", at_least="145 °F (62.8 °C)", for_="30 min", longest_gap="10 min")
# Food Code 3-402.11: −4 °F (−20 °C) for 168 h; here 24 h (Regulation (EC) 853/2004) and readings of 6 h
COLD = make_limit("maintained", at_most="−4 °F (−20 °C)", for_="24 h", longest_gap="6 h")
LONG = "06:00 to 2/12:00"


def minutes(found) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    numbers = found.numbers
    return numbers["maintained_ms"] / MS_PER_MIN, numbers["estimated_ms"] / MS_PER_MIN


@pytest.mark.parametrize(
    ("page", "verdict", "maintained", "estimated"),
    [
        # exactly on the limit, for exactly as long
        ("08:00 145 F, 08:10 145 F, 08:20 145 F, 08:30 145 F", "MET", 30, 30),
        ("08:00 62.8, 08:10 62.8, 08:20 62.8, 08:30 62.8", "MET", 30, 30),
        # one digit of the instrument below, one second short
        ("08:00 62.8, 08:10 62.7, 08:20 62.8, 08:30 62.8", "DEVIATION", 10, 10),
        ("08:00 145 F, 08:10 145 F, 08:20 144.9 F, 08:30 145 F", "DEVIATION", 10, 10),
        ("08:00 63, 08:10 63, 08:20 63, 08:29.5 63", "DEVIATION", 29.5, 29.5),
        # one reading has no length
        ("08:00 63", "DEVIATION", 0, 0),
        # a gap of exactly the longest counts, a second more counts nothing
        ("08:00 63, 08:10 63, 08:20 63, 08:30 63", "MET", 30, 30),
        ("08:00 63, 08:10 63, 08:20.02 63, 08:30 63", "DEVIATION", 10, 10),
        # straight lines: 60.8 to 64.8 crosses 62.8 half way, in and out
        ("08:00 60.8, 08:10 64.8, 08:20 64.8, 08:30 60.8", "DEVIATION", 10, 20),
        ("08:00 60.8, 08:10 64.8, 08:20 60.8", "DEVIATION", 0, 10),
        # the estimate does not reach across a gap that is too long
        ("08:00 60.8, 08:20 64.8, 08:30 64.8, 08:50 60.8", "DEVIATION", 10, 10),
        # the longest unbroken time counts, not the sum
        ("08:00 63, 08:10 63, 08:20 63, 08:25 60, 08:30 63, 08:40 63", "DEVIATION", 20, None),
        ("08:00 63, 08:05 60, 08:10 63, 08:20 63, 08:30 63, 08:40 63", "MET", 30, None),
        # once shown it stays shown
        ("08:00 63, 08:10 63, 08:20 63, 08:30 63, 08:40 20", "MET", 30, None),
    ],
)
def test_heat_counts_only_between_two_readings_that_meet_it(
    page: str, verdict: str, maintained: float, estimated: float | None
) -> None:
    found = held(HEAT, "08:00 to 09:00", page)
    shown, about = minutes(found)
    assert (found.verdict, round(shown, 3)) == (verdict, maintained)
    assert estimated is None or about == pytest.approx(estimated)


@pytest.mark.parametrize(
    ("page", "verdict", "hours"),
    [
        ("06:00 -20, 12:00 -20, 18:00 -20, 2/00:00 -20, 2/06:00 -20", "MET", 24),
        ("06:00 -4 F, 12:00 -4 F, 18:00 -4 F, 2/00:00 -4 F, 2/06:00 -4 F", "MET", 24),
        ("06:00 -19.9, 12:00 -20, 18:00 -20, 2/00:00 -20, 2/06:00 -20", "DEVIATION", 18),
        ("06:00 -3.9 F, 12:00 -4 F, 18:00 -4 F, 2/00:00 -4 F, 2/06:00 -4 F", "DEVIATION", 18),
        ("06:00 -25, 12:00 -25, 18:01 -25, 2/00:00 -25, 2/06:00 -25, 2/12:00 -25", "DEVIATION", 17),
    ],
)
def test_freezing_counts_the_other_way_round(page: str, verdict: str, hours: float) -> None:
    found = held(COLD, LONG, page)
    assert found.verdict == verdict
    assert minutes(found)[0] // 60 == hours


def test_no_reading_is_pending_while_it_runs_and_a_deviation_at_the_end() -> None:
    assert held(HEAT, "08:00 on", now="10:00").verdict == "PENDING"
    assert held(HEAT, "08:00 to 10:00").verdict == "DEVIATION"


def test_too_little_heat_is_go_on_while_the_step_runs() -> None:
    running = held(HEAT, "08:00 on", "08:00 63, 08:10 63", now="08:12")
    assert (running.verdict, running.why) == ("PENDING", "go on")
    over = held(HEAT, "08:00 to 08:12", "08:00 63, 08:10 63")
    assert (over.verdict, over.broke_at) == ("DEVIATION", at("08:12"))
    assert over.why == "20 min short when the step ended"


def test_the_shortest_held_of_several_probes_governs() -> None:
    warm = "08:00 63, 08:10 63, 08:20 63, 08:30 63, 08:40 63"
    slow = "08:00 60, 08:10 63, 08:20 63, 08:30 63"
    found = held(HEAT, "08:00 to 09:00", warm, slow, warm)
    assert (found.verdict, found.figure) == ("DEVIATION", "20 min unbroken (probe 2)")


def test_a_probe_pulled_is_never_milder_than_before_it_was_pulled() -> None:
    warm = "08:00 64, 08:10 64, 08:20 64, 08:30 64, 08:40 64"
    pulled = "08:00 63, 08:10 63"
    before = held(HEAT, "08:00 on", warm, pulled, now="08:11")
    for now in ("08:20", "08:40"):
        after = held(HEAT, "08:00 on", warm, pulled, now=now)
        assert after.verdict.rank >= before.verdict.rank
        assert after.numbers["maintained_ms"] == 10 * MS_PER_MIN
    assert held(HEAT, "08:00 to 09:00", warm, pulled).verdict == "DEVIATION"


def test_too_few_probes_show_nothing() -> None:
    three = make_limit(
        "maintained", at_least="63 °C", for_="30 min", longest_gap="30 min", of="fish", probes=3
    )
    warm = "08:00 64, 08:30 64"
    assert held(three, "08:00 to 08:30", warm, warm, warm).verdict == "MET"
    few = held(three, "08:00 to 08:30", warm, warm)
    assert (few.verdict, few.figure) == ("DEVIATION", "2 of 3 probes")
    assert held(three, "08:00 on", warm, warm, now="08:40").verdict == "PENDING"


def test_a_unit_that_changes_on_the_way_is_held_to_its_own_figure() -> None:
    page = "08:00 145 F, 08:10 62.8 C, 08:20 145 F, 08:30 62.8 C"
    assert held(HEAT, "08:00 to 09:00", page).verdict == "MET"


def test_only_readings_after_the_window_begins_count() -> None:
    late = make_limit("maintained", at_least="63 °C", for_="30 min", window="after 1 h")
    page = "08:00 64, 08:30 64, 09:00 64, 09:20 64"
    assert held(late, "08:00 to 10:00", page).numbers["maintained_ms"] == 20 * MS_PER_MIN


def test_without_a_longest_gap_every_interval_counts() -> None:
    loose = make_limit("maintained", at_least="63 °C", for_="30 min")
    assert held(loose, "08:00 to 12:00", "08:00 64, 11:00 64").numbers["maintained_ms"] == (
        180 * MS_PER_MIN
    )
