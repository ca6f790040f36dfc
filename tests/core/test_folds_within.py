"""At most, at least, between: each reading against its bounds."""

import pytest

from lots.core.units import MS_PER_MIN
from tests.core.make import at, held, make_limit

COLD = make_limit("at most", at_most="40 °F (4.4 °C)")
HOT = make_limit("at least", at_least="145 °F (62.8 °C)")
ROOM = make_limit("between", at_least="50 °F (10 °C)", at_most="70 °F (21.1 °C)")
STEP = "08:00 to 09:00"


@pytest.mark.parametrize(
    ("limit", "reading", "verdict"),
    [
        # exactly on it, and one instrument digit beyond, in each unit that the limit prints
        (COLD, "40 F", "MET"),
        (COLD, "40.0 F", "MET"),
        (COLD, "40.1 F", "DEVIATION"),
        (COLD, "4.4 C", "MET"),
        (COLD, "4.5 C", "DEVIATION"),
        (HOT, "145 F", "MET"),
        (HOT, "144.9 F", "DEVIATION"),
        (HOT, "62.8 C", "MET"),
        (HOT, "62.7 C", "DEVIATION"),
        (ROOM, "50 F", "MET"),
        (ROOM, "49.9 F", "DEVIATION"),
        (ROOM, "70 F", "MET"),
        (ROOM, "70.1 F", "DEVIATION"),
        (ROOM, "10 C", "MET"),
        (ROOM, "9.9 C", "DEVIATION"),
        (ROOM, "21.1 C", "MET"),
        (ROOM, "21.2 C", "DEVIATION"),
        # a reading in °F against a limit printed in °C alone, and the other way round: exactly
        (make_limit("at most", at_most="4.4 °C"), "39.92 F", "MET"),
        (make_limit("at most", at_most="4.4 °C"), "40 F", "DEVIATION"),
        (make_limit("at most", at_most="40 °F"), "4.444 C", "MET"),
        (make_limit("at most", at_most="40 °F"), "4.445 C", "DEVIATION"),
    ],
)
def test_a_reading_is_compared_in_its_own_unit(limit, reading: str, verdict: str) -> None:  # type: ignore[no-untyped-def]
    assert held(limit, STEP, f"08:30 {reading}").verdict == verdict


@pytest.mark.parametrize("limit", [COLD, HOT, ROOM])
def test_no_reading_is_pending_while_the_step_runs_and_a_deviation_when_it_is_over(limit) -> None:  # type: ignore[no-untyped-def]
    assert held(limit, "08:00 on", now="09:00").verdict == "PENDING"
    over = held(limit, STEP)
    assert (over.verdict, over.broke_at) == ("DEVIATION", at("09:00"))


@pytest.mark.parametrize("limit", [COLD, HOT, ROOM])
def test_no_reading_is_a_deviation_from_the_very_end_on(limit) -> None:  # type: ignore[no-untyped-def]
    assert held(limit, STEP, now="08:59.999").verdict == "PENDING"
    assert held(limit, STEP, now="09:00").verdict == "DEVIATION"


def test_the_furthest_reading_is_the_figure_and_each_outside_is_counted() -> None:
    found = held(COLD, STEP, "08:00 4, 08:10 5, 08:20 6, 08:30 4.9, 08:40 3")
    assert found.figure == "highest 6.0 °C"
    assert (found.figure_at, found.breaches) == (at("08:20"), 3)
    assert (found.broke_at, found.last_broke_at) == (at("08:10"), at("08:30"))


def test_a_breach_is_told_at_once_while_the_step_runs() -> None:
    assert held(COLD, "08:00 on", "08:10 5", now="08:10").verdict == "DEVIATION"


@pytest.mark.parametrize(
    ("window", "page", "verdict"),
    [
        ("first reading", "08:00 4, 08:30 9", "MET"),
        ("first reading", "08:00 9, 08:30 4", "DEVIATION"),
        ("last reading", "08:00 9, 08:30 4", "MET"),
        ("last reading", "08:00 4, 08:30 9", "DEVIATION"),
        ("after 20 min", "08:00 9, 08:19 9, 08:20 4", "MET"),
        ("after 20 min", "08:00 4, 08:20 9, 08:50 4", "DEVIATION"),
        ("after 20 min", "08:00 4, 08:19 4", "DEVIATION"),
        ("after 20 min", "08:00 4, 08:10 39 F, 08:30 50 F", "DEVIATION"),
        ("first reading", "08:00 39 F, 08:10 9, 08:20 80 F", "MET"),
        ("last reading", "08:00 80 F, 08:10 9, 08:20 39 F", "MET"),
    ],
)
def test_a_window_looks_at_its_readings_alone(window: str, page: str, verdict: str) -> None:
    limit = make_limit("at most", at_most="40 °F (4.4 °C)", window=window)
    assert held(limit, STEP, page).verdict == verdict


@pytest.mark.parametrize(
    ("window", "page", "verdict"),
    [
        ("first reading", "08:00 4, 08:00 9, 08:30 4", "DEVIATION"),
        ("first reading", "08:00 39 F, 08:00 9, 08:30 4", "DEVIATION"),
        ("first reading", "08:00 3, 08:00 4, 08:30 9", "MET"),
        ("last reading", "08:00 4, 08:30 4, 08:30 9", "DEVIATION"),
        ("last reading", "08:00 4, 08:30 80 F, 08:30 3", "DEVIATION"),
        ("last reading", "08:30 9, 08:40 3, 08:40 4", "MET"),
    ],
)
def test_of_readings_of_one_moment_the_least_favourable_governs(
    window: str, page: str, verdict: str
) -> None:
    cold = make_limit("at most", at_most="40 °F (4.4 °C)", window=window)
    assert held(cold, STEP, page).verdict == verdict


def test_of_readings_of_one_moment_the_coldest_governs_where_heat_is_asked() -> None:
    for window in ("first reading", "last reading"):
        hot = make_limit("at least", at_least="63 °C", window=window)
        assert held(hot, STEP, "08:00 60, 08:00 64").verdict == "DEVIATION"


def test_a_last_reading_outside_may_still_be_followed_while_the_step_runs() -> None:
    limit = make_limit("at most", at_most="40 °F (4.4 °C)", window="last reading")
    assert held(limit, "08:00 on", "08:00 9", now="08:30").verdict == "PENDING"
    assert held(limit, "08:00 to 08:40", "08:00 9", now="08:30").verdict == "PENDING"
    assert held(limit, "08:00 to 08:30", "08:00 9", now="08:30").verdict == "DEVIATION"


def test_the_least_favourable_probe_governs_and_is_named() -> None:
    found = held(COLD, STEP, "08:00 2, 08:30 2", "08:00 3, 08:30 4.4", "08:00 1")
    assert (found.verdict, found.figure) == ("MET", "highest 4.4 °C (probe 2)")
    broken = held(COLD, STEP, "08:00 2", "08:00 3, 08:30 4.5", "08:10 7")
    assert (broken.verdict, broken.broke_at) == ("DEVIATION", at("08:10"))
    assert (broken.breaches, broken.last_broke_at) == (2, at("08:30"))


def test_a_limit_that_lasts_over_midnight_counts_true_time() -> None:
    limit = make_limit("at most", at_most="4.4 °C", window="after 10 h")
    assert held(limit, "20:00 to 2/08:00", "20:00 9, 2/05:59 9, 2/06:00 4").verdict == "MET"
    assert at("2/06:00") - at("20:00") == 600 * MS_PER_MIN
