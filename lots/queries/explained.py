"""Why a limit has its verdict: the figure, the limit, from which readings, since when, and what would
change it.  Everything is said here, so that a page only lays it out."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from django.db.models import Q

from lots.core import judging
from lots.core.folds import Finding, settled
from lots.core.judging import Facts
from lots.core.limits import (
    Accurate,
    AllOf,
    AnyOf,
    Cooling,
    Cure,
    Declared,
    Duration,
    Every,
    Exposure,
    Followed,
    Given,
    Lethality,
    Limit,
    Maintained,
    Measured,
    NotJudged,
    Observed,
    Verdict,
    Within,
    demand,
    operating_demand,
    rule_words,
)
from lots.core.units import show_span
from lots.models.lot import Load, Lot
from lots.models.reading import PackedSeries, Reading
from lots.queries.evidence import LoadEvidence, end_of
from lots.queries.forecasts import Show
from lots.queries.judgements import Judged, Sitting, facts_of
from lots.queries.rests_on import Behind, behind
from lots.queries.sight import is_late, spans_of

FILE: Final = "waits for the logger's file"


@dataclass(frozen=True)
class Explained:
    """A verdict explained, in sentences.

    rests_on: from which readings; since: since when; changes: what would change it.
    """

    figure: str
    limit: str
    operating: str
    rests_on: tuple[str, ...]
    since: str
    changes: tuple[str, ...]
    opened: bool


Part = tuple[Limit, Finding]  # a limit without parts, with what is found of it


def explained(
    judged: Judged, parts: Sequence[Part], rows: Behind, running: bool, show: Show
) -> Explained:
    """Why the limit has its verdict.

    Args:
        parts: the limits it is made of, each with its own finding; itself where it has no parts.
        rows: what it is held against.
        running: whether the step still runs.
        show: shows a moment in the house's zone.
    """
    finding, verdict = judged.finding, judged.verdict
    estimate = f", {finding.estimate}" if finding.estimate else ""
    return Explained(
        figure=f"{finding.figure}{estimate}",
        limit=demand(judged.limit),
        operating=operating_demand(judged.limit),
        rests_on=(*_governs(finding), *_rows(rows, show), *_late(judged, rows)),
        since=_since(judged, show),
        changes=tuple(_changes(judged, parts, running, show)),
        opened=verdict is not Verdict.MET or bool(finding.adjust),
    )


# --- from which readings --------------------------------------------------------------------------


def _governs(finding: Finding) -> list[str]:
    return [f"{finding.probe} governs, the least favourable"] if finding.probe else []


def _rows(rows: Behind, show: Show) -> list[str]:
    """The rows behind the finding: how many of what, the first and the last."""
    hand = [row.observed_at for row in rows.readings]
    words = [_spread("reading by hand", "readings by hand", len(hand), hand, show)]
    ends = [at for row in rows.packed for at in (row.first_at, row.last_at)]
    count = sum(row.count for row in rows.packed)
    words.append(_spread("reading of a logger", "readings of loggers", count, ends, show))
    looks = [row.observed_at for row in rows.observations]
    words.append(_spread("look", "looks", len(looks), looks, show))
    found = [row.sampled_at for row in rows.results]
    words.append(_spread("laboratory result", "laboratory results", len(found), found, show))
    checks = [row.observed_at for row in rows.checks]
    words.append(_spread("accuracy check", "accuracy checks", len(checks), checks, show))
    words += [f"the start and end of load {number}" for number in rows.timed]
    words += [f"the fish's readings in load {number}, the step before" for number in rows.before]
    return list(filter(None, words)) or ["nothing yet"]


def _spread(one: str, many: str, count: int, moments: Sequence[int], show: Show) -> str:
    if not count:
        return ""
    if count == 1:
        return f"1 {one}, {show(moments[0])}"
    return f"{count} {many}, the first {show(min(moments))}, the last {show(max(moments))}"


def _late(judged: Judged, rows: Behind) -> list[str]:
    """The late and corrected rows among them, until they are accepted."""
    each: list[Any] = [*rows.readings, *rows.observations]
    late = [
        row for row in each if is_late(row, row.observed_at) and not getattr(row, "accepted", None)
    ]
    put_right = [row for row in each if row.corrects_id]
    words = [f"{len(late)} entered late, not accepted yet"] if late else []
    words += [f"{len(put_right)} put right after it was entered"] if put_right else []
    if judged.judgement.rests_on_late:
        words.append("with them it reads otherwise than as logged in time")
    return words


# --- since when -----------------------------------------------------------------------------------


def _since(judged: Judged, show: Show) -> str:
    finding = judged.finding
    if judged.verdict is Verdict.DEVIATION and finding.broke_at is not None:
        newest = finding.last_broke_at
        often = f", {finding.breaches} times" if finding.breaches > 1 else ""
        if newest is not None and newest != finding.broke_at:
            often += f", the newest breach {show(newest)}"
        return f"broken since {show(finding.broke_at)}{often}"
    if finding.figure_at is None:
        return ""
    word = "the figure is from"
    if judged.verdict in (Verdict.MET, Verdict.ADJUST):
        match judged.limit.rule:
            case Maintained():
                word = "held from"
            case Lethality() | Cooling() | Duration():
                word = "shown since"
            case Accurate():
                word = "last checked"
    return f"{word} {show(finding.figure_at)}"


# --- what would change it -------------------------------------------------------------------------


def _changes(judged: Judged, parts: Sequence[Part], running: bool, show: Show) -> list[str]:
    verdict, finding = judged.verdict, judged.finding
    if verdict is Verdict.DEVIATION:
        return _ends(judged)
    words = [_adjust(judged)] if finding.adjust else []
    if isinstance(judged.limit.rule, AnyOf) and verdict is Verdict.PENDING:
        words.append("one of these is enough:")
    each = [part for part in parts if part[1].verdict is verdict or verdict is Verdict.ADJUST]
    for limit, found in each or parts:
        if verdict is Verdict.PENDING:
            words.append(_to_show(limit, found, running, show))
        else:
            words.append(_to_break(limit, found, running, show))
    return list(dict.fromkeys(filter(None, words)))


def _ends(judged: Judged) -> list[str]:
    """What ends a deviation; nothing makes it unhappen."""
    words = [f"the plan says: {judged.point.corrective_action}"]
    words.append(
        "it ends when the corrective action is written down and what becomes of all the fish is decided"
    )
    if judged.finding.no_evidence or judged.judgement.rests_on_late:
        words.append(
            "readings entered late or put right can make it milder only once the records reviewer "
            "accepts them"
        )
    return words


def _adjust(judged: Judged) -> str:
    """What to adjust while the critical limit is not broken."""
    stricter = [operating_demand(leaf) for leaf in judged.limit.leaves() if leaf.operating]
    return (
        f"{judged.finding.adjust}: adjust the process until it is back at {'; '.join(stricter)}, "
        "and write the adjustment down"
    )


def _to_show(limit: Limit, found: Finding, running: bool, show: Show) -> str:
    """What shows a limit that is not shown yet, and by when."""
    if found.why.startswith(FILE):
        by = "" if found.next_at is None else f", by {show(found.next_at)}"
        return f"the logger's file{by}; without it the limit is a deviation"
    doubt = f"{found.why}; " if "say why" in found.why else ""
    return doubt + _wanted(limit, found, running, show)


def _wanted(limit: Limit, found: Finding, running: bool, show: Show) -> str:
    after = "" if running else ", which only readings entered late can still show"
    match limit.rule:
        case Maintained():
            return _hold_on(limit.rule, found, show) + after
        case Lethality(least):
            had = found.numbers.get("equivalent_ms", 0)
            return (
                f"go on: equivalent {show_span(_minutes_up(least - had))} more at "
                f"{limit.rule.reference.text}{after}"
            )
        case Cooling(_, stages):
            done = sum(name.startswith("stage_") for name in found.numbers)
            to = stages[min(done, len(stages) - 1)].to.text
            by = "in time" if found.next_at is None else f"by {show(found.next_at)}"
            return f"a reading at or below {to} {by}; later it is broken"
        case Exposure():
            by = "" if found.next_at is None else f" before {show(found.next_at)}"
            return f"read it now: only a reading{by} can show that it was not {rule_words(limit.rule).partition(' for ')[0]}"
        case Duration():
            at = "" if found.next_at is None else f" until {show(found.next_at)}"
            return f"go on{at}: {rule_words(limit.rule)}"
        case Measured(verified_within_ms=by_process) if by_process is not None:
            by = "" if found.next_at is None else f", by {show(found.next_at)}"
            return (
                "a laboratory's result of the lot, or of a verification of the process"
                f"{by}: {_figure_words(limit.rule)}; until then nothing is shown"
            )
        case Measured(quantity, _, _, laboratory):
            who = "a laboratory's result" if laboratory else f"{quantity} measured in the step"
            return f"{who}: {_figure_words(limit.rule)}; until then nothing is shown"
        case Cure():
            return f"the laboratory's figure of nitrite in the finished fish ({found.why})"
        case Followed(by, _):
            at = "" if found.next_at is None else f" by {show(found.next_at)}"
            return f"all of it in a load of {by}{at}; later it is broken"
        case Observed(what):
            return f"look for it before the step ends: {what}"
        case Accurate():
            return "a reading that names its instrument, with an accuracy check before it"
        case NotJudged():
            return "nothing: its figures are not stated; a plan version that states them is needed"
        case Within():
            last = " as the last reading" if limit.window.which == "last reading" else ""
            return f"a reading {rule_words(limit.rule)}{last}; with none the step's end breaks it"
    return f"a reading in time: {rule_words(limit.rule)}"


def _figure_words(rule: Measured) -> str:
    """What the rule asks of each sample, without who may take it and when."""
    return rule_words(replace(rule, laboratory=False, verified_within_ms=None, when_sampled=False))


def _minutes_up(ms: int) -> int:
    """Up to the whole second: what is still wanted is never said to be less."""
    return -(-max(ms, 0) // 1000) * 1000


def _hold_on(rule: Maintained, found: Finding, show: Show) -> str:
    bound = rule.low or rule.high
    side = "at or above" if rule.low else "at or below"
    words = f"{show_span(rule.for_ms)} without a break {side} {bound.text if bound else ''}"
    if found.next_at is None:
        return f"go on: {words}; a reading on the wrong side starts the time anew"
    return f"go on: {words}; read again by {show(found.next_at)}, or the time starts anew"


def _to_break(limit: Limit, found: Finding, running: bool, show: Show) -> str:
    """What would break a limit that holds, and when the next reading is due."""
    if found.figure.startswith("does not apply"):
        return f"it would bind if the condition came true ({found.figure})"
    if not running and not isinstance(limit.rule, Accurate | Measured | Cure):
        return "the step is over: only what is entered late or put right could change it"
    due = "" if found.next_at is None else f"; next due {show(found.next_at)}"
    match limit.rule:
        case Within(low, high):
            sides = [f"below {low.text}"] if low else []
            sides += [f"above {high.text}"] if high else []
            return f"a reading {' or '.join(sides)} would break it{due}"
        case Maintained() | Lethality():
            return "nothing in this step: heat or cold once had stays had"
        case Cooling():
            return "nothing in this step: a later rise restarts nothing"
        case Exposure():
            left = limit.rule.at_most_ms - found.numbers.get("exposed_ms", 0)
            by = "" if found.next_at is None else f"; without a reading at {show(found.next_at)}"
            band = rule_words(limit.rule).partition(" for ")[0]
            return f"more than {show_span(left)} more {band} would break it{by}"
        case Duration(_, _, most):
            if most is None or found.next_at is None:
                return "nothing: the step has lasted long enough"
            return f"the step still running after {show(found.next_at)} would break it"
        case Every():
            by = "in time" if found.next_at is None else f"by {show(found.next_at)}"
            return f"no reading {by} would break it"
        case Measured(quantity, when_sampled=True) if found.figure.startswith("not sampled"):
            return "it binds once a sample is taken for it"
        case Measured(quantity):
            return f"a sample that is not {_figure_words(limit.rule).removesuffix(', measured').removeprefix(quantity + ' ')} would break it"
        case Declared():
            if found.next_at is None:
                return "nothing: it was declared long, or is over"
            return f"the step still running after {show(found.next_at)} would break it"
        case Cure():
            return (
                "nitrite in a batch named for it, or found by the laboratory, where no row permits it, "
                "or beyond its row, would break it"
            )
        case Followed():
            return "nothing: all of it went on in time"
        case Observed():
            return "a look that does not find it so would break it"
        case Accurate(within):
            return (
                "an instrument found off at its next check, or used longer than "
                f"{show_span(within)} after its last one, would break it"
            )
    return ""


# --- many at once ---------------------------------------------------------------------------------


def explain_all(
    judged: Sequence[Judged], sitting: Sitting, lots: Sequence[Lot], at: int, show: Show
) -> list[Explained]:
    """Each limit explained; the rows of all the loads are read at once.

    Args:
        sitting: what the limits were judged from.
        lots: those whose laboratory results speak for the fish.
    """
    rows = _rows_of({one.part.load_id: one.part.load for one in judged}.values())
    out = []
    for one in judged:
        load = one.part.load
        found = behind(one.limit, load, lots, rows[load.pk])
        running = end_of(load) is None
        out.append(explained(one, part_findings(one, sitting, lots, at), found, running, show))
    return out


def part_findings(one: Judged, sitting: Sitting, lots: Iterable[Lot], at: int) -> list[Part]:
    """What is found of each limit that a combination is made of; conditions are left out."""
    limits = list(_bearing(one.limit))
    states = sitting.states(one.part, [one.limit])[one.limit.id]["known"]
    facts, _, _ = facts_of(one.part, lots, sitting)
    if limits == [one.limit]:
        parts = [(one.limit, one.finding)]
    else:
        parts = [(limit, judging.judge(limit, states, facts, at)) for limit in limits]
    return [(limit, _by_all(limit, found, states, facts)) for limit, found in parts]


def _by_all(limit: Limit, found: Finding, states: judging.States, facts: Facts) -> Finding:
    """The finding of a cooling without the stages that some probe has still to reach: what is due
    next is what the last of them wants."""
    if not isinstance(limit.rule, Cooling) or found.verdict is not Verdict.PENDING:
        return found
    probes = states.get(limit.id, {})
    reached = [
        len(settled(state, facts.span)["reached"])
        for probe, state in probes.items()
        if probe not in facts.left
    ]
    stages = {f"stage_{number + 1}_ms" for number in range(min(reached, default=0))}
    return replace(found, numbers={k: v for k, v in found.numbers.items() if k in stages})


def _bearing(limit: Limit) -> Iterable[Limit]:
    match limit.rule:
        case AllOf(parts) | AnyOf(parts):
            for part in parts:
                yield from _bearing(part)
        case Given(_, then):
            yield from _bearing(then)
        case _:
            yield limit


def _rows_of(loads: Iterable[Load]) -> dict[int, LoadEvidence]:
    """The rows of temperature of several loads and their places; the packed ones stay packed."""
    each = list(loads)
    if not each:
        return {}
    hand_match, packed_match = Q(pk__in=[]), Q(pk__in=[])
    for load in each:
        start, end = _from_to(load)
        places = [place for place in (load.place_id, load.place.within_id) if place]
        here = Q(place_id__in=places, load=None)
        read, logged = here & Q(observed_at__gte=start), here & Q(last_at__gte=start)
        if end is not None:
            read, logged = read & Q(observed_at__lte=end), logged & Q(first_at__lte=end)
        hand_match |= Q(load=load) | read
        packed_match |= Q(load=load) | logged
    hand = Reading.objects.filter(hand_match, quantity="temperature")
    hand = hand.select_related("accepted", "corrected_by__accepted").order_by("observed_at", "id")
    packed = PackedSeries.objects.filter(packed_match).defer("data")
    packed = packed.select_related("source__file", "source__withdrawn__accepted")
    every, all_packed = list(hand), list(packed.order_by("first_at", "id"))
    return {load.pk: _in_load(load, every, all_packed) for load in each}


def _from_to(load: Load) -> tuple[int, int | None]:
    """The load's time as stated or as monitored, whichever is longer."""
    span, monitored, _ = spans_of(load)
    last = None if span.end is None or monitored.end is None else max(span.end, monitored.end)
    return span.start, last


def _in_load(load: Load, hand: Sequence[Reading], packed: Sequence[PackedSeries]) -> LoadEvidence:
    span, monitored, _ = spans_of(load)
    start, last = _from_to(load)
    places = [place for place in (load.place_id, load.place.within_id) if place]

    def mine(row: Reading | PackedSeries, first_at: int, last_at: int) -> bool:
        if row.load_id is not None:
            return bool(row.load_id == load.pk)
        in_time = last_at >= start and (last is None or first_at <= last)
        return row.place_id in places and in_time

    own = [row for row in hand if mine(row, row.observed_at, row.observed_at)]
    logged = [row for row in packed if mine(row, row.first_at, row.last_at)]
    return LoadEvidence(load, span, monitored, {}, {}, [], [], False, own, logged)
