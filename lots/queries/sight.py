"""How far the eyes look: up to a line of the book, from a moment on, and at what is about to be written;
and the few facts of a load's time that everything else starts from."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Model, QuerySet

from lots.core.folds import Span
from lots.models.lot import Load, LoadEnd
from lots.models.reading import Observation, PackedSeries, Reading
from lots.queries.house import rules


@dataclass(frozen=True)
class Sight:
    """Args:
    up_to: the last line of the book that is seen; None: all of it.
    since: only readings after this moment are seen (for going on from a checkpoint).
    coming: packed rows that are not written yet and are judged as if they were.
    """

    up_to: int | None = None
    since: int | None = None
    coming: tuple[PackedSeries, ...] = ()

    def sees(self, row: Any) -> bool:
        """Whether the row was written by then."""
        return row is not None and (self.up_to is None or row.line_id <= self.up_to)

    def rows(self, found: QuerySet[Model]) -> Any:
        """The rows that were written by then."""
        return found if self.up_to is None else found.filter(line__lte=self.up_to)

    def accepted(self, row: Any) -> bool:
        """Whether the records reviewer had accepted it by then."""
        return self.sees(getattr(row, "accepted", None))


ALL = Sight()


def started_at(load: Load, sight: Sight = ALL) -> int:
    """When the load's step began, after any move."""
    moves = sorted((m for m in load.moves.all() if sight.sees(m)), key=lambda move: move.pk)
    return moves[-1].started_at if moves else load.started_at


def end_of(load: Load, sight: Sight = ALL) -> LoadEnd | None:
    """The end that stands: the newest that no other corrects."""
    ends = sorted((end for end in load.ends.all() if sight.sees(end)), key=lambda end: end.pk)
    return ends[-1] if ends else None


def is_late(row: Reading | Observation | LoadEnd, observed: int) -> bool:
    """Whether it was entered later after it was seen than the rules allow."""
    return row.entered_at - observed > rules().late_after_ms


def start_entered_at(load: Load, sight: Sight = ALL) -> int:
    """When the start that stands was entered."""
    moves = sorted((m for m in load.moves.all() if sight.sees(m)), key=lambda move: move.pk)
    return moves[-1].entered_at if moves else load.entered_at


def start_is_late(load: Load, sight: Sight = ALL) -> bool:
    """Whether the start was entered late and has not been accepted."""
    if start_entered_at(load, sight) - started_at(load, sight) <= rules().late_after_ms:
        return False
    accepted = getattr(load, "accepted", None)
    moved = max((move.line_id for move in load.moves.all() if sight.sees(move)), default=0)
    return not (sight.sees(accepted) and accepted.line_id > moved)


def spans_of(load: Load, sight: Sight = ALL) -> tuple[Span, Span, bool]:
    """The span as stated, the span as monitored, and whether the end was entered late or put right
    without having been accepted."""
    start, monitored = started_at(load, sight), None
    ends = sorted((end for end in load.ends.all() if sight.sees(end)), key=lambda end: end.pk)
    for end in ends:
        if end.corrects_id is None:
            late = is_late(end, end.ended_at) and not sight.accepted(end)
            monitored = end.entered_at if late else end.ended_at
        elif sight.accepted(end):
            monitored = end.ended_at
    stated = ends[-1].ended_at if ends else None
    return Span(start, stated), Span(start, monitored), monitored != stated
