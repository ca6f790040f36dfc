"""Rows → what the core judges: a load's span, its series, its facts; as known, and as monitored.

"As known" holds every reading and correction; "as monitored" holds what was logged in time and not
corrected, or has been accepted by the records reviewer.  Where the two are the same there is only one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from django.db.models import Exists, OuterRef, Q

from lots.core.folds import Span
from lots.core.judging import Facts, Sample, Series, Sighting
from lots.core.series import Chunk, chunks, merge, unpack
from lots.core.units import MS_PER_DAY
from lots.models.lot import LaboratorySample, Load, LoadEnd, LoadPart, Lot, LotLink
from lots.models.reading import Observation, PackedSeries, Reading
from lots.queries.house import rules
from lots.queries.lineage import parts_of

Row = tuple[int, int, str]  # moment, ninths, unit


def started_at(load: Load) -> int:
    """When the load's step began, after any move."""
    moves = sorted(load.moves.all(), key=lambda move: move.pk)
    return moves[-1].started_at if moves else load.started_at


def end_of(load: Load) -> LoadEnd | None:
    """The end that stands: the newest that no other corrects."""
    ends = sorted(load.ends.all(), key=lambda end: end.pk)
    return ends[-1] if ends else None


def is_late(row: Reading | Observation | LoadEnd, observed: int) -> bool:
    """Whether it was entered later after it was seen than the rules allow."""
    return row.entered_at - observed > rules().late_after_ms


def _accepted(row: Reading | Observation | LoadEnd) -> bool:
    return getattr(row, "accepted", None) is not None


def _known_and_monitored(
    rows: Sequence[Reading] | Sequence[Observation],
) -> tuple[list[Reading | Observation], list[Reading | Observation], bool]:
    """Rows as corrected, rows as logged in time, and whether the two differ."""
    correction = {row.corrects_id: row for row in rows if row.corrects_id}
    known: list[Reading | Observation] = []
    monitored: list[Reading | Observation] = []
    differ = False
    for first in rows:
        if first.corrects_id:
            continue
        row: Reading | Observation = first
        late = is_late(first, first.observed_at) and not _accepted(first)
        seen: Reading | Observation | None = None if late else first
        while (newer := correction.get(row.pk)) is not None:
            row = newer
            if _accepted(row):
                seen = row
        differ |= seen is not row
        known += [row] if not getattr(row, "withdrawn", False) else []
        monitored += [seen] if seen is not None and not getattr(seen, "withdrawn", False) else []
    return known, monitored, differ


@dataclass(frozen=True)
class LoadFacts:
    """What a load's limits are held against beside its series, which may be long."""

    load: Load
    span: Span
    monitored_span: Span
    facts: Facts
    monitored_facts: Facts
    differs: bool


@dataclass(frozen=True)
class LoadEvidence:
    """All that a load's limits are held against; the monitored side equals the known one where
    nothing was late or corrected (`differs` is False)."""

    load: Load
    span: Span
    monitored_span: Span
    series: Series
    monitored_series: Series
    before: list[Series]  # one for each load of the step before
    monitored_before: list[Series]
    differs: bool
    hand: list[Reading] = field(default_factory=list)
    packed: list[PackedSeries] = field(default_factory=list)


def _clip(rows: Iterable[Reading], start: int, end: int | None) -> list[Reading]:
    return [
        row for row in rows if row.observed_at >= start and (end is None or row.observed_at <= end)
    ]


def _hand_rows(load: Load, start: int, end: int | None) -> list[Reading]:
    """Readings of the load's fish, and of its place and room in the time."""
    places = [load.place_id, load.place.within_id]
    match = Q(load=load)
    here = Q(place_id__in=[p for p in places if p], load=None, observed_at__gte=start)
    if end is not None:
        here &= Q(observed_at__lte=end)
    rows = Reading.objects.filter(match | here).select_related("accepted", "corrected_by")
    return list(rows.order_by("observed_at", "id"))


def _packed_rows(load: Load, start: int, end: int | None) -> list[PackedSeries]:
    places = [load.place_id, load.place.within_id]
    here = Q(place_id__in=[p for p in places if p], load=None, last_at__gte=start)
    if end is not None:
        here &= Q(first_at__lte=end)
    rows = PackedSeries.objects.filter(Q(load=load) | here).prefetch_related(
        "corrections__accepted"
    )
    return list(rows.order_by("first_at", "id"))


def _subject(load: Load, place_id: int, load_id: int | None) -> str:
    if load_id is not None:
        return "fish"
    return "place" if place_id == load.place_id else "room"


def _corrected(packed: PackedSeries, known: bool) -> Chunk:
    """The packed readings with their corrections laid over them."""
    chunk = unpack(bytes(packed.data))
    changes = [
        c for c in packed.corrections.all() if known or getattr(c, "accepted", None) is not None
    ]
    if not changes:
        return chunk
    at, value = list(chunk.at), list(chunk.value)
    for change in sorted(changes, key=lambda c: c.pk):
        value[change.index] = change.value
    gone = {c.index for c in changes if c.withdrawn}
    keep = [i for i in range(len(at)) if i not in gone]
    return Chunk([at[i] for i in keep], [value[i] for i in keep], chunk.unit)


def _series(
    load: Load,
    hand: Iterable[Reading],
    packed: Iterable[PackedSeries],
    start: int,
    end: int | None,
    known: bool,
) -> dict[str, dict[str, list[Chunk]]]:
    """Chunks by subject and probe.  At a place, a reading without a probe's name speaks for the place
    and counts in the series of every probe there."""
    rows: dict[tuple[str, str], list[Row]] = {}
    runs: dict[tuple[str, str], list[Chunk]] = {}
    for reading in hand:
        key = _subject(load, reading.place_id, reading.load_id), reading.probe
        rows.setdefault(key, []).append((reading.observed_at, reading.value, reading.unit))
    for series in packed:
        key = _subject(load, series.place_id, series.load_id), series.probe
        chunk = _corrected(series, known).between(start, end)
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


def _sightings(rows: Iterable[Observation]) -> dict[str, list[Sighting]]:
    out: dict[str, list[Sighting]] = {}
    for row in rows:
        out.setdefault(row.what, []).append(Sighting(row.found, row.observed_at))
    return out


def _samples(rows: Iterable[Reading]) -> dict[str, list[Sample]]:
    out: dict[str, list[Sample]] = {}
    for row in rows:
        out.setdefault(row.quantity, []).append(Sample(row.value, row.observed_at))
    return out


Samples = dict[str, list[Sample]]  # by quantity


def laboratory_by_lot(lots: Iterable[Lot]) -> dict[int, Samples]:
    """What laboratories found in these lots, by lot and quantity, corrections applied."""
    out: dict[int, Samples] = {}
    rows = LaboratorySample.objects.filter(
        result__lot__in={lot.pk for lot in lots}, result__corrected_by=None
    ).select_related("result")
    for row in rows.order_by("id"):
        sample = Sample(row.value, row.result.sampled_at, laboratory=True)
        of_lot = out.setdefault(row.result.lot_id, {})
        of_lot.setdefault(row.result.quantity, []).append(sample)
    return out


def _last_reading(series: Series) -> int | None:
    lasts = [run.at[-1] for probes in series.values() for runs in probes.values() for run in runs]
    return max(lasts, default=None)


def loads_before(load: Load) -> list[Load]:
    """Every load of the step before that the fish of each lot may have been in, as this lot or as one
    it came from."""
    found: dict[int, Load] = {}
    for part in LoadPart.objects.filter(load=load).select_related("lot"):
        found |= {one.load_id: one.load for one in _parts_before(part, load)}
    return list(found.values())


def _parts_before(part: LoadPart, load: Load) -> list[LoadPart]:
    """The parts of the step before, of the lot itself or else of those that it was made of.  Another
    load of the same step, beside this one or moved from, is not the step before."""
    by_lot: dict[int, list[LoadPart]] = {}
    for one in parts_of(part.lot):
        if one.step != part.step and one.load.started_at <= load.started_at:
            by_lot.setdefault(one.lot_id, []).append(one)
    found: list[LoadPart] = []
    waiting = [part.lot_id]
    for lot_id in waiting:  # grows while it is walked
        if lot_id in by_lot:
            found += _last_step(by_lot[lot_id])
        else:
            links = LotLink.objects.filter(target=lot_id).values_list("source", flat=True)
            waiting += [source for source in links if source not in waiting]
    return found


def _last_step(parts: Sequence[LoadPart]) -> list[LoadPart]:
    """Of a lot's parts in order of time those of its newest step, back to one that held all of it."""
    newest: list[LoadPart] = []
    for part in reversed(parts):
        if part.step == parts[-1].step:
            newest.append(part)
            if part.grams >= part.lot.quantity_g:
                break
    return newest


@dataclass(frozen=True)
class _Before:
    """The fish's readings in each load of the step before, and when that step ended (the earliest, if
    several)."""

    known: list[Series]
    monitored: list[Series]
    known_end: int | None
    monitored_end: int | None
    differs: bool


def _before(load: Load) -> _Before:
    """What a cooling's clock looks back into; on the monitored side without what came late or was
    put right and is not accepted, so that neither makes the clock start later."""
    known: list[Series] = []
    monitored: list[Series] = []
    ends: list[int] = []
    seen_ends: list[int] = []
    differ = False
    for earlier in loads_before(load):
        span, seen_span, end_differs = _spans(earlier)
        both = [end for end in (span.end, seen_span.end) if end is not None]
        ends += [span.end] if span.end is not None else []
        seen_ends += [min(both)] if both else []
        series, seen, series_differs, _, _ = _known_series(earlier, span, seen_span)
        differ |= series_differs or end_differs
        known.append({"fish": series.get("fish", {})})
        monitored.append({"fish": seen.get("fish", {})})
    return _Before(known, monitored, min(ends, default=None), min(seen_ends, default=None), differ)


def _spans(load: Load) -> tuple[Span, Span, bool]:
    """The span as stated, the span as monitored, and whether the end was entered late or put right
    without having been accepted."""
    start, monitored = started_at(load), None
    ends = sorted(load.ends.all(), key=lambda end: end.pk)
    for end in ends:
        if end.corrects_id is None:
            late = is_late(end, end.ended_at) and not _accepted(end)
            monitored = end.entered_at if late else end.ended_at
        elif _accepted(end):
            monitored = end.ended_at
    stated = ends[-1].ended_at if ends else None
    return Span(start, stated), Span(start, monitored), monitored != stated


@dataclass(frozen=True)
class FactRows:
    """The rows that the facts of several loads come from, by load, in the order they were written."""

    figures: dict[int, list[Reading]]
    observations: dict[int, list[Observation]]


def fact_rows(loads: Iterable[Load]) -> FactRows:
    """What was measured and looked for in these loads, read at once."""
    numbers = {load.pk for load in loads}
    figures: dict[int, list[Reading]] = {}
    observations: dict[int, list[Observation]] = {}
    measured = Reading.objects.filter(load__in=numbers).exclude(quantity="temperature")
    for figure in measured.select_related("accepted").order_by("id"):
        figures.setdefault(figure.load_id or 0, []).append(figure)
    looked_for = Observation.objects.filter(load__in=numbers).select_related("accepted")
    for one in looked_for.order_by("id"):
        observations.setdefault(one.load_id, []).append(one)
    return FactRows(figures, observations)


def load_facts(load: Load, rows: FactRows | None = None) -> LoadFacts:
    """The load's span, what was measured and what was looked for; no series is read unless its end
    was entered late."""
    rows = fact_rows([load]) if rows is None else rows
    span, monitored_span, end_late = _spans(load)
    if end_late and span.end is not None:
        last = _last_reading(_known_series(load, span, monitored_span)[0])
        counted = span.start if last is None else min(last, span.end)
        span = replace(span, counted_end=counted)
    logged = _logged_to(load, span)
    figures, seen_figures, differ = _in_time(rows.figures.get(load.pk, []), monitored_span)
    sights, seen_sights, differ_sights = _in_time(
        rows.observations.get(load.pk, []), monitored_span
    )
    return LoadFacts(
        load,
        span,
        monitored_span,
        Facts(span, _samples(figures), _sightings(sights), logged),
        Facts(monitored_span, _samples(seen_figures), _sightings(seen_sights), logged),
        differ or differ_sights or end_late,
    )


def _in_time(
    rows: Sequence[Reading] | Sequence[Observation], span: Span
) -> tuple[list[Reading | Observation], list[Reading | Observation], bool]:
    """Rows as known, rows as monitored, and whether the two differ.  What was measured or looked for
    when the step was over is monitored only once it is accepted."""
    known, monitored, differ = _known_and_monitored(rows)
    if span.end is None:
        return known, monitored, differ
    in_time = [row for row in monitored if row.observed_at <= span.end or _accepted(row)]
    return known, in_time, differ or len(in_time) < len(monitored)


def _logged_to(load: Load, span: Span) -> dict[str, int]:
    """Up to when loggers' files tell of each subject of the load."""
    if span.end is None:
        return {}
    places = [load.place_id, load.place.within_id]
    here = Q(place_id__in=[p for p in places if p], load=None, last_at__gte=span.start)
    here &= Q(first_at__lte=span.end)
    rows = PackedSeries.objects.filter(Q(load=load) | here).values_list(
        "place_id", "load_id", "last_at"
    )
    out: dict[str, int] = {}
    for place_id, load_id, last in rows:
        subject = _subject(load, place_id, load_id)
        out[subject] = max(out.get(subject, 0), last)
    return out


def _known_series(
    load: Load, span: Span, monitored_span: Span
) -> tuple[Series, Series, bool, list[Reading], list[PackedSeries]]:
    """The series as known, as monitored, whether they differ, and the rows they come from."""
    start, end, seen_end = span.start, span.end, monitored_span.end
    last = None if end is None or seen_end is None else max(end, seen_end)
    hand = [r for r in _hand_rows(load, start, last) if r.quantity == "temperature"]
    packed = _packed_rows(load, start, last)
    known, monitored, differ = _known_and_monitored(hand)
    put_right = any(
        getattr(c, "accepted", None) is None for series in packed for c in series.corrections.all()
    )
    series = _series(load, _clip(known, start, end), packed, start, end, known=True)
    if not (differ or put_right or seen_end != end):
        return series, series, False, hand, packed
    seen = _series(load, _clip(monitored, start, seen_end), packed, start, seen_end, known=False)
    return series, seen, True, hand, packed


@dataclass(frozen=True)
class OwnSeries:
    """A load's own readings as known, without the step before."""

    span: Span
    series: Series
    hand: list[Reading]
    packed: list[PackedSeries]


def own_series(load: Load) -> OwnSeries:
    """The load's readings, for a page or a chart that judges nothing."""
    span, monitored_span, _ = _spans(load)
    series, _, _, hand, packed = _known_series(load, span, monitored_span)
    return OwnSeries(span, series, hand, packed)


def evidence(load: Load) -> LoadEvidence:
    """All the series that the load's limits are held against, read from the rows."""
    before = _before(load)
    facts = load_facts(load)
    span = replace(facts.span, before_end=before.known_end)
    monitored_span = replace(facts.monitored_span, before_end=before.monitored_end)
    series, monitored, differs, hand, packed = _known_series(load, facts.span, facts.monitored_span)
    return LoadEvidence(
        load,
        span,
        monitored_span,
        series,
        monitored,
        before.known,
        before.monitored,
        differs or before.differs,
        hand,
        packed,
    )


def loads_at(place_id: int, first_at: int, last_at: int) -> list[Load]:
    """Loads that stood in the place, or in a place within it, at any time from first to last: until
    their end as stated, or as monitored where that is later."""
    ends = LoadEnd.objects.filter(load=OuterRef("pk"))
    later = Q(ended_at__gte=first_at) | Q(entered_at__gte=first_at)
    candidates = (
        Load.objects.filter(Q(place_id=place_id) | Q(place__within_id=place_id))
        .filter(started_at__lte=last_at + 30 * MS_PER_DAY)
        .filter(~Exists(ends) | Exists(ends.filter(later)))
        .select_related("place__within")
        .prefetch_related("moves", "ends__accepted")
        .order_by("id")
    )
    return [load for load in candidates if _stood(load, first_at, last_at)]


def _stood(load: Load, first_at: int, last_at: int) -> bool:
    span, monitored_span, _ = _spans(load)
    ends = [end for end in (span.end, monitored_span.end) if end is not None]
    return span.start <= last_at and (not ends or max(ends) >= first_at)
