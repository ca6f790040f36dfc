"""What needs a reviewer's eye since the last review, worst first."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import OuterRef, Q, QuerySet, Subquery

from lots.core.limits import Verdict
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation
from lots.models.lot import LoadPart, LoadStartMoved, Lot
from lots.models.review import Review
from lots.queries.deviation_page import all_deviations, is_missed, open_deviations
from lots.queries.evidence import end_of
from lots.queries.house import rules
from lots.queries.judgements import Judged, judge_parts, told
from lots.queries.late_rows import LateRow, late_rows
from lots.queries.lineage import lineages
from lots.queries.release import NOT_REVIEWED


@dataclass(frozen=True)
class LotToReview:
    """A lot with lines that no review has named yet; `seen` is the number of its last line."""

    lot: Lot
    seen: int
    lines: list[BookLine]
    deadline_at: int
    now: int

    @property
    def key(self) -> str:
        """How a form names the lot together with the last line that stood on its page."""
        return f"{self.lot.pk}-{self.seen}"

    @property
    def left_ms(self) -> int:
        return self.deadline_at - self.now

    @property
    def overdue(self) -> bool:
        """Whether a week has passed since its oldest unreviewed record was made (21 CFR
        123.8(a)(3)); counted from the very moment, which is never later than from the day."""
        return self.left_ms < 0

    @property
    def late_by_ms(self) -> int:
        return -self.left_ms

    @property
    def near(self) -> bool:
        return not self.overdue and self.left_ms <= rules().review_warn_ms


def lots_to_review(at: int) -> list[LotToReview]:
    """Lots with unreviewed lines, the nearest deadline first."""
    lots = {lot.pk: lot for lot in _with_last_lines() if lot.last and lot.last > (lot.up_to or 0)}  # type: ignore[attr-defined]
    lines: dict[int, list[BookLine]] = {pk: [] for pk in lots}
    for row in _lines(lots):
        if row.line_id > (lots[row.lot_id].up_to or 0):  # type: ignore[attr-defined]
            lines[row.lot_id].append(row.line)
    found = [
        LotToReview(
            lot,
            lot.last,  # type: ignore[attr-defined]
            lines[pk],
            lines[pk][0].at + rules().review_within_ms,
            at,
        )
        for pk, lot in lots.items()
    ]
    return sorted(found, key=lambda one: (one.deadline_at, one.lot.code))


def _with_last_lines() -> QuerySet[Lot]:
    spoken = LineLot.objects.filter(lot=OuterRef("pk")).exclude(line__kind__in=NOT_REVIEWED)
    newest = Review.objects.filter(lot=OuterRef("pk")).order_by("-id")
    return Lot.objects.select_related("plan_version").annotate(
        last=Subquery(spoken.order_by("-line").values("line")[:1]),
        up_to=Subquery(newest.values("up_to")[:1]),
    )


def _lines(lots: Iterable[int]) -> QuerySet[LineLot]:
    rows = LineLot.objects.filter(lot__in=list(lots)).exclude(line__kind__in=NOT_REVIEWED)
    return rows.select_related("line__person").order_by("line")


def open_lots() -> QuerySet[Lot]:
    """Lots neither voided nor released."""
    return Lot.objects.filter(voided=None, release=None).select_related("plan_version")


@dataclass(frozen=True)
class NeedsAnEye:
    """What the records since the last review hold that a reviewer must look at."""

    deviations: list[Deviation]
    missed: list[Deviation]
    broken_since: list[Judged]
    adjusted: list[Judged]
    late: list[LateRow]
    moved: list[LoadStartMoved]
    not_shown: list[Judged]

    def __bool__(self) -> bool:
        return any(getattr(self, name) for name in self.__dataclass_fields__)


def needs_an_eye(waiting: list[LotToReview], at: int) -> NeedsAnEye:
    """Everything that stands out on lots with unreviewed lines or still open ones."""
    up_to = {one.lot.pk: one.lines[0].number for one in waiting}
    opened = list(open_lots())
    lots = {one.lot.pk for one in waiting} | {lot.pk for lot in opened}
    judged = _judged_since(lots, up_to, at)
    asked = lots | _left_undecided()
    deviations = _deviations_since(asked, {line.number for one in waiting for line in one.lines})
    return NeedsAnEye(
        [one for one in deviations if not is_missed(one)],
        [one for one in deviations if is_missed(one)],
        [one for one in judged if one.verdict is Verdict.DEVIATION and not told(one)],
        [one for one in judged if one.verdict is Verdict.ADJUST],
        late_rows(lots),
        _moved(lots, {line.number for one in waiting for line in one.lines}),
        [one for one in judged if one.verdict is Verdict.PENDING and _over(one)],
    )


def _left_undecided() -> set[int]:
    """Released lots with a deviation that is not decided: whether to recall them is asked here until
    it is, reviewed or not."""
    rows = open_deviations().filter(lot__release__isnull=False)
    return set(rows.values_list("lot_id", flat=True))


def _over(judged: Judged) -> bool:
    return end_of(judged.part.load) is not None


def _judged_since(lots: Iterable[int], up_to: dict[int, int], at: int) -> list[Judged]:
    """The limits of steps that run, or that ended since the lot's last review."""
    parts = LoadPart.objects.filter(lot__in=list(lots)).select_related(
        "lot__plan_version", "load__place__within"
    )
    looked_at = []
    for part in parts.prefetch_related("load__moves", "load__ends__accepted"):
        end = end_of(part.load)
        first = up_to.get(part.lot_id)
        if end is None or (first is not None and end.line_id >= first):
            looked_at.append(part)
    ancestors = lineages(part.lot for part in looked_at)
    judged = judge_parts([(part, ancestors[part.lot_id]) for part in looked_at], at)
    return sorted(judged, key=lambda one: (-one.verdict.rank, one.finding.broke_at or 0))


def broken_since(at: int) -> list[Judged]:
    """Limits of steps that run which have lapsed and whose lapse the book does not tell of yet."""
    running = {
        part.lot_id
        for part in LoadPart.objects.filter(load__ends=None, lot__voided=None).only("lot_id")
    }
    judged = _judged_since(running, {}, at)
    return [one for one in judged if one.verdict is Verdict.DEVIATION and not told(one)]


def _deviations_since(lots: Iterable[int], lines: set[int]) -> list[Deviation]:
    rows = all_deviations().filter(lot__in=list(lots))
    still_open = set(open_deviations().values_list("pk", flat=True))
    rows = rows.filter(Q(pk__in=still_open) | Q(line__in=lines))
    found = sorted(rows, key=lambda row: (row.pk not in still_open, row.acted, row.broke_at))
    for row in found:
        row.still_open = row.pk in still_open
    return found


def _moved(lots: Iterable[int], lines: set[int]) -> list[LoadStartMoved]:
    rows = LoadStartMoved.objects.filter(line__in=lines).select_related(
        "load__place", "line__person"
    )
    return list(rows.order_by("id"))
