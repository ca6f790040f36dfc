"""How long records are kept: whole months after a day, and which of several rules is the longest."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

MONTHS_A_YEAR: Final = 12


@dataclass(frozen=True, slots=True)
class Keep:
    """One rule on one thing: kept at least until `day`, `months` whole months after `counted`.

    `what` it speaks of, `counted_from` in words, `source` the rule, `note` what is to be known of it.
    """

    what: str
    months: int
    counted: date
    counted_from: str
    source: str
    note: str = ""

    @property
    def day(self) -> date:
        """The first day on which the rule asks nothing any more."""
        return months_after(self.counted, self.months)

    @property
    def span(self) -> str:
        """The time in words: whole years as years, e.g. "2 years"."""
        years, over = divmod(self.months, MONTHS_A_YEAR)
        count, unit = (self.months, "month") if over else (years, "year")
        return f"{count} {unit}{'' if count == 1 else 's'}"


def months_after(day: date, months: int) -> date:
    """The same day of the month so many months later; where that month has no such day, the first of
    the next: what is kept "at least a year" from 29 February is not dropped a day early."""
    count = day.year * MONTHS_A_YEAR + day.month - 1 + months
    year, month = count // MONTHS_A_YEAR, count % MONTHS_A_YEAR + 1
    first = date(year, month, 1)
    found = first + timedelta(days=day.day - 1)
    if found.month == month:
        return found
    return date(year + month // MONTHS_A_YEAR, month % MONTHS_A_YEAR + 1, 1)


def longest_first(rules: Iterable[Keep]) -> tuple[Keep, ...]:
    """The rules by their days, the latest first; of the same day in the order given."""
    return tuple(sorted(rules, key=lambda one: -one.day.toordinal()))
