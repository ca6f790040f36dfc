"""Until what day a lot's packs may be used, and which lots are past it.

Days are the establishment's own.  The day itself may still be used; the day after is past.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

from lots.core.moments import show_day
from lots.core.plan import Plan
from lots.core.use_by import KeepsFor
from lots.models.lot import Load, LoadPart, Lot, LotFinish
from lots.models.salt import Thawed
from lots.queries.house import establishment, say_weight
from lots.queries.lineage import balance, parts_of
from lots.queries.plans import plan_value
from lots.queries.sight import ALL, spans_of, started_at

SMOKING, PACKING = "the end of smoking", "the first packing"


@dataclass(frozen=True)
class UseBy:
    """The last day on which a pack may be used, the day and the act that it was counted from, and how
    long it keeps in the plan's words; "" where the plan names no time after thawing."""

    day: date
    counted: date
    counted_from: str
    span: str

    @property
    def words(self) -> str:
        return show_day(self.day)


@dataclass(frozen=True)
class ThawedPart:
    """Packs that were thawed, and until when they may be used now."""

    row: Thawed
    use_by: UseBy


def day_of(at: int) -> date:
    """The day of a moment where the house stands."""
    house = establishment()
    assert house is not None
    return datetime.fromtimestamp(at / 1000, ZoneInfo(house.zone)).date()


def day_after(day: date, span: KeepsFor) -> date:
    """The same day of the month so many months later, or so many days later.  Where that month has no
    such day it is the month's last, so that nothing keeps longer than was said."""
    if span.unit == "months":
        return day + relativedelta(months=span.count)
    return day + relativedelta(days=span.count)


def use_by(lot: Lot, parts: Sequence[LoadPart] | None = None) -> UseBy | None:
    """Until when the lot's packs may be used if none is thawed; None while that cannot be said.

    Of several loads the earliest counts, those that its fish was in before it came into this lot too.
    """
    plan = plan_value(lot.plan_version)
    span = plan.product.keeps_for
    if span is None:
        return None
    began = _began(lot, plan, parts_of(lot) if parts is None else parts)
    if began is None:
        return None
    counted = day_of(began[0])
    return UseBy(day_after(counted, span), counted, began[1], span.text)


def not_yet(lot: Lot) -> str:
    """Why no use-by date can be said of a lot, in words."""
    product = plan_value(lot.plan_version).product
    if product.keeps_for is None:
        return "the lot's plan names no time to a use-by date"
    return "not yet packed" if product.use_by_from == "packing" else "not yet out of the smokehouse"


def _began(lot: Lot, plan: Plan, parts: Sequence[LoadPart]) -> tuple[int, str] | None:
    """The moment that the time is counted from."""
    if plan.product.use_by_from == "packing":
        starts = [started_at(part.load) for part in parts if part.load.step_kind == "pack"]
        if starts:
            return min(starts), PACKING
        if not LotFinish.objects.filter(lot=lot).exists():
            return None  # packed without a load of its own it is counted from smoking, which was earlier
    smoked = _smoked(plan, parts)
    return None if smoked is None else (smoked, SMOKING)


def _smoked(plan: Plan, parts: Sequence[LoadPart]) -> int | None:
    """The earliest end of the last of the plan's smoking steps that the fish was in."""
    smoking = [part for part in parts if part.load.step_kind == "smoke"]
    order = [step.id for step in plan.steps]
    last = max((order.index(part.step) for part in smoking), default=None)
    if last is None:
        return None
    ends = [_first_end(part.load) for part in smoking if part.step == order[last]]
    return min((end for end in ends if end is not None), default=None)


def _first_end(load: Load) -> int | None:
    """When the step ended; while a correction is not accepted, the earlier of the two."""
    stated, monitored, _ = spans_of(load, ALL)
    return min((one.end for one in (stated, monitored) if one.end is not None), default=None)


# --- thawed ---------------------------------------------------------------------------------------


def thawed_parts(lot: Lot, whole: UseBy | None) -> list[ThawedPart]:
    """The packs of a lot that were thawed, in order of time; `whole` is the lot's own date."""
    span = plan_value(lot.plan_version).product.thawed_keeps_for
    rows = Thawed.objects.filter(lot=lot).select_related("line__person").order_by("at", "id")
    return [ThawedPart(row, thawed_use_by(row.at, span, whole)) for row in rows]


def thawed_use_by(at: int, span: KeepsFor | None, whole: UseBy | None) -> UseBy:
    """Until when packs thawed at a moment may be used: never later than before, and on the very day
    where the plan names no time after thawing."""
    counted = day_of(at)
    day = counted if span is None else day_after(counted, span)
    if whole is not None and whole.day < day:
        return whole
    return UseBy(day, counted, "thawing", span.text if span else "")


def thawed_g(lot: Lot) -> int:
    """Grams of the lot that were thawed."""
    return sum(Thawed.objects.filter(lot=lot).values_list("grams", flat=True))


def thawed_past_g(lot: Lot, at: int) -> int:
    """Grams of the lot that were thawed and are past their day."""
    return sum(part.row.grams for part in _thawed_past(lot, use_by(lot), at))


def _thawed_past(lot: Lot, whole: UseBy | None, at: int) -> list[ThawedPart]:
    today = day_of(at)
    return [part for part in thawed_parts(lot, whole) if today > part.use_by.day]


# --- past it --------------------------------------------------------------------------------------


def use_by_bars(lot: Lot, at: int, parts: Sequence[LoadPart] | None = None) -> list[str]:
    """What the use-by date has against a release: that all of the lot is past it, in words."""
    whole = use_by(lot, parts)
    if whole is not None and day_of(at) > whole.day:
        return [f"its use-by date is past: {whole.words}"]
    packed = balance(lot).packed
    if packed and packed <= sum(part.row.grams for part in _thawed_past(lot, whole, at)):
        return ["all of it was thawed, and its use-by date after thawing is past"]
    return []


def past_words(lot: Lot, at: int, whole: UseBy | None) -> str:
    """What of a lot is past its use-by date, in words; "" where nothing is.  `whole` is the lot's own."""
    if whole is not None and day_of(at) > whole.day:
        return f"past its use-by date, {whole.words}"
    past = _thawed_past(lot, whole, at)
    if not past:
        return ""
    grams = say_weight(sum(part.row.grams for part in past))
    first = min(part.use_by.day for part in past)
    return f"{grams} thawed, past its use-by date, {show_day(first)}"
