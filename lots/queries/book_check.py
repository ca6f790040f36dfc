"""Walks the book and names the first line and row that do not agree.

The walk goes once through the lines, some at a time, and with them through every kept table, the packed
readings and the files; what it holds at a time does not grow with the book.  It compares what the application
reads: a column whose type or text was changed so that the same value is read from it is not seen.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from django.db import connection
from django.db.models import Max

from lots.models.book import BookLine
from lots.models.kept import KEPT
from lots.models.triggers import missing_triggers
from lots.queries.book_chunks import chunk_faults
from lots.queries.book_files import file_faults, stray_files
from lots.queries.book_lines import Chain, Fault, Note, blocks, told_by
from lots.queries.book_rows import Span, beyond, row_faults
from lots.queries.house import rules

__all__ = ["Fault", "Note", "Walk", "book_faults", "line_of_digest"]
OF_THE_BOOK: Final = 0  # stands for a line where a fault is of no line


def line_of_digest(digest: str) -> BookLine | None:
    return BookLine.objects.filter(digest=digest.strip().lower()).first()


@dataclass
class Walk:
    """One walk through the book.

    Args:
        since: the first line that is walked; None walks from the book's first.
        files: whether the bytes of kept files are read, and files of no line told.
    """

    since: int | None = None
    files: bool = False
    lines: int = 0
    newest: BookLine | None = None  # the last line that was walked

    def findings(self) -> Iterator[Fault]:
        """Faults and notes in order of the lines; those of the book as a whole come first and last."""
        yield from _triggers_gone()
        newest = BookLine.objects.aggregate(newest=Max("number"))["newest"] or 0
        low = None if self.since is None else self.since - 1
        before = None if low is None else BookLine.objects.filter(number=low).first()
        chain = Chain(before, rules().future_grace_ms)
        if low is not None:
            chain.number = low
        for lines in blocks(low, newest):
            span = (low, lines[-1].number)
            yield from sorted(self._of_block(chain, lines, span), key=lambda found: found.line)
            self.lines += len(lines)
            low, self.newest = lines[-1].number, lines[-1]
        yield from beyond(low or 0)
        yield from _cut_off(newest)
        if self.files:
            yield from stray_files()

    def _of_block(self, chain: Chain, lines: Sequence[BookLine], span: Span) -> Iterator[Fault]:
        told = [told_by(line) for line in lines]
        for line, one in zip(lines, told, strict=True):
            yield from chain.faults(line)
            if not one.readable:
                yield Fault(line.number, f"line {line.number} cannot be read")
        yield from row_faults(told, span)
        yield from chunk_faults(told, span)
        yield from file_faults(span, self.files)


def book_faults(since: int | None = None, files: bool = False) -> Iterator[Fault]:
    """Everything in the book that does not agree, in order of the lines."""
    return (found for found in Walk(since, files).findings() if not isinstance(found, Note))


def _triggers_gone() -> Iterator[Fault]:
    missing = missing_triggers()
    if missing:
        more = f", and {len(missing) - 1} more" if len(missing) > 1 else ""
        words = f"an append-only trigger is missing: {missing[0]}{more}"
        yield Fault(OF_THE_BOOK, words)


def _cut_off(newest: int) -> Iterator[Fault]:
    """Kept rows taken off the end of a table.  SQLite remembers the highest number that it gave there, and
    gives none back save where the whole entry was undone; PostgreSQL's sequences leave gaps by themselves."""
    if connection.vendor != "sqlite":
        return
    tables = [m._meta.db_table for m in KEPT if m is not BookLine]
    last = " UNION ALL ".join(f"SELECT '{name}' name, max(id) last FROM {name}" for name in tables)
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT name, seq, coalesce(last, 0) FROM ({last}) JOIN sqlite_sequence USING (name) "
            "WHERE seq > coalesce(last, 0)"
        )
        cut = cursor.fetchall()
    for table, given, there in cut:
        words = (
            f"after line {newest}: rows were taken off the end of {table.removeprefix('lots_')}: number "
            f"{given} was given there, and the last is {there}"
        )
        yield Fault(newest + 1, words)
