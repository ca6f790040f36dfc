"""The book's pen: one act, one transaction, one line, tied to the line before by its digest."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from inspect import signature
from typing import Any, Final, ParamSpec, TypeVar

from django.db import connection, transaction

from lots.entries.fits import check_fits
from lots.entries.refusals import USED, Refused
from lots.models.book import BookLine, Kept, LineLot
from lots.models.lot import Lot
from lots.models.people import Person
from lots.queries.digests import GENESIS, canonical, line_digest, row_digest, sha256

__all__ = ["Act", "act", "already", "canonical", "row_digest", "sha256", "taken_once"]

FORM: Final = 1
POSTGRES_LOCK: Final = 0x51D0C
Row = TypeVar("Row", bound=Kept)
Words = ParamSpec("Words")
Answer = TypeVar("Answer")


class Repeated(Exception):
    """The same entry came a second time while the first was being written: it is in the book now."""


class Act:
    """One act while it is being written."""

    def __init__(self, number: int, at: int, person: Person | None) -> None:
        self.number = number
        self.at = at
        self.person = person
        self.content: dict[str, Any] = {}
        self._rows: list[list[Any]] = []
        self.nothing = False  # set when it turns out that there is nothing to write
        self._lots: set[int] = set()

    def write(self, row: Row) -> Row:
        """Appends a kept row under this act's line."""
        row.line_id = self.number
        check_fits(row)
        row.save(force_insert=True)
        self._rows.append([row._meta.model_name, row.pk, row_digest(row)])
        return row

    def concerns(self, *lots: Lot | int) -> None:
        """Names the lots that the act speaks of."""
        self._lots.update(lot if isinstance(lot, int) else lot.pk for lot in lots)

    def say(self, **content: Any) -> None:
        """Adds to the line's content: text and whole numbers only."""
        self.content.update(content)

    def close(self, kind: str, prev: str, client_key: str | None) -> BookLine:
        line = BookLine(
            number=self.number,
            at=self.at,
            person=self.person,
            kind=kind,
            content=canonical({**self.content, "rows": self._rows, "lots": sorted(self._lots)}),
            form=FORM,
            prev=prev,
            client_key=client_key,
        )
        line.digest = line_digest(line)
        line.save(force_insert=True)
        LineLot.objects.bulk_create(
            LineLot(line=line, lot_id=lot_id) for lot_id in sorted(self._lots)
        )
        return line


def _head() -> tuple[int, str]:
    """Number and digest of the last line, under the lock that orders the book.

    On SQLite the transaction is IMMEDIATE, so that no other writer is in between; on PostgreSQL an
    advisory lock held to the end of the transaction does the same.  There it is a statement of its own,
    before anything is read: each statement reads what was written when it began.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [POSTGRES_LOCK])
    last = BookLine.objects.order_by("-number").values_list("number", "digest").first()
    return last or (0, GENESIS)


@contextmanager
def act(kind: str, person: Person | None, at: int, client_key: str | None = None) -> Iterator[Act]:
    """One act: everything written inside goes in together with its line, or not at all.

    Args:
        kind: the act's verb, e.g. "reading entered".
        person: who; None is "the book" itself.
        at: when the server heard it, ms UTC.
        client_key: names the entry on the device; the same key is never taken twice.
    Raises:
        Repeated: an entry of this key was written since `already` looked (see `taken_once`).
    """
    with transaction.atomic():
        number, digest = _head()
        if _is_taken(client_key):
            raise Repeated
        writing = Act(number + 1, at, person)
        yield writing
        if not (writing.nothing and not writing._rows):
            writing.close(kind, digest, client_key or None)


def already(client_key: str | None, kind: str, person: Person) -> BookLine | None:
    """The line that a repeated entry got the first time, if it was taken before.

    Raises:
        Refused: the key was used by somebody else, or for another kind of act.
    """
    if not client_key:
        return None
    line = BookLine.objects.filter(client_key=client_key).first()
    if line is not None and (line.kind != kind or line.person_id != person.pk):
        raise Refused(USED)
    return line


def taken_once(entry: Callable[Words, Answer]) -> Callable[Words, Answer]:
    """An entry that came a second time while the first was being written gets the answer of the first,
    not a refusal of what the first has just done: asked again, `already` finds it."""
    named = signature(entry)

    @wraps(entry)
    def once(*args: Words.args, **kwargs: Words.kwargs) -> Answer:
        try:
            return entry(*args, **kwargs)
        except (Repeated, Refused):
            if not _is_taken(named.bind(*args, **kwargs).arguments.get("client_key")):
                raise
            return entry(*args, **kwargs)

    return once


def _is_taken(client_key: str | None) -> bool:
    return bool(client_key) and BookLine.objects.filter(client_key=client_key).exists()
