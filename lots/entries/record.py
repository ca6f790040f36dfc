"""The issued record in three parts: read the value; render and seal outside any transaction; append,
refused if the lot's last line has moved meanwhile."""

import hashlib
from datetime import UTC, datetime
from pathlib import Path

from django.conf import settings

from lots.core.record import canonical_bytes
from lots.entries.book import act
from lots.entries.files import Upload, keep_file
from lots.entries.lapses import notice_lapses
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require
from lots.models.book import BookLine, LineLot
from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.models.people import Person, Right
from lots.models.review import RecordIssued
from lots.queries.record import get_lot_for_record, lot_record


def seal_folder() -> Path:
    """Where the establishment's sealing key and certificates lie."""
    return Path(settings.KEYS_DIR)


def ensure_seal_key(house: Establishment, at: int) -> None:
    """Makes the establishment's own sealing key at the first need."""
    from lots.pdf.seal import make_seal_key

    folder = seal_folder()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    if not any(folder.glob("seal*.pem")):  # other keys lie in the same folder
        make_seal_key(folder, house.name, datetime.fromtimestamp(at / 1000, UTC))


def _newest_line(lot: Lot) -> int | None:
    """The lot's newest line of any kind: a review or a release must be on the paper too."""
    return LineLot.objects.filter(lot=lot).order_by("-line").values_list("line", flat=True).first()


def issue_record(
    reviewer: Person,
    lot: Lot,
    house: Establishment,
    at: int,
    change: str = "",
    page: str = "letter",
) -> RecordIssued:
    """Makes, seals and keeps the lot's record as it stands; earlier revisions stay."""
    from lots.pdf.render import render
    from lots.pdf.seal import seal

    require(reviewer, Right.REVIEWER)
    whole = get_lot_for_record(lot.code)
    if whole is None:
        raise Refused("There is no such lot.")
    notice_lapses([whole], at)
    last = _newest_line(whole)
    record = lot_record(whole, house, reviewer, at, change.strip())
    data = canonical_bytes(record)
    ensure_seal_key(house, at)
    pdf = seal(
        render(record, "A4" if page == "A4" else "letter"),
        seal_folder(),
        now=datetime.fromtimestamp(at / 1000, UTC),
        reason=f"Record of lot {whole.code}, revision {record.revision}",
        location=house.address,
        name=house.name,
    )
    with act("record issued", reviewer, at) as writing:
        if _newest_line(whole) != last:
            raise Changed(
                "Something was entered on the lot while its record was made. Issue it again."
            )
        if RecordIssued.objects.filter(lot=whole, revision=record.revision).exists():
            raise Changed("Somebody else has just issued this lot's record. Look at it first.")
        kept = keep_file(
            writing, Upload(f"{whole.code}-{record.revision}.pdf", pdf), "application/pdf"
        )
        row = writing.write(
            RecordIssued(
                lot=whole,
                revision=record.revision,
                file=kept,
                record_sha256=hashlib.sha256(data).hexdigest(),
                head=BookLine.objects.get(pk=record.book.line),
                change=change.strip(),
            )
        )
        writing.concerns(whole)
        writing.say(code=whole.code, revision=record.revision)
    return row
