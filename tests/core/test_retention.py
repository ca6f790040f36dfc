"""How long records are kept, by a table of days; leap days are not dropped a day early."""

from datetime import date

import pytest

from lots.core.retention import Keep, longest_first, months_after

DAYS = [
    # from, months, until
    ("2026-03-04", 12, "2027-03-04"),
    ("2026-03-04", 24, "2028-03-04"),
    ("2027-02-28", 12, "2028-02-28"),
    ("2027-02-28", 24, "2029-02-28"),
    ("2027-03-01", 12, "2028-03-01"),
    ("2028-02-28", 12, "2029-02-28"),
    ("2028-02-29", 12, "2029-03-01"),  # no such day: never earlier than a whole year
    ("2028-02-29", 24, "2030-03-01"),
    ("2028-02-29", 48, "2032-02-29"),
    ("2096-02-29", 48, "2100-03-01"),  # 2100 is no leap year
    ("2026-12-31", 12, "2027-12-31"),
    ("2026-12-31", 2, "2027-03-01"),
    ("2026-10-31", 1, "2026-12-01"),
    ("2026-11-30", 1, "2026-12-30"),
    ("2026-12-15", 1, "2027-01-15"),
    ("2026-01-01", 0, "2026-01-01"),
]


@pytest.mark.parametrize(("first", "months", "until"), DAYS)
def test_so_many_months_after_a_day(first: str, months: int, until: str) -> None:
    assert months_after(date.fromisoformat(first), months) == date.fromisoformat(until)


def test_every_day_of_eight_years_is_kept_at_least_a_whole_year() -> None:
    for number in range(date(2024, 1, 1).toordinal(), date(2032, 1, 1).toordinal()):
        day = date.fromordinal(number)
        assert (months_after(day, 12) - day).days in (365, 366)
        assert months_after(day, 24) >= months_after(months_after(day, 12), 12)


@pytest.mark.parametrize(
    ("months", "words"), [(12, "1 year"), (24, "2 years"), (18, "18 months"), (1, "1 month")]
)
def test_the_time_is_said_in_whole_years_where_it_is_that(months: int, words: str) -> None:
    assert Keep("records", months, date(2026, 3, 4), "", "").span == words


def test_the_longest_rule_comes_first_and_ties_keep_their_order() -> None:
    day = date(2026, 3, 4)
    short, long, tied = (
        Keep(name, n, day, "", "") for name, n in (("a", 12), ("b", 24), ("c", 24))
    )
    assert [one.what for one in longest_first([short, long, tied])] == ["b", "c", "a"]
