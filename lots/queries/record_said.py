"""Rows → what else was said of a lot: notes, and what was put right or taken back of loggers' files."""

from collections.abc import Collection, Iterable

from django.db.models import Q

from lots.core import record as paper
from lots.core.series import unpack
from lots.models.lot import Lot, Note
from lots.models.reading import PackedSeries, SeriesCorrection, SeriesWithdrawn
from lots.queries.record_loads import acceptance, initials_of
from lots.queries.record_rows import Step


def remarks(lot: Lot, loads: Collection[int]) -> tuple[paper.Remark, ...]:
    """What was noted of the lot, and of its loads, in the order in which it was observed."""
    rows = Note.objects.filter(Q(lot=lot) | Q(load__in=loads)).select_related("line__person")
    return tuple(
        paper.Remark(
            row.load_id or 0, row.text, row.observed_at, row.entered_at, row.line.at,
            initials_of(row.line),
        )
        for row in rows.order_by("observed_at", "id")
    )  # fmt: skip


def logged_corrections(steps: Iterable[Step]) -> tuple[paper.LoggedCorrection, ...]:
    """Single readings of loggers that were put right or taken back, within the steps' time."""
    out: dict[int, paper.LoggedCorrection] = {}
    for step in steps:
        span = step.found.span
        rows = SeriesCorrection.objects.filter(series__in=step.packed).select_related(
            "series__source__file", "line__person", "accepted__line__person"
        )
        for row in rows.order_by("id"):
            said = _correction(row, step.part.load_id)
            if said.at >= span.start and (span.end is None or said.at <= span.end):
                out.setdefault(row.pk, said)
    return tuple(out.values())


def _correction(row: SeriesCorrection, load: int) -> paper.LoggedCorrection:
    chunk = unpack(bytes(row.series.data))
    return paper.LoggedCorrection(
        row.series.source.file.name, row.series.probe, load, chunk.at[row.index],
        chunk.value[row.index], 0 if row.withdrawn else row.value, chunk.unit,
        int(row.withdrawn), row.reason, row.entered_at, initials_of(row.line), acceptance(row),
    )  # fmt: skip


def taken_back(steps: Iterable[Step]) -> tuple[paper.FileTakenBack, ...]:
    """Loggers' files that were taken back as a whole, of those that spoke of the steps."""
    out: dict[int, paper.FileTakenBack] = {}
    for step in steps:
        sources = {row.source_id for row in step.packed}
        rows = SeriesWithdrawn.objects.filter(source__in=sources).select_related(
            "source__file", "line__person", "accepted__line__person"
        )
        for row in rows.order_by("id"):
            out[row.pk] = _taken_back(row)
    return tuple(out.values())


def _taken_back(row: SeriesWithdrawn) -> paper.FileTakenBack:
    counts = PackedSeries.objects.filter(source=row.source_id).values_list("count", flat=True)
    file = row.source.file
    return paper.FileTakenBack(
        file.name, file.sha256, sum(counts), row.reason, row.entered_at, initials_of(row.line),
        acceptance(row),
    )  # fmt: skip
