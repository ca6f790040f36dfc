"""A logger's rows put right: one reading corrected or taken back, or a whole file taken back.

Nothing is deleted: the packed rows stay as they came, and the correction stands beside them.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from lots.core.series import unpack
from lots.entries.book import Act, act
from lots.entries.judging import forget_states, judge_loads, later_loads
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.readings import Figure, check_figure
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require
from lots.models.lot import Load, LoadPart, Lot
from lots.models.people import Person, Right
from lots.models.reading import LoggerImport, PackedSeries, SeriesCorrection, SeriesWithdrawn
from lots.queries.judgements import Judged
from lots.queries.spoken_of import loads_of_file, loads_of_series


@dataclass(frozen=True)
class PutRight:
    """What came of a correction or a withdrawal: its row, and what the limits show now."""

    row: SeriesCorrection | SeriesWithdrawn
    judged: list[Judged]


def correct_series_reading(
    person: Person,
    series: PackedSeries,
    index: int,
    figure: Figure | None,
    reason: str,
    when: Moments,
    seen: int = 0,
) -> PutRight:
    """Puts one reading of a logger's series right; `figure` None takes it back.  Both stay.

    Args:
        index: which reading of the packed row, from 0.
        seen: the number of its newest correction that the person saw; 0: none.
    """
    require(person, Right.OPERATOR)
    value = _check(series, index, figure, reason, seen)
    chunk = unpack(bytes(series.data))
    spoken_of = loads_of_series(series, chunk.at[index], chunk.at[index])
    notice_lapses(_lots(spoken_of), when.recorded_at)
    with act("logger reading corrected", person, when.recorded_at) as writing:
        _check(series, index, figure, reason, seen)  # again: somebody may have been quicker
        touched = loads_of_series(series, chunk.at[index], chunk.at[index])
        row = writing.write(
            SeriesCorrection(
                series=series,
                index=index,
                as_read=figure.as_read.strip() if figure else "",
                value=value,
                withdrawn=figure is None,
                reason=reason.strip(),
                entered_at=when.entered_at,
            )
        )
        writing.say(place=series.place.name, series=series.pk, index=index)
        return PutRight(row, _judge_anew(writing, touched, when.recorded_at))


def newest_correction(series: PackedSeries, index: int) -> SeriesCorrection | None:
    """The correction of a reading that stands."""
    rows = SeriesCorrection.objects.filter(series=series, index=index)
    return rows.select_related("line__person").order_by("-id").first()


def _check(series: PackedSeries, index: int, figure: Figure | None, reason: str, seen: int) -> int:
    """The right value (0 where the reading is taken back), unless it cannot be taken into the book."""
    if not reason.strip():
        raise Refused({"reason": "Say what was wrong."})
    if not 0 <= index < series.count:
        raise Refused("There is no such reading in this file. Choose it from the list again.")
    if SeriesWithdrawn.objects.filter(source=series.source_id).exists():
        raise Changed("The file that it came with was taken back; its readings count no longer.")
    newest = newest_correction(series, index)
    if (newest.pk if newest else 0) != seen:
        raise Changed("This reading was already corrected. Correct the newest figure instead.")
    standing = newest.value if newest else unpack(bytes(series.data)).value[index]
    gone = newest is not None and newest.withdrawn
    if figure is None:
        if gone:
            raise Refused({"take_back": "This reading is already taken back."})
        return 0
    if figure.unit != series.unit:
        raise Refused({"as_read": f"Type it in °{series.unit}, as the logger wrote it."})
    value = check_figure(figure, series.place, "fish" if series.load_id else "place")
    if value == standing and not gone:
        raise Refused({"as_read": "This is the figure that already stands."})
    return value


def withdraw_import(person: Person, source: LoggerImport, reason: str, when: Moments) -> PutRight:
    """Takes a whole file back, such as one laid to the wrong load.  Its rows stay in the book and count
    no longer; a verdict that this makes milder stays until the records reviewer accepts it."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why the file is taken back."})
    _check_standing(source)
    notice_lapses(_lots(loads_of_file(source)), when.recorded_at)
    with act("logger file withdrawn", person, when.recorded_at) as writing:
        _check_standing(source)  # again: somebody may have been quicker
        row = writing.write(
            SeriesWithdrawn(source=source, reason=reason.strip(), entered_at=when.entered_at)
        )
        writing.say(place=source.place.name, file=source.file.name, rows=source.added)
        return PutRight(row, _judge_anew(writing, loads_of_file(source), when.recorded_at))


def _check_standing(source: LoggerImport) -> None:
    if SeriesWithdrawn.objects.filter(source=source).exists():
        raise Changed("This file was already taken back.")


def _judge_anew(writing: Act, touched: Iterable[Load], at: int) -> list[Judged]:
    """Folds and judges the loads anew, and those that look back into them."""
    own = {load.pk: load for load in touched}
    again = {later.pk: later for load in own.values() for later in later_loads(load)}
    forget_states([*own.values(), *again.values()])
    judged = judge_loads(writing, own.values(), at)
    judge_loads(writing, [load for pk, load in again.items() if pk not in own], at)
    return judged


def _lots(loads: Iterable[Load]) -> list[Lot]:
    parts = LoadPart.objects.filter(load__in=[load.pk for load in loads])
    return [part.lot for part in parts.select_related("lot__plan_version")]
