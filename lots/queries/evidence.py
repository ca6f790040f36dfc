"""Rows → what the core judges: a load's span, its series, its facts; as known, and as monitored.

Where nothing was late or corrected the two sides are the same (`differs` is False).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from django.db.models import Exists, Max, OuterRef, Q

from lots.core.folds import Span
from lots.core.judging import Facts, Flats, Sample, Series, Sighting
from lots.core.limits import Exposure, Limit
from lots.core.series import Chunk
from lots.core.units import MS_PER_DAY
from lots.core.watch import Picture, flats, pictured
from lots.models.lot import LaboratorySample, Load, LoadEnd, Lot, ProbeLeft
from lots.models.reading import Observation, PackedSeries, Reading
from lots.queries.house import rules
from lots.queries.loads_before import exposed_before, loads_before
from lots.queries.series_of import OwnSeries as OwnSeries
from lots.queries.series_of import corrected as corrected
from lots.queries.series_of import known_and_monitored, series_of, subject_of_row
from lots.queries.series_of import own_series as own_series
from lots.queries.sight import ALL, Sight, spans_of, start_entered_at, start_is_late
from lots.queries.sight import end_of as end_of
from lots.queries.sight import is_late as is_late
from lots.queries.sight import started_at as started_at

__all__ = ["loads_before"]


FOREVER = 1 << 60  # ms: later than any moment


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
    sight: Sight = ALL
    left: dict[str, int] = field(default_factory=dict)  # probe in the fish → when it left, as said

    @cached_property
    def picture(self) -> Picture:
        """The coarse picture of the fish's probes, in which a flat one shows."""
        out: Picture = {}
        for probe, runs in self.series.get("fish", {}).items():
            for run in runs:
                out = pictured(out, probe, run, rules().flat)
        return out

    @cached_property
    def flats(self) -> Flats:
        """When nothing that a probe in the fish read is to its credit: it lay flat while another
        moved, or it had left."""
        out = {probe: list(runs) for probe, runs in flats(self.picture, rules().flat).items()}
        for probe, at in self.left.items():
            out.setdefault(probe, []).append((at + 1, FOREVER))
        return out

    def earlier(self, limit: Limit, known: bool) -> tuple[Any, ...]:
        """The loads before that an exposure of this limit runs over."""
        named = [leaf.rule.steps for leaf in limit.leaves() if isinstance(leaf.rule, Exposure)]
        steps = {step for each in named for step in each}
        return exposed_before(self.load, steps, known, self.sight) if steps else ()


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


def laboratory_by_lot(lots: Iterable[Lot], sight: Sight = ALL) -> dict[int, Samples]:
    """What laboratories found in these lots, by lot and quantity, corrections applied."""
    out: dict[int, Samples] = {}
    rows = LaboratorySample.objects.filter(result__lot__in={lot.pk for lot in lots})
    rows = sight.rows(rows.select_related("result__corrected_by"))
    for row in rows.order_by("id"):
        if sight.sees(getattr(row.result, "corrected_by", None)):
            continue
        sample = Sample(row.value, row.result.sampled_at, laboratory=True)
        of_lot = out.setdefault(row.result.lot_id, {})
        of_lot.setdefault(row.result.quantity, []).append(sample)
    return out


def _last_reading(series: Series) -> int | None:
    lasts = [run.at[-1] for probes in series.values() for runs in probes.values() for run in runs]
    return max(lasts, default=None)


def _first_reading(series: Series) -> int | None:
    firsts = [run.at[0] for probes in series.values() for runs in probes.values() for run in runs]
    return min(firsts, default=None)


@dataclass(frozen=True)
class _Before:
    """The fish's readings in each load of the step before, and when that step ended (the earliest, if
    several)."""

    known: list[Series]
    monitored: list[Series]
    known_end: int | None
    monitored_end: int | None
    differs: bool


def _before(load: Load, sight: Sight) -> _Before:
    """What a cooling's clock looks back into; on the monitored side without what came late or was
    put right and is not accepted, so that neither makes the clock start later."""
    known: list[Series] = []
    monitored: list[Series] = []
    ends: list[int] = []
    seen_ends: list[int] = []
    differ = False
    for earlier in loads_before(load, sight):
        span, seen_span, end_differs = spans_of(earlier, sight)
        both = [end for end in (span.end, seen_span.end) if end is not None]
        ends += [span.end] if span.end is not None else []
        seen_ends += [min(both)] if both else []
        found = series_of(earlier, span, seen_span, sight)
        differ |= found.differs or end_differs
        known.append({"fish": found.series.get("fish", {})})
        monitored.append({"fish": found.monitored.get("fish", {})})
    return _Before(known, monitored, min(ends, default=None), min(seen_ends, default=None), differ)


@dataclass(frozen=True)
class FactRows:
    """The rows that the facts of several loads come from, by load, in the order they were written."""

    figures: dict[int, list[Reading]]
    observations: dict[int, list[Observation]]
    left: dict[int, list[ProbeLeft]]


def fact_rows(loads: Iterable[Load], sight: Sight = ALL) -> FactRows:
    """What was measured and looked for in these loads, and which probes left, read at once."""
    numbers = {load.pk for load in loads}
    figures: dict[int, list[Reading]] = {}
    observations: dict[int, list[Observation]] = {}
    left: dict[int, list[ProbeLeft]] = {}
    measured = Reading.objects.filter(load__in=numbers).exclude(quantity="temperature")
    for figure in sight.rows(measured.select_related("accepted").order_by("id")):
        figures.setdefault(figure.load_id or 0, []).append(figure)
    looked_for = Observation.objects.filter(load__in=numbers).select_related("accepted")
    for one in sight.rows(looked_for.order_by("id")):
        observations.setdefault(one.load_id, []).append(one)
    gone = ProbeLeft.objects.filter(load__in=numbers).select_related("accepted")
    for probe in sight.rows(gone.order_by("id")):
        left.setdefault(probe.load_id, []).append(probe)
    return FactRows(figures, observations, left)


def load_facts(load: Load, rows: FactRows | None = None, sight: Sight = ALL) -> LoadFacts:
    """The load's span, what was measured and what was looked for; no series is read unless its start
    or end was entered late."""
    rows = fact_rows([load], sight) if rows is None else rows
    span, monitored_span, end_late = spans_of(load, sight)
    late_start = start_is_late(load, sight)
    if (end_late and span.end is not None) or late_start:
        span, monitored_span = _counted(load, span, monitored_span, end_late, late_start, sight)
    logged = _logged_to(load, span, sight)
    figures, seen_figures, differ = _in_time(rows.figures.get(load.pk, []), monitored_span, sight)
    sights, seen_sights, differ_sights = _in_time(
        rows.observations.get(load.pk, []), monitored_span, sight
    )
    left, seen_left = probes_left(rows.left.get(load.pk, []), sight)
    return LoadFacts(
        load,
        span,
        monitored_span,
        Facts(span, _samples(figures), _sightings(sights), logged, left=left),
        Facts(
            monitored_span, _samples(seen_figures), _sightings(seen_sights), logged, left=seen_left
        ),
        differ or differ_sights or end_late or left != seen_left,
    )


def _counted(
    load: Load, span: Span, monitored: Span, end_late: bool, late_start: bool, sight: Sight
) -> tuple[Span, Span]:
    """The spans with what "at least" counts from and to: the readings, or what was entered in time."""
    series = series_of(load, span, monitored, sight).series
    if end_late and span.end is not None:
        last = _last_reading(series)
        counted = span.start if last is None else min(last, span.end)
        span = replace(span, counted_end=counted)
    if late_start:
        entered, first = start_entered_at(load, sight), _first_reading(series)
        begun = entered if first is None else min(first, entered)
        span = replace(span, counted_start=begun)
        monitored = replace(monitored, counted_start=begun)
    return span, monitored


def probes_left(
    rows: Iterable[ProbeLeft], sight: Sight = ALL
) -> tuple[dict[str, int], dict[str, int]]:
    """By probe, when it left, as known and as monitored: what is said of it late counts there only
    once it is accepted.  One that was read after it was said is back, and asked of as before."""
    known: dict[str, int] = {}
    monitored: dict[str, int] = {}
    newest = {row.probe: row for row in rows}
    for row in newest.values():
        if _read_until(row, sight) > row.said_at:
            continue  # it is back
        known[row.probe] = row.at
        if row.said_at - row.at <= rules().late_after_ms or sight.accepted(row):
            monitored[row.probe] = row.at
    return known, monitored


def _read_until(row: ProbeLeft, sight: Sight) -> int:
    """The newest reading of the probe in its load."""
    by_hand = Reading.objects.filter(load=row.load_id, probe=row.probe, withdrawn=False)
    by_logger = PackedSeries.objects.filter(
        load=row.load_id, probe=row.probe, source__withdrawn=None
    )
    lasts = [
        one.last_at for one in sight.coming if (one.load_id, one.probe) == (row.load_id, row.probe)
    ]
    lasts.append(sight.rows(by_hand).aggregate(last=Max("observed_at"))["last"] or 0)
    lasts.append(sight.rows(by_logger).aggregate(last=Max("last_at"))["last"] or 0)
    return int(max(lasts))


def _in_time(
    rows: Sequence[Reading] | Sequence[Observation], span: Span, sight: Sight
) -> tuple[list[Any], list[Any], bool]:
    """Rows as known, rows as monitored, and whether the two differ.  What was measured or looked for
    when the step was over is monitored only once it is accepted."""
    known, monitored, differ = known_and_monitored(rows, sight)
    if span.end is None:
        return known, monitored, differ
    in_time = [row for row in monitored if row.observed_at <= span.end or sight.accepted(row)]
    return known, in_time, differ or len(in_time) < len(monitored)


def _logged_to(load: Load, span: Span, sight: Sight) -> dict[str, int]:
    """Up to when loggers' files tell of each subject of the load."""
    if span.end is None:
        return {}
    places = [place for place in (load.place_id, load.place.within_id) if place]
    here = Q(place_id__in=places, load=None, last_at__gte=span.start, first_at__lte=span.end)
    rows = PackedSeries.objects.filter(Q(load=load) | here, source__withdrawn=None)
    out: dict[str, int] = {}
    coming = ((row.place_id, row.load_id, row.last_at) for row in sight.coming)
    for place_id, load_id, last in (
        *sight.rows(rows).values_list("place_id", "load_id", "last_at"),
        *coming,
    ):
        if load_id in (None, load.pk) and (load_id is not None or place_id in places):
            subject = subject_of_row(load, place_id, load_id)
            out[subject] = max(out.get(subject, 0), last)
    return out


def evidence(load: Load, sight: Sight = ALL) -> LoadEvidence:
    """All the series that the load's limits are held against, read from the rows."""
    before = _before(load, replace(sight, since=None)) if sight.since is None else NO_STEP_BEFORE
    rows = fact_rows([load], sight)
    facts = load_facts(load, rows, replace(sight, since=None))
    span = replace(facts.span, before_end=before.known_end)
    monitored_span = replace(facts.monitored_span, before_end=before.monitored_end)
    found = series_of(load, facts.span, facts.monitored_span, sight)
    known, monitored = probes_left(rows.left.get(load.pk, []), sight)
    said = {row.probe: row.said_at for row in rows.left.get(load.pk, [])}
    series = _until_left(found.series, known, said)
    seen = series if known == monitored and not found.differs else None
    seen = _until_left(found.monitored, monitored, said) if seen is None else seen
    return LoadEvidence(
        load,
        span,
        monitored_span,
        series,
        seen,
        before.known,
        before.monitored,
        found.differs or before.differs or known != monitored,
        found.hand,
        found.packed,
        sight,
        {row.probe: row.at for row in rows.left.get(load.pk, [])},
    )


def _until_left(series: Series, left: Mapping[str, int], said: Mapping[str, int]) -> Series:
    """The series of the fish's probes without what a probe read once it had left.  What it reads after
    somebody said so is of fish again: then it is asked of it as before."""

    def part(probe: str, runs: Sequence[Chunk]) -> Sequence[Chunk]:
        if probe not in left or not runs or runs[-1].at[-1] > said[probe]:
            return runs
        return [cut for run in runs if len(cut := run.between(None, left[probe]))]

    if not left:
        return series
    fish = {probe: part(probe, runs) for probe, runs in series.get("fish", {}).items()}
    return {**series, "fish": {probe: runs for probe, runs in fish.items() if runs}}


NO_STEP_BEFORE = _Before([], [], None, None, False)  # going on from a checkpoint looks back no more


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
    span, monitored_span, _ = spans_of(load)
    ends = [end for end in (span.end, monitored_span.end) if end is not None]
    return span.start <= last_at and (not ends or max(ends) >= first_at)
