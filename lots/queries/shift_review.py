"""What needs a reviewer's eye since the last review, worst first."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import F, OuterRef, Q, QuerySet, Subquery

from lots.core.limits import Verdict
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation
from lots.models.lot import LoadEnd, LoadPart, LoadStartMoved, Lot
from lots.models.reading import Observation, Reading
from lots.models.review import Review
from lots.queries.deviation_page import all_deviations, is_missed, open_deviations
from lots.queries.evidence import end_of
from lots.queries.house import rules
from lots.queries.judgements import Judged, judge_parts, told
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
class LateRow:
    """A late or corrected entry that nobody has accepted yet."""

    key: str  # "reading-12": how a form names it
    kind: str
    row: Reading | Observation | LoadEnd
    seen_at: int

    @property
    def lots(self) -> list[Lot]:
        """The lots that the entry speaks of."""
        return [one.lot for one in self.row.line.lots.all()]

    @property
    def why(self) -> str:
        """The reason that the person gave for the correction, or for coming late."""
        names = ("correction_reason", "late_reason", "reason")
        return next(filter(None, (getattr(self.row, name, "") for name in names)), "")

    @property
    def late_ms(self) -> int:
        return max(0, self.row.entered_at - self.seen_at)


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
    deviations = _deviations_since(lots, {line.number for one in waiting for line in one.lines})
    return NeedsAnEye(
        [one for one in deviations if not is_missed(one)],
        [one for one in deviations if is_missed(one)],
        [one for one in judged if one.verdict is Verdict.DEVIATION and not told(one)],
        [one for one in judged if one.verdict is Verdict.ADJUST],
        late_rows(lots),
        _moved(lots, {line.number for one in waiting for line in one.lines}),
        [one for one in judged if one.verdict is Verdict.PENDING and _over(one)],
    )


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


def late_rows(lots: Iterable[int]) -> list[LateRow]:
    """Late and corrected entries of these lots that still wait for acceptance, oldest first."""
    mine = {"line__lots__lot__in": list(lots), "accepted": None, "corrected_by": None}
    after = rules().late_after_ms
    late = Q(entered_at__gt=F("observed_at") + after) | Q(corrects__isnull=False)
    over = Q(load__ends__corrected_by=None, load__ends__ended_at__lt=F("observed_at"))
    late_end = Q(entered_at__gt=F("ended_at") + after) | Q(corrects__isnull=False)
    readings = Reading.objects.filter(
        late | (over & ~Q(quantity="temperature")), **mine
    ).select_related("place", "load", "line__person", "corrects")
    readings = readings.prefetch_related("line__lots__lot")
    looks = (
        Observation.objects.filter(late | over, **mine)
        .select_related("load__place", "line__person", "corrects")
        .prefetch_related("line__lots__lot")
    )
    ends = (
        LoadEnd.objects.filter(late_end, **mine)
        .select_related("load__place", "line__person", "corrects")
        .prefetch_related("line__lots__lot")
    )
    found = [
        LateRow(f"reading-{row.pk}", "reading", row, row.observed_at) for row in readings.distinct()
    ]
    found += [LateRow(f"look-{row.pk}", "look", row, row.observed_at) for row in looks.distinct()]
    found += [LateRow(f"end-{row.pk}", "end", row, row.ended_at) for row in ends.distinct()]
    return sorted(found, key=lambda one: (one.seen_at, one.key))


def rows_named(keys: Iterable[str]) -> list[Reading | Observation | LoadEnd]:
    """The entries that a form's ticks name; unknown ones are left out."""
    kinds = {"reading": Reading, "look": Observation, "end": LoadEnd}
    found: list[Reading | Observation | LoadEnd] = []
    for key in keys:
        kind, _, number = key.partition("-")
        if kind in kinds and number.isdecimal():
            model = kinds[kind]
            related = ("place__within", "load") if model is Reading else ("load__place__within",)
            found += model.objects.filter(pk=int(number)).select_related(*related)  # type: ignore[attr-defined]
    return found


def _moved(lots: Iterable[int], lines: set[int]) -> list[LoadStartMoved]:
    rows = LoadStartMoved.objects.filter(line__in=lines).select_related(
        "load__place", "line__person"
    )
    return list(rows.order_by("id"))
