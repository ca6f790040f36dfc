"""The temperature strip of a lot: its steps side by side, limits drawn in, gaps shown as gaps.

Each step gets a width that grows with the root of its length, so that an hour in the smoker is not lost
beside a month in the freezer.  Of a long series the lowest and highest value of each pixel column is
drawn.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from math import sqrt

from lots.core.limits import Cooling, Limit, Maintained, Within
from lots.core.series import Chunk
from lots.core.units import NINTHS_PER_C, NINTHS_PER_F, Bound, TempUnit, degrees
from lots.models.deviation import Deviation
from lots.models.lot import LoadPart
from lots.queries.evidence import OwnSeries, own_series
from lots.queries.judgements import step_limits
from lots.queries.plans import plan_value

GAP_MS = 45 * 60_000  # a line is not drawn over a longer silence than the slowest hand round
TOP, BOTTOM, LEFT, RIGHT = 26, 44, 56, 12


@dataclass(frozen=True)
class Line:
    """One probe's path in a step."""

    label: str
    style: int
    path: str
    x: float
    y: float
    dots: list[tuple[float, float]]


@dataclass(frozen=True)
class Segment:
    """One step of the strip."""

    name: str
    place: str
    x: float
    width: float
    lines: list[Line]
    limits: list[tuple[float, str, str, bool]]  # y, text, css class, above
    breaches: list[tuple[float, float]]

    @property
    def x2(self) -> float:
        return round(self.x + self.width, 1)


@dataclass(frozen=True)
class Chart:
    width: int
    height: int
    segments: list[Segment]
    ticks: list[tuple[float, str]]
    left: int = LEFT
    right: float = 0
    top: int = TOP
    floor: float = 0
    label: str = ""
    legend: list[tuple[int, str]] = field(default_factory=list)


@dataclass(frozen=True)
class _Scale:
    low: int
    high: int
    floor: float

    def y(self, ninths: int) -> float:
        share = (ninths - self.low) / max(1, self.high - self.low)
        return round(self.floor - share * (self.floor - TOP), 1)


@dataclass(frozen=True)
class _Step:
    part: LoadPart
    found: OwnSeries
    start: int
    end: int
    limits: list[tuple[Bound, str]]


def _drawn(limit: Limit) -> Iterator[tuple[Bound, str]]:
    for leaf in limit.leaves():
        for rule, css in ((leaf.rule, "limit"), (leaf.operating, "operating")):
            match rule:
                case Within(low, high):
                    yield from ((bound, css) for bound in (low, high) if bound)
                case Maintained(low, high, _, _):
                    yield from ((bound, css) for bound in (low, high) if bound)
                case Cooling(_, stages):
                    yield from ((stage.to, css) for stage in stages)


def _steps(parts: Iterable[LoadPart], at: int) -> list[_Step]:
    out = []
    for part in parts:
        found = own_series(part.load)
        runs = [
            run for probes in found.series.values() for chunks in probes.values() for run in chunks
        ]
        if not runs:
            continue
        start = min(found.span.start, min(run.at[0] for run in runs))
        end = found.span.end or max(at, max(run.at[-1] for run in runs))
        plan = plan_value(part.lot.plan_version)
        bounds = [drawn for _, limit in step_limits(plan, part.step) for drawn in _drawn(limit)]
        unique = {(b.f, css): (b, css) for b, css in bounds}
        out.append(_Step(part, found, start, max(end, start + 60_000), list(unique.values())))
    return out


def _range(steps: Sequence[_Step]) -> tuple[int, int]:
    values = [
        value
        for step in steps
        for probes in step.found.series.values()
        for chunks in probes.values()
        for run in chunks
        for value in (run.lowest, run.highest)
    ] + [bound.f for step in steps for bound, _ in step.limits]
    low, high = min(values), max(values)
    room = max((high - low) // 12, NINTHS_PER_C)
    return low - room, high + room


def draw(
    parts: Iterable[LoadPart],
    deviations: Iterable[Deviation],
    unit: TempUnit,
    at: int,
    width: int = 760,
    height: int = 340,
) -> Chart | None:
    """The strip of a lot's steps that have readings; None where none has."""
    steps = _steps(parts, at)
    if not steps:
        return None
    low, high = _range(steps)
    scale = _Scale(low, high, height - BOTTOM)
    room = width - LEFT - RIGHT
    shares = [sqrt(step.end - step.start) for step in steps]
    least = sum(shares) / 14
    shares = [max(share, least) for share in shares]
    broke = list(deviations)
    names: dict[str, int] = {}
    segments, x = [], float(LEFT)
    for step, share in zip(steps, shares, strict=True):
        wide = room * share / sum(shares)
        segments.append(_segment(step, x, wide, scale, broke, names))
        x += wide
    first = steps[0].part
    return Chart(
        width,
        height,
        segments,
        list(_ticks(scale, unit)),
        right=width - RIGHT,
        floor=scale.floor,
        label=f"Temperatures of lot {first.lot.code} through {len(steps)} steps",
        legend=sorted((style, name) for name, style in names.items()),
    )


def _ticks(scale: _Scale, unit: TempUnit) -> Iterator[tuple[float, str]]:
    per = NINTHS_PER_F if unit == "F" else NINTHS_PER_C
    span = (scale.high - scale.low) / per
    step = next(size for size in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500) if span / size <= 7)
    first = int(degrees(scale.low, unit) // step) + 1
    for number in range(first, first + 9):
        shown = number * step
        ninths = (shown - 32) * NINTHS_PER_F if unit == "F" else shown * NINTHS_PER_C
        if ninths < scale.high:
            yield scale.y(ninths), f"{shown}".replace("-", "−") + "°"


def _segment(
    step: _Step, x: float, wide: float, scale: _Scale, broke: list[Deviation], names: dict[str, int]
) -> Segment:
    plan = plan_value(step.part.lot.plan_version)

    def across(moment: int) -> float:
        share = (moment - step.start) / (step.end - step.start)
        return round(x + 4 + min(max(share, 0), 1) * (wide - 8), 1)

    lines = []
    for subject, probes in sorted(step.found.series.items()):
        for probe, chunks in sorted(probes.items()):
            label = _label(step, subject, probe)
            style = names.setdefault(label, len(names) % 5 + 1)
            lines.append(_line(label, style, chunks, across, scale))
    ys: list[tuple[float, str, str, bool]] = [
        (scale.y(bound.f), bound.text, css, False) for bound, css in step.limits
    ]
    marks = [
        (across(one.broke_at), scale.floor) for one in broke if one.load_id == step.part.load_id
    ]
    return Segment(
        plan.step(step.part.step).name, step.part.load.place.name, round(x, 1), round(wide, 1),
        lines, ys, marks,
    )  # fmt: skip


def _label(step: _Step, subject: str, probe: str) -> str:
    if subject == "fish":
        return probe or "fish"
    if subject == "room" and step.part.load.place.within is not None:
        name = step.part.load.place.within.name
    else:
        name = step.part.load.place.name
    return f"{name}, {probe}" if probe else name


def _line(
    label: str, style: int, chunks: Iterable[Chunk], across: Callable[[int], float], scale: _Scale
) -> Line:
    """The path of a probe: a pixel column's lowest and highest, broken where it fell silent."""
    path: list[str] = []
    dots: list[tuple[float, float]] = []
    last_at: int | None = None
    last = (0.0, 0.0)
    count = 0
    for chunk in chunks:
        for moment, low, high in _columns(chunk, across):
            px = across(moment)
            far = last_at is None or moment - last_at > max(GAP_MS, 4 * _usual(chunk))
            path.append(f"{'M' if far else 'L'}{px} {scale.y(high)}")
            if low != high:
                path.append(f"L{px} {scale.y(low)}")
            last_at, last = moment, (px, scale.y(low))
            count += 1
            if len(chunk) == 1 or far:
                dots.append((px, scale.y(high)))
    return Line(label, style, " ".join(path), last[0], last[1], dots if count < 80 else [])


def _usual(chunk: Chunk) -> int:
    return (chunk.at[-1] - chunk.at[0]) // max(1, len(chunk) - 1)


def _columns(chunk: Chunk, across: Callable[[int], float]) -> Iterator[tuple[int, int, int]]:
    """(first moment, lowest, highest) of each pixel column."""
    column: float | None = None
    first = low = high = 0
    for moment, value in zip(chunk.at, chunk.value, strict=True):
        here = round(across(moment))
        if here != column:
            if column is not None:
                yield first, low, high
            column, first, low, high = here, moment, value, value
        low, high = min(low, value), max(high, value)
    if column is not None:
        yield first, low, high
