"""A backup: one zip file of the database, the kept files and the seal, with an index of what is in it.

The index, canonical JSON, is the last member: name, size and SHA-256 of each other one, up to which line
the book goes and its newest digest.  What the index does not name is not in the backup, and the other way
about; so whatever is altered, cut off or put in is found before anything is restored.
"""

import hashlib
import json
import re
import struct
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any, Final

from lots.queries.digests import canonical, sha256

FORM: Final = 1
INDEX: Final = "index.json"
BOOK: Final = "book.sqlite3"
LARGEST_INDEX: Final = 100_000_000  # bytes: half a million members
PIECE: Final = 1 << 20
# what zipfile raises over bytes that are not as they were written: it trusts what it reads of a file
UNREADABLE: Final = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, struct.error, EOFError, NotImplementedError,
    RuntimeError, OSError, ValueError, LookupError, OverflowError, MemoryError,
)  # fmt: skip
# the only names that a backup may hold: none of them leads out of the folder that it is unpacked into
NAMES: Final = re.compile(r"book\.sqlite3|files/[0-9a-f]{64}|keys/seal[A-Za-z0-9._-]{0,80}\.pem")


class BadBackup(ValueError):
    """The file is no backup, or not as it was made; the message says what is wrong."""


@dataclass(frozen=True, slots=True)
class Member:
    """One file in a backup: its SHA-256 and its size in bytes."""

    name: str
    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class Index:
    """What a backup says of itself: made when (ms UTC), by which state of the program, of which book;
    `missing` are files that the book names and that were not in its folder."""

    made_at: int
    migrations: tuple[str, ...]
    lines: int
    digest: str
    members: tuple[Member, ...]
    missing: tuple[str, ...]
    left_out: tuple[str, ...]

    def text(self) -> str:
        return canonical({"form": FORM, **asdict(self)})

    @property
    def digest_of_index(self) -> str:
        """What may be written down to know this backup again."""
        return sha256(self.text())

    @property
    def size(self) -> int:
        return sum(member.size for member in self.members)


class Pack:
    """A backup while it is being made."""

    def __init__(self, file: IO[bytes]) -> None:
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1)
        self.members: list[Member] = []

    def add(self, name: str, source: Path) -> Member:
        """Adds a file as it is at this moment.  Raises OSError where it cannot be read or written."""
        seen, size = hashlib.sha256(), 0
        with source.open("rb") as opened, self._zip.open(_named(name), "w", force_zip64=True) as to:
            while piece := opened.read(PIECE):
                seen.update(piece)
                size += len(piece)
                to.write(piece)
        self.members.append(Member(name, seen.hexdigest(), size))
        return self.members[-1]

    def close(self, index: Index) -> None:
        self._zip.writestr(_named(INDEX), index.text())
        self._zip.close()

    def abandon(self) -> None:
        """Leaves the file as it is, where it could not be written to its end."""
        self._zip.fp = None


def _named(name: str) -> zipfile.ZipInfo:
    one = zipfile.ZipInfo(name)
    one.compress_type = zipfile.ZIP_DEFLATED
    one.external_attr = 0o600 << 16
    return one


class Opened:
    """A backup that was opened: its index was read and fits what is in it.

    Raises:
        BadBackup: it is no backup of ours, or it was altered.
        OSError: there is no such file, or it cannot be opened.
    """

    def __init__(self, file: Path) -> None:
        opened = file.open("rb")
        try:
            self._zip = zipfile.ZipFile(opened)
            self.index = self._index()
        except BadBackup:
            raise
        except UNREADABLE as error:
            raise BadBackup(f"it is no whole backup ({error})") from error

    def _index(self) -> Index:
        names = self._zip.namelist()
        if names.count(INDEX) != 1 or self._zip.getinfo(INDEX).file_size > LARGEST_INDEX:
            raise BadBackup("it holds no index of a backup")
        index = read_index(self._zip.read(INDEX))
        told = [member.name for member in index.members]
        if sorted(names) != sorted([*told, INDEX]) or len(set(names)) != len(names):
            raise BadBackup("what it holds is not what its index names")
        for name in told:
            if not NAMES.fullmatch(name):
                raise BadBackup(f"it names {name!r}, which no backup holds")
        if BOOK not in told:
            raise BadBackup("it holds no book")
        return index

    def unpack(self, folder: Path) -> None:
        """Lays every member into a new folder, each compared with its digest as it is read.

        Raises:
            BadBackup: a member is not what the index says.
            OSError: it cannot be written.
        """
        for member in self.index.members:
            target = folder / member.name
            target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            seen, size = hashlib.sha256(), 0
            with target.open("xb") as to:
                for piece in self._pieces(member):
                    seen.update(piece)
                    size += len(piece)
                    to.write(piece)
            if (size, seen.hexdigest()) != (member.size, member.sha256):
                raise BadBackup(f"{member.name} in it is not what its index says")

    def _pieces(self, member: Member) -> Iterator[bytes]:
        """A member's bytes, and not many more than its index says that it has."""
        left = member.size + 1
        try:
            with self._zip.open(member.name) as opened:
                while left > 0 and (piece := opened.read(min(PIECE, left))):
                    left -= len(piece)
                    yield piece
        except UNREADABLE as error:
            raise BadBackup(f"{member.name} in it is damaged ({error})") from error


def read_index(data: bytes) -> Index:
    """The index of a backup.  Raises BadBackup where it is not one that this version writes."""
    try:
        told = json.loads(data)
        if told.pop("form") != FORM:
            raise BadBackup("a newer version of the logbook made it: install that version")
        told["members"] = tuple(Member(**one) for one in told["members"])
        index = Index(
            **told | {name: tuple(told[name]) for name in ("migrations", "missing", "left_out")}
        )
        same = index.text().encode() == data
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        if isinstance(error, BadBackup):
            raise
        raise BadBackup(f"its index cannot be read ({error})") from error
    if not same or not _plain(index):
        raise BadBackup("its index is not as it was written")
    return index


def _plain(index: Index) -> bool:
    """Whether each thing in the index is of its kind."""
    numbers: list[Any] = [index.made_at, index.lines, *(one.size for one in index.members)]
    words: Iterable[Any] = (
        index.digest, *index.migrations, *index.missing, *index.left_out,
        *(one.name for one in index.members), *(one.sha256 for one in index.members),
    )  # fmt: skip
    whole = all(type(number) is int and number >= 0 for number in numbers)
    return whole and all(isinstance(word, str) for word in words)
