"""What a column's heading says: unit, zone, whether it is a temperature at all."""

from __future__ import annotations

import re
from collections.abc import Iterable

from lots.logger.values import DEGREE
from lots.logger.zones import zone_in

_PLAIN = r"(?<![^\W_])"  # not inside a word; an underscore is no letter of a word
_END = r"(?![^\W_])"
# The surest sign first; a bare letter counts only after the word temperature, for "Probe C" is a
# probe's name.
_UNIT_SIGNS = tuple(
    re.compile(pattern, re.I)
    for pattern in (
        rf"(?:{DEGREE}\s*(?P<u>[CF])|(?P<w>celsius|centigrade|fahrenheit)|(?P<s>[\u2103\u2109])){_END}",
        r"[(\[,;/_]\s*(?P<u>[CF])\s*(?=[)\],;/]|$)",
        rf"temp(?:erature)?s?[ ._:-]*(?P<u>[CF]){_END}",
    )
)
_LETTERS = {"c": "C", "f": "F", "\u2103": "C", "\u2109": "F"}

_TEMPERATURE = re.compile(r"temp|thermo|therm\b|\bprobe|\bcore\b", re.I)
_OTHER = re.compile(
    rf"humid|{_PLAIN}r\.?h\.?{_END}|%|dew ?point|batter|volt|signal|rssi|pressure|alarm|event"
    rf"|set ?point|{_PLAIN}limit|{_PLAIN}lux|light|co2|serial"
    r"|\((?:v|mv|ma|a|hpa|kpa|pa|mbar|bar|psi|ppm|s|sec|min|h|g/kg|db|dbm)\)",
    re.I,
)
_COUNTER = re.compile(
    r"#|n[or]?\.?|num(?:ber)?|ind(?:ex)?|rec(?:ord)?s?\.?(?: ?(?:no\.?|#|number))?|samples?"
    r"|rows?|lines?|id|entry|scan|elapsed.*|",
    re.I,
)
_MOMENT = re.compile(r"date|time|moment|stamp|clock", re.I)
_ZONE_LINE = re.compile(r"zone|utc offset|gmt offset", re.I)
_UNIT_LINE = re.compile(r"\bunits?\b|\bscale\b|temp", re.I)
_UNIT_ALONE = re.compile(rf"[(\[]?\s*{DEGREE}?\s*[CF\u2103\u2109]\s*[)\]]?", re.I)
_BESIDE = re.compile(
    rf"[(\[]?\s*(?:{DEGREE}\s*[CF]|[\u2103\u2109]|(?:GMT|UTC)\s*[+\u2212-].*)", re.I
)


def unit_in(text: str) -> str | None:
    """ "C" or "F" if a heading names one and only one unit, else None."""
    for sign in _UNIT_SIGNS:
        found = {_letter(match.groupdict()) for match in sign.finditer(text)}
        if found:
            return found.pop() if len(found) == 1 else None
    return None


def _letter(groups: dict[str, str | None]) -> str:
    sign = next(value for value in groups.values() if value)
    return _LETTERS[sign[0].lower()]


def unit_alone(cell: str) -> str | None:
    """ "C" or "F" if a cell holds a unit and nothing else."""
    if _UNIT_ALONE.fullmatch(cell) is None:
        return None
    return _LETTERS[cell.strip(" )]")[-1].lower()]


def unit_of_preamble(lines: Iterable[str]) -> str | None:
    """The unit that the lines before the table name, if they name one only."""
    found = {unit_in(line) or _last_letter(line) for line in lines if _UNIT_LINE.search(line)}
    found.discard(None)
    return found.pop() if len(found) == 1 else None


def _last_letter(line: str) -> str | None:
    """The unit of "Unit;F" or "Units: C"."""
    match = re.fullmatch(r".*\bunits?\b\"?\s*[:;,=\t]\s*\"?([CF])\W*", line, re.I)
    return match[1].upper() if match else None


def zone_of_preamble(lines: Iterable[str]) -> str | None:
    """The zone of a line before the table that speaks of the zone, if they agree."""
    found = {zone_in(line) for line in lines if _ZONE_LINE.search(line)} - {None}
    return found.pop() if len(found) == 1 else None


def is_temperature(heading: str) -> bool:
    """Whether a heading says by its unit or word that the column holds temperatures."""
    if is_other(heading):
        return False
    return unit_in(heading) is not None or _TEMPERATURE.search(heading) is not None


def is_other(heading: str) -> bool:
    """Whether a heading says that the column holds something else (humidity, battery, alarm)."""
    return _OTHER.search(heading) is not None


def is_counter(heading: str) -> bool:
    """Whether a heading is that of a running number, or empty."""
    return _COUNTER.fullmatch(heading) is not None


def is_moment(heading: str) -> bool:
    """Whether a heading speaks of date or time."""
    return _MOMENT.search(heading) is not None


def rejoined(headings: list[str], width: int) -> list[str]:
    """Headings put together again where the delimiter stood unquoted inside them.

    "Date Time, GMT-05:00, Temp, °F" over rows of two cells is two headings, not four.
    """
    joined: list[str] = []
    spare = len(headings) - width
    for heading in headings:
        if spare > 0 and joined and _BESIDE.fullmatch(heading):
            joined[-1] += ", " + heading
            spare -= 1
        else:
            joined.append(heading)
    return joined
