"""Rows as CSV that a spreadsheet shows and does not compute.

A cell that begins with = + - @ (or a tab or a line's end before them) is run as a formula by common
spreadsheets, whoever typed it; an apostrophe before it makes it text.  A true negative number stays a
number.
"""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Final

_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "\N{FULLWIDTH EQUALS SIGN}",
                  "\N{FULLWIDTH PLUS SIGN}", "\N{FULLWIDTH HYPHEN-MINUS}",
                  "\N{FULLWIDTH COMMERCIAL AT}")  # fmt: skip
_NEGATIVE: Final = re.compile(r"-[0-9]+(?:[.,][0-9]+)?")
MARK: Final = (
    "\N{ZERO WIDTH NO-BREAK SPACE}"  # first in the file: spreadsheets then read it as UTF-8
)


def cell(value: object) -> str:
    """One cell as text that is never computed: "=1+1" becomes "'=1+1"; "-12.5" stays; None is "".

    Blanks before a sign count as nothing, since some programs drop them.
    """
    text = "" if value is None else str(value)
    if _NEGATIVE.fullmatch(text):
        return text
    risky = text.startswith(_STARTS) or text.lstrip().startswith(_STARTS)
    return f"'{text}" if risky else text


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """The rows as CSV with commas, lines ended as RFC 4180 asks, each cell made harmless."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerows([cell(value) for value in row] for row in rows)
    return out.getvalue()
