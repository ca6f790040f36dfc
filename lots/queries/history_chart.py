"""The figures of one control point drawn against their limit: a mark a lot, its shape the verdict."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

from lots.core.limits import demand
from lots.core.measures import Measure, measures
from lots.core.moments import show_moment
from lots.core.units import TempUnit
from lots.queries.control_point_history import History, StepHeld
from lots.queries.load_page import LimitShown

LEFT, RIGHT, TOP, BOTTOM = 64, 22, 34, 36
WIDE, NARROW = (760, 300), (360, 280)
STEPS = [Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)]
DAY_MS = 86_400_000
DAYS = (1, 2, 3, 5, 10, 15, 30)
MOST_LABELS = {760: 7, 360: 3}


@dataclass(frozen=True)
class Mark:
    """One lot's figure: the middle of its shape."""

    x: float
    y: float
    verdict: str
    words: str


@dataclass(frozen=True)
class BoundLine:
    y: float
    text: str


@dataclass(frozen=True)
class Drawing:
    """The same marks for one width of page."""

    width: int
    height: int
    css: str
    marks: list[Mark]
    bounds: list[BoundLine]
    ticks: list[tuple[float, str]]
    days: list[tuple[float, str]]
    left: int = LEFT
    top: int = TOP

    @property
    def right(self) -> int:
        return self.width - RIGHT

    @property
    def floor(self) -> int:
        return self.height - BOTTOM


@dataclass(frozen=True)
class Panel:
    """One limit's figures; `text` is what it demands."""

    text: str
    unit: str
    lots: int
    drawings: list[Drawing]


Figures = list[tuple[StepHeld, LimitShown, Measure]]


def panels(found: History, unit: TempUnit, zone: ZoneInfo) -> list[Panel]:
    """A panel for each limit that has figures to draw; a limit that was changed gets one for each way
    that it read."""
    by_limit: dict[tuple[str, str, str], Figures] = {}
    for step in found.steps:
        for shown in step.limits:
            limit, finding = shown.judged.limit, shown.judged.finding
            for one in measures(limit, finding, unit):
                key = limit.id, demand(limit), one.what
                by_limit.setdefault(key, []).append((step, shown, one))
    return [_panel(key[1], key[2], rows, found, zone) for key, rows in sorted(by_limit.items())]


def _panel(text: str, what: str, rows: Figures, found: History, zone: ZoneInfo) -> Panel:
    return Panel(
        f"{text}: {what}" if what else text,
        rows[0][2].unit,
        len(rows),
        [
            _drawing(rows, found, zone, size, css)
            for size, css in ((WIDE, "chart-wide"), (NARROW, "chart-narrow"))
        ],
    )


@dataclass(frozen=True)
class _Up:
    """Figures as heights."""

    low: Fraction
    high: Fraction
    height: int

    def __call__(self, value: Fraction) -> float:
        share = (value - self.low) / (self.high - self.low)
        plot = self.height - TOP - BOTTOM
        return round(float(self.height - BOTTOM - share * plot), 1)


def _up(rows: Figures, height: int) -> _Up:
    values = [one.value for _, _, one in rows]
    values += [bound for _, _, one in rows for bound in (one.low, one.high) if bound is not None]
    low, high = min(values), max(values)
    room = max((high - low) / 10, Fraction(1, 2))
    from_nothing = not rows[0][2].unit.startswith(
        "°"
    )  # times: how much of the time allowed was used
    floor = Fraction(0) if from_nothing else low - room
    return _Up(floor, high + room, height)


def _drawing(
    rows: Figures, found: History, zone: ZoneInfo, size: tuple[int, int], css: str
) -> Drawing:
    width, height = size
    up = _up(rows, height)

    first = _first(rows, found)

    def across(at: int) -> float:
        share = (at - first) / (found.until - first)
        return round(LEFT + 12 + min(max(share, 0), 1) * (width - LEFT - RIGHT - 24), 1)

    return Drawing(
        width,
        height,
        css,
        [
            Mark(
                across(step.at),
                up(one.value),
                shown.judged.verdict.value,
                _words(step, shown, zone),
            )
            for step, shown, one in rows
        ],
        list(_bounds(rows, up)),
        list(_ticks(up)),
        [(across(at), text) for at, text in _days(first, found.until, zone, MOST_LABELS[width])],
    )


def _first(rows: Figures, found: History) -> int:
    """Where the floor begins: a little before the first mark, so that few days fill the width."""
    earliest = max(found.since, min(step.at for step, _, _ in rows))
    return max(found.since, earliest - max(DAY_MS, (found.until - earliest) // 20))


def _words(step: StepHeld, shown: LimitShown, zone: ZoneInfo) -> str:
    judged = shown.judged
    day = " ".join(show_moment(step.at, zone).split()[:3])
    return f"{step.part.lot.code}, {day}: {judged.finding.figure}, {judged.verdict.words}"


def _bounds(rows: Figures, up: _Up) -> Iterator[BoundLine]:
    for side, words in (("low", "at least"), ("high", "at most")):
        found = {getattr(one, side) for _, _, one in rows} - {None}
        for bound in sorted(found):
            yield BoundLine(up(bound), f"{words} {_figure(bound)} {rows[0][2].unit}")


def _figure(value: Fraction) -> str:
    return f"{float(value):.4g}".replace("-", "−")


def _ticks(up: _Up) -> Iterator[tuple[float, str]]:
    step = next((one for one in STEPS if (up.high - up.low) / one <= 6), STEPS[-1])
    value = -(-up.low // step) * step
    while value <= up.high:
        yield up(value), _figure(value)
        value += step


def _days(since: int, until: int, zone: ZoneInfo, most: int) -> Iterator[tuple[int, str]]:
    """Midnights along the floor, so many days apart that their labels have room."""
    first = datetime.fromtimestamp(since / 1000, zone)
    span = (until - since) / DAY_MS
    apart = next((n for n in DAYS if span / n <= most), DAYS[-1])
    day = first.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    while (at := round(day.timestamp() * 1000)) <= until:
        yield at, " ".join(show_moment(at, zone).split()[:2])
        day += timedelta(days=apart)
