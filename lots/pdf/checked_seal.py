"""The seal of a record: whether every byte of the file is as it was sealed.

What counts as altered: any byte that the seal does not cover, save the seal itself; and in the gap
where the seal stands, anything but "<", the seal's own bytes in upper-case hex, zeros, ">".
"""

import hashlib
from binascii import unhexlify
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15

from lots.pdf.stamp import BadStamp, StampFound, checked_stamp, stamp_attributes, stamp_of


class Altered(Exception):
    """The file is not as it was sealed; the message says how, in words."""


@dataclass(frozen=True, slots=True)
class SealFound:
    """A seal that holds: who sealed, when by their own word (ISO 8601), and the time stamp, if any."""

    certificate: x509.Certificate
    sealed_at: str
    stamp: StampFound | None


def sealed(data: bytes) -> bool:
    return data.startswith(b"%PDF-") and b"/ByteRange" in data


def checked_seal(data: bytes, trusted: Sequence[bytes] = ()) -> SealFound:
    """The seal over exactly these bytes; `trusted` are PEM certificates of time stamping authorities.

    Raises:
        Altered: it does not hold for every byte of the file.
    """
    if not data:
        raise Altered("The file is empty.")
    if not data.startswith(b"%PDF-"):
        raise Altered("This is not a PDF file, so it is no sealed record.")
    try:
        return _checked_pdf(data, trusted)
    except (Altered, MemoryError, ImportError):
        raise
    except Exception as error:  # a damaged file may fail anywhere in the readers
        raise Altered(
            f"the file is damaged and its seal cannot be read ({type(error).__name__})."
        ) from error


def _checked_pdf(data: bytes, trusted: Sequence[bytes]) -> SealFound:
    from pyhanko.pdf_utils.reader import PdfFileReader

    seals = PdfFileReader(BytesIO(data)).embedded_signatures
    if not seals:
        raise Altered("this PDF carries no seal." if sealed(data) else "This PDF carries no seal.")
    if len(seals) > 1:
        raise Altered(f"it carries {len(seals)} seals where there should be one.")
    (one,) = seals
    covered = [int(n) for n in one.byte_range]
    der = _seal_in_gap(data, covered)
    certificate = _check_cms(one.signed_data, der)
    digest = hashlib.sha256(data[: covered[1]] + data[covered[2] :]).digest()
    signer = one.signed_data["signer_infos"][0]
    _check_signature(digest, signer, certificate)
    return SealFound(certificate, _stated(one), _stamp(signer, trusted))


def _stamp(signer: Any, trusted: Sequence[bytes]) -> StampFound | None:
    """The time stamp over the seal's signature, once it holds."""
    try:
        token = stamp_of(signer)
        if token is None:
            return None
        return checked_stamp(signer["signature"].native, token, trusted)
    except BadStamp as error:
        raise Altered(str(error)) from None


def _seal_in_gap(data: bytes, covered: list[int]) -> bytes:
    """The seal's own bytes: it covers the whole file save a gap, and the gap holds exactly it."""
    from asn1crypto import cms

    if len(covered) != 4 or covered[0] != 0:
        raise Altered("the seal does not begin at the file's first byte.")
    _, first, second, length = covered
    if second + length != len(data):
        raise Altered("something was added to the file after it was sealed, or cut off.")
    gap = data[first:second]
    if first < 0 or gap[:1] != b"<" or gap[-1:] != b">":
        raise Altered("the place of the seal in the file is not where it should be.")
    raw = unhexlify(gap[1:-1])
    der: bytes = cms.ContentInfo.load(raw, strict=False).dump(force=True)
    padding = b"0" * (len(gap) - 2 - 2 * len(der))
    if gap[1:-1] != der.hex().upper().encode() + padding:
        raise Altered("the bytes of the seal itself were changed.")
    return der


def _check_cms(signed: Any, der: bytes) -> x509.Certificate:
    """The seal's one certificate.  Every field that its signature does not cover has the one value
    that it must have, so that no bit of the seal can be turned unnoticed."""
    from asn1crypto import algos, cms

    certificates, signers = signed["certificates"], signed["signer_infos"]
    if len(certificates) != 1 or len(signers) != 1:
        raise Altered("the seal does not hold exactly one certificate and one signature.")
    certificate, signer = certificates[0].chosen, signers[0]
    sha256 = algos.DigestAlgorithm({"algorithm": "sha256"})
    issuer = cms.IssuerAndSerialNumber(
        {"issuer": certificate.issuer, "serial_number": certificate.serial_number}
    )
    method = algos.SignedDigestAlgorithm({"algorithm": "sha256_rsa"})
    try:
        token = stamp_of(signer)
        beside = {} if token is None else {"unsigned_attrs": stamp_attributes(token)}
    except BadStamp as error:
        raise Altered(str(error)) from None
    expected = cms.SignedData({
        "version": "v1",
        "digest_algorithms": [sha256],
        "encap_content_info": {"content_type": "data"},
        "certificates": [certificate],
        "signer_infos": [{
            "version": "v1",
            "sid": cms.SignerIdentifier({"issuer_and_serial_number": issuer}),
            "digest_algorithm": sha256,
            "signed_attrs": signer["signed_attrs"],
            "signature_algorithm": method,
            "signature": signer["signature"],
            **beside,
        }],
    })  # fmt: skip
    if cms.ContentInfo({"content_type": "signed_data", "content": expected}).dump() != der:
        raise Altered("the seal is not built as this logbook builds it.")
    return x509.load_der_x509_certificate(certificate.dump())


def _check_signature(digest: bytes, signer: Any, certificate: x509.Certificate) -> None:
    """The signature holds for the file's digest and for this very certificate (PAdES)."""
    signed = signer["signed_attrs"]
    stated = {one["type"].native: one["values"][0] for one in signed}
    if stated["message_digest"].native != digest:
        raise Altered("the file’s bytes are not those that were sealed.")
    if stated["content_type"].native != "data":
        raise Altered("the seal is not one over a file.")
    named = stated["signing_certificate_v2"]["certs"][0]["cert_hash"].native
    if named != certificate.fingerprint(hashes.SHA256()):
        raise Altered("the certificate in the seal is not the one that the seal names.")
    key = certificate.public_key()
    if not isinstance(key, rsa.RSAPublicKey):
        raise Altered("the seal is not built as this logbook builds it.")
    try:
        key.verify(signer["signature"].native, signed.untag().dump(), PKCS1v15(), hashes.SHA256())
    except InvalidSignature:
        raise Altered("the signature in the seal does not hold.") from None


def _stated(one: Any) -> str:
    moment = one.self_reported_timestamp
    return moment.isoformat() if moment else ""
