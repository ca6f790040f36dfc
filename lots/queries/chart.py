"""The temperature strip of a lot: its steps side by side, limits drawn in, gaps shown as gaps.

Each step gets a width that grows with the root of its length, so that an hour in the smoker is not lost
beside a month in the freezer.  Of a long series the lowest and highest value of each pixel column is
drawn.  There are two drawings of the same steps, one for a wide page and one for a narrow.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import sqrt
from zoneinfo import ZoneInfo

from lots.core.moments import show_moment
from lots.core.series import Chunk
from lots.core.units import NINTHS_PER_C, NINTHS_PER_F, TempUnit, degrees
from lots.models.deviation import Deviation
from lots.models.lot import LoadPart
from lots.queries.chart_steps import ChartStep, DrawnBound, chart_steps, gaps, label_of

TOP, BOTTOM, LEFT, RIGHT = 34, 34, 60, 10
LETTER = 11.0  # width of a letter of the chart's text, in its units
TEXT = 20  # height of a line of text
TRIANGLE = 18
PATTERNS = (1, 2, 3, 4, 5)
WIDE, NARROW = (760, 380), (360, 320)
MINUTE_MS, DAY_MS = 60_000, 24 * 3_600_000
CLOCK_LETTERS = 7  # the room of a moment along the floor
CLOCK_STEPS = [n * MINUTE_MS for n in (5, 10, 15, 30, 60, 120, 180, 360, 720)] + [
    n * DAY_MS for n in (1, 2, 7, 14, 30, 90, 365)
]


@dataclass(frozen=True)
class Line:
    """One probe's path in a step."""

    label: str
    style: int
    path: str
    points: list[tuple[float, float]]
    crowded: bool
    at_line: str = ""  # its name at its end, where there is room for it
    at_x: float = 0
    at_y: float = 0

    @property
    def dots(self) -> list[tuple[float, float]]:
        """The readings as dots, where there are few enough to tell apart."""
        return [] if self.crowded else self.points


@dataclass(frozen=True)
class LimitLine:
    """A limit's line across its step; `label` is empty where there is no room for it."""

    y: float
    text: str
    css: str
    label: str
    label_x: float
    label_y: float
    anchor: str


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
    clocks: list[tuple[float, str]] = field(default_factory=list)  # along the floor of a step alone

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
    alone: bool = False  # one step, drawn large
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
class _Across:
    """Moments of a step as places along the strip."""

    start: int
    end: int
    x: float
    width: float

    def __call__(self, moment: int) -> float:
        share = (moment - self.start) / (self.end - self.start)
        return round(self.x + 4 + min(max(share, 0), 1) * (self.width - 8), 1)


def _range(steps: Sequence[ChartStep]) -> tuple[int, int]:
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
    only: int = 0,
) -> list[Chart]:
    """The strip of a lot's steps that have readings, wide and narrow; empty where none has.

    Args:
        only: the number of the one step to draw large; 0, or one that there is not: the whole strip.
    """
    steps, broke = list(enumerate(chart_steps(parts, at), 1)), list(deviations)
    if not steps:
        return []
    alone = [one for one in steps if one[0] == only]
    return [
        _chart(alone or steps, broke, unit, zone, size, css, bool(alone))
        for size, css in ((WIDE, "chart-wide"), (NARROW, "chart-narrow"))
    ]


def _chart(
    numbered: list[tuple[int, ChartStep]],
    broke: list[Deviation],
    unit: TempUnit,
    zone: ZoneInfo,
    size: tuple[int, int],
    css: str,
    alone: bool,
) -> Chart:
    width, height = size
    steps = [step for _, step in numbered]
    scale = _Scale(*_range(steps), height - BOTTOM)
    shares = [sqrt(step.end - step.start) for step in steps]
    least = sum(shares) / 14
    shares = [max(share, least) for share in shares]
    names: dict[str, int] = {}
    segments, x = [], float(LEFT)
    for (number, step), share in zip(numbered, shares, strict=True):
        wide = (width - LEFT - RIGHT) * share / sum(shares)
        across = _Across(step.start, step.end, x, wide)
        segment = _segment(number, step, across, scale, broke, names, unit, zone)
        clocks = list(_clocks(across, zone)) if alone else []
        segments.append(replace(segment, clocks=clocks, begin="" if alone else segment.begin))
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
        f"Temperatures of lot {code} in step {numbered[0][0]}, {segments[0].name}"
        if alone
        else f"Temperatures of lot {code} through {len(steps)} step{'s' if len(steps) > 1 else ''}",
        sorted((style, name) for name, style in names.items()),
        alone,
    )


def _clocks(across: _Across, zone: ZoneInfo) -> Iterator[tuple[float, str]]:
    """Full hours (or quarters, or days) along the floor of a step drawn alone."""
    span, room = across.end - across.start, across.width / (CLOCK_LETTERS * LETTER)
    step = next((size for size in CLOCK_STEPS if span / size <= room), CLOCK_STEPS[-1])
    shift = _offset(across.start, zone)
    moment = -(-(across.start + shift) // step) * step - shift
    while moment <= across.end:
        day, month, _, hour, _ = show_moment(moment, zone).split()
        x = across(moment)
        text = f"{day} {month}" if step >= DAY_MS else hour
        if across.x + len(text) * LETTER / 2 < x < across.x + across.width - len(text) * LETTER / 2:
            yield x, text
        moment += step


def _offset(moment: int, zone: ZoneInfo) -> int:
    """How far the zone's clocks are ahead of UTC then, ms."""
    ahead = datetime.fromtimestamp(moment / 1000, zone).utcoffset()
    return 0 if ahead is None else round(ahead.total_seconds() * 1000)


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
    step: ChartStep,
    across: _Across,
    scale: _Scale,
    broke: list[Deviation],
    names: dict[str, int],
    unit: TempUnit,
    zone: ZoneInfo,
) -> Segment:
    labels = [(label_of(step, subject, probe), runs) for subject, probe, runs in step.runs()]
    styles = _styles([label for label, _ in labels], names)
    lines = [_line(label, styles[label], runs, step, across, scale) for label, runs in labels]
    fish = {
        label_of(step, subject, probe)
        for subject, probe, _ in step.runs()
        if subject == "fish" and probe[-1:].isdigit()
    }
    lines = _named(lines, fish, across, scale)
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
        _limit_lines(step.bounds, scale, across, lines, unit),
        [(across(a), round(across(b) - across(a), 1)) for a, b in gaps(step)],
        [_breach(one, step, across, scale) for one in broke if one.load_id == step.part.load_id],
    )


def _named(lines: list[Line], fish: set[str], across: _Across, scale: _Scale) -> list[Line]:
    """The lines of a step that has several, each with its name at its end where it can stand clear of the
    others (of fish their number); the rest is in the legend."""
    if len(lines) < 2:
        return lines
    out, taken = [], []
    for line in sorted(lines, key=lambda one: one.points[-1][1] if one.points else 0):
        name = line.label.rsplit(" ", 1)[-1] if line.label in fish else line.label
        if not line.points or len(name) * LETTER + 12 > across.width / 2:
            out.append(line)
            continue
        x, y = line.points[-1]
        room = x + 8 + len(name) * LETTER < across.x + across.width
        left = x + 6 if room else x - 6 - len(name) * LETTER
        wanted = [y + 5, y - TEXT / 2, y + TEXT, y - TEXT - 2, y + 2 * TEXT]
        free = [
            spot
            for spot in wanted
            if TOP + TEXT < spot < scale.floor
            and all(abs(spot - other) >= TEXT - 4 for other in taken)
        ]
        if not free:
            out.append(line)
            continue
        taken.append(free[0])
        out.append(replace(line, at_line=name, at_x=round(left, 1), at_y=round(free[0], 1)))
    return sorted(out, key=lambda one: [line.label for line in lines].index(one.label))


def _styles(labels: list[str], names: dict[str, int]) -> dict[str, int]:
    """A pattern for each line of a step; `names` keeps those of steps with more lines than one, which
    the legend names.  A line alone in its step is told by its place."""
    if len(labels) == 1:
        return {labels[0]: names.get(labels[0], 1)}
    for label in labels:
        free = [style for style in PATTERNS if style not in {names.get(one) for one in labels}]
        names.setdefault(label, free[0] if free else PATTERNS[-1])
    return names


def _fits(text: str, width: float) -> bool:
    return len(text) * LETTER + 8 <= width


def _limit_lines(
    bounds: list[DrawnBound], scale: _Scale, across: _Across, lines: list[Line], unit: TempUnit
) -> list[LimitLine]:
    """The lines with their words beside them where nothing else stands, critical limits first."""
    taken = [point for line in lines for point in line.points]
    taken += [
        (line.at_x + n * LETTER, line.at_y - TEXT / 2)
        for line in lines
        for n in range(len(line.at_line))
    ]
    levels = {scale.y(one.bound.f) for one in bounds}
    out = []
    for one in sorted(bounds, key=lambda one: one.css != "limit"):
        y, words = scale.y(one.bound.f), one.words(unit)
        wide = len(words) * LETTER
        left, right = across.x + 5, across.x + across.width - 5
        spots = [
            (x, spot, anchor)
            for spot in (y - 7, y + TEXT - 1)
            for x, anchor in ((right, "end"), (left, "start"))
            if TOP + TEXT < spot < scale.floor - 2 and wide + 10 <= across.width
        ]
        free = [
            spot
            for spot in spots
            if not any(_touches(at, spot, wide) for at in taken)
            and not any(spot[1] - TEXT + 5 < level < spot[1] + 3 for level in levels - {y})
        ]
        x, label_y, anchor = free[0] if free else (right, y, "end")
        if free:
            middle = x + wide / 2 if anchor == "start" else x - wide / 2
            taken += [(middle + n * wide / 4, label_y - TEXT / 2) for n in (-2, -1, 0, 1, 2)]
        label = words if free else ""
        text = f"{words} °{unit}"
        out.append(LimitLine(y, text, one.css, label, round(x, 1), round(label_y, 1), anchor))
    return out


def _touches(point: tuple[float, float], spot: tuple[float, float, str], wide: float) -> bool:
    """Whether a point lies in the words written at a spot."""
    x, y, anchor = spot
    first = x if anchor == "start" else x - wide
    return first - 6 <= point[0] <= first + wide + 6 and y - TEXT < point[1] < y + 6


def _breach(one: Deviation, step: ChartStep, across: _Across, scale: _Scale) -> Breach:
    """The deviation at the moment that it broke, on the line of its limit if that has one."""
    at_limit = [scale.y(bound.bound.f) for bound in step.bounds if bound.limit_id == one.limit_id]
    y = min(at_limit[0] if at_limit else scale.floor, scale.floor - TRIANGLE)
    return Breach(across(one.broke_at), round(y, 1), f"deviation {one.pk}")


def _line(
    label: str, style: int, runs: Sequence[Chunk], step: ChartStep, across: _Across, scale: _Scale
) -> Line:
    """The path of a probe: a pixel column's lowest and highest, broken where it fell silent."""
    path: list[str] = []
    dots: list[tuple[float, float]] = []
    last: int | None = None
    for run in runs:
        for at, low, high, until in _columns(run, across):
            x = across(at)
            far = last is None or at - last > step.longest_gap
            path.append(f"{'M' if far else 'L'}{x} {scale.y(high)}")
            if low != high:
                path.append(f"L{x} {scale.y(low)}")
            dots.append((x, scale.y(high)))
            last = until
    return Line(label, style, " ".join(path), dots, len(dots) > across.width / 8)


def _columns(run: Chunk, across: _Across) -> Iterator[tuple[int, int, int, int]]:
    """(moment, lowest, highest, last moment): each reading, or of a long run those of each pixel column."""
    begin, end = run.at[0], run.at[-1]
    pixels = int(across(end) - across(begin)) + 1
    if len(run) <= 2 * pixels:
        yield from ((at, value, value, at) for at, value in zip(run.at, run.value, strict=True))
        return
    first = 0
    for pixel in range(1, pixels + 1):
        edge = begin + (end - begin) * pixel // pixels
        after = bisect_left(run.at, edge) if pixel < pixels else len(run)
        if after > first:
            values = run.value[first:after]
            yield run.at[first], min(values), max(values), run.at[after - 1]
        first = after
