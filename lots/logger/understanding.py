"""How a logger's file is understood: columns, dates, decimal sign, units, zone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from lots.logger import headings, moments, zones
from lots.logger.choices import Choices
from lots.logger.errors import Code, LoggerFileError
from lots.logger.layout import Fixed, Layout, find_layout
from lots.logger.text import Text, cells, read_text
from lots.logger.truncation import truncation_of
from lots.logger.values import decimal_written, is_error_code, is_number, unit_written

FROM_FILE, FROM_ESTABLISHMENT, FROM_CHOICE = "file", "establishment", "choice"


@dataclass(frozen=True)
class Channel:
    """A column that may hold temperatures."""

    column: int
    name: str
    unit: str  # "C" or "F"
    unit_from: str  # "file", "establishment" or "choice"
    taken: bool  # whether its readings go into the book
    unit_column: int | None = None  # a column beside it that holds the unit


@dataclass(frozen=True)
class Understanding:
    """How a file is understood. Lines and columns are counted from 0."""

    encoding: str
    delimiter: str
    preamble: tuple[str, ...]
    header_row: int | None
    first_row: int
    columns: tuple[str, ...]
    moment_columns: tuple[int, ...]
    date_order: str
    date_order_certain: bool
    date_readings: tuple[tuple[str, str], ...]  # each order and the day it makes of one date
    clock: str  # "12 h" or "24 h"
    decimal: str
    zone: str  # an IANA name, or a fixed offset such as "−05:00"
    zone_from: str
    rows_say_zone: bool  # each row carries its own offset from UTC
    channels: tuple[Channel, ...]
    truncated: str  # why the file seems cut short, or ""
    accept_truncated: bool
    width: int  # cells of an ordinary row
    headed: int  # columns that have a heading; all, if there are no headings
    establishment_zone: str
    establishment_unit: str
    choices: Choices = field(repr=False)


@dataclass(frozen=True)
class _Body:
    """What is looked for in every row, not in a sample."""

    dates: dict[str, None]
    halves: bool
    offsets: frozenset[str | None]
    texts: dict[int, dict[str, None]]  # distinct cells of each column that is no moment


def understand(
    data: bytes,
    zone: str,
    unit: str,
    choices: Choices | None = None,
    *,
    largest_bytes: int = 50_000_000,
) -> Understanding:
    """How a file is understood, as far as it lets itself be; `rows` refuses what stays open.

    Args:
        data: the file as uploaded.
        zone: the establishment's zone, used where the file names none.
        unit: "C" or "F", used where the file names none.
        choices: what a person settled in the preview; it goes before what is found.
        largest_bytes: a larger file is refused.

    Raises:
        LoggerFileError: empty, too large, not a table, no rows, or a choice that is none.
    """
    choices = choices or Choices()
    text = read_text(data, choices.encoding, largest_bytes)
    fixed = Fixed(choices.delimiter, choices.header_row, choices.moment_columns)
    layout = find_layout(text.lines, fixed)
    body = _body(text, layout)
    order = _order(body, choices, unit)
    name, source = _zone(layout, choices, zone, body)
    return Understanding(
        encoding=text.encoding,
        delimiter=layout.delimiter,
        preamble=layout.preamble,
        header_row=layout.header_row,
        first_row=layout.first_row,
        columns=layout.columns,
        moment_columns=layout.moment_columns,
        date_order=order.name,
        date_order_certain=order.certain,
        date_readings=_date_readings(body),
        clock="12 h" if body.halves else "24 h",
        decimal=choices.decimal or _decimal(layout, body),
        zone=name,
        zone_from=source,
        rows_say_zone=bool(body.offsets - {None}) and choices.zone is None,
        channels=_channels(layout, body, choices, unit),
        truncated=truncation_of(text, layout),
        accept_truncated=choices.accept_truncated,
        width=layout.width,
        headed=layout.headed,
        establishment_zone=zone,
        establishment_unit=unit,
        choices=choices,
    )


def _body(text: Text, layout: Layout) -> _Body:
    dates: dict[str, None] = {}
    offsets: set[str | None] = set()
    times: set[str] = set()
    columns = [i for i in range(len(layout.columns)) if i not in layout.moment_columns]
    texts: dict[int, dict[str, None]] = {column: {} for column in columns}
    for line in text.lines[layout.first_row :]:
        row = cells(line, layout.delimiter)
        found = moments.parts(" ".join(_picked(row, layout.moment_columns)))
        if found is not None:
            dates[found.date] = None
            times.add(found.time)
            offsets.add(found.offset)
        if found is not None or not layout.moment_columns:
            for column in columns:
                if column < len(row):
                    texts[column][row[column]] = None
    return _Body(dates, any(map(moments.has_half, times)), frozenset(offsets), texts)


def _picked(row: list[str], columns: tuple[int, ...]) -> list[str]:
    return [row[column] for column in columns] if columns and len(row) > max(columns) else []


def _order(body: _Body, choices: Choices, unit: str) -> moments.Order:
    if choices.date_order is not None:
        return moments.Order(choices.date_order, True)
    guess = moments.MONTH_FIRST if unit == "F" else moments.DAY_FIRST
    return moments.order_of(body.dates, guess)


def _date_readings(body: _Body) -> tuple[tuple[str, str], ...]:
    """The first date that orders make different days of, read in each order."""
    for text in body.dates:
        readings = moments.readings_of(text)
        if len({day for _, day in readings}) > 1:
            return tuple((o, f"{d.day} {d.strftime('%b')} {d.year}") for o, d in readings)
    return ()


def _zone(layout: Layout, choices: Choices, zone: str, body: _Body) -> tuple[str, str]:
    if choices.zone is not None:
        return zones.zone_chosen(choices.zone), FROM_CHOICE
    establishment = zones.zone_chosen(zone)
    written = {zones.fixed_zone(zones.row_offset(o)) for o in body.offsets if o is not None}
    if written:
        return written.pop() if len(written) == 1 else establishment, FROM_FILE
    for column in layout.moment_columns:
        if column < len(layout.columns) and (named := zones.zone_in(layout.columns[column])):
            return named, FROM_FILE
    named = headings.zone_of_preamble(layout.preamble)
    if named is not None:
        return named, FROM_FILE
    return establishment, FROM_ESTABLISHMENT


def _decimal(layout: Layout, body: _Body) -> str:
    """The sign that most distinct numbers have; a point where none has any."""
    signs: Counter[str] = Counter()
    for texts in body.texts.values():
        signs.update(sign for sign in map(decimal_written, texts) if sign)
    return "," if signs[","] > signs["."] else "."


def _channels(layout: Layout, body: _Body, choices: Choices, unit: str) -> tuple[Channel, ...]:
    numeric = [column for column, texts in body.texts.items() if _is_numeric(texts)]
    named = [c for c in body.texts if _is_named(layout.columns[c], body.texts[c])]
    taken = set(named or _plain(layout, body, numeric))
    return tuple(
        _channel(layout, body, column, column in taken, choices, unit)
        for column in sorted({*numeric, *named, *choices.taken} & set(body.texts))
    )


def _is_named(heading: str, texts: dict[str, None]) -> bool:
    """Whether the heading speaks of temperature and the cells do not belie it."""
    belied = any(texts) and not any(
        is_number(text) or is_error_code(text) for text in texts if text
    )
    return headings.is_temperature(heading) and not belied


def _plain(layout: Layout, body: _Body, numeric: list[int]) -> list[int]:
    """Columns of numbers whose headings say nothing, running numbers apart."""
    open_to_it = []
    for column in numeric:
        name = layout.columns[column]
        if not headings.is_other(name) and not (name and headings.is_counter(name)):
            open_to_it.append(column)
    if len(open_to_it) == 1:
        return open_to_it
    before = min(layout.moment_columns, default=len(layout.columns))
    return [
        column
        for column in open_to_it
        if column > before or not _is_running_number([t for t in body.texts[column] if t])
    ]


def _channel(
    layout: Layout, body: _Body, column: int, taken: bool, choices: Choices, unit: str
) -> Channel:
    beside = _unit_column(body, column)
    written = _written_units(body, column, beside)
    in_file = headings.unit_in(layout.columns[column])
    in_file = in_file or (written[0] if written else headings.unit_of_preamble(layout.preamble))
    if column in choices.units:
        settled, source = choices.units[column], FROM_CHOICE
    elif in_file is not None:
        settled, source = in_file, FROM_FILE
    else:
        settled, source = unit, FROM_ESTABLISHMENT
    name = layout.columns[column] or f"column {column + 1}"
    return Channel(column, name, settled, source, choices.taken.get(column, taken), beside)


def _unit_column(body: _Body, column: int) -> int | None:
    """The column just after a channel, if all that it holds is units."""
    filled = [text for text in body.texts.get(column + 1, {}) if text]
    return column + 1 if filled and all(map(headings.unit_alone, filled)) else None


def _written_units(body: _Body, column: int, beside: int | None) -> list[str]:
    units = [unit_written(text) for text in body.texts[column]]
    if beside is not None:
        units += [headings.unit_alone(text) for text in body.texts[beside] if text]
    return [unit for unit in units if unit is not None]


def _is_numeric(texts: dict[str, None]) -> bool:
    filled = [text for text in texts if text]
    numbers = sum(map(is_number, filled))
    return numbers > 0 and numbers + sum(map(is_error_code, filled)) >= len(filled) / 2


def _is_running_number(texts: Sequence[str]) -> bool:
    """Whether distinct texts, in the order of the rows, are whole numbers that count up by one."""
    if len(texts) < 3 or not all(text.isdecimal() for text in texts):
        return False
    return all(int(b) - int(a) == 1 for a, b in pairwise(texts))


def with_choices(data: bytes, understanding: Understanding, choices: Choices) -> Understanding:
    """The same file understood anew under a person's choices; see `understand`."""
    return understand(
        data, understanding.establishment_zone, understanding.establishment_unit, choices
    )


def chosen(understanding: Understanding) -> tuple[Channel, ...]:
    """The channels whose readings go into the book.

    Raises:
        LoggerFileError: no column for the moment, or none for a temperature.
    """
    columns = understanding.moment_columns
    if not columns or max(columns) >= len(understanding.columns):
        raise LoggerFileError(
            Code.NO_MOMENT_COLUMN,
            "No column with a date and time was found. Choose it in the preview; if the file has "
            "none, export it again with date and time.",
        )
    taken = tuple(channel for channel in understanding.channels if channel.taken)
    if not taken:
        raise LoggerFileError(
            Code.NO_TEMPERATURE_COLUMN,
            "No column with a temperature was found. Choose it in the preview; if the file has "
            "none, export it again with the temperature.",
        )
    return taken
