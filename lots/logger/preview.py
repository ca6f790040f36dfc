"""What a person sees before a file goes in: its first and last rows as understood."""

from __future__ import annotations

from dataclasses import dataclass

from lots.logger.errors import LoggerFileError
from lots.logger.leaving import LeftOut
from lots.logger.reading import Bounds, Parsed, Series, rows
from lots.logger.text import cells, read_text
from lots.logger.understanding import Understanding
from lots.logger.zones import shown


@dataclass(frozen=True)
class ShownReading:
    """One reading as understood."""

    line: int
    moment: str  # "4 Mar 2026 14:05 −05:00"
    as_read: str
    unit: str


@dataclass(frozen=True)
class ShownSeries:
    """The first and last readings of a channel; `last` has none that `first` has."""

    name: str
    count: int
    first: tuple[ShownReading, ...]
    last: tuple[ShownReading, ...]


@dataclass(frozen=True)
class Preview:
    """A file as it would go in, or why it cannot."""

    raw: tuple[tuple[int, tuple[str, ...]], ...]  # first rows: line and cells, whatever they mean
    series: tuple[ShownSeries, ...]
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]
    refusal: LoggerFileError | None


def preview(
    data: bytes,
    understanding: Understanding,
    bounds: Bounds,
    *,
    show: int = 5,
    largest_bytes: int = 50_000_000,
) -> Preview:
    """The preview of a file; a refusal is part of it, not raised.

    Args:
        data: the same bytes that were understood.
        understanding: from `understand` or `with_choices`.
        bounds: what a reading can be at all.
        show: how many rows at each end.
        largest_bytes: a larger file is refused.
    """
    raw = _raw(data, understanding, show, largest_bytes)
    try:
        parsed = rows(data, understanding, bounds, largest_bytes=largest_bytes)
    except LoggerFileError as refusal:
        return Preview(raw, (), (), (), refusal)
    return _of(parsed, raw, understanding, show)


def _of(
    parsed: Parsed,
    raw: tuple[tuple[int, tuple[str, ...]], ...],
    understanding: Understanding,
    show: int,
) -> Preview:
    zone = understanding.establishment_zone
    series = tuple(_shown(one, zone, show) for one in parsed.series)
    return Preview(raw, series, parsed.left_out, parsed.notes, None)


def _raw(
    data: bytes, understanding: Understanding, show: int, largest_bytes: int
) -> tuple[tuple[int, tuple[str, ...]], ...]:
    lines = read_text(data, understanding.encoding, largest_bytes).lines
    start = understanding.first_row
    head = lines[start : start + show]
    return tuple(
        (start + i + 1, tuple(cells(line, understanding.delimiter))) for i, line in enumerate(head)
    )


def _shown(series: Series, zone: str, show: int) -> ShownSeries:
    made = [
        ShownReading(r.line, shown(r.observed_at, zone), r.as_read, series.channel.unit)
        for r in (*series.readings[:show], *series.readings[show:][-show:])
    ]
    count = len(series.readings)
    return ShownSeries(series.channel.name, count, tuple(made[:show]), tuple(made[show:]))
