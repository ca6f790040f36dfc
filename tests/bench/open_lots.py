"""The pages of what is open, with twenty lots in process: alone, and beside years of finished lots.

    SMOKEHOUSE_DATA=/tmp/bench .venv/bin/python -m tests.bench.open_lots

Beside them stand 10,000 released lots, 50,000 ended deviations and two million readings of loggers
(tests/bench/past.py).  Both books lie in the bench's folder and are asked in turn, at one moment of one
invented day.
"""

import statistics
import time
from pathlib import Path
from unittest.mock import patch

from tests.bench.folder import lay_book, open_book, set_up

if __name__ == "__main__":
    FOLDER = set_up()

from django.test import Client

from lots.models.lot import Lot
from lots.models.people import Person
from tests.bench.past import lay_past
from tests.bench.rounds import Verdicts, took_ms
from tests.make import Book, make_book, moment

PAGES = ("/", "/lots/", "/lots/?which=all", "/deviations/", "/log/", "/review/")
HELD_TO = PAGES[:2]  # the others are told beside them
AT_MOST = 1.5
ROUNDS, EACH = 8, 3
NOW = "2026-03-04 14:00"


def open_twenty(book: Book) -> None:
    """Twenty lots in process, as they stand at two in the afternoon."""
    lots = [book.open_lot(f"TR-{n}", at=f"07:{n:02}") for n in range(1, 21)]
    for n, place in enumerate(("Smokehouse 1", "Smokehouse 2")):
        load = book.start("smoke", place, "10:45", lots[n])
        book.fish(load, "10:50 60, 11:30 120, 12:00 148, 12:15 148.4, 12:30 148, 13:50 149")
    book.start("brine", "Brine tank 1", "11:00", lots[2])
    for one in lots[3:10]:
        book.start("hold", "Cooler", "08:00", one)
    for one in lots[10:16]:
        book.start("freeze", "Freezer", "09:00", one)
    book.start("dry", "Dry room", "12:00", *lots[16:18])
    book.at_place("Brine tank 1", "11:00 38, 12:30 38.5, 13:45 39")
    book.at_place("Brine room", "11:00 36.4, 13:00 36.9")
    book.at_place("Cooler", "08:05 36.2, 10:00 37, 12:00 36.6, 13:30 36.4")
    book.at_place("Freezer", "09:05 -3, 12:00 -4, 13:40 -3.2")


def made(file: Path, beside: bool) -> None:
    """A book of twenty open lots; `beside` lays the finished ones there before."""
    lay_book(file)
    began = time.perf_counter()
    book = make_book()
    if beside:
        lay_past(book)
    laid = time.perf_counter()
    open_twenty(book)
    took = f"rows {laid - began:.1f} s, twenty lots opened in {time.perf_counter() - laid:.2f} s"
    print(f"{file.name}: {Lot.objects.count():,} lots, {file.stat().st_size / 1e6:.0f} MB; {took}")


def ask(client: Client, page: str) -> None:
    answer = client.get(page)
    assert answer.status_code == 200, (page, answer.status_code)
    assert "TR-20" in answer.content.decode() or page not in HELD_TO


def asked(file: Path, times: dict[tuple[str, str], list[float]]) -> None:
    """Each page a few times of one book; the first of each is left out."""
    open_book(file)
    client = Client(SERVER_NAME="localhost")
    login = Person.objects.get(username="rene").login
    client.force_login(login, backend="lots.views.backend.PersonBackend")
    for page in PAGES:
        ask(client, page)
        each = [took_ms(lambda p=page: ask(client, p)) for _ in range(EACH)]
        times.setdefault((file.stem, page), []).extend(each)


def main() -> None:
    alone, beside = FOLDER / "alone.sqlite3", FOLDER / "beside.sqlite3"
    made(alone, beside=False)
    made(beside, beside=True)
    times: dict[tuple[str, str], list[float]] = {}
    with patch("lots.views.middleware.now_ms", lambda: moment(NOW)):
        for number in range(ROUNDS):
            for file in (alone, beside) if number % 2 else (beside, alone):
                asked(file, times)
    held_to = Verdicts()
    for page in PAGES:
        one, other = (statistics.median(times[name, page]) for name in ("alone", "beside"))
        print(f"{one:10.1f} ms     alone, {other:.1f} ms beside: {page}")
        if page in HELD_TO:
            held_to.hold(page, other / one, AT_MOST)
    held_to.leave()


if __name__ == "__main__":
    main()
