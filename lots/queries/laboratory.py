"""What laboratories were asked and what they found: reports as typed, samples that wait, processes verified."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch, Q, QuerySet

from lots.core.laboratory import ASKED_FOR, COMPUTED
from lots.core.limits import Measured
from lots.models.lot import LaboratoryResult, LaboratorySample, LaboratorySent, Lot
from lots.models.plan import Plan
from lots.queries.plans import newest_versions, plan_value
from lots.queries.salt_facts import answers

CORRECTED = "laboratory result corrected"
SHOWN = 30  # newest reports on the page
RESULTS = 400  # newest results that they are put together from


@dataclass(frozen=True)
class Report:
    """One report of a laboratory: the results that stand, and those that they put right.  Its number is
    that of the line of the book that it came with."""

    number: int
    results: list[LaboratoryResult]
    past: list[LaboratoryResult]

    @property
    def lot(self) -> Lot | None:
        return self.results[0].lot

    @property
    def plan(self) -> Plan | None:
        return self.results[0].plan

    @property
    def subject(self) -> Lot | Plan:
        """What it is of: a lot, or a plan's process."""
        found = self.lot or self.plan
        assert found is not None  # every result is of one or the other
        return found

    @property
    def method(self) -> str:
        return next((row.method for row in self.results if row.method != COMPUTED), "")

    @property
    def first(self) -> LaboratoryResult:
        return self.results[0]

    @property
    def quantities(self) -> list[str]:
        """Those that the laboratory reported, in the order of a report."""
        return [row.quantity for row in self.results if row.method != COMPUTED]

    def result(self, quantity: str, by_us: bool = False) -> LaboratoryResult | None:
        """The result of a quantity that stands: the laboratory's, or the one computed from others."""
        for row in self.results:
            if row.quantity == quantity and (row.method == COMPUTED) is by_us:
                return row
        return None

    @property
    def samples(self) -> int:
        """The highest number of a sample."""
        numbers = [one.number for row in self.results for one in row.samples.all()]
        return max(numbers, default=0)

    def table(self) -> list[tuple[LaboratoryResult, list[LaboratorySample | None]]]:
        """Each result that stands with its figure of each sample, None where it has none."""
        out = []
        for row in self.results:
            by_number = {one.number: one for one in row.samples.all()}
            out.append((row, [by_number.get(n) for n in range(1, self.samples + 1)]))
        return out

    def numbers(self) -> range:
        return range(1, self.samples + 1)

    @property
    def given_up(self) -> bool:
        """Whether it says no more than that no result will come."""
        return not self.samples and not self.past


def _rows() -> QuerySet[LaboratoryResult]:
    rows = LaboratoryResult.objects.select_related(
        "lot", "plan", "sent", "report", "line__person", "corrected_by__line__person"
    )
    return rows.prefetch_related("samples")


def _roots(rows: Iterable[LaboratoryResult]) -> dict[int, int]:
    """By result the number of the line that its report came with."""
    each = {row.pk: row for row in rows}
    while missing := {row.corrects_id for row in each.values() if row.corrects_id} - each.keys():
        each |= {row.pk: row for row in _rows().filter(pk__in=missing)}
    out: dict[int, int] = {}
    for pk in sorted(each):  # what is put right was written before
        row = each[pk]
        out[pk] = out[row.corrects_id] if row.corrects_id else _came_with(row)
    return out


def _came_with(row: LaboratoryResult) -> int:
    """The line of its report; of a quantity that a correction added, the line that was corrected."""
    if row.line.kind == CORRECTED:
        return int(json.loads(row.line.content)["corrects"])
    return int(row.line_id)


def _order(row: LaboratoryResult) -> tuple[int, int]:
    known = row.quantity in ASKED_FOR
    return ASKED_FOR.index(row.quantity) if known else len(ASKED_FOR), row.pk


def _reports(rows: Sequence[LaboratoryResult]) -> list[Report]:
    """The results put together by report, the newest first."""
    roots = _roots(rows)
    by_number: dict[int, list[LaboratoryResult]] = {}
    for row in rows:
        by_number.setdefault(roots[row.pk], []).append(row)
    out = []
    for number in sorted(by_number, reverse=True):
        each = by_number[number]
        standing = [row for row in each if not hasattr(row, "corrected_by")]
        past = [row for row in each if hasattr(row, "corrected_by")]
        out.append(Report(number, sorted(standing, key=_order), sorted(past, key=_order)))
    return out


def reports_of(subject: Lot | Plan) -> list[Report]:
    """The reports of a lot, or of a plan's process, the newest first."""
    own = Q(lot=subject) if isinstance(subject, Lot) else Q(plan=subject)
    return _reports(list(_rows().filter(own).order_by("id")))


def newest_reports() -> list[Report]:
    """The newest reports of all, the newest first."""
    rows = list(_rows().order_by("-id")[:RESULTS])
    return _reports(rows)[:SHOWN]


def report_of(number: int) -> Report:
    """The report that came with a line of the book.

    Raises:
        LookupError: no report came with it.
    """
    first = _rows().filter(line=number).first()
    of_it = reports_of(first.lot or first.plan) if first is not None else []
    for one in of_it:
        if one.number == number:
            return one
    raise LookupError(f"no report came with line {number}")


def wanted_of(sent: LaboratorySent) -> list[str]:
    """What the laboratory was asked to look for in these samples."""
    return [str(one) for one in json.loads(sent.wanted)]


def awaited_of(sent: LaboratorySent) -> list[str]:
    """Of what was wanted of these samples, that which has not come; prefetched or not.  What was given up
    has come, without figures; what was taken back has not."""
    come = {row.quantity for row in sent.results.all() if answers(row)}
    return [one for one in wanted_of(sent) if one not in come]


@dataclass(frozen=True)
class Waiting:
    """Samples of which not all that was wanted has come."""

    sent: LaboratorySent
    wanted: list[str]  # still

    @property
    def since(self) -> int:
        return self.sent.sampled_at


def _waiting(rows: QuerySet[LaboratorySent]) -> list[Waiting]:
    results = LaboratoryResult.objects.select_related("corrected_by").prefetch_related("samples")
    found = rows.select_related("lot", "plan", "line__person")
    found = found.prefetch_related(Prefetch("results", results))
    each = [Waiting(row, awaited_of(row)) for row in found.order_by("sampled_at", "id")]
    return [one for one in each if one.wanted]


def waiting_samples() -> list[Waiting]:
    """All samples that wait, the longest waiting first; those of voided lots left out."""
    return _waiting(LaboratorySent.objects.filter(Q(lot=None) | Q(lot__voided=None)))


def waiting_of(subject: Lot | Plan) -> list[Waiting]:
    """The samples of a lot, or of a plan's process, that wait."""
    return _waiting(subject.laboratory_sent.all())


@dataclass(frozen=True)
class Verified:
    """A quantity that a plan's limits want of a laboratory, and the newest verification of its process."""

    quantity: str
    sampled_at: int | None
    within_ms: int | None  # how often the plan wants it; None: of each lot, or not said

    @property
    def due_at(self) -> int | None:
        if self.within_ms is None or self.sampled_at is None:
            return None
        return self.sampled_at + self.within_ms


@dataclass(frozen=True)
class PlanVerified:
    """A plan in force with what laboratories verify of its process."""

    plan: Plan
    rows: list[Verified]


def verifications() -> list[PlanVerified]:
    """The plans in force whose limits ask a laboratory, or whose process one has verified."""
    newest: dict[tuple[int, str], int] = {}
    results = LaboratoryResult.objects.filter(lot=None, corrected_by=None, samples__isnull=False)
    for plan_id, quantity, at in results.values_list("plan", "quantity", "sampled_at"):
        newest[plan_id, quantity] = max(newest.get((plan_id, quantity), 0), at)
    out = []
    for version in newest_versions():
        within = _asked(plan_value(version))
        mine = [quantity for plan_id, quantity in newest if plan_id == version.plan_id]
        names = sorted({*within, *mine}, key=lambda one: (one not in ASKED_FOR, one))
        rows = [Verified(q, newest.get((version.plan_id, q)), within.get(q)) for q in names]
        if rows:
            out.append(PlanVerified(version.plan, rows))
    return out


def _asked(plan: Any) -> dict[str, int | None]:
    """By quantity that a limit of the plan wants of a laboratory, within how long a verification of the
    process will do; None where it will not."""
    out: dict[str, int | None] = {}
    for point in plan.control_points:
        for limit in point.limits:
            for leaf in limit.leaves():
                if isinstance(leaf.rule, Measured) and leaf.rule.laboratory:
                    within = leaf.rule.verified_within_ms
                    out[leaf.rule.quantity] = within or out.get(leaf.rule.quantity)
    return out
