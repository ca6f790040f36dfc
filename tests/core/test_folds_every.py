"""Every: start to first, between, last to end or now."""

import pytest

from tests.core.make import at, held, make_limit

# AFDO model text for smoked fish: read at least every 2 h
TWO_H = make_limit("every", within="2 h")
FILE = make_limit("every", within="2 h", file_within="12 h")


@pytest.mark.parametrize(
    ("page", "verdict", "gap"),
    [
        ("08:00 3, 10:00 3, 12:00 3", "MET", "longest 2 h without a reading"),
        ("08:00 3, 10:01 3, 12:00 3", "DEVIATION", "longest 2 h 1 min without a reading"),
        ("10:00 3", "MET", "longest 2 h without a reading"),
        ("10:01 3, 12:00 3", "DEVIATION", "longest 2 h 1 min without a reading"),
        ("08:00 3, 09:59 3", "DEVIATION", "longest 2 h 1 min without a reading"),
        ("", "DEVIATION", "no reading in 4 h"),
        ("08:00 38 F, 10:00 3 C, 12:00 38 F", "MET", "longest 2 h without a reading"),
    ],
)
def test_a_step_of_four_hours_is_read_often_enough_or_not(
    page: str, verdict: str, gap: str
) -> None:
    found = held(TWO_H, "08:00 to 12:00", page)
    assert (found.verdict, found.figure) == (verdict, gap)


def test_a_missed_reading_is_dated_to_the_moment_that_it_was_due() -> None:
    found = held(TWO_H, "08:00 to 17:00", "09:00 3, 12:30 3, 14:00 3")
    assert (found.broke_at, found.last_broke_at, found.breaches) == (at("11:00"), at("16:00"), 2)


@pytest.mark.parametrize(
    ("now", "verdict"), [("11:00", "MET"), ("11:00.001", "DEVIATION"), ("14:00", "DEVIATION")]
)
def test_time_alone_makes_a_reading_overdue(now: str, verdict: str) -> None:
    found = held(TWO_H, "08:00 on", "09:00 3", now=now)
    assert found.verdict == verdict
    assert (found.next_at or found.broke_at) == at("11:00")


def test_a_late_reading_does_not_undo_the_gap_before_it() -> None:
    assert held(TWO_H, "08:00 on", "08:00 3, 10:30 3", now="10:31").verdict == "DEVIATION"


def test_a_silent_probe_is_missed_though_the_others_are_read() -> None:
    read = "08:00 3, 10:00 3, 12:00 3"
    found = held(TWO_H, "08:00 to 12:00", read, "08:00 3, 09:00 3", read)
    assert (found.verdict, found.broke_at) == ("DEVIATION", at("11:00"))
    assert found.figure == "longest 3 h without a reading (probe 2)"


@pytest.mark.parametrize(
    ("now", "verdict"),
    [("13:00", "PENDING"), ("2/02:00", "PENDING"), ("2/02:00.001", "DEVIATION")],
)
def test_a_step_kept_by_a_logger_waits_for_its_file(now: str, verdict: str) -> None:
    assert held(FILE, "08:00 to 14:00", now=now).verdict == verdict


def test_a_file_that_came_with_a_hole_is_a_deviation_when_the_wait_is_over() -> None:
    page = "08:00 3, 11:00 3, 12:00 3, 14:00 3"
    assert held(FILE, "08:00 to 14:00", page, now="2/03:00").verdict == "DEVIATION"
    assert held(FILE, "08:00 to 14:00", "09:00 3, 11:00 3, 13:00 3", now="14:01").verdict == "MET"


def test_the_time_before_a_window_is_no_gap_in_it() -> None:
    late = make_limit("every", within="30 min", window="after 2 h")
    page = "10:15 3, 10:45 3"
    assert held(late, "08:00 to 11:00", page).verdict == "MET"
    assert held(late, "08:00 to 11:00", "10:31 3, 11:00 3").verdict == "DEVIATION"
    assert held(late, "08:00 on", now="10:30").verdict == "MET"
    assert held(late, "08:00 on", now="10:31").verdict == "DEVIATION"
