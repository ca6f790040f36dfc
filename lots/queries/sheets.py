"""What is printed on a load's blank sheet."""

from dataclasses import dataclass

from lots.core.limits import demand
from lots.models.lot import Load, LoadPart
from lots.queries.answer import probes_for
from lots.queries.evidence import started_at
from lots.queries.load_page import asked_looks, probes_wanted
from lots.queries.plans import plan_value


@dataclass(frozen=True)
class BlankSheet:
    """One load as its sheet names it; `columns`: its fish, or its place."""

    load: Load
    step: str
    since: int
    lots: list[str]
    plans: list[str]
    columns: list[str]
    demands: list[str]
    actions: list[tuple[str, str]]
    looks: list[str]


def of_fish(load: Load) -> bool:
    """Whether the limits of the load's step look at its fish."""
    return probes_wanted(load) > 0


def sheet_of(load: Load) -> BlankSheet:
    rows = LoadPart.objects.filter(load=load).select_related("lot__plan_version__plan")
    parts = list(rows.order_by("id"))
    limits = [
        pair for part in parts for pair in plan_value(part.lot.plan_version).held_at(part.step)
    ]
    versions = {part.lot.plan_version for part in parts}
    return BlankSheet(
        load,
        plan_value(parts[0].lot.plan_version).step(parts[0].step).name,
        started_at(load),
        [part.lot.code for part in parts],
        sorted(f"{one.plan.title}, version {one.number}" for one in versions),
        probes_for(load) if of_fish(load) else [load.place.name],
        list(dict.fromkeys(f"{point.name}: {demand(limit)}" for point, limit in limits)),
        list(dict.fromkeys((point.name, point.corrective_action) for point, _ in limits)),
        asked_looks(load),
    )
