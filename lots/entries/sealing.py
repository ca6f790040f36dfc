"""The key that seals, made ready before any transaction: opened, still valid, and one the book knows."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from django.conf import settings

from lots.entries.book import act
from lots.entries.passphrase import BadPassphrase, read_passphrase, where_it_is
from lots.entries.refusals import Refused
from lots.models.house import Establishment
from lots.models.sealing import SealKey
from lots.pdf.key import (
    CA_CERT,
    CERT,
    CHAIN,
    KeyTrouble,
    NeedsPassphrase,
    NewKey,
    Sealer,
    WrongPassphrase,
    has_key,
    install,
    is_encrypted,
    load_sealer,
    pem,
)

KIND: Final = "sealing key made"
SET_UP: Final = "the establishment's first key, made at set-up"
FOUND: Final = "found in the data folder, made before the book kept its keys"


def seal_folder() -> Path:
    """Where the establishment's sealing key and certificates lie."""
    return Path(settings.KEYS_DIR)


def ready_sealer(house: Establishment, at: int) -> Sealer:
    """The key, ready to seal; made at the first need, and told to the book in an act of its own.

    Raises:
        Refused: it cannot seal; in words, with what to do.  Nothing was written.
    """
    folder = seal_folder()
    try:
        if not has_key(folder):
            make_first_key(house, at)
        sealer = load_sealer(folder, passphrase_for(folder))
    except (KeyTrouble, BadPassphrase) as trouble:
        raise Refused(trouble_words(trouble)) from trouble
    ends = sealer.certificate.not_valid_after_utc
    if at > ends.timestamp() * 1000:
        raise Refused(
            f"The certificate of the key that seals ended on {ends:%d %b %Y}. On the server: manage.py "
            "seal_key --import a newer one, or --new."
        )
    _check_known(sealer, at)
    return sealer


def passphrase_for(folder: Path) -> bytes | None:
    """The passphrase, where the folder's key asks for one."""
    return read_passphrase() if is_encrypted(folder) else None


def trouble_words(trouble: Exception) -> str:
    """What a person is told who cannot seal, and what they can do about it."""
    if isinstance(trouble, NeedsPassphrase):
        return (
            f"The key that seals is encrypted, and its passphrase is not at {where_it_is()}. On the "
            "server: manage.py seal_key --passphrase takes the one that was written down."
        )
    if isinstance(trouble, WrongPassphrase):
        return (
            f"The passphrase at {where_it_is()} is not that of the key that seals. On the server: "
            "manage.py seal_key --passphrase takes the one that was written down."
        )
    return str(trouble)


def make_first_key(house: Establishment, at: int) -> None:
    """Makes the establishment's own key in the name of the book.

    Raises:
        KeyTrouble, BadPassphrase: there was one already that is gone, or there is no passphrase yet.
    """
    from lots.pdf.own_authority import new_key

    folder = seal_folder()
    if (folder / CERT).exists() or SealKey.objects.exists():
        raise KeyTrouble(
            f"The key that seals is gone from {folder}. On the server: put it back from a copy, or make "
            "a new one with manage.py seal_key --new."
        )
    passphrase = read_passphrase()
    if passphrase is None:
        raise BadPassphrase(
            "There is no key that seals yet. On the server: manage.py seal_key --make makes it."
        )
    new = new_key(house.name, datetime.fromtimestamp(at / 1000, UTC), passphrase)
    with act(KIND, None, at) as writing:
        writing.nothing = has_key(folder)  # another process was quicker
        if not writing.nothing:
            writing.write(key_row(new, SET_UP, at))
            writing.say(fingerprint=new.fingerprint, reason=SET_UP)
            install(folder, new)


def key_row(new: NewKey, reason: str, at: int) -> SealKey:
    return SealKey(
        fingerprint=new.fingerprint,
        certificate=new.certificate_pem,
        chain=new.chain_pem,
        made_at=at,
        reason=reason,
        source="own" if new.own else "outside",
    )


def _check_known(sealer: Sealer, at: int) -> None:
    """The book's newest key is the one in the folder; a book that kept none yet takes it in."""
    newest = SealKey.objects.order_by("-id").first()
    if newest is None:
        _take_in(sealer, at)
    elif newest.fingerprint != sealer.fingerprint:
        raise Refused(
            f"The key in {seal_folder()} is not the one that the book says seals ({newest.fingerprint[:16]}"
            "…). On the server: put that one back, or make a new one with manage.py seal_key --new."
        )


def _take_in(sealer: Sealer, at: int) -> None:
    folder = seal_folder()
    own = (folder / CA_CERT).exists()
    issuers = folder / (CA_CERT if own else CHAIN)
    row = SealKey(
        fingerprint=sealer.fingerprint,
        certificate=pem(sealer.certificate).decode(),
        chain=issuers.read_text() if issuers.exists() else "",
        made_at=round(sealer.certificate.not_valid_before_utc.timestamp() * 1000),
        reason=FOUND,
        source="own" if own else "outside",
    )
    with act(KIND, None, at) as writing:
        writing.nothing = SealKey.objects.exists()
        if not writing.nothing:
            writing.write(row)
            writing.say(fingerprint=sealer.fingerprint, reason=FOUND)
