"""The readings, times and spans of a worked case, from the text that a person wrote.

Liberal in form, never in meaning: what can be read two ways is refused.
"""

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from typing import Final

from lots.core.series import Chunk, chunks
from lots.core.units import (
    FREEZING_F,
    MS_PER_DAY,
    MS_PER_H,
    MS_PER_MIN,
    MS_PER_S,
    NINTHS_PER_C,
    NINTHS_PER_F,
    TempUnit,
    read_number,
    read_temperature,
)


class BadCase(ValueError):
    """A case that cannot be computed as it is written; the message says why."""


_UNITS: Final = {"ms": 1, "s": MS_PER_S, "m": MS_PER_MIN, "h": MS_PER_H, "d": MS_PER_DAY}
_UNIT: Final = r"(ms|s|secs?|seconds?|min|mins|minutes?|h|hrs?|hours?|d|days?)\b\.?"
_NUMBER: Final = r"\d+(?:[.,]\d+)?|[.,]\d+"
_PART: Final = re.compile(rf"({_NUMBER})\s*{_UNIT}", re.IGNORECASE)
_SPAN: Final = re.compile(rf"(-?)((?:(?:{_NUMBER})\s*{_UNIT}\s*(?:and\s+)?)+)", re.IGNORECASE)
_DATE: Final = re.compile(
    r"(?:(?P<y>\d{4})-(?P<m>\d\d)-(?P<d>\d\d)|(?P<d2>\d{1,2})\s+(?P<name>[A-Za-z]{3,9})\.?\s+"
    r"(?P<y2>\d{4}))[T,\s]\s*"
)
_DAY: Final = re.compile(r"day\s+(\d+)\s*,?\s*", re.IGNORECASE)
_CLOCK: Final = re.compile(
    r"(?P<h>\d{1,2}):(?P<min>\d\d)(?::(?P<s>\d\d(?:[.,]\d+)?))?(?:\s*(?P<half>[ap])\.?m\b\.?)?",
    re.IGNORECASE,
)
_ZONE: Final = re.compile(r"\s*(?:(?:Z|UTC)\b|(?P<sign>[+-])(?P<h>\d\d):?(?P<min>\d\d))")
_BARE: Final = re.compile(rf"({_NUMBER})(?=\s|[,;|]|$)")
_MONTHS: Final = [
    "jan",
    "feb",
    "mar",
    "apr",
    "may",
    "jun",
    "jul",
    "aug",
    "sep",
    "oct",
    "nov",
    "dec",
]
_CELL: Final = re.compile(
    rf"\s*(?:(?P<figure>[-+]?(?:{_NUMBER}))\s*(?:°?\s*(?P<unit>[CF])\b)?\.?|"
    r"(?P<none>[-–—−]+|n/?a\b|none\b|\.{2,}))?\s*(?P<end>[|;,\t]|(?=\s|$|[-\d–—−]))",
    re.IGNORECASE,
)


def plain(text: object) -> str:
    """The text with one sort of degree sign, minus and space."""
    out = str(text).replace("º", "°").replace("˚", "°")
    out = unicodedata.normalize("NFKC", out).replace("\t", " | ")
    out = re.sub(r"[−‐‑‒–](?=[\d.])", "-", out)
    out = re.sub(r"(?:°|\bdeg(?:rees?)?\.?)?\s*\b(?:celsius|centigrade)\b", " °C", out, flags=re.I)
    out = re.sub(r"(?:°|\bdeg(?:rees?)?\.?)?\s*\bfahrenheit\b", " °F", out, flags=re.I)
    return re.sub(r"\bdeg(?:rees?)?\.?\s*(?=[CF]\b)", "°", out, flags=re.I)


def _span_at(text: str) -> tuple[int, str] | None:
    found = _SPAN.match(text)
    if not found:
        return None
    total = sum(
        read_number(figure) * _UNITS["ms" if unit.lower() == "ms" else unit[0].lower()]
        for figure, unit in _PART.findall(found[2])
    )
    return int(-total if found[1] else total), text[found.end() :]


def span_ms(value: object, bare: int = 0) -> int:
    """A length of time in ms from text with its unit, or from a number of `bare` ms.

    Raises:
        BadCase: no length of time, or a number where `bare` is 0.
    """
    text = plain(value).strip()
    found = _span_at(text)
    if found and not found[1].strip():
        return found[0]
    if bare and re.fullmatch(rf"-?(?:{_NUMBER})", text):
        return int(read_number(text) * bare)
    raise BadCase(f"“{value}” is not a length of time with its unit, such as 30 min")


def _clock(found: "re.Match[str]") -> int:
    seconds = Fraction(found["s"].replace(",", ".")) if found["s"] else Fraction(0)
    at = int(found["h"]) * MS_PER_H + int(found["min"]) * MS_PER_MIN + int(seconds * MS_PER_S)
    half = MS_PER_DAY // 2
    if found["half"]:
        at = at % half + (half if found["half"].lower() == "p" else 0)
    if at > MS_PER_DAY:
        raise BadCase(f"“{found[0]}” is not a time of day")
    return at


def _day(found: "re.Match[str]") -> int:
    name = found["name"]
    if name and name[: len("jan")].lower() not in _MONTHS:
        raise BadCase(f"“{found[0].strip()}” is not a date")
    month = _MONTHS.index(name[: len("jan")].lower()) + 1 if name else int(found["m"])
    try:
        day = date(int(found["y"] or found["y2"]), month, int(found["d"] or found["d2"]))
    except ValueError as error:
        raise BadCase(f"“{found[0].strip()}” is not a date") from error
    return day.toordinal() * MS_PER_DAY


def moment_at(text: str, after: int | None) -> tuple[int, str] | None:
    """The moment that the text begins with, in ms, and the rest; None where it begins with none.

    Args:
        text: "12 min …", "08:10 …", "day 2 08:10 …", "2026-03-04 08:10 −05:00 …", or minutes alone.
        after: a time of day without a date is the first such time not before this moment.
    """
    text = text.lstrip()
    dated, day = _DATE.match(text), _DAY.match(text)
    head = dated or day
    clock = _CLOCK.match(text, head.end() if head else 0)
    if clock is None:
        bare = _BARE.match(text)
        alone = (int(read_number(bare[1]) * MS_PER_MIN), text[bare.end() :]) if bare else None
        return _span_at(text) or alone
    at, rest = _clock(clock), text[clock.end() :]
    if dated:
        zone = _ZONE.match(rest)
        rest = rest[zone.end() :] if zone else rest
        return _day(dated) + at - _offset(zone), rest
    if day:
        return (int(day[1]) - 1) * MS_PER_DAY + at, rest
    if after is not None:
        at += -((at - after) // MS_PER_DAY) * MS_PER_DAY
    return at, rest


def _offset(zone: "re.Match[str] | None") -> int:
    if zone is None or not zone["sign"]:
        return 0
    size = int(zone["h"]) * MS_PER_H + int(zone["min"]) * MS_PER_MIN
    return -size if zone["sign"] == "-" else size


def moment(value: object, after: int | None = None) -> int:
    """A moment in ms.

    Raises:
        BadCase: the text is not one.
    """
    found = moment_at(plain(value), after)
    if found is None or found[1].strip():
        raise BadCase(f"“{value}” is not a time, such as 12 min or 08:10")
    return found[0]


def ninths(figure: str, unit: str) -> int:
    """A temperature in ninths; a comma is a decimal comma, and a figure of more than three decimals
    is kept to the nearest 1/9000 °C."""
    value = Fraction(figure.replace(",", "."))
    if unit == "F":
        return round((value - FREEZING_F) * NINTHS_PER_F)
    return round(value * NINTHS_PER_C)


def temperature(text: object) -> int:
    """A temperature in ninths from text with its unit; of two units printed, the °F."""
    found = read_temperature(plain(text))
    return found.f if "F" in found.text else found.c


Row = tuple[int, int, TempUnit]


@dataclass
class Table:
    """Readings by probe, and every moment that a line stood for, with a reading or without."""

    rows: dict[str, list[Row]] = field(default_factory=dict)
    moments: list[int] = field(default_factory=list)

    def series(self) -> dict[str, list[Chunk]]:
        """The readings of each probe in order of time."""
        return {probe: chunks(rows) for probe, rows in self.rows.items()}


def table(readings: object, unit: str = "", after: int | None = None) -> Table:
    """The readings of a case: a line a moment, a column a probe.

    Args:
        readings: lines of text, a list of lines, a list of [time, figure, …], or a table of them by probe.
        unit: "C" or "F" where the figures carry none.
        after: see `moment_at`; the moment that the step begins, if it is stated.
    Raises:
        BadCase: a line cannot be read, a figure has no unit, or the times go back.
    """
    out = Table()
    if isinstance(readings, Mapping):
        for probe, part in readings.items():
            one = table(part, unit, after)
            out.moments += one.moments
            rows = [row for column in one.rows.values() for row in column]
            out.rows[str(probe)] = rows
        return out
    units: dict[str, str] = {}
    for line in _lines(readings):
        _line(out, units, line, unit, out.moments[-1] if out.moments else after)
    return out


def _lines(readings: object) -> Sequence[str]:
    if isinstance(readings, str):
        lines = readings.splitlines()
    elif isinstance(readings, Sequence):
        lines = [_joined(line) for line in readings]
    else:
        raise BadCase("the readings are neither lines of text nor a list")
    return [plain(line).partition("#")[0].strip().strip("|").strip() for line in lines]


def _joined(line: object) -> str:
    cells = list(line.values()) if isinstance(line, Mapping) else line
    return " | ".join(map(str, cells)) if isinstance(cells, list) else str(cells)


def _line(out: Table, units: dict[str, str], line: str, unit: str, after: int | None) -> None:
    if not line or set(line) <= set("-|=+: "):
        return
    found = moment_at(line, after)
    if found is None:
        if out.moments:
            raise BadCase(f"the line “{line}” does not begin with a time")
        stated = re.findall(r"°\s*([CF])\b", line)  # a heading above the columns
        units |= {str(number): name for number, name in enumerate(stated, 1)}
        return
    at, rest = found
    if out.moments and at < out.moments[-1]:
        raise BadCase(f"the times go back at “{line}”")
    out.moments.append(at)
    for number, cell in enumerate(_cells(rest), 1):
        if cell is not None:
            probe = str(number)
            units[probe] = cell[1] or units.get(probe) or unit
            if not units[probe]:
                raise BadCase(f"“{cell[0]}” has no unit: write °C or °F")
            scale: TempUnit = "F" if units[probe] == "F" else "C"
            out.rows.setdefault(probe, []).append((at, ninths(cell[0], scale), scale))


def _cells(rest: str) -> list[tuple[str, str] | None]:
    """Figure and unit of each column; None for a column without a reading."""
    text = re.sub(r"\([^)]*\)", "", rest)
    text = re.sub(r"^\s*[:=|;,]", "", text)
    out: list[tuple[str, str] | None] = []
    position = 0
    while text[position:].strip():
        found = _CELL.match(text, position)
        if found is None or found.end() == position:
            raise BadCase(f"“{text[position:].strip()}” is not a temperature")
        figure = found["figure"]
        out.append((figure, (found["unit"] or "").upper()) if figure else None)
        position = found.end()
    return out
