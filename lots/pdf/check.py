"""Whether a sealed record is as it was sealed, and whose seal it is.

    python -m lots.pdf.check FILE [--trust CERT.pem …]

Exit code 0: intact, and the seal is one that is trusted.  1: altered, or not a sealed record at all.
3: intact, but whose seal it is could not be established.  Nothing is fetched from any network.

What counts as altered: any byte that the seal does not cover, save the seal itself; and in the gap
where the seal stands, anything but "<", the seal's own bytes in upper-case hex, zeros, ">".
"""

import argparse
import hashlib
import sys
from binascii import unhexlify
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15

INTACT, ALTERED, UNKNOWN = "intact", "altered", "unknown"
EXIT = {INTACT: 0, ALTERED: 1, UNKNOWN: 3}


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What the check found: `lines` for a person, the rest for a program.

    `outcome` is "intact", "altered" or "unknown" (intact, whose it is not established);
    `fingerprint` is the sealing certificate's SHA-256, `sealed_at` the moment that the seal states,
    in ISO 8601; both are empty where altered."""

    outcome: str
    lines: tuple[str, ...]
    fingerprint: str = ""
    signer: str = ""
    sealed_at: str = ""

    @property
    def exit_code(self) -> int:
        return EXIT[self.outcome]


class Altered(Exception):
    """The file is not as it was sealed; the message says how, in words."""


def check(data: bytes, trusted: Sequence[bytes]) -> CheckResult:
    """Checks a file's seal.

    Errs against the file: whatever cannot be read or does not fit exactly counts as altered.

    Args:
        data: the whole file.
        trusted: PEM certificates, each a sealing certificate or the authority that issued one.
    """
    try:
        certificate, sealed_at = _checked_seal(data)
    except Altered as found:
        return CheckResult(ALTERED, (f"Altered: {found}",) if _sealed(data) else (f"{found}",))
    return _whose(certificate, sealed_at, trusted)


def _sealed(data: bytes) -> bool:
    return data.startswith(b"%PDF-") and b"/ByteRange" in data


def _checked_seal(data: bytes) -> tuple[x509.Certificate, str]:
    """The certificate that sealed exactly these bytes, and when by its own word."""
    if not data:
        raise Altered("The file is empty.")
    if not data.startswith(b"%PDF-"):
        raise Altered("This is not a PDF file, so it is no sealed record.")
    try:
        return _checked_pdf(data)
    except Altered:
        raise
    except Exception as error:  # a damaged file may fail anywhere in the readers
        raise Altered(
            f"the file is damaged and its seal cannot be read ({type(error).__name__})."
        ) from error


def _checked_pdf(data: bytes) -> tuple[x509.Certificate, str]:
    from pyhanko.pdf_utils.reader import PdfFileReader

    seals = PdfFileReader(BytesIO(data)).embedded_signatures
    if not seals:
        raise Altered("this PDF carries no seal." if _sealed(data) else "This PDF carries no seal.")
    if len(seals) > 1:
        raise Altered(f"it carries {len(seals)} seals where there should be one.")
    (one,) = seals
    covered = [int(n) for n in one.byte_range]
    der = _seal_in_gap(data, covered)
    certificate = _check_cms(one.signed_data, der)
    digest = hashlib.sha256(data[: covered[1]] + data[covered[2] :]).digest()
    _check_signature(digest, one.signed_data["signer_infos"][0], certificate)
    return certificate, _stated(one)


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


def _whose(certificate: x509.Certificate, sealed_at: str, trusted: Sequence[bytes]) -> CheckResult:
    """Whose seal it is, once it is known to be intact."""
    fingerprint = certificate.fingerprint(hashes.SHA256()).hex()
    signer = ", ".join(str(a.value) for a in reversed(list(certificate.subject)))
    said = (
        "Intact: not a byte has changed since it was sealed.",
        f"Sealed {sealed_at or 'at a time not stated'} by the clock of whoever sealed it.",
        f"The certificate names: {signer}",
        f"Its fingerprint (SHA-256): {_grouped(fingerprint)}",
    )
    if any(_vouches(pem, certificate) for pem in trusted):
        known = "The seal is one that you trust."
        return CheckResult(INTACT, (*said, known), fingerprint, signer, sealed_at)
    unknown = (
        "Whose seal it is could not be established: anybody can write any name into a certificate. "
        "Compare the fingerprint with the one that the establishment gives you, or name its "
        "certificate with --trust."
    )
    return CheckResult(UNKNOWN, (*said, unknown), fingerprint, signer, sealed_at)


def _grouped(fingerprint: str) -> str:
    return " ".join(fingerprint[i : i + 4] for i in range(0, len(fingerprint), 4))


def _vouches(pem: bytes, certificate: x509.Certificate) -> bool:
    """Whether the trusted certificate is the sealing one, or the authority that issued it."""
    known = x509.load_pem_x509_certificate(pem)
    der = serialization.Encoding.DER
    if known.public_bytes(der) == certificate.public_bytes(der):
        return True
    try:
        constraints = known.extensions.get_extension_for_class(x509.BasicConstraints)
        certificate.verify_directly_issued_by(known)
    except (x509.ExtensionNotFound, InvalidSignature, ValueError, TypeError):
        return False
    return constraints.value.ca


def main(arguments: Sequence[str] | None = None) -> int:
    """Checks the file named on the command line and prints what was found."""
    parser = argparse.ArgumentParser(
        prog="python -m lots.pdf.check", description=__doc__.split("\n")[0]
    )
    parser.add_argument("file", type=Path, metavar="FILE")
    parser.add_argument("--trust", type=Path, action="append", default=[], metavar="CERT")
    given = parser.parse_args(arguments)
    try:
        data = given.file.read_bytes()
        trusted = [path.read_bytes() for path in given.trust]
        for pem in trusted:
            x509.load_pem_x509_certificate(pem)
    except OSError as error:
        parser.error(f"{error.filename} cannot be read: {error.strerror}")
    except ValueError:
        parser.error("a file named with --trust is not a certificate in PEM form")
    result = check(data, trusted)
    print("\n".join(result.lines))
    return result.exit_code


if __name__ == "__main__":
    sys.exit(main())
