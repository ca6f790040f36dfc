"""The sealing key on the server's console: how it stands, and the passphrase shown once."""

from collections.abc import Iterator
from datetime import UTC, datetime

from lots.entries.passphrase import (
    BadPassphrase,
    from_environment,
    keep_passphrase,
    new_passphrase,
    passphrase_file,
    read_passphrase,
    where_it_is,
)
from lots.entries.refusals import Refused
from lots.entries.sealing import passphrase_for, ready_sealer, seal_folder, trouble_words
from lots.models.sealing import SealKey
from lots.pdf.key import CERT, KeyTrouble, grouped, has_key, is_encrypted, load_sealer
from lots.queries.house import establishment

SOON_DAYS = 60


def made_passphrase() -> str:
    """A new passphrase in its file, to be shown once; "" where there is one already.

    Raises:
        BadPassphrase: it cannot be read or written.
    """
    if read_passphrase() is not None:
        return ""
    made = new_passphrase()
    keep_passphrase(made)
    return made


def shown_once(passphrase: str) -> str:
    """The words that show a new passphrase."""
    return (
        "The passphrase of the key that seals. It is shown this once: write it down and keep the paper "
        "away from this machine and from every copy of the data folder. Without it the key is lost.\n"
        f"\n    {passphrase}\n\n"
        f"It lies in {passphrase_file()}, for its owner alone, and in no backup."
    )


def ready_at_start(at: int) -> Iterator[str]:
    """What `serve` says of the key before it serves: the key is made at set-up, and whatever bars sealing
    is told.  Serving goes on: readings come first, and reviews say that the head was not sealed."""
    try:
        if not has_key(seal_folder()) and not _key_is_gone():
            made = made_passphrase()
            if made:
                yield shown_once(made)
            yield from _first_key(at)
        else:
            yield from _standing(at)
    except (BadPassphrase, KeyTrouble, Refused) as trouble:
        yield _not_sealing(trouble_words(trouble))


def _key_is_gone() -> bool:
    return (seal_folder() / CERT).exists() or SealKey.objects.exists()


def _first_key(at: int) -> Iterator[str]:
    """The key carries the establishment's name, so it is made once there is one."""
    house = establishment()
    if house is not None:
        sealer = ready_sealer(house, at)
        yield f"The key that seals is made. Its fingerprint: {grouped(sealer.fingerprint)}"


def _standing(at: int) -> Iterator[str]:
    folder = seal_folder()
    if has_key(folder) and not is_encrypted(folder):
        yield (
            "The key that seals lies in the data folder unencrypted: whoever copies the folder can seal in "
            "the house's name. manage.py seal_key --encrypt encrypts it."
        )
    house = establishment()
    if house is None:
        return
    sealer = ready_sealer(house, at)
    ends = sealer.certificate.not_valid_after_utc
    days = (ends - datetime.fromtimestamp(at / 1000, UTC)).days
    if days < SOON_DAYS:
        yield f"The certificate of the key that seals ends on {ends:%d %b %Y}, in {days} days."


def _not_sealing(why: str) -> str:
    return (
        f"NOTHING CAN BE SEALED: {why}\n"
        "The logbook is served all the same; no record can be issued until then, and reviews and releases "
        "say that the head of the book was not sealed."
    )


def status_lines() -> Iterator[str]:
    """How the key stands, each fact a line."""
    folder = seal_folder()
    newest = SealKey.objects.order_by("-id").first()
    if not has_key(folder):
        yield f"There is no key in {folder}."
    else:
        yield f"The key lies in {folder}, {'encrypted' if is_encrypted(folder) else 'UNENCRYPTED'}."
        yield _opens()
    yield f"The passphrase comes from {where_it_is()}{' (environment)' if from_environment() else ''}."
    if newest is None:
        yield "The book knows no sealing certificate yet."
    for row in SealKey.objects.order_by("-id"):
        made = datetime.fromtimestamp(row.made_at / 1000, UTC)
        use = "seals" if row == newest else "sealed before; trusted for that"
        yield f"{row.fingerprint[:16]}… of {made:%d %b %Y}, {row.get_source_display()}, {use}: {row.reason}"


def _opens() -> str:
    folder = seal_folder()
    try:
        sealer = load_sealer(folder, passphrase_for(folder))
    except (KeyTrouble, BadPassphrase) as trouble:
        return f"It cannot seal: {trouble_words(trouble)}"
    return (
        f"It opens. Its certificate lasts until {sealer.certificate.not_valid_after_utc:%d %b %Y}."
    )
