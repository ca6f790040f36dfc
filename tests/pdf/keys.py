"""Certificates of invented authorities for the tests: who issues, for what, until when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID, ObjectIdentifier

NOW = datetime(2026, 3, 6, 14, 10, tzinfo=UTC)
DOCUMENTS = "1.3.6.1.5.5.7.3.36"
WEB_SERVER = "1.3.6.1.5.5.7.3.1"
TIME_STAMPS = "1.3.6.1.5.5.7.3.8"
PEM = serialization.Encoding.PEM


@lru_cache(maxsize=8)
def rsa_key(number: int = 0, bits: int = 2048) -> rsa.RSAPrivateKey:
    """The same key for the same number: making one takes long."""
    return rsa.generate_private_key(65537, bits)


@lru_cache
def ec_key() -> ec.EllipticCurvePrivateKey:
    return ec.generate_private_key(ec.SECP256R1())


@dataclass(frozen=True)
class Holder:
    """A certificate and its key."""

    certificate: x509.Certificate
    key: rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey

    @property
    def pem(self) -> bytes:
        return self.certificate.public_bytes(PEM)

    def p12(self, password: bytes = b"p12", *others: x509.Certificate) -> bytes:
        how = serialization.BestAvailableEncryption(password)
        return pkcs12.serialize_key_and_certificates(
            b"x", self.key, self.certificate, list(others), how
        )


def name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def issued(
    text: str,
    by: Holder | None = None,
    *,
    key: rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey | None = None,
    ca: bool = False,
    signs: bool = True,
    purposes: Sequence[str] = (),
    critical: bool = True,
    days: tuple[int, int] = (-30, 300),
) -> Holder:
    """A certificate, by itself or by another holder.

    Args:
        days: from when to when it is valid, in days from NOW.
    """
    key = key or rsa_key()
    builder = (
        x509.CertificateBuilder()
        .subject_name(name(text))
        .issuer_name(by.certificate.subject if by else name(text))
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW + timedelta(days=days[0]))
        .not_valid_after(NOW + timedelta(days=days[1]))
        .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
        .add_extension(_usage(signs and not ca, ca), critical=True)
    )
    if purposes:
        known = x509.ExtendedKeyUsage([ObjectIdentifier(one) for one in purposes])
        builder = builder.add_extension(known, critical=critical)
    return Holder(builder.sign(by.key if by else key, hashes.SHA256()), key)


def _usage(signs: bool, ca: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=signs, content_commitment=signs, key_encipherment=not signs and not ca,
        data_encipherment=False, key_agreement=False, key_cert_sign=ca, crl_sign=ca,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip
