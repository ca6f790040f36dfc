"""A time stamp (RFC 3161) over a seal's signature: whether it holds, and the one form in which it is kept.

    signature ──SHA-256──▶ imprint ──▶ TSTInfo, with the moment ──signed by──▶ the authority's certificate

A token as it comes may carry more than its signature covers: further certificates, other writings of the
same algorithm.  Kept is its *slim* form alone, in which every byte follows from what is signed, so that no
bit of it can be turned unnoticed.  Slimming leaves the signed parts as they came.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.x509.oid import ExtendedKeyUsageOID

ATTRIBUTE: Final = "signature_time_stamp_token"
HASHES: Final[Mapping[str, hashes.HashAlgorithm]] = {
    "sha256": hashes.SHA256(),
    "sha384": hashes.SHA384(),
    "sha512": hashes.SHA512(),
}


class BadStamp(Exception):
    """The time stamp does not hold, or is none; the message says how, in words."""


@dataclass(frozen=True, slots=True)
class StampFound:
    """What a time stamp that holds says.

    `moment` is the authority's, in UTC; `fingerprint` the SHA-256 of its certificate in hex;
    `trusted` whether that certificate, or the authority that issued it, is among those named."""

    moment: datetime
    signer: str
    fingerprint: str
    trusted: bool


# --- in the seal -----------------------------------------------------------------------------------


def stamp_attributes(token: bytes) -> Any:
    """The unsigned attributes of a seal that carries the token and nothing else (asn1crypto)."""
    from asn1crypto import cms

    held = cms.ContentInfo.load(token, strict=True)
    return cms.CMSAttributes([cms.CMSAttribute({"type": ATTRIBUTE, "values": [held]})])


def stamp_of(signer: Any) -> bytes | None:
    """The token in the unsigned attributes of a seal's signature (asn1crypto SignerInfo), if any.

    Raises:
        BadStamp: there is something else, or more than one.
    """
    attributes = signer["unsigned_attrs"]
    if len(attributes) == 0:
        return None
    if [one["type"].native for one in attributes] != [ATTRIBUTE]:
        raise BadStamp("beside the seal’s signature stands something else than one time stamp.")
    (attribute,) = attributes
    if len(attribute["values"]) != 1:
        raise BadStamp("the seal holds more than one time stamp.")
    token: bytes = attribute["values"][0].dump()
    return token


# --- whether it holds ------------------------------------------------------------------------------


def checked_stamp(signature: bytes, token_der: bytes, trusted: Sequence[bytes]) -> StampFound:
    """The time stamp over a signature, once everything in it holds.  No network is asked.

    Args:
        signature: the value of the seal's signature.
        token_der: the token, as `slim` leaves it.
        trusted: PEM certificates, each a time stamping certificate or the authority that issued one.

    Raises:
        BadStamp: it is not the slim form of a token, it is over something else, its signature does not
            hold, or its certificate was not for time stamping or not valid at the moment.
    """
    try:
        return _checked(signature, token_der, trusted)
    except BadStamp:
        raise
    except Exception as error:  # what came from outside may fail anywhere in the readers
        raise BadStamp(f"the time stamp cannot be read ({type(error).__name__}).") from error


def _checked(signature: bytes, token: bytes, trusted: Sequence[bytes]) -> StampFound:
    signed = _signed_data(token)
    if _rebuilt(signed) != token:
        raise BadStamp("the time stamp is not built as this logbook keeps it.")
    told = _told(signed)
    imprint = told["message_imprint"]
    if imprint["hash_algorithm"]["algorithm"].native != "sha256":
        raise BadStamp("the time stamp is not over a SHA-256 digest.")
    if imprint["hashed_message"].native != hashlib.sha256(signature).digest():
        raise BadStamp("the time stamp is over something else than this seal’s signature.")
    certificate = _signer(signed)
    _check_signature(signed, certificate)
    moment: datetime = told["gen_time"].native
    _check_certificate(certificate, moment)
    name = ", ".join(str(one.value) for one in reversed(list(certificate.subject)))
    mark = certificate.fingerprint(hashes.SHA256()).hex()
    return StampFound(moment, name, mark, any(vouches(one, certificate) for one in trusted))


def _signed_data(token: bytes) -> Any:
    from asn1crypto import cms

    held = cms.ContentInfo.load(token, strict=True)
    if held["content_type"].native != "signed_data":
        raise BadStamp("this is not a time stamp.")
    signed = held["content"]
    if signed["encap_content_info"]["content_type"].native != "tst_info":
        raise BadStamp("this is not a time stamp.")
    if len(signed["signer_infos"]) != 1:
        raise BadStamp("the time stamp does not carry exactly one signature.")
    return signed


def _told(signed: Any) -> Any:
    from asn1crypto import tsp

    told = tsp.TSTInfo.load(_content(signed), strict=True)
    if told["version"].native != "v1":
        raise BadStamp("the time stamp is of a version that is not known.")
    return told


def _content(signed: Any) -> bytes:
    content: bytes = signed["encap_content_info"]["content"].contents
    return content


def _stated(signed: Any) -> dict[str, Any]:
    """The attributes that the authority signed, by their names."""
    stated: dict[str, Any] = {}
    for one in signed["signer_infos"][0]["signed_attrs"]:
        if one["type"].native in stated or len(one["values"]) != 1:
            raise BadStamp("the time stamp states something twice.")
        stated[one["type"].native] = one["values"][0]
    return stated


def _check_signature(signed: Any, certificate: x509.Certificate) -> None:
    """The signature holds for what the token says and for this very certificate."""
    signer, stated = signed["signer_infos"][0], _stated(signed)
    name = signer["digest_algorithm"]["algorithm"].native
    if stated["content_type"].native != "tst_info":
        raise BadStamp("the signature in the time stamp is not one over a time stamp.")
    if stated["message_digest"].native != hashlib.new(name, _content(signed)).digest():
        raise BadStamp("the time stamp was changed after it was signed.")
    if not _names(stated, certificate):
        raise BadStamp("the certificate in the time stamp is not the one that it names.")
    key, value = certificate.public_key(), signer["signature"].native
    over = signer["signed_attrs"].untag().dump()
    try:
        if isinstance(key, rsa.RSAPublicKey):
            key.verify(value, over, PKCS1v15(), HASHES[name])
        elif isinstance(key, ec.EllipticCurvePublicKey):
            key.verify(value, over, ec.ECDSA(HASHES[name]))
        else:
            raise BadStamp("the key that signed the time stamp is of a kind that is not known.")
    except InvalidSignature:
        raise BadStamp("the signature in the time stamp does not hold.") from None


def _names(stated: dict[str, Any], certificate: x509.Certificate) -> bool:
    """Whether the signed attributes name the certificate (RFC 2634, RFC 5035)."""
    der = certificate.public_bytes(serialization.Encoding.DER)
    newer, older = stated.get("signing_certificate_v2"), stated.get("signing_certificate")
    if newer is not None:
        first = newer["certs"][0]
        name = first["hash_algorithm"]["algorithm"].native
        return bool(first["cert_hash"].native == hashlib.new(name, der).digest())
    if older is not None:
        found = hashlib.sha1(der, usedforsecurity=False).digest()
        return bool(older["certs"][0]["cert_hash"].native == found)
    return False


def _check_certificate(certificate: x509.Certificate, moment: datetime) -> None:
    """It is for time stamping and nothing else, and said so at the moment.  Source: RFC 3161, 2.3."""
    try:
        found = certificate.extensions.get_extension_for_class(x509.ExtendedKeyUsage)
    except x509.ExtensionNotFound:
        raise BadStamp("the certificate of the time stamp is not one for time stamping.") from None
    if list(found.value) != [ExtendedKeyUsageOID.TIME_STAMPING] or not found.critical:
        raise BadStamp("the certificate of the time stamp is not one for time stamping alone.")
    if not certificate.not_valid_before_utc <= moment <= certificate.not_valid_after_utc:
        raise BadStamp("the certificate of the time stamp was not valid at its moment.")


def vouches(pem: bytes, certificate: x509.Certificate) -> bool:
    """Whether a trusted certificate (PEM) is this one, or the authority that issued it."""
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


# --- the slim form ---------------------------------------------------------------------------------


def slim(token: bytes) -> bytes:
    """The token with its signed parts as they are, and all else in the one form that is kept.

    Raises:
        BadStamp: it is no token, or of a kind that has no such form.
    """
    try:
        return _rebuilt(_signed_data(token))
    except BadStamp:
        raise
    except Exception as error:
        raise BadStamp(f"this is not a time stamp ({type(error).__name__}).") from error


def _rebuilt(signed: Any) -> bytes:
    from asn1crypto import cms

    signer, certificate = signed["signer_infos"][0], _signer_der(signed)
    issued = cms.IssuerAndSerialNumber(
        {"issuer": certificate.issuer, "serial_number": certificate.serial_number}
    )
    digest, method = _algorithms(signed)
    content = {"content_type": "tst_info", "content": cms.ParsableOctetString(_content(signed))}
    whole = cms.SignedData({
        "version": "v3",
        "digest_algorithms": [digest],
        "encap_content_info": content,
        "certificates": [certificate],
        "signer_infos": [{
            "version": "v1",
            "sid": cms.SignerIdentifier({"issuer_and_serial_number": issued}),
            "digest_algorithm": digest,
            "signed_attrs": signer["signed_attrs"],
            "signature_algorithm": method,
            "signature": signer["signature"].native,
        }],
    })  # fmt: skip
    der: bytes = cms.ContentInfo({"content_type": "signed_data", "content": whole}).dump()
    return der


def _algorithms(signed: Any) -> tuple[Any, Any]:
    """How the digest's and the signature's algorithm are written: as the authority signed that they are
    (RFC 6211), or else in one way for each kind of key."""
    from asn1crypto import algos

    name = signed["signer_infos"][0]["digest_algorithm"]["algorithm"].native
    if name not in HASHES:
        raise BadStamp(f"the time stamp is signed over a digest that is not taken here ({name}).")
    kind = {"rsa": "rsa", "ec": "ecdsa"}.get(_signer_der(signed).public_key.algorithm)
    if kind is None:
        raise BadStamp("the key that signed the time stamp is of a kind that is not known.")
    protected = _stated(signed).get("cms_algorithm_protection")
    if protected is None:
        digest = algos.DigestAlgorithm({"algorithm": name})
        return digest, algos.SignedDigestAlgorithm({"algorithm": f"{name}_{kind}"})
    digest, method = protected["digest_algorithm"], protected["signature_algorithm"].untag()
    if digest["algorithm"].native != name or method["algorithm"].native not in (
        f"{name}_{kind}", "rsassa_pkcs1v15" if kind == "rsa" else f"{name}_{kind}",
    ):  # fmt: skip
        raise BadStamp("the time stamp is signed in a way that is not taken here.")
    return digest, method


def _signer_der(signed: Any) -> Any:
    """The certificate of the token that signed it (asn1crypto)."""
    sid = signed["signer_infos"][0]["sid"]
    for one in signed["certificates"]:
        known = one.chosen
        if sid.name == "issuer_and_serial_number":
            if (known.issuer, known.serial_number) == (
                sid.chosen["issuer"], sid.chosen["serial_number"].native,
            ):  # fmt: skip
                return known
        elif known.key_identifier == sid.chosen.native:
            return known
    raise BadStamp("the time stamp does not carry the certificate that signed it.")


def _signer(signed: Any) -> x509.Certificate:
    return x509.load_der_x509_certificate(_signer_der(signed).dump())
