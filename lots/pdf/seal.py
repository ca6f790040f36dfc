"""The establishment's key, and the seal that it puts on a PDF (PAdES, RSA)."""

import os
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import NameOID

CA_KEY, CA_CERT = "seal-ca-key.pem", "seal-ca.pem"
KEY, CERT = "seal-key.pem", "seal.pem"
DIGEST = "sha256"
RSA_BITS = 3072
"""Source: NIST SP 800-57 part 1, table 2: 128 bits of strength."""
CA_YEARS, CERT_YEARS = 30, 25
"""Longer than any record is kept (21 CFR 123.9(b): two years), so that old seals still check
(common practice)."""
ROOM = 8192
"""Bytes kept free in the file for the signature."""
FIELD = "Seal"


def make_seal_key(folder: Path, establishment: str, now: datetime) -> None:
    """Makes the establishment's own certificate authority and the certificate that seals.

    Raises:
        FileExistsError: the folder has a key already; it is never written over.
    """
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if any((folder / name).exists() for name in (CA_KEY, CA_CERT, KEY, CERT)):
        raise FileExistsError(f"{folder} has a seal key already")
    ca_key, key = _new_key(), _new_key()
    ca_name = _name(establishment, "records authority")
    ca = _ca_certificate(ca_name, ca_key, now)
    certificate = _seal_certificate(_name(establishment, "record seal"), key, ca, ca_key, now)
    for name, private in ((CA_KEY, ca_key), (KEY, key)):
        _write(folder / name, _key_pem(private), 0o600)
    for name, public in ((CA_CERT, ca), (CERT, certificate)):
        _write(folder / name, public.public_bytes(serialization.Encoding.PEM), 0o644)


def load_key(folder: Path) -> tuple[x509.Certificate, rsa.RSAPrivateKey]:
    """The certificate and the key that seal; the only place where the key is read."""
    certificate = x509.load_pem_x509_certificate((folder / CERT).read_bytes())
    key = serialization.load_pem_private_key((folder / KEY).read_bytes(), password=None)
    if not isinstance(key, rsa.RSAPrivateKey):
        raise ValueError(f"{folder / KEY} is not an RSA key")
    return certificate, key


def trusted_certificates(folder: Path) -> list[bytes]:
    """The PEM certificates whose seals this folder trusts: its own authority's."""
    return [(folder / CA_CERT).read_bytes()]


def seal(
    pdf: bytes, folder: Path, *, now: datetime, reason: str, location: str, name: str
) -> bytes:
    """The PDF with the seal put on: a certifying signature over the whole file.

    Args:
        pdf: a file without a seal, as `render` makes it.
        folder: where `make_seal_key` put the key.
        now: the moment stated in the seal, with its zone.
        reason, location, name: what the PDF reader's signature panel says.
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

    steps = PdfCMSEmbedder().write_cms(FIELD, IncrementalPdfFileWriter(BytesIO(pdf)))
    next(steps)
    stated = SignatureObject(
        timestamp=now, subfilter=SigSeedSubFilter.PADES, name=name, location=location,
        reason=reason, bytes_reserved=2 * ROOM,
    )  # fmt: skip
    nothing_more = SigMDPSetup(DIGEST, certify=True, docmdp_perms=MDPPerm.NO_CHANGES)
    steps.send(SigObjSetup(stated, nothing_more))
    out = BytesIO()
    prepared, _ = steps.send(SigIOSetup(DIGEST, output=out))
    steps.send(_signature(prepared.document_digest, folder))
    return out.getvalue()


def _signature(digest: bytes, folder: Path) -> Any:
    """The CMS over the file's digest.  Only the sealing certificate goes in: it is bound by the
    signed attributes, whereas a flipped bit in any other would go unnoticed."""
    from asn1crypto import keys
    from asn1crypto import x509 as asn1_x509
    from pyhanko.sign.signers.pdf_cms import PdfCMSSignedAttributes, SimpleSigner
    from pyhanko_certvalidator.registry import SimpleCertificateStore

    certificate, key = load_key(folder)
    private = key.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    signer = SimpleSigner(
        signing_cert=asn1_x509.Certificate.load(
            certificate.public_bytes(serialization.Encoding.DER)
        ),
        signing_key=keys.PrivateKeyInfo.load(private),
        cert_registry=SimpleCertificateStore.from_certs([]),
    )
    attributes = PdfCMSSignedAttributes()
    signing = signer.async_sign(digest, DIGEST, use_pades=True, signed_attr_settings=attributes)
    return _outcome(signing)


def _outcome(signing: Coroutine[Any, Any, Any]) -> Any:
    """What the coroutine returns, by an event loop of its own in a thread of its own: the caller's
    thread may be running one already."""
    import asyncio

    with ThreadPoolExecutor(max_workers=1) as pool:
        return pool.submit(asyncio.run, signing).result()


def _new_key() -> rsa.RSAPrivateKey:
    return rsa.generate_private_key(public_exponent=65537, key_size=RSA_BITS)


def _name(establishment: str, role: str) -> x509.Name:
    return x509.Name([
        x509.NameAttribute(NameOID.ORGANIZATION_NAME, _fitted(establishment, 64)),
        x509.NameAttribute(NameOID.COMMON_NAME, _fitted(f"{role}, {establishment}", 64)),
    ])  # fmt: skip


def _fitted(text: str, most: int) -> str:
    """The text no longer than a certificate's name may be.  Source: RFC 5280, appendix A.1."""
    return text[:most] or "unnamed"


def _builder(
    subject: x509.Name, issuer: x509.Name, key: rsa.RSAPrivateKey, now: datetime, years: int
) -> x509.CertificateBuilder:
    public = key.public_key()
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=365 * years))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def _ca_certificate(name: x509.Name, key: rsa.RSAPrivateKey, now: datetime) -> x509.Certificate:
    builder = _builder(name, name, key, now, CA_YEARS)
    builder = builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    builder = builder.add_extension(_usage(certificates=True), critical=True)
    return builder.sign(key, hashes.SHA256())


def _seal_certificate(
    name: x509.Name, key: rsa.RSAPrivateKey, ca: x509.Certificate, ca_key: rsa.RSAPrivateKey,
    now: datetime,
) -> x509.Certificate:  # fmt: skip
    builder = _builder(name, ca.subject, key, now, CERT_YEARS)
    issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(ca_key.public_key())
    builder = builder.add_extension(
        x509.BasicConstraints(ca=False, path_length=None), critical=True
    )
    builder = builder.add_extension(issuer, critical=False)
    builder = builder.add_extension(_usage(certificates=False), critical=True)
    return builder.sign(ca_key, hashes.SHA256())


def _usage(certificates: bool) -> x509.KeyUsage:
    """For an authority: signing certificates; else: signing documents, not to be disowned."""
    return x509.KeyUsage(
        digital_signature=not certificates, content_commitment=not certificates,
        key_encipherment=False, data_encipherment=False, key_agreement=False,
        key_cert_sign=certificates, crl_sign=certificates, encipher_only=False,
        decipher_only=False,
    )  # fmt: skip


def _key_pem(key: rsa.RSAPrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def _write(path: Path, data: bytes, mode: int) -> None:
    """Writes a new file that nobody else could read even for a moment."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
