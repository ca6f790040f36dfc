"""Moments and weights as people type them."""

from zoneinfo import ZoneInfo

import pytest

from lots.core.units import BadQuantity
from lots.forms.fields import BadMoment, read_moment, read_weight
from tests.make import moment

ZONE = ZoneInfo("America/New_York")
NOW = moment("2026-03-04 14:05")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("", "2026-03-04 14:05"),
        ("  ", "2026-03-04 14:05"),
        ("13:40", "2026-03-04 13:40"),
        ("9:05", "2026-03-04 09:05"),
        ("13.40", "2026-03-04 13:40"),
        ("1:40 pm", "2026-03-04 13:40"),
        ("12:10 am", "2026-03-04 00:10"),
        ("12:10PM", "2026-03-04 12:10"),
        ("3 Mar 13:40", "2026-03-03 13:40"),
        ("3 march 2026, 13:40", "2026-03-03 13:40"),
        ("2026-03-03 13:40", "2026-03-03 13:40"),
        ("2026-03-03T13:40:30", "2026-03-03 13:40:30"),
        ("4 Mar 2026 13:40 −05:00", "2026-03-04 13:40"),
        ("4 Mar 2026 18:40 +00:00", "2026-03-04 13:40"),
    ],
)
def test_a_moment_is_read_in_the_houses_zone(typed: str, meant: str) -> None:
    assert read_moment(typed, ZONE, NOW) == moment(meant)


def test_now_is_the_minute_that_the_clock_shows() -> None:
    # a reading typed as 07:30 does not come before a load started "now" at half past 07:30
    now = moment("2026-03-04 07:30:30") + 250
    assert read_moment("", ZONE, now) == read_moment("07:30", ZONE, now)
    assert read_moment("07:30:20", ZONE, now) == moment("2026-03-04 07:30:20")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("1405", "is not a time"),
        ("03/04/2026 14:05", "is not a time"),
        ("yesterday", "is not a time"),
        ("24:00", "not a day and time that exist"),
        ("13:60", "not a day and time that exist"),
        ("13:40 pm", "not a day and time that exist"),
        ("30 Feb 10:00", "not a day and time that exist"),
        ("10:00 +25:00", "not a day and time that exist"),
        ("4 Mar 1926 10:00", "years away"),
        ("4 Mar 2062 10:00", "years away"),
        ("1 Jan 0001 00:00 +14:00", "years away"),
    ],
)
def test_what_is_no_moment_is_refused_in_words(typed: str, words: str) -> None:
    with pytest.raises(BadMoment, match=words):
        read_moment(typed, ZONE, NOW)


def test_an_hour_that_exists_twice_is_asked_about_with_both_offsets() -> None:
    now = moment("2026-11-01 05:00")
    with pytest.raises(BadMoment, match="−04:00 or −05:00"):
        read_moment("01:30", ZONE, now)
    first, second = (read_moment(f"01:30 {o}", ZONE, now) for o in ("−04:00", "−05:00"))
    assert second - first == 60 * 60 * 1000
    assert read_moment("00:59", ZONE, now) < first
    assert read_moment("02:00", ZONE, now) > second


def test_an_hour_that_never_was_is_refused() -> None:
    now = moment("2026-03-08 05:00")
    with pytest.raises(BadMoment, match="never existed"):
        read_moment("02:30", ZONE, now)
    assert read_moment("03:00", ZONE, now) - read_moment("01:59", ZONE, now) == 60_000


@pytest.mark.parametrize(
    ("typed", "unit", "grams"),
    [
        ("12.5", "kg", 12_500),
        ("12,5 kg", "lb", 12_500),
        ("27 lb", "kg", 12_247),  # 27 × 453.59237 g (NIST SP 811)
        ("27", "lb", 12_247),
        ("800 g", "kg", 800),
        ("0", "kg", 0),
    ],
)
def test_a_weight_is_read_with_its_unit_or_the_houses(typed: str, unit: str, grams: int) -> None:
    assert read_weight(typed, unit) == grams


@pytest.mark.parametrize("typed", ["", "kg", "-5", "1.2.3", "5 stone", "1,234", "9" * 25, "5e3"])
def test_what_is_no_weight_is_refused(typed: str) -> None:
    with pytest.raises(BadQuantity):
        read_weight(typed, "kg")
