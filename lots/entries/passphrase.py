"""The passphrase of the key that seals: from the environment, or from a file outside the data folder.

Whoever has the data folder, or a copy of it, must not have the passphrase too; so it is never read from
there.  The demo's is, since everything there is invented.
"""

import hashlib
import os
import secrets
from pathlib import Path
from typing import Final

from django.conf import settings

from lots.queries.house import establishment

LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that looks like another
GROUPS, IN_GROUP = 6, 4
"""24 letters of 32: 120 bits.  Source: NIST SP 800-57 part 1, table 2: 112 bits at least."""
DEMO_FILE: Final = "demo_seal_passphrase"


class BadPassphrase(Exception):
    """The passphrase cannot be had or kept; the message says why and what to do."""


def new_passphrase() -> str:
    """A passphrase that can be written down and typed: "K7QM-…", 120 bits."""
    letters = "".join(secrets.choice(LETTERS) for _ in range(GROUPS * IN_GROUP))
    return "-".join(letters[at : at + IN_GROUP] for at in range(0, len(letters), IN_GROUP))


def readings_of(typed: str) -> list[str]:
    """What a typed passphrase may stand for: as typed, and as one of ours typed from paper."""
    plain = typed.strip()
    letters = "".join(plain.split()).replace("-", "").upper()
    groups = "-".join(letters[at : at + IN_GROUP] for at in range(0, len(letters), IN_GROUP))
    return [plain] if plain == groups else [plain, groups]


def from_environment() -> bool:
    """Whether SEAL_PASSPHRASE holds it, so that no file is read."""
    return bool(settings.SEAL_PASSPHRASE)


def passphrase_file() -> Path:
    """The file named in SEAL_PASSPHRASE_FILE, or else one of this data folder's own in the owner's
    configuration."""
    if settings.SEAL_PASSPHRASE_FILE:
        return Path(settings.SEAL_PASSPHRASE_FILE)
    folder, house = Path(settings.DATA_DIR).resolve(), establishment()
    if house is not None and house.demo:
        return folder / DEMO_FILE
    mark = hashlib.sha256(str(folder).encode()).hexdigest()[:8]
    return _configuration() / "smokehouse" / f"seal-{folder.name}-{mark}"


def _configuration() -> Path:
    named = os.environ.get("XDG_CONFIG_HOME", "")
    try:
        return Path(named) if named else Path.home() / ".config"
    except RuntimeError as error:
        raise BadPassphrase(
            "This user has no home folder: name the passphrase's file in SEAL_PASSPHRASE_FILE."
        ) from error


def where_it_is() -> str:
    """Where the passphrase is looked for, in words."""
    return "SEAL_PASSPHRASE" if from_environment() else str(passphrase_file())


def read_passphrase() -> bytes | None:
    """The passphrase; None where there is no file yet.

    Raises:
        BadPassphrase: its file lies in the data folder, others can read it, or it holds nothing.
    """
    if from_environment():
        return str(settings.SEAL_PASSPHRASE).encode()
    file = passphrase_file()
    _check_place(file)
    try:
        mode = file.stat().st_mode
        if mode & 0o077:
            raise BadPassphrase(
                f"Others can read the passphrase's file {file} (mode {mode & 0o777:o}): chmod 600 {file}"
            )
        held = file.read_text("utf-8").strip()
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", "") or "it is not text"
        raise BadPassphrase(f"The passphrase's file {file} cannot be read: {why}.") from error
    if not held:
        raise BadPassphrase(
            f"The passphrase's file {file} is empty: manage.py seal_key --passphrase fills it."
        )
    return held.encode()


def keep_passphrase(text: str) -> Path:
    """Writes the passphrase to its file, for its owner alone, in place of what was there.

    Raises:
        BadPassphrase: the environment holds it, or the file cannot be where it is to be.
    """
    if from_environment():
        raise BadPassphrase("SEAL_PASSPHRASE is set: the passphrase is taken from there.")
    file = passphrase_file()
    _check_place(file)
    part = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w") as out:
            out.write(text + "\n")
            out.flush()
            os.fsync(out.fileno())
        part.replace(file)
    except OSError as error:
        raise BadPassphrase(
            f"The passphrase's file {file} cannot be written: {error.strerror}. Name another in "
            "SEAL_PASSPHRASE_FILE."
        ) from error
    return file


def _check_place(file: Path) -> None:
    """Refuses a file in the data folder, by whatever way it leads there."""
    folder, house = Path(settings.DATA_DIR).resolve(), establishment()
    if house is not None and house.demo and file.resolve() == folder / DEMO_FILE:
        return
    if file.resolve().is_relative_to(folder):
        raise BadPassphrase(
            f"The passphrase's file {file} lies in the data folder {folder}: whoever copies the folder "
            "would have both. Move it elsewhere and name it in SEAL_PASSPHRASE_FILE."
        )
