"""The temperature strip of a lot: its steps side by side, limits drawn in, gaps shown as gaps.

Each step gets a width that grows with the root of its length, so that an hour in the smoker is not lost
beside a month in the freezer.  Of a long series the lowest and highest value of each pixel column is
drawn.  There are two drawings of the same steps, one for a wide page and one for a narrow.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from math import sqrt
from zoneinfo import ZoneInfo

from lots.core.limits import Cooling, Every, Limit, Maintained, Within
from lots.core.moments import show_moment
from lots.core.plan import Plan
from lots.core.series import Chunk
from lots.core.units import (
    NINTHS_PER_C,
    NINTHS_PER_F,
    Bound,
    TempUnit,
    degrees,
    show_number,
)
from lots.models.deviation import Deviation
from lots.models.lot import LoadPart
from lots.queries.evidence import OwnSeries, own_series
from lots.queries.judgements import step_limits
from lots.queries.plans import plan_value

GAP_MS = 45 * 60_000  # where the plan names no longest time without a reading
TOP, BOTTOM, LEFT, RIGHT = 34, 34, 60, 10
LETTER = 10.5  # width of a letter of the chart's text, in its units
TEXT = 20  # height of a line of text
TRIANGLE = 18
WIDE, NARROW = (760, 380), (360, 320)


@dataclass(frozen=True)
class Line:
    """One probe's path in a step."""

    label: str
    style: int
    path: str
    dots: list[tuple[float, float]]


@dataclass(frozen=True)
class LimitLine:
    """A limit's line across its step; `label` is empty where there is no room for it."""

    y: float
    text: str
    css: str
    label: str
    label_y: float


@dataclass(frozen=True)
class Breach:
    """Where a limit broke: the tip of a triangle."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Segment:
    """One step of the strip."""

    number: int
    name: str
    place: str
    title: str
    begin: str
    x: float
    width: float
    lines: list[Line]
    limits: list[LimitLine]
    gaps: list[tuple[float, float]]
    breaches: list[Breach]

    @property
    def x2(self) -> float:
        return round(self.x + self.width, 1)


@dataclass(frozen=True)
class Chart:
    """One drawing of the strip."""

    width: int
    height: int
    css: str
    unit: str
    segments: list[Segment]
    ticks: list[tuple[float, str]]
    floor: float
    label: str
    legend: list[tuple[int, str]] = field(default_factory=list)
    left: int = LEFT
    top: int = TOP

    @property
    def right(self) -> int:
        return self.width - RIGHT

    @property
    def plot(self) -> float:
        """Height of the field that the lines are drawn in."""
        return round(self.floor - self.top, 1)


@dataclass(frozen=True)
class _Scale:
    low: int
    high: int
    floor: float

    def y(self, ninths: int) -> float:
        share = (ninths - self.low) / max(1, self.high - self.low)
        return round(self.floor - share * (self.floor - TOP), 1)


@dataclass(frozen=True)
class _Bound:
    """A figure drawn as a line, with the words that stand on it."""

    bound: Bound
    css: str
    sign: str
    limit_id: str

    def words(self, unit: TempUnit) -> str:
        figure = degrees(self.bound.f if unit == "F" else self.bound.c, unit)
        return f"{self.sign} {show_number(figure, 1)} °{unit}"


@dataclass(frozen=True)
class _Step:
    part: LoadPart
    plan: Plan
    found: OwnSeries
    start: int
    end: int
    bounds: list[_Bound]
    longest_gap: int

    def runs(self) -> Iterator[tuple[str, str, Sequence[Chunk]]]:
        for subject, probes in sorted(self.found.series.items()):
            for probe, runs in sorted(probes.items()):
                yield subject, probe, runs


@dataclass(frozen=True)
class _Across:
    """Moments of a step as places along the strip."""

    start: int
    end: int
    x: float
    width: float

    def __call__(self, moment: int) -> float:
        share = (moment - self.start) / (self.end - self.start)
        return round(self.x + 4 + min(max(share, 0), 1) * (self.width - 8), 1)


def _drawn(limit: Limit) -> Iterator[_Bound]:
    for leaf in limit.leaves():
        for rule, css in ((leaf.rule, "limit"), (leaf.operating, "operating")):
            match rule:
                case Within(low, high) | Maintained(low, high, _, _):
                    for bound, sign in ((low, "≥"), (high, "≤")):
                        if bound is not None:
                            yield _Bound(bound, css, sign, limit.id)
                case Cooling(_, stages):
                    for stage in stages:
                        yield _Bound(stage.to, css, "to", limit.id)


def _steps(parts: Iterable[LoadPart], at: int) -> list[_Step]:
    each = {part.load_id: part for part in parts}
    return [step for part in each.values() if (step := _step(part, at)) is not None]


def _step(part: LoadPart, at: int) -> _Step | None:
    found = own_series(part.load)
    runs = [run for probes in found.series.values() for each in probes.values() for run in each]
    if not runs:
        return None
    plan = plan_value(part.lot.plan_version)
    limits = [limit for _, limit in step_limits(plan, part.step)]
    every = [
        leaf.rule.within_ms
        for limit in limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Every)
    ]
    bounds = {(one.bound.f, one.css): one for limit in limits for one in _drawn(limit)}
    start = min(found.span.start, min(run.at[0] for run in runs))
    end = found.span.end or max(at, max(run.at[-1] for run in runs))
    gap = min(every, default=GAP_MS)
    return _Step(part, plan, found, start, max(end, start + 60_000), list(bounds.values()), gap)


def _range(steps: Sequence[_Step]) -> tuple[int, int]:
    values = [
        value
        for step in steps
        for _, _, runs in step.runs()
        for run in runs
        for value in (run.lowest, run.highest)
    ] + [one.bound.f for step in steps for one in step.bounds]
    low, high = min(values), max(values)
    room = max((high - low) // 12, NINTHS_PER_C)
    return low - room, high + room


def draw(
    parts: Iterable[LoadPart],
    deviations: Iterable[Deviation],
    unit: TempUnit,
    zone: ZoneInfo,
    at: int,
) -> list[Chart]:
    """The strip of a lot's steps that have readings, wide and narrow; empty where none has."""
    steps, broke = _steps(parts, at), list(deviations)
    if not steps:
        return []
    return [
        _chart(steps, broke, unit, zone, size, css)
        for size, css in ((WIDE, "chart-wide"), (NARROW, "chart-narrow"))
    ]


def _chart(
    steps: list[_Step],
    broke: list[Deviation],
    unit: TempUnit,
    zone: ZoneInfo,
    size: tuple[int, int],
    css: str,
) -> Chart:
    width, height = size
    scale = _Scale(*_range(steps), height - BOTTOM)
    shares = [sqrt(step.end - step.start) for step in steps]
    least = sum(shares) / 14
    shares = [max(share, least) for share in shares]
    names: dict[str, int] = {}
    segments, x = [], float(LEFT)
    for number, (step, share) in enumerate(zip(steps, shares, strict=True), 1):
        wide = (width - LEFT - RIGHT) * share / sum(shares)
        across = _Across(step.start, step.end, x, wide)
        segments.append(_segment(number, step, across, scale, broke, names, unit, zone))
        x += wide
    code = steps[0].part.lot.code
    return Chart(
        width,
        height,
        css,
        f"°{unit}",
        segments,
        list(_ticks(scale, unit)),
        scale.floor,
        f"Temperatures of lot {code} through {len(steps)} step{'s' if len(steps) > 1 else ''}",
        sorted((style, name) for name, style in names.items()),
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
            yield scale.y(ninths), f"{shown}".replace("-", "−")


def _segment(
    number: int,
    step: _Step,
    across: _Across,
    scale: _Scale,
    broke: list[Deviation],
    names: dict[str, int],
    unit: TempUnit,
    zone: ZoneInfo,
) -> Segment:
    lines = []
    for subject, probe, runs in step.runs():
        label = _label(step, subject, probe)
        style = names.setdefault(label, len(names) % 5 + 1)
        lines.append(_line(label, style, runs, step, across, scale))
    name = step.plan.step(step.part.step).name
    day, month, _, hour, _ = show_moment(step.start, zone).split()
    begin = next((t for t in (f"{day} {month} {hour}", hour) if _fits(t, across.width)), "")
    title = next((t for t in (f"{number} {name}", name) if _fits(t, across.width)), f"{number}")
    return Segment(
        number,
        name,
        step.part.load.place.name,
        title,
        begin,
        round(across.x, 1),
        round(across.width, 1),
        lines,
        _limit_lines(step.bounds, scale, across.width, unit),
        [(across(a), round(across(b) - across(a), 1)) for a, b in _gaps(step)],
        [_breach(one, step, across, scale) for one in broke if one.load_id == step.part.load_id],
    )


def _fits(text: str, width: float) -> bool:
    return len(text) * LETTER + 8 <= width


def _limit_lines(
    bounds: list[_Bound], scale: _Scale, width: float, unit: TempUnit
) -> list[LimitLine]:
    """The lines with their words above them, those of the critical limits first where room is short."""
    taken: list[float] = []
    out = []
    for one in sorted(bounds, key=lambda one: one.css != "limit"):
        y, words = scale.y(one.bound.f), one.words(unit)
        spots = [spot for spot in (y - 6, y + TEXT) if TOP + TEXT / 2 < spot < scale.floor]
        free = [spot for spot in spots if all(abs(spot - other) >= TEXT for other in taken)]
        label = words if free and _fits(words, width) else ""
        taken += free[:1] if label else []
        out.append(LimitLine(y, words, one.css, label, free[0] if label else y))
    return out


def _gaps(step: _Step) -> Iterator[tuple[int, int]]:
    """From when to when nothing was read in the step, longer than the plan lets pass."""
    moments = {at for _, _, runs in step.runs() for run in runs for at in (run.at[0], run.at[-1])}
    inner = [run for _, _, runs in step.runs() for run in runs]
    last = step.start
    for at in sorted(moments | {step.end}):
        covered = any(run.at[0] <= last and at <= run.at[-1] for run in inner)
        if at - last > step.longest_gap and not covered:
            yield last, at
        last = at


def _breach(one: Deviation, step: _Step, across: _Across, scale: _Scale) -> Breach:
    """The deviation at the moment that it broke, on the line of its limit if that has one."""
    at_limit = [scale.y(bound.bound.f) for bound in step.bounds if bound.limit_id == one.limit_id]
    y = min(at_limit[0] if at_limit else scale.floor, scale.floor - TRIANGLE)
    return Breach(across(one.broke_at), round(y, 1), f"deviation {one.pk}")


def _label(step: _Step, subject: str, probe: str) -> str:
    if subject == "fish":
        return probe or "fish"
    room = step.part.load.place.within if subject == "room" else None
    name = room.name if room is not None else step.part.load.place.name
    return f"{name}, {probe}" if probe else name


def _line(
    label: str, style: int, runs: Sequence[Chunk], step: _Step, across: _Across, scale: _Scale
) -> Line:
    """The path of a probe: a pixel column's lowest and highest, broken where it fell silent."""
    path: list[str] = []
    dots: list[tuple[float, float]] = []
    last: int | None = None
    for run in runs:
        for at, low, high in _columns(run, across):
            x = across(at)
            far = last is None or at - last > step.longest_gap
            path.append(f"{'M' if far else 'L'}{x} {scale.y(high)}")
            if low != high:
                path.append(f"L{x} {scale.y(low)}")
            dots.append((x, scale.y(high)))
            last = at
    return Line(label, style, " ".join(path), dots if len(dots) <= across.width / 8 else [])


def _columns(run: Chunk, across: _Across) -> Iterator[tuple[int, int, int]]:
    """(moment, lowest, highest): each reading, or of a long run those of each pixel column."""
    pixels = max(1, int(across.width))
    if len(run) <= 2 * pixels:
        yield from ((at, value, value) for at, value in zip(run.at, run.value, strict=True))
        return
    first = 0
    for pixel in range(1, pixels + 1):
        edge = across.start + (across.end - across.start) * pixel // pixels
        after = bisect_left(run.at, edge) if pixel < pixels else len(run)
        if after > first:
            values = run.value[first:after]
            yield run.at[first], min(values), max(values)
        first = after
