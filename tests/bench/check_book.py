"""The walk through the book beside bare hashing: a million packed readings, and 100,000 readings by hand.

    SMOKEHOUSE_DATA=/tmp/bench .venv/bin/python -m tests.bench.check_book

Both sides of a ratio are measured in turn in one process, Django's start left out.

Packed: ten files of 100,000 readings each, taken in through the entry.  The baseline reads the bytes of the
same packed rows by raw SQL (`SELECT data FROM lots_packedseries`, sqlite3's own cursor) and hashes each with
SHA-256; beside it stands the ratio to hashing the same bytes when they are already in memory.

By hand: one reading a line, laid as rows with their lines and digests, since entries would take an hour.  The
baseline holds the named content of each reading in memory, writes it as canonical JSON and hashes that.

The walk is `check_book` as it is without options: every line, every kept table, LineLot, triggers, and whether
each kept file is there.  What the process held at most is printed, and so is the machine's load.
"""

import sys

from tests.bench.folder import lay_book, open_book, set_up

if __name__ == "__main__":
    FOLDER = set_up(empty=len(sys.argv) == 1)

import hashlib
import os
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.db import connection, transaction

from lots.entries import house
from lots.models.book import BookLine
from lots.models.reading import PackedSeries, Reading
from lots.queries.book_check import Walk
from lots.queries.digests import canonical, line_digest, row_digest, sha256
from tests.bench.curves import HELD_S, held, read
from tests.bench.rounds import Verdicts, in_turn
from tests.entries.roads import csv, imported
from tests.make import Book, make_book, moment

FILES, LINES, PROBES = 10, 25_000, 4
HAND = 100_000
ROUNDS = 7
PACKED_AT_MOST, HAND_AT_MOST, GROWTH_AT_MOST_MB = 3, 15, 150
HAND_BOOK, PACKED_BOOK = "book.sqlite3", "packed.sqlite3"
READ_OUT = "2026-03-09 07:00"


def take_files_in(book: Book) -> None:
    """A million readings, each file in a cooler of its own."""
    probes = {n: f"probe {n}" for n in range(1, PROBES + 1)}
    opened, names = moment("2026-03-01 09:00"), [f"Cooler {n}0" for n in range(FILES)]
    places = [house.open_place(book.keeper, name, "cooler", None, opened) for name in names]
    for place in places:
        columns = [[f"{v:.1f}" for v in read(held, HELD_S, LINES, n)] for n in probes]
        data = csv("2026-03-02 09:30:00", HELD_S / LINES, *columns)
        done = imported(book, data, READ_OUT, place, None, probes)
        assert done.added == LINES * PROBES, done


def lay_readings(book: Book) -> None:
    """Readings by hand as `enter_readings` leaves them: a row, and a line that tells of it."""
    last = BookLine.objects.order_by("-number")[0]
    number, prev, place = last.number, last.digest, book.place("Freezer").pk
    first = Reading.objects.count()
    lines, rows = [], []
    for n in range(1, HAND + 1):
        at = last.at + n * 60_000
        row = Reading(
            pk=first + n, line_id=number + n, place_id=place, as_read=f"-{n % 9}.5", unit="F",
            value=-200_000 - n % 9, observed_at=at, entered_at=at, probe="",
        )  # fmt: skip
        told = {"lots": [], "rows": [["reading", row.pk, row_digest(row)]]}
        line = BookLine(
            number=number + n, at=at, person=book.operator, kind="reading entered",
            content=canonical(told), form=1, prev=prev,
        )  # fmt: skip
        prev = line.digest = line_digest(line)
        lines.append(line)
        rows.append(row)
    with transaction.atomic():
        BookLine.objects.bulk_create(lines, batch_size=5_000)
        Reading.objects.bulk_create(rows, batch_size=5_000)


def walk() -> int:
    one = Walk()
    faults = list(one.findings())
    assert faults == [], faults[:3]
    return one.lines


def hash_from_database() -> None:
    with connection.cursor() as cursor:
        for (data,) in cursor.execute("SELECT data FROM lots_packedseries"):
            hashlib.sha256(data).hexdigest()


def hash_all(held_in_memory: list[Any], hashed: Callable[[Any], str]) -> None:
    for one in held_in_memory:
        hashed(one)


def packed_bench(held_to: Verdicts) -> None:
    book = make_book()
    take_files_in(book)
    data = [bytes(one) for one in PackedSeries.objects.values_list("data", flat=True)]
    took = in_turn(
        {
            "walk": walk,
            "database": hash_from_database,
            "memory": lambda: hash_all(data, lambda one: hashlib.sha256(one).hexdigest()),
        },
        ROUNDS,
    )
    print(f"{took['walk']:10.1f} ms     the walk: {walk()} lines, {len(data):,} packed rows")
    print(f"{took['database']:10.1f} ms     their {sum(map(len, data)):,} bytes by raw SQL, hashed")
    print(f"{took['memory']:10.1f} ms     the same bytes in memory, hashed")
    print(f"{took['walk'] / took['memory']:10.2f} times  beside bytes in memory (for comparison)")
    ratio = took["walk"] / took["database"]
    held_to.hold("a million packed readings beside bare SHA-256", ratio, PACKED_AT_MOST)
    grown = grown_in_child(PACKED_BOOK)
    held_to.hold("what the walk adds to memory", grown, GROWTH_AT_MOST_MB, "MB")


def hand_bench(held_to: Verdicts) -> None:
    book = make_book()
    lay_readings(book)
    contents = [row.named_content() for row in Reading.objects.iterator()]
    assert len(contents) == HAND
    took = in_turn(
        {"walk": walk, "bare": lambda: hash_all(contents, lambda one: sha256(canonical(one)))},
        ROUNDS // 2,
    )
    print(f"{took['walk']:10.1f} ms     the walk: {HAND:,} readings by hand, a line each")
    print(f"{took['bare']:10.1f} ms     the content of each as canonical JSON, hashed")
    held_to.hold("hand readings beside hashing each", took["walk"] / took["bare"], HAND_AT_MOST)
    held_to.hold("what the walk adds to memory", grown_in_child(HAND_BOOK), GROWTH_AT_MOST_MB, "MB")


def memory_mb() -> float:
    """What this process held at most, all of it; getrusage would count what its parent held."""
    _, _, rest = Path("/proc/self/status").read_text().partition("VmHWM:")
    return int(rest.split()[0]) / 1024


def grown_in_child(book: str) -> float:
    """What one walk adds to a process that did nothing else."""
    words = [sys.executable, "-m", "tests.bench.check_book", book]
    return float(subprocess.run(words, check=True, capture_output=True, text=True).stdout)


def walk_alone(book: str) -> None:
    open_book(FOLDER / book)
    BookLine.objects.count()
    before = memory_mb()
    walk()
    print(memory_mb() - before)


def main() -> None:
    held_to = Verdicts()
    print(f"load of the machine: {os.getloadavg()[0]:.2f} on {os.cpu_count()} processors")
    hand_bench(held_to)
    lay_book(FOLDER / PACKED_BOOK)
    packed_bench(held_to)
    connection.close()
    held_to.leave()


if __name__ == "__main__":
    if len(sys.argv) > 1:
        walk_alone(sys.argv[1])
    else:
        main()
