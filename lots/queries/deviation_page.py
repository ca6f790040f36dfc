"""Deviations: the lists of them, and one with all that it rests on and what was done about it."""

import json
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from lots.core.plan import ControlPoint
from lots.models.deviation import CorrectiveAction, Deviation, DeviationNote, Disposition
from lots.models.lot import LoadPart
from lots.models.reading import PackedSeries, Reading
from lots.queries.judgements import Judged, judge_part
from lots.queries.lineage import lineage
from lots.queries.plans import plan_value
from lots.queries.release import deviation_state, undecided_grams


def is_missed(deviation: Deviation) -> bool:
    """Whether the deviation is a reading that was not taken in time."""
    plan = plan_value(deviation.lot.plan_version)
    limits = {limit.id: limit for point in plan.control_points for limit in point.limits}
    limit = limits.get(deviation.limit_id)
    return limit is not None and limit.kind == "every"


def all_deviations() -> QuerySet[Deviation]:
    """Every deviation with what was decided last; None or "hold" is open."""
    newest = Disposition.objects.filter(deviation=OuterRef("pk")).order_by("-number")
    return Deviation.objects.select_related("lot__plan_version", "load__place").annotate(
        decided=Subquery(newest.values("kind")[:1]),
        acted=Exists(CorrectiveAction.objects.filter(deviation=OuterRef("pk"))),
    )


def _partly() -> list[int]:
    """Numbers of deviations whose decisions speak of less than all the fish."""
    rows = Deviation.objects.filter(lot__release=None, dispositions__isnull=False).distinct()
    rows = rows.select_related("lot").prefetch_related("dispositions")
    return [row.pk for row in rows if not deviation_state(row).ended]


def open_deviations() -> QuerySet[Deviation]:
    """Open ones: those that nobody has acted on first, then the oldest."""
    rows = all_deviations().filter(Q(decided=None) | Q(decided="hold") | Q(pk__in=_partly()))
    return rows.order_by("acted", "broke_at", "id")


def ended_deviations() -> QuerySet[Deviation]:
    """Ended ones, newest first."""
    still_open = Q(decided=None) | Q(decided="hold") | Q(pk__in=_partly())
    return all_deviations().exclude(still_open).order_by("-broke_at", "-id")


@dataclass(frozen=True)
class DeviationPage:
    """A deviation with its evidence, what the plan says to do, what was done and decided."""

    deviation: Deviation
    point: ControlPoint | None
    evidence: dict[str, Any]
    readings: list[Reading]
    series: list[PackedSeries]
    notes: list[DeviationNote]
    actions: list[CorrectiveAction]
    dispositions: list[Disposition]
    now: Judged | None
    beside: list[Deviation]

    @property
    def newest(self) -> Disposition | None:
        return self.dispositions[-1] if self.dispositions else None

    @property
    def ended(self) -> bool:
        return deviation_state(self.deviation).ended

    @property
    def undecided_g(self) -> int:
        """Grams of its fish that no final decision speaks of yet."""
        return undecided_grams(self.deviation)

    @property
    def partly(self) -> bool:
        """Whether a part is decided about and the rest is not."""
        return bool(deviation_state(self.deviation).decided) and not self.ended

    @property
    def missed(self) -> bool:
        return is_missed(self.deviation)


def deviation_page(deviation: Deviation, at: int) -> DeviationPage:
    """Everything that the page of a deviation shows; what the limit says now is computed."""
    evidence = json.loads(deviation.evidence)
    readings = Reading.objects.filter(pk__in=evidence.get("readings", [])).select_related(
        "place", "line__person", "corrected_by"
    )
    numbers = [number for number, _ in evidence.get("series", [])]
    series = (
        PackedSeries.objects.filter(pk__in=numbers).defer("data").select_related("source__file")
    )
    return DeviationPage(
        deviation,
        _point(deviation),
        evidence,
        list(readings.order_by("-observed_at", "-id")),
        list(series.order_by("first_at")),
        list(deviation.notes.select_related("line").order_by("id")),
        list(deviation.actions.select_related("line__person").order_by("id")),
        list(deviation.dispositions.select_related("line__person").order_by("number")),
        _now(deviation, at),
        list(_beside(deviation)),
    )


def _point(deviation: Deviation) -> ControlPoint | None:
    plan = plan_value(deviation.lot.plan_version)
    try:
        return plan.control_point_of(deviation.limit_id)
    except KeyError:
        return None


def _now(deviation: Deviation, at: int) -> Judged | None:
    """The limit's judgement as it would be said now."""
    parts = LoadPart.objects.filter(lot=deviation.lot_id, load=deviation.load_id).select_related(
        "lot__plan_version", "load__place__within"
    )
    part = parts.prefetch_related("load__moves", "load__ends__accepted").first()
    if part is None:
        return None
    judged = judge_part(part, at, lineage(part.lot))
    return next((one for one in judged if one.limit.id == deviation.limit_id), None)


def _beside(deviation: Deviation) -> QuerySet[Deviation]:
    """The same limit broken on other lots of the same load."""
    rows = all_deviations().filter(load=deviation.load_id, limit_id=deviation.limit_id)
    return rows.exclude(lot=deviation.lot_id).order_by("id")
