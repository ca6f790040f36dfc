"""Lays the book that is attacked, in a process and a folder of its own, through entries alone.

SMOKEHOUSE_DATA=FOLDER python -m tests.attacks.lay book     a released lot, a logger's file, more entries
SMOKEHOUSE_DATA=FOLDER python -m tests.attacks.lay clock    one more entry, three hours before the last
SMOKEHOUSE_DATA=FOLDER python -m tests.attacks.lay reading  one more reading; prints whether it counts
"""

import os
import sys
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")
os.environ.setdefault("SEAL_PASSPHRASE", "invented, of a book that is attacked")

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402

from lots.entries import logger  # noqa: E402
from lots.entries.files import Upload  # noqa: E402
from lots.entries.head import seal_head  # noqa: E402
from lots.entries.reading import enter_readings  # noqa: E402
from lots.entries.readings import Figure  # noqa: E402
from lots.entries.record import issue_record  # noqa: E402
from lots.entries.review import release_lot, sign_reviews  # noqa: E402
from lots.logger.choices import choices_from  # noqa: E402
from lots.models.house import Establishment, Place  # noqa: E402
from lots.models.people import Person  # noqa: E402
from lots.models.reading import Reading  # noqa: E402
from lots.queries.house import file_bytes  # noqa: E402
from lots.queries.release import last_line  # noqa: E402
from tests.entries.roads import csv, finished  # noqa: E402
from tests.make import Book, make_book, moment, seen  # noqa: E402

READINGS = 10_500  # eleven chunks
RECORD = "record.pdf"


def lay_book() -> None:
    """The sealed record, as it was handed out, lies beside the book and not among its files."""
    call_command("migrate", verbosity=0)
    book = make_book()
    lot = finished(book)
    take_file_in(book)
    at = moment("2026-03-05 13:00")
    house, line = Establishment.objects.get(), last_line(lot)
    assert line is not None
    sign_reviews(book.reviewer, [(lot, line.number)], "", at)
    seal_head(house, at)  # as the pages do after each review and release
    release_lot(book.reviewer, lot, {"release": 18_000}, "", at, "Frozen, below 0 °F")
    seal_head(house, at)
    issued = issue_record(book.reviewer, lot, house, at)
    Path(settings.DATA_DIR, RECORD).write_bytes(file_bytes(issued.file))
    for minute in range(12):
        read(f"2026-03-05 14:{minute:02}")


def take_file_in(book: Book) -> None:
    place = book.place("Smokehouse 1")
    data = csv("2026-03-05 01:00", 2, [70 + n % 7 / 10 for n in range(READINGS)])
    at = moment("2026-03-05 09:00")
    staged = logger.stage_file(book.operator, place, None, Upload("probes.csv", data), at)
    house = Establishment.objects.get()
    done = logger.import_file(book.operator, staged, choices_from({}), {}, None, house, at)
    assert done.added == READINGS, done


def read(at: str) -> Reading:
    person, place = Person.objects.get(username="olga"), Place.objects.get(name="Freezer")
    return enter_readings(person, place, None, [Figure("-4", "F")], seen(at)).readings[0]


def main(what: str) -> None:
    if what == "book":
        lay_book()
    elif what == "clock":
        read("2026-03-05 11:11")
    else:
        row = Reading.objects.get(pk=read("2026-03-05 15:00").pk)
        print("withdrawn" if row.withdrawn else "counts")


if __name__ == "__main__":
    main(sys.argv[1])
