"""`manage.py restore FILE`: puts a backup in the book's place, while nothing is served from it."""

import time
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

from django.conf import settings
from django.core.management.base import BaseCommand

from lots.entries.keeping import UNKNOWN
from lots.management.archive import Index
from lots.management.backing_up import database_file
from lots.management.locks import replacing_book
from lots.management.restoring import FAULTS, Done, Told, open_backup, restore
from lots.management.serving import prepare_folder


def losing(text: str) -> int:
    """How many lines may be lost, as it was typed."""
    if text == "unknown":
        return UNKNOWN
    if not text.isdigit():
        raise ArgumentTypeError("a whole number, or the word unknown")
    return int(text)


class Command(BaseCommand):
    help = (
        "Puts a backup in the place of the book, tried and walked beside it first; the old book is put "
        "aside, never deleted (exit 0 restored, 3 restored with faults that it names, 1 refused: nothing "
        "was changed)."
    )
    requires_system_checks: ClassVar[list[str]] = []  # the present book may be damaged

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument(
            "--losing-lines",
            type=losing,
            metavar="N",
            help="how many lines of the present book are not in the backup and are to be cut off: exactly "
            "as many as the refusal says, or the word unknown where that book cannot be read",
        )
        parser.add_argument(
            "--despite-faults",
            action="store_true",
            help="restore a book that does not agree with itself, where there is no better one",
        )

    def handle(
        self, *args: Any, file: Path, losing_lines: int | None, despite_faults: bool, **options: Any
    ) -> None:
        database_file()  # refuses a book that lies elsewhere
        opened = open_backup(file)
        prepare_folder(Path(settings.DATA_DIR))
        with replacing_book():
            told = Told(losing_lines, despite_faults)
            done = restore(opened, told, time.time_ns() // 1_000_000, self._say)
        for words in said(file, opened.index, done):
            self._say(words)
        raise SystemExit(FAULTS if done.faulty else 0)

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()


def said(file: Path, index: Index, done: Done) -> Iterator[str]:
    """What was done, in words for whoever restores, to be kept with the house's papers."""
    yield f"\nRestored {file} into {settings.DATA_DIR}. The backup's own digest is {index.digest_of_index}."
    present = done.present
    if not present.there:
        yield "Before: there was no book here."
    elif present.unreadable:
        yield f"Before: a book that could not be read ({present.unreadable})."
    else:
        yield f"Before: {present.lines} lines, newest digest {present.digest or '(none)'}."
    yield f"The backup: {index.lines} lines, newest digest {index.digest or '(none)'}."
    yield "Now, with the line that tells of this restore:"
    yield from (f"  {words}" for words in done.tried)
    if done.aside:
        yield f"The old book was put aside, whole, in {done.aside}."
    yield from _lost(done)
    if done.seal:
        yield done.seal
    yield (
        "Compare with the sealed records handed out: each prints at its end up to which line of the book "
        "it rests on, and that line's digest. If its line is not above the backup's newest line, the book "
        "must show the same digest there; if it is above, the record tells of lines that were cut off."
    )
    if done.faulty:
        yield "This book does NOT agree with itself: what is named above stays named on every page."


def _lost(done: Done) -> Iterator[str]:
    lost = done.present.lost
    if not lost:
        return
    count = "1 line" if len(lost) == 1 else f"{len(lost)} lines"
    yield f"Cut off: {count}, in full in {done.aside}/lost-lines.txt. Enter again what is missing:"
    yield from (f"  {one.splitlines()[0]}" for one in lost[:20])
    if len(lost) > 20:
        yield f"  … and {len(lost) - 20} more."
