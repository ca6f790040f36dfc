"""What a verdict was computed from, as values that a sealed record can carry, and back again.

A record's runs of readings are kept once, in a pool; what a load's limits were held against names them
by their place in it.  Moments are ms UTC, 0 where there is none.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from lots.core.folds import Span
from lots.core.judging import (
    Checked,
    CureUse,
    Earlier,
    Facts,
    Flats,
    Sample,
    Series,
    Sighting,
    Use,
    Went,
)
from lots.core.series import Chunk
from lots.core.units import TempUnit

FOREVER: Final = 2**53 - 1  # ms: later than any moment, and still exact for every JSON reader


SALT_FORM: Final = 3  # the form of record from which on what the salt rests on is carried


def _salt(default: Any) -> Any:
    """A field that records of forms 1 and 2 do not have."""
    return field(default=default, metadata={"form": SALT_FORM})


@dataclass(frozen=True, slots=True)
class RunFacts:
    """Readings of one probe in one unit, in order: moments and temperatures side by side."""

    unit: str
    at: tuple[int, ...]
    ninths: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ProbeRuns:
    """A probe's series within a load: `subject` is "fish", "place" or "room"; `runs` name the pool's."""

    subject: str
    probe: str
    runs: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SpanFacts:
    """A step's part in time, with what "at least" counts from and to, and when the step before ended."""

    start: int
    end: int
    counted_end: int
    before_end: int
    counted_start: int


@dataclass(frozen=True, slots=True)
class LoadBefore:
    """The fish's readings in a load of the step before."""

    series: tuple[ProbeRuns, ...]


@dataclass(frozen=True, slots=True)
class ExposedIn:
    """A load that the fish was exposed in; `before` are places in the same list."""

    series: tuple[ProbeRuns, ...]
    span: SpanFacts
    before: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CameFrom:
    """The loads that an exposure over several steps looks back into, for one limit."""

    limit: str
    loads: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class QuantityFacts:
    """A figure of a quantity other than temperature: millionths of its first unit."""

    quantity: str
    millionths: int
    at: int
    laboratory: int


@dataclass(frozen=True, slots=True)
class SightingFacts:
    """A thing looked for, and whether it was found so."""

    what: str
    found: int
    at: int


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment that belongs to a subject or a probe."""

    name: str
    at: int


@dataclass(frozen=True, slots=True)
class FlatFacts:
    """From when to when nothing that a probe read is to its credit."""

    probe: str
    since: int
    until: int


@dataclass(frozen=True, slots=True)
class CheckedFacts:
    """An accuracy check: `off` in ninths counts where `known` is 1."""

    at: int
    off: int
    known: int
    within: int


@dataclass(frozen=True, slots=True)
class UseFacts:
    """An instrument in use at a subject, from its first to its last reading, and its checks."""

    subject: str
    instrument: str
    first_at: int
    last_at: int
    checks: tuple[CheckedFacts, ...]


@dataclass(frozen=True, slots=True)
class CureFacts:
    """Nitrite that went in with a batch: `ingoing` in millionths of a ppm on green weight."""

    batch: str
    ingoing: int
    at: int


@dataclass(frozen=True, slots=True)
class WentFacts:
    """Grams of the lot that went on into a load of a later step."""

    step: str
    at: int
    amount_g: int


@dataclass(frozen=True, slots=True)
class Side:
    """Everything that a load's limits are held against, on one side: as known, or as monitored.

    `declared` to `sampled` are what limits on brining, cure, packing and laboratories look at."""

    span: SpanFacts
    series: tuple[ProbeRuns, ...]
    before: tuple[LoadBefore, ...]
    exposed: tuple[ExposedIn, ...]
    came_from: tuple[CameFrom, ...]
    measured: tuple[QuantityFacts, ...]
    observed: tuple[SightingFacts, ...]
    logged_to: tuple[Mark, ...]
    uses: tuple[UseFacts, ...]
    left: tuple[Mark, ...]
    flat: tuple[Mark, ...]
    declared: str = _salt("")
    species: str = _salt("")
    fish: str = _salt("")
    amount_g: int = _salt(0)
    cures: tuple[CureFacts, ...] = _salt(())
    followed: tuple[WentFacts, ...] = _salt(())
    verified: tuple[QuantityFacts, ...] = _salt(())
    sampled: tuple[Mark, ...] = _salt(())


@dataclass(frozen=True, slots=True)
class Basis:
    """What the limits of a step were held against in one load; `monitored` holds one side where
    something was late or corrected, and none where both sides are the same.  `plan` is the place of
    its plan's content among the record's."""

    load: int
    step: str
    plan: int
    flats: tuple[FlatFacts, ...]
    known: Side
    monitored: tuple[Side, ...]


@dataclass(frozen=True)
class SideValues:
    """A side as the judging takes it: `span` is the one that series are folded over."""

    span: Span
    series: Series
    before: Sequence[Series]
    earlier: Mapping[str, tuple[Earlier, ...]]  # limit → the loads before that it runs over
    facts: Facts


class Pool:
    """The runs of a record, each once however often it is spoken of."""

    def __init__(self) -> None:
        self._places: dict[RunFacts, int] = {}
        self._known: dict[
            int, tuple[Chunk, int]
        ] = {}  # by identity: most are met again as they are

    @property
    def runs(self) -> tuple[RunFacts, ...]:
        return tuple(self._places)

    def place(self, chunk: Chunk) -> int:
        """The chunk's place among the runs."""
        met = self._known.get(id(chunk))
        if met is None:
            run = RunFacts(chunk.unit, tuple(chunk.at), tuple(chunk.value))
            met = chunk, self._places.setdefault(run, len(self._places))
            self._known[id(chunk)] = met
        return met[1]

    def series(self, series: Series) -> tuple[ProbeRuns, ...]:
        return tuple(
            ProbeRuns(subject, probe, tuple(self.place(chunk) for chunk in series[subject][probe]))
            for subject in sorted(series)
            for probe in sorted(series[subject])
        )

    def side(self, values: SideValues) -> Side:
        """The side as facts, its readings in the pool."""
        exposed: list[ExposedIn] = []
        came_from = [
            CameFrom(limit, tuple(self._exposed(one, exposed) for one in loads))
            for limit, loads in sorted(values.earlier.items())
            if loads
        ]
        facts = values.facts
        return Side(
            span=_span_facts(values.span),
            series=self.series(values.series),
            before=tuple(LoadBefore(self.series(one)) for one in values.before),
            exposed=tuple(exposed),
            came_from=tuple(came_from),
            measured=_quantities(facts.measured),
            observed=tuple(
                SightingFacts(what, int(one.found), one.at)
                for what, sightings in sorted(facts.observed.items())
                for one in sightings
            ),
            logged_to=_marks(facts.logged_to),
            uses=tuple(
                _use_facts(subject, use) for subject in sorted(facts.uses)
                for use in facts.uses[subject]
            ),
            left=_marks(facts.left),
            flat=_marks(facts.flat),
            declared=facts.declared, species=facts.species, fish=facts.fish, amount_g=facts.grams,
            cures=tuple(CureFacts(one.batch, one.ingoing, one.at) for one in facts.cures),
            followed=tuple(
                WentFacts(step, one.at, one.grams)
                for step in sorted(facts.followed) for one in facts.followed[step]
            ),
            verified=_quantities(facts.verified),
            sampled=tuple(
                Mark(quantity, at)
                for quantity in sorted(facts.sampled) for at in facts.sampled[quantity]
            ),
        )  # fmt: skip

    def _exposed(self, load: Earlier, found: list[ExposedIn]) -> int:
        before = tuple(self._exposed(one, found) for one in load.before)
        facts = ExposedIn(self.series(load.series), _span_facts(load.span), before)
        if facts not in found:
            found.append(facts)
        return found.index(facts)


def flat_facts(flats: Flats) -> tuple[FlatFacts, ...]:
    return tuple(
        FlatFacts(probe, since, min(until, FOREVER))
        for probe in sorted(flats)
        for since, until in flats[probe]
    )


def flats_of(facts: Iterable[FlatFacts]) -> Flats:
    out: dict[str, list[tuple[int, int]]] = {}
    for one in facts:
        out.setdefault(one.probe, []).append((one.since, one.until))
    return out


def chunk_of(run: RunFacts) -> Chunk:
    unit: TempUnit = "F" if run.unit == "F" else "C"
    return Chunk(run.at, run.ninths, unit)


def side_values(side: Side, runs: Sequence[Chunk]) -> SideValues:
    """The side as the judging takes it.

    Raises:
        IndexError, RecursionError: the facts name runs or loads that are not there, or each other.
    """
    span = _span(side.span)
    observed: dict[str, list[Sighting]] = {}
    for seen in side.observed:
        observed.setdefault(seen.what, []).append(Sighting(bool(seen.found), seen.at))
    uses: dict[str, list[Use]] = {}
    for use in side.uses:
        uses.setdefault(use.subject, []).append(_use(use))
    facts = Facts(
        replace(span, before_end=None), _samples(side.measured), observed, _by_name(side.logged_to),
        uses, _by_name(side.left), _by_name(side.flat), side.declared, side.species, side.fish,
        tuple(CureUse(one.batch, one.ingoing, one.at) for one in side.cures), side.amount_g,
        _went(side.followed), _samples(side.verified), _moments(side.sampled),
    )  # fmt: skip
    return SideValues(
        span,
        _series(side.series, runs),
        [_series(one.series, runs) for one in side.before],
        {
            one.limit: tuple(_earlier(side.exposed, place, runs) for place in one.loads)
            for one in side.came_from
        },
        facts,
    )


def _quantities(measured: Mapping[str, Sequence[Sample]]) -> tuple[QuantityFacts, ...]:
    return tuple(
        QuantityFacts(quantity, one.millionths, one.at, int(one.laboratory))
        for quantity, samples in sorted(measured.items())
        for one in samples
    )


def _samples(found: Iterable[QuantityFacts]) -> dict[str, list[Sample]]:
    out: dict[str, list[Sample]] = {}
    for one in found:
        sample = Sample(one.millionths, one.at, bool(one.laboratory))
        out.setdefault(one.quantity, []).append(sample)
    return out


def _went(found: Iterable[WentFacts]) -> dict[str, list[Went]]:
    out: dict[str, list[Went]] = {}
    for one in found:
        out.setdefault(one.step, []).append(Went(one.at, one.amount_g))
    return out


def _moments(marks: Iterable[Mark]) -> dict[str, list[int]]:
    out: dict[str, list[int]] = {}
    for mark in marks:
        out.setdefault(mark.name, []).append(mark.at)
    return out


def _series(probes: Iterable[ProbeRuns], runs: Sequence[Chunk]) -> Series:
    out: dict[str, dict[str, list[Chunk]]] = {}
    for one in probes:
        out.setdefault(one.subject, {})[one.probe] = [runs[place] for place in one.runs]
    return out


def _earlier(exposed: Sequence[ExposedIn], place: int, runs: Sequence[Chunk]) -> Earlier:
    load = exposed[place]
    before = tuple(_earlier(exposed, one, runs) for one in load.before)
    return Earlier(_series(load.series, runs), _span(load.span), before)


def _span_facts(span: Span) -> SpanFacts:
    return SpanFacts(
        span.start, span.end or 0, span.counted_end or 0, span.before_end or 0,
        span.counted_start or 0,
    )  # fmt: skip


def _span(facts: SpanFacts) -> Span:
    return Span(
        facts.start,
        facts.end or None,
        facts.counted_end or None,
        facts.before_end or None,
        facts.counted_start or None,
    )


def _marks(moments: Mapping[str, int]) -> tuple[Mark, ...]:
    return tuple(Mark(name, at) for name, at in sorted(moments.items()))


def _by_name(marks: Iterable[Mark]) -> dict[str, int]:
    return {mark.name: mark.at for mark in marks}


def _use_facts(subject: str, use: Use) -> UseFacts:
    checks = tuple(
        CheckedFacts(one.at, one.off or 0, int(one.off is not None), int(one.within))
        for one in use.checks
    )
    return UseFacts(subject, use.instrument, use.first_at, use.last_at, checks)


def _use(facts: UseFacts) -> Use:
    checks = tuple(
        Checked(one.at, one.off if one.known else None, bool(one.within)) for one in facts.checks
    )
    return Use(facts.instrument, facts.first_at, facts.last_at, checks)
