"""The fold of lethality: equivalent time at a reference temperature, the cooler end of each interval
holding for the whole of it."""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from math import log
from operator import mul
from typing import Final

from lots.core.finding import Finding, Span, State, nothing
from lots.core.lethality import BILLIONTHS, lethal_rate
from lots.core.limits import Lethality, Verdict
from lots.core.series import Chunk
from lots.core.units import show_minutes, show_span

# The estimate's rate rides above the conservative one in one whole number, so that one pass sums both.
_SHIFT: Final = 96  # bits, room for the sum of a chunk at the fastest rate over a thousand years
_LOW: Final = (1 << _SHIFT) - 1
_FASTEST: Final = (
    1_000_000 * BILLIONTHS
)  # no rate counts for more: a millisecond is then a quarter hour
_PAIRS_KEPT: Final = 1 << 18
_RULES_KEPT: Final = 64  # distinct references and z of the plans in use


class _Pairs(dict[tuple[int, int], int]):
    """The rates of an interval by the temperatures of its ends, each computed once.

    The lower bits hold the rate of the cooler end, the upper the mean rate on a straight line between
    the ends; both in billionths, and 0 below the lowest temperature that counts.
    """

    def __init__(self, reference: int, z: int, z_above: int, lowest: int | None) -> None:
        super().__init__()
        self.reference, self.z, self.z_above, self.lowest = reference, z, z_above, lowest

    def rate(self, ninths: int) -> int:
        if self.lowest is not None and ninths < self.lowest:
            return 0
        z = self.z if ninths < self.reference else self.z_above
        return min(lethal_rate(ninths, self.reference, z), _FASTEST)

    def __missing__(self, ends: tuple[int, int]) -> int:
        if len(self) > _PAIRS_KEPT:
            self.clear()
        cooler, warmer = sorted(ends)
        both = (self._mean(cooler, warmer) << _SHIFT) + self.rate(cooler)
        self[ends] = both
        return both

    def _mean(self, cooler: int, warmer: int) -> int:
        """The mean rate on a straight line, over the whole interval, in parts that have one z each and
        of which none is below the lowest that counts."""
        if cooler == warmer:
            return self.rate(cooler)
        start = cooler if self.lowest is None else max(cooler, min(self.lowest, warmer))
        corner = min(max(self.reference, start), warmer)
        parts = ((start, corner), (corner, warmer))
        mean = int(sum(self._area(a, b) for a, b in parts) / (warmer - cooler))
        return max(mean, self.rate(cooler))

    def _area(self, low: int, high: int) -> float:
        if low == high:
            return 0.0
        first, second = self.rate(low), self.rate(high)
        if first <= 0 or first == second:
            return (high - low) * (first + second) / 2
        return (high - low) * (second - first) / log(second / first)


@lru_cache(maxsize=_RULES_KEPT)
def _pairs(reference: int, z: int, z_above: int, lowest: int | None) -> _Pairs:
    return _Pairs(reference, z, z_above, lowest)


def _of(rule: Lethality, unit: str) -> _Pairs:
    lowest = rule.lowest.for_unit(unit) if rule.lowest else None
    return _pairs(rule.reference.for_unit(unit), rule.z, rule.z_above, lowest)


def lethality_start() -> State:
    return {"n": 0, "last": None, "v": 0, "u": "C", "sum": 0, "est": 0, "met": None}


def lethality_advance(rule: Lethality, state: State, chunk: Chunk) -> State:
    """The state after the chunk's readings."""
    new = {**state, "n": state["n"] + len(chunk)}
    chunk = chunk.moments(highest=False)
    if chunk.at[0] == state["last"]:  # the lowest of the moment came first, and counts
        chunk = chunk.part(1, len(chunk))
        if not len(chunk):
            return new
    pairs = _of(rule, chunk.unit)
    need = rule.at_least_ms * BILLIONTHS
    if state["last"] is not None:
        _add(new, rule, chunk.at[0] - state["last"], _junction(rule, state, chunk, pairs))
        _note(new, need, chunk.at[0])
    low, high = sorted((pairs.rate(chunk.lowest), pairs.rate(chunk.highest)))
    if high:
        before = new["sum"]
        total = _inner(rule, chunk, pairs, low)
        new["sum"] += total & _LOW
        new["est"] += total >> _SHIFT
        if new["met"] is None and new["sum"] >= need:
            new["met"] = next(
                at for at, sum_to in _running(rule, chunk, pairs) if before + sum_to >= need
            )
    return {**new, "last": chunk.at[-1], "v": chunk.value[-1], "u": chunk.unit}


def _junction(rule: Lethality, state: State, chunk: Chunk, pairs: _Pairs) -> int:
    """The rates from the reading before to the chunk's first, each end in its own unit."""
    if state["u"] == chunk.unit:
        return pairs[state["v"], chunk.value[0]]
    before = _of(rule, state["u"]).rate(state["v"])
    cooler = min(before, pairs.rate(chunk.value[0]))
    return (cooler << _SHIFT) + cooler


def _add(state: State, rule: Lethality, span: int, both: int) -> None:
    if rule.longest_gap_ms is None or span <= rule.longest_gap_ms:
        state["sum"] += span * (both & _LOW)
        state["est"] += span * (both >> _SHIFT)


def _note(state: State, need: int, at: int) -> None:
    if state["met"] is None and state["sum"] >= need:
        state["met"] = at


def _spans(rule: Lethality, chunk: Chunk) -> Sequence[int]:
    if rule.longest_gap_ms is None or chunk.longest_gap <= rule.longest_gap_ms:
        return chunk.gaps
    return [span if span <= rule.longest_gap_ms else 0 for span in chunk.gaps]


def _rates(chunk: Chunk, pairs: _Pairs) -> Iterator[int]:
    return map(pairs.__getitem__, zip(chunk.figures, chunk.figures[1:], strict=False))


def _inner(rule: Lethality, chunk: Chunk, pairs: _Pairs, low: int) -> int:
    """Both sums over the chunk's own intervals, the estimate above the conservative one."""
    spans = _spans(rule, chunk)
    if low and chunk.lowest == chunk.highest:
        return sum(spans) * pairs[chunk.lowest, chunk.lowest]
    if spans and min(spans) == max(spans):  # a logger's steady step: multiplied once
        return spans[0] * sum(_rates(chunk, pairs))
    return sum(map(mul, spans, _rates(chunk, pairs)))


def _running(rule: Lethality, chunk: Chunk, pairs: _Pairs) -> Iterator[tuple[int, int]]:
    total = 0
    for at, span, both in zip(chunk.at[1:], _spans(rule, chunk), _rates(chunk, pairs), strict=True):
        total += span * (both & _LOW)
        yield at, total


def lethality_judge(rule: Lethality, state: State, span: Span, at: int) -> Finding:
    """The equivalent time that the readings show; too little is PENDING while the step runs."""
    if state["last"] is None:
        return nothing(span, at)
    shown, estimated = state["sum"] // BILLIONTHS, state["est"] // BILLIONTHS
    numbers = {"equivalent_ms": shown, "estimated_ms": estimated}
    figure = f"equivalent to {show_minutes(shown)} at {rule.reference.text}"
    estimate = f"about {show_minutes(estimated)} if straight between readings"
    if state["sum"] >= rule.at_least_ms * BILLIONTHS:
        return Finding(Verdict.MET, figure, state["met"], estimate=estimate, numbers=numbers)
    if span.over(at):
        why = f"less than {show_span(rule.at_least_ms)} when the step ended"
        return Finding(
            Verdict.DEVIATION,
            figure,
            state["last"],
            span.end,
            span.end,
            1,
            estimate=estimate,
            why=why,
            numbers=numbers,
        )
    return Finding(
        Verdict.PENDING, figure, state["last"], estimate=estimate, why="go on", numbers=numbers
    )
