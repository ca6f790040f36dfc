"""Whether a file was cut short: its last row ends in the middle."""

from __future__ import annotations

import re
from collections import Counter

from lots.logger.layout import Layout, has_moment, has_number
from lots.logger.text import Text, cells

_TAIL = re.compile(r"[.,:].*")
_ROWS_COMPARED = 200


def truncation_of(text: Text, layout: Layout) -> str:
    """Why the file seems cut short, or "".

    The last line is compared with the rows before it: too few cells, an open quotation mark, or,
    where no line end follows, a last cell that is empty or shorter than all others. In doubt the
    file counts as cut: a person then says that it is whole.
    """
    filled = [i for i in range(layout.first_row, len(text.lines)) if text.lines[i].strip()]
    if not filled or not layout.moment_columns:
        return ""
    last = filled[-1]
    line = text.lines[last]
    row = cells(line, layout.delimiter)
    where = f"Line {last + 1}, the last, "
    before = _rows_before(text, layout, filled)
    if not before:
        alone = has_moment(row, layout.moment_columns) and not text.ends_whole
        return where + "stands alone, and no line end follows: it may be cut." if alone else ""
    above = cells(text.lines[last - 1], layout.delimiter)
    of_readings = any(has_moment(one, layout.moment_columns) for one in (row, above))
    if not of_readings or not _begins_like(row, before):
        return ""  # a line of a summary, not of the readings
    if line.count('"') % 2:
        return where + "ends inside a quotation mark."
    if len(row) < min(map(len, before)) and not _is_short_event(row, layout, text.ends_whole):
        return where + f"has {len(row)} fields; the rows before it have {layout.width}."
    if not text.ends_whole and _last_cell_is_cut(row, before, layout):
        return where + "stops in the middle of its last field."
    return ""


def _rows_before(text: Text, layout: Layout, filled: list[int]) -> list[list[str]]:
    """The readings just before the last line."""
    rows = [cells(text.lines[i], layout.delimiter) for i in filled[-1 - _ROWS_COMPARED : -1]]
    return [
        row
        for row in rows
        if has_moment(row, layout.moment_columns) and has_number(row, layout.moment_columns)
    ]


def _begins_like(row: list[str], before: list[list[str]]) -> bool:
    """Whether a line begins as the rows do; a line of a summary begins with a word."""
    kinds = {_kind(other[0]) for other in before}
    return _kind(row[0]) in kinds


def _kind(cell: str) -> str:
    return "" if not cell else "digit" if cell[0] in "0123456789-+" else "word"


def _is_short_event(row: list[str], layout: Layout, ends_whole: bool) -> bool:
    """A row that was ended by the logger and says something in words, such as "USB connected"."""
    outside = [c for i, c in enumerate(row) if i not in layout.moment_columns]
    words = any(re.search(r"[^\W\d_]{3}", cell) for cell in outside)
    return ends_whole and words and has_moment(row, layout.moment_columns)


def _last_cell_is_cut(row: list[str], before: list[list[str]], layout: Layout) -> bool:
    width = len(row)
    others = [other[-1] for other in before if len(other) == width]
    if not others:
        return False
    if not row[-1]:
        return all(others) and not _is_short_event(row, layout, ends_whole=True)
    tails = Counter(map(_tail, others))
    usual, _ = tails.most_common(1)[0]
    return len(tails) == 1 and len(_tail(row[-1])) < len(usual)


def _tail(cell: str) -> str:
    """The shape of a cell from its first point, comma or colon on: "63.1" ends in ".9"."""
    match = _TAIL.search(cell)
    tail = match[0] if match else ""
    return re.sub(r"[^\W\d_]", "A", re.sub(r"\d", "9", tail))
