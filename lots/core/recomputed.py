"""A record's verdicts computed once more, from nothing but what the record itself carries.

    limits (plans) + readings (runs) + facts (bases) ──▶ judging ──▶ held against what is stated

and the readings that were judged held against those that are listed, so that neither can be changed
without the other.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any, Final

from lots.core import judging
from lots.core.basis import Basis, Side, SideValues, chunk_of, flats_of, side_values
from lots.core.batch import Batch, Part
from lots.core.figures import AsRead, as_read_figure, rounded
from lots.core.judging import Judgement
from lots.core.limits import RULES, Limit, demand
from lots.core.plan import Plan, plan_from
from lots.core.reckoned import batch_figures, use_figures
from lots.core.record import HandReading, JudgedLimit, LotRecord
from lots.core.record_salt import PartFacts, Reckoned
from lots.core.series import Chunk

TEMPERATURE: Final = "temperature"
FIRST_RULES: Final = {2: 2, 3: 2}
"""Form → the rules in force when it was first written: no verdict in such a record is older."""
LATE: Final = "rests on late or corrected readings"


@dataclass(frozen=True, slots=True)
class Difference:
    """Something that the record states and that its own readings do not bear out.

    `altered` is False where the rules have changed since: then it is not the record that was."""

    what: str
    stated: str
    found: str
    altered: bool = True


@dataclass(frozen=True, slots=True)
class Recomputed:
    """How many verdicts were computed again, and what does not agree."""

    verdicts: int
    rules: tuple[int, ...]
    differences: tuple[Difference, ...]


def recomputed(record: LotRecord) -> Recomputed:
    """Every verdict of the record computed again from its limits, readings and facts.

    Errs against the record: a verdict whose ground is missing or cannot be read is a difference.

    Args:
        record: of form 2 or later; those of form 1 carry no grounds, and 0 verdicts come back.
    """
    again = _Again(record)
    differences = [*again.verdicts(), *again.left_out(), *again.links(), *again.limits()]
    differences += again.batches()
    rules = tuple(sorted({one.rules for one in record.verdicts}))
    return Recomputed(again.computed, rules, tuple(differences))


class _Again:
    """One record being computed again; what cannot be read is said once."""

    def __init__(self, record: LotRecord) -> None:
        self.record = record
        self.computed = 0
        self.runs: list[Chunk] = [chunk_of(run) for run in record.runs]
        self.plans: list[Plan] = [plan_from(json.loads(one.content)) for one in record.plans]
        self._sides: dict[int, list[SideValues]] = {}

    def verdicts(self) -> Iterator[Difference]:
        if self.record.form == 1:
            return
        for number, stated in enumerate(self.record.verdicts, 1):
            what = f"verdict {number} ({stated.control_point}, limit {stated.limit}, load {stated.load})"
            if not 1 <= stated.basis <= len(self.record.bases):
                yield Difference(what, stated.verdict, "nothing attached to compute it from")
                continue
            yield from self._verdict(what, stated, self.record.bases[stated.basis - 1])

    def _verdict(self, what: str, stated: JudgedLimit, basis: Basis) -> Iterator[Difference]:
        limit = self._limit(stated, basis)
        if limit is None or basis.load != stated.load:
            yield Difference(what, stated.verdict, "no such limit in the plan attached")
            return
        found = self._judged(limit, basis)
        self.computed += 1
        other_rules = FIRST_RULES[self.record.form] <= stated.rules != RULES
        for name, ours, theirs in self._compared(stated, limit, found):
            if ours != theirs:
                yield Difference(f"{what}: {name}", theirs, ours, altered=not other_rules)

    def left_out(self) -> Iterator[Difference]:
        """Verdicts that the attached grounds and plans ask for and that are not stated."""
        stated = {(one.basis, one.limit) for one in self.record.verdicts}
        for number, basis in enumerate(self.record.bases, 1):
            for point, limit in self.plans[basis.plan].held_at(basis.step):
                if (number, limit.id) not in stated:
                    what = f"load {basis.load}: limit {limit.id} of {point.name}"
                    yield Difference(what, "no verdict", "one was due")
        judged = {basis.load for basis in self.record.bases}
        held = {step.name for plan in self.plans for step in plan.steps if plan.held_at(step.id)}
        for load in self.record.loads if self.record.form > 1 else ():
            if load.step in held and load.number not in judged:
                yield Difference(f"load {load.number} ({load.step})", "no ground", "one was due")

    def _limit(self, stated: JudgedLimit, basis: Basis) -> Limit | None:
        plan = self.plans[basis.plan]
        limits = (limit for point in plan.control_points for limit in point.limits)
        return next((limit for limit in limits if limit.id == stated.limit), None)

    def _judged(self, limit: Limit, basis: Basis) -> Judgement:
        number = self.record.bases.index(basis)
        if number not in self._sides:
            sides: tuple[Side, ...] = (basis.known, *basis.monitored)
            self._sides[number] = [side_values(side, self.runs) for side in sides]
        flats = flats_of(basis.flats)
        found = []
        for side in self._sides[number]:
            earlier = side.earlier.get(limit.id, ())
            states = judging.start(limit, side.series, side.span, side.before, flats, earlier)
            found.append(judging.judge(limit, states, side.facts, self.record.made_at))
        monitored = found[1] if len(found) > 1 else None
        return judging.settle(limit.id, found[0], monitored, accepted=False)

    def _compared(
        self, stated: JudgedLimit, limit: Limit, found: Judgement
    ) -> Iterator[tuple[str, str, str]]:
        """Name, what comes out now, what is stated."""
        finding = found.finding
        late = LATE if found.rests_on_late else ""
        yield "verdict", finding.verdict.value, stated.verdict
        figure = as_read_figure(finding.figure, self._written(stated.load))
        yield "figure", figure, stated.figure
        yield "estimate", rounded(finding.estimate), stated.estimate
        yield "bound", demand(limit), stated.bound
        yield "why", "; ".join(filter(None, [finding.why, late])), stated.why
        yield "broke at", str(finding.broke_at or 0), str(stated.broke_at)

    def _written(self, load: int) -> Iterator[AsRead]:
        for one in sorted(self.record.readings, key=lambda one: one.number):
            if one.load == load and one.quantity != TEMPERATURE:
                yield AsRead(one.quantity, one.value, one.as_read, one.unit)
        for result in self.record.results:
            for sample in result.samples:
                as_read, _, unit = sample.figure.partition(" ")
                yield AsRead(result.quantity, sample.value, as_read, unit)

    def batches(self) -> Iterator[Difference]:
        """What was reckoned of each batch, held against what went into it."""
        for one in self.record.batches:
            try:
                batch = Batch(one.method, tuple(Part(**_fields(part)) for part in one.parts))
                temp = one.brine_temp if one.temp_known else None
                yield from _reckoned(f"batch {one.code}", one.figures, batch_figures(batch, temp))
                for use in one.uses:
                    found = use_figures(batch, use.brine_g or None, use.fish_g, use.moisture)
                    yield from _reckoned(f"batch {one.code} in load {use.load}", use.figures, found)
            except (ValueError, ArithmeticError) as error:
                yield Difference(f"batch {one.code}", "figures of it", f"it cannot be one: {error}")

    def limits(self) -> Iterator[Difference]:
        """Each limit as it is printed, held against the plan's own data."""
        if self.record.form == 1 or not self.record.plans:
            return
        plan, content = self.plans[0], self.record.plans[0]  # the lot's own stands first
        if (content.title, content.version) != (self.record.plan.title, self.record.plan.version):
            found = f"{content.title}, version {content.version}"
            yield Difference(
                "the plan", f"{self.record.plan.title}, version {self.record.plan.version}", found
            )
        mine = {limit.id: limit for point in plan.control_points for limit in point.limits}
        for point in self.record.control_points:
            for stated in point.limits:
                limit = mine.get(stated.id)
                found = demand(limit) if limit else "not in the plan attached"
                if found != stated.sentence:
                    what = f"limit {stated.id} of {point.id}"
                    yield Difference(what, stated.sentence, found)

    def links(self) -> Iterator[Difference]:
        """The readings that were judged are those that are listed, and the other way round."""
        listed = _listed(self.record)
        for basis in self.record.bases:
            for one in basis.known.series:
                for run in one.runs:
                    yield from self._unlisted(basis.load, one.probe, self.runs[run], listed)
            yield from self._unlisted_facts(basis)
        yield from self._unjudged()

    def _unlisted(
        self, load: int, probe: str, run: Chunk, listed: set[tuple[int, int]]
    ) -> Iterator[Difference]:
        missing = [pair for pair in zip(run.at, run.value, strict=True) if pair not in listed]
        if missing:
            at, value = missing[0]
            yield Difference(
                f"load {load} {probe}".strip(),
                f"{len(missing)} of the readings listed",
                f"a reading that was judged and is not listed: {value} ninths at {at} ms",
            )

    def _unlisted_facts(self, basis: Basis) -> Iterator[Difference]:
        figures = {(one.quantity, one.value, one.observed_at) for one in self.record.readings}
        figures |= {
            (result.quantity, sample.value, result.sampled_at)
            for result in self.record.results
            for sample in result.samples
        }
        own = self.record.lot.species_code
        if basis.known.species not in ("", own):
            yield Difference(f"load {basis.load}: species", own, f"judged as {basis.known.species}")
        seen = {(one.what, one.found == "yes", one.observed_at) for one in self.record.observations}
        for one in (*basis.known.measured, *basis.known.verified):
            if (one.quantity, one.millionths, one.at) not in figures:
                what = f"load {basis.load}: {one.quantity}"
                yield Difference(what, "not listed so", f"{one.millionths} millionths was judged")
        for sighting in basis.known.observed:
            if (sighting.what, bool(sighting.found), sighting.at) not in seen:
                yield Difference(
                    f"load {basis.load}: {sighting.what}", "not listed so", "judged so"
                )

    def _unjudged(self) -> Iterator[Difference]:
        """Readings that are listed as standing and were left out of the judging."""
        judged: dict[int, set[tuple[int, int]]] = {}
        spans: Mapping[int, Basis] = {basis.load: basis for basis in self.record.bases}
        for basis in self.record.bases:
            pairs = judged.setdefault(basis.load, set())
            for one in basis.known.series:
                for run in one.runs:
                    pairs.update(zip(self.runs[run].at, self.runs[run].value, strict=True))
        for reading in self.record.readings:
            if reading.load not in spans or not _stands(reading, spans[reading.load]):
                continue
            if (reading.observed_at, reading.value) not in judged[reading.load]:
                what = f"reading {reading.number} of load {reading.load}"
                yield Difference(what, f"{reading.as_read} {reading.unit}", "was not judged")


def _fields(part: PartFacts) -> dict[str, Any]:
    return {name: getattr(part, name) for name in PartFacts.__dataclass_fields__}


def _reckoned(
    what: str, stated: tuple[Reckoned, ...], found: tuple[Reckoned, ...]
) -> Iterator[Difference]:
    """The first figure that is not what comes out of the weights now."""
    for said, ours in zip_longest(stated, found):
        if said != ours:
            name = (said or ours).name
            yield Difference(f"{what}: {name}", _words(said), _words(ours))
            return


def _words(one: Reckoned | None) -> str:
    return f"{one.figure} ({one.how})" if one else "nothing"


def _listed(record: LotRecord) -> set[tuple[int, int]]:
    """Moment and temperature of every reading that the record lists."""
    out = {(one.observed_at, one.value) for one in record.readings if one.quantity == TEMPERATURE}
    for series in record.series:
        out.update(zip(series.at, series.ninths, strict=True))
    return out


def _stands(reading: HandReading, basis: Basis) -> bool:
    """Whether the reading counts in its load: not corrected since, not taken back, in its time, and
    not of a probe that had left."""
    span, left = basis.known.span, {mark.name: mark.at for mark in basis.known.left}
    in_time = reading.observed_at >= span.start and (
        not span.end or reading.observed_at <= span.end
    )
    gone = reading.probe in left and reading.observed_at > left[reading.probe]
    counts = reading.quantity == TEMPERATURE and not reading.corrected_by and not reading.withdrawn
    return counts and in_time and not gone
