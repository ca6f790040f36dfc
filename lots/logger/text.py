"""Bytes of an upload to lines of text, and a line to its cells."""

from __future__ import annotations

import codecs
import csv
import re
from dataclasses import dataclass

from lots.logger.errors import Code, LoggerFileError

ENCODINGS = ("utf-8", "utf-16", "cp1252")

# First bytes of what people send by mistake. Source: the published format of each (PDF: ISO
# 32000-1, 7.5.2; PNG: W3C PNG, 5.2; the others from memory).
_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"BM", "a picture"),
    (b"PK\x03\x04", "a spreadsheet workbook or a packed folder"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet workbook"),
    (b"\x1f\x8b", "a packed file"),
    (b"SQLite format", "a database"),
)
_MARKUP = ("<!doctype", "<html", "<?xml", "<svg", "{", "[{")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x19\x1b-\x1f]")


@dataclass(frozen=True)
class Text:
    """The lines of a file, without their ends. Line `n` of the file is `lines[n - 1]`."""

    encoding: str
    lines: tuple[str, ...]
    ends_whole: bool  # whether a line end follows the last line


def read_text(data: bytes, encoding: str | None, largest_bytes: int) -> Text:
    """The lines of an uploaded file.

    Args:
        data: the file.
        encoding: one of ENCODINGS if a person chose it, else None.
        largest_bytes: more than this is refused.

    Raises:
        LoggerFileError: empty, too large, or plainly not text with columns.
    """
    _refuse_size(data, largest_bytes)
    _refuse_signature(data)
    encoding = encoding or _encoding(data)
    text = _decoded(data, encoding).lstrip("\ufeff")
    _refuse_not_text(text)
    text = text.rstrip("\x1a").replace("\r\n", "\n").replace("\r", "\n")
    return Text(encoding, tuple(text.split("\n")), text.endswith("\n"))


def cells(line: str, delimiter: str) -> list[str]:
    """The cells of one line, without blanks round them.

    Each line stands alone, so that a stray quotation mark in a preamble swallows nothing.
    """
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    try:
        parts = next(csv.reader((line,), delimiter=delimiter, skipinitialspace=True))
    except (csv.Error, StopIteration):
        parts = line.split(delimiter)
    return [cell.strip() for cell in parts]


def _encoding(data: bytes) -> str:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _decoded(data: bytes, encoding: str) -> str:
    if encoding not in ENCODINGS:
        raise LoggerFileError(Code.CHOICE_UNKNOWN, f"“{encoding}” is not an encoding offered.")
    # A byte without meaning must not hide the rest: it shows as � and is refused where it matters.
    return data.decode(encoding, errors="replace")


def _refuse_size(data: bytes, largest_bytes: int) -> None:
    if len(data) > largest_bytes:
        size, largest = len(data) / 1e6, largest_bytes / 1e6
        raise LoggerFileError(
            Code.TOO_LARGE,
            f"The file has {size:.1f} MB; at most {largest:.1f} MB are taken. "
            "Export a shorter time from the logger and send the parts one by one.",
        )


def _refuse_signature(data: bytes) -> None:
    for signature, kind in _SIGNATURES:
        # "BM" alone could begin a line of text; a bitmap has zero bytes soon after.
        if data.startswith(signature) and (signature != b"BM" or b"\0" in data[:16]):
            raise _not_a_table(f"This is {kind}.")


def _refuse_not_text(text: str) -> None:
    if not text.strip("\x1a\0 \r\n\t"):
        raise LoggerFileError(
            Code.EMPTY, "The file is empty. Export it from the logger again and send that."
        )
    if text.lstrip().lower().startswith(_MARKUP):
        raise _not_a_table("This is a web page or a program's data.")
    if _CONTROL.search(text.rstrip("\x1a")):
        raise _not_a_table("This is not text: it holds bytes that no table has.")


def _not_a_table(what: str) -> LoggerFileError:
    return LoggerFileError(
        Code.NOT_A_TABLE,
        f"{what} What is needed is the logger's table as a CSV file, "
        "with a column for the date and time and one for the temperature. "
        "Open it in the logger's program and export or save it as CSV.",
    )


def not_a_table() -> LoggerFileError:
    """The refusal of text in which no rows with columns can be found."""
    return _not_a_table("No table was found in this file.")
