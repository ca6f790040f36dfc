"""Putting a backup in the book's place: unpacked and tried beside it first, then changed in one step."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from django.conf import settings
from django.core.management.base import CommandError
from django.db.migrations.loader import MigrationLoader

from lots.entries.keeping import Restored
from lots.management.archive import BOOK, BadBackup, Index, Opened
from lots.management.backing_up import FULL, applied_migrations, database_file, newest_line
from lots.management.placing import fsync_tree
from lots.management.present import Present, check_closed, look_at_present
from lots.management.swapping import (
    place_book,
    place_files,
    place_note,
    place_seal,
    set_aside,
    stamp,
)

UNPACKING: Final = "restoring-"
FAULTS: Final = 3  # how the trial ends where the book does not agree with itself
LEAVE_FREE: Final = 64 * 1024 * 1024  # bytes, for logs of SQLite and the program's own notes


@dataclass(frozen=True, slots=True)
class Told:
    """What whoever restores has said by name: how many lines may be lost, and that faults are known."""

    losing: int | None
    despite_faults: bool


@dataclass(frozen=True, slots=True)
class Done:
    """What a restore did."""

    present: Present
    aside: Path | None
    tried: tuple[str, ...]
    faulty: bool
    seal: str


def open_backup(file: Path) -> Opened:
    """The backup, refused where it is none, was altered, or is of a newer version of the program."""
    try:
        opened = Opened(file)
    except BadBackup as error:
        raise CommandError(f"{file} cannot be restored: {error}. Nothing was changed.") from error
    except OSError as error:
        raise CommandError(f"{file} cannot be read: {error.strerror}.") from error
    check_not_newer_than_program(opened.index.migrations)
    return opened


def check_not_newer_than_program(applied: tuple[str, ...]) -> None:
    loader = MigrationLoader(None)
    known = {f"{app}.{name}" for app, name in loader.disk_migrations}
    newer = [
        one for one in applied if one not in known and one.partition(".")[0] in loader.migrated_apps
    ]
    if newer:
        raise CommandError(
            "A newer version of the logbook made this backup: it holds changes that this version does "
            f"not know ({', '.join(newer)}). Install that version. Nothing was changed."
        )


@contextmanager
def unpacking(now_ms: int) -> Iterator[Path]:
    """A new folder inside the data folder, which goes away with the block.  What an earlier restore left
    that was killed is swept away first: nobody else restores while this one does."""
    data = Path(settings.DATA_DIR)
    for old in data.glob(f"{UNPACKING}*"):
        shutil.rmtree(old, ignore_errors=True)
    folder = data / f"{UNPACKING}{stamp(now_ms)}"
    folder.mkdir(mode=0o700)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def restore(opened: Opened, told: Told, now_ms: int, say: Callable[[str], None]) -> Done:
    """Restores a backup; the caller holds the folder for itself.

    Until the last step the old book stands as it was; that step is one renaming.
    Raises CommandError in words where it refuses; nothing is changed then.
    """
    with unpacking(now_ms) as new, _in_words():
        _check_room(opened.index.size)
        say(f"Unpacking {len(opened.index.members)} files and comparing each with its digest …")
        try:
            opened.unpack(new)
        except BadBackup as error:
            raise CommandError(f"It cannot be restored: {error}. Nothing was changed.") from error
        _check_book_is_the_one_indexed(new / BOOK, opened.index)
        present = look_at_present(database_file(), new / BOOK)
        _check_losing(present, told)
        say("Bringing the book to this version and walking it …")
        faulty, tried = try_out(new, opened, present, told, now_ms)
        return _put_in_place(new, opened, present, now_ms, faulty, tried)


@contextmanager
def _in_words() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        room = " Make room first." if error.errno in FULL else ""
        raise CommandError(
            f"The data folder cannot be written ({error}).{room} The old book stands as it was."
        ) from error


def _check_book_is_the_one_indexed(book: Path, index: Index) -> None:
    try:
        with closing(sqlite3.connect(book)) as unpacked:
            newest, applied = newest_line(unpacked), tuple(applied_migrations(unpacked))
    except sqlite3.DatabaseError as error:
        raise CommandError(f"The book in it is damaged ({error}). Nothing was changed.") from error
    if (newest, applied) != ((index.lines, index.digest), index.migrations):
        raise CommandError(
            "The book in it is not the one that its index names. Nothing was changed."
        )


def _check_room(needed: int) -> None:
    book = database_file()
    needed += (book.stat().st_size if book.exists() else 0) + LEAVE_FREE
    free = shutil.disk_usage(settings.DATA_DIR).free
    if free < needed:
        raise CommandError(
            f"There is no room in {settings.DATA_DIR}: {needed} bytes are needed while the backup is "
            f"tried beside the old book, and {free} are free. Nothing was changed."
        )


def _check_losing(present: Present, told: Told) -> None:
    """A restore that would cut lines off must be told how many by name."""
    if present.losing == (told.losing or 0):
        return
    if present.unreadable:
        raise CommandError(
            f"The present book cannot be read ({present.unreadable}), so what it holds beyond the backup "
            "is not known. To put it aside and restore: --losing-lines unknown. Nothing was changed."
        )
    if not present.lost:
        raise CommandError(
            "No line would be lost, other than --losing-lines says. Leave it out. Nothing was changed."
        )
    ends = dict.fromkeys((present.lost[0], present.lost[-1]))
    shown = "\n  to ".join(line.splitlines()[0] for line in ends)
    raise CommandError(
        f"The present book goes to line {present.lines}. What would be cut off, since the backup does not "
        f"have it ({present.losing} in number):\n  {shown}\n"
        f"If that is meant, say so by their number: --losing-lines {present.losing}. Nothing was changed."
    )


def try_out(
    new: Path, opened: Opened, present: Present, told: Told, now_ms: int
) -> tuple[bool, tuple[str, ...]]:
    """Migrates and walks the unpacked book by a process of its own on that folder, which also writes the
    line that tells of the restore.  Gives whether it is at fault, and the words of the walk."""
    index = opened.index
    restored = Restored(
        index.made_at,
        index.lines,
        index.digest,
        index.digest_of_index,
        present.losing,
        present.digest,
    )
    done = subprocess.run(
        [sys.executable, "-m", "django", "receive_backup"],
        input=json.dumps({"now_ms": now_ms, **asdict(restored)}),
        env=os.environ | _told_child(new), cwd=settings.BASE_DIR, capture_output=True, text=True,
    )  # fmt: skip
    words = tuple(done.stdout.splitlines())
    if done.returncode not in (0, FAULTS):
        raise CommandError(
            "The book in the backup cannot be used by this version: "
            f"{done.stderr.strip() or done.stdout.strip()}\nNothing was changed."
        )
    if done.returncode == FAULTS and not told.despite_faults:
        raise CommandError(
            "The book in the backup does not agree with itself:\n  "
            + "\n  ".join(words)
            + "\nAn older backup may agree. To restore this one all the same: --despite-faults. Nothing was "
            "changed."
        )
    return done.returncode == FAULTS, words


def _told_child(new: Path) -> dict[str, str]:
    return {
        "DJANGO_SETTINGS_MODULE": os.environ.get("DJANGO_SETTINGS_MODULE", "smokehouse.settings"),
        "SMOKEHOUSE_DATA": str(new.absolute()),
    }


def _put_in_place(
    new: Path, opened: Opened, present: Present, now_ms: int, faulty: bool, tried: tuple[str, ...]
) -> Done:
    check_closed(new / BOOK)
    fsync_tree(new)
    aside = set_aside(present, now_ms) if present.there else None
    try:
        place_files(new, opened.index)
        seal = place_seal(new, opened.index.digest_of_index)
        place_book(new, present)
    except BaseException:
        if aside:
            shutil.rmtree(aside)  # copies of what still stands
        raise
    place_note(new)
    return Done(present, aside, tried, faulty, seal)
