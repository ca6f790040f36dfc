"""One control point over the last quarter of a year: each lot's step with its figures against the limits."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from django.db.models import Q

from lots.core.limits import Limit, Verdict
from lots.core.plan import ControlPoint
from lots.models.lot import LoadPart
from lots.models.plan import Plan
from lots.queries.evidence import end_of, started_at
from lots.queries.house import rules
from lots.queries.judgements import Judged, judge_parts, sitting_of
from lots.queries.lineage import lineages
from lots.queries.load_page import LimitShown, shown
from lots.queries.plans import plan_value


@dataclass(frozen=True)
class StepHeld:
    """A lot's step at the control point: when it was, and each limit with its judgement."""

    part: LoadPart
    began_at: int
    ended_at: int | None
    at: int  # where it stands in time: its end, or now while it runs
    limits: list[LimitShown]

    @property
    def verdict(self) -> Verdict:
        """The least favourable of its limits."""
        return max((one.judged.verdict for one in self.limits), key=lambda verdict: verdict.rank)


@dataclass(frozen=True)
class History:
    """The steps at a control point since a moment, the newest first."""

    plan: Plan
    point: ControlPoint
    since: int
    until: int
    steps: list[StepHeld]
    left_out: int  # older steps of the same time that did not fit
    counts: dict[Verdict, int] = field(default_factory=dict)

    @property
    def limits(self) -> list[Limit]:
        """Every limit held, in the plan's order, by its id once."""
        found = {
            one.judged.limit.id: one.judged.limit for step in self.steps for one in step.limits
        }
        return list(found.values())

    @property
    def in_words(self) -> list[tuple[str, int]]:
        """(verdict, how many steps), the worst first; steps of no verdict are not named."""
        worst_first = sorted(self.counts, key=lambda verdict: -verdict.rank)
        return [(verdict.value, self.counts[verdict]) for verdict in worst_first]


def point_of(plan: Plan, point_id: str) -> ControlPoint | None:
    """The control point as the newest version that has it states it."""
    for version in plan.versions.order_by("-number"):
        for point in plan_value(version).control_points:
            if point.id == point_id:
                return point
    return None


def history(
    plan: Plan, point_id: str, at: int, lots: Collection[int] | None = None
) -> History | None:
    """The control point's steps that ended within the time looked back, or that run; None where no
    version of the plan has the point.

    Args:
        lots: numbers of the lots looked at; None: every lot under the plan.
    """
    point = point_of(plan, point_id)
    if point is None:
        return None
    since = at - rules().period.looks_back_ms
    most = rules().period.most_steps
    parts = _parts(plan, point_id, since, lots)
    steps = _held(parts[:most], point_id, at)
    counts: dict[Verdict, int] = {}
    for step in steps:
        counts[step.verdict] = counts.get(step.verdict, 0) + 1
    return History(plan, point, since, at, steps, max(0, len(parts) - most), counts)


def _parts(plan: Plan, point_id: str, since: int, lots: Collection[int] | None) -> list[LoadPart]:
    """The steps at the point since a moment, the newest first."""
    rows = LoadPart.objects.filter(lot__plan_version__plan=plan)
    rows = rows.filter(Q(load__ends=None) | Q(load__ends__ended_at__gte=since)).distinct()
    if lots is not None:
        rows = rows.filter(lot__in=lots)
    rows = rows.select_related("lot__plan_version__plan", "lot__voided", "load__place__within")
    rows = rows.prefetch_related("load__moves", "load__ends__accepted")
    found = [part for part in rows if _stands_at(part, point_id) and _since(part, since)]
    return sorted(found, key=lambda part: (-started_at(part.load), -part.pk))


def _stands_at(part: LoadPart, point_id: str) -> bool:
    plan = plan_value(part.lot.plan_version)
    return any(point.id == point_id for point, _ in plan.held_at(part.step))


def _since(part: LoadPart, since: int) -> bool:
    end = end_of(part.load)
    return end is None or end.ended_at >= since


def _held(parts: Iterable[LoadPart], point_id: str, at: int) -> list[StepHeld]:
    parts = list(parts)
    ancestors = lineages(part.lot for part in parts)
    pairs = [(part, ancestors[part.lot_id]) for part in parts]
    by_part: dict[int, list[Judged]] = {}
    for judged in judge_parts(pairs, at, sitting=sitting_of(pairs)):
        if judged.point.id == point_id:
            by_part.setdefault(judged.part.pk, []).append(judged)
    return [_step(part, by_part[part.pk], at) for part in parts if part.pk in by_part]


def _step(part: LoadPart, judged: list[Judged], at: int) -> StepHeld:
    end = end_of(part.load)
    ended_at = end.ended_at if end else None
    return StepHeld(part, started_at(part.load), ended_at, ended_at or at, shown(judged))
