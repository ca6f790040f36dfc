"""Until when a lot's records must be kept; nothing is ever removed by itself."""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.queries.house import rules
from lots.queries.plans import plan_value


@dataclass(frozen=True)
class KeepUntil:
    """The day, how many years that is, and from what day it is counted."""

    day: date
    years: int
    storage: str
    counted_from: str


def keep_until(lot: Lot, house: Establishment) -> KeepUntil:
    """One year for chilled and two for frozen fish, from the day the lot was finished (until then
    from the day it came in).  Source: 21 CFR 123.9(b)."""
    plan = plan_value(lot.plan_version)
    finish = getattr(lot, "finish", None)
    begun = finish.finished_at if finish else lot.received_at
    first = datetime.fromtimestamp(begun / 1000, ZoneInfo(house.zone)).date()
    years = plan.retention_years(rules())
    return KeepUntil(
        first + relativedelta(years=years),
        years,
        plan.product.storage,
        "its finishing" if finish else "its receiving, until it is finished",
    )
