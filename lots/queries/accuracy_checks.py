"""Accuracy checks: how far an instrument was off, since when it is in doubt, and when it is due again."""

import tomllib
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Final

from django.conf import settings

from lots.core.limits import Accurate
from lots.core.units import (
    NINTHS_PER_C,
    NINTHS_PER_F,
    TempUnit,
    degrees,
    read_difference,
    read_temperature,
    show_number,
    to_ninths,
)
from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck, CheckPeriod, Instrument
from lots.queries.house import all_instruments, rules
from lots.queries.plans import newest_versions, plan_value

PREFIX: Final = "accuracy-check-"  # of the limit's id of a deviation that a check opened
IN_DEGREES: Final = ("thermometer", "data logger")
WHERE: Final = {
    "ice point": "at the ice point",
    "boiling point": "at the boiling point",
    "reference": "beside a reference thermometer",
}


def limit_id_of(check: AccuracyCheck) -> str:
    """What stands in place of a limit's id on the deviations that a failed check opened."""
    return f"{PREFIX}{check.pk}"


def check_number(limit_id: str) -> int | None:
    """The number of the accuracy check that a deviation's limit id names, if it names one."""
    number = limit_id.removeprefix(PREFIX)
    return int(number) if limit_id.startswith(PREFIX) and number.isdecimal() else None


def check_of(deviation: Deviation) -> AccuracyCheck | None:
    """The failed check that opened the deviation; None where a limit of the plan broke."""
    number = check_number(deviation.limit_id)
    rows = AccuracyCheck.objects.select_related("instrument", "line__person")
    return rows.filter(pk=number).first() if number is not None else None


def off_by(check: AccuracyCheck) -> int:
    """How much it read too high (below 0: too low), in ninths."""
    unit: TempUnit = "F" if check.unit == "F" else "C"
    return to_ninths(check.as_read, unit) - to_ninths(check.expected, unit)


def show_error(check: AccuracyCheck) -> str:
    """How far off, in the unit of the check: "3.0 °F high"."""
    off = off_by(check)
    size = NINTHS_PER_F if check.unit == "F" else NINTHS_PER_C
    words = f"{show_number(Fraction(abs(off), size), 3, 1)} °{check.unit}"
    return f"{words} {'high' if off > 0 else 'low'}" if off else words


def figure_of(check: AccuracyCheck) -> str:
    """The figure of the deviations that it opens: "3.0 °F off at the ice point (reads high)"."""
    error, _, side = show_error(check).rpartition(" ")
    return f"{error} off {WHERE.get(check.method, check.method)} (reads {side})"


def demand_of(check: AccuracyCheck) -> str:
    return f"{check.instrument.name} reads within {check.tolerance}"


@dataclass(frozen=True)
class Window:
    """The time in which an instrument is in doubt: from its last good check before the failed one
    (None: it was never found good) to its first good check after (None: not found good since)."""

    good: AccuracyCheck | None
    next_good: AccuracyCheck | None
    not_counted: list[AccuracyCheck]  # good, but entered late and not accepted

    @property
    def since(self) -> int:
        return self.good.observed_at if self.good else 0

    @property
    def until(self) -> int | None:
        return self.next_good.observed_at if self.next_good else None

    def holds(self, first_at: int, last_at: int) -> bool:
        """Whether all of a time lies in it."""
        return self.since <= first_at and (self.until is None or last_at <= self.until)


def _late(check: AccuracyCheck) -> bool:
    return check.entered_at - check.observed_at > rules().late_after_ms


def _believed(check: AccuracyCheck) -> bool:
    """A check entered late cannot clear readings before the records reviewer has accepted it."""
    return not _late(check) or getattr(check, "accepted", None) is not None


def _known_by(check: AccuracyCheck, line: int) -> bool:
    known = check.accepted.line_id if _late(check) else check.line_id  # type: ignore[attr-defined]
    return bool(known <= line)


def window_of(check: AccuracyCheck) -> Window:
    """When the instrument that the check found off is in doubt.

    The good check before it must have been in the book when the failed one was written, so that what
    is entered later shortens no look-back.
    """
    rows = AccuracyCheck.objects.filter(instrument=check.instrument_id, within=True)
    good = list(rows.select_related("accepted").order_by("observed_at", "pk"))
    mine = check.observed_at, check.pk
    before = [one for one in good if (one.observed_at, one.pk) < mine]
    after = [one for one in good if (one.observed_at, one.pk) > mine and _believed(one)]
    counted = [one for one in before if _believed(one) and _known_by(one, check.line_id)]
    since = counted[-1].observed_at if counted else 0
    left_out = [one for one in before if one not in counted and one.observed_at > since]
    return Window(counted[-1] if counted else None, after[0] if after else None, left_out)


@lru_cache
def _boiling() -> tuple[int, int]:
    """Where water boils at sea level, and how much lower it does for each 1,000 ft; ninths."""
    row = tomllib.loads(Path(settings.RULES_FILE).read_text())["boiling_water"]
    return read_temperature(row["at_sea_level"]).f, read_difference(row["lower_each_1000_ft"])


def boiling_point(altitude_ft: Fraction) -> int:
    """Where water boils at an altitude, in ninths to the nearest one, by the rule of the rules' file."""
    sea, lower = _boiling()
    return round(sea - lower * altitude_ft / 1000)


def show_boiling(altitude_ft: Fraction, unit: TempUnit) -> str:
    """The same as it would be typed: "203.0"."""
    return show_number(degrees(boiling_point(altitude_ft), unit), 1, 1).replace("−", "-")


@dataclass(frozen=True)
class Period:
    """How often an instrument is to be checked, and who says so."""

    every_ms: int
    says: str  # "set", "plan" or "practice"
    row: CheckPeriod | None = None


def plans_period() -> int | None:
    """The shortest time within which a published plan wants instruments checked, in ms."""
    found = [
        leaf.rule.within_ms
        for version in newest_versions()
        for point in plan_value(version).control_points
        for limit in point.limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Accurate)
    ]
    return min(found, default=None)


def period_of(instrument: Instrument, by_plan: int | None) -> Period:
    """The instrument's own period as set last; else the plans' (`by_plan`); else common practice."""
    rows = CheckPeriod.objects.filter(instrument=instrument).select_related("line__person")
    row = rows.order_by("-pk").first()
    if row is not None:
        return Period(row.every_ms, "set", row)
    if by_plan is not None:
        return Period(by_plan, "plan")
    return Period(rules().accuracy_within_ms, "practice")


@dataclass(frozen=True)
class Registered:
    """An instrument with its latest check and when the next is due (None: it is not checked here)."""

    instrument: Instrument
    check: AccuracyCheck | None
    period: Period | None
    due_at: int | None
    now: int

    @property
    def retired(self) -> bool:
        return getattr(self.instrument, "retired", None) is not None

    @property
    def off(self) -> bool:
        """In use though its latest check found it out of tolerance."""
        return not self.retired and self.check is not None and not self.check.within

    @property
    def overdue(self) -> bool:
        return self.due_at is not None and self.now > self.due_at

    @property
    def late_by_ms(self) -> int:
        return self.now - (self.due_at or self.now)


def registered(instrument: Instrument, check: AccuracyCheck | None, at: int) -> Registered:
    return _registered(instrument, check, plans_period(), at)


def _registered(
    one: Instrument, check: AccuracyCheck | None, by_plan: int | None, at: int
) -> Registered:
    if one.kind not in IN_DEGREES or getattr(one, "retired", None) is not None:
        return Registered(one, check, None, None, at)
    period = period_of(one, by_plan)
    due = check.observed_at + period.every_ms if check else one.line.at
    return Registered(one, check, period, due, at)


def register(at: int) -> list[Registered]:
    """Every instrument: out of tolerance and overdue ones first, the longest overdue above; then by
    when the next check is due; retired ones last."""
    by_plan = plans_period()
    rows = [_registered(one, check, by_plan, at) for one, check in all_instruments()]
    return sorted(
        rows,
        key=lambda row: (row.retired, not row.off, not row.overdue, row.due_at or 2**62),
    )
