"""Cooling: the clock, its stages, and what restarts nothing."""

import pytest

from lots.core import judging
from lots.core.folds import Finding
from lots.core.judging import Facts
from lots.core.units import MS_PER_MIN
from tests.core.make import at, held, make_limit, make_readings, make_step

# Food Code 3-501.14(A): 135 °F to 70 °F within 2 h, to 41 °F within 6 h in all
RETAIL = make_limit(
    "cooling",
    from_="135 °F (57 °C)",
    stages=[{"to": "70 °F (21 °C)", "within": "2 h"}, {"to": "41 °F (5 °C)", "within": "6 h"}],
)
# AFDO model text: 60 °C to 21 °C in 2 h, to 4 °C in 4 h more
MORE = make_limit(
    "cooling",
    from_="60 °C",
    stages=[
        {"to": "21 °C", "within": "2 h"},
        {"to": "4 °C", "within": "4 h", "counted_from": "the stage before"},
    ],
)
# 21 CFR 172.177: 50 °F within 3 h, 38 °F within 12 h of the end of smoking
CHUB = make_limit(
    "cooling",
    from_="end of the step before",
    stages=[{"to": "50 °F", "within": "3 h"}, {"to": "38 °F", "within": "12 h"}],
)


@pytest.mark.parametrize(
    ("page", "verdict"),
    [
        # exactly on both stages, in each unit
        ("08:00 135 F, 10:00 70 F, 14:00 41 F", "MET"),
        ("08:00 57, 10:00 21, 14:00 5", "MET"),
        # one digit beyond, one minute beyond
        ("08:00 135 F, 10:00 70.1 F, 10:01 70 F, 14:00 41 F", "DEVIATION"),
        ("08:00 57, 10:00 21.1, 10:01 21, 14:00 5", "DEVIATION"),
        ("08:00 135 F, 10:00 70 F, 14:00 41.1 F, 14:01 41 F", "DEVIATION"),
        # the clock starts at the last reading at or above 135 °F before the first below
        ("08:00 150 F, 08:30 135 F, 10:30 70 F, 14:30 41 F", "MET"),
        ("08:00 150 F, 08:30 134.9 F, 10:01 70 F, 13:00 41 F", "DEVIATION"),
        # begun below it: the clock starts at the step's start
        ("08:30 120 F, 10:01 70 F, 13:00 41 F", "DEVIATION"),
        ("08:30 120 F, 10:00 70 F, 14:00 41 F", "MET"),
        # a later rise restarts nothing
        ("08:00 135 F, 08:30 120 F, 08:40 140 F, 10:10 70 F, 13:00 41 F", "DEVIATION"),
        # once reached, a stage stays reached
        ("08:00 135 F, 09:50 70 F, 10:00 72 F, 13:00 41 F", "MET"),
        # down in one leap
        ("08:00 135 F, 09:00 40 F", "MET"),
        ("08:00 135 F, 10:01 40 F", "DEVIATION"),
        # never cooled, never begun, no reading, one reading
        ("08:00 135 F, 09:00 100 F", "DEVIATION"),
        ("08:00 150 F, 15:00 150 F", "DEVIATION"),
        ("", "DEVIATION"),
        ("08:00 40 F", "MET"),
        ("08:00 150 F", "DEVIATION"),
    ],
)
def test_a_step_that_is_over_has_cooled_in_time_or_not(page: str, verdict: str) -> None:
    assert held(RETAIL, "08:00 to 15:00", page).verdict == verdict


@pytest.mark.parametrize(
    ("page", "verdict", "second"),
    [
        ("08:00 60, 10:00 21, 14:00 4", "MET", 240),
        ("08:00 60, 09:00 21, 13:00 4", "MET", 240),
        ("08:00 60, 09:00 21, 13:01 4", "DEVIATION", 241),
        # the stage before was passed between 08:50 and 09:00: its clock starts at the former
        ("08:00 60, 08:50 30, 09:00 20, 12:50 4", "MET", 240),
        ("08:00 60, 08:50 30, 09:00 20, 12:51 4", "DEVIATION", 241),
        # a fish that stays on 21.0 °C has ended its stage when it was first there
        ("08:00 60, 09:00 21, 09:30 21, 13:30 4", "DEVIATION", 270),
    ],
)
def test_a_stage_counted_from_the_stage_before_has_its_own_clock(
    page: str, verdict: str, second: int
) -> None:
    found = held(MORE, "08:00 to 15:00", page)
    assert found.verdict == verdict
    assert found.numbers["stage_2_ms"] == second * MS_PER_MIN


@pytest.mark.parametrize(
    ("now", "verdict"),
    [("09:59", "PENDING"), ("10:00", "PENDING"), ("10:01", "DEVIATION")],
)
def test_time_alone_breaks_a_stage_that_is_not_reached(now: str, verdict: str) -> None:
    found = held(RETAIL, "08:00 on", "08:00 135 F, 09:00 90 F", now=now)
    assert found.verdict == verdict
    assert (found.next_at or found.broke_at) == at("10:00")


def test_a_deviation_is_dated_to_when_the_stage_ran_out() -> None:
    late = held(RETAIL, "08:00 to 15:00", "08:00 135 F, 11:00 70 F, 13:00 41 F")
    assert late.broke_at == at("10:00")


def test_a_cooling_that_began_in_the_step_before_keeps_its_clock() -> None:
    before = "07:00 150 F, 07:30 136 F, 07:50 130 F"
    assert held(RETAIL, "08:00 to 15:00", "08:10 120 F, 09:30 70 F, 13:00 41 F", before=before).verdict == "MET"  # fmt: skip
    assert held(RETAIL, "08:00 to 15:00", "08:10 120 F, 09:31 70 F, 13:00 41 F", before=before).verdict == "DEVIATION"  # fmt: skip


def test_a_rise_at_the_start_of_the_step_restarts_no_clock_of_the_step_before() -> None:
    before = "07:00 150 F, 07:30 136 F, 07:50 130 F"
    page = "08:00 137 F, 08:10 120 F, 09:31 70 F, 13:00 41 F"
    assert held(RETAIL, "08:00 to 15:00", page, before=before).verdict == "DEVIATION"


def test_fish_still_hot_at_the_end_of_the_step_before_starts_its_clock_here() -> None:
    before = "06:00 60 F, 07:00 150 F, 07:50 145 F"
    page = "08:00 140 F, 08:10 120 F, 10:00 70 F, 14:00 41 F"
    assert held(RETAIL, "08:00 to 15:00", page, before=before).verdict == "MET"


def test_without_any_reading_the_clock_runs_from_the_start_of_the_step() -> None:
    assert held(RETAIL, "08:00 on", now="10:00").verdict == "PENDING"
    late = held(RETAIL, "08:00 on", now="10:01")
    assert (late.verdict, late.broke_at) == ("DEVIATION", at("10:00"))


@pytest.mark.parametrize(
    ("reached", "verdict"), [("10:00", "MET"), ("10:30", "MET"), ("10:31", "DEVIATION")]
)
def test_a_cooling_from_the_end_of_smoking_counts_from_there(reached: str, verdict: str) -> None:
    step = make_step("08:00 to 20:00", before_end=at("07:30"))
    page = f"08:00 120 F, {reached} 50 F, 19:00 38 F"
    assert held(CHUB, step, page).verdict == verdict


def test_the_slowest_of_several_probes_governs() -> None:
    fast, slow = "08:00 135 F, 09:00 70 F, 11:00 41 F", "08:00 135 F, 09:30 70 F, 13:00 41 F"
    found = held(RETAIL, "08:00 to 15:00", fast, slow)
    assert (found.verdict, found.numbers["stage_2_ms"]) == ("MET", 300 * MS_PER_MIN)
    late = held(RETAIL, "08:00 to 15:00", fast, "08:00 135 F, 10:05 70 F, 13:00 41 F")
    assert late.verdict == "DEVIATION"


def test_a_probe_pulled_before_it_was_cold_is_never_milder() -> None:
    fast, pulled = "08:00 135 F, 09:00 70 F, 11:00 41 F", "08:00 135 F, 09:00 90 F"
    assert held(RETAIL, "08:00 on", fast, pulled, now="11:00").verdict == "DEVIATION"
    assert held(RETAIL, "08:00 on", fast, pulled, now="09:30").verdict == "PENDING"


def test_a_gap_counts_whole_against_the_fish() -> None:
    found = held(RETAIL, "08:00 to 15:00", "08:00 135 F, 10:05 60 F, 13:00 41 F")
    assert (found.verdict, found.numbers["stage_1_ms"]) == ("DEVIATION", 125 * MS_PER_MIN)


@pytest.mark.parametrize(
    ("page", "verdict"),
    [
        # a fish that is also read at 95 °F at that very moment is not yet at 70 °F
        ("08:00 135 F, 09:50 68 F, 09:50 95 F, 10:10 60 F, 13:00 41 F", "DEVIATION"),
        ("08:00 135 F, 09:40 68 F, 09:40 95 F, 10:00 60 F, 13:00 41 F", "MET"),
        ("08:00 135 F, 09:50 20 C, 09:50 95 F, 10:10 60 F, 13:00 41 F", "DEVIATION"),
        ("08:00 135 F, 09:50 60 F, 14:00 39 F, 14:00 70 F", "DEVIATION"),
        # nor has the clock begun while it is still read at or above 135 °F
        ("08:00 150 F, 08:30 150 F, 08:30 130 F, 10:30 70 F, 14:30 41 F", "MET"),
        ("08:00 150 F, 08:30 130 F, 08:30 131 F, 10:30 70 F, 14:00 41 F", "DEVIATION"),
    ],
)
def test_of_readings_of_one_moment_the_warmest_counts(page: str, verdict: str) -> None:
    assert held(RETAIL, "08:00 to 15:00", page).verdict == verdict


def test_a_moment_read_twice_ends_a_stage_on_the_warmer_figure() -> None:
    # 21.0 °C exactly: the next stage's clock runs from then, not from the reading before
    page = "08:00 60, 08:50 30, 09:00 20, 09:00 21, 13:00 4"
    assert held(MORE, "08:00 to 15:00", page).numbers["stage_2_ms"] == 240 * MS_PER_MIN


def after_loads(page: str, *loads: dict[str, str], probe: str = "fish 1") -> Finding:
    """RETAIL held against one probe, each load of the step before given as probe → page."""
    span = make_step("12:00 to 20:00")
    before = [{"place": {name: make_readings(p) for name, p in load.items()}} for load in loads]
    series = {"place": {probe: make_readings(page)}}
    states = judging.start(RETAIL, series, span, before)
    return judging.judge(RETAIL, states, Facts(span), at("20:00"))


COOLED = "12:10 120 F, 13:00 70 F, 15:00 41 F"
EARLY = "09:00 148 F, 09:30 148 F, 09:45 100 F"  # last at or above 135 °F at 09:30
LATE = "11:00 148 F, 11:40 148 F"


def test_the_fish_that_cooled_first_starts_the_clock_of_fish_that_cannot_be_told_apart() -> None:
    same = after_loads(COOLED, {"fish 1": EARLY}, {"fish 1": LATE})
    assert (same.verdict, same.broke_at) == ("DEVIATION", at("11:30"))
    other = after_loads(COOLED, {"fish 1": EARLY, "fish 2": LATE}, probe="tail")
    assert (other.verdict, other.broke_at) == ("DEVIATION", at("11:30"))


def test_a_probe_that_was_in_one_load_of_the_step_before_looks_back_on_itself_alone() -> None:
    assert after_loads(COOLED, {"fish 1": LATE, "fish 2": EARLY}).verdict == "MET"
    assert after_loads(COOLED, {"fish 1": LATE}, {"fish 2": EARLY}).verdict == "MET"
    assert after_loads(COOLED, {"fish 1": EARLY}, {"fish 2": LATE}).verdict == "DEVIATION"


def test_a_fish_that_never_was_hot_starts_no_clock() -> None:
    assert after_loads(COOLED, {"fish 1": LATE}, {"fish 2": "07:30 38 F"}, probe="tail").verdict == "MET"  # fmt: skip
    assert after_loads(COOLED, {"fish 2": "07:30 38 F"}).verdict == "MET"


def test_a_rise_restarts_no_clock_once_all_fish_of_the_step_before_had_fallen() -> None:
    rise = "12:00 137 F, 12:10 120 F, 13:00 70 F, 15:00 41 F"
    fallen = {"fish 1": EARLY, "fish 2": "10:00 148 F, 11:50 134 F"}
    assert after_loads(rise, fallen, probe="tail").verdict == "DEVIATION"
    assert after_loads(rise, {"fish 1": EARLY, "fish 2": LATE}, probe="tail").verdict == "MET"
