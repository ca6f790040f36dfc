"""A temperature as a logger wrote it, turned into whole 1/9000 °C. Integers only, no float."""

from __future__ import annotations

import re

# Degree signs: the right one, its look-alikes, and what it becomes when its bytes are read in
# another encoding (0xB0 as UTF-8, UTF-8 as cp1252 once or twice, 0xF8 of DOS, 0xA1 of old Macs).
DEGREE = "(?:Ã‚Â°|Ã‚|Â°|Âº|Â|°|º|˚|ø|¡|\ufffd|ï¿½|\\?|\\*|deg(?:ree)?s?\\.?)"

_NUMBER = re.compile(
    r"(?P<sign>[-+\u2212\u2013]?)(?P<whole>\d{1,6})(?:(?P<mark>[.,])(?P<part>\d{0,20}))?"
    rf"(?:\s*{DEGREE}?\s*(?P<unit>[CFcf\u2103\u2109]))?"
)
_UNITS = {"C": "C", "F": "F", "c": "C", "f": "F", "\u2103": "C", "\u2109": "F"}

_CODE = re.compile(
    r"[-_*?.#= ]+|(?:e|err|error|fault|code|f)[ .:#_-]*\d{0,4}|n\.?/?[ac]\.?|[-+]?nan|[-+]?inf"
    r"|null|none|nil|open|short|o\.?l\.?|over|under|ovf|hi|lo|no (?:probe|sensor|data)|missing|off",
    re.IGNORECASE,
)
# Numbers that instruments write for "no measurement": common practice (all nines; the ends of a
# 16-bit integer, also in tenths). They count as codes only where no temperature could be.
_NUMERIC_CODE = re.compile(
    r"[-\u2212]?(?:9{3,5}(?:[.,][09]{0,3})?|3276[78](?:[.,]0*)?|3276[.,][78]0*|65535(?:[.,]0*)?"
    r"|6553[.,]50*)"
)


class NotANumber(ValueError):
    """The text is not a number with the decimal sign given."""


class OtherUnit(ValueError):
    """The text names a unit other than the column's."""


def ninths(text: str, unit: str, decimal: str = ".") -> tuple[int, bool]:
    """Whole 1/9000 °C of a temperature as written, and whether decimals had to be rounded.

    Up to three decimals are exact. More are rounded to three, half away from zero: at most
    0.0005 degrees either way, in nobody's favour.

    Args:
        text: as in the file, without blanks round it; may carry a sign and a unit ("63,1 °F").
        unit: "C" or "F", the unit of the column.
        decimal: "." or ",".

    Returns:
        1/9000 °C, and True if a decimal past the third was not zero.

    Raises:
        NotANumber: not digits with at most one such decimal sign.
        OtherUnit: the text carries a unit that is not `unit`.
    """
    match = _NUMBER.fullmatch(text)
    if match is None or (match["mark"] is not None and match["mark"] != decimal):
        raise NotANumber(text)
    if match["unit"] is not None and _UNITS[match["unit"]] != unit:
        raise OtherUnit(text)
    part = (match["part"] or "").rstrip("0")
    milli = int(match["whole"]) * 1000 + int(part[:3].ljust(3, "0"))
    if len(part) > 3 and part[3] >= "5":
        milli += 1
    if match["sign"] not in ("", "+"):
        milli = -milli
    return (milli * 9 if unit == "C" else (milli - 32000) * 5), len(part) > 3


def unit_written(text: str) -> str | None:
    """ "C" or "F" if the cell is a number that carries its unit, else None."""
    match = _NUMBER.fullmatch(text)
    return _UNITS[match["unit"]] if match is not None and match["unit"] else None


def decimal_written(text: str) -> str | None:
    """The decimal sign of a number, or None if it has none or is no number."""
    match = _NUMBER.fullmatch(text)
    return match["mark"] if match is not None else None


def is_number(text: str) -> bool:
    """Whether the cell is a number, with either decimal sign, with or without a unit."""
    return _NUMBER.fullmatch(text) is not None


def is_error_code(text: str) -> bool:
    """Whether a cell that is not a number is what instruments write for "no measurement"."""
    return _CODE.fullmatch(text) is not None


def is_numeric_error_code(text: str) -> bool:
    """Whether a number is one that instruments write for "no measurement", such as -999."""
    return _NUMERIC_CODE.fullmatch(text) is not None


def is_event(text: str) -> bool:
    """Whether a cell is words ("Button pressed", "Probe 2 out") rather than a spoilt number."""
    if not any(c.isdigit() for c in text):
        return True
    return text[0].isalpha() and re.search(r"[^\W\d_]{3}", text) is not None


class Ninths(dict[str, int]):
    """Remembers `ninths` of each distinct text of one column; notes texts that were rounded."""

    def __init__(self, unit: str, decimal: str) -> None:
        super().__init__()
        self.unit = unit
        self.decimal = decimal
        self.rounded: set[str] = set()

    def __missing__(self, text: str) -> int:
        value, was_rounded = ninths(text, self.unit, self.decimal)
        if was_rounded:
            self.rounded.add(text)
        self[text] = value
        return value
