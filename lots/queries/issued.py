"""Whether the book issued a file, and whether that is the newest that it issued of the lot."""

from dataclasses import dataclass
from pathlib import Path

from django.conf import settings

from lots.models.review import RecordIssued


@dataclass(frozen=True)
class Issued:
    """A record that this book issued: `newest` is the lot's newest revision."""

    lot: str
    revision: int
    newest: int
    at: int


def issued_as(sha256: str) -> Issued | None:
    """The record whose file has this digest, if the book issued one."""
    row = (
        RecordIssued.objects.filter(file__sha256=sha256)
        .select_related("lot", "line")
        .order_by("id")
        .first()
    )
    if row is None:
        return None
    numbers = RecordIssued.objects.filter(lot=row.lot_id).values_list("revision", flat=True)
    return Issued(row.lot.code, row.revision, max(numbers), row.line.at)


def issued_words(sha256: str, ours: bool) -> str:
    """What the book says of a file, for the end of a check; `ours` where the seal is the house's."""
    found = issued_as(sha256)
    if found is None and ours:
        return (
            "THIS BOOK DID NOT ISSUE THIS FILE, although the seal is the establishment’s: ask the "
            "establishment for the record as it keeps it."
        )
    if found is None:
        return "This book did not issue this file."
    if found.newest > found.revision:
        return (
            f"This book issued this very file. It is revision {found.revision}; the newest of lot "
            f"{found.lot} is revision {found.newest}."
        )
    return f"This book issued this very file, and it is the newest record of lot {found.lot}."


def trusted() -> list[bytes]:
    """The PEM certificates whose seals are the establishment's own; none before the first seal."""
    from lots.pdf.key import trusted_certificates

    return trusted_certificates(Path(settings.KEYS_DIR))
