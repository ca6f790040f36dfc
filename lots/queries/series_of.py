"""The readings of a load as series: by hand and by logger, as known and as monitored.

"As known" holds every reading and correction; "as monitored" holds what was logged in time and not
corrected, or has been accepted by the records reviewer.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from lots.core.folds import Span
from lots.core.judging import Series
from lots.core.series import Chunk, chunks, merge, unpack
from lots.models.lot import Load
from lots.models.reading import Observation, PackedSeries, Reading
from lots.queries.sight import ALL, Sight, is_late, spans_of

Row = tuple[int, int, str]  # moment, ninths, unit


def known_and_monitored(
    rows: Sequence[Reading] | Sequence[Observation], sight: Sight = ALL
) -> tuple[list[Any], list[Any], bool]:
    """Rows as corrected, rows as logged in time, and whether the two differ."""
    correction = {row.corrects_id: row for row in rows if row.corrects_id}
    known: list[Any] = []
    monitored: list[Any] = []
    differ = False
    for first in rows:
        if first.corrects_id:
            continue
        row: Any = first
        late = is_late(first, first.observed_at) and not sight.accepted(first)
        seen: Any = None if late else first
        while (newer := correction.get(row.pk)) is not None:
            row = newer
            if sight.accepted(row):
                seen = row
        differ |= seen is not row
        known += [row] if not getattr(row, "withdrawn", False) else []
        monitored += [seen] if seen is not None and not getattr(seen, "withdrawn", False) else []
    return known, monitored, differ


def subject_of_row(load: Load, place_id: int, load_id: int | None) -> str:
    """What a reading speaks of, seen from the load: its fish, its place, or the room around."""
    if load_id is not None:
        return "fish"
    return "place" if place_id == load.place_id else "room"


def _here(load: Load) -> list[int]:
    return [place for place in (load.place_id, load.place.within_id) if place]


def hand_rows(load: Load, start: int, end: int | None, sight: Sight = ALL) -> list[Reading]:
    """Temperatures of the load's fish, and of its place and room in the time."""
    here = Q(place_id__in=_here(load), load=None, observed_at__gte=start)
    if end is not None:
        here &= Q(observed_at__lte=end)
    match = Q(load=load) | here
    rows = Reading.objects.filter(match, quantity="temperature")
    if sight.since is not None:
        rows = rows.filter(observed_at__gt=sight.since)
    rows = sight.rows(rows.select_related("accepted", "corrected_by"))
    return list(rows.order_by("observed_at", "id"))


def packed_rows(
    load: Load, start: int, end: int | None, sight: Sight = ALL, names_only: bool = False
) -> list[PackedSeries]:
    """The packed readings of the same, with those that are about to be written."""
    here = Q(place_id__in=_here(load), load=None, last_at__gte=start)
    if end is not None:
        here &= Q(first_at__lte=end)
    rows = PackedSeries.objects.filter(Q(load=load) | here)
    if sight.since is not None:
        rows = rows.filter(last_at__gt=sight.since)
    rows = rows.defer("data") if names_only else rows
    rows = rows.select_related("source__withdrawn__accepted")
    rows = sight.rows(rows.prefetch_related("corrections__accepted"))
    found: list[PackedSeries] = list(rows.order_by("first_at", "id"))
    return found + [row for row in sight.coming if _is_here(row, load, start, end)]


def _is_here(row: PackedSeries, load: Load, start: int, end: int | None) -> bool:
    if row.load_id is not None:
        return row.load_id == load.pk
    return (
        row.place_id in _here(load)
        and row.last_at >= start
        and (end is None or row.first_at <= end)
    )


def corrected(packed: PackedSeries, known: bool = True, sight: Sight = ALL) -> Chunk:
    """The packed readings with their corrections laid over them; none of a file taken back."""
    if packed.pk is None:
        return unpack(bytes(packed.data))
    withdrawn = getattr(packed.source, "withdrawn", None)
    if sight.sees(withdrawn) and (known or sight.accepted(withdrawn)):
        return Chunk([], [], "F" if packed.unit == "F" else "C")
    chunk = unpack(bytes(packed.data))
    changes = [
        c for c in packed.corrections.all() if sight.sees(c) and (known or sight.accepted(c))
    ]
    if not changes:
        return chunk
    at, value = list(chunk.at), list(chunk.value)
    last = {change.index: change for change in sorted(changes, key=lambda c: c.pk)}
    for index, change in last.items():
        value[index] = change.value
    keep = [i for i in range(len(at)) if i not in last or not last[i].withdrawn]
    return Chunk([at[i] for i in keep], [value[i] for i in keep], chunk.unit)


def put_right(packed: Iterable[PackedSeries], sight: Sight = ALL) -> bool:
    """Whether any packed reading was corrected, or its file taken back, and that is not accepted."""
    for series in packed:
        if series.pk is None:
            continue
        changes = [*series.corrections.all(), getattr(series.source, "withdrawn", None)]
        if any(sight.sees(change) and not sight.accepted(change) for change in changes):
            return True
    return False


def _series(
    load: Load,
    hand: Iterable[Reading],
    packed: Iterable[PackedSeries],
    since: int,
    end: int | None,
    known: bool,
    sight: Sight,
) -> dict[str, dict[str, list[Chunk]]]:
    """Chunks by subject and probe.  At a place, a reading without a probe's name speaks for the place
    and counts in the series of every probe there."""
    rows: dict[tuple[str, str], list[Row]] = {}
    runs: dict[tuple[str, str], list[Chunk]] = {}
    for reading in hand:
        key = subject_of_row(load, reading.place_id, reading.load_id), reading.probe
        rows.setdefault(key, []).append((reading.observed_at, reading.value, reading.unit))
    for series in packed:
        key = subject_of_row(load, series.place_id, series.load_id), series.probe
        chunk = corrected(series, known, sight).between(since, end)
        if len(chunk):
            runs.setdefault(key, []).append(chunk)
    named = {key for key in (*rows, *runs) if key[1] and key[0] != "fish"}
    out: dict[str, dict[str, list[Chunk]]] = {}
    for key in {*rows, *runs}:
        subject, probe = key
        if not probe and any(other[0] == subject for other in named):
            continue
        also = (subject, "") if key in named else key
        mine = rows.get(key, []) + (rows.get(also, []) if also != key else [])
        theirs = runs.get(key, []) + (runs.get(also, []) if also != key else [])
        hand_chunks = chunks((at, value, "F" if u == "F" else "C") for at, value, u in mine)
        out.setdefault(subject, {})[probe] = merge([*hand_chunks, *theirs])
    return out


@dataclass(frozen=True)
class Found:
    """The series of a load as known and as monitored, whether they differ, and their rows."""

    series: Series
    monitored: Series
    differs: bool
    hand: list[Reading]
    packed: list[PackedSeries]


def series_of(load: Load, span: Span, monitored_span: Span, sight: Sight = ALL) -> Found:
    """The load's readings within its time."""
    start, end, seen_end = span.start, span.end, monitored_span.end
    last = None if end is None or seen_end is None else max(end, seen_end)
    hand = hand_rows(load, start, last, sight)
    packed = packed_rows(load, start, last, sight)
    known, monitored, differ = known_and_monitored(hand, sight)
    since = start if sight.since is None else max(start, sight.since + 1)
    series = _series(load, _clip(known, start, end), packed, since, end, True, sight)
    if not (differ or seen_end != end or put_right(packed, sight)):
        return Found(series, series, False, hand, packed)
    seen = _series(load, _clip(monitored, start, seen_end), packed, since, seen_end, False, sight)
    return Found(series, seen, True, hand, packed)


def _clip(rows: Iterable[Reading], start: int, end: int | None) -> list[Reading]:
    return [
        row for row in rows if row.observed_at >= start and (end is None or row.observed_at <= end)
    ]


@dataclass(frozen=True)
class RowsOf:
    """The rows of a load's readings, without what the packed ones hold."""

    hand: list[Reading]
    packed: list[PackedSeries]


def rows_of(load: Load) -> RowsOf:
    """Which rows speak of the load, for naming them."""
    span, monitored_span, _ = spans_of(load)
    ends = (span.end, monitored_span.end)
    last = None if None in ends else max(end for end in ends if end is not None)
    hand = hand_rows(load, span.start, last)
    return RowsOf(hand, packed_rows(load, span.start, last, names_only=True))


@dataclass(frozen=True)
class OwnSeries:
    """A load's own readings as known, without the step before."""

    span: Span
    series: Series
    hand: list[Reading]
    packed: list[PackedSeries]


def own_series(load: Load) -> OwnSeries:
    """The load's readings, for a page or a chart that judges nothing."""
    span, monitored_span, _ = spans_of(load)
    found = series_of(load, span, monitored_span)
    return OwnSeries(span, found.series, found.hand, found.packed)
