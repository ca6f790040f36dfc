"""Files that belong to an entry: kept in the data folder under their SHA-256."""

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from django.conf import settings

from lots.entries.book import Act
from lots.entries.refusals import Refused
from lots.models.house import KeptFile

LARGEST_ATTACHMENT: Final = 20 * 1024 * 1024
_KINDS: Final = (
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"%PDF-", "application/pdf"),
)


@dataclass(frozen=True, slots=True)
class Upload:
    """A file as it came: its name and its bytes."""

    name: str
    data: bytes


def media_type(upload: Upload) -> str:
    """What the bytes are; only photos (JPEG, PNG, WebP) and PDF papers are taken."""
    if len(upload.data) > LARGEST_ATTACHMENT:
        raise Refused({"attachment": "The file is over 20 MB. Take a smaller photo."})
    if upload.data[:4] == b"RIFF" and upload.data[8:12] == b"WEBP":
        return "image/webp"
    for head, kind in _KINDS:
        if upload.data.startswith(head):
            return kind
    raise Refused({"attachment": "Attach a photo (JPEG, PNG or WebP) or a PDF."})


def store(data: bytes) -> str:
    """Lays the bytes into the data folder, whole or not at all; returns their SHA-256."""
    digest = hashlib.sha256(data).hexdigest()
    folder = Path(settings.FILES_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / digest
    if not target.exists():
        part = folder / f".{digest}.{os.getpid()}"
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(0o600)
        part.replace(target)
    return digest


def keep_file(act: Act, upload: Upload, kind: str) -> KeptFile:
    """The kept row of a file; its bytes are on disk before the row is."""
    return act.write(
        KeptFile(
            sha256=store(upload.data),
            name=upload.name[-200:],
            media_type=kind,
            size=len(upload.data),
        )
    )
