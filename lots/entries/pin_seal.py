"""The envelope in which a PIN travels from a tablet: closed with the server's public key, opened here.

A tablet without network keeps what was entered, and the PIN that initials it.  A hash of four digits on
the tablet would fall to guessing; what only the server can open does not.
"""

import base64
import hashlib
import json
import os
from functools import lru_cache
from pathlib import Path
from typing import Final

from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from django.conf import settings

BITS: Final = 2048
EXPONENT: Final = 65537
FILE: Final = "pin_seal.pem"
LONGEST: Final = 1000  # letters: more than any envelope of this key has


class BadSeal(ValueError):
    """The envelope cannot be opened: made with another key, damaged, or no envelope at all."""


def _padding() -> padding.OAEP:
    return padding.OAEP(mgf=padding.MGF1(hashes.SHA256()), algorithm=hashes.SHA256(), label=None)


def _key() -> rsa.RSAPrivateKey:
    """The key of this data folder, made at first use and readable by its owner alone."""
    file = Path(settings.KEYS_DIR) / FILE
    if not file.exists():
        _make(file)
    return _read(file, file.stat().st_mtime_ns)


@lru_cache(maxsize=2)
def _read(file: Path, changed_ns: int) -> rsa.RSAPrivateKey:
    key = serialization.load_pem_private_key(file.read_bytes(), None)
    if not isinstance(key, rsa.RSAPrivateKey):
        raise BadSeal(f"{file} holds another kind of key")
    return key


def _make(file: Path) -> None:
    """Written under another name first, and linked into place: of two processes one makes it."""
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    pem = rsa.generate_private_key(EXPONENT, BITS).private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    new = file.with_name(f"{file.name}.{os.getpid()}")
    descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as opened:
        opened.write(pem)
        opened.flush()
        os.fsync(opened.fileno())
    try:
        os.link(new, file)
    except FileExistsError:
        pass
    finally:
        new.unlink()


def public_key() -> dict[str, str]:
    """What a tablet closes envelopes with: the key's own name, and the key itself (DER, base64)."""
    der = (
        _key()
        .public_key()
        .public_bytes(serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    )
    return {"id": hashlib.sha256(der).hexdigest()[:16], "spki": base64.b64encode(der).decode()}


def open_seal(text: str) -> dict[str, str]:
    """What an envelope holds: the PIN, and the digest of the entry that it was typed for.

    Raises:
        BadSeal: it cannot be opened.
    """
    if len(text) > LONGEST:
        raise BadSeal("too long")
    try:
        plain = _key().decrypt(base64.b64decode(text, validate=True), _padding())
        held = json.loads(plain)
        return {"pin": str(held["pin"]), "sha256": str(held["sha256"])}
    except (ValueError, KeyError, TypeError) as error:
        raise BadSeal("it does not open with this server's key") from error
