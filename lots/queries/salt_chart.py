"""The forecast of salt drawn: the likely band in grey, its best figure a line, the target a line with its
word, each piece a mark whose shape says how it stands."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.units import MM_PER_IN, show_number
from lots.core.uptake import LONGEST_S, M_PER_MM, Forecast, course, forecast
from lots.queries.salt_forecast import PieceRow, SaltForecast, duration
from lots.queries.sums import percent
from lots.queries.uptake_points import PointShown

LEFT, RIGHT, TOP, BOTTOM = 60, 18, 40, 40
WIDE, NARROW = (760, 360), (360, 320)
MOST_TICKS: Final = {WIDE[0]: 8, NARROW[0]: 4}
LETTER: Final = 10.5  # width of a letter of the chart's text, in its units
HOUR_S: Final = 3600
HOURS: Final = [Fraction(n) for n in (1, 2, 3, 6, 12, 24, 48, 72, 120, 168, 240, 480, 720)]
PERCENTS: Final = [Fraction(n) for n in ("0.1", "0.2", "0.5", "1", "2", "5", "10", "20")]
MMS: Final = [Fraction(n) for n in (1, 2, 5, 10, 20, 50, 100)]
INCHES: Final = [Fraction(n) for n in ("0.1", "0.25", "0.5", "1", "2", "4")]
DEPTHS: Final = 36  # thicknesses that the band is drawn through
ROOM: Final = Fraction("1.08")  # above the highest figure


@dataclass(frozen=True)
class Mark:
    """A piece, or pieces of one thickness: the middle of its shape, and its label where there is room."""

    x: float
    y: float
    shape: str
    words: str
    label: str = ""
    label_dy: int = 28  # below it, or above where the target's line is below


@dataclass(frozen=True)
class Drawing:
    """One picture for one width of page."""

    width: int
    height: int
    css: str
    label: str
    unit: str
    band: str
    line: str
    ticks: list[tuple[float, str]]
    across: list[tuple[float, str]]
    target_y: float
    target: str
    target_x: float
    target_anchor: str
    marks: list[Mark]
    at: float | None = None  # an upright line at the time asked about
    at_words: str = ""
    left: int = LEFT
    top: int = TOP

    @property
    def right(self) -> int:
        return self.width - RIGHT

    @property
    def floor(self) -> int:
        return self.height - BOTTOM


Points = Sequence[tuple[Fraction, Forecast]]


@dataclass(frozen=True)
class _Frame:
    """Figures as places on a picture."""

    size: tuple[int, int]
    low: Fraction
    high: Fraction
    top: Fraction

    def x(self, value: Fraction) -> float:
        share = float((value - self.low) / (self.high - self.low))
        return round(LEFT + min(max(share, 0), 1) * (self.size[0] - LEFT - RIGHT), 1)

    def y(self, value: Fraction) -> float:
        floor = self.size[1] - BOTTOM
        return round(floor - min(float(value / self.top), 1) * (floor - TOP), 1)

    def line(self, points: Points) -> str:
        return "M" + " L".join(f"{self.x(at)} {self.y(one.best)}" for at, one in points)

    def band(self, points: Points) -> str:
        out = [f"{self.x(at)} {self.y(one.high)}" for at, one in points]
        back = [f"{self.x(at)} {self.y(one.low)}" for at, one in reversed(points)]
        return f"M{' L'.join(out + back)} Z"

    def heights(self) -> list[tuple[float, str]]:
        step = _step(self.top, PERCENTS, 6)
        return [
            (self.y(value), show_number(value, 1))
            for value in _multiples(Fraction(0), self.top, step)
        ]


def _step(span: Fraction, steps: Sequence[Fraction], most: int) -> Fraction:
    return next((one for one in steps if span / one <= most), steps[-1])


def _multiples(low: Fraction, high: Fraction, step: Fraction) -> Iterator[Fraction]:
    value = -(-low // step) * step
    while value <= high:
        yield value
        value += step


def _top(points: Points, target: Fraction) -> Fraction:
    return max(target, *(one.high for _, one in points)) * ROOM


def _both(draw: Callable[[tuple[int, int], str], Drawing]) -> list[Drawing]:
    return [draw(size, css) for size, css in ((WIDE, "chart-wide"), (NARROW, "chart-narrow"))]


def over_time(found: SaltForecast) -> list[Drawing]:
    """Water-phase salt of the thickest piece over time."""
    asked, row = found.asked, found.thickest
    until = _until(found)
    metres = float(row.piece.thickness_mm) * M_PER_MM
    points: Points = [
        (Fraction(s), one)
        for s, one in course(asked.brining, found.known.diffusivity, metres, until)
    ]
    top = _top(points, asked.target_pct)

    def draw(size: tuple[int, int], css: str) -> Drawing:
        frame = _Frame(size, Fraction(0), Fraction(until), top)
        x = frame.x(Fraction(asked.seconds))
        return Drawing(
            *size, css,
            f"Water-phase salt of the thickest piece, {row.thickness}, over time: after "
            f"{duration(Fraction(asked.seconds))} likely {row.band}",
            "% salt", frame.band(points), frame.line(points), frame.heights(),
            list(_hours(frame, until, MOST_TICKS[size[0]])),
            *_target(found, frame, "start"),
            [Mark(x, frame.y(row.piece.forecast.best), row.shape, _words(row))],
            x, duration(Fraction(asked.seconds)),
        )  # fmt: skip

    return _both(draw)


def _until(found: SaltForecast) -> int:
    """To where time is drawn: past the time asked about, and on to the target where that is near."""
    seconds = found.asked.seconds
    reached = found.time.sure or found.time.best or found.time.hopeful
    far = seconds if reached is None else min(int(reached), 3 * seconds)
    return min(LONGEST_S, max(seconds * 5 // 4, far * 21 // 20))


def _hours(frame: _Frame, until: int, most: int) -> Iterator[tuple[float, str]]:
    step = _step(Fraction(until, HOUR_S), HOURS, most)
    if until < HOUR_S:
        step = Fraction(1, 4)
    for hours in _multiples(step, Fraction(until, HOUR_S), step):
        text = f"{hours / 24} d" if step >= 24 else f"{show_number(hours, 2)} h"
        yield frame.x(hours * HOUR_S), text


def over_thickness(found: SaltForecast) -> list[Drawing]:
    """Water-phase salt after the time asked about, over the thickness of pieces."""
    asked, known = found.asked, found.known.diffusivity
    thick = [row.piece.thickness_mm for row in found.rows]
    low, high = min(thick) / 2, max(thick) * Fraction(6, 5)
    at = sorted({low + (high - low) * n / DEPTHS for n in range(DEPTHS + 1)} | set(thick))
    points: Points = [
        (mm, forecast(asked.brining, known, float(mm) * M_PER_MM, asked.seconds)) for mm in at
    ]
    top = _top(points, asked.target_pct)

    def draw(size: tuple[int, int], css: str) -> Drawing:
        frame = _Frame(size, low, high, top)
        return Drawing(
            *size, css, f"Water-phase salt after {duration(Fraction(asked.seconds))} over thickness. {found.failing}",
            "% salt", frame.band(points), frame.line(points), frame.heights(),
            list(_thicknesses(frame, asked.in_inches, MOST_TICKS[size[0]])),
            *_target(found, frame, "end"), _marks(found, frame),
        )  # fmt: skip

    return _both(draw)


def _target(found: SaltForecast, frame: _Frame, anchor: str) -> tuple[float, str, float, str]:
    x = LEFT + 8 if anchor == "start" else frame.size[0] - RIGHT - 8
    return frame.y(found.asked.target_pct), f"target {percent(found.asked.target_pct)}", x, anchor


def _thicknesses(frame: _Frame, in_inches: bool, most: int) -> Iterator[tuple[float, str]]:
    per, unit = (MM_PER_IN, "in") if in_inches else (Fraction(1), "mm")
    low, high = frame.low / per, frame.high / per
    step = _step(high - low, INCHES if in_inches else MMS, most)
    for value in _multiples(low, high, step):
        yield frame.x(value * per), f"{show_number(value, 2)} {unit}"


def _marks(found: SaltForecast, frame: _Frame) -> list[Mark]:
    """The pieces, thickest first, each with its thickness where it can stand clear of the one before."""
    out: list[Mark] = []
    taken = float(frame.size[0])
    for row in found.rows:
        x, y = frame.x(row.piece.thickness_mm), frame.y(row.piece.forecast.best)
        text = _short(row, found.asked.in_inches)
        half = len(text) * LETTER / 2
        clear = x + half < taken
        if clear:
            taken = x - half - LETTER / 2
        under = y < frame.y(found.asked.target_pct) - 6 < y + 28
        out.append(Mark(x, y, row.shape, _words(row), text if clear else "", -16 if under else 28))
    return out


def _short(row: PieceRow, in_inches: bool) -> str:
    mm = row.piece.thickness_mm
    figure = show_number(mm / MM_PER_IN, 2) if in_inches else show_number(mm, 1)
    return f"{figure} × {row.count}" if row.count > 1 else figure


def _words(row: PieceRow) -> str:
    return f"{row.thickness}: {row.best}, likely {row.band}: {row.standing.value}"


# --- the points of a fit --------------------------------------------------------------------------


@dataclass(frozen=True)
class FitDrawing:
    """Points as found against the fit; on the slanting line they agree."""

    width: int
    height: int
    css: str
    label: str
    ticks: list[tuple[float, str]]
    across: list[tuple[float, str]]
    agree: tuple[float, float, float, float]
    marks: list[tuple[float, float, str, float]]  # x, y, words, y on the line of agreement
    left: int = LEFT
    top: int = TOP

    @property
    def right(self) -> int:
        return self.width - RIGHT

    @property
    def floor(self) -> int:
        return self.height - BOTTOM


def fit_picture(rows: Sequence[PointShown]) -> list[FitDrawing]:
    """Water-phase salt as found over as fitted; empty without a fit."""
    found = [(row, row.residual) for row in rows if row.residual is not None]
    if not found:
        return []
    top = max(max(one.found_pct, one.fitted_pct) for _, one in found) * ROOM

    def draw(size: tuple[int, int], css: str) -> FitDrawing:
        frame = _Frame(size, Fraction(0), top, top)
        step = _step(top, PERCENTS, 6)
        return FitDrawing(
            *size, css,
            f"Water-phase salt as found over as the fit has it, {len(found)} results",
            frame.heights(),
            [(frame.x(value), f"{show_number(value, 1)} %") for value in _multiples(step, top, step)],
            (frame.x(Fraction(0)), frame.y(Fraction(0)), frame.x(top), frame.y(top)),
            [
                (
                    frame.x(one.fitted_pct),
                    frame.y(one.found_pct),
                    f"{row.row.result.lot.code}: found {percent(one.found_pct)}, the fit has {percent(one.fitted_pct)}",
                    frame.y(one.fitted_pct),
                )
                for row, one in found
            ],
        )  # fmt: skip

    return [draw(size, css) for size, css in ((WIDE, "chart-wide"), (NARROW, "chart-narrow"))]
