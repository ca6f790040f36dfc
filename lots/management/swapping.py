"""The last steps of a restore: the old book put aside, then everything of the new one in its place."""

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from django.conf import settings

from lots.management.archive import BOOK, Index
from lots.management.backing_up import database_file
from lots.management.placing import fsync, fsync_tree
from lots.management.present import Present, check_still
from lots.queries.keeping import WALK

REPLACED: Final = "replaced-"
EARLIER_SEALS: Final = "earlier-seals"


def stamp(now_ms: int) -> str:
    """A moment (ms UTC) as the name of a folder ends in."""
    return f"{datetime.fromtimestamp(now_ms // 1000, UTC):%Y%m%dT%H%M%S}.{now_ms % 1000:03}Z"


def set_aside(present: Present, now_ms: int) -> Path:
    """A folder with the book that will be replaced, usable by itself: a copy of its database, since one
    file of SQLite's must not lie under two names, and its kept files linked, since those never change."""
    book = database_file()
    aside = Path(settings.DATA_DIR) / f"{REPLACED}{stamp(now_ms)}"
    aside.mkdir(mode=0o700)
    for end in ("", "-wal", "-shm", "-journal"):
        one = book.with_name(book.name + end)
        if one.exists():
            shutil.copy2(one, aside / one.name)
    files = Path(settings.FILES_DIR)
    (aside / "files").mkdir(mode=0o700)
    for file in files.iterdir() if files.is_dir() else ():
        _link(file, aside / "files" / file.name)
    if present.lost:
        lost = aside / "lost-lines.txt"
        lost.write_text("\n".join(present.lost) + "\n")
        lost.chmod(0o600)
    fsync_tree(aside)
    fsync(aside.parent)
    return aside


def _link(file: Path, target: Path) -> None:
    try:
        os.link(file, target)
    except OSError:  # no hard links on this disk
        shutil.copy2(file, target)


def place_files(new: Path, index: Index) -> None:
    """The kept files of the backup, which bear their content's name: what the old book has of the same
    name is the same, or was altered.  One that was altered when the backup was made only fills a gap."""
    files = Path(settings.FILES_DIR)
    files.mkdir(mode=0o700, exist_ok=True)
    for member in index.members:
        target = files / Path(member.name).name
        if not member.name.startswith("files/"):
            continue
        if member.sha256 == target.name or not target.exists():
            (new / member.name).chmod(0o600)
            (new / member.name).replace(target)
    fsync(files)


def place_seal(new: Path, name: str) -> str:
    """The seal's certificates and closed keys: into their place where this folder has no seal and the
    backup has a whole one, otherwise aside, where older seals can be checked against them."""
    brought = {file.name: file for file in (new / "keys").glob("seal*.pem")}
    if not brought:
        return ""
    keys = Path(settings.KEYS_DIR)
    keys.mkdir(mode=0o700, exist_ok=True)
    standing = {file.name: file.read_bytes() for file in keys.glob("seal*.pem")}
    if all(standing.get(name) == file.read_bytes() for name, file in brought.items()):
        return "The seal in this folder is the one of the backup."
    whole = any(b"ENCRYPTED PRIVATE KEY" in file.read_bytes() for file in brought.values())
    to = keys if whole and not standing else keys / EARLIER_SEALS / name[:12]
    to.mkdir(mode=0o700, parents=True, exist_ok=True)
    for file in brought.values():
        file.replace(to / file.name)
    fsync(to)
    if to == keys:
        return "The seal of the backup is in place; its key is closed with its passphrase."
    return (
        f"The backup's seal certificates lie in {to}: records sealed with it are checked by manage.py "
        f"check_record FILE.pdf --trust {to / 'seal-ca.pem'}"
    )


def place_book(new: Path, present: Present) -> None:
    """The one step that changes the book.  A log that the old one left must be gone by then, or SQLite
    would play it into the new one; of a book that could be read, reading it has emptied it already."""
    book = database_file()
    if present.there and not present.unreadable:
        check_still(book, present)
    for end in ("-wal", "-shm", "-journal"):
        book.with_name(book.name + end).unlink(missing_ok=True)  # copied aside before
    (new / BOOK).chmod(0o600)
    (new / BOOK).replace(book)
    fsync(book.parent)


def place_note(new: Path) -> None:
    """What the trial's walk found is what is known of the book that now stands."""
    note = new / "keeping" / WALK
    if note.exists():
        to = Path(settings.DATA_DIR) / "keeping"
        to.mkdir(mode=0o700, exist_ok=True)
        note.replace(to / WALK)
