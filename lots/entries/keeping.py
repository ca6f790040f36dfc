"""Notes about the book's own keeping, beside the book; and the one line in it: that it was restored."""

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from lots.entries.book import act
from lots.models.book import BookLine
from lots.queries.keeping import (
    ASKED,
    BACKUPS,
    WALK,
    BackupMade,
    Walk,
    backups_made,
    keeping_folder,
)

KEPT_NOTES: Final = 60  # of backups: the last month of a daily one and as many starts
UNKNOWN: Final = -1


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: from which backup (made when, ms UTC; up to which line; digest of its index),
    and what was replaced.  `lost` is the number of lines cut off, UNKNOWN where they could not be read."""

    made_at: int
    lines: int
    digest: str
    index: str
    lost: int
    replaced_digest: str


def put_note(name: str, content: Any) -> None:
    """Writes a note whole or not at all."""
    folder = keeping_folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = folder / f".{name}.{os.getpid()}"
    _write(part, json.dumps(content, sort_keys=True).encode())
    part.replace(folder / name)


def _write(file: Path, data: bytes) -> None:
    descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as opened:
        opened.write(data)
        opened.flush()
        os.fsync(opened.fileno())


def note_walk(walk: Walk) -> None:
    """Keeps the result of a walk."""
    put_note(WALK, asdict(walk))
    (keeping_folder() / ASKED).unlink(missing_ok=True)


def note_backup(made: BackupMade) -> None:
    """Adds a backup to the list, of which the last ones are kept."""
    put_note(BACKUPS, [asdict(one) for one in [made, *backups_made()][:KEPT_NOTES]])


def ask_for_walk(at: int) -> None:
    """Leaves word that the book is to be walked now; `serve`'s own process finds it within seconds."""
    put_note(ASKED, at)


def say_restored(told: Restored, at: int) -> BookLine | None:
    """Writes into a book that has just been unpacked that it was: what was entered after the backup is
    gone from it, and whoever reads it later must be able to see that.  None in an empty book."""
    if not BookLine.objects.exists():
        return None
    with act("restored from a backup", None, at) as writing:
        writing.say(**asdict(told))
    return BookLine.objects.order_by("-number").first()
