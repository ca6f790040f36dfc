import pytest

from lots.logger.errors import Code, LoggerFileError
from lots.logger.zones import NeverExisted, Walk, shown, zone_chosen, zone_in

HOUR = 3_600_000
# 1 Nov 2026 00:00 by the clock on the wall; New York puts its clocks back at 02:00 that day
# (tz database), so that 01:00 to 02:00 exists twice.
AUTUMN = 20_758 * 24 * HOUR
SPRING = 20_520 * 24 * HOUR  # 8 Mar 2026: 02:00 to 03:00 never existed


@pytest.mark.parametrize(
    ("heading", "zone"),
    [
        ("Date Time, GMT-05:00", "−05:00"),
        ("Time (UTC+1)", "+01:00"),
        ("Date/Time UTC", "+00:00"),
        ("Time GMT +0530", "+05:30"),
        ("Zone: America/Chicago", "America/Chicago"),
        ("Date Time (EST)", "−05:00"),
        ("Date Time", None),
        ("Input/Output", None),
        ("best time", None),
    ],
)
def test_a_heading_names_its_zone(heading: str, zone: str | None) -> None:
    assert zone_in(heading) == zone


@pytest.mark.parametrize(
    ("text", "kept"),
    [("-5", "−05:00"), ("−05:00", "−05:00"), ("UTC", "+00:00"), ("America/Anchorage",) * 2],
)
def test_a_chosen_zone_is_kept_under_one_name(text: str, kept: str) -> None:
    assert zone_chosen(text) == kept


@pytest.mark.parametrize("text", ["Smoketown", "+25:00", "", "../etc/passwd"])
def test_a_zone_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(LoggerFileError) as refused:
        zone_chosen(text)
    assert refused.value.code is Code.ZONE_UNKNOWN


def walked(*hours: float, zone: str = "America/New_York") -> list[float]:
    """Hours UTC after midnight summer time of the day the clocks go back, row by row."""
    walk = Walk(zone)
    return [(walk.utc(AUTUMN + int(hour * HOUR)) - AUTUMN) / HOUR - 4 for hour in hours]


def test_the_doubled_hour_is_told_apart_by_the_order_of_the_rows() -> None:
    assert walked(0.5, 1, 1.5, 1, 1.5, 2) == [0.5, 1, 1.5, 2, 2.5, 3]


def test_hourly_rows_that_stand_still_are_the_second_pass() -> None:
    assert walked(0, 1, 1, 2, 3) == [0, 1, 2, 3, 4]


def test_a_row_repeated_inside_the_doubled_hour_is_no_second_pass() -> None:
    assert walked(0.75, 1, 1, 1.25, 1.5, 1.75, 1, 1.25) == [0.75, 1, 1, 1.25, 1.5, 1.75, 2, 2.25]


def test_a_doubled_hour_seen_once_is_the_first_pass() -> None:
    assert walked(1, 1.5, 2) == [1, 1.5, 3]


def test_a_file_repeated_over_the_doubled_hour_gives_the_same_moments() -> None:
    once = (0.5, 1, 1.5, 1, 1.5, 2)
    assert walked(*once, *once) == walked(*once) * 2


def test_a_time_that_the_clocks_left_out_is_refused() -> None:
    walk = Walk("America/New_York")
    assert walk.utc(SPRING + 2 * HOUR - 1) == SPRING + 7 * HOUR - 1
    with pytest.raises(NeverExisted):
        walk.utc(SPRING + 2 * HOUR)
    assert walk.utc(SPRING + 3 * HOUR) == SPRING + 7 * HOUR


def test_a_fixed_offset_knows_no_summer() -> None:
    assert walked(1, 1.5, 2, zone="−04:00") == [1, 1.5, 2]


def test_a_moment_is_shown_unmistakably() -> None:
    assert shown(1_772_651_100_000, "America/New_York") == "4 Mar 2026 14:05 −05:00"
    assert shown(1_772_651_100_000, "+05:30") == "5 Mar 2026 00:35 +05:30"
