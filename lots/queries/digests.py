"""The digests that tie the book together: of a row's named content, and of a line."""

import hashlib
import json
from typing import Any, Final

from lots.models.book import BookLine, Kept

GENESIS: Final = "0" * 64  # what the first line follows
_CANONICAL: Final = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def canonical(content: Any) -> str:
    """Canonical JSON (RFC 8785) of strings, whole numbers, lists and dicts with ASCII keys."""
    return _CANONICAL.encode(content)


def sha256(data: str | bytes) -> str:
    return hashlib.sha256(data.encode() if isinstance(data, str) else data).hexdigest()


def row_digest(row: Kept) -> str:
    """The digest of a row's named content, whatever columns its table has."""
    return sha256(canonical(row.named_content()))


def line_digest(line: BookLine) -> str:
    """The digest of a line over its named content and the line before."""
    return sha256(
        canonical(
            {
                "form": line.form,
                "number": line.number,
                "at": line.at,
                "person": line.person_id or 0,
                "kind": line.kind,
                "content": line.content,
                "prev": line.prev,
            }
        )
    )
