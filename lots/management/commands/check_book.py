"""Walks the book: every line follows the one before, and every row is what its line says."""

import sys
import time
from typing import Any

from django.core.management.base import BaseCommand

from lots.entries.keeping import note_walk
from lots.management.walking import result
from lots.models.book import BookLine
from lots.queries.book_check import book_faults


class Command(BaseCommand):
    help = "Check that the book agrees with its digests (exit 0) or name what does not (exit 1)."

    def handle(self, *args: Any, **options: Any) -> None:
        at = time.time_ns() // 1_000_000
        faults = list(book_faults())
        for fault in faults:
            self.stdout.write(fault.words)
        last = BookLine.objects.order_by("-number").first()
        if last is None:
            self.stdout.write("The book is empty.")
        elif not faults:
            self.stdout.write(f"{last.number} lines agree. The newest digest is {last.digest}.")
        self.stdout.flush()
        note_walk(result(at, time.time_ns() // 1_000_000 - at, last, faults, None))
        sys.exit(1 if faults else 0)
