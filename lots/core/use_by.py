"""How long a pack may be used, as a plan states it: whole days or months, from smoking or from packing."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from lots.core.plan_content import FLAGS, REDUCED_OXYGEN, Content, Fault, missing, not_one_of, said
from lots.core.units import BadQuantity

USE_BY_FROM: Final = ("smoking", "packing")
MONTHS_A_YEAR: Final = 12
DAYS_A_WEEK: Final = 7
SHORTEST_MONTH: Final = 28  # days of a February
LONGEST_MONTH: Final = 31
LONGEST_DAYS: Final = 3700  # ten years: a pack that is said to keep for longer was mistyped
_UNITS: Final = {
    "day": ("days", 1),
    "week": ("days", DAYS_A_WEEK),
    "month": ("months", 1),
    "year": ("months", MONTHS_A_YEAR),
}
_SPAN: Final = re.compile(r"([1-9][0-9]{0,3})\s*(day|week|month|year)s?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class KeepsFor:
    """So many whole days, or so many whole months; `text` as the plan writes it."""

    count: int
    unit: str  # days or months
    text: str

    @property
    def least_days(self) -> int:
        """The fewest days that it can come to."""
        return self.count * (SHORTEST_MONTH if self.unit == "months" else 1)

    @property
    def most_days(self) -> int:
        """The most days that it can come to."""
        return self.count * (LONGEST_MONTH if self.unit == "months" else 1)

    def shorter_than(self, other: "KeepsFor") -> bool:
        """Whether it is shorter whatever months it falls in; errs towards saying that it is not."""
        if self.unit == other.unit:
            return self.count < other.count
        return self.most_days < other.least_days


def keeps_for(text: str) -> KeepsFor:
    """How long a pack keeps, from its text: "14 days", "3 weeks", "6 months", "1 year".

    Months stay months, so that the day of the month is what a person counts on a calendar.

    Args:
        text: a whole number of 1 or more and one unit of the calendar.
    Returns:
        The count in days or in months.
    Raises:
        BadQuantity: not such a text, or longer than any pack keeps; the message says what to type.
    """
    found = _SPAN.fullmatch(text.strip())
    if found is None:
        raise BadQuantity(
            f"“{text.strip()}” cannot be counted on a calendar. Write it as 14 days, 3 weeks or 6 months."
        )
    unit, times = _UNITS[found[2].lower()]
    span = KeepsFor(int(found[1]) * times, unit, " ".join(text.split()))
    if span.most_days > LONGEST_DAYS:
        raise BadQuantity(f"“{text.strip()}” is longer than any pack keeps. Check the figure.")
    return span


def read_keeps_for(text: str) -> KeepsFor | None:
    """The same, or None where the text is empty or cannot be read."""
    try:
        return keeps_for(text)
    except BadQuantity:
        return None


_FROM: Final = {
    "use_by_source": "Say where the time to the use-by date comes from.",
}
_THAWED_FROM: Final = {
    "use_by_thawed_source": "Say where the time after thawing comes from.",
}


def use_by_faults(product: Content) -> Iterator[Fault]:
    """What bars a plan from being published about its use-by date.

    Errs against publishing: a chilled reduced-oxygen pack needs a date, and a time once thawed must be
    shorter whatever months it falls in.  Without one, what is thawed is to be used on the very day.

    Args:
        product: the product of a plan's content.
    """
    storage, stated = said(product, "storage"), said(product, "use_by")
    if not stated and storage == "chilled" and said(product, "pack") in REDUCED_OXYGEN:
        yield Fault(
            "product.use_by",
            "A chilled reduced-oxygen pack needs a use-by date: say how long it keeps, such as 21 days.",
        )
    if stated:
        yield from _unreadable(product, "use_by")
        yield from missing(product, "product", _FROM)
        yield from not_one_of(product, "product", "use_by_from", USE_BY_FROM)
        yield from not_one_of(product, "product", "use_by_flag", FLAGS)
    yield from _thawed(product, storage)


def _unreadable(product: Content, key: str) -> Iterator[Fault]:
    try:
        keeps_for(said(product, key))
    except BadQuantity as error:
        yield Fault(f"product.{key}", str(error))


def _thawed(product: Content, storage: str) -> Iterator[Fault]:
    frozen, thawed = said(product, "use_by"), said(product, "use_by_thawed")
    at = "product.use_by_thawed"
    if not thawed:
        return
    if storage == "chilled":
        yield Fault(at, "A chilled pack is not thawed: take this out, or set storage to frozen.")
    if not frozen:
        yield Fault("product.use_by", "Say how long it keeps before it is thawed, too.")
    yield from _unreadable(product, "use_by_thawed")
    yield from missing(product, "product", _THAWED_FROM)
    yield from not_one_of(product, "product", "use_by_thawed_flag", FLAGS)
    after, before = read_keeps_for(thawed), read_keeps_for(frozen)
    if after and before and not after.shorter_than(before):
        yield Fault(
            at,
            f"Thawed it would keep {after.text}, frozen {before.text}: once thawed it must be shorter.",
        )


_COMMAS: Final = re.compile(r"[,;\n](?![^(]*\))")  # none inside brackets: spice (pepper, bay)


def listed(text: str) -> tuple[str, ...]:
    """The things that a text lists, by commas, semicolons or lines, in their order, each once."""
    found = (" ".join(each.split()).rstrip(".") for each in _COMMAS.split(text))
    return tuple(dict.fromkeys(each for each in found if each))
