"""The kept files in the data folder: there, of the right size, and, where asked, of the right bytes."""

import hashlib
import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from django.conf import settings

from lots.models.house import KeptFile
from lots.queries.book_lines import Fault, Note
from lots.queries.book_rows import Span, in_span

_DIGEST: Final = re.compile(r"[0-9a-f]{64}")
_NAMES_AT_ONCE: Final = 500


def file_faults(span: Span, read: bool) -> Iterator[Fault]:
    """Files of the lines that are not there or not what was kept; `read` hashes every byte."""
    rows = in_span(KeptFile.objects.all(), span).values_list("line_id", "name", "sha256", "size")
    for line, name, digest, size in rows.iterator(_NAMES_AT_ONCE):
        wrong = _wrong(digest, size, read)
        if wrong:
            yield Fault(line, f"line {line}: its file {name} {wrong} (files/{digest})")


def _wrong(digest: str, size: int, read: bool) -> str:
    if not _DIGEST.fullmatch(digest):
        return "has no name in the folder of files"
    path = Path(settings.FILES_DIR) / digest
    try:
        if path.stat().st_size != size:
            return "was changed: it has not the size that it had"
        return "was changed" if read and _hashed(path) != digest else ""
    except FileNotFoundError:
        return "is gone from the folder of files"
    except OSError as error:
        return f"cannot be read: {error.strerror}"


def _hashed(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def stray_files() -> Iterator[Note]:
    """Files in the folder of which no line tells: of an entry that was broken off, or of lines cut off."""
    folder = Path(settings.FILES_DIR)
    if not folder.is_dir():
        return
    names = sorted(entry.name for entry in os.scandir(folder))
    for start in range(0, len(names), _NAMES_AT_ONCE):
        some = names[start : start + _NAMES_AT_ONCE]
        known = set(KeptFile.objects.filter(sha256__in=some).values_list("sha256", flat=True))
        for name in some:
            if name not in known:
                words = f"files/{name} stands in no line: an entry was broken off, or lines were cut off"
                yield Note(0, words)
