"""`manage.py backup FILE`: one file with the book, its kept files and its seal, while it is in use."""

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, ClassVar, Final

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from lots.management.backing_up import WholeBackup, back_up, database_file
from lots.management.locks import using_book
from lots.queries.keeping import TOLD

NOT_WHOLE: Final = 3
OPEN_KEYS: Final = (
    "Left out, since a backup travels and must not be able to seal or to open anything: {names}. After a "
    "restore on another machine they are made anew: a new seal, new certificates for the tablets, everybody "
    "logs in again. Sealing keys that a passphrase closes are taken along; the passphrase never is."
)


class Command(BaseCommand):
    help = (
        "Writes the database, the kept files and the seal's certificates into one new file, while the book "
        "is in use (exit 0 whole, 3 made but with files amiss, 1 not made)."
    )
    requires_system_checks: ClassVar[list[str]] = []  # a book with something amiss is copied too

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        source = database_file()
        if not source.exists():
            raise CommandError(f"There is no book at {source}.")
        if not file.name or not file.parent.is_dir():
            raise CommandError(f"{file} cannot be written: there is no folder {file.parent}.")
        with using_book():
            made = back_up(file, time.time_ns() // 1_000_000)
        self._say(file, made)
        if made.index.missing or made.altered:
            raise SystemExit(NOT_WHOLE)

    def _say(self, file: Path, made: WholeBackup) -> None:
        index = made.index
        kept = sum(member.name.startswith("files/") for member in index.members)
        self.stdout.write(
            f"Backed up the book of {settings.DATA_DIR} to {file} ({made.size} bytes): {index.lines} "
            f"lines, {kept} kept files.\nIts newest digest is {index.digest or '(the book is empty)'}.\n"
            f"The backup's own digest is {index.digest_of_index}: write it down elsewhere, restore prints "
            "it again."
        )
        names = ", ".join(["secret_key", *index.left_out])
        self.stdout.write(OPEN_KEYS.format(names=names))
        for words, amiss in (("is missing", index.missing), ("is altered", made.altered)):
            for name in amiss[:TOLD]:
                self.stderr.write(f"The kept file {name} that the book names {words}.")
            if len(amiss) > TOLD:
                self.stderr.write(f"… and {len(amiss) - TOLD} more of which each {words}.")
