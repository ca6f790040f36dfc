"""What holds for every series: folded in pieces, arrived in any order, held to something stricter, and
beside a slow judge written straight from the rules."""

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from lots.core import folds, judging
from lots.core.folds import Finding, Span
from lots.core.folds_exposure import Carry
from lots.core.judging import Facts, Sample, Sighting
from lots.core.lethality import BILLIONTHS, lethal_rate
from lots.core.limits import (
    Cooling,
    Every,
    Exposure,
    Lethality,
    Limit,
    Maintained,
    Stage,
    Verdict,
    Window,
    Within,
)
from lots.core.series import Chunk, chunks, merge
from lots.core.units import Bound

START, END = 1_000, 2_000
Row = tuple[int, int, str]

many = settings(max_examples=200, deadline=None)


def bound(c: int, f: int | None = None) -> Bound:
    return Bound(c, c if f is None else f, f"{c}")


values = st.integers(-6, 6)
# readings of the same moment are as likely as not
moments = st.one_of(st.integers(START, END), st.sampled_from(range(START, END + 1, 250)))
rows = st.lists(st.tuples(moments, values, st.sampled_from("CF")), max_size=14)
# the bound in °F may part from the one in °C by a little, as printed limits do
bounds = st.builds(lambda c, off: bound(c, c + off), st.integers(-3, 3), st.integers(-1, 1))
spans = st.builds(
    lambda start, length, over: Span(start, start + length if over else None),
    st.integers(START - 50, START),
    st.integers(END - START, END - START + 200),
    st.booleans(),
)
gaps = st.one_of(st.none(), st.integers(1, 400))
lengths = st.integers(1, 500)
windows = st.one_of(st.just(Window()), st.builds(lambda n: Window("after", n), st.integers(0, 600)))
within_windows = st.one_of(
    windows, st.sampled_from([Window("first reading"), Window("last reading")])
)

withins = st.one_of(
    st.builds(lambda b: Within(b, None), bounds),
    st.builds(lambda b: Within(None, b), bounds),
    st.builds(lambda b: Within(bound(b.c - 2, b.f - 2), b), bounds),
)
maintaineds = st.builds(
    lambda b, hot, n, gap: Maintained(b if hot else None, None if hot else b, n, gap),
    bounds,
    st.booleans(),
    lengths,
    gaps,
)
everies = st.builds(Every, lengths, st.one_of(st.none(), st.integers(0, 300)))


def _cooling(begin: bool, top: int, fall: int, more: int, n: int, m: int, own: bool) -> Cooling:
    stages = (Stage(bound(top - fall), n, True), Stage(bound(top - fall - more), n + m, not own))
    return Cooling(bound(top) if begin else None, stages)


coolings = st.builds(
    _cooling, st.booleans(), st.integers(0, 4), st.integers(1, 4), st.integers(1, 4), lengths, lengths, st.booleans()
)  # fmt: skip
lethalities = st.builds(
    lambda n, ref, z, more, low, gap: Lethality(n, ref, z, z + more, low, gap, "z"),
    st.integers(1, 2000),
    bounds,
    st.integers(3, 9),
    st.integers(0, 3),
    st.one_of(st.none(), bounds),
    gaps,
)


def _exposure(low: Bound, width: int | None, most: int, gap: int | None) -> Exposure:
    high = None if width is None else bound(low.c + width, low.f + width)
    return Exposure(low, high, most, gap)


exposures = st.builds(
    _exposure, bounds, st.one_of(st.none(), st.integers(1, 4)), st.integers(0, 900), gaps
)
judged = st.one_of(
    st.tuples(lethalities, windows),
    st.tuples(exposures, windows),
    st.tuples(withins, within_windows),
    st.tuples(maintaineds, windows),
    st.tuples(coolings, st.just(Window())),
    st.tuples(everies, windows),
)


def series(found: list[Row]) -> list[Chunk]:
    return chunks((at, value, "F" if unit == "F" else "C") for at, value, unit in found)


def find(rule: object, window: Window, found: list[Row], span: Span, at: int) -> Finding:
    state = folds.fold(rule, window, series(found), span)  # type: ignore[arg-type]
    return folds.judge(rule, window, state, span, at)  # type: ignore[arg-type]


@many
@given(judged, rows, spans, st.lists(st.integers(0, 14), max_size=6))
def test_a_series_folded_in_any_number_of_pieces_gives_the_same_state(
    kind, found, span, cuts
) -> None:  # type: ignore[no-untyped-def]
    rule, window = kind
    whole = folds.fold(rule, window, series(found), span)
    one_by_one = [
        Chunk(run.at[i : i + 1], run.value[i : i + 1], run.unit)
        for run in series(found)
        for i in range(len(run))
    ]
    assert folds.fold(rule, window, one_by_one, span) == whole
    pieces = []
    for run in series(found):
        edges = sorted({0, len(run), *(cut for cut in cuts if cut < len(run))})
        pieces += [Chunk(run.at[a:b], run.value[a:b], run.unit) for a, b in pairwise(edges)]
        pieces.append(Chunk([], [], run.unit))
    assert folds.fold(rule, window, pieces, span) == whole


@many
@given(judged, rows, spans, st.randoms(use_true_random=False), st.integers(1, 4))
def test_judging_does_not_depend_on_the_order_of_arrival(kind, found, span, random, runs) -> None:  # type: ignore[no-untyped-def]
    rule, window = kind
    shuffled = random.sample(found, len(found))
    assert find(rule, window, shuffled, span, END) == find(rule, window, found, span, END)
    arrived = [run for n in range(runs) for run in series(shuffled[n::runs])]
    random.shuffle(arrived)
    state = folds.fold(rule, window, merge(arrived), span)
    assert folds.judge(rule, window, state, span, END) == find(rule, window, found, span, END)


@many
@given(st.lists(st.tuples(st.integers(0, 9), moments), min_size=1, max_size=5), st.integers(0, 9))
def test_facts_do_not_depend_on_the_order_of_arrival(samples, low) -> None:  # type: ignore[no-untyped-def]
    limit = Limit("m", "measured", judging.Measured("salt", bound(low), None, False))
    seen = Limit("o", "observed", judging.Observed("ice"))
    for order in (samples, samples[::-1]):
        facts = Facts(
            Span(START, END),
            {"salt": [Sample(x, at) for x, at in order]},
            {"ice": [Sighting(x >= low, at) for x, at in order]},
        )
        found = [judging.judge(one, {}, facts, END) for one in (limit, seen)]
        if order is samples:
            first = found
    assert found == first


def _stricter(rule: object, by: int) -> list[object]:
    """The same rule, stricter in one respect each."""
    match rule:
        case Within(low, high):
            up = bound(low.c + by, low.f + by) if low else None
            down = bound(high.c - by, high.f - by) if high else None
            return [Within(up, high), Within(low, down)]
        case Maintained(low, high, n, gap):
            up = bound(low.c + by, low.f + by) if low else None
            down = bound(high.c - by, high.f - by) if high else None
            return [
                Maintained(up, down, n, gap),
                Maintained(low, high, n + by, gap),
                Maintained(low, high, n, max(1, (gap or 400) - by)),
            ]
        case Cooling(begin, (first, second)):
            sooner = Stage(first.to, max(1, first.within_ms - by), first.from_start)
            colder = Stage(bound(second.to.c - by), second.within_ms, second.from_start)
            later = Stage(second.to, max(1, second.within_ms - by), second.from_start)
            return [
                Cooling(begin, (sooner, second)),
                Cooling(begin, (first, colder)),
                Cooling(begin, (first, later)),
            ]
        case Every(n, wait):
            return [Every(max(1, n - by), wait)]
        case Lethality(n, ref, z, above, low, gap, text):
            up = bound(low.c + by, low.f + by) if low else bound(ref.c)
            hotter = bound(ref.c + by, ref.f + by)
            shorter = max(1, (gap or 400) - by)
            return [
                Lethality(n + by, ref, z, above, low, gap, text),
                Lethality(n, ref, z, above, up, gap, text),
                Lethality(n, ref, z, above, low, shorter, text),
                *([] if z != above else [Lethality(n, hotter, z, z, low, gap, text)]),
            ]
        case Exposure(low, high, n, gap):
            wider = bound(low.c - by, low.f - by)
            return [
                Exposure(wider, high, n, gap),
                Exposure(low, None, n, gap),
                Exposure(low, high, max(0, n - by), gap),
                Exposure(low, high, n, max(1, (gap or 400) - by)),
            ]
    raise AssertionError(rule)


@many
@given(judged, rows, spans, st.integers(1, 40), st.integers(START, END + 300))
def test_a_stricter_limit_is_never_milder(kind, found, span, by, at) -> None:  # type: ignore[no-untyped-def]
    rule, window = kind
    found = [row for row in found if row[0] <= at]
    verdict = find(rule, window, found, span, at).verdict
    for stricter in _stricter(rule, by):
        assert find(stricter, window, found, span, at).verdict.rank >= verdict.rank


@many
@given(st.integers(0, 300), st.integers(1, 50), st.integers(0, 400), st.booleans())
def test_a_stricter_duration_is_never_milder(length, by, at, over) -> None:  # type: ignore[no-untyped-def]
    facts = Facts(Span(0, length if over else None))
    for milder, stricter in (
        ((100, None, None), (100 + by, None, None)),
        ((None, 100, None), (None, 100 + by, None)),
        ((None, None, 200), (None, None, 200 - by)),
    ):
        ranks = [
            judging.judge(Limit("d", "duration", judging.Duration(*n)), {}, facts, at).verdict.rank
            for n in (milder, stricter)
        ]
        assert ranks[0] <= ranks[1]


@many
@given(maintaineds, rows, spans)
def test_the_conservative_figure_is_never_more_than_the_estimate(rule, found, span) -> None:  # type: ignore[no-untyped-def]
    numbers = find(rule, Window(), found, span, END).numbers
    assert numbers.get("maintained_ms", 0) <= numbers.get("estimated_ms", 0)


@many
@given(judged, rows, rows, spans, st.integers(START, END + 300))
def test_another_probe_never_makes_a_verdict_milder(kind, one, other, span, at) -> None:  # type: ignore[no-untyped-def]
    rule, window = kind
    limit = Limit("x", "x", rule, window=window)
    verdicts = []
    for probes in ([one], [one, other]):
        runs = {"place": {str(n): series(found) for n, found in enumerate(probes)}}
        states = judging.start(limit, runs, span)
        verdicts.append(judging.judge(limit, states, Facts(span), at).verdict.rank)
    assert verdicts[0] <= verdicts[1]


# --- a slow judge, straight from the rules --------------------------------------------------------


def slow_maintained(rule: Maintained, found: list[Row]) -> int:
    """The longest stretch of moments all of whose readings meet the bound, with no gap too long."""

    def good(row: Row) -> bool:
        if rule.low:
            return row[1] >= rule.low.for_unit(row[2])
        assert rule.high
        return row[1] <= rule.high.for_unit(row[2])

    ordered = [[row for row in found if row[0] == at] for at in sorted({row[0] for row in found})]
    best = 0
    for i in range(len(ordered)):
        for j in range(i, len(ordered)):
            part = ordered[i : j + 1]
            gaps = [b[0][0] - a[0][0] for a, b in pairwise(part)]
            close = rule.longest_gap_ms is None or all(g <= rule.longest_gap_ms for g in gaps)
            if close and all(good(row) for moment in part for row in moment):
                best = max(best, part[-1][0][0] - part[0][0][0])
    return best


def slow_lethality(rule: Lethality, found: list[Row]) -> int:
    """The sum over the intervals, each at the rate of the coolest reading at its ends."""

    def rate(row: Row) -> int:
        _, value, unit = row
        if rule.lowest and value < rule.lowest.for_unit(unit):
            return 0
        reference = rule.reference.for_unit(unit)
        return lethal_rate(value, reference, rule.z if value < reference else rule.z_above)

    moments_of = sorted({row[0] for row in found})
    coolest = [min(rate(row) for row in found if row[0] == at) for at in moments_of]
    total = 0
    for i in range(1, len(moments_of)):
        span = moments_of[i] - moments_of[i - 1]
        if rule.longest_gap_ms is None or span <= rule.longest_gap_ms:
            total += span * min(coolest[i - 1], coolest[i])
    return total


def slow_exposure(rule: Exposure, found: list[Row], since: int, until: int) -> int:
    """The intervals whose ends span the band or that are too long, and both ends of the step whole."""

    def side(row: Row) -> int:
        _, value, unit = row
        if value <= rule.above.for_unit(unit):
            return -1
        return 1 if rule.up_to and value > rule.up_to.for_unit(unit) else 0

    moments_of = sorted({row[0] for row in found})
    total = moments_of[0] - since + max(0, until - moments_of[-1])
    for before, after in pairwise(moments_of):
        sides = {side(row) for row in found if row[0] in (before, after)}
        far = rule.longest_gap_ms is not None and after - before > rule.longest_gap_ms
        if far or sides not in ({-1}, {1}):
            total += after - before
    return total


def slow_every(rule: Every, found: list[Row], span: Span, at: int) -> bool:
    until = at if span.end is None else min(span.end, at)
    marks = [span.start, *sorted(row[0] for row in found)]
    marks.append(max(until, marks[-1]))
    return all(b - a <= rule.within_ms for a, b in pairwise(marks))


def slow_cooling(rule: Cooling, found: list[Row], span: Span, at: int) -> Verdict:
    """A moment is hot if any of its readings is, and down at a figure if all of them are."""
    by_moment = [[r for r in found if r[0] == moment] for moment in sorted({r[0] for r in found})]
    clock = span.start
    if rule.begin is not None:
        begin = rule.begin
        hot = [any(v >= begin.for_unit(unit) for _, v, unit in rows) for rows in by_moment]
        if found and all(hot):
            return Verdict.DEVIATION if span.over(at) else Verdict.PENDING
        first = hot.index(False) if found else 0
        clock = by_moment[first - 1][0][0] if first else span.start
        by_moment = by_moment[first:]
    for number, stage in enumerate(rule.stages):
        begins = clock
        if number and not stage.from_start:
            begins = _passed(rule.stages[number - 1].to, by_moment, clock)
        there = [rows[0][0] for rows in by_moment if _down(stage.to, rows)]
        if not there:
            broken = span.over(at) or at - begins > stage.within_ms
            return Verdict.DEVIATION if broken else Verdict.PENDING
        if there[0] - begins > stage.within_ms:
            return Verdict.DEVIATION
    return Verdict.MET


def _down(to: Bound, moment: list[Row]) -> bool:
    return all(value <= to.for_unit(unit) for _, value, unit in moment)


def _passed(to: Bound, by_moment: list[list[Row]], clock: int) -> int:
    """The last moment at or above a figure, before the fish was first down at it."""
    i = next(i for i, moment in enumerate(by_moment) if _down(to, moment))
    on_it = any(value == to.for_unit(unit) for _, value, unit in by_moment[i])
    if on_it:
        return by_moment[i][0][0]
    return by_moment[i - 1][0][0] if i else clock


@many
@given(maintaineds, rows, spans)
def test_maintained_agrees_with_the_slow_judge(rule, found, span) -> None:  # type: ignore[no-untyped-def]
    shown = slow_maintained(rule, found)
    finding = find(rule, Window(), found, span, END + 300)
    assert finding.numbers.get("maintained_ms", 0) == shown
    over = Verdict.DEVIATION if span.end is not None else Verdict.PENDING
    assert finding.verdict is (Verdict.MET if found and shown >= rule.for_ms else over)


@many
@given(st.builds(Every, lengths, st.none()), rows, spans, st.integers(END, END + 300))
def test_every_agrees_with_the_slow_judge(rule, found, span, at) -> None:  # type: ignore[no-untyped-def]
    expected = Verdict.MET if slow_every(rule, found, span, at) else Verdict.DEVIATION
    assert find(rule, Window(), found, span, at).verdict is expected


@many
@given(coolings, rows, spans, st.integers(END, END + 300))
def test_cooling_agrees_with_the_slow_judge(rule, found, span, at) -> None:  # type: ignore[no-untyped-def]
    assert find(rule, Window(), found, span, at).verdict is slow_cooling(rule, found, span, at)


@many
@given(withins, rows, spans)
def test_within_agrees_with_the_slow_judge(rule, found, span) -> None:  # type: ignore[no-untyped-def]
    fine = all(
        (rule.low is None or value >= rule.low.for_unit(unit))
        and (rule.high is None or value <= rule.high.for_unit(unit))
        for _, value, unit in found
    )
    nothing = Verdict.PENDING if span.end is None else Verdict.DEVIATION
    expected = nothing if not found else Verdict.MET if fine else Verdict.DEVIATION
    assert find(rule, Window(), found, span, END + 300).verdict is expected


one_unit = st.lists(st.tuples(moments, values, st.just("C")), max_size=14)


@many
@given(lethalities, one_unit, spans)
def test_lethality_agrees_with_the_slow_judge(rule, found, span) -> None:  # type: ignore[no-untyped-def]
    shown = slow_lethality(rule, found)
    finding = find(rule, Window(), found, span, END + 300)
    assert finding.numbers.get("equivalent_ms", 0) == shown // BILLIONTHS
    over = Verdict.DEVIATION if span.end is not None else Verdict.PENDING
    met = found and shown >= rule.at_least_ms * BILLIONTHS
    assert finding.verdict is (Verdict.MET if met else over)


@many
@given(lethalities, one_unit, st.integers(0, 13), st.integers(1, 500), st.integers(0, 4))
def test_a_reading_as_warm_as_the_cooler_neighbour_never_lowers_lethality(
    rule, found, index, after, warmer
) -> None:  # type: ignore[no-untyped-def]
    span = Span(START)
    ordered = series(found)[0].moments(highest=False) if found else Chunk([], [])
    if len(ordered) < 2:
        return
    index %= len(ordered) - 1
    apart = ordered.at[index + 1] - ordered.at[index]
    added = ordered.at[index] + after % apart
    cooler = min(ordered.value[index], ordered.value[index + 1])
    if added == ordered.at[index]:
        return
    before = find(rule, Window(), found, span, END).numbers["equivalent_ms"]
    more = [*found, (added, cooler + warmer, "C")]
    assert find(rule, Window(), more, span, END).numbers["equivalent_ms"] >= before


@many
@given(lethalities, one_unit)
def test_the_conservative_lethality_is_never_more_than_the_estimate(rule, found) -> None:  # type: ignore[no-untyped-def]
    numbers = find(rule, Window(), found, Span(START), END).numbers
    assert numbers.get("equivalent_ms", 0) <= numbers.get("estimated_ms", 0)


@many
@given(exposures, rows, spans, st.integers(END, END + 300))
def test_exposure_agrees_with_the_slow_judge(rule, found, span, at) -> None:  # type: ignore[no-untyped-def]
    finding = find(rule, Window(), found, span, at)
    if not found:
        return
    until = at if span.end is None else min(at, span.end)
    most = slow_exposure(rule, found, span.start, until)
    if span.over(at):
        assert finding.numbers["exposed_ms"] == most
        assert (finding.verdict is Verdict.MET) == (most <= rule.at_most_ms)
    else:  # what is not sure yet is never within limits beyond the limit
        assert finding.numbers["exposed_ms"] <= most
        assert finding.verdict is not Verdict.MET or most <= rule.at_most_ms
        assert finding.verdict is Verdict.MET or most > rule.at_most_ms


@many
@given(exposures, rows, spans)
def test_an_exposure_broken_while_it_runs_is_never_unbroken_by_later_readings(
    rule, found, span
) -> None:  # type: ignore[no-untyped-def]
    running = Span(span.start)
    ordered = sorted(found)
    for n, (at, _, _) in enumerate(ordered):
        earlier = [row for row in ordered[:n] if row[0] < at]
        if find(rule, Window(), earlier, running, at).verdict is Verdict.DEVIATION:
            assert find(rule, Window(), ordered, running, END).verdict is Verdict.DEVIATION


@many
@given(exposures, rows, st.integers(0, 600), st.integers(0, 2), st.integers(0, 2))
def test_what_an_exposure_brings_along_is_never_lost(rule, found, brought, one, other) -> None:  # type: ignore[no-untyped-def]
    span = Span(START)
    carry = Carry(brought, 0, START - 60, min(one, other), max(one, other))
    with_it = folds.fold(rule, Window(), series(found), span, carry=carry)
    without = folds.fold(rule, Window(), series(found), span)
    assert with_it["exp"] >= brought
    assert with_it["exp"] <= without["exp"] + brought + 60


@many
@given(exposures, rows)
def test_a_straight_line_is_never_exposed_longer_than_the_whole_interval(rule, found) -> None:  # type: ignore[no-untyped-def]
    numbers = find(rule, Window(), found, Span(START), END).numbers
    assert numbers.get("estimated_ms", 0) <= numbers.get("exposed_ms", 0)
