"""The hour of the night at which the book is walked."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lots.core.keeping import DAY_MS, newest_hour, walk_is_due

YORK = ZoneInfo("America/New_York")
THREE = 3 * 60


def ms(text: str, zone: ZoneInfo = YORK) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp() * 1000)


@pytest.mark.parametrize(
    ("now", "hour"),
    [
        ("2026-03-04 02:59:59", "2026-03-03 03:00"),
        ("2026-03-04 03:00", "2026-03-04 03:00"),
        ("2026-03-04 23:59", "2026-03-04 03:00"),
        ("2026-03-08 12:00", "2026-03-08 03:00"),  # the clocks went on at 2:00
        ("2026-11-01 12:00", "2026-11-01 03:00"),  # and back
    ],
)
def test_the_newest_hour_is_the_last_time_that_clocks_showed_it(now: str, hour: str) -> None:
    assert newest_hour(ms(now), THREE, YORK) == ms(hour)


def test_an_hour_left_out_by_a_clock_change_counts_as_the_hour_after_it() -> None:
    assert newest_hour(ms("2026-03-08 12:00"), 2 * 60 + 30, YORK) == ms("2026-03-08 03:30")


def test_of_an_hour_that_comes_twice_the_first_counts() -> None:
    first = ms("2026-11-01 01:30")
    assert newest_hour(first + 3_600_000, 90, YORK) == first


@given(
    st.integers(0, 4 * 10**12), st.integers(0, 1439),
    st.sampled_from(["America/New_York", "Europe/Berlin", "Australia/Lord_Howe", "Pacific/Apia"]),
)  # fmt: skip
def test_the_newest_hour_is_never_ahead_and_never_much_over_a_day_old(
    now: int, minute: int, zone: str
) -> None:
    at = newest_hour(now, minute, ZoneInfo(zone))
    assert now - 2 * DAY_MS - 2 * 3_600_000 < at <= now


def test_a_walk_is_due_when_none_was_made_since_the_hour() -> None:
    now = ms("2026-03-04 09:00")
    assert walk_is_due(None, now, THREE, YORK)
    assert walk_is_due(ms("2026-03-04 02:59"), now, THREE, YORK)
    assert not walk_is_due(ms("2026-03-04 03:00"), now, THREE, YORK)


def test_a_walk_that_lies_far_ahead_of_the_clock_says_nothing() -> None:
    now = ms("2026-03-04 09:00")
    assert walk_is_due(now + 2 * DAY_MS, now, THREE, YORK)
    assert not walk_is_due(now + 1000, now, THREE, YORK)
