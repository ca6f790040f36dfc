"""The opening page of a shift: what stands where, since when, what it shows and what is due."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Max

from lots.core.limits import Every, Limit
from lots.models.deviation import Deviation
from lots.models.lot import Load, LoadPart, Lot
from lots.models.reading import PackedSeries, Reading
from lots.queries.evidence import started_at
from lots.queries.judgements import Judged, judge_parts
from lots.queries.lineage import balance
from lots.queries.plans import plan_value


@dataclass(frozen=True)
class Due:
    """The next moment by which a reading is wanted, and of what."""

    at: int
    what: str
    of: str


@dataclass(frozen=True)
class LoadNow:
    """An open load as the board shows it."""

    load: Load
    step_name: str
    since: int
    parts: list[LoadPart]
    judged: list[Judged]
    last: Reading | None
    logger_until: int | None
    due: Due | None

    @property
    def worst(self) -> Judged | None:
        """The limit that matters most: the worst verdict; `every` gives way to a limit of heat."""
        return max(
            self.judged,
            key=lambda one: (one.verdict.rank, not isinstance(one.limit.rule, Every)),
            default=None,
        )


def open_loads() -> list[Load]:
    """Loads that have not ended, the smokehouses first."""
    loads = Load.objects.filter(ends=None).select_related("place__within")
    loads = loads.prefetch_related("moves", "ends__accepted")
    order = ["smokehouse", "brine tank", "dry room", "cooler", "table", "freezer"]
    return sorted(
        loads,
        key=lambda load: (
            order.index(load.place.kind) if load.place.kind in order else len(order),
            load.place.name,
            load.pk,
        ),
    )


def _last_reading(load: Load) -> Reading | None:
    rows = Reading.objects.filter(load=load) | Reading.objects.filter(
        place=load.place, load=None, observed_at__gte=started_at(load)
    )
    rows = rows.filter(corrected_by=None, withdrawn=False, quantity="temperature")
    return rows.select_related("line__person").order_by("-observed_at", "-id").first()


def _logger_until(load: Load) -> int | None:
    rows = PackedSeries.objects.filter(load=load) | PackedSeries.objects.filter(
        place=load.place, load=None, last_at__gte=started_at(load)
    )
    return rows.aggregate(until=Max("last_at"))["until"]


def _every(limit: Limit) -> Limit | None:
    return limit if isinstance(limit.rule, Every) else None


def _due(judged: list[Judged]) -> Due | None:
    found = [
        Due(one.finding.next_at, one.point.name, one.limit.of)
        for one in judged
        if _every(one.limit) and one.finding.next_at is not None and not one.finding.why
    ]
    late = [
        Due(one.finding.last_broke_at, one.point.name, one.limit.of)
        for one in judged
        if _every(one.limit) and one.finding.last_broke_at is not None
    ]
    return min([*late, *found], key=lambda due: due.at, default=None)


def loads_now(at: int) -> list[LoadNow]:
    """Every open load with what it shows at a moment."""
    parts: dict[int, list[LoadPart]] = {}
    loads = open_loads()
    rows = LoadPart.objects.filter(load__in=loads).select_related(
        "load__place__within", "lot__plan_version"
    )
    for part in rows.order_by("id"):
        parts.setdefault(part.load_id, []).append(part)
    judged = _judged(parts.values(), at)
    return [_now(load, parts[load.pk], judged) for load in loads if load.pk in parts]


def _judged(loads: Iterable[list[LoadPart]], at: int) -> dict[int, list[Judged]]:
    """By load: its limits, once for each plan version in it."""
    firsts = [part for parts in loads for part in one_of_each_plan(parts)]
    found: dict[int, list[Judged]] = {}
    for one in judge_parts([(part, ()) for part in firsts], at):
        found.setdefault(one.part.load_id, []).append(one)
    return found


def one_of_each_plan(parts: Iterable[LoadPart]) -> list[LoadPart]:
    """Of the lots in a load one for each plan version: the load's limits are the same for the rest."""
    firsts: dict[tuple[int, int], LoadPart] = {}
    for part in parts:
        firsts.setdefault((part.load_id, part.lot.plan_version_id), part)
    return list(firsts.values())


def _now(load: Load, parts: list[LoadPart], found: dict[int, list[Judged]]) -> LoadNow:
    judged = found.get(load.pk, [])
    return LoadNow(
        load,
        plan_value(parts[0].lot.plan_version).step(parts[0].step).name,
        started_at(load),
        parts,
        judged,
        _last_reading(load),
        _logger_until(load),
        _due(judged),
    )


def open_lots() -> list[Lot]:
    """Lots that are neither released nor voided, newest first."""
    rows = Lot.objects.filter(voided=None, release=None).select_related(
        "plan_version__plan", "finish"
    )
    return list(rows.order_by("-received_at", "-id"))


def lots_between_steps(loads: list[LoadNow]) -> list[Lot]:
    """Open lots, not finished, that stand in no load now: the next step waits for them.  A lot all of
    whose fish went into others or was destroyed waits for nothing."""
    inside = {part.lot_id for now in loads for part in now.parts}
    waiting = [lot for lot in open_lots() if lot.pk not in inside and not hasattr(lot, "finish")]
    return [lot for lot in waiting if balance(lot).left > 0]


def open_deviations() -> int:
    """How many deviations have no final disposition yet."""
    ended = Deviation.objects.filter(dispositions__kind__in=FINAL).values("pk")
    return Deviation.objects.exclude(pk__in=ended).filter(lot__voided=None).count()


FINAL = ("release", "rework", "divert", "destroy", "recall")
