"""A step kept by a logger: what hand readings do not show waits for the file, until the plan's time."""

from lots.core.limits import Verdict
from lots.entries.lapses import notice_lapses
from lots.models.deviation import Deviation
from lots.models.lot import Load
from tests.entries.roads import csv, imported
from tests.make import Book, moment


def long_brine(book: Book) -> Load:
    """Seven hours in brine, the tank read by hand, the room by its logger alone."""
    lot = book.open_lot()
    load = book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:31 44.2, 09:15 43.0, 11:00 42.1, 12:45 41.8, 14:25 41.0")
    book.end(load, "14:30")
    return load


def test_no_reading_at_the_end_waits_for_the_file(book: Book) -> None:
    long_brine(book)
    room = book.judged(book.lots["TR-1"], "brine", "15:00")["brine-room"]
    assert (room.verdict, room.finding.why) == (Verdict.PENDING, "waits for the logger's file")
    assert room.finding.next_at == moment("2026-03-05 02:30")
    assert not Deviation.objects.exists()


def test_a_file_that_never_comes_is_a_deviation_dated_to_the_steps_end(book: Book) -> None:
    long_brine(book)
    assert notice_lapses([book.lots["TR-1"]], moment("2026-03-05 02:30")) == 0
    assert notice_lapses([book.lots["TR-1"]], moment("2026-03-05 02:31")) == 1
    deviation = Deviation.objects.get()
    assert deviation.limit_id == "brine-room"
    assert notice_lapses([book.lots["TR-1"]], moment("2026-03-05 04:00")) == 0


def test_a_file_that_shows_it_meets_the_limit(book: Book) -> None:
    long_brine(book)
    imported(book, csv("2026-03-04 07:20", 60, [36.1] * 450), "15:00", book.place("Brine room"))
    room = book.judged(book.lots["TR-1"], "brine", "15:00")["brine-room"]
    assert room.verdict is Verdict.MET
    assert not Deviation.objects.exists()


def test_a_file_that_has_come_and_shows_too_little_waits_no_longer(book: Book) -> None:
    long_brine(book)
    imported(book, csv("2026-03-04 12:00", 60, [36.1] * 160), "15:00", book.place("Brine room"))
    room = book.judged(book.lots["TR-1"], "brine", "15:00")["brine-room"]
    assert room.verdict is Verdict.DEVIATION
    assert Deviation.objects.get().limit_id == "brine-room"


def test_a_reading_outside_its_bounds_waits_for_nothing(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:31 44.2, 09:15 43.0, 11:00 42.1, 12:45 41.8, 14:25 41.0")
    book.at_place("Brine room", "12:00 43.5")
    assert Deviation.objects.get().limit_id == "brine-room"
    book.end(load, "14:30")
    assert book.judged(lot, "brine", "15:00")["brine-room"].verdict is Verdict.DEVIATION
