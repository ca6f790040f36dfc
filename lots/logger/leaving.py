"""What was left out of a file and why, and what made it unreadable, with line numbers."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from lots.logger.errors import Code, LoggerFileError

_EXAMPLES = 5


class Why(StrEnum):
    """Why a line is no reading."""

    EVENT = "event without a temperature"
    EMPTY = "no temperature"
    ERROR_CODE = "error code of the logger"
    HEADING = "repeated heading"
    SUMMARY = "summary after the readings"
    NO_MOMENT = "no date and time"
    REPEATED = "repeated reading"
    CUT_SHORT = "cut short"


@dataclass(frozen=True)
class LeftOut:
    """Lines left out for one reason, of one channel, or of all where `channel` is empty."""

    why: Why
    channel: str
    count: int
    examples: tuple[tuple[int, str], ...]  # line (from 1) and its text


class LeftOuts:
    """Counts what is left out and keeps the first examples."""

    def __init__(self) -> None:
        self._counts: dict[tuple[Why, str], int] = {}
        self._examples: dict[tuple[Why, str], list[tuple[int, str]]] = {}

    def add(self, why: Why, line: int, text: str, channel: str = "") -> None:
        key = (why, channel)
        self._counts[key] = self._counts.get(key, 0) + 1
        examples = self._examples.setdefault(key, [])
        if len(examples) < _EXAMPLES:
            examples.append((line, text.strip()))

    def all(self) -> tuple[LeftOut, ...]:
        return tuple(
            LeftOut(why, channel, count, tuple(self._examples[why, channel]))
            for (why, channel), count in self._counts.items()
        )


class Faults:
    """Gathers what keeps rows from being read, so that the refusal can say how many there are."""

    def __init__(self) -> None:
        self._first: tuple[int, Code, str] | None = None
        self._lines: set[int] = set()

    def add(self, code: Code, line: int, message: str) -> None:
        if self._first is None or line < self._first[0]:
            self._first = (line, code, message)
        self._lines.add(line)

    def refuse(self) -> None:
        """Raises the fault of the earliest line, if there is any."""
        if self._first is not None:
            line, code, message = self._first
            raise LoggerFileError(code, message, line, more=len(self._lines) - 1)
