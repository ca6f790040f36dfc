"""What is known of the book's own keeping: its last walk, the backups made, the files that it names.

This lies in files beside the book (DATA/keeping), not in the book's database: a damaged database takes no
notes of its damage, and a book restored from a backup must not bring back yesterday's good report.
"""

import fcntl
import json
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from django.conf import settings

from lots.models.house import KeptFile

WALK, BACKUPS, ASKED, LOCK = "walk.json", "backups.json", "asked", "walk.lock"
WATCH: Final = "watch.lock"
WHOLE, DATABASE = "whole", "database"  # what a backup holds
TOLD: Final = 20  # as many faults are kept in words; the rest are counted


@dataclass(frozen=True, slots=True)
class Walk:
    """One walk of the book and its kept files: when (ms UTC) and how long (ms), up to which line, and what
    it found.  `failed` says why it could not be walked to its end."""

    began_at: int
    took_ms: int
    lines: int
    digest: str
    fault_count: int
    faults: tuple[str, ...] = ()
    failed: str = ""

    @property
    def agrees(self) -> bool:
        return not (self.fault_count or self.failed)


@dataclass(frozen=True, slots=True)
class BackupMade:
    """A copy that was made: `what` it holds, and whether it lies on the disk of the book itself."""

    at: int
    what: str
    path: str
    size: int
    lines: int
    same_disk: bool

    @property
    def there(self) -> bool:
        return Path(self.path).exists()


def keeping_folder() -> Path:
    return Path(settings.DATA_DIR) / "keeping"


def _read(name: str) -> Any:
    """What a note holds; None where there is none, or none that can be read."""
    try:
        return json.loads((keeping_folder() / name).read_text())
    except (OSError, ValueError):
        return None


def last_walk() -> Walk | None:
    """The last walk, if one was ever made."""
    try:
        told = dict(_read(WALK))
        return Walk(**told | {"faults": tuple(told["faults"])})
    except (TypeError, KeyError, ValueError):
        return None


def backups_made() -> list[BackupMade]:
    """The backups made, newest first."""
    try:
        made = [BackupMade(**one) for one in _read(BACKUPS) or []]
    except (TypeError, ValueError):
        return []
    return sorted(made, key=lambda one: one.at, reverse=True)


def walk_asked_at() -> int | None:
    """Since when a walk has been asked for and has not been made, ms UTC."""
    asked = _read(ASKED)
    return asked if isinstance(asked, int) else None


def walking() -> bool:
    """Whether the book is being walked now."""
    return _is_held(LOCK)


def watched() -> bool:
    """Whether the process runs that walks the book each night and when it is asked to."""
    return _is_held(WATCH)


def _is_held(name: str) -> bool:
    """Whether a process has the lock: it goes with whoever holds it, however that one ends."""
    try:
        descriptor = os.open(keeping_folder() / name, os.O_RDONLY)
    except OSError:
        return False
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(descriptor)
    return False


def named_files() -> list[str]:
    """The SHA-256 of each kept file that the book names, once."""
    rows = KeptFile.objects.order_by("sha256").values_list("sha256", flat=True).distinct()
    return list(rows)


def missing_files(named: Iterable[str]) -> list[str]:
    """Which of them do not lie in the data folder."""
    try:
        there = {entry.name for entry in os.scandir(settings.FILES_DIR)}
    except OSError:
        there = set()
    return [name for name in named if name not in there]


def trouble() -> Iterator[str]:
    """What is wrong with the book by its last walk, in words for every page of those who answer for it."""
    walk = last_walk()
    if walk is None:
        return
    if walk.failed:
        yield f"The book could not be checked: {walk.failed}"
    if walk.fault_count:
        more = walk.fault_count - 1
        others = f" and {more} more" if more else ""
        yield f"The book does not agree with itself: {walk.faults[0]}{others}."
