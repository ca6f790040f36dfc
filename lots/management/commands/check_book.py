"""Walks the book: every line follows the one before, and every row is what its line says."""

import json
import sys
import time
from argparse import ArgumentParser
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import Any, Final, Protocol

from django.core.management.base import BaseCommand, CommandError

from lots.entries.keeping import note_walk
from lots.management.walking import one_sight, result
from lots.models.book import BookLine
from lots.queries.book_check import OF_THE_BOOK, Fault, Note, Walk, line_of_digest
from lots.queries.witnesses import witness_faults

MOST: Final = 50


class Found(Protocol):
    """What a witness finds: at which line, and what, in words."""

    @property
    def line(self) -> int: ...
    @property
    def words(self) -> str: ...


# What else speaks against the book, each a function that yields what it finds.
WITNESSES: tuple[Callable[[], Iterator[Found]], ...] = (witness_faults,)


@dataclass
class Told:
    """What is told of what was found: the first fault of each line, and no more than so many."""

    most: int
    every: bool
    faults: list[Found] = field(default_factory=list)
    notes: list[Found] = field(default_factory=list)
    more: int = 0
    more_notes: int = 0
    _line: int = -1

    def take(self, found: Found) -> None:
        if isinstance(found, Note):
            self.more_notes += len(self.notes) >= self.most
            self.notes += [found] if len(self.notes) < self.most else []
            return
        if found.line == self._line != OF_THE_BOOK and not self.every:
            return
        self._line = found.line
        self.more += len(self.faults) >= self.most
        self.faults += [found] if len(self.faults) < self.most else []

    @property
    def agrees(self) -> bool:
        return not self.faults


class Command(BaseCommand):
    help = "Check that the book agrees with its digests (exit 0) or name what does not (exit 1)."
    requires_system_checks: list[str] = []  # noqa: RUF012  # a missing trigger is told by the walk itself

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--since", metavar="DIGEST", help="begin at the line that has this digest"
        )
        parser.add_argument("--files", action="store_true", help="read every kept file's bytes too")
        parser.add_argument(
            "--every", action="store_true", help="every fault of a line, not its first alone"
        )
        parser.add_argument(
            "--most", type=int, default=MOST, metavar="N", help=f"tell so many at most ({MOST})"
        )
        parser.add_argument("--json", action="store_true", help="say it as JSON")

    def handle(self, *args: Any, **options: Any) -> None:
        at = time.time_ns() // 1_000_000
        walk = Walk(files=options["files"])
        first = self._first(options["since"])
        walk.since = first.number if first else None
        told = Told(max(options["most"], 1), options["every"])
        with one_sight():
            for found in chain(walk.findings(), *(witness() for witness in WITNESSES)):
                told.take(found)
        if options["json"]:
            self.stdout.write(json.dumps(_as_json(walk, told), indent=1, ensure_ascii=False))
        else:
            for words in _in_words(walk, told):
                self.stdout.write(words)
        self.stdout.flush()
        if first is None and walk.files:  # of a part alone no keeper is told that it was walked
            self._note(at, walk, told)
        sys.exit(0 if told.agrees else 1)

    def _note(self, at: int, walk: Walk, told: Told) -> None:
        took = time.time_ns() // 1_000_000 - at
        faults = [Fault(one.line, one.words) for one in told.faults]
        found = result(at, took, walk.newest, faults)
        note_walk(replace(found, fault_count=found.fault_count + told.more))

    def _first(self, digest: str | None) -> BookLine | None:
        if digest is None:
            return None
        line = line_of_digest(digest)
        if line is None:
            raise CommandError(
                f"No line of this book has the digest {digest}. Either it was copied wrongly, or the "
                "line that had it was changed or cut off. Without --since the whole book is checked."
            )
        return line


def _in_words(walk: Walk, told: Told) -> Iterator[str]:
    for fault in told.faults:
        yield fault.words
    if told.more:
        yield f"… and {told.more:,} more."
    for note in told.notes:
        yield f"note: {note.words}"
    if told.more_notes:
        yield f"note: … and {told.more_notes:,} more."
    if walk.newest is None:
        yield "The book is empty."
        return
    since = f" from line {walk.since} on" if walk.since else ""
    if told.agrees:
        yield f"{walk.lines} lines{since} agree. The newest digest is {walk.newest.digest}."
    else:
        yield f"{walk.lines} lines{since} were checked, up to line {walk.newest.number}."
    yield from _not_checked(walk)


def _not_checked(walk: Walk) -> Iterator[str]:
    if walk.since and walk.since > 1:
        earlier = "Line 1 was" if walk.since == 2 else f"Lines 1 to {walk.since - 1} were"
        yield f"{earlier} not checked."
    if not walk.files:
        yield "Kept files are there and of the right size; their bytes were not read (--files does)."


def _as_json(walk: Walk, told: Told) -> dict[str, Any]:
    def each(found: list[Found]) -> list[dict[str, Any]]:
        return [{"line": one.line, "words": one.words} for one in found]

    newest = walk.newest
    return {
        "agrees": told.agrees,
        "lines": walk.lines,
        "since": walk.since or 1,  # the lines before were not checked
        "files_read": walk.files,
        "newest": {"line": newest.number, "digest": newest.digest} if newest else None,
        "faults": each(told.faults),
        "more_faults": told.more,
        "notes": each(told.notes),
        "more_notes": told.more_notes,
    }
