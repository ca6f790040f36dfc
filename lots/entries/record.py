"""The issued record in three parts: read the value; render and seal outside any transaction; append,
refused if the lot's last line has moved meanwhile."""

import hashlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.conf import settings

from lots.core.record import canonical_bytes
from lots.entries.book import act
from lots.entries.files import Upload, keep_file
from lots.entries.lapses import notice_lapses
from lots.entries.refusals import Changed, Refused
from lots.entries.sealing import ready_sealer, seal_folder
from lots.entries.signing import require
from lots.models.book import BookLine, LineLot
from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.models.people import Person, Right
from lots.models.review import RecordIssued
from lots.queries.record import get_lot_for_record, lot_record

__all__ = ["issue_record", "seal_folder"]


def _newest_line(lot: Lot) -> int | None:
    """The lot's newest line of any kind: a review or a release must be on the paper too."""
    return LineLot.objects.filter(lot=lot).order_by("-line").values_list("line", flat=True).first()


def _stamping() -> Any:
    """The time stamping authority that is to be asked, if the house named one.

    Raises:
        Refused: the certificate named for it is none.
    """
    from lots.pdf.stamp_request import Stamping

    url, file = settings.SEAL_TIMESTAMP_URL, settings.SEAL_TIMESTAMP_CERT
    if not url:
        return None
    try:
        trusted = [Path(file).read_bytes()] if file else []
        return Stamping(url, trusted)
    except (OSError, ValueError) as error:
        raise Refused(
            f"The time stamping authority's certificate {file} (SEAL_TIMESTAMP_CERT) cannot be read. Name "
            "the right file, or none."
        ) from error


def issue_record(
    reviewer: Person,
    lot: Lot,
    house: Establishment,
    at: int,
    change: str = "",
    page: str = "letter",
) -> RecordIssued:
    """Makes, seals and keeps the lot's record as it stands; earlier revisions stay.  The person's
    password was asked for before.  Where an authority is named, its time stamp, or why there is none,
    stands in the line as "stamp"."""
    from lots.pdf.render import render
    from lots.pdf.seal import seal

    require(reviewer, Right.REVIEWER)
    whole = get_lot_for_record(lot.code)
    if whole is None:
        raise Refused("There is no such lot.")
    sealer = ready_sealer(house, at)  # first, so that without it nothing is written
    stamping = _stamping()
    notice_lapses([whole], at)
    last = _newest_line(whole)
    record = lot_record(whole, house, reviewer, at, change.strip())
    data = canonical_bytes(record)
    pdf = seal(
        render(record, "A4" if page == "A4" else "letter"),
        sealer,
        now=datetime.fromtimestamp(at / 1000, UTC),
        reason=f"Record of lot {whole.code}, revision {record.revision}",
        location=house.address,
        name=house.name,
        stamper=stamping,
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
        if stamping is not None:
            writing.say(stamp=stamping.said)
    return row
