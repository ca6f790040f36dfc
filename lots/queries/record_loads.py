"""Rows → what the record says of loads: starts, ends, probes that left, what was adjusted."""

import json
from collections.abc import Iterable

from lots.core import record as paper
from lots.models.book import BookLine
from lots.models.deviation import ProcessAdjustment
from lots.models.lot import Load, LoadEnd, LoadPart, Lot, ProbeLeft
from lots.models.reading import (
    Accepted,
    Observation,
    Reading,
    SeriesCorrection,
    SeriesWithdrawn,
)
from lots.queries.batches import batch_of
from lots.queries.evidence import end_of, is_late, started_at
from lots.queries.house import rules

Acceptable = Reading | Observation | LoadEnd | Load | ProbeLeft | SeriesCorrection | SeriesWithdrawn
BOOK = "book"  # whose initials an act has that no person did: a lapse noticed by its time


def initials_of(line: BookLine) -> str:
    """Whose line it is, and how it came where not by their own log-in: OT, OT (PIN), OT (paper)."""
    initials = line.person.initials if line.person else BOOK
    if '"by":"' not in line.content:  # most lines; spares the reading of each as JSON
        return initials
    by = json.loads(line.content).get("by")
    return f"{initials} ({by})" if isinstance(by, str) and by else initials


def acceptance(row: Acceptable) -> tuple[paper.Acceptance, ...]:
    """The acceptance of a late or corrected entry, if there is one."""
    found: Accepted | None = getattr(row, "accepted", None)
    if found is None:
        return ()
    return (paper.Acceptance(initials_of(found.line), found.line.at, found.reason),)


def load_facts(part: LoadPart, name: str, of_lot: str) -> paper.LoadFacts:
    """One load with all that was said of it; `of_lot` where the step was inherited."""
    load, end = part.load, end_of(part.load)
    lots = LoadPart.objects.filter(load=load).select_related("lot").order_by("id")
    batch = batch_of(load)
    return paper.LoadFacts(
        number=load.pk,
        step=name,
        place=load.place.name,
        started_at=started_at(load),
        ended_at=end.ended_at if end else 0,
        started_by=initials_of(load.line),
        ended_by=initials_of(end.line) if end else "",
        lots=tuple(paper.Share(one.lot.code, one.grams) for one in lots),
        moved=_moved(load),
        of_lot=of_lot,
        note=load.note,
        entered_at=load.entered_at,
        late=int(load.entered_at - load.started_at > rules().late_after_ms),
        ends=tuple(_end(one) for one in _ends(load)),
        probes_left=_probes_left(load),
        accepted=acceptance(load),
        declared=load.declared,
        batch=batch.code if batch else "",
    )


def _moved(load: Load) -> tuple[paper.MovedStart, ...]:
    moves, before = [], load.started_at
    for move in load.moves.select_related("line__person").order_by("id"):
        moves.append(paper.MovedStart(before, move.started_at, move.reason, initials_of(move.line)))
        before = move.started_at
    return tuple(moves)


def _ends(load: Load) -> Iterable[LoadEnd]:
    return load.ends.select_related("line__person", "accepted__line__person").order_by("id")


def _end(end: LoadEnd) -> paper.EndFacts:
    return paper.EndFacts(
        ended_at=end.ended_at,
        entered_at=end.entered_at,
        recorded_at=end.line.at,
        initials=initials_of(end.line),
        late=int(end.corrects_id is None and is_late(end, end.ended_at)),
        reason=end.reason,
        note=end.note,
        corrects=int(end.corrects_id is not None),
        accepted=acceptance(end),
    )


def _probes_left(load: Load) -> tuple[paper.ProbeLeftFacts, ...]:
    rows = load.probes_left.select_related("line__person").order_by("at", "id")
    return tuple(
        paper.ProbeLeftFacts(
            row.probe, row.at, initials_of(row.line), row.reason, row.said_at, acceptance(row)
        )
        for row in rows
    )


def adjustments(
    lots: Iterable[Lot], loads: Iterable[int], lot: Lot, points: dict[str, str]
) -> tuple[paper.AdjustmentFacts, ...]:
    """What was adjusted on the lot, and on those it came from in loads that it inherited.

    Args:
        loads: numbers of all the lot's loads.
        points: limit id → the number of its control point on paper.
    """
    rows = ProcessAdjustment.objects.filter(lot__in=list(lots)).select_related("line__person")
    mine = set(loads)
    return tuple(
        paper.AdjustmentFacts(
            points.get(row.limit_id, ""),
            row.limit_id,
            row.load_id or 0,
            row.figure,
            row.what,
            row.line.at,
            initials_of(row.line),
        )
        for row in rows.order_by("id")
        if row.lot_id == lot.pk or row.load_id in mine
    )
