"""Temperature over time, drawn in black: probes by line pattern, limits in grey, gaps left open."""

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor
from statistics import median

from lots.core.record import (
    DeviationFacts,
    HandReading,
    LimitLine,
    LoadFacts,
    LoggerSeries,
    LotRecord,
)
from lots.core.units import MS_PER_MIN, show_temperature
from lots.pdf.faces import printable, shortened, width
from lots.pdf.layout import SMALL, Mark, Sheet, Text
from lots.pdf.shapes import Path, Point, ring, verdict_shape
from lots.pdf.words import Shown, day, sentence

PATTERNS: tuple[tuple[float, ...], ...] = (
    (), (5, 2), (1.2, 1.8), (7, 2, 1.2, 2), (11, 3), (4, 2, 1.2, 2, 1.2, 2),
)  # fmt: skip
TICKS_MIN = (5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 7200, 14400, 43200)
COLUMNS = 360
"""At most so many columns of lowest and highest value a line is drawn from."""
AXIS, LABELS, HEAD, FOOT = 34.0, 92.0, 24.0, 26.0
PAD = 0.04
"""Room above and below the outermost figure, as a part of their span."""
LEAST_DEGREES = 6
GAP_TIMES = 3
"""A line whose file states no longest gap is broken where readings lie three usual steps apart
(common practice)."""


@dataclass(frozen=True, slots=True)
class Window:
    """What one chart shows: a stretch of time, the loads in it and the limits of their steps."""

    title: str
    from_at: int
    to_at: int
    loads: tuple[LoadFacts, ...]
    series: tuple[LoggerSeries, ...]
    readings: tuple[HandReading, ...]
    deviations: tuple[DeviationFacts, ...]


def is_temperature(reading: HandReading) -> bool:
    """Whether the reading is one of temperature that still counts."""
    return reading.unit in ("C", "F") and not reading.corrected_by


def windows(record: LotRecord) -> list[Window]:
    """The charts that the record needs: each load with temperatures, the whole lot first if several."""
    loads = [w for load in record.loads if (w := _of_load(record, load))]
    whole = _of_lot(record)
    return [whole, *loads] if whole and len(loads) > 1 else loads


def _moments(series: Iterable[LoggerSeries], readings: Iterable[HandReading]) -> list[int]:
    ends = [m for s in series if s.count for m in (s.at[0], s.at[-1])]
    return ends + [r.observed_at for r in readings]


def _of_load(record: LotRecord, load: LoadFacts) -> Window | None:
    until = load.ended_at or record.made_at
    series = tuple(s for s in record.series if s.load == load.number and s.count)
    readings = tuple(r for r in record.readings if r.load == load.number and is_temperature(r))
    moments = _moments(series, readings)
    if not moments:
        return None
    first, last = min([load.started_at, *moments]), max([until, *moments])
    broken = tuple(d for d in record.deviations if d.load == load.number)
    title = sentence(f"Load {load.number}", load.step, load.place)
    return Window(title, first, last, (load,), series, readings, broken)


def _of_lot(record: LotRecord) -> Window | None:
    series = tuple(s for s in record.series if s.count)
    readings = tuple(r for r in record.readings if is_temperature(r))
    ends = [load.ended_at or record.made_at for load in record.loads]
    moments = [*_moments(series, readings), *(load.started_at for load in record.loads), *ends]
    if not moments:
        return None
    title = "The whole lot"
    last = max(moments)
    return Window(
        title, min(moments), last, record.loads, series, readings, record.deviations
    )  # fmt: skip


def limit_lines(record: LotRecord, step: str) -> list[LimitLine]:
    """The levels to draw at a step: each once, in the plan's order."""
    points = [p for p in record.control_points if p.step == step]
    return list(dict.fromkeys(line for p in points for limit in p.limits for line in limit.lines))


def draw_chart(
    sheet: Sheet, record: LotRecord, window: Window, shown: Shown, height: float
) -> None:
    """Draws the chart across the sheet, `height` points high with its legend below."""
    chart = Chart(sheet, record, window, shown, height)
    sheet.need(height + chart.legend_height())
    chart.draw()


def legend_height(sheet: Sheet, record: LotRecord, window: Window, shown: Shown) -> float:
    """The height that the chart's legend takes below it."""
    return Chart(sheet, record, window, shown, 0.0).legend_height()


class Chart:
    """One window turned into marks: `x` and `y` take a moment and a temperature to the paper."""

    def __init__(
        self, sheet: Sheet, record: LotRecord, window: Window, shown: Shown, height: float
    ) -> None:
        self.sheet, self.record, self.window, self.shown = sheet, record, window, shown
        self.height = height
        self.left = sheet.paper.left + AXIS
        labels = LABELS if len(window.loads) == 1 else 14.0
        self.right = sheet.paper.width - sheet.paper.right - labels
        self.span_ms = max(window.to_at - window.from_at, MS_PER_MIN)
        self.unit_ninths = 5000 if shown.temperature_unit == "F" else 9000
        self.zero = 160000 if shown.temperature_unit == "F" else 0
        self.step, self.low, self.high = self._levels()
        self.probes = list(dict.fromkeys([*map(self._series_name, window.series)]))
        self.hands = list(dict.fromkeys(map(self._reading_name, window.readings)))

    def _series_name(self, series: LoggerSeries) -> str:
        return sentence(series.probe, series.place, joint=", ")

    def _reading_name(self, reading: HandReading) -> str:
        return "by hand: " + sentence(reading.probe, reading.place, joint=", ")

    def _degrees(self, ninths: int) -> float:
        return (ninths + self.zero) / self.unit_ninths

    def _levels(self) -> tuple[int, int, int]:
        """The axis' step, lowest and highest level in whole degrees."""
        drawn = [line.ninths for load in self.window.loads for line in self._lines(load)]
        ends = [f(s.ninths) for s in self.window.series for f in (min, max)]
        found = [
            self._degrees(n) for n in [*drawn, *ends, *(r.value for r in self.window.readings)]
        ]
        low, high = min(found, default=0.0), max(found, default=0.0)
        pad = max((high - low) * PAD, (LEAST_DEGREES - high + low) / 2)
        low, high = low - pad, high + pad
        steps = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500, 1000)
        step = next((s for s in steps if (high - low) / s <= 6), steps[-1])
        bottom, top = floor(low / step) * step, ceil(high / step) * step
        return step, bottom, top if top > bottom else bottom + step

    def _lines(self, load: LoadFacts) -> list[LimitLine]:
        return limit_lines(self.record, load.step)

    def x(self, moment_at: int) -> float:
        part = (moment_at - self.window.from_at) / self.span_ms
        return self.left + part * (self.right - self.left)

    def y(self, ninths: int) -> float:
        return self.level(self._degrees(ninths))

    def level(self, degrees: float) -> float:
        part = (degrees - self.low) / (self.high - self.low)
        return self.base + part * (self.top - self.base)

    def draw(self) -> None:
        self.top = self.sheet.y - HEAD - self._label_height()
        self.base = self.sheet.y - self.height + FOOT
        self._bands()
        self._axes()
        self._limits()
        self._series_lines()
        self._hand_marks()
        self._deviations()
        self.sheet.y = self.base - FOOT
        self._legend()

    def add(self, *marks: Mark) -> None:
        self.sheet.marks.extend(marks)

    def label(self, x: float, y: float, text: str, grey: float = 0.0, align: float = 0.0) -> None:
        """A small label; align 0 starts at x, 0.5 is centred on it, 1 ends there."""
        wide = width(text, "Body", SMALL)
        self.add(Text(x - align * wide, y, "Body", SMALL, text, grey))

    def _label_height(self) -> float:
        return 11.0 if len(self.window.loads) > 1 else 0.0

    def _bands(self) -> None:
        """The loads' stretches: every other one shaded, named above where the name has room."""
        taken = 0.0
        for index, load in enumerate(sorted(self.window.loads, key=lambda one: one.started_at)):
            a, b = self.x(load.started_at), self.x(load.ended_at or self.window.to_at)
            if index % 2 == 0 and (len(self.window.loads) > 1 or b < self.right):
                corners = [(a, self.base), (b, self.base), (b, self.top), (a, self.top)]
                self.add(Path(corners, True, 0.945))
            name = printable(f"{load.number} {load.step}" if len(self.window.loads) > 1 else "")
            a = max(a, taken)
            if b - a < width(name, "Body", SMALL):
                name = str(load.number) if name else ""
            if name and a + width(name, "Body", SMALL) <= self.right + 14:
                self.label(a, self.top + HEAD - 9, name)
                taken = a + width(name, "Body", SMALL) + 4

    def _axes(self) -> None:
        self.add(Path([(self.left, self.base), (self.right, self.base)], stroke=0.0, thick=0.5))
        unit = f"°{self.shown.temperature_unit}"
        for degrees in range(self.low, self.high + 1, self.step):
            y = self.level(degrees)
            if degrees > self.low:
                self.add(Path([(self.left, y), (self.right, y)], stroke=0.8, thick=0.25))
            words = f"{degrees}".replace("-", "−") + (
                f" {unit}" if degrees + self.step > self.high else ""
            )
            self.label(self.left - 4, y - 3, words, 0.25, 1.0)
        self._time_axis()

    def _time_axis(self) -> None:
        span_min = self.span_ms / MS_PER_MIN
        step = next((t for t in TICKS_MIN if span_min / t <= 8), TICKS_MIN[-1]) * MS_PER_MIN
        shift = self.shown.local(self.window.from_at).utcoffset()
        shift_ms = round(shift.total_seconds()) * 1000 if shift else 0
        first = -(-(self.window.from_at + shift_ms) // step) * step - shift_ms
        dated, free = "", 0.0
        for tick in range(first, self.window.to_at + 1, step):
            x = self.x(tick)
            self.add(Path([(x, self.base), (x, self.base - 3)], stroke=0.0, thick=0.5))
            at = self.shown.local(tick)
            self.label(x, self.base - 12, f"{at:%H:%M}", 0.0, 0.5)
            wide = width(day(at), "Body", SMALL)
            if day(at) != dated and x - wide / 2 >= free:
                self.label(x, self.base - 22, day(at), 0.25, 0.5)
                dated, free = day(at), x + wide / 2 + 6

    def _limits(self) -> None:
        """Each level over its own load; its words at the right, apart from each other."""
        words: dict[str, float] = {}
        for load in self.window.loads:
            a, b = self.x(load.started_at), self.x(load.ended_at or self.window.to_at)
            for line in self._lines(load):
                y = self.y(line.ninths)
                dash: tuple[float, ...] = () if line.word == "critical" else (3, 2)
                self.add(Path([(a, y), (max(b, a + 3), y)], stroke=0.45, thick=1.6, dash=dash))
                sign = "≤" if line.side == "at most" else "≥"
                text = f"{sign} {show_temperature(line.ninths, 'F' if line.unit == 'F' else 'C')}"
                words[f"{text} {line.word}"] = y
        if len(self.window.loads) == 1:
            self._limit_words(words)

    def _limit_words(self, words: dict[str, float]) -> None:
        highest = float("inf")
        for text, y in sorted(words.items(), key=lambda item: -item[1]):
            at = min(y - 3, highest - 10)
            highest = at
            start = (self.right + 2, y)
            self.add(Path([start, (self.right + 7, at + 3)], stroke=0.5, thick=0.4))
            self.label(self.right + 9, at, shortened(text, "Body", SMALL, LABELS - 9), 0.2)

    def _series_lines(self) -> None:
        for series in self.window.series:
            dash = PATTERNS[self.probes.index(self._series_name(series)) % len(PATTERNS)]
            for run in self._runs(series):
                if len(run) == 1:
                    self.add(Path(ring(*run[0], 0.7, 8), True, 0.0))
                else:
                    self.add(Path(run, stroke=0.0, thick=0.75, dash=dash))

    def _runs(self, series: LoggerSeries) -> list[list[Point]]:
        """The series' points, cut where it has a gap."""
        first = bisect_left(series.at, self.window.from_at)
        last = bisect_right(series.at, self.window.to_at)
        gap = longest_gap(series)
        starts = [i for i in range(first + 1, last) if series.at[i] - series.at[i - 1] > gap]
        ends = [first, *starts, last]
        return [self._run(series, a, b) for a, b in itertools.pairwise(ends) if b > a]

    def _run(self, series: LoggerSeries, first: int, last: int) -> list[Point]:
        """Lowest and highest of each column, in the order in which they came."""
        size = max(1, (last - first) * 2 // COLUMNS)
        picked: list[int] = []
        for start in range(first, last, size):
            inside = range(start, min(start + size, last))
            ends = {
                min(inside, key=series.ninths.__getitem__),
                max(inside, key=series.ninths.__getitem__),
            }
            picked += sorted(ends)
        return [(self.x(series.at[i]), self.y(series.ninths[i])) for i in picked]

    def _hand_marks(self) -> None:
        """A mark a reading; of those closer in time than a mark is wide, the lowest and the highest."""
        columns: dict[tuple[int, int], list[HandReading]] = {}
        kinds = {name: kind for kind, name in enumerate(self.hands)}
        for reading in self.window.readings:
            kind = kinds[self._reading_name(reading)]
            column = int(self.x(reading.observed_at) / MARK)
            columns.setdefault((kind, column), []).append(reading)
        for (kind, _), inside in columns.items():
            shown = inside
            if len(inside) > 2:
                shown = [min(inside, key=_warmth), max(inside, key=_warmth)]
            for reading in shown:
                self.add(*hand_mark(kind, self.x(reading.observed_at), self.y(reading.value)))

    def _deviations(self) -> None:
        """A dashed line at each moment that a limit broke; the deviations' shape and numbers above,
        those too near each other to be told apart under one shape."""
        inside = [
            d
            for d in self.window.deviations
            if self.window.from_at <= d.broke_at <= self.window.to_at
        ]
        groups: list[list[DeviationFacts]] = []
        for one in sorted(inside, key=lambda d: (d.broke_at, d.number)):
            x = self.x(one.broke_at)
            self.add(Path([(x, self.base), (x, self.top + 1)], stroke=0.0, thick=0.6, dash=(1, 2)))
            if groups and x - 6 < self._group_end(groups[-1]):
                groups[-1].append(one)
            else:
                groups.append([one])
        for group in groups:
            x = self.x(group[0].broke_at)
            self.add(*verdict_shape("DEVIATION", x, self.top + 6))
            self.label(x + 6, self.top + 3, _numbers(group))

    def _group_end(self, group: list[DeviationFacts]) -> float:
        return self.x(group[0].broke_at) + 8 + width(_numbers(group), "Body", SMALL)

    def _legend_items(self) -> list[tuple[str, Callable[[float, float], list[Path]]]]:
        items: list[tuple[str, Callable[[float, float], list[Path]]]] = []
        for index, probe in enumerate(self.probes):
            items.append((probe, _line_sample(0.0, 0.75, PATTERNS[index % len(PATTERNS)])))
        for index, name in enumerate(self.hands):
            items.append((name, _mark_sample(index)))
        lines = [line for load in self.window.loads for line in self._lines(load)]
        if any(line.word == "critical" for line in lines):
            items.append(("critical limit", _line_sample(0.45, 1.6, ())))
        if any(line.word == "operating" for line in lines):
            items.append(("operating limit", _line_sample(0.45, 1.6, (3, 2))))
        if self.window.deviations:
            items.append(
                ("deviation, when it broke", lambda x, y: verdict_shape("DEVIATION", x + 10, y))
            )
        return items

    def _legend_places(self) -> list[tuple[int, float, str]]:
        """Line, x and words of each legend item."""
        room, x, line, places = self.sheet.paper.room, 0.0, 0, []
        for name, _ in self._legend_items():
            words = shortened(printable(name), "Body", SMALL, room - 30)
            wide = 26 + width(words, "Body", SMALL) + 14
            if x and x + wide - 14 > room:
                x, line = 0.0, line + 1
            places.append((line, self.sheet.paper.left + x, words))
            x += wide
        return places

    def legend_height(self) -> float:
        places = self._legend_places()
        return (places[-1][0] + 1) * 12.0 + 8 if places else 0.0

    def _legend(self) -> None:
        items = zip(self._legend_items(), self._legend_places(), strict=True)
        for (_, sample), (line, x, words) in items:
            y = self.sheet.y - 8 - line * 12.0
            self.add(*sample(x, y))
            self.label(x + 26, y - 3, words)
        self.sheet.gap(self.legend_height())


def _numbers(group: list[DeviationFacts]) -> str:
    """The deviations' numbers, e.g. "D1", "D1, D4", "D1 to D7", "D2 and 5 more"."""
    numbers = [d.number for d in group]
    if len(numbers) < 3:
        return ", ".join(f"D{n}" for n in numbers)
    if numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"D{numbers[0]} to D{numbers[-1]}"
    return f"D{numbers[0]} and {len(numbers) - 1} more"


def longest_gap(series: LoggerSeries) -> float:
    """The longest time between readings over which the series' line is drawn, in ms."""
    if series.gap_ms:
        return series.gap_ms
    steps = [b - a for a, b in zip(series.at, series.at[1:], strict=False)]
    return GAP_TIMES * median(steps) if steps else 0


def _line_sample(
    grey: float, thick: float, dash: tuple[float, ...]
) -> Callable[[float, float], list[Path]]:
    return lambda x, y: [Path([(x, y), (x + 21, y)], stroke=grey, thick=thick, dash=dash)]


def _warmth(reading: HandReading) -> int:
    return reading.value


def _mark_sample(kind: int) -> Callable[[float, float], list[Path]]:
    return lambda x, y: hand_mark(kind, x + 10, y)


MARK = 2.4  # half a mark's width, in points


def hand_mark(kind: int, x: float, y: float) -> list[Path]:
    """The mark of a probe read by hand; after six kinds they begin again, filled."""
    fill = 0.0 if kind >= 6 else 1.0
    r = MARK
    outlines: tuple[Sequence[Point], ...] = (
        ring(x, y, r, 16),
        [(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)],
        [(x - r, y - r), (x + r, y - r), (x, y + r)],
        [(x - r, y + r), (x + r, y + r), (x, y - r)],
    )
    if kind % 6 < 4:
        return [Path(outlines[kind % 6], True, fill, 0.0, 0.8)]
    slant = r if kind % 6 == 4 else 0.0
    first = [(x - r, y - slant), (x + r, y + slant)]
    other = [(x - slant, y + r), (x + slant, y - r)]
    return [Path(first, stroke=0.0, thick=0.9), Path(other, stroke=0.0, thick=0.9)]
