"""When each plan is to be reassessed, what asks for it, and by whom it was done."""

from dataclasses import dataclass

from lots.core.reassessment import Due, due
from lots.models.deviation import CorrectiveAction
from lots.models.lot import Lot
from lots.models.people import Signature
from lots.models.plan import Plan, PlanVersion, Reassessed, ReassessmentAsked
from lots.queries.house import rules


@dataclass(frozen=True)
class Standing:
    """How a plan stands: its newest version, the newest signing that counts, what asks since then."""

    plan: Plan
    newest: PlanVersion
    reassessed: Reassessed | None  # the newest of the newest version
    due: Due
    state: str  # "asked", "overdue", "to change" or "later"
    asked: list[ReassessmentAsked]
    actions: list[CorrectiveAction]
    suppliers: list[Lot]  # the first lot of each supplier that is new since then

    @property
    def signature(self) -> Signature:
        """The signing from which the year counts."""
        return self.reassessed.signature if self.reassessed else self.newest.signature

    @property
    def wanted(self) -> bool:
        """Whether something is to be done now."""
        return self.state != "later"


def reassessments_of(version: PlanVersion) -> list[Reassessed]:
    """Every reassessment signed of the version, the newest first."""
    rows = Reassessed.objects.filter(version=version).select_related("signature")
    return list(rows.order_by("-id"))


def standing(plan: Plan, now: int) -> Standing:
    """How the plan stands; signing a version counts as reassessing the plan.

    Source: 21 CFR 123.8(a)(1).
    """
    newest = plan.versions.select_related("signature").order_by("-number")[0]
    reassessed = next(iter(reassessments_of(newest)), None)
    since = reassessed.line_id if reassessed else newest.line_id
    signed_at = (reassessed or newest).signature.at
    asked = list(
        ReassessmentAsked.objects.filter(plan=plan, line__gt=since)
        .select_related("line__person")
        .order_by("noticed_at", "id")
    )
    first = min((min(one.noticed_at, one.line.at) for one in asked), default=None)
    when = due(signed_at, rules().reassess_within_ms, first)
    state = when.state(now)
    if state == "later" and reassessed and reassessed.outcome == "change":
        state = "to change"
    return Standing(
        plan, newest, reassessed, when, state, asked, _actions(plan, since), _suppliers(plan, since)
    )


def _actions(plan: Plan, since: int) -> list[CorrectiveAction]:
    """Corrective actions after the signing that name a day by which the plan is reassessed."""
    rows = CorrectiveAction.objects.filter(
        deviation__lot__plan_version__plan=plan, line__gt=since
    ).exclude(reassessment_due="")
    return list(rows.select_related("deviation__lot").order_by("reassessment_due", "id"))


def _suppliers(plan: Plan, since: int) -> list[Lot]:
    """The first lot of each supplier that had sent nothing under the plan before the signing; none
    where nothing at all was made before it.  Another source of raw material may bear on the hazards."""
    lots = Lot.objects.filter(plan_version__plan=plan, voided=None)
    before = set(lots.filter(line__lte=since).values_list("supplier", flat=True))
    new: dict[str, Lot] = {}
    if before:
        for lot in lots.filter(line__gt=since).exclude(supplier__in=before).order_by("id"):
            new.setdefault(lot.supplier, lot)
    return list(new.values())
