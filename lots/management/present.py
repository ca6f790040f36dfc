"""The book that a restore would replace: how far it goes, and which of its lines the backup lacks."""

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from django.core.management.base import CommandError

from lots.core.moments import show_moment
from lots.entries.keeping import UNKNOWN
from lots.management.backing_up import has_table, newest_line

LINES: Final = "SELECT number, digest FROM lots_bookline ORDER BY number"


@dataclass(frozen=True, slots=True)
class Present:
    """The book as it stands: its newest line, and those that the backup lacks, in words.  Where it cannot
    be read, `unreadable` says why."""

    there: bool
    lines: int = 0
    digest: str = ""
    lost: tuple[str, ...] = ()
    unreadable: str = ""

    @property
    def losing(self) -> int:
        """How many lines a restore cuts off; UNKNOWN where the book cannot be read."""
        return UNKNOWN if self.unreadable else len(self.lost)


def look_at_present(file: Path, backup: Path) -> Present:
    """What stands in the book's place, beside the database of a backup that was unpacked."""
    if not file.exists():
        return Present(there=False)
    try:
        with closing(sqlite3.connect(file, timeout=20)) as book:
            number, digest = newest_line(book)
            present = Present(True, number, digest, tuple(_lost(book, _common(book, backup))))
    except sqlite3.DatabaseError as error:
        return Present(True, unreadable=str(error))
    check_closed(file)
    return present


def check_closed(file: Path) -> None:
    """Whoever closes the book last empties its log into it: one that is left is somebody's at work."""
    log = file.with_name(f"{file.name}-wal")
    if log.exists() and log.stat().st_size:
        raise CommandError(
            f"Another program has {file} open. End it first, then restore. Nothing was changed."
        )


def check_still(file: Path, present: Present) -> None:
    """Refuses where a command has written a line since the book was looked at."""
    with closing(sqlite3.connect(file, timeout=20)) as book:
        newest = newest_line(book)
    check_closed(file)
    if newest != (present.lines, present.digest):
        raise CommandError(
            "Something was entered while the backup was tried. Restore again. Nothing was changed."
        )


def _common(book: sqlite3.Connection, backup: Path) -> int:
    """Up to which line the two books are the same: their digests tie each line to all before it."""
    with closing(sqlite3.connect(backup)) as other:
        if not has_table(book, "lots_bookline") or not has_table(other, "lots_bookline"):
            return 0
        common = 0
        for one, same in zip(book.execute(LINES), other.execute(LINES), strict=False):
            if one != same:
                break
            common = int(one[0])
        return common


def _lost(book: sqlite3.Connection, common: int) -> list[str]:
    if not has_table(book, "lots_bookline"):
        return []
    rows = book.execute(
        "SELECT number, at, kind, digest, content FROM lots_bookline WHERE number > ? ORDER BY number",
        [common],
    )
    utc = ZoneInfo("UTC")
    return [
        f"line {number}, {show_moment(at, utc)}: {kind}, digest {digest}\n    {content}"
        for number, at, kind, digest, content in rows
    ]
