"""Every reading of a record as a table for a spreadsheet: one row a reading, text that computes nothing."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Final

from lots.core.record import HandReading, LoggerSeries, LotRecord
from lots.core.spreadsheet import MARK, csv_text
from lots.core.units import MS_PER_S, TempUnit, degrees, show_number

HEAD: Final = (
    "kind", "number", "load", "place", "probe", "observed (UTC)", "entered (UTC)", "recorded (UTC)",
    "quantity", "reading", "unit", "instrument or file", "by", "corrects", "corrected by", "taken back",
)  # fmt: skip
DECIMALS: Final = 3  # of a reading, at most
EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
MINUS: Final = "\N{MINUS SIGN}"


def readings_csv(record: LotRecord) -> bytes:
    """The table as UTF-8 with a mark at its begin; no cell of it is computed by a spreadsheet."""
    rows: list[tuple[str, ...]] = [HEAD, *(_hand(one) for one in record.readings)]
    for number, series in enumerate(record.series, 1):
        rows += _logged(number, series)
    return (MARK + csv_text(rows)).encode()


def _hand(one: HandReading) -> tuple[str, ...]:
    return (
        "by hand", str(one.number), _number(one.load), one.place, one.probe,
        _moment(one.observed_at), _moment(one.entered_at), _moment(one.recorded_at),
        one.quantity, one.as_read.replace(MINUS, "-"), one.unit, one.instrument,
        one.initials, _number(one.corrects), _number(one.corrected_by),
        "yes" if one.withdrawn else "",
    )  # fmt: skip


def _logged(number: int, one: LoggerSeries) -> Iterator[tuple[str, ...]]:
    unit: TempUnit = "F" if one.unit == "F" else "C"
    load, recorded = _number(one.load), _moment(one.imported_at)
    shown: dict[int, str] = {}
    for at, ninths in zip(one.at, one.ninths, strict=True):
        if ninths not in shown:
            figure = show_number(Fraction(degrees(ninths, unit)), DECIMALS, 1)
            shown[ninths] = figure.replace(MINUS, "-")
        yield (
            "logger", f"S{number}", load, one.place, one.probe, _moment(at), "", recorded, "temperature",
            shown[ninths], unit, one.file, one.imported_by, "", "", "",
        )  # fmt: skip


def _number(number: int) -> str:
    return str(number) if number else ""


def _moment(at: int) -> str:
    """ISO 8601 in UTC, to the second where it is whole."""
    if not at:
        return ""
    moment = EPOCH + timedelta(milliseconds=at)
    exact = "seconds" if at % MS_PER_S == 0 else "milliseconds"
    return moment.isoformat(timespec=exact).replace("+00:00", "Z")
