"""Visits: which are open, what each shows, and what was looked at."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, QuerySet

from lots.core.plan import Plan as PlanValue
from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.models.people import Person, RightGiven
from lots.models.plan import Plan, PlanVersion
from lots.models.review import RecordIssued
from lots.models.visit import Visit, VisitSeen
from lots.queries.deviation_page import all_deviations
from lots.queries.lot_page import state_words, undecided
from lots.queries.plans import plan_value


def is_open(visit: Visit, at: int) -> bool:
    """Whether the visit may be looked into at that moment."""
    ended = getattr(visit, "ended", None)
    return ended is None and visit.starts_at <= at < visit.ends_at


def get_visit(number: int) -> Visit | None:
    return Visit.objects.select_related("ended", "line__person").filter(pk=number).first()


def visits_past_their_time(at: int) -> list[Visit]:
    """Visits whose time is over and of which the book does not say so yet."""
    return list(Visit.objects.filter(ended=None, ends_at__lte=at).order_by("pk"))


def all_visits(at: int) -> list[tuple[Visit, str]]:
    """Every visit with where it stands, the newest first."""
    rows = Visit.objects.select_related("ended", "line__person").annotate(
        of_lots=Count("lots", distinct=True), looks=Count("seen", distinct=True)
    )
    return [(visit, standing_words(visit, at)) for visit in rows.order_by("-pk")]


def standing_words(visit: Visit, at: int) -> str:
    """Where the visit stands: to come, open, or over."""
    if is_open(visit, at):
        return "open"
    over = getattr(visit, "ended", None) is not None or at >= visit.ends_at
    return "over" if over else "to come"


def seen_in(visit: Visit) -> QuerySet[VisitSeen]:
    """What was looked at, in the order of the first looks."""
    return VisitSeen.objects.filter(visit=visit).order_by("pk")


def lots_under(plan: Plan) -> list[Lot]:
    """Every lot under any version of the plan."""
    return list(Lot.objects.filter(plan_version__plan=plan).order_by("received_at", "pk"))


def lots_to_choose(most: int) -> list[Lot]:
    """The newest lots, from which some are chosen one by one."""
    return list(Lot.objects.order_by("-received_at", "-pk")[:most])


def lots_of(visit: Visit) -> QuerySet[Lot]:
    """The lots that the visit is to, the newest first."""
    numbers = visit.lots.values("lot")
    rows = Lot.objects.filter(pk__in=numbers).select_related(
        "plan_version__plan", "finish", "release", "voided"
    )
    return rows.order_by("-received_at", "-pk")


@dataclass(frozen=True)
class LotShown:
    """A lot as the visit lists it: where it stands, and its newest sealed record."""

    lot: Lot
    state: str
    record: RecordIssued | None


def lots_shown(visit: Visit) -> list[LotShown]:
    lots = list(lots_of(visit))
    newest = newest_records(lots)
    said = undecided(lots)
    return [LotShown(one, said.get(one.pk) or state_words(one), newest.get(one.pk)) for one in lots]


def newest_records(lots: Iterable[Lot]) -> dict[int, RecordIssued]:
    """The newest issued record of each of the lots that has one."""
    rows = RecordIssued.objects.filter(lot__in=[lot.pk for lot in lots])
    return {row.lot_id: row for row in rows.select_related("file", "line").order_by("revision")}


def records_of(visit: Visit) -> QuerySet[RecordIssued]:
    """Every sealed record of the visit's lots."""
    rows = RecordIssued.objects.filter(lot__in=visit.lots.values("lot"))
    return rows.select_related("lot", "file", "line").order_by("-pk")


def versions_of(visit: Visit) -> list[PlanVersion]:
    """The plan versions that the visit's lots were made under, and the one in force of each such plan."""
    under = Lot.objects.filter(pk__in=visit.lots.values("lot")).values("plan_version")
    plans = PlanVersion.objects.filter(pk__in=under).values("plan")
    newest = [
        plan.versions.order_by("-number").values_list("pk", flat=True)[0]
        for plan in Plan.objects.filter(pk__in=plans)
    ]
    rows = PlanVersion.objects.filter(
        pk__in=[*under.values_list("plan_version", flat=True), *newest]
    )
    rows = rows.select_related("plan__withdrawn", "signature").annotate(under_it=Count("lots"))
    return list(rows.order_by("plan__title", "-number"))


@dataclass(frozen=True)
class PlanPoints:
    """A plan of the visit, with its critical control points as its newest version names them."""

    plan: Plan
    points: tuple[Any, ...]


def points_of(versions: Iterable[PlanVersion]) -> list[PlanPoints]:
    """Of each plan every control point that any of the versions has, the newest version's first."""
    by_plan: dict[Plan, dict[str, Any]] = {}
    for version in versions:
        value: PlanValue = plan_value(version)
        named = by_plan.setdefault(version.plan, {})
        for point in value.control_points:
            named.setdefault(point.id, point)
    return [PlanPoints(plan, tuple(named.values())) for plan, named in by_plan.items()]


def deviations_of_visit(visit: Visit) -> QuerySet[Deviation]:
    """Every deviation of the visit's lots, the newest first."""
    rows = all_deviations().filter(lot__in=visit.lots.values("lot"))
    return rows.order_by("-broke_at", "-pk")


@dataclass(frozen=True)
class Trained:
    """A person with every right that they were given, and on what training."""

    person: Person
    rights: list[RightGiven]


def people_trained() -> list[Trained]:
    """Everybody whose initials may stand in a record, with every right ever given and its training;
    log-in names are nobody else's business."""
    by_person: dict[int, list[RightGiven]] = {}
    rows = RightGiven.objects.select_related("line", "taken__line").order_by("pk")
    for given in rows:
        by_person.setdefault(given.person_id, []).append(given)
    people = Person.objects.order_by("name")
    return [Trained(one, by_person.get(one.pk, [])) for one in people]
