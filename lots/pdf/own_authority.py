"""The house's own certificate authority for seals: made for one certificate, and its key forgotten.

An authority's key that is not kept cannot be stolen, and keeping it would help nobody: it would lie
where the sealing key lies and be lost or exposed with it."""

from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.x509.oid import NameOID

from lots.pdf.key import CA_CERT, CA_KEY, CERT, KEY, NewKey, encrypted_pem, install

RSA_BITS: Final = 3072
"""Source: NIST SP 800-57 part 1, table 2: 128 bits of strength."""
CA_YEARS, CERT_YEARS = 30, 25
"""Longer than any record is kept (21 CFR 123.9(b): two years), so that old seals still check
(common practice)."""


def new_key(establishment: str, now: datetime, passphrase: bytes) -> NewKey:
    """A new key with a certificate by an authority of its own; nothing is written yet."""
    ca_key, key = _new_private(), _new_private()
    ca = _ca_certificate(_name(establishment, "records authority"), ca_key, now)
    certificate = _seal_certificate(_name(establishment, "record seal"), key, ca, ca_key, now)
    return NewKey(certificate, (ca,), own=True, encrypted=encrypted_pem(key, passphrase))


def make_seal_key(folder: Path, establishment: str, now: datetime, passphrase: bytes) -> None:
    """Makes the establishment's first key, encrypted under the passphrase.

    Raises:
        FileExistsError: the folder has a key already; it is never written over.
    """
    if any((folder / name).exists() for name in (CA_KEY, CA_CERT, KEY, CERT)):
        raise FileExistsError(f"{folder} has a seal key already")
    install(folder, new_key(establishment, now, passphrase))


def _new_private() -> rsa.RSAPrivateKey:
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
