from datetime import UTC, datetime

import pytest

from lots.logger import moments
from lots.logger.moments import DAY_FIRST, MONTH_FIRST, YEAR_FIRST, LocalTimes, order_of


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("2026-03-04 14:05", YEAR_FIRST),
        ("2026-03-04T14:05:00", YEAR_FIRST),
        ("2026/03/04 14:05:00.000", YEAR_FIRST),
        ("26-03-04 14:05", YEAR_FIRST),
        ("04.03.2026 14:05", DAY_FIRST),
        ("4/3/26 14:05", DAY_FIRST),
        ("03/04/2026 02:05:00 PM", MONTH_FIRST),
        ("3/4/2026 2:05 p.m.", MONTH_FIRST),
        ("3/4/2026, 2:05PM", MONTH_FIRST),
        ("4 Mar 2026 14:05", DAY_FIRST),
        ("04-Mar-26 14:05:00", DAY_FIRST),
        ("Wed 4 March 2026 14:05", DAY_FIRST),
        ("Mar 4, 2026 2:05 PM", MONTH_FIRST),
        ("Wednesday, March 4th, 2026 14:05", MONTH_FIRST),
        ("2026 Mar 4 14:05", YEAR_FIRST),
        ("20260304 14:05", YEAR_FIRST),
        ("14:05 04/03/2026", DAY_FIRST),
    ],
)
def test_a_moment_is_read_however_it_is_written(text: str, order: str) -> None:
    found = moments.parts(text)
    assert found is not None
    expected = datetime(2026, 3, 4, 14, 5, tzinfo=UTC).timestamp() * 1000
    assert LocalTimes(order).read(found) == expected


@pytest.mark.parametrize(
    ("text", "hour"), [("12:00 AM", 0), ("12:30 am", 0), ("12:00 PM", 12), ("1:00 PM", 13)]
)
def test_noon_and_midnight_of_a_clock_of_twelve_hours(text: str, hour: int) -> None:
    assert moments.time_of_day(text) // moments.HOUR_MS == hour


@pytest.mark.parametrize("text", ["24:00", "14:05 AM", "12:60", "1:2"])
def test_a_time_that_no_clock_shows_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        moments.time_of_day(text)


@pytest.mark.parametrize(
    "text", ["63.1", "2026-03-04", "14:05", "Serial 1234", "04.03.2026 14:05;63", "1/2/3/4 10:00"]
)
def test_what_lacks_a_date_or_a_time_is_no_moment(text: str) -> None:
    assert moments.parts(text) is None


@pytest.mark.parametrize(
    ("dates", "name", "certain"),
    [
        (["03/04/2026"], MONTH_FIRST, False),
        (["03/04/2026", "03/13/2026"], MONTH_FIRST, True),
        (["03/04/2026", "13/04/2026"], DAY_FIRST, True),
        (["03/12/2026"], MONTH_FIRST, False),
        (["2026-03-04"], YEAR_FIRST, True),
        (["3/3/2026"], MONTH_FIRST, True),  # the same day either way
        (["26-03-04"], DAY_FIRST, False),
        (["4 Mar 2026"], DAY_FIRST, True),
        (["31/12/26"], DAY_FIRST, True),
    ],
)
def test_the_order_is_certain_only_where_the_dates_leave_no_doubt(
    dates: list[str], name: str, certain: bool
) -> None:
    assert order_of(dates, MONTH_FIRST) == (name, certain)


def test_a_day_over_twelve_on_the_last_line_settles_the_order_of_all() -> None:
    dates = [f"03/{day:02d}/2026" for day in range(1, 13)]
    assert not order_of(dates, DAY_FIRST).certain
    assert order_of([*dates, "03/13/2026"], DAY_FIRST) == (MONTH_FIRST, True)


@pytest.mark.parametrize("text", ["0026-03-04", "9999-03-04", "1969-12-31", "2026-02-29"])
def test_a_date_of_no_loggers_time_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        moments.day_of(text, YEAR_FIRST)
