"""Limits held against a step: one judgement a limit, from its series and its facts.

Series are folded one by one (each probe on its own, the worst governs); facts are what was measured,
looked for, and how long the step lasted.  A judgement is computed and never raised: bad fish is a value.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from typing import Final

from lots.core import folds
from lots.core.cure import NITRITE, cure_rule, not_permitted
from lots.core.finding import nothing
from lots.core.folds import Finding, Span, State
from lots.core.folds_exposure import Carry, carry_of, worst_carry
from lots.core.limits import (
    RULES,
    Accurate,
    AllOf,
    AnyOf,
    Cooling,
    Cure,
    Declared,
    Duration,
    Every,
    Exposure,
    FactRule,
    FileWait,
    Followed,
    Given,
    Lethality,
    Limit,
    Maintained,
    Measured,
    NotJudged,
    Observed,
    SeriesRule,
    Verdict,
    Within,
)
from lots.core.series import Chunk
from lots.core.units import MILLIONTHS, Bound, show_number, show_off, show_quantity, show_span

SERIES_RULES: Final = (Within, Maintained, Lethality, Exposure, Cooling, Every)
CREDITED: Final = (
    Maintained,
    Lethality,
    Cooling,
)  # what a probe showed stays shown when it is gone


G_PER_KG: Final = 1000
KG_DECIMALS: Final = 3


@dataclass(frozen=True, slots=True)
class Sample:
    """One figure of a quantity other than temperature: millionths of its first unit, and when."""

    millionths: int
    at: int
    laboratory: bool = False


@dataclass(frozen=True, slots=True)
class Sighting:
    """A thing looked for: whether it was found so, and when."""

    found: bool
    at: int


@dataclass(frozen=True, slots=True)
class Checked:
    """An accuracy check: when, how far off (ninths; None: not a temperature), and whether within the
    tolerance that it states."""

    at: int
    off: int | None
    within: bool


@dataclass(frozen=True, slots=True)
class Use:
    """An instrument that readings were taken with, from the first to the last, and its checks in
    order of time; without a name nobody said which it was."""

    instrument: str
    first_at: int
    last_at: int
    checks: tuple[Checked, ...] = ()


@dataclass(frozen=True, slots=True)
class CureUse:
    """Nitrite that went into the fish with a batch: how much, in millionths of a ppm on its green weight
    (a planning figure), and when."""

    batch: str
    ingoing: int
    at: int


@dataclass(frozen=True, slots=True)
class Went:
    """Fish of the step's lot that went on into a load of a later step: how much, and when."""

    at: int
    grams: int


LONG: Final = "long"  # a brining said at its start to be longer than the plan's short one


@dataclass(frozen=True)
class Facts:
    """What a step's judging rests on beside its series.

    declared: what was said at its start of how long it is to last: "", "short" or "long"; species, fish:
    the lot's FAO code and its name; cures: the nitrite that went in; grams: of the lot in the load;
    followed: step → what of it went into loads of that step, in order of time; verified: quantity → what
    verifications of the plan's process found, in order of time; sampled: quantity → when samples of the
    lot were taken whose result has not come.
    """

    span: Span
    measured: Mapping[str, Sequence[Sample]] = field(default_factory=dict)
    observed: Mapping[str, Sequence[Sighting]] = field(default_factory=dict)
    logged_to: Mapping[str, int] = field(default_factory=dict)  # subject → a logger's last reading
    uses: Mapping[str, Sequence[Use]] = field(default_factory=dict)  # subject → instruments
    left: Mapping[str, int] = field(default_factory=dict)  # probe in the fish → when it left
    flat: Mapping[str, int] = field(default_factory=dict)  # probe in the fish → flat since
    declared: str = ""
    species: str = ""
    fish: str = ""
    cures: Sequence[CureUse] = ()
    grams: int = 0
    followed: Mapping[str, Sequence[Went]] = field(default_factory=dict)
    verified: Mapping[str, Sequence[Sample]] = field(default_factory=dict)
    sampled: Mapping[str, Sequence[int]] = field(default_factory=dict)


Series = Mapping[str, Mapping[str, Sequence[Chunk]]]  # subject → probe → chunks in order of time
Flats = Mapping[str, Sequence[tuple[int, int]]]  # probe in the fish → from when to when it lay flat


@dataclass(frozen=True)
class Earlier:
    """A load that the fish was in before, with those before it: what an exposure over several steps
    looks back into."""

    series: Series
    span: Span
    before: "tuple[Earlier, ...]" = ()


States = Mapping[str, Mapping[str, State]]  # leaf (":op" for its operating limit) → probe → state


def _rules(leaf: Limit) -> Iterable[tuple[str, SeriesRule]]:
    if isinstance(leaf.rule, SERIES_RULES):
        yield leaf.id, leaf.rule
        if isinstance(leaf.operating, SERIES_RULES):
            yield f"{leaf.id}:op", leaf.operating


def start(
    limit: Limit,
    series: Series,
    span: Span,
    before: Series | Sequence[Series] | None = None,
    flats: Flats | None = None,
    earlier: Sequence[Earlier] = (),
) -> dict[str, dict[str, State]]:
    """The states of all probes of a limit after the whole series, folded from the beginning.

    Args:
        limit: the limit with all its parts.
        series: readings within the span, by subject and probe.
        span: the step's part in time.
        before: readings of the step before, or of each load of it, which the cooling clock looks back
            into.
        flats: when a probe in the fish lay flat while another moved: nothing of that is credited.
        earlier: the loads of the steps that an exposure runs over before this one.
    """
    states: dict[str, dict[str, State]] = {}
    loads = [before] if isinstance(before, Mapping) else before or ()
    for leaf in limit.leaves():
        probes = series.get(leaf.of, {})
        looked_back = [load.get(leaf.of, {}) for load in loads]
        for key, rule in _rules(leaf):
            carry = _carried(rule, leaf, earlier)
            states[key] = {
                probe: folds.fold(
                    rule,
                    leaf.window,
                    _credited(rule, leaf, probe, chunks, flats or {}),
                    span,
                    _earlier(looked_back, probe),
                    carry,
                )
                for probe, chunks in probes.items()
            }
            if carry is not None:  # a probe that comes later begins with what was carried in
                states[key][CARRIED] = folds.start(rule, span, carry)
    return states


CARRIED: Final = (
    "\N{RIGHTWARDS ARROW}"  # no probe's name: what an exposure brought from earlier steps
)


def _credited(
    rule: SeriesRule, leaf: Limit, probe: str, chunks: Sequence[Chunk], flats: Flats
) -> Sequence[Chunk]:
    """The chunks without what a probe read while it lay flat, where that would be to its credit."""
    if leaf.of != "fish" or not isinstance(rule, CREDITED):
        return chunks
    for since, until in flats.get(probe, ()):
        chunks = [
            part
            for chunk in chunks
            for part in (chunk.between(None, since - 1), chunk.between(until + 1, None))
            if len(part)
        ]
    return chunks


def _carried(rule: SeriesRule, leaf: Limit, earlier: Sequence[Earlier]) -> Carry | None:
    """What an exposure over several steps brings along, the worst of the ways the fish came."""
    if not isinstance(rule, Exposure) or not rule.steps or not earlier:
        return None
    return worst_carry(_exposed(rule, leaf, load) for load in earlier)


def _exposed(rule: Exposure, leaf: Limit, load: Earlier) -> Carry:
    before = _carried(rule, leaf, load.before) or Carry(0, 0, load.span.start)
    states = [
        folds.fold(rule, leaf.window, chunks, load.span, carry=before)
        for chunks in load.series.get(leaf.of, {}).values()
    ]
    return carry_of(states, before)


def _earlier(
    loads: Sequence[Mapping[str, Sequence[Chunk]]], probe: str
) -> Sequence[Sequence[Chunk]]:
    """The series of the step before that may be of this probe's fish: the same probe's where exactly
    one load had it, otherwise every one."""
    same = [load[probe] for load in loads if load.get(probe)]
    if len(same) == 1:
        return same
    return [chunks for load in loads for chunks in load.values()]


def advance(
    limit: Limit,
    states: States,
    of: str,
    probe: str,
    chunk: Chunk,
    span: Span,
    flats: Flats | None = None,
) -> dict[str, dict[str, State]]:
    """The states after more readings of one probe, all later than what went before."""
    new = {key: dict(probes) for key, probes in states.items()}
    for leaf in limit.leaves():
        if leaf.of != of:
            continue
        for key, rule in _rules(leaf):
            probes = new.setdefault(key, {})
            state = probes.get(probe) or probes.get(CARRIED) or folds.start(rule, span)
            for part in _credited(rule, leaf, probe, [chunk], flats or {}):
                state = folds.advance(rule, leaf.window, state, part, span)
            probes[probe] = state
    return new


def judge(limit: Limit, states: States, facts: Facts, at: int) -> Finding:
    """What is shown of a limit at a moment, its operating limit included.

    In doubt it errs against the processor: no evidence is PENDING while the step runs and a deviation
    once it is over.
    """
    match limit.rule:
        case AllOf(parts):
            return _all_of([judge(part, states, facts, at) for part in parts])
        case AnyOf(parts):
            return _any_of([judge(part, states, facts, at) for part in parts])
        case Given(condition, then):
            # whether a condition came true counts in full, also where a start or end was entered late
            whole = replace(facts.span, counted_end=None, counted_start=None)
            stated = replace(facts, span=whole)
            return _given(judge(condition, states, stated, at), judge(then, states, facts, at))
        case rule:
            return _leaf(limit, rule, states, facts, at)


def _leaf(
    limit: Limit, rule: SeriesRule | FactRule, states: States, facts: Facts, at: int
) -> Finding:
    finding = _held(limit, rule, states.get(limit.id, {}), facts, at)
    operating = limit.operating
    if finding.verdict is Verdict.DEVIATION or operating is None:
        return finding
    assert not isinstance(operating, AllOf | AnyOf | Given)
    ours = _held(limit, operating, states.get(f"{limit.id}:op", {}), facts, at)
    if ours.verdict is not Verdict.DEVIATION:
        nexts = [one for one in (finding.next_at, ours.next_at) if one is not None]
        return replace(finding, next_at=min(nexts, default=None))
    said = f"operating limit: {ours.why or ours.figure}"
    if finding.verdict is Verdict.MET:
        return replace(finding, verdict=Verdict.ADJUST, why=said, adjust=said)
    why = f"{finding.why}; {said}" if finding.why else said
    return replace(finding, why=why, adjust=said)


def _held(
    limit: Limit, rule: SeriesRule | FactRule, states: Mapping[str, State], facts: Facts, at: int
) -> Finding:
    match rule:
        case Duration():
            return _duration(rule, facts.span, at)
        case Measured():
            return _measured(limit, rule, facts, at)
        case Declared(longer):
            return _declared(longer, facts, at)
        case Cure():
            return _cure(rule, facts)
        case Followed():
            return _followed(rule, facts, at)
        case Observed():
            return _observed(rule, facts, at)
        case NotJudged(kind):
            return Finding(Verdict.PENDING, f"{kind}: its figures are not stated")
        case Accurate():
            return _accurate(rule, facts.uses.get(limit.of, ()), facts.span, at)
        case Every():
            if limit.file is not None and _file_came(limit, limit.file, facts):
                rule = replace(rule, file_within_ms=None)
            return _probes(limit, rule, states, facts, at)
        case _:
            finding = _probes(limit, rule, states, facts, at)
            return _waits(limit, finding, facts, at)


def _file_came(limit: Limit, wait: FileWait, facts: Facts) -> bool:
    end, logged = facts.span.end, facts.logged_to.get(limit.of)
    return end is not None and logged is not None and logged >= end - wait.within_ms


def _waits(limit: Limit, finding: Finding, facts: Facts, at: int) -> Finding:
    """What is not shown when the step ends waits for the logger's file; what the readings show to be
    broken does not, nor does a cooling, whose time runs out with or without readings."""
    end = facts.span.end
    if limit.file is None or end is None or not facts.span.over(at):
        return finding
    if finding.verdict is not Verdict.DEVIATION or _file_came(limit, limit.file, facts):
        return finding
    not_shown = finding.no_evidence or isinstance(limit.rule, Maintained | Lethality)
    if isinstance(limit.rule, Cooling) or not not_shown or at > end + limit.file.until_ms:
        return finding
    return replace(
        finding,
        verdict=Verdict.PENDING,
        broke_at=None,
        last_broke_at=None,
        breaches=0,
        next_at=end + limit.file.until_ms,
        why="waits for the logger's file",
    )


def _probes(
    limit: Limit, rule: SeriesRule, states: Mapping[str, State], facts: Facts, at: int
) -> Finding:
    """The worst of all probes, each judged on its own series; too few probes show nothing."""
    span = facts.span
    by_probe = {probe: state for probe, state in states.items() if probe != CARRIED}
    found = [
        (probe, finding)
        for probe, state in sorted(by_probe.items())
        if (finding := _probe(limit, rule, probe, by_probe, facts, at)) is not None
    ]
    counted = len(found)
    if not found:
        before = states.get(CARRIED) or folds.start(rule, span)
        found = [("", folds.judge(rule, limit.window, before, span, at))]
    probe, governs = _worst(found)
    if counted < limit.probes and not isinstance(rule, Every):
        few = f"{counted} of {limit.probes} probes"
        short = nothing(span, at, few)
        if short.verdict.rank > governs.verdict.rank:
            return replace(short, next_at=governs.next_at)
    if probe and len(by_probe) > 1:
        return replace(governs, figure=f"{governs.figure} ({probe})", probe=probe)
    return replace(governs, probe=probe)


def _probe(
    limit: Limit,
    rule: SeriesRule,
    probe: str,
    states: Mapping[str, State],
    facts: Facts,
    at: int,
) -> Finding | None:
    """One probe's finding; None where it left and a person said why, and nothing had been shown by
    then.  What it had shown, or broken, by then stays."""
    state, span = states[probe], facts.span
    left = facts.left.get(probe) if limit.of == "fish" else None
    seen = state.get("seen", span.start)
    flat = facts.flat.get(probe) if limit.of == "fish" else None
    if left is not None and (seen <= left or (flat is not None and flat <= left)):
        until = min(left, at)
        finding = folds.judge(rule, limit.window, state, replace(span, end=None), until)
        return None if finding.verdict is Verdict.PENDING else replace(finding, next_at=None)
    finding = folds.judge(rule, limit.window, state, span, at)
    gone = _gone(limit, rule, probe, states, flat)
    if not gone or (isinstance(rule, CREDITED) and finding.verdict is Verdict.MET):
        return finding
    if isinstance(rule, CREDITED) or finding.verdict is Verdict.DEVIATION:
        return replace(finding, why=f"{finding.why}; {gone}" if finding.why else gone)
    missing = nothing(span, at, finding.figure)
    return replace(missing, figure=finding.figure, why=gone, next_at=finding.next_at)


def _gone(
    limit: Limit, rule: SeriesRule, probe: str, states: Mapping[str, State], flat: int | None
) -> str:
    """Why a probe in the fish is no longer believed: silent while another goes on, or flat while
    another moves; "" where it is."""
    if limit.of != "fish" or isinstance(rule, Every) or limit.window.which == "first reading":
        return ""
    if flat is not None:
        return f"{probe or 'the probe'} stays flat while another moves: say why, or take it out"
    newest = max(state.get("seen", 0) for state in states.values())
    seen = states[probe].get("seen", 0)
    if limit.silent_ms is None or newest - seen <= limit.silent_ms:
        return ""
    silent = show_span(newest - seen)
    return f"{probe or 'a probe'} silent for {silent} while another goes on: say why it left"


def _spare(finding: Finding) -> int:
    """How much a finding has in hand beside others of the same rule; less is worse."""
    for name in ("margin", "maintained_ms", "equivalent_ms"):
        if name in finding.numbers:
            return finding.numbers[name]
    if "exposed_ms" in finding.numbers:
        return -finding.numbers["exposed_ms"]
    if finding.verdict is Verdict.PENDING:  # a cooling that runs: the fewest stages reached
        return len(finding.numbers)
    return -sum(finding.numbers.values())  # the longest gap; the times that the stages took


def _worst(found: Sequence[tuple[str, Finding]]) -> tuple[str, Finding]:
    """The least favourable; among equals the one that broke first, then the one with the least to
    spare: the shortest held, the longest gap, the slowest cooled, the reading nearest its bound."""

    def badness(pair: tuple[str, Finding]) -> tuple[int, int, int, int]:
        finding = pair[1]
        broke = finding.broke_at if finding.broke_at is not None else 0
        estimated = finding.numbers.get("estimated_ms", 0)
        return -finding.verdict.rank, broke, _spare(finding), estimated

    probe, governs = min(found, key=badness)
    nexts = [f.next_at for _, f in found if f.next_at is not None]
    breaches = sum(f.breaches for _, f in found)
    lasts = [f.last_broke_at for _, f in found if f.last_broke_at is not None]
    return probe, replace(
        governs,
        next_at=min(nexts, default=None),
        breaches=breaches,
        last_broke_at=max(lasts, default=None),
    )


def _duration(rule: Duration, span: Span, at: int) -> Finding:
    """How long the step lasted.  A start or an end entered late counts, for "at least", only from or to
    the moment that the span names as counted."""
    until = span.until(at)
    lasted = until - span.start
    begun = span.start if span.counted_start is None else max(span.start, span.counted_start)
    ended = span.counted_end if span.over(at) and span.counted_end is not None else until
    counted = max(0, min(ended, until) - begun)
    figure, numbers = show_span(lasted), {"lasted_ms": lasted}
    if rule.at_most_ms is not None and lasted > rule.at_most_ms:
        broke = span.start + rule.at_most_ms
        why = f"longer than {show_span(rule.at_most_ms)}"
        return Finding(Verdict.DEVIATION, figure, at, broke, broke, 1, why=why, numbers=numbers)
    least, longer = rule.at_least_ms, rule.longer_than_ms
    enough = (least is None or counted >= least) and (longer is None or counted > longer)
    if enough:
        ends = None if rule.at_most_ms is None else span.start + rule.at_most_ms
        came = begun + max(least or 0, longer or 0)
        due = None if span.over(at) else ends
        return Finding(Verdict.MET, figure, came, next_at=due, numbers=numbers)
    if span.over(at):
        shown = figure if counted == lasted else f"{show_span(counted)} shown of {figure} stated"
        why = "shorter than asked"
        return Finding(
            Verdict.DEVIATION, shown, at, span.end, span.end, 1, why=why, numbers=numbers
        )
    due = begun + max(least or 0, longer or 0)
    return Finding(Verdict.PENDING, figure, next_at=due, why="go on", numbers=numbers)


AWAITED: Final = "waits for the laboratory's result"


def _measured(limit: Limit, rule: Measured, facts: Facts, at: int) -> Finding:
    """The least favourable sample, never the mean."""
    if limit.permitted is not None and cure_rule(facts.species, limit.permitted) is None:
        start = facts.span.start  # a limit that wants nitrite in such a fish is no way at all
        why = not_permitted(facts.fish or facts.species, limit.permitted)
        figure = f"no way for {facts.fish or facts.species}"
        return Finding(Verdict.DEVIATION, figure, start, start, start, 1, why=why)
    samples = [
        sample
        for sample in facts.measured.get(rule.quantity, ())
        if sample.laboratory or not rule.laboratory
    ]
    if samples:
        found = _of_samples(rule, samples)
        awaited = rule.when_sampled and facts.sampled.get(rule.quantity)
        if awaited and found.verdict is Verdict.MET:
            why = "another sample was taken, whose result has not come"
            return replace(found, verdict=Verdict.PENDING, why=why)
        return found
    if rule.when_sampled and not facts.sampled.get(rule.quantity):
        return Finding(Verdict.MET, f"not sampled for {rule.quantity}")
    if rule.verified_within_ms is not None:
        return _verified(rule, rule.verified_within_ms, facts, at)
    if rule.laboratory:
        return Finding(Verdict.PENDING, AWAITED)
    return nothing(facts.span, at, f"{rule.quantity} not measured")


def _of_samples(rule: Measured, samples: Sequence[Sample]) -> Finding:
    def margin(sample: Sample) -> int:
        low = sample.millionths - rule.low.c if rule.low else None
        high = rule.high.c - sample.millionths if rule.high else None
        return min(side for side in (low, high) if side is not None)

    least = min(samples, key=lambda sample: (margin(sample), sample.at))
    figure = f"{rule.quantity} {show_quantity(least.millionths, rule.quantity)}"
    if len(samples) > 1:
        figure += f", least favourable of {len(samples)}"
    bad = [sample.at for sample in samples if margin(sample) < 0]
    if bad:
        return Finding(
            Verdict.DEVIATION, figure, least.at, min(bad), max(bad), len(bad), why="outside"
        )
    return Finding(Verdict.MET, figure, least.at)


def _verified(rule: Measured, within: int, facts: Facts, at: int) -> Finding:
    """By verifications of the process: the last one before the step, and the first one after it, which
    tells whether the process still was what it had been; each no further from the step than `within`."""
    start = facts.span.start
    samples = facts.verified.get(rule.quantity, ())
    last = max((one.at for one in samples if start - within <= one.at <= start), default=None)
    first = min((one.at for one in samples if start < one.at <= start + within), default=None)
    governing = [one for one in samples if one.at in (last, first)]
    if governing:
        found = _of_samples(rule, governing)
        figure = f"{found.figure}, in the verification of the process"
        if found.verdict is Verdict.DEVIATION:  # the lot broke no earlier than it was made
            broke = max(start, found.broke_at or start)
            newest = max(broke, found.last_broke_at or broke)
            return replace(found, figure=figure, broke_at=broke, last_broke_at=newest)
        return replace(found, figure=figure)
    until = start + within
    if at <= until:
        return Finding(Verdict.PENDING, f"{AWAITED}, of the lot or of the process", next_at=until)
    why = f"no result of the lot, and no verification of the process within {show_span(within)}"
    figure = f"{rule.quantity} not shown"
    return Finding(Verdict.DEVIATION, figure, None, until, until, 1, why=why, no_evidence=True)


def _declared(longer: int, facts: Facts, at: int) -> Finding:
    """Whether a step that lasts longer was said at its start to be a long one."""
    span = facts.span
    lasted = span.until(at) - span.start
    if facts.declared == LONG:
        return Finding(Verdict.MET, f"{show_span(lasted)}, declared long", span.start)
    said = f"declared {facts.declared}" if facts.declared else "not declared long"
    figure, numbers, ends = (
        f"{show_span(lasted)}, {said}",
        {"lasted_ms": lasted},
        span.start + longer,
    )
    if lasted <= longer:
        due = None if span.over(at) else ends
        return Finding(Verdict.MET, figure, span.start, next_at=due, numbers=numbers)
    why = f"longer than {show_span(longer)}, which was not declared at its start"
    return Finding(Verdict.DEVIATION, figure, at, ends, ends, 1, why=why, numbers=numbers)


def _cure(rule: Cure, facts: Facts) -> Finding:
    """Whether nitrite went only into fish that a row permits it in; what the finished fish holds is the
    laboratory's to find, and the figure of what went in decides nothing."""
    used = [use for use in facts.cures if use.ingoing > 0]
    samples = [one for one in facts.measured.get(NITRITE, ()) if one.laboratory]
    row = cure_rule(facts.species, rule.rows)
    fish = facts.fish or facts.species or "this fish"
    if row is None:
        found = [one.at for one in samples if one.millionths > 0]
        moments = [use.at for use in used] + found
        if not moments:
            return Finding(Verdict.MET, _unused(facts), facts.span.start)
        figure = _ingoing(used) if used else f"{NITRITE} found by the laboratory"
        why = not_permitted(fish, rule.rows, rule.rule)
        first, newest = min(moments), max(moments)
        return Finding(Verdict.DEVIATION, figure, first, first, newest, len(moments), why=why)
    if not used and all(one.millionths == 0 for one in samples):
        return Finding(Verdict.MET, _unused(facts), facts.span.start)
    told = f"{_ingoing(used)}; " if used else ""
    if not samples:
        why = f"{row.words}: {row.bounds} in the finished fish, by {row.rule}"
        return Finding(Verdict.PENDING, f"{told}{AWAITED}", why=why)
    low = None if row.at_least is None else Bound(row.at_least, row.at_least, "")
    high = Bound(row.at_most, row.at_most, "")
    finding = _of_samples(Measured(NITRITE, low, high, True), samples)
    why = f"outside {row.bounds} in {row.words}, by {row.rule}" if finding.breaches else ""
    return replace(finding, figure=f"{told}{finding.figure} found", why=why)


def _unused(facts: Facts) -> str:
    if not facts.cures:
        return "no nitrite known of: no batch is named"
    return f"no nitrite used ({_batches(facts.cures)})"


def _batches(uses: Sequence[CureUse]) -> str:
    return ", ".join(dict.fromkeys(use.batch for use in uses))


def _ingoing(used: Sequence[CureUse]) -> str:
    """What went in, as a planning figure: in whole ppm, up."""
    ppm = -(-sum(use.ingoing for use in used) // MILLIONTHS)
    return f"{NITRITE} in {_batches(used)}, {ppm} ppm ingoing as planned"


def _followed(rule: Followed, facts: Facts, at: int) -> Finding:
    """Whether all of the fish was in loads of the later step in time."""
    start, until = facts.span.start, facts.span.start + rule.within_ms
    gone, all_in = 0, None
    for went in facts.followed.get(rule.by, ()):
        gone += went.grams if went.at <= at else 0
        if all_in is None and gone >= facts.grams and went.at <= at:
            all_in = went.at
    if all_in is not None:
        took = max(0, all_in - start)
        figure, numbers = f"all of it after {show_span(took)}", {"took_ms": took}
        if all_in <= until:
            return Finding(Verdict.MET, figure, all_in, numbers=numbers)
        why = f"later than {show_span(rule.within_ms)} after the start"
        return Finding(Verdict.DEVIATION, figure, all_in, until, until, 1, why=why, numbers=numbers)
    figure = f"{_kilograms(gone)} of {_kilograms(facts.grams)} so far"
    if at <= until:
        return Finding(Verdict.PENDING, figure, next_at=until, why="go on")
    why = f"not all of it within {show_span(rule.within_ms)} of the start"
    numbers = {"took_ms": at - start}
    return Finding(Verdict.DEVIATION, figure, at, until, until, 1, why=why, numbers=numbers)


def _kilograms(grams: int) -> str:
    return f"{show_number(Fraction(grams, G_PER_KG), KG_DECIMALS)} kg"


def _observed(rule: Observed, facts: Facts, at: int) -> Finding:
    """Whether the thing was looked for and found so each time."""
    seen = facts.observed.get(rule.what, ())
    if not seen:
        return nothing(facts.span, at, "not looked for")
    bad = [sighting.at for sighting in seen if not sighting.found]
    if bad:
        first, last = min(bad), max(bad)
        return Finding(Verdict.DEVIATION, "not found so", first, first, last, len(bad))
    return Finding(Verdict.MET, "found so", max(sighting.at for sighting in seen))


def _accurate(rule: Accurate, uses: Sequence[Use], span: Span, at: int) -> Finding:
    """Whether each instrument used had been checked recently enough and found within tolerance, and
    was not found out of it at its next check."""
    if not uses:
        return nothing(span, at, "no instrument in use")
    found = [_use(rule, use, at) for use in uses]
    governs = max(found, key=lambda one: (one.verdict.rank, -(one.broke_at or 0)))
    if governs.verdict is Verdict.DEVIATION:
        broken = [one for one in found if one.verdict is Verdict.DEVIATION]
        lasts = [one.last_broke_at for one in broken if one.last_broke_at is not None]
        return replace(governs, breaches=len(broken), last_broke_at=max(lasts, default=None))
    ages = [one.numbers["age_ms"] for one in found]
    if len(found) > 1:
        governs = found[ages.index(max(ages))]
    nexts = [] if span.over(at) else [one.next_at for one in found if one.next_at is not None]
    return replace(governs, next_at=min(nexts, default=None))


def _use(rule: Accurate, use: Use, at: int) -> Finding:
    if not use.instrument:
        return _inaccurate("instrument not named", use.first_at, use, "say what it was read with")
    checks = [check for check in use.checks if check.at <= at]
    before = [check for check in checks if check.at <= use.first_at]
    while_used = [check for check in checks if use.first_at < check.at <= use.last_at]
    after = [check for check in checks if check.at > use.last_at][:1]
    last = before[-1:]
    good = None
    for check in (*last, *while_used, *after):
        if _good(rule, check):
            good = check
        else:
            off = "" if check.off is None else f", {show_off(check.off)} off"
            found = f"{use.instrument} out of tolerance{off}"
            broke = use.first_at if good is None else good.at
            return _inaccurate(found, max(use.first_at, broke), use, "its readings are in doubt")
    if not last:
        why = "no accuracy check before it was used"
        return _inaccurate(f"{use.instrument} not checked", use.first_at, use, why)
    moments = [last[-1].at, *(check.at for check in while_used), use.last_at]
    ages = [until - since for since, until in pairwise(moments)]
    numbers = {"age_ms": max(ages)}
    figure = f"{use.instrument} last checked {show_span(max(ages))} before"
    if max(ages) > rule.within_ms:
        since = moments[ages.index(max(ages))]
        broke = max(use.first_at, since + rule.within_ms)
        why = f"longer than {show_span(rule.within_ms)}"
        return _inaccurate(figure, broke, use, why)
    return Finding(Verdict.MET, figure, last[-1].at, numbers=numbers)


def _good(rule: Accurate, check: Checked) -> bool:
    close = rule.tolerance is None or check.off is None or abs(check.off) <= rule.tolerance
    return check.within and close


def _inaccurate(figure: str, broke: int, use: Use, why: str) -> Finding:
    last = max(broke, use.last_at)
    return Finding(
        Verdict.DEVIATION, figure, use.first_at, broke, last, 1, why=why, numbers={"age_ms": 0}
    )


def _joined(findings: Sequence[Finding], governs: Finding) -> Finding:
    """The finding that governs with the soonest change of them all; a deviation tells of every part
    that deviates, up to the newest breach."""
    nexts = [f.next_at for f in findings if f.next_at is not None]
    adjusts = "; ".join(dict.fromkeys(f.adjust for f in findings if f.adjust))
    governs = replace(governs, next_at=min(nexts, default=None), adjust=adjusts)
    if governs.verdict is not Verdict.DEVIATION:
        return governs
    broken = [f for f in findings if f.verdict is Verdict.DEVIATION]
    lasts = [f.last_broke_at for f in broken if f.last_broke_at is not None]
    return replace(
        governs,
        figure="; ".join(dict.fromkeys(f.figure for f in broken)),
        why="; ".join(dict.fromkeys(f.why for f in broken if f.why)),
        last_broke_at=max(lasts, default=None),
        breaches=sum(f.breaches for f in broken),
    )


def _all_of(findings: Sequence[Finding]) -> Finding:
    """The worst of its parts; a deviation broke when the first of them did."""
    governs = max(findings, key=lambda f: (f.verdict.rank, -(f.broke_at or 0)))
    shown = any(f.verdict is Verdict.DEVIATION and not f.no_evidence for f in findings)
    return _joined(findings, replace(governs, no_evidence=governs.no_evidence and not shown))


def _any_of(findings: Sequence[Finding]) -> Finding:
    """The mildest of its parts; a deviation broke when the last of them did."""
    governs = min(findings, key=lambda f: f.verdict.rank)
    if governs.verdict is Verdict.DEVIATION:
        broke = max((f.broke_at for f in findings if f.broke_at is not None), default=None)
        unshown = any(f.no_evidence for f in findings)
        governs = replace(governs, broke_at=broke, no_evidence=unshown)
    return _joined(findings, governs)


def _given(condition: Finding, then: Finding) -> Finding:
    """The consequence where the condition holds; a condition that may still come true is PENDING and
    says when it binds.  What it then finds broke no earlier than the condition came true.  A condition
    of which nothing is known when the step is over binds too."""
    if condition.verdict is Verdict.DEVIATION and not condition.no_evidence:
        return Finding(Verdict.MET, f"does not apply: {condition.figure}")
    if condition.verdict is Verdict.PENDING:
        return Finding(
            Verdict.PENDING,
            then.figure,
            then.figure_at,
            next_at=condition.next_at,
            why="binds if the condition comes true",
        )
    if then.broke_at is not None and condition.figure_at is not None:
        broke = max(then.broke_at, condition.figure_at)
        return replace(then, broke_at=broke, last_broke_at=max(broke, then.last_broke_at or broke))
    return then


@dataclass(frozen=True, slots=True)
class Judgement:
    """A limit's verdict as the book takes it: the finding as known now, and whether it rests on late
    or corrected readings that nobody has accepted yet."""

    limit_id: str
    finding: Finding
    rests_on_late: bool = False
    rules: int = RULES

    @property
    def verdict(self) -> Verdict:
        return self.finding.verdict


def settle(limit_id: str, known: Finding, monitored: Finding | None, accepted: bool) -> Judgement:
    """The judgement of a limit whose readings were partly late or corrected.

    Args:
        known: the finding with every reading and every correction.
        monitored: the finding on time and uncorrected, or None where nothing was late or corrected.
        accepted: whether the records reviewer has accepted those readings with a reason.

    A deviation that late or corrected readings made milder stays a deviation until accepted.
    """
    if monitored is None:
        return Judgement(limit_id, known)
    milder = monitored.verdict is Verdict.DEVIATION and known.verdict.rank < Verdict.DEVIATION.rank
    if milder and not accepted:
        why = f"as logged in time; {known.figure} with late or corrected readings, not yet accepted"
        return Judgement(limit_id, replace(monitored, why=why), True)
    changed = known.verdict is not monitored.verdict or known.figure != monitored.figure
    return Judgement(limit_id, known, changed)
