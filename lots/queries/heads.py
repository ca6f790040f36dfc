"""Sealed heads and issued records held against the chain: each says what the book's digest was at a line.

Whoever recomputes the whole chain makes it agree with itself, but not with what the key has signed.
"""

import base64
import binascii
import hashlib
import json
from collections.abc import Iterator, Mapping
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from cryptography import x509
from django.conf import settings

from lots.models.book import BookLine
from lots.models.review import HeadSealed, RecordIssued
from lots.models.sealing import SealKey
from lots.pdf.key import fingerprint, signature_holds
from lots.queries.digests import canonical

FORM: Final = 1


def head_content(establishment: str, line: int, digest: str, at: int, key: str) -> dict[str, Any]:
    """What the key signs of a head, by its names; signed is the canonical JSON of it.

    Args:
        at: when, ms UTC.
        key: the certificate's fingerprint, hex.
    """
    return {
        "form": FORM,
        "what": "head of the book",
        "establishment": establishment,
        "line": line,
        "digest": digest,
        "at": at,
        "key": key,
    }


def known_certificates() -> list[bytes]:
    """The PEM certificates that the book knows as its own: of the house's own authority its
    certificate, of a key from outside that certificate alone."""
    rows = SealKey.objects.order_by("id")
    return [
        (one.chain if one.source == "own" and one.chain else one.certificate).encode()
        for one in rows
    ]


def head_faults() -> Iterator[tuple[int, str]]:
    """Every sealed head that disagrees with the chain or with its own seal: (line, words)."""
    certificates: dict[str, x509.Certificate] = {}
    for key in SealKey.objects.order_by("id"):
        certificate = _certificate(key)
        if certificate is None:
            yield key.line_id, f"line {key.line_id}: the sealing certificate is not what it was"
        else:
            certificates[key.fingerprint] = certificate
    digests = dict(BookLine.objects.values_list("number", "digest"))
    for row in HeadSealed.objects.order_by("id").iterator():
        fault = _head_fault(row, digests, certificates)
        if fault:
            yield row.line_id, f"line {row.line_id}: {fault}"


def _certificate(key: SealKey) -> x509.Certificate | None:
    try:
        found = x509.load_pem_x509_certificate(key.certificate.encode())
    except ValueError:
        return None
    return found if fingerprint(found) == key.fingerprint else None


def _head_fault(
    row: HeadSealed, digests: Mapping[int, str], certificates: Mapping[str, x509.Certificate]
) -> str:
    try:
        stated = json.loads(row.seal)
        signature = base64.b64decode(stated.pop("signature"), validate=True)
        line, digest, key = stated["line"], stated["digest"], stated["key"]
    except (ValueError, KeyError, TypeError, AttributeError, binascii.Error):
        return "the seal of a head cannot be read"
    if (line, digest) != (row.head_id, row.head_digest):
        return f"the seal is over another head than line {row.head_id}"
    if key not in certificates:
        return f"the head of line {line} is sealed by a key that the book does not know"
    if not signature_holds(certificates[key], canonical(stated).encode(), signature):
        return f"the seal over the head of line {line} does not hold"
    if digests.get(line) != digest:
        return f"the digest of line {line} is not the one that was sealed: the chain was recomputed"
    return ""


# --- issued records --------------------------------------------------------------------------------


def record_head_faults() -> Iterator[tuple[int, str]]:
    """Every issued record whose file is not as it was sealed, or whose head of the book is not the
    chain's: (line, words).  Reads each kept PDF, a tenth of a second or so apiece.  Whose seal it is can
    only be asked where a certificate is known: a book from before they were kept may have none left."""
    trusted = known_certificates() + _folder_certificates()
    digests = dict(BookLine.objects.values_list("number", "digest"))
    rows = RecordIssued.objects.select_related("lot", "file").order_by("id")
    for row in rows.iterator():
        fault = _record_fault(row, digests, trusted)
        if fault:
            what = f"record of lot {row.lot.code}, revision {row.revision}"
            yield row.line_id, f"line {row.line_id}: {what}: {fault}"


def _folder_certificates() -> list[bytes]:
    """Those in the data folder, for books from before the book kept its certificates."""
    from lots.pdf.key import trusted_certificates

    return [] if SealKey.objects.exists() else trusted_certificates(Path(settings.KEYS_DIR))


def _record_fault(row: RecordIssued, digests: Mapping[int, str], trusted: list[bytes]) -> str:
    from lots.pdf.checked_seal import Altered, checked_seal
    from lots.pdf.stamp import vouches

    try:
        data = (Path(settings.FILES_DIR) / row.file.sha256).read_bytes()
    except OSError:
        return "its file is gone"
    if hashlib.sha256(data).hexdigest() != row.file.sha256:
        return "its file is not the one that was kept"
    try:  # the seal alone: what its pages say is check_record's
        certificate = checked_seal(data).certificate
    except Altered:
        return "its seal does not hold"
    if trusted and not any(vouches(pem, certificate) for pem in trusted):
        return "it is sealed by a key that the book does not know"
    try:
        line, digest = _head_in(data)
    except Exception:  # sealed, and yet not a record as this logbook makes it
        return "the head of the book cannot be read in it"
    if line != row.head_id:
        return f"it says line {line} where the book says line {row.head_id}"
    if digests.get(line) != digest:
        return f"the digest of line {line} printed in it is not the chain's"
    return ""


def _head_in(pdf: bytes) -> tuple[int, str]:
    """Line and digest of the book as they stand in the record attached to the PDF."""
    import pikepdf

    from lots.pdf.render import ATTACHMENT

    with pikepdf.open(BytesIO(pdf)) as file:
        held = json.loads(file.attachments[ATTACHMENT].get_file().read_bytes())
    return int(held["book"]["line"]), str(held["book"]["digest"])
