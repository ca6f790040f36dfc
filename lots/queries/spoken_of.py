"""Which loads an entry speaks of that is no reading by hand: a logger's rows, a start, a probe that
left, an accuracy check; and what of these came late."""

from collections.abc import Iterable
from typing import Final

from django.db.models import Max, Min

from lots.core.series import unpack
from lots.models.house import AccuracyCheck, Instrument
from lots.models.lot import Load, LoadEnd, ProbeLeft
from lots.models.reading import (
    LoggerImport,
    Observation,
    PackedSeries,
    Reading,
    SeriesCorrection,
    SeriesWithdrawn,
)
from lots.queries.evidence import loads_at
from lots.queries.house import rules
from lots.queries.sight import start_entered_at, started_at

Entry = (
    Reading | Observation | LoadEnd | SeriesCorrection | SeriesWithdrawn | Load | ProbeLeft
    | AccuracyCheck
)  # fmt: skip
# an entry that a records reviewer may accept → the column of its acceptance
COLUMNS: Final[dict[type, str]] = {
    Reading: "reading",
    Observation: "observation",
    LoadEnd: "load_end",
    SeriesCorrection: "series_correction",
    SeriesWithdrawn: "series_withdrawn",
    Load: "load_start",
    ProbeLeft: "probe_left",
    AccuracyCheck: "accuracy_check",
}
EVER: Final = 2**62


def corrected_at(correction: SeriesCorrection) -> int:
    """The moment of the logger's reading that the correction names."""
    return unpack(bytes(correction.series.data)).at[correction.index]


def seen_at(row: Entry) -> int:
    """When what the entry tells of was so."""
    match row:
        case LoadEnd():
            return row.ended_at
        case SeriesCorrection():
            return corrected_at(row)
        case SeriesWithdrawn():
            return row.source.line.at
        case Load():
            return started_at(row)
        case ProbeLeft():
            return row.at
    return row.observed_at


def entered_at(row: Entry) -> int:
    """When it was entered (a start that was moved: the move); why a probe left keeps no other moment
    than its line's."""
    match row:
        case ProbeLeft():
            return row.line.at
        case Load():
            return start_entered_at(row)
    return row.entered_at


def came_late(row: Entry) -> bool:
    """Whether it was entered later after it was so than the rules allow."""
    return entered_at(row) - seen_at(row) > rules().late_after_ms


def fresh_loads(numbers: Iterable[int]) -> list[Load]:
    """The loads as they stand now, with what their spans are read from."""
    rows = Load.objects.select_related("place__within").filter(pk__in=set(numbers))
    return list(rows.prefetch_related("moves", "ends__accepted").order_by("id"))


def loads_of_series(series: PackedSeries, first_at: int, last_at: int) -> list[Load]:
    """Loads that a logger's rows of that time speak of: the fish's own, or all that stood there."""
    if series.load_id is not None:
        return fresh_loads([series.load_id])
    return loads_at(series.place_id, first_at, last_at)


def loads_of_file(source: LoggerImport) -> list[Load]:
    """Loads that any row of a logger's file speaks of."""
    found: dict[int, Load] = {}
    for row in source.series.defer("data"):
        found |= {load.pk: load for load in loads_of_series(row, row.first_at, row.last_at)}
    return list(found.values())


def loads_of(row: Entry) -> list[Load]:
    """Loads that an entry speaks of which is neither a reading nor an observation."""
    match row:
        case SeriesCorrection():
            at = corrected_at(row)
            return loads_of_series(row.series, at, at)
        case SeriesWithdrawn():
            return loads_of_file(row.source)
        case Load():
            return fresh_loads([row.pk])
        case AccuracyCheck():
            return loads_of_check(row)
    return fresh_loads([row.load_id])


def loads_of_check(check: AccuracyCheck) -> list[Load]:
    """Loads in which the instrument was used between its check before this one and its next: no
    other use rests on it."""
    others = AccuracyCheck.objects.filter(instrument=check.instrument_id).exclude(pk=check.pk)
    before = others.filter(observed_at__lte=check.observed_at).aggregate(at=Max("observed_at"))
    after = others.filter(observed_at__gt=check.observed_at).aggregate(at=Min("observed_at"))
    return _loads_with(check.instrument, before["at"] or 0, after["at"] or EVER)


def _loads_with(instrument: Instrument, since: int, until: int) -> list[Load]:
    """Loads with readings of an instrument that began before one moment and went on after another."""
    hand = Reading.objects.filter(instrument=instrument)
    packed = PackedSeries.objects.filter(source__instrument=instrument)
    of_fish: set[int] = set()
    places: dict[int, tuple[int, int]] = {}
    for rows, first, last in (
        (hand, "observed_at", "observed_at"),
        (packed, "first_at", "last_at"),
    ):
        spans = rows.values_list("load", "place").annotate(first=Min(first), last=Max(last))
        for load, place, begun, ended in spans.order_by():
            if begun >= until or ended <= since:
                continue
            if load is not None:
                of_fish.add(load)
            else:
                known = places.get(place, (begun, ended))
                places[place] = min(known[0], begun), max(known[1], ended)
    found = {load.pk: load for load in fresh_loads(of_fish)}
    for place, (begun, ended) in places.items():
        there = loads_at(place, max(begun, since), min(ended, until))
        found |= {load.pk: load for load in there}
    return list(found.values())
