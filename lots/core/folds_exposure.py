"""The fold of exposure: how long the fish was in a band of temperature, in all.

An interval counts whole if the span of its ends touches the band, or if it is longer than the longest
gap; so do the times before the first and after the last reading.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import compress
from operator import or_, sub
from typing import Final

from lots.core.finding import Finding, Span, State, nothing
from lots.core.limits import Exposure, Verdict
from lots.core.series import Chunk
from lots.core.units import show_span

BELOW: Final = 0  # not above the band's lower end
WITHIN: Final = 1
BEYOND: Final = 2  # above its upper end


@dataclass(frozen=True, slots=True)
class Carry:
    """What a step brings of exposure from the steps before it: how long so far, how much of that is
    estimated, since when nothing is known, and between which sides of the band the fish then was."""

    exposed_ms: int
    estimated_ms: int
    last_at: int
    low: int = BELOW
    high: int = BEYOND


def _sides(rule: Exposure, chunk: Chunk, lowest: int, highest: int) -> tuple[int, int]:
    return _side(rule, chunk.unit, lowest), _side(rule, chunk.unit, highest)


def _side(rule: Exposure, unit: str, value: int) -> int:
    if value <= rule.above.for_unit(unit):
        return BELOW
    return BEYOND if rule.up_to is not None and value > rule.up_to.for_unit(unit) else WITHIN


def _touches(low: int, high: int) -> bool:
    return not (high == BELOW or low == BEYOND)


def exposure_start(span: Span, carry: Carry | None) -> State:
    """The state before any reading.  Of the time before the first nothing is known, so it may have
    been anywhere: the sides span the band."""
    begun = Carry(0, 0, span.start) if carry is None else carry
    return {
        "n": 0,
        "exp": begun.exposed_ms,
        "est": begun.estimated_ms,
        "last": begun.last_at,
        "lo": begun.low,
        "hi": begun.high,
        "v": None,
        "u": "C",
        "was": None,  # moment and sides before the newest, and whether the time between was counted
        "broke": None,
        "to": None,
    }


def exposure_advance(rule: Exposure, state: State, chunk: Chunk) -> State:
    """The state after the chunk's readings."""
    new = {**state, "n": state["n"] + len(chunk)}
    low, high = _sides(rule, chunk, chunk.lowest, chunk.highest)
    gap = rule.longest_gap_ms
    twice = chunk.meets_twice or (state["v"] is not None and chunk.at[0] == state["last"])
    same_side = low == high and not twice
    if same_side and (gap is None or chunk.longest_gap <= gap) and len(chunk) > 2:
        _one(new, rule, chunk, 0)
        _run(new, rule, chunk, low)
        _one(new, rule, chunk, len(chunk) - 1)
        return new
    if twice or _may_break(new, rule, chunk):
        for index in range(len(chunk)):
            _one(new, rule, chunk, index)
        return new
    _one(new, rule, chunk, 0)
    if len(chunk) > 2:
        _middle(new, rule, chunk)
    if len(chunk) > 1:
        _one(new, rule, chunk, len(chunk) - 1)
    return new


def _may_break(state: State, rule: Exposure, chunk: Chunk) -> bool:
    """Whether the limit may break, or be broken further, within the chunk: then it is walked."""
    return bool(state["exp"] + chunk.at[-1] - state["last"] > rule.at_most_ms)


def _run(state: State, rule: Exposure, chunk: Chunk, side: int) -> None:
    """The chunk's inner readings, all on one side: up to the last but one."""
    index = len(chunk) - 2
    at = chunk.at[index]
    span = at - state["last"]
    counted = side == WITHIN
    before = (chunk.at[index - 1], side, side, counted)
    if counted:
        _count(state, rule, state["last"], at)
        state["est"] += span
    state |= {"last": at, "v": chunk.value[index], "was": list(before)}


def _middle(state: State, rule: Exposure, chunk: Chunk) -> None:
    """The intervals between the first reading and the last but one, on several sides of the band."""
    at, value = chunk.at[:-1], chunk.value[:-1]
    bottom = rule.above.for_unit(chunk.unit)
    over = [one > bottom for one in value]
    counted = list(map(or_, over[1:], over))
    if rule.up_to is not None:
        top = rule.up_to.for_unit(chunk.unit)
        under = [one <= top for one in value]
        counted = [c and (a or b) for c, a, b in zip(counted, under, under[1:], strict=False)]
    spans = list(map(sub, at[1:], at))
    if rule.longest_gap_ms is not None and chunk.longest_gap > rule.longest_gap_ms:
        gap = rule.longest_gap_ms
        counted = [c or span > gap for c, span in zip(counted, spans, strict=True)]
    state["exp"] += sum(compress(spans, counted))
    state["est"] += _estimated(rule, chunk.unit, at, value)
    low, high = _sides(rule, chunk, value[-1], value[-1])
    before = _side(rule, chunk.unit, value[-2])
    state |= {"last": at[-1], "v": value[-1], "u": chunk.unit, "lo": low, "hi": high}
    state["was"] = [at[-2], before, before, counted[-1]]


def _estimated(rule: Exposure, unit: str, at: Sequence[int], value: Sequence[int]) -> int:
    total = 0
    pairs = zip(at[1:], at, value[1:], value, strict=False)
    for after, before, there, here in pairs:
        total += _straight(rule, unit, after - before, here, there)
    return total


def _straight(rule: Exposure, unit: str, span: int, here: int, there: int) -> int:
    """How much of an interval a straight line between its ends is in the band."""
    bottom = rule.above.for_unit(unit)
    cooler, warmer = (here, there) if here <= there else (there, here)
    if warmer <= bottom:
        return 0
    top = warmer if rule.up_to is None else rule.up_to.for_unit(unit)
    if cooler > bottom and warmer <= top:
        return span
    if cooler > top or cooler == warmer:
        return 0
    return span * (min(warmer, top) - max(cooler, bottom)) // (warmer - cooler)


def _count(state: State, rule: Exposure, since: int, until: int) -> None:
    """An interval that counts whole, and whether the limit breaks in it."""
    room = rule.at_most_ms - state["exp"]
    state["exp"] += until - since
    if state["exp"] > rule.at_most_ms:
        if state["broke"] is None:
            state["broke"] = max(since, since + room)
        state["to"] = until


def _one(state: State, rule: Exposure, chunk: Chunk, index: int) -> None:
    """One reading."""
    at, value = chunk.at[index], chunk.value[index]
    side = _side(rule, chunk.unit, value)
    if state["v"] is not None and at == state["last"]:
        _same_moment(state, rule, side, value, chunk.unit)
        return
    since = state["last"]
    low, high = min(state["lo"], side), max(state["hi"], side)
    far = rule.longest_gap_ms is not None and at - since > rule.longest_gap_ms
    counted = far or _touches(low, high)
    if counted:
        _count(state, rule, since, at)
    if state["v"] is not None and state["u"] == chunk.unit:
        state["est"] += _straight(rule, chunk.unit, at - since, state["v"], value)
    elif counted and state["v"] is not None:
        state["est"] += at - since
    state["was"] = [since, state["lo"], state["hi"], counted]
    state |= {"last": at, "v": value, "u": chunk.unit, "lo": side, "hi": side}


def _same_moment(state: State, rule: Exposure, side: int, value: int, unit: str) -> None:
    """Another reading of the newest moment widens the sides, and the interval before may count now."""
    state |= {"lo": min(state["lo"], side), "hi": max(state["hi"], side), "v": value, "u": unit}
    since, low, high, counted = state["was"]
    if not counted and _touches(min(low, state["lo"]), max(high, state["hi"])):
        _count(state, rule, since, state["last"])
        state["was"] = [since, low, high, True]


def carry_of(states: Iterable[State], before: Carry) -> Carry:
    """What the probes of one load hand on: the worst of each, so that no fish fares better for the
    probe that it did not have.  A load without readings hands on what it was handed."""
    seen = [state for state in states if state["n"]]
    if not seen:
        return Carry(before.exposed_ms, before.estimated_ms, before.last_at)
    return worst_carry(
        Carry(state["exp"], state["est"], state["last"], state["lo"], state["hi"]) for state in seen
    )


def worst_carry(carries: Iterable[Carry]) -> Carry:
    """Of several, the longest exposure, the earliest moment and the widest sides together."""
    all_of = list(carries)
    return Carry(
        max(one.exposed_ms for one in all_of),
        max(one.estimated_ms for one in all_of),
        min(one.last_at for one in all_of),
        min(one.low for one in all_of),
        max(one.high for one in all_of),
    )


def exposure_judge(rule: Exposure, state: State, span: Span, at: int) -> Finding:
    """How long in the band, in all.  While the step runs, the time since the last reading counts for
    sure where that reading was in the band or is longer ago than the longest gap; otherwise it makes
    the limit not yet shown once it would break it."""
    if not state["n"]:
        return nothing(span, at)
    tail = max(0, span.until(at) - state["last"])
    inside = _touches(state["lo"], state["hi"])
    gap = rule.longest_gap_ms
    sure = span.over(at) or inside or (gap is not None and tail > gap)
    exposed = state["exp"] + (tail if sure else 0)
    numbers = {"exposed_ms": exposed, "estimated_ms": state["est"]}
    figure = f"{show_span(exposed)} {_band(rule)}"
    estimate = f"about {show_span(state['est'])} if straight between readings"
    lapse = state["last"] + max(0, rule.at_most_ms - state["exp"])
    if exposed > rule.at_most_ms:
        broke = lapse if state["broke"] is None else state["broke"]
        return Finding(
            Verdict.DEVIATION,
            figure,
            state["last"],
            broke,
            broke if state["to"] is None else state["to"],
            1,
            estimate=estimate,
            why=f"longer than {show_span(rule.at_most_ms)}",
            numbers=numbers,
        )
    due = None if span.over(at) else lapse
    if state["exp"] + tail > rule.at_most_ms:
        sure_at = due if inside or gap is None else max(lapse, state["last"] + gap)
        return Finding(
            Verdict.PENDING,
            figure,
            state["last"],
            next_at=sure_at,
            estimate=estimate,
            why=f"read it now: {show_span(tail)} since the last reading",
            numbers=numbers,
        )
    return Finding(
        Verdict.MET, figure, state["last"], next_at=due, estimate=estimate, numbers=numbers
    )


def _band(rule: Exposure) -> str:
    return f"above {rule.above.text}" + (f" up to {rule.up_to.text}" if rule.up_to else "")
