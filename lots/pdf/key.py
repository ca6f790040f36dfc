"""The key that seals, in its folder: encrypted, read, replaced; and the certificates that stay behind.

Nothing here knows where a passphrase comes from or what a book is.
"""

import hashlib
import os
import secrets
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from cryptography.hazmat.primitives.padding import PKCS7

KEY: Final = "seal-key.pem"
CERT: Final = "seal.pem"
CA_CERT: Final = "seal-ca.pem"  # of the house's own authority; absent where the key is from outside
CHAIN: Final = "seal-chain.pem"  # of a key from outside: who issued it, and so on upwards
CA_KEY: Final = "seal-ca-key.pem"  # in folders of earlier versions; not kept any more
OLD: Final = "old"  # a folder for each certificate that sealed before

ROUNDS: Final = 600_000
"""Of PBKDF2 with SHA-256, about 0.2 s.  Source: OWASP password storage cheat sheet (2023).
cryptography's BestAvailableEncryption takes 2048."""


class KeyTrouble(Exception):
    """The key cannot be used; the message says why, in words."""


class NoKey(KeyTrouble):
    """There is no key in the folder."""


class NeedsPassphrase(KeyTrouble):
    """The key is encrypted and no passphrase was given."""


class WrongPassphrase(KeyTrouble):
    """The key does not open with the passphrase."""


@dataclass(frozen=True, slots=True)
class Sealer:
    """A key in memory, ready to seal, with its certificate."""

    certificate: x509.Certificate
    key: rsa.RSAPrivateKey = field(repr=False)

    @property
    def fingerprint(self) -> str:
        return fingerprint(self.certificate)

    def sign(self, data: bytes) -> bytes:
        """RSA PKCS #1 v1.5 over SHA-256, as `openssl dgst -sha256 -verify` checks it."""
        return self.key.sign(data, PKCS1v15(), hashes.SHA256())


@dataclass(frozen=True, slots=True)
class NewKey:
    """A key that is about to be put into the folder: its certificate, who issued it, its own PEM."""

    certificate: x509.Certificate
    chain: tuple[x509.Certificate, ...]
    own: bool  # issued by the house's own authority
    encrypted: bytes = field(repr=False)

    @property
    def fingerprint(self) -> str:
        return fingerprint(self.certificate)

    @property
    def certificate_pem(self) -> str:
        return pem(self.certificate).decode()

    @property
    def chain_pem(self) -> str:
        return "".join(pem(one).decode() for one in self.chain)

    def files(self) -> dict[str, tuple[bytes, int]]:
        """Name → bytes and mode of each file that the folder then holds."""
        held = {KEY: (self.encrypted, 0o600), CERT: (pem(self.certificate), 0o644)}
        if self.chain:
            held[CA_CERT if self.own else CHAIN] = (self.chain_pem.encode(), 0o644)
        return held


def pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of the certificate, in hex: what people compare."""
    return certificate.fingerprint(hashes.SHA256()).hex()


def grouped(digest: str) -> str:
    """A digest in groups of four letters, to be read aloud."""
    return " ".join(digest[i : i + 4] for i in range(0, len(digest), 4))


def signature_holds(certificate: x509.Certificate, data: bytes, signature: bytes) -> bool:
    """Whether `Sealer.sign` with this certificate's key made the signature over the data."""
    key = certificate.public_key()
    if not isinstance(key, rsa.RSAPublicKey):
        return False
    try:
        key.verify(signature, data, PKCS1v15(), hashes.SHA256())
    except InvalidSignature:
        return False
    return True


# --- encrypted at rest -----------------------------------------------------------------------------


def encrypted_pem(key: rsa.RSAPrivateKey, passphrase: bytes) -> bytes:
    """PKCS #8 under the passphrase: AES-256-CBC, its key by PBKDF2 (RFC 8018).

    Raises:
        ValueError: the passphrase is empty.
    """
    if not passphrase:
        raise ValueError("a passphrase is needed")
    from asn1crypto import algos, core, keys
    from asn1crypto import pem as armor

    salt, iv = secrets.token_bytes(16), secrets.token_bytes(16)
    secret = hashlib.pbkdf2_hmac("sha256", passphrase, salt, ROUNDS, 32)
    padder = PKCS7(128).padder()
    padded = padder.update(_pkcs8(key)) + padder.finalize()
    closing = Cipher(algorithms.AES256(secret), modes.CBC(iv)).encryptor()
    derived = {"salt": algos.Pbkdf2Salt(name="specified", value=salt), "iteration_count": ROUNDS,
               "prf": {"algorithm": "sha256"}}  # fmt: skip
    scheme = algos.Pbes2Params({
        "key_derivation_func": {"algorithm": "pbkdf2", "parameters": derived},
        "encryption_scheme": {"algorithm": "aes256_cbc", "parameters": core.OctetString(iv)},
    })  # fmt: skip
    held = keys.EncryptedPrivateKeyInfo({
        "encryption_algorithm": {"algorithm": "pbes2", "parameters": scheme},
        "encrypted_data": closing.update(padded) + closing.finalize(),
    })  # fmt: skip
    armored: bytes = armor.armor("ENCRYPTED PRIVATE KEY", held.dump())
    return armored


def _pkcs8(key: rsa.RSAPrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


def has_key(folder: Path) -> bool:
    return (folder / KEY).exists()


def is_encrypted(folder: Path) -> bool:
    """Whether the folder's key asks for a passphrase.

    Raises:
        NoKey: there is none.
    """
    return b"ENCRYPTED" in _bytes(folder / KEY)


def encrypt_key(folder: Path, passphrase: bytes) -> None:
    """Encrypts a key that lies in the folder unencrypted, and takes the authority's own key away:
    whatever it would sign again is made anew with a new authority.

    Raises:
        KeyTrouble: there is no key, or it does not open without a passphrase.
    """
    key = load_sealer(folder, None).key
    _lay(folder, {KEY: (encrypted_pem(key, passphrase), 0o600)})
    (folder / CA_KEY).unlink(missing_ok=True)


# --- read ------------------------------------------------------------------------------------------


def load_certificate(folder: Path) -> x509.Certificate:
    """The certificate of the folder's key.

    Raises:
        KeyTrouble: there is none, or the file is no certificate.
    """
    try:
        return x509.load_pem_x509_certificate(_bytes(folder / CERT))
    except ValueError as error:
        raise KeyTrouble(f"{folder / CERT} is not a certificate.") from error


def load_sealer(folder: Path, passphrase: bytes | None) -> Sealer:
    """The key and certificate that seal; the only place where the key is read.  Opened once a process
    for the same files, and never written down open.

    Raises:
        NoKey, NeedsPassphrase, WrongPassphrase, KeyTrouble
    """
    certificate = load_certificate(folder)
    key = _opened(_bytes(folder / KEY), passphrase)
    if key.public_key().public_numbers() != certificate.public_key().public_numbers():  # type: ignore[union-attr]
        raise KeyTrouble(f"{folder / KEY} and {folder / CERT} do not belong together.")
    return Sealer(certificate, key)


@lru_cache(maxsize=4)
def _opened(held: bytes, passphrase: bytes | None) -> rsa.RSAPrivateKey:
    """By the file's very bytes and the passphrase, so that another of either opens anew."""
    encrypted = b"ENCRYPTED" in held
    if encrypted and passphrase is None:
        raise NeedsPassphrase("The key that seals is encrypted, and no passphrase was given.")
    try:
        key = serialization.load_pem_private_key(held, passphrase if encrypted else None)
    except (ValueError, TypeError) as error:
        if encrypted:
            raise WrongPassphrase(
                "The key that seals does not open with this passphrase."
            ) from error
        raise KeyTrouble("The file of the key that seals is damaged.") from error
    if not isinstance(key, rsa.RSAPrivateKey):
        raise KeyTrouble("The key that seals is not an RSA key.")
    return key


def _bytes(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except FileNotFoundError as error:
        raise NoKey(f"There is no {file}.") from error
    except OSError as error:
        raise KeyTrouble(f"{file} cannot be read: {error.strerror}.") from error


def trusted_certificates(folder: Path) -> list[bytes]:
    """The PEM certificates whose seals this folder trusts: the present key's and those before it.  Of
    the house's own authority its certificate; of a key from outside that certificate alone, since who
    issued it vouches for others too."""
    before = sorted(one for one in (folder / OLD).glob("*") if one.is_dir())
    return [held for place in (folder, *before) for held in _trusted_in(place)]


def _trusted_in(place: Path) -> Iterator[bytes]:
    for name in (CA_CERT, CERT):
        if (place / name).exists():
            yield (place / name).read_bytes()
            return


# --- put in place ----------------------------------------------------------------------------------


def install(folder: Path, new: NewKey) -> None:
    """Makes the new key the one that seals.  The certificates of the one before stay, its key goes."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    set_aside(folder)
    files = new.files()
    _lay(folder, files)
    for name in (CA_CERT, CHAIN, CA_KEY):
        if name not in files:
            (folder / name).unlink(missing_ok=True)


def set_aside(folder: Path) -> None:
    """Copies the present certificates to where they go on being trusted for what they sealed."""
    if not (folder / CERT).exists():
        return
    place = folder / OLD / load_certificate(folder).fingerprint(hashes.SHA256()).hex()[:16]
    place.mkdir(mode=0o700, parents=True, exist_ok=True)
    held = [name for name in (CERT, CA_CERT, CHAIN) if (folder / name).exists()]
    _lay(place, {name: ((folder / name).read_bytes(), 0o644) for name in held})


def _lay(folder: Path, files: dict[str, tuple[bytes, int]]) -> None:
    """Writes all files beside, durably, and then renames them into place one after the other; nobody
    else could read a key even for a moment."""
    new = {name: folder / f".{name}.{os.getpid()}" for name in files}
    for name, (data, mode) in files.items():
        new[name].unlink(missing_ok=True)
        handle = os.open(new[name], os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    for name, part in new.items():
        part.replace(folder / name)
