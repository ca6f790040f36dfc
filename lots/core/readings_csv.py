"""Every reading of a record as a table for a spreadsheet: one row a reading, text that computes nothing."""

import csv
import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Final

from lots.core.record import HandReading, LoggerSeries, LotRecord
from lots.core.units import TempUnit, degrees, show_number

HEAD: Final = (
    "kind", "number", "load", "place", "probe", "observed (UTC)", "entered (UTC)", "recorded (UTC)",
    "quantity", "reading", "unit", "instrument or file", "by", "corrects", "corrected by", "taken back",
)  # fmt: skip
COMPUTES: Final = ("=", "+", "-", "@", "\t", "\r", "|", "%")


def readings_csv(record: LotRecord) -> bytes:
    """The table as UTF-8 with a mark at its begin, lines ended by CR LF.  Source: RFC 4180.

    A cell of words that a spreadsheet would compute is led by an apostrophe.
    """
    out = io.StringIO(newline="")
    table = csv.writer(out)
    table.writerow(HEAD)
    for reading in record.readings:
        table.writerow(_hand(reading))
    for number, series in enumerate(record.series, 1):
        table.writerows(_logged(number, series))
    return b"\xef\xbb\xbf" + out.getvalue().encode()


def harmless(words: str) -> str:
    """The words, led by an apostrophe where a spreadsheet would take them for a formula."""
    return f"'{words}" if words.startswith(COMPUTES) else words


def _hand(one: HandReading) -> tuple[str, ...]:
    return (
        "by hand", str(one.number), _number(one.load), harmless(one.place), harmless(one.probe),
        _moment(one.observed_at), _moment(one.entered_at), _moment(one.recorded_at),
        harmless(one.quantity), _figure(one.as_read), harmless(one.unit), harmless(one.instrument),
        harmless(one.initials), _number(one.corrects), _number(one.corrected_by),
        "yes" if one.withdrawn else "",
    )  # fmt: skip


def _figure(as_read: str) -> str:
    """A figure stays as it was read, its minus as a spreadsheet writes it; all else is words."""
    plain = as_read.replace("\N{MINUS SIGN}", "-").replace(",", ".")
    digits = plain.removeprefix("-").replace(".", "", 1)
    return plain if digits.isascii() and digits.isdigit() else harmless(as_read)


def _logged(number: int, one: LoggerSeries) -> Iterator[tuple[str, ...]]:
    unit: TempUnit = "F" if one.unit == "F" else "C"
    place, probe, file = harmless(one.place), harmless(one.probe), harmless(one.file)
    by, load = harmless(one.imported_by), _number(one.load)
    recorded = _moment(one.imported_at)
    shown: dict[int, str] = {}
    for at, ninths in zip(one.at, one.ninths, strict=True):
        if ninths not in shown:
            figure = show_number(Fraction(degrees(ninths, unit)), 3, 1)
            shown[ninths] = figure.replace("\N{MINUS SIGN}", "-")
        yield (
            "logger", f"S{number}", load, place, probe, _moment(at), "", recorded, "temperature",
            shown[ninths], unit, file, by, "", "", "",
        )  # fmt: skip


def _number(number: int) -> str:
    return str(number) if number else ""


def _moment(at: int) -> str:
    """ISO 8601 in UTC, to the second where it is whole."""
    if not at:
        return ""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at)
    exact = "seconds" if at % 1000 == 0 else "milliseconds"
    return moment.isoformat(timespec=exact).replace("+00:00", "Z")
