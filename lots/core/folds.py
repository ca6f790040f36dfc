"""Each kind of limit on a series as a fold: start, advance over a chunk, judge at a moment.

A state is a small dict of integers that can be stored as JSON, thrown away and folded again.  Folding a
series in any number of pieces gives the same state.  Each judge errs against the processor: between
readings nothing is assumed in the fish's favour.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence

from lots.core.finding import UNITS, nothing
from lots.core.finding import Finding as Finding
from lots.core.finding import Span as Span
from lots.core.finding import State as State
from lots.core.folds_exposure import (
    Carry,
    exposure_advance,
    exposure_judge,
    exposure_start,
)
from lots.core.folds_lethality import lethality_advance, lethality_judge, lethality_start
from lots.core.limits import (
    Cooling,
    Every,
    Exposure,
    Lethality,
    Maintained,
    SeriesRule,
    Verdict,
    Window,
    Within,
)
from lots.core.series import Chunk
from lots.core.units import Bound, show_span, show_temperature

# --- each reading within bounds -------------------------------------------------------------------


def _margin(rule: Within, value: int, unit: str) -> int:
    low = value - rule.low.for_unit(unit) if rule.low else None
    high = rule.high.for_unit(unit) - value if rule.high else None
    if low is None or high is None:
        return low if high is None and low is not None else high or 0
    return min(low, high)


def _extremes(rule: Within, chunk: Chunk) -> int:
    """The smallest margin in the chunk."""
    low = _margin(rule, chunk.lowest, chunk.unit)
    return min(low, _margin(rule, chunk.highest, chunk.unit))


def within_start() -> State:
    return {
        "n": 0,
        "bad": 0,
        "margin": None,
        "at": None,
        "value": 0,
        "unit": 0,
        "from": None,
        "to": None,
    }


def within_advance(rule: Within, state: State, chunk: Chunk) -> State:
    margin = _extremes(rule, chunk)
    new = {**state, "n": state["n"] + len(chunk)}
    if state["margin"] is None or margin < state["margin"]:
        ends = {chunk.lowest, chunk.highest}
        least = [value for value in ends if _margin(rule, value, chunk.unit) == margin]
        index = min(map(chunk.value.index, least))
        new |= {
            "margin": margin,
            "at": chunk.at[index],
            "value": chunk.value[index],
            "unit": UNITS.index(chunk.unit),
        }
    if margin < 0:
        bad = _outside(rule, chunk)
        first = chunk.at[bad.index(1)]
        new["from"] = first if new["from"] is None else new["from"]
        new |= {"bad": new["bad"] + bad.count(1), "to": chunk.at[bad.rindex(1)]}
    return new


def _outside(rule: Within, chunk: Chunk) -> bytes:
    """For each reading 1 where it is outside the bounds."""
    low = rule.low.for_unit(chunk.unit) if rule.low else chunk.lowest
    high = rule.high.for_unit(chunk.unit) if rule.high else chunk.highest
    return bytes([not low <= value <= high for value in chunk.figures])


def within_judge(rule: Within, window: Window, state: State, span: Span, at: int) -> Finding:
    """Each reading against its bounds; exactly on a bound meets it."""
    if not state["n"]:
        return nothing(span, at)
    end_word = "highest" if rule.low is None else "lowest" if rule.high is None else "furthest"
    word = {"first reading": "first reading", "last reading": "last reading"}.get(
        window.which, end_word
    )
    figure = f"{word} {show_temperature(state['value'], UNITS[state['unit']])}"
    numbers = {"margin": state["margin"]}
    if not state["bad"]:
        return Finding(Verdict.MET, figure, state["at"], numbers=numbers)
    if window.which == "last reading" and not span.over(at):
        return Finding(Verdict.PENDING, figure, state["at"], why="go on", numbers=numbers)
    return Finding(
        Verdict.DEVIATION,
        figure,
        state["at"],
        state["from"],
        state["to"],
        state["bad"],
        why=f"{state['bad']} of {state['n']} readings outside",
        numbers=numbers,
    )


# --- maintained -----------------------------------------------------------------------------------


def _side(rule: Maintained) -> tuple[Bound, int]:
    """The bound and +1 for heat, −1 for freezing: meeting it is sign × (value − bound) ≥ 0."""
    if rule.low is not None:
        return rule.low, 1
    assert rule.high is not None
    return rule.high, -1


def maintained_start() -> State:
    return {
        "last": None,
        "v": 0,
        "run": None,
        "best": 0,
        "bf": None,
        "bt": None,
        "est": 0,
        "ebest": 0,
        "p": [0, None, None, 0],  # best, its ends, and the estimate before the newest moment
    }


def maintained_advance(rule: Maintained, state: State, chunk: Chunk) -> State:
    bound, sign = _side(rule)
    limit = bound.for_unit(chunk.unit)
    new = dict(state)
    longest = rule.longest_gap_ms
    worst = chunk.lowest if sign > 0 else chunk.highest
    twice = chunk.meets_twice or chunk.at[0] == state["last"]
    if (
        not twice
        and sign * (worst - limit) >= 0
        and (longest is None or chunk.longest_gap <= longest)
    ):
        for index in sorted({0, max(0, len(chunk) - 2), len(chunk) - 1}):
            _maintain(new, chunk.at[index], sign * (chunk.value[index] - limit), longest, index > 0)
        return new
    if not twice and (longest is None or chunk.longest_gap <= longest):
        _runs(new, chunk, limit, sign, longest)
        return new
    for at, value in zip(chunk.at, chunk.value, strict=True):
        _maintain(new, at, sign * (value - limit), longest, False)
    return new


def _runs(state: State, chunk: Chunk, limit: int, sign: int, longest: int | None) -> None:
    """A chunk without gaps too long, run by run: of each run on one side of the bound only the first
    reading and the last two count for the state."""
    best = chunk.highest if sign > 0 else chunk.lowest
    if sign * (best - limit) < 0:
        for index in sorted({0, len(chunk) - 1}):
            _maintain(state, chunk.at[index], sign * (chunk.value[index] - limit), longest, False)
        return
    figures = chunk.figures
    good = bytes(map(limit.__le__ if sign > 0 else limit.__ge__, figures))
    start = 0
    while start < len(good):
        side = good[start]
        end = good.find(1 - side, start)
        end = len(good) if end < 0 else end
        inner = max(start, end - 2) if end == len(good) else start  # before the newest moment
        for index in sorted({start, inner, end - 1}):
            over = sign * (figures[index] - limit)
            _maintain(state, chunk.at[index], over, longest, bool(side) and index > start)
        start = end


def _maintain(state: State, at: int, over: int, longest: int | None, joined: bool) -> None:
    """One reading, `over` its bound; `joined` where the readings since the last are known good."""
    last, before = state["last"], state["v"]
    if last == at:
        _same_moment(state, over)
        return
    state["p"] = [state["best"], state["bf"], state["bt"], state["ebest"]]
    gap = joined or (last is not None and (longest is None or at - last <= longest))
    if over >= 0:
        if state["run"] is None or not gap:
            state["run"] = at
            lead = (at - last) * over // (over - before) if gap and before < 0 else 0
            state["est"] = lead
        if at - state["run"] > state["best"] or state["bf"] is None:
            state |= {"best": at - state["run"], "bf": state["run"], "bt": at}
        state["ebest"] = max(state["ebest"], state["est"] + at - state["run"])
    else:
        if state["run"] is not None and gap:
            tail = (at - last) * before // (before - over)
            state["ebest"] = max(state["ebest"], state["est"] + last - state["run"] + tail)
        state["run"] = None
    state |= {"last": at, "v": over}


def _same_moment(state: State, over: int) -> None:
    """Another reading of the newest moment: the worse of them counts."""
    if over >= state["v"]:
        return
    if over < 0 and state["run"] is not None:
        best, since, until, estimate = state["p"]
        state |= {"best": best, "bf": since, "bt": until, "ebest": estimate, "run": None}
    state["v"] = over


def maintained_judge(
    rule: Maintained, window: Window, state: State, span: Span, at: int
) -> Finding:
    """The longest unbroken time whose every interval has both ends on the right side of the bound.
    An interval longer than the longest gap counts nothing."""
    if state["last"] is None:
        return nothing(span, at)
    numbers = {"maintained_ms": state["best"], "estimated_ms": state["ebest"]}
    figure = f"{show_span(state['best'])} unbroken"
    estimate = f"about {show_span(state['ebest'])} if straight between readings"
    if state["best"] >= rule.for_ms:
        return Finding(Verdict.MET, figure, state["bf"], estimate=estimate, numbers=numbers)
    if span.over(at):
        why = f"{show_span(rule.for_ms - state['best'])} short when the step ended"
        return Finding(
            Verdict.DEVIATION,
            figure,
            state["bf"],
            span.end,
            span.end,
            1,
            None,
            estimate,
            why,
            numbers,
        )
    why = "go on" if rule.low is not None else "leave it in"
    held = state["run"] is not None and rule.longest_gap_ms is not None
    again = state["last"] + rule.longest_gap_ms if held else None  # later, and the time starts anew
    return Finding(
        Verdict.PENDING,
        figure,
        state["bf"],
        next_at=again,
        estimate=estimate,
        why=why,
        numbers=numbers,
    )


# --- cooling --------------------------------------------------------------------------------------


def cooling_start(rule: Cooling, span: Span) -> State:
    clock = None
    if rule.begin is None:
        clock = span.start if span.before_end is None else span.before_end
    return {
        "n": 0,
        "hot": None,
        "clock": clock,
        "above": None,
        "reached": [],
        "from": [],
        "v": 0,
        "u": 0,
        "open": None,  # the newest moment, which further readings may still make warmer
    }


def cooling_advance(rule: Cooling, state: State, chunk: Chunk, span: Span) -> State:
    new = {**state, "reached": list(state["reached"]), "from": list(state["from"])}
    new["n"] += len(chunk)
    new |= {"v": chunk.value[-1], "u": UNITS.index(chunk.unit)}
    begin = rule.begin.for_unit(chunk.unit) if rule.begin else None
    targets = [stage.to.for_unit(chunk.unit) for stage in rule.stages]
    _cool(new, chunk.at[0], chunk.value[0], begin, targets, span)
    hot = new["clock"] is None and begin is not None and chunk.lowest >= begin
    start = _last_two_moments(chunk) if hot or _still_above(new, chunk, targets) else 1
    for index in range(start, len(chunk)):
        if len(new["reached"]) == len(targets):
            break
        _cool(new, chunk.at[index], chunk.value[index], begin, targets, span)
    return new


def _still_above(state: State, chunk: Chunk, targets: list[int]) -> bool:
    """Whether the clock runs and nothing of the chunk is down at the next stage: then only its newest
    moments count."""
    done = len(state["reached"])
    return state["clock"] is not None and done < len(targets) and chunk.lowest > targets[done]


def _last_two_moments(chunk: Chunk) -> int:
    """Where the last moment but one begins: all that a hot chunk needs to be walked from."""
    last = bisect_left(chunk.at, chunk.at[-1])
    return max(1, bisect_left(chunk.at, chunk.at[last - 1])) if last else 1


def _cool(
    state: State, at: int, value: int, begin: int | None, targets: list[int], span: Span
) -> None:
    """One reading.  The warmest of a moment counts, so a moment is settled when the next one comes."""
    if state["open"] is not None and state["open"][0] < at:
        _settle(state, span)
    if len(state["reached"]) == len(targets):
        return
    hot = int(begin is not None and value >= begin)
    down = sum(value <= target for target in targets)
    below = sum(value < target for target in targets)
    if state["open"] is not None:
        _, other_hot, other_down, other_below = state["open"]
        hot, down, below = max(hot, other_hot), min(down, other_down), min(below, other_below)
    state["open"] = [at, hot, down, below]


def _settle(state: State, span: Span) -> None:
    """The newest moment taken in: whether it was hot still, and the stages that all its readings
    are down at (and below)."""
    at, hot, down, below = state["open"]
    state["open"] = None
    if state["clock"] is None:
        if hot:
            state["hot"] = at
            return
        state["clock"] = span.start if state["hot"] is None else state["hot"]
    if state["above"] is None:
        state["above"] = state["clock"]
    for stage in range(len(state["reached"]), down):
        state["reached"].append(at)
        # the next stage's clock: the last reading still at or above where that stage begins
        state["from"].append(at if stage >= below else state["above"])
    state["above"] = at


def settled(state: State, span: Span) -> State:
    """A copy in which the newest moment is taken in as it stands."""
    new = {**state, "reached": list(state["reached"]), "from": list(state["from"])}
    if new["open"] is not None:
        _settle(new, span)
    return new


def stage_clock(rule: Cooling, state: State, index: int) -> int | None:
    if rule.stages[index].from_start or index == 0:
        return state["clock"]  # type: ignore[no-any-return]
    return state["from"][index - 1] if len(state["from"]) >= index else None


def cooling_judge(rule: Cooling, window: Window, state: State, span: Span, at: int) -> Finding:
    """Each stage's time from its clock to the first moment all of whose readings are at or below its
    figure.

    The clock starts at the last reading at or above `begin` before the first below it; a later rise
    restarts nothing.
    """
    state = settled(state, span)
    clock_known = state["clock"] is not None or state["hot"] is not None
    state = state if clock_known else {**state, "clock": span.start}
    figures, numbers, next_at = [], {}, None
    for index, stage in enumerate(rule.stages):
        clock = stage_clock(rule, state, index)
        reached = state["reached"][index] if len(state["reached"]) > index else None
        figure, broke = _stage(stage.within_ms, stage.to.text, clock, reached, span, at)
        figures.append(figure)
        if clock is not None and reached is not None:
            numbers[f"stage_{index + 1}_ms"] = reached - clock
        if broke is not None:
            return Finding(
                Verdict.DEVIATION,
                "; ".join(figures),
                reached,
                broke,
                broke,
                1,
                numbers=numbers,
                why=f"not at {stage.to.text} within {show_span(stage.within_ms)}",
            )
        if reached is None:
            next_at = None if clock is None else clock + stage.within_ms
            return Finding(Verdict.PENDING, "; ".join(figures), next_at=next_at, numbers=numbers)
    return Finding(Verdict.MET, "; ".join(figures), state["reached"][-1], numbers=numbers)


def _stage(
    within: int, to: str, clock: int | None, reached: int | None, span: Span, at: int
) -> tuple[str, int | None]:
    """The stage's figure and when it broke, if it did."""
    if reached is not None and clock is not None:
        figure = f"{to} after {show_span(reached - clock)}"
        return figure, clock + within if reached - clock > within else None
    if span.over(at):
        lapse = span.end if clock is None else min(clock + within, span.end or at)
        return f"{to} not reached when the step ended", lapse
    if clock is not None and at - clock > within:
        return f"{to} not reached after {show_span(at - clock)}", clock + within
    return f"{to} not reached yet", None


# --- every ----------------------------------------------------------------------------------------


def every_start(span: Span) -> State:
    return {
        "n": 0,
        "last": span.start,
        "gap": 0,
        "gf": span.start,
        "over": 0,
        "from": None,
        "to": None,
    }


def every_advance(rule: Every, state: State, chunk: Chunk) -> State:
    new = {**state, "n": state["n"] + len(chunk)}
    _gap(rule, new, new["last"], chunk.at[0])
    if chunk.longest_gap > min(rule.within_ms, new["gap"]):
        for before, after in zip(chunk.at, chunk.at[1:], strict=False):
            _gap(rule, new, before, after)
    new["last"] = chunk.at[-1]
    return new


def _gap(rule: Every, state: State, before: int, after: int) -> None:
    gap = after - before
    if gap > state["gap"]:
        state |= {"gap": gap, "gf": before}
    if gap > rule.within_ms:
        lapse = before + rule.within_ms
        state["from"] = lapse if state["from"] is None else state["from"]
        state |= {"over": state["over"] + 1, "to": lapse}


def every_judge(rule: Every, window: Window, state: State, span: Span, at: int) -> Finding:
    """The longest time without a reading: start to first, between, last to the end or now."""
    final = dict(state)
    if window.which == "after":
        final["last"] = max(state["last"], span.start + window.after_ms)
    state = dict(final)
    _gap(rule, final, state["last"], max(state["last"], span.until(at)))
    figure = f"longest {show_span(final['gap'])} without a reading"
    if state["n"] == 0:
        figure = f"no reading in {show_span(final['gap'])}"
    due = state["last"] + rule.within_ms
    if not final["over"]:
        return Finding(
            Verdict.MET,
            figure,
            final["gf"],
            next_at=None if span.over(at) else due,
            numbers={"gap_ms": final["gap"]},
        )
    if rule.file_within_ms is not None:
        wait = None if span.end is None else span.end + rule.file_within_ms
        if wait is None or at <= wait:
            return Finding(
                Verdict.PENDING,
                figure,
                final["gf"],
                next_at=wait,
                why="waits for the logger's file",
                numbers={"gap_ms": final["gap"]},
            )
    return Finding(
        Verdict.DEVIATION,
        figure,
        final["gf"],
        final["from"],
        final["to"],
        final["over"],
        why=f"longer than {show_span(rule.within_ms)}",
        numbers={"gap_ms": final["gap"]},
    )


# --- one door for all -----------------------------------------------------------------------------


def start(rule: SeriesRule, span: Span, carry: Carry | None = None) -> State:
    """The state before any reading; `carry` is what an exposure brings from the steps before."""
    match rule:
        case Within():
            return within_start()
        case Maintained():
            return maintained_start()
        case Lethality():
            return lethality_start()
        case Exposure():
            return exposure_start(span, carry)
        case Cooling():
            return cooling_start(rule, span)
        case Every():
            return every_start(span)


def _windowed(window: Window, state: State, chunk: Chunk, span: Span) -> tuple[State, Chunk]:
    """The state to go on from, and the readings of the chunk that the window looks at."""
    if window.which == "first reading":  # all those of its moment
        first = state["at"] if state["n"] else chunk.at[0]
        take = bisect_right(chunk.at, first)
        return state, chunk.part(0, take)
    if window.which == "last reading":
        low = bisect_left(chunk.at, chunk.at[-1])
        same = state["n"] and state["at"] == chunk.at[-1]
        last = chunk.part(low, len(chunk))
        return state if same else within_start(), last
    if window.which == "after":
        since = span.start + window.after_ms
        low = bisect_left(chunk.at, since)
        if "gap" in state or (
            "exp" in state and not state["n"]
        ):  # the time before is not looked at
            state = {**state, "last": max(state["last"], since)}
        return state, chunk.part(low, len(chunk)) if low else chunk
    return state, chunk


def advance(rule: SeriesRule, window: Window, state: State, chunk: Chunk, span: Span) -> State:
    """The state after the chunk's readings, which come after all that went before.  `seen` is the
    newest of them all, whichever the window looks at."""
    if not len(chunk):
        return state
    seen = chunk.at[-1]
    state, chunk = _windowed(window, state, chunk, span)
    if not len(chunk):
        return {**state, "seen": seen}
    return {**_advance(rule, state, chunk, span), "seen": seen}


def _advance(rule: SeriesRule, state: State, chunk: Chunk, span: Span) -> State:
    match rule:
        case Within():
            return within_advance(rule, state, chunk)
        case Maintained():
            return maintained_advance(rule, state, chunk)
        case Lethality():
            return lethality_advance(rule, state, chunk)
        case Exposure():
            return exposure_advance(rule, state, chunk)
        case Cooling():
            return cooling_advance(rule, state, chunk, span)
        case Every():
            return every_advance(rule, state, chunk)


def fold(
    rule: SeriesRule,
    window: Window,
    chunks: Iterable[Chunk],
    span: Span,
    before: Iterable[Sequence[Chunk]] = (),
    carry: Carry | None = None,
) -> State:
    """The state after all chunks in order of time.

    `before` are the series of the step before that may be of the same fish; only the cooling clock
    looks back into them.  Of their last readings at or above `begin` the earliest counts.  Once all of
    them had fallen below, the clock runs: a rise after the step began restarts nothing.
    """
    state = start(rule, span, carry)
    if isinstance(rule, Cooling) and rule.begin is not None:
        lasts = [(_last_hot(rule.begin, runs), runs[-1].at[-1]) for runs in before if runs]
        hot = [(at, last) for at, last in lasts if at is not None]
        state["hot"] = min((at for at, _ in hot), default=None)
        if all(last > at for at, last in hot):
            state["clock"] = state["hot"]
    for chunk in chunks:
        state = advance(rule, window, state, chunk, span)
    return state


def _last_hot(begin: Bound, runs: Sequence[Chunk]) -> int | None:
    """The last moment of a series at or above `begin`."""
    for chunk in reversed(runs):
        limit = begin.for_unit(chunk.unit)
        pairs = zip(reversed(chunk.at), reversed(chunk.value), strict=True)
        at = next((at for at, value in pairs if value >= limit), None)
        if at is not None:
            return at
    return None


def judge(rule: SeriesRule, window: Window, state: State, span: Span, at: int) -> Finding:
    """What the state shows at a moment."""
    match rule:
        case Within():
            return within_judge(rule, window, state, span, at)
        case Maintained():
            return maintained_judge(rule, window, state, span, at)
        case Lethality():
            return lethality_judge(rule, state, span, at)
        case Exposure():
            return exposure_judge(rule, state, span, at)
        case Cooling():
            return cooling_judge(rule, window, state, span, at)
        case Every():
            return every_judge(rule, window, state, span, at)
