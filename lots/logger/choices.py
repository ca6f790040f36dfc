"""What a person chose in the preview, from the strings of a form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from lots.logger.errors import Code, LoggerFileError
from lots.logger.layout import DELIMITERS
from lots.logger.moments import ORDERS
from lots.logger.text import ENCODINGS

_T = TypeVar("_T")

DELIMITER_NAMES = dict(zip(("tab", "semicolon", "comma", "bar"), DELIMITERS, strict=True))
DECIMAL_NAMES = {"point": ".", "comma": ","}


@dataclass(frozen=True)
class Choices:
    """Each part of the understanding that a person settled; None is left to be found.

    Attributes:
        header_row: index of the line of headings, from 0.
        moment_columns: indexes of the columns that together say when, in the order date, time.
        units: the unit of a column, by its index.
        taken: whether a column goes into the book, by its index.
    """

    encoding: str | None = None
    delimiter: str | None = None
    header_row: int | None = None
    moment_columns: tuple[int, ...] | None = None
    date_order: str | None = None
    decimal: str | None = None
    zone: str | None = None
    units: Mapping[int, str] = field(default_factory=dict)
    taken: Mapping[int, bool] = field(default_factory=dict)
    accept_truncated: bool = False


def choices_from(form: Mapping[str, str]) -> Choices:
    """The choices in a form's strings. An empty or missing string leaves a part to be found.

    Args:
        form: `encoding`; `delimiter` (tab, semicolon, comma, bar); `header_line` (from 1);
            `moment` ("0" or "0,1", columns from 0); `date_order`; `decimal` (point, comma);
            `zone`; `accept_truncated` ("yes"); and for a column n `unit_n` (C, F) and
            `take_n` (yes, no).

    Raises:
        LoggerFileError: a string is none of those offered.
    """
    header_line = form.get("header_line", "")
    moment = form.get("moment", "")
    return Choices(
        encoding=_one_of(form, "encoding", dict(zip(ENCODINGS, ENCODINGS, strict=True))),
        delimiter=_one_of(form, "delimiter", DELIMITER_NAMES),
        header_row=_index(header_line, 1) if header_line else None,
        moment_columns=tuple(_index(c) for c in moment.split(",")) if moment else None,
        date_order=_one_of(form, "date_order", dict(zip(ORDERS, ORDERS, strict=True))),
        decimal=_one_of(form, "decimal", DECIMAL_NAMES),
        zone=form.get("zone") or None,
        units=_by_column(form, "unit_", {"C": "C", "F": "F"}),
        taken=_by_column(form, "take_", {"yes": True, "no": False}),
        accept_truncated=form.get("accept_truncated") == "yes",
    )


def _one_of(form: Mapping[str, str], name: str, offered: Mapping[str, str]) -> str | None:
    text = form.get(name)
    if not text:
        return None
    if text not in offered:
        raise _unknown(text)
    return offered[text]


def _by_column(form: Mapping[str, str], stem: str, offered: Mapping[str, _T]) -> dict[int, _T]:
    found = {}
    for name, text in form.items():
        if name.startswith(stem) and text:
            if text not in offered:
                raise _unknown(text)
            found[_index(name.removeprefix(stem))] = offered[text]
    return found


def _index(text: str, first: int = 0) -> int:
    if not text.strip().isdecimal() or int(text) < first:
        raise _unknown(text)
    return int(text) - first


def _unknown(text: str) -> LoggerFileError:
    return LoggerFileError(Code.CHOICE_UNKNOWN, f"“{text}” is not one of the choices offered.")
