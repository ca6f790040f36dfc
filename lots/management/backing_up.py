"""A copy of a SQLite book while it is in use, whole as of one moment."""

import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection

from lots.management.postgres import backup_words

KEPT_BACKUPS: Final = 10


def database_file() -> Path:
    """The file of the book; refuses another kind of database, which has its own tools."""
    if connection.vendor != "sqlite":
        raise CommandError(backup_words())
    return Path(connection.settings_dict["NAME"])


def copy_database(source: Path, target: Path) -> None:
    """Copies the book by SQLite's own online backup, to a file that did not exist before.

    Raises CommandError where the source is damaged: the copy is then taken away again.
    """
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    reading = sqlite3.connect(f"file:{source}?mode=rw", uri=True)
    writing = sqlite3.connect(target)
    try:
        reading.backup(writing)
        writing.execute("PRAGMA journal_mode=DELETE")  # one file, without a log beside it
        found = writing.execute("PRAGMA quick_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        found = str(error)
    finally:
        writing.close()
        reading.close()
    if found != "ok":
        target.unlink()
        raise CommandError(f"The database {source} is damaged ({found}). Nothing was changed.")


def back_up_before_migrating(now_ms: int) -> Path | None:
    """A copy in the data folder's backups, of which the last ten are kept; None of a new book."""
    source = database_file()
    if not connection.introspection.table_names():
        return None
    folder = Path(settings.DATA_DIR) / "backups"
    folder.mkdir(mode=0o700, exist_ok=True)
    when = datetime.fromtimestamp(now_ms // 1000, UTC)
    target = folder / f"book-{when:%Y%m%dT%H%M%S}.{now_ms % 1000:03}Z.sqlite3"
    copy_database(source, target)
    for old in sorted(folder.glob("book-*.sqlite3"))[:-KEPT_BACKUPS]:
        old.unlink()
    return target
