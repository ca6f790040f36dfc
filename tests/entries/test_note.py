"""Notes: kept once, about a load, a lot or the house; each refusal writes nothing."""

import json

import pytest

from lots.entries.moments import Moments
from lots.entries.note import write_note
from lots.entries.refusals import NotAllowed, Refused
from lots.models.book import BookLine, LineLot
from lots.models.lot import Load, Lot
from tests.make import Book, moment, seen

KEY = "a" * 32


@pytest.fixture
def load(book: Book) -> Load:
    lots = [book.open_lot("TR-1"), book.open_lot("TR-2", at="07:05")]
    return book.start("hold", "Cooler", "07:30", *lots)


def concerned(line: BookLine) -> set[int]:
    return set(LineLot.objects.filter(line=line).values_list("lot_id", flat=True))


def refused(book: Book, text: str, when: Moments) -> dict[str, str]:
    lines = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        write_note(book.operator, None, None, text, when)
    assert BookLine.objects.count() == lines
    return refusal.value.fields


def test_a_note_about_a_load_concerns_every_lot_in_it(book: Book, load: Load) -> None:
    note = write_note(book.operator, load, None, "  door left open  ", seen("08:00"))
    assert (note.text, note.load, note.lot) == ("door left open", load, None)
    assert note.line.kind == "note written"
    assert concerned(note.line) == {lot.pk for lot in Lot.objects.all()}


def test_a_note_about_a_lot_concerns_that_lot_alone(book: Book, load: Load) -> None:
    note = write_note(book.operator, None, book.lots["TR-2"], "two soft fish", seen("08:00"))
    assert concerned(note.line) == {book.lots["TR-2"].pk}


def test_a_note_about_the_house_concerns_no_lot(book: Book, load: Load) -> None:
    note = write_note(book.operator, None, None, "power was out", seen("08:00"))
    assert concerned(note.line) == set()


def test_a_note_sent_again_is_kept_once(book: Book, load: Load) -> None:
    first = write_note(book.operator, load, None, "door left open", seen("08:00"), KEY)
    lines = BookLine.objects.count()
    again = write_note(book.operator, load, None, "door left open", seen("08:00"), KEY)
    assert (again.pk, BookLine.objects.count()) == (first.pk, lines)


def test_a_key_of_somebody_elses_entry_is_refused(book: Book, load: Load) -> None:
    write_note(book.operator, load, None, "door left open", seen("08:00"), KEY)
    lines = BookLine.objects.count()
    with pytest.raises((Refused, NotAllowed)):
        write_note(book.reviewer, load, None, "door left open", seen("08:00"), KEY)
    assert BookLine.objects.count() == lines


def test_an_empty_note_is_refused(book: Book) -> None:
    assert refused(book, " \n ", seen("08:00")) == {"text": "Write the note."}


def test_a_note_of_2000_letters_goes_in_and_one_more_does_not(book: Book) -> None:
    assert "has 2001" in refused(book, "x" * 2001, seen("08:00"))["text"]
    assert len(write_note(book.operator, None, None, "x" * 2000, seen("08:00")).text) == 2000


def test_a_note_about_what_is_still_to_come_is_refused(book: Book) -> None:
    at = moment("08:00")
    assert "still to come" in refused(book, "x", Moments(at + 3_600_000, at, at))["observed_at"]


def test_a_note_is_never_late(book: Book) -> None:
    assert write_note(book.operator, None, None, "seen at dawn", seen("05:00", "11:00")).pk


def test_who_may_not_log_writes_no_note(book: Book) -> None:
    lines = BookLine.objects.count()
    with pytest.raises(NotAllowed):
        write_note(book.inspector, None, None, "x", seen("08:00"))
    assert BookLine.objects.count() == lines


def test_a_note_initialled_by_pin_says_so_in_its_line(book: Book) -> None:
    at = moment("08:00")
    note = write_note(book.operator, None, None, "x", Moments(at, at, at, -5, by="PIN"))
    content = json.loads(BookLine.objects.get(pk=note.line_id).content)
    assert (content["by"], content["offset_ms"]) == ("PIN", -5)
