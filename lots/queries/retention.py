"""Until when a lot's records must be kept, rule by rule; nothing is ever removed by itself."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from lots.core.retention import MONTHS_A_YEAR, Keep, longest_first
from lots.models.book import LineLot
from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.models.plan import PlanVersion
from lots.queries.house import rules
from lots.queries.plans import plan_value

COPY = "record issued"  # a paper of what is there already makes nothing younger
RECORDS, STUDY = "its records", "the process study of its plan"
MAY_APPLY = "whether subpart S applies to this house is to be confirmed by its trained person"


@dataclass(frozen=True)
class KeepUntil:
    """Every rule that speaks of the lot, the longest first."""

    rules: tuple[Keep, ...]

    @property
    def longest(self) -> Keep:
        return self.rules[0]

    @property
    def day(self) -> date:
        """At least until this day, by the longest of the rules."""
        return self.longest.day


def keep_until(lot: Lot, house: Establishment) -> KeepUntil:
    """What 21 CFR 123.9(b), and 1.1455(d) where it applies, ask for this lot.

    The rules count from the day that a record was made; so the lot's last entry counts, which is never
    earlier than its finishing.
    """
    last = _last_entry(lot, house)
    return KeepUntil(longest_first([*_records(lot, *last), *_study(lot, house)]))


def _day(at: int, house: Establishment) -> date:
    return datetime.fromtimestamp(at / 1000, ZoneInfo(house.zone)).date()


def _last_entry(lot: Lot, house: Establishment) -> tuple[date, str]:
    """The day of the newest entry about the lot, its finishing where that is later."""
    row = LineLot.objects.filter(lot=lot).exclude(line__kind=COPY).order_by("-line").first()
    finish = getattr(lot, "finish", None)
    entered = max(row.line.at if row else 0, lot.received_at)
    if finish is not None and finish.finished_at >= entered:
        return _day(finish.finished_at, house), "its finishing"
    words = (
        "the last entry about it" if finish else "the last entry about it, which is not finished"
    )
    return _day(entered, house), words


def _records(lot: Lot, counted: date, counted_from: str) -> Iterator[Keep]:
    plan = plan_value(lot.plan_version)
    years = plan.retention_years(rules())
    yield Keep(
        f"{RECORDS} ({plan.product.storage} fish)",
        years * MONTHS_A_YEAR,
        counted,
        counted_from,
        "21 CFR 123.9(b)(1)",
    )
    yield Keep(
        f"{RECORDS} for traceability",
        rules().traceability_months,
        counted,
        counted_from,
        "21 CFR 1.1455(d)",
        MAY_APPLY,
    )


def _study(lot: Lot, house: Establishment) -> Iterator[Keep]:
    """The process study that the lot's plan rests on, from the last lot that was made under it."""
    under = _same_study(lot.plan_version)
    if not under:
        return
    lots = Lot.objects.filter(plan_version__in=under).select_related("finish")
    used = max(_used_at(one) for one in lots)
    in_use = _newest(lot.plan_version).pk in {version.pk for version in under}
    withdrawn = hasattr(lot.plan_version.plan, "withdrawn")
    yield Keep(
        STUDY,
        rules().study_retention_years * MONTHS_A_YEAR,
        _day(used, house),
        "the last use of the study so far",
        "21 CFR 123.9(b)(2)",
        "the plan is in use: the day moves on with every lot" if in_use and not withdrawn else "",
    )


def _used_at(lot: Lot) -> int:
    finish = getattr(lot, "finish", None)
    return int(finish.finished_at if finish else lot.received_at)


def _same_study(version: PlanVersion) -> list[PlanVersion]:
    """The versions of the plan that rest on the same study; none where it names none."""
    words = plan_value(version).product.process_study.strip()
    if not words and version.study_id is None:
        return []
    return [
        one
        for one in version.plan.versions.all()
        if one.study_id == version.study_id
        and plan_value(one).product.process_study.strip() == words
    ]


def _newest(version: PlanVersion) -> PlanVersion:
    newest = version.plan.versions.order_by("-number").first()
    assert newest is not None
    return newest
