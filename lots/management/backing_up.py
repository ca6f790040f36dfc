"""Copies of the book while it is in use: of the database alone at each start, of everything by hand."""

import errno
import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection

from lots.entries.keeping import note_backup
from lots.management.archive import BOOK, Index, Pack
from lots.management.placing import put_under, workshop
from lots.management.postgres import backup_words
from lots.queries.keeping import DATABASE, WHOLE, BackupMade

KEPT_BACKUPS: Final = 10
# what is nobody's business in a copy, or would wake up in a restored book: who is logged in now, and files
# that wait in a folder that the backup does not hold
NOT_COPIED: Final = ("django_session", "lots_stagedfile")
FULL: Final = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
FULL_TOO: Final = ("SQLITE_FULL", "SQLITE_IOERR_WRITE", "SQLITE_IOERR_TRUNCATE")
_PEM: Final = re.compile(
    rb"-----BEGIN ([A-Z0-9 ]+)-----\r?\n[A-Za-z0-9+/=\r\n]+-----END \1-----\s*"
)
PUBLIC_OR_CLOSED: Final = {b"CERTIFICATE", b"ENCRYPTED PRIVATE KEY"}


def database_file() -> Path:
    """The file of the book; refuses another kind of database, which has its own tools."""
    if connection.vendor != "sqlite":
        raise CommandError(backup_words())
    return Path(connection.settings_dict["NAME"])


def copy_database(source: Path, target: Path) -> None:
    """Copies the book by SQLite's own online backup, to a file that did not exist before.

    Raises CommandError where the source is damaged, OSError where the target cannot be written: the copy
    is then taken away again.
    """
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    try:
        _copy(source, target)
    except BaseException:
        target.unlink()
        raise


def _copy(source: Path, target: Path) -> None:
    found = "ok"
    try:
        with (
            closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=rw", uri=True)) as reading,
            closing(sqlite3.connect(target)) as writing,
        ):
            reading.backup(writing)
            writing.execute("PRAGMA journal_mode=DELETE")  # one file, without a log beside it
            found = writing.execute("PRAGMA quick_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorname", "") in FULL_TOO:
            raise OSError(errno.ENOSPC, str(error), str(target)) from error
        found = str(error)
    if found != "ok":
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
    with _in_words(target):
        copy_database(source, target)
    for old in sorted(folder.glob("book-*.sqlite3"))[:-KEPT_BACKUPS]:
        old.unlink()
    with closing(sqlite3.connect(target)) as copy:
        lines = newest_line(copy)[0]
    note_backup(_made(now_ms, DATABASE, target, lines))
    return target


def _made(at: int, what: str, target: Path, lines: int) -> BackupMade:
    standing = target.stat()
    same_disk = standing.st_dev == Path(settings.DATA_DIR).stat().st_dev
    return BackupMade(at, what, str(target.absolute()), standing.st_size, lines, same_disk)


def has_table(book: sqlite3.Connection, name: str) -> bool:
    found = book.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", [name])
    return found.fetchone() is not None


def newest_line(book: sqlite3.Connection) -> tuple[int, str]:
    """Number and digest of the book's newest line; by hand, since the book may be of another version."""
    if not has_table(book, "lots_bookline"):
        return 0, ""
    newest = "SELECT number, digest FROM lots_bookline ORDER BY number DESC LIMIT 1"
    return book.execute(newest).fetchone() or (0, "")


def _column(book: sqlite3.Connection, table: str, sql: str) -> list[str]:
    return [str(row[0]) for row in book.execute(sql)] if has_table(book, table) else []


def applied_migrations(book: sqlite3.Connection) -> list[str]:
    sql = "SELECT app || '.' || name FROM django_migrations ORDER BY 1"
    return _column(book, "django_migrations", sql)


@dataclass(frozen=True, slots=True)
class WholeBackup:
    """A backup that was made, and the kept files in it that are not as they were kept."""

    index: Index
    size: int
    altered: tuple[str, ...]


def back_up(target: Path, now_ms: int) -> WholeBackup:
    """Makes a whole backup under a name that nothing has.

    The database is copied first and then the files that this copy names: a file is on the disk before
    its row is in the book and never leaves, so each of them is there.
    Raises CommandError in words where it cannot be made; nothing is left then.
    """
    with _in_words(target), workshop(target) as folder:
        copy, part = folder / BOOK, folder / "part"
        copy_database(database_file(), copy)
        _forget_what_is_not_copied(copy)
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as opened:
            pack = Pack(opened)
            try:
                index, altered = _fill(pack, copy, now_ms)
                pack.close(index)
            except BaseException:
                pack.abandon()
                raise
        put_under(part, target)
    made = _made(now_ms, WHOLE, target, index.lines)
    note_backup(made)
    return WholeBackup(index, made.size, altered)


@contextmanager
def _in_words(target: Path) -> Iterator[None]:
    try:
        yield
    except FileExistsError as error:
        raise CommandError(f"{target} is already there: name another file.") from error
    except (OSError, sqlite3.DatabaseError) as error:
        if getattr(error, "errno", 0) in FULL or getattr(error, "sqlite_errorname", "") in FULL_TOO:
            raise CommandError(
                f"There is no room for {target} ({getattr(error, 'strerror', error)}): while it is made, a copy needs up to twice the "
                "size of the book and its files. Make room, or name a file on another disk. Nothing was "
                "left there."
            ) from error
        if isinstance(error, sqlite3.DatabaseError):
            raise CommandError(f"The copy of the book cannot be read ({error}).") from error
        raise CommandError(f"{target} cannot be written: {error.strerror}.") from error


def _forget_what_is_not_copied(copy: Path) -> None:
    """Takes out of the copy what does not belong into it, overwritten with zeros."""
    with closing(sqlite3.connect(copy, isolation_level=None)) as book:
        book.execute("PRAGMA secure_delete = ON")
        for table in NOT_COPIED:
            if has_table(book, table):
                book.execute(f"DELETE FROM {table}")


def _fill(pack: Pack, copy: Path, now_ms: int) -> tuple[Index, tuple[str, ...]]:
    """Packs what belongs in; gives the index, and the files whose content is not what their name says."""
    with closing(sqlite3.connect(copy)) as book:
        lines, digest = newest_line(book)
        migrations = applied_migrations(book)
        named = _column(
            book, "lots_keptfile", "SELECT DISTINCT sha256 FROM lots_keptfile ORDER BY sha256"
        )
    pack.add(BOOK, copy)
    missing, altered = [], []
    for name in named:
        file = Path(settings.FILES_DIR) / name
        if not file.is_file():
            missing.append(name)
        elif pack.add(f"files/{name}", file).sha256 != name:
            altered.append(name)
    left_out = _pack_seal(pack)
    made: list[Any] = [now_ms, tuple(migrations), lines, digest]
    return Index(*made, tuple(pack.members), tuple(missing), left_out), tuple(altered)


def _pack_seal(pack: Pack) -> tuple[str, ...]:
    """Packs the seal's certificates, and its keys where they are closed with a passphrase; gives the
    names of everything else in the folder of the keys, which no backup holds."""
    left_out, folder = [], Path(settings.KEYS_DIR)
    for file in sorted(folder.rglob("*")):
        name = file.relative_to(folder).as_posix()
        if not file.is_file():
            continue
        if re.fullmatch(r"seal[A-Za-z0-9._-]*\.pem", name) and is_public_or_closed(
            file.read_bytes()
        ):
            pack.add(f"keys/{name}", file)
        else:
            left_out.append(name)
    return tuple(left_out)


def is_public_or_closed(pem: bytes) -> bool:
    """Whether a file holds nothing but certificates and keys that a passphrase closes.  A key in any
    older form counts as open: a backup travels, and whoever finds it must not be able to seal."""
    kinds = [match[1] for match in _PEM.finditer(pem)]
    return bool(kinds) and set(kinds) <= PUBLIC_OR_CLOSED and not _PEM.sub(b"", pem).strip()
