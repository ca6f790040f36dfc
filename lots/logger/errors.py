"""Why a logger's file is refused: a code for the program, plain words for the person."""

from __future__ import annotations

from enum import StrEnum


class Code(StrEnum):
    """The kinds of refusal."""

    EMPTY = "empty"
    TOO_LARGE = "too_large"
    NOT_A_TABLE = "not_a_table"
    TRUNCATED = "truncated"
    AMBIGUOUS_DATES = "ambiguous_dates"
    CLOCK_UNCLEAR = "clock_unclear"
    NO_MOMENT_COLUMN = "no_moment_column"
    NO_TEMPERATURE_COLUMN = "no_temperature_column"
    NO_READINGS = "no_readings"
    EXTRA_FIELDS = "extra_fields"
    MOMENT_NOT_UNDERSTOOD = "moment_not_understood"
    NUMBER_NOT_UNDERSTOOD = "number_not_understood"
    MIXED_UNITS = "mixed_units"
    MIXED_ZONES = "mixed_zones"
    ZONE_UNKNOWN = "zone_unknown"
    TIME_NEVER_EXISTED = "time_never_existed"
    IN_THE_FUTURE = "in_the_future"
    TOO_OLD = "too_old"
    NOT_PLAUSIBLE = "not_plausible"
    CHOICE_UNKNOWN = "choice_unknown"


class LoggerFileError(Exception):
    """A file, or the way it is understood, that cannot be taken in.

    Args:
        code: the kind of refusal.
        message: what is wrong and what to do, in words for the person who sent the file.
        line: number of the line (from 1) that shows it, where one does.
        more: how many further lines have a fault as well.
    """

    def __init__(self, code: Code, message: str, line: int | None = None, more: int = 0) -> None:
        where = "" if line is None else f"Line {line}: "
        rest = "" if not more else f" ({more} more line{'s' if more > 1 else ''} cannot be read.)"
        super().__init__(where + message + rest)
        self.code = code
        self.message = where + message + rest
        self.line = line
        self.more = more
