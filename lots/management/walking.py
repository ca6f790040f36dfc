"""Walking the book beside its use: as of one moment, at low priority, with its result kept."""

import hashlib
import logging
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection, transaction

from lots.entries.keeping import note_walk
from lots.models.book import BookLine
from lots.queries.book_check import Fault, book_faults
from lots.queries.keeping import TOLD, Files, Walk, missing_files, named_files
from lots.queries.witnesses import witness_faults

log = logging.getLogger("lots")


@contextmanager
def one_sight() -> Iterator[None]:
    """Everything read inside is the book as of one moment, while others go on writing: otherwise a row
    written during the walk would look like one that stands in no line.  Takes no lock of a writer."""
    if connection.in_atomic_block:  # whoever opened the transaction has said what it sees
        yield
        return
    usual = getattr(connection, "transaction_mode", None)
    connection.ensure_connection()
    if connection.vendor == "sqlite":
        connection.transaction_mode = "DEFERRED"
    try:
        with transaction.atomic():
            if connection.vendor == "postgresql":
                with connection.cursor() as cursor:
                    cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
    finally:
        if connection.vendor == "sqlite":
            connection.transaction_mode = usual


def walk_and_note(at: int) -> Walk:
    """Walks the whole book and looks at each kept file that it names; keeps and returns the result."""
    began = time.monotonic()
    walk = _walk(at, began)
    note_walk(walk)
    return walk


def _walk(at: int, began: float) -> Walk:
    try:
        with one_sight():
            last = BookLine.objects.order_by("-number").first()
            faults = [*book_faults(), *witness_faults()]
            named = named_files()
        files = look_at_files(named)
    except (DatabaseError, OSError) as error:
        log.exception("the book could not be walked")
        return Walk(at, _since(began), 0, "", 0, failed=str(error))
    except Exception as error:
        log.exception("the book could not be walked")
        return Walk(at, _since(began), 0, "", 0, failed=f"{type(error).__name__}: {error}")
    return result(at, _since(began), last, faults, files)


def result(
    at: int, took_ms: int, last: BookLine | None, faults: list[Fault], files: Files | None
) -> Walk:
    """A walk that came to its end, as it is kept."""
    words = tuple(fault.words for fault in faults[:TOLD])
    number, digest = (last.number, last.digest) if last else (0, "")
    return Walk(at, took_ms, number, digest, len(faults), words, files=files)


def _since(began: float) -> int:
    return round((time.monotonic() - began) * 1000)


def look_at_files(named: list[str]) -> Files:
    """Which files are missing, and which are not what their name, their SHA-256, says."""
    missing = missing_files(named)
    gone = set(missing)
    folder = Path(settings.FILES_DIR)
    altered = [name for name in named if name not in gone and digest_of(folder / name) != name]
    amiss = len(missing) + len(altered)
    return Files(len(named), amiss, tuple(missing[:TOLD]), tuple(altered[:TOLD]))


def digest_of(file: Path) -> str:
    """The SHA-256 of a file, read piece by piece."""
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def walk_said(walk: Walk) -> Iterator[str]:
    """The result in words for a console."""
    if walk.failed:
        yield f"The book could not be walked: {walk.failed}"
    yield from walk.faults
    if walk.fault_count > len(walk.faults):
        yield f"… and {walk.fault_count - len(walk.faults)} more (manage.py check_book names all)."
    if walk.files:
        yield from (f"kept file {name} is missing" for name in walk.files.missing)
        yield from (f"kept file {name} is not as it was kept" for name in walk.files.altered)
    if not walk.lines:
        yield "The book is empty."
    elif walk.agrees:
        yield f"{walk.lines} lines agree. The newest digest is {walk.digest}."


def is_whole(walk: Walk) -> bool:
    """Whether book and files are as they were written."""
    return walk.agrees and not (walk.files and walk.files.amiss)
