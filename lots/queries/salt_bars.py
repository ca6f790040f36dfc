"""What bars a lot's release besides its plan's limits: a sample whose result has not come, and what a
laboratory found that the plan does not speak of."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Final
from zoneinfo import ZoneInfo

from lots.core.limits import Measured
from lots.core.moments import show_day_of
from lots.core.plan import Plan
from lots.core.units import show_quantity
from lots.models.lot import Lot
from lots.queries.evidence import laboratory_by_lot
from lots.queries.house import establishment, rules
from lots.queries.lineage import lineage
from lots.queries.salt_facts import Samples, awaited_by_lot

LISTERIA: Final = "Listeria"
HISTAMINE: Final = "histamine"


def salt_bars(lot: Lot, plan: Plan) -> list[str]:
    """Everything of this that stands between the lot and its release, in words."""
    lots = [ancestor.lot for ancestor in lineage(lot)]
    return [*_awaited(lots), *_found(lots, plan)]


def _awaited(lots: Iterable[Lot]) -> Iterator[str]:
    """Samples that were sent, whatever the plan says of them."""
    house = establishment()
    zone = ZoneInfo(house.zone if house else "UTC")
    for moments in awaited_by_lot(one.pk for one in lots).values():
        for quantity, sampled in moments.items():
            for at in sampled:
                yield f"sampled for {quantity} on {show_day_of(at, zone)}: the result has not come"


def _found(lots: list[Lot], plan: Plan) -> Iterator[str]:
    """What a laboratory found beyond what may be, where the plan has no limit that says so."""
    limits = [limit for point in plan.control_points for limit in point.limits]
    leaves = [leaf.rule for limit in limits for leaf in limit.leaves()]
    spoken = {rule.quantity for rule in leaves if isinstance(rule, Measured)}
    most: Mapping[str, int] = {LISTERIA: 0, HISTAMINE: rules().histamine_most}
    for samples in laboratory_by_lot(lots).values():
        for quantity in sorted(set(most) - spoken):
            yield from _beyond(quantity, most[quantity], samples)


def _beyond(quantity: str, most: int, samples: Samples) -> Iterator[str]:
    highest = max((one.millionths for one in samples.get(quantity, ())), default=0)
    if highest <= most:
        return
    found = show_quantity(highest, quantity)
    if not most:
        yield f"{quantity} was found ({found}), and the plan has no limit for it"
    else:
        least = show_quantity(most, quantity)
        yield f"{quantity} {found} is above {least}, and the plan has no limit for it"
