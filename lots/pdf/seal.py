"""The seal that the establishment's key puts on a PDF (PAdES, RSA), with or without a time stamp."""

from collections.abc import Callable
from datetime import datetime
from io import BytesIO
from typing import Any

from cryptography.hazmat.primitives import serialization

from lots.pdf.awaited import outcome
from lots.pdf.key import Sealer, load_sealer, trusted_certificates
from lots.pdf.own_authority import make_seal_key

__all__ = ["Sealer", "Stamper", "load_sealer", "make_seal_key", "seal", "trusted_certificates"]

DIGEST = "sha256"
ROOM = 8192
"""Bytes kept free in the file for the signature with its time stamp."""
ATTRIBUTE_ROOM = 64  # what the attribute around a token takes
FIELD = "Seal"

Stamper = Callable[[bytes, int], bytes | None]
"""The signature's value and the most bytes that its time stamp may have → the stamp's token, or none."""


def seal(
    pdf: bytes,
    sealer: Sealer,
    *,
    now: datetime,
    reason: str,
    location: str,
    name: str,
    stamper: Stamper | None = None,
) -> bytes:
    """The PDF with the seal put on: a certifying signature over the whole file.

    Args:
        pdf: a file without a seal, as `render` makes it.
        sealer: the key, as `load_sealer` opens it.
        now: the moment stated in the seal, with its zone.
        reason, location, name: what the PDF reader's signature panel says.
        stamper: asks an authority for a time stamp over the signature (lots/pdf/stamp_request.py).
    """
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
    from pyhanko.sign.signers.cms_embedder import (
        PdfCMSEmbedder,
        SigIOSetup,
        SigMDPSetup,
        SigObjSetup,
    )
    from pyhanko.sign.signers.pdf_byterange import SignatureObject

    class Writer(IncrementalPdfFileWriter):  # type: ignore[misc]
        def _update_meta(self) -> None:
            """Leaves what the file says of itself: it is dated to the record, not to the sealing."""

    steps = PdfCMSEmbedder().write_cms(FIELD, Writer(BytesIO(pdf)))
    next(steps)
    stated = SignatureObject(
        timestamp=now, subfilter=SigSeedSubFilter.PADES, name=name, location=location,
        reason=reason, bytes_reserved=2 * ROOM,
    )  # fmt: skip
    nothing_more = SigMDPSetup(DIGEST, certify=True, docmdp_perms=MDPPerm.NO_CHANGES)
    steps.send(SigObjSetup(stated, nothing_more))
    out = BytesIO()
    prepared, _ = steps.send(SigIOSetup(DIGEST, output=out))
    steps.send(_signature(prepared.document_digest, sealer, stamper))
    return out.getvalue()


def _signature(digest: bytes, sealer: Sealer, stamper: Stamper | None) -> Any:
    """The CMS over the file's digest.  Only the sealing certificate goes in: it is bound by the
    signed attributes, whereas a flipped bit in any other would go unnoticed."""
    from asn1crypto import keys
    from asn1crypto import x509 as asn1_x509
    from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes, SimpleSigner
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    private = sealer.key.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    signer = SimpleSigner(
        signing_cert=asn1_x509.Certificate.load(
            sealer.certificate.public_bytes(serialization.Encoding.DER)
        ),
        signing_key=keys.PrivateKeyInfo.load(private),
        cert_registry=SimpleCertificateStore.from_certs([]),
    )
    attributes = PdfCMSSignedAttributes()
    signing = signer.async_sign(digest, DIGEST, use_pades=True, signed_attr_settings=attributes)
    signed = outcome(signing)
    return signed if stamper is None else _stamped(signed, stamper)


def _stamped(signed: Any, stamper: Stamper) -> Any:
    """The CMS with a time stamp over its signature, where one is had; else as it was."""
    from asn1crypto import cms

    from lots.pdf.stamp import stamp_attributes

    signer = signed["content"]["signer_infos"][0]
    free = ROOM - len(signed.dump()) - ATTRIBUTE_ROOM
    token = stamper(signer["signature"].native, free)
    if token is None:
        return signed
    with_stamp = signer.copy()
    with_stamp["unsigned_attrs"] = stamp_attributes(token)
    content = signed["content"].copy()
    content["signer_infos"] = cms.SignerInfos([with_stamp])
    return cms.ContentInfo({"content_type": "signed_data", "content": content})
