"""Walking the book beside its use: as of one moment, at low priority, with its result kept."""

import logging
import time
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import DatabaseError, connection, transaction

from lots.entries.keeping import note_walk
from lots.models.book import BookLine
from lots.queries.book_check import Fault, book_faults
from lots.queries.keeping import TOLD, Walk
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
            faults = [*book_faults(files=True), *witness_faults()]
    except (DatabaseError, OSError) as error:
        log.exception("the book could not be walked")
        return Walk(at, _since(began), 0, "", 0, failed=str(error))
    except Exception as error:
        log.exception("the book could not be walked")
        return Walk(at, _since(began), 0, "", 0, failed=f"{type(error).__name__}: {error}")
    return result(at, _since(began), last, faults)


def result(at: int, took_ms: int, last: BookLine | None, faults: list[Fault]) -> Walk:
    """A walk that came to its end, as it is kept."""
    words = tuple(fault.words for fault in faults[:TOLD])
    number, digest = (last.number, last.digest) if last else (0, "")
    return Walk(at, took_ms, number, digest, len(faults), words)


def _since(began: float) -> int:
    return round((time.monotonic() - began) * 1000)


def walk_said(walk: Walk) -> Iterator[str]:
    """The result in words for a console."""
    if walk.failed:
        yield f"The book could not be walked: {walk.failed}"
    yield from walk.faults
    if walk.fault_count > len(walk.faults):
        yield f"… and {walk.fault_count - len(walk.faults)} more (manage.py check_book names all)."
    if not walk.lines:
        yield "The book is empty."
    elif walk.agrees:
        yield f"{walk.lines} lines agree. The newest digest is {walk.digest}."
