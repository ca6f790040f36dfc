"""The lines of the book in blocks, and what each says of its rows and lots; no line is trusted."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from lots.models.book import BookLine
from lots.queries.digests import GENESIS, line_digest

LINES_AT_ONCE: Final = 2_000
TEXT_AT_ONCE: Final = 4_000_000  # letters of content: a block stays small whatever its lines hold


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that does not agree: at which line (0: of the book as a whole), and what is wrong."""

    line: int
    words: str


@dataclass(frozen=True, slots=True)
class Note(Fault):
    """Something worth a look that is no fault."""


@dataclass(slots=True)
class Told:
    """What one line says: its rows as (model, number, digest), and its lots."""

    line: int
    rows: list[tuple[str, int, str]] = field(default_factory=list)
    lots: set[int] = field(default_factory=set)
    readable: bool = True


def blocks(low: int | None, newest: int) -> Iterator[list[BookLine]]:
    """The lines above `low` (None: all) up to `newest` in order, some at a time."""
    lines = BookLine.objects.filter(number__lte=newest).order_by("number")
    if low is not None:
        lines = lines.filter(number__gt=low)
    block: list[BookLine] = []
    letters = 0
    for line in lines.iterator(500):
        block.append(line)
        letters += len(line.content)
        if len(block) >= LINES_AT_ONCE or letters >= TEXT_AT_ONCE:
            yield block
            block, letters = [], 0
    if block:
        yield block


def told_by(line: BookLine) -> Told:
    """What the line says, or a `Told` that says it cannot be read."""
    try:
        content = json.loads(line.content)
        rows = [_row(row) for row in content.get("rows", [])]
        lots = {int(lot) for lot in content.get("lots", [])}
    except (ValueError, TypeError, AttributeError, RecursionError):
        return Told(line.number, readable=False)
    return Told(line.number, rows, lots)


def _row(row: list[object]) -> tuple[str, int, str]:
    name, pk, digest = row
    if not (isinstance(name, str) and isinstance(pk, int) and isinstance(digest, str)):
        raise ValueError(row)
    return name, pk, digest


class Chain:
    """Holds each line against the one before: number, digest, and whom it follows."""

    def __init__(self, before: BookLine | None, tolerance_ms: int) -> None:
        """Args:
        before: the line before the first that is walked; None where that is the book's first.
        tolerance_ms: how much earlier than the line before a line may be heard.
        """
        self.number = before.number if before else 0
        self.digest = before.digest if before else GENESIS
        self.at = before.at if before else None
        self.tolerance_ms = tolerance_ms

    def faults(self, line: BookLine) -> Iterator[Fault]:
        if line.number != self.number + 1:
            yield Fault(min(self.number + 1, line.number), self._hole(line))
        elif line.prev != self.digest:
            yield Fault(line.number, self._does_not_follow(line))
        if line_digest(line) != line.digest:
            yield Fault(line.number, f"line {line.number} is not what its digest says")
        if self.at is not None and line.at < self.at - self.tolerance_ms:
            yield Note(line.number, self._earlier(line))
        self.number, self.digest, self.at = line.number, line.digest, line.at

    def _hole(self, line: BookLine) -> str:
        first, last = self.number + 1, line.number - 1
        if last < first:
            return f"line {line.number} stands before the book's first line"
        gone = f"line {first} is" if first == last else f"lines {first} to {last} are"
        return f"{gone} missing: the next is {line.number}"

    def _does_not_follow(self, line: BookLine) -> str:
        if line.number == 1:
            return (
                "line 1 does not follow the book's beginning: it says that it followed another line"
            )
        return (
            f"line {line.number} does not follow line {line.number - 1}: one of the two is not what it "
            f"was when line {line.number} was written"
        )

    def _earlier(self, line: BookLine) -> str:
        minutes = ((self.at or 0) - line.at) // 60_000
        return (
            f"line {line.number} was heard {minutes:,} min before line {self.number}: the server's "
            "clock was set back, or had been ahead"
        )
