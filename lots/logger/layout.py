"""Where the table is in a file: delimiter, preamble, heading, first row, columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from lots.logger import headings
from lots.logger.errors import Code, LoggerFileError
from lots.logger.moments import moment_columns, parts
from lots.logger.text import cells, not_a_table
from lots.logger.values import is_number

DELIMITERS = ("\t", ";", ",", "|")
_SAMPLE = 400  # lines looked at to find the shape; dates and numbers are looked at in all


@dataclass(frozen=True)
class Layout:
    """The shape of a table. Rows of the file are counted from 0 here."""

    delimiter: str
    preamble: tuple[str, ...]
    header_row: int | None
    first_row: int
    columns: tuple[str, ...]
    moment_columns: tuple[int, ...]
    width: int  # cells of an ordinary row
    headed: int  # columns that have a heading; all, if the table has no headings


@dataclass(frozen=True)
class Fixed:
    """What a person has settled about the shape; None is left to be found."""

    delimiter: str | None = None
    header_row: int | None = None
    moment_columns: tuple[int, ...] | None = None


def find_layout(lines: Sequence[str], fixed: Fixed) -> Layout:
    """The shape of the table in these lines.

    Raises:
        LoggerFileError: there is no table, or a table without rows.
    """
    if fixed.header_row is not None and fixed.header_row >= len(lines):
        raise LoggerFileError(
            Code.CHOICE_UNKNOWN,
            f"The file has no line {fixed.header_row + 1} for the headings; it has {len(lines)}.",
        )
    sample = _sample(lines)
    delimiter = fixed.delimiter or _announced(lines) or _delimiter(lines, sample)
    rows = {number: cells(lines[number], delimiter) for number in sample}
    moment = fixed.moment_columns
    if moment is None:
        moment = _usual_moment(rows)
    width = _usual_width(rows, moment)
    first = _first_reading(lines, delimiter, moment, width, fixed.header_row)
    header = fixed.header_row
    if header is None:
        header = _header_above(lines, delimiter, first, moment, width)
    names = _names(lines, delimiter, header, first, width)
    preamble = lines[: first if header is None else header]
    return Layout(
        delimiter,
        tuple(line.strip() for line in preamble if line.strip(delimiter + " \t")),
        header,
        first if header is None else header + 1,
        _distinct(names + [""] * (width - len(names))),
        moment,
        width,
        len(names) if names else width,
    )


def has_moment(row: list[str], columns: tuple[int, ...]) -> bool:
    """Whether a row has a date and time in these columns."""
    if not columns or len(row) <= max(columns):
        return False
    return parts(" ".join(row[column] for column in columns)) is not None


def has_number(row: list[str], moment: tuple[int, ...]) -> bool:
    """Whether a row has a number outside its moment."""
    return any(i not in moment and is_number(cell) for i, cell in enumerate(row))


def _sample(lines: Sequence[str]) -> list[int]:
    """Line indexes: the head of the file, where the preamble is, and some from all over."""
    filled = [i for i in range(min(len(lines), _SAMPLE)) if lines[i].strip()]
    step = max(1, len(lines) // _SAMPLE)
    spread = [i for i in range(_SAMPLE, len(lines), step) if lines[i].strip()]
    return filled + spread


def _announced(lines: Sequence[str]) -> str | None:
    """The delimiter that a first line such as "sep=;" announces."""
    first = lines[0].strip('" ')
    return first[4:] if first[:4].lower() == "sep=" and first[4:] in DELIMITERS else None


def _delimiter(lines: Sequence[str], sample: list[int]) -> str:
    readings = {d: _count_readings(lines, sample, d) for d in DELIMITERS}
    best = max(DELIMITERS, key=lambda d: readings[d])
    if readings[best]:
        return best
    steady = {d: _steadiness(lines, sample, d) for d in DELIMITERS}
    best = max(DELIMITERS, key=lambda d: steady[d])
    if steady[best] >= 2:
        return best
    raise _no_rows(lines, sample)


def _count_readings(lines: Sequence[str], sample: list[int], delimiter: str) -> int:
    count = 0
    for number in sample:
        if delimiter in lines[number]:
            row = cells(lines[number], delimiter)
            moment = moment_columns(row)
            count += bool(moment) and has_number(row, moment)
    return count


def _steadiness(lines: Sequence[str], sample: list[int], delimiter: str) -> int:
    """How many lines with a number have the commonest number of cells, if that is over one."""
    widths: Counter[int] = Counter()
    for number in sample:
        row = cells(lines[number], delimiter)
        if len(row) > 1 and has_number(row, ()):
            widths[len(row)] += 1
    return max(widths.values(), default=0)


def _no_rows(lines: Sequence[str], sample: list[int]) -> LoggerFileError:
    for number in sample:
        for delimiter in DELIMITERS:
            row = cells(lines[number], delimiter)
            if any(map(headings.is_moment, row)) and any(map(headings.is_temperature, row)):
                return no_readings()
    return not_a_table()


def no_readings() -> LoggerFileError:
    """The refusal of a table that has headings and no readings."""
    return LoggerFileError(
        Code.NO_READINGS,
        "The table has no readings. Check that the logger was started, "
        "read it out again and send the new file.",
    )


def _usual_moment(rows: dict[int, list[str]]) -> tuple[int, ...]:
    found: Counter[tuple[int, ...]] = Counter()
    for row in rows.values():
        moment = moment_columns(row)
        if moment and has_number(row, moment):
            found[moment] += 1
    return found.most_common(1)[0][0] if found else ()


def _usual_width(rows: dict[int, list[str]], moment: tuple[int, ...]) -> int:
    widths: Counter[int] = Counter()
    for row in rows.values():
        if has_number(row, moment) and (not moment or has_moment(row, moment)):
            widths[len(row)] += 1
    if not widths:
        return max((len(row) for row in rows.values()), default=0)
    return widths.most_common(1)[0][0]


def _first_reading(
    lines: Sequence[str],
    delimiter: str,
    moment: tuple[int, ...],
    width: int,
    header: int | None,
) -> int:
    """The first ordinary row: it has a moment (where a column for it is known) and a number."""
    start = 0 if header is None else header + 1
    for number in range(start, len(lines)):
        row = cells(lines[number], delimiter)
        ordinary = len(row) >= width > 1 and has_number(row, moment)
        if ordinary and (has_moment(row, moment) or not moment):
            return number
    return start


def _header_above(
    lines: Sequence[str], delimiter: str, first: int, moment: tuple[int, ...], width: int
) -> int | None:
    """The line of headings: the nearest above the first reading that is no row or unit line."""
    for number in range(first - 1, -1, -1):
        row = cells(lines[number], delimiter)
        if not any(row) or has_moment(row, moment) or is_unit_line(row):
            continue
        return number if _is_header(row, width) else None
    return None


def is_unit_line(row: list[str]) -> bool:
    """Whether a row holds units under the headings and nothing of a reading."""
    filled = [cell for cell in row if cell]
    return any(map(headings.unit_alone, filled)) and not any(map(headings.is_moment, filled))


def _is_header(row: list[str], width: int) -> bool:
    filled = [cell for cell in row if cell]
    if len(filled) < max(2, (width + 1) // 2) or moment_columns(row):
        return False
    if any(map(headings.is_moment, filled)) and len(filled) >= min(width, 3):
        return True
    return not any(map(is_number, filled))


def _names(
    lines: Sequence[str], delimiter: str, header: int | None, first: int, width: int
) -> list[str]:
    """The headings, with units from a line below them; none if there is no line of headings."""
    if header is None:
        return []
    names = headings.rejoined(cells(lines[header], delimiter), width)
    for number in range(header + 1, first):
        row = cells(lines[number], delimiter)
        if is_unit_line(row):
            names = _with_units(names, row)
    while len(names) > 1 and not names[-1]:
        names.pop()
    return names


def _with_units(names: list[str], units: list[str]) -> list[str]:
    padded = units + [""] * (len(names) - len(units))
    return [f"{name} {unit}".strip() for name, unit in zip(names, padded, strict=False)]


def _distinct(names: list[str]) -> tuple[str, ...]:
    seen: Counter[str] = Counter()
    result = []
    for name in names:
        seen[name] += 1
        result.append(f"{name} ({seen[name]})" if name and seen[name] > 1 else name)
    return tuple(result)
