"""Everything that speaks against a book, asked in a process of its own; printed as JSON.

SMOKEHOUSE_DATA=FOLDER python -m tests.attacks.witnesses RECORD.pdf …
"""

import json
import os
import sys
from collections.abc import Callable, Iterator
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")

import django

django.setup()

import pikepdf  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.core.management.base import SystemCheckError  # noqa: E402

from lots.models.book import BookLine  # noqa: E402
from lots.pdf.check import ALTERED, check  # noqa: E402
from lots.pdf.render import ATTACHMENT  # noqa: E402

Witness = Callable[[list[Path]], Iterator[str]]


def walked(*options: str) -> Iterator[str]:
    out = StringIO()
    try:
        call_command("check_book", "--json", "--every", *options, stdout=out)
    except SystemExit as left:
        said: dict[str, Any] = json.loads(out.getvalue())
        assert bool(left.code) != said["agrees"]
        yield from (fault["words"] for fault in said["faults"])
        yield from (f"note: {note['words']}" for note in said["notes"])


def by_walk(_: list[Path]) -> Iterator[str]:
    return walked()


def by_files(_: list[Path]) -> Iterator[str]:
    return walked("--files")


def by_system_check(_: list[Path]) -> Iterator[str]:
    try:
        call_command("check", stdout=StringIO(), stderr=StringIO())
    except SystemCheckError as error:
        yield str(error)


def by_record(records: list[Path]) -> Iterator[str]:
    """A record that was handed out: sealed, and it says how far the book had come and with what digest."""
    for record in records:
        data = record.read_bytes()
        assert check(data, []).outcome != ALTERED
        with pikepdf.open(BytesIO(data)) as file:
            attached = json.loads(file.attachments[ATTACHMENT].get_file().read_bytes())
        line, digest = attached["book"]["line"], attached["book"]["digest"]
        now = BookLine.objects.filter(number=line).first()
        if now is None:
            yield f"the record rests on line {line}, which is not in the book"
        elif now.digest != digest:
            yield f"the record says that line {line} had the digest {digest[:8]}…: it has {now.digest[:8]}…"


# A further witness, such as sealed heads, is one line here and its name in the table of test_book_attacks.
WITNESSES: dict[str, Witness] = {
    "check_book": by_walk,
    "check_book --files": by_files,
    "manage.py check": by_system_check,
    "an issued PDF": by_record,
}


def main(records: list[Path]) -> None:
    said = {name: list(witness(records)) for name, witness in WITNESSES.items()}
    print(json.dumps(said))


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]])
