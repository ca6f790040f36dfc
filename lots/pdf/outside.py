"""A sealing key from outside the house: a PKCS #12 file, taken only if its certificate may seal."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final, TypeVar

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import ExtendedKeyUsageOID

from lots.pdf.key import NewKey, encrypted_pem

LEAST_BITS: Final = 2048
"""Source: NIST SP 800-131A revision 2, table 2."""
FOR_DOCUMENTS: Final = frozenset(
    {
        "1.3.6.1.5.5.7.3.36",  # document signing (RFC 9336)
        "1.2.840.113583.1.1.5",  # PDF signing
        "1.3.6.1.4.1.311.10.3.12",  # document signing, an older name
        ExtendedKeyUsageOID.EMAIL_PROTECTION.dotted_string,
        ExtendedKeyUsageOID.ANY_EXTENDED_KEY_USAGE.dotted_string,
    }
)
"""Common practice: what PDF readers take for a signature on a document."""


T = TypeVar("T", bound=x509.ExtensionType)


class NotTaken(Exception):
    """The file's key cannot seal here; the message says why and what to ask for."""


def read_outside(data: bytes, password: bytes, now: datetime, passphrase: bytes) -> NewKey:
    """The key of a PKCS #12 file with its certificate and chain; nothing is written.

    Args:
        data: the whole file.
        password: the file's own, b"" where it has none.
        now: the certificate must be valid at this moment.
        passphrase: under which the key is then kept.

    Raises:
        NotTaken
    """
    key, certificate, others = _opened(data, password)
    if not isinstance(key, rsa.RSAPrivateKey):
        raise NotTaken("Its key is not an RSA key. Ask for a certificate with an RSA key.")
    if key.key_size < LEAST_BITS:
        raise NotTaken(
            f"Its key has {key.key_size} bits, which is too short. Ask for {LEAST_BITS} or more."
        )
    if certificate.public_key() != key.public_key():
        raise NotTaken("Its key and its certificate do not belong together. Export them again.")
    _check_valid(certificate, now)
    _check_use(certificate)
    chain = tuple(_chain(certificate, others))
    return NewKey(certificate, chain, own=False, encrypted=encrypted_pem(key, passphrase))


def _opened(
    data: bytes, password: bytes
) -> tuple[object, x509.Certificate, Sequence[x509.Certificate]]:
    try:
        key, certificate, others = pkcs12.load_key_and_certificates(data, password or None)
    except (ValueError, TypeError) as error:
        raise NotTaken(
            "The file does not open: it is no PKCS #12 file (.p12, .pfx), or this is not its password."
        ) from error
    if key is None:
        raise NotTaken("The file holds no private key. Export the certificate with its key.")
    if certificate is None:
        raise NotTaken("The file holds no certificate for its key. Export both together.")
    return key, certificate, others


def _check_valid(certificate: x509.Certificate, now: datetime) -> None:
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if now < begins:
        raise NotTaken(f"Its certificate is valid from {begins:%d %b %Y} only. Import it then.")
    if now > ends:
        raise NotTaken(f"Its certificate ended on {ends:%d %b %Y}. Ask for a new one.")


def _check_use(certificate: x509.Certificate) -> None:
    """What is not said about a certificate's use does not bar it (RFC 5280, 4.2.1.3 and 4.2.1.12)."""
    held = certificate.extensions
    for basic in _found(held, x509.BasicConstraints):
        if basic.ca:
            raise NotTaken(
                "Its certificate is that of an authority. Ask for one that signs documents."
            )
    for usage in _found(held, x509.KeyUsage):
        if not (usage.digital_signature or usage.content_commitment):
            raise NotTaken("Its certificate is not for signing. Ask for one that signs documents.")
    for purposes in _found(held, x509.ExtendedKeyUsage):
        if not FOR_DOCUMENTS & {one.dotted_string for one in purposes}:
            raise NotTaken(
                "Its certificate is for something else than documents (for a web server, say). Ask for "
                "one that signs documents."
            )


def _found(held: x509.Extensions, kind: type[T]) -> Iterator[T]:
    try:
        yield held.get_extension_for_class(kind).value
    except x509.ExtensionNotFound:
        return


def _chain(
    certificate: x509.Certificate, others: Sequence[x509.Certificate]
) -> Iterator[x509.Certificate]:
    """Who issued it, who issued that, and so on as far as the file goes; whatever else it holds is left."""
    below, left = certificate, list(others)
    while issuer := next((one for one in left if _issued(below, one)), None):
        yield issuer
        left.remove(issuer)
        below = issuer


def _issued(below: x509.Certificate, above: x509.Certificate) -> bool:
    try:
        below.verify_directly_issued_by(above)
    except (InvalidSignature, ValueError, TypeError):
        return False
    return below != above
