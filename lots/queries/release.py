"""What stands between a lot and its release, and which of its lines nobody has reviewed."""

from dataclasses import dataclass

from lots.core.limits import Verdict
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation, Disposition
from lots.models.lot import Lot
from lots.models.review import Review
from lots.queries.judgements import Judged, judge_lot, not_judged, step_states
from lots.queries.lineage import balance, lineage, parts_of
from lots.queries.plans import plan_value

# Acts that speak of a lot without adding to what is reviewed.
NOT_REVIEWED = ("records reviewed", "lot released", "record issued")


def last_line(lot: Lot) -> BookLine | None:
    """The lot's last line that a review must have seen."""
    row = (
        LineLot.objects.filter(lot=lot)
        .exclude(line__kind__in=NOT_REVIEWED)
        .select_related("line")
        .order_by("-line")
        .first()
    )
    return row.line if row else None


def newest_review(lot: Lot) -> Review | None:
    return (
        Review.objects.filter(lot=lot)
        .select_related("signature", "up_to", "line__person")
        .order_by("-id")
        .first()
    )


def unreviewed(lot: Lot) -> list[BookLine]:
    """The lot's lines since its newest review, oldest first."""
    review = newest_review(lot)
    rows = LineLot.objects.filter(lot=lot).exclude(line__kind__in=NOT_REVIEWED)
    if review is not None:
        rows = rows.filter(line__gt=review.up_to_id)
    return [row.line for row in rows.select_related("line__person").order_by("line")]


@dataclass(frozen=True)
class DeviationState:
    """A deviation with its newest disposition."""

    deviation: Deviation
    newest: Disposition | None

    @property
    def ended(self) -> bool:
        return self.newest is not None and self.newest.kind != "hold"


def deviations_of(lot: Lot) -> list[DeviationState]:
    """The lot's deviations, and those of the lots it came from that broke before it left them."""
    states: list[DeviationState] = []
    for ancestor in lineage(lot):
        rows = Deviation.objects.filter(lot=ancestor.lot).select_related(
            "lot", "load__place", "line__person"
        )
        rows = rows.prefetch_related("dispositions__line__person", "actions__line__person", "notes")
        states += [
            DeviationState(row, max(row.dispositions.all(), key=lambda d: d.number, default=None))
            for row in rows.order_by("id")
            if ancestor.until is None or row.load is None or row.load.started_at < ancestor.until
        ]
    return states


def bars(lot: Lot, at: int, judged: list[Judged] | None = None) -> list[str]:
    """Everything that stands between the lot and its release, in words; none when it may go."""
    plan = plan_value(lot.plan_version)
    judged = judge_lot(lot, at) if judged is None else judged
    parts = parts_of(lot)
    states = {state.step.id: state for state in step_states(lot, judged, parts)}
    deviations = deviations_of(lot)
    found = [f"not judged by this version: {words}" for words in not_judged(plan)]
    for step in plan.required_steps:
        state = states[step.id]
        if not state.parts:
            found.append(f"{step.name} has not been")
        elif not state.over:
            found.append(f"{step.name} is still running")
    ended = {(d.deviation.limit_id, d.deviation.load_id) for d in deviations if d.ended}
    for one in judged:
        if one.verdict is Verdict.PENDING:
            found.append(f"{one.point.name}: not yet shown ({one.finding.figure})")
        if one.verdict is Verdict.DEVIATION and (one.limit.id, one.part.load_id) not in ended:
            found.append(f"{one.point.name}: deviation without a final disposition")
    for state in deviations:
        if not state.ended:
            found.append(f"deviation {state.deviation.pk} is open")
    return _unique(found + _paper_bars(lot))


def _paper_bars(lot: Lot) -> list[str]:
    found = []
    if hasattr(lot, "voided"):
        found.append("the lot was voided")
    if balance(lot).packed is None:
        found.append("the lot is not finished: say what was packed")
    review, last = newest_review(lot), last_line(lot)
    if review is None:
        found.append("its records are not reviewed")
    elif last is not None and last.number > review.up_to_id:
        found.append("something was entered after its review: review it again")
    return found


def _unique(words: list[str]) -> list[str]:
    return list(dict.fromkeys(words))


def decided_grams(lot: Lot) -> dict[str, int]:
    """Grams that deviations ended in, other than by release; the largest of each kind."""
    decided: dict[str, int] = {}
    for state in deviations_of(lot):
        newest = state.newest
        if newest is not None and newest.kind not in ("hold", "release"):
            decided[newest.kind] = max(decided.get(newest.kind, 0), newest.grams)
    return decided
