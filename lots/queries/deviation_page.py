"""Deviations: the lists of them, and one with all that it rests on and what was done about it."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, OuterRef, QuerySet, Subquery

from lots.core.plan import ControlPoint
from lots.models.deviation import (
    CorrectiveAction,
    Deviation,
    DeviationNote,
    Disposition,
    RecallConsignee,
)
from lots.models.house import AccuracyCheck
from lots.models.lot import LoadPart, Lot
from lots.models.reading import PackedSeries, Reading
from lots.models.review import Release
from lots.queries.accuracy_checks import check_number, check_of
from lots.queries.judgements import Judged, judge_part
from lots.queries.lineage import lineage
from lots.queries.plans import plan_value
from lots.queries.release import Whereabouts, deviation_state, undecided_grams, whereabouts
from lots.queries.rests_on import checks_behind


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
        released=Exists(Release.objects.filter(lot=OuterRef("lot"))),
        stored=Exists(LoadPart.objects.filter(lot=OuterRef("lot"), load__ends=None)),
    )


def _held_or_partly() -> set[int]:
    """Numbers of deviations with decisions that leave them open: on hold, or of less than all the
    fish.  What was released since is settled by the release, unless it broke after it."""
    later = Disposition.objects.filter(
        deviation=OuterRef("deviation"), number__gt=OuterRef("number")
    )
    held = Disposition.objects.filter(kind="hold").filter(~Exists(later))
    found = set(held.values_list("deviation_id", flat=True))
    in_house = Deviation.objects.filter(lot__in=Lot.objects.filter(release=None))
    since = Deviation.objects.filter(lot__release__line__lt=F("line"))
    for rows in (in_house, since):
        decided = rows.filter(Exists(Disposition.objects.filter(deviation=OuterRef("pk"))))
        decided = decided.select_related("lot").prefetch_related("dispositions")
        found |= {row.pk for row in decided if not deviation_state(row).ended}
    return found


def open_count() -> int:
    """How many deviations are open, without reading those that are not."""
    decided = Disposition.objects.values("deviation").distinct().count()
    return Deviation.objects.count() - decided + len(_held_or_partly())


def _open_numbers() -> set[int]:
    decided = Disposition.objects.values("deviation")
    undecided = Deviation.objects.exclude(pk__in=decided).values_list("pk", flat=True)
    return {*undecided, *_held_or_partly()}


def open_deviations() -> QuerySet[Deviation]:
    """Open ones: those that nobody has acted on first, then the oldest."""
    return all_deviations().filter(pk__in=_open_numbers()).order_by("acted", "broke_at", "id")


def ended_deviations() -> QuerySet[Deviation]:
    """Ended ones, newest first."""
    return all_deviations().exclude(pk__in=_open_numbers()).order_by("-broke_at", "-id")


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
    check: AccuracyCheck | None  # the failed accuracy check that opened it
    consignees: dict[int, list[RecallConsignee]]  # by the recall's number among the rows
    whereabouts: Whereabouts

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

    @property
    def checks(self) -> list[AccuracyCheck]:
        """The checks of the instruments that a limit on accuracy was held against."""
        return checks_behind(self.deviation)

    @property
    def has_left(self) -> bool:
        """Whether fish of the lot has left the house: a recall must be decided about."""
        return self.whereabouts.left and not self.ended

    @property
    def decided(self) -> list[tuple[Disposition, list[RecallConsignee]]]:
        """What was decided, each recall with those who had the fish."""
        return [(one, self.consignees.get(one.pk, [])) for one in self.dispositions]


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
    decisions = list(deviation.dispositions.select_related("line__person").order_by("number"))
    return DeviationPage(
        deviation,
        _point(deviation),
        evidence,
        list(readings.order_by("-observed_at", "-id")),
        list(series.order_by("first_at")),
        list(deviation.notes.select_related("line").order_by("id")),
        list(deviation.actions.select_related("line__person").order_by("id")),
        decisions,
        _now(deviation, at),
        list(_beside(deviation)),
        check_of(deviation),
        consignees_of(decisions),
        whereabouts(deviation.lot),
    )


def consignees_of(decisions: Iterable[Disposition]) -> dict[int, list[RecallConsignee]]:
    """By disposition, everybody named at a recall, each as told of last."""
    out: dict[int, dict[str, RecallConsignee]] = {}
    rows = RecallConsignee.objects.filter(disposition__in=[one.pk for one in decisions])
    for row in rows.select_related("line__person").order_by("pk"):
        out.setdefault(row.disposition_id, {})[row.consignee] = row
    return {number: list(rows.values()) for number, rows in out.items()}


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
    """The same limit broken on other lots of the same load; all others that the same check opened."""
    rows = all_deviations().filter(limit_id=deviation.limit_id)
    if check_number(deviation.limit_id) is None:
        rows = rows.filter(load=deviation.load_id)
    return rows.exclude(lot=deviation.lot_id).order_by("id")


def not_told() -> list[RecallConsignee]:
    """Everybody named at a recall who is not kept as told yet, the oldest recall first."""
    recalls = list(Disposition.objects.filter(kind="recall").order_by("pk"))
    deviations = {one.pk: one.deviation_id for one in recalls}
    rows = [row for rows in consignees_of(recalls).values() for row in rows if not row.told_at]
    for row in rows:
        row.deviation_id = deviations[row.disposition_id]  # type: ignore[attr-defined]
    return rows
