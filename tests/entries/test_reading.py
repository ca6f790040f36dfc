"""Readings through their entry: what is refused, asked about, kept; and whom one reading speaks for."""

import pytest
from django.db import IntegrityError

from lots.entries import reading
from lots.entries.moments import Moments
from lots.entries.readings import Figure, check_figures
from lots.entries.refusals import Changed, NotAllowed, Refused, Unlikely
from lots.models.book import BookLine
from lots.models.lot import Load
from lots.models.reading import Reading
from lots.queries.judgements import judge_lot
from tests.entries.roads import finished
from tests.make import Book, moment, seen


@pytest.fixture
def smoke(book: Book) -> Load:
    return book.start("smoke", "Smokehouse 1", "11:30", book.open_lot())


def fish(*figures: str, **changes: object) -> list[Figure]:
    return [
        Figure(figure, "F", f"fish {n}", **changes)  # type: ignore[arg-type]
        for n, figure in enumerate(figures, 1)
    ]


def enter(
    book: Book, load: Load, figures: list[Figure], at: str, **more: object
) -> reading.Entered:
    return reading.enter_readings(
        book.operator,
        load.place,
        load,
        figures,
        seen(at),
        **more,  # type: ignore[arg-type]
    )


def test_what_is_impossible_is_refused_before_what_is_unlikely_is_asked(book: Book) -> None:
    place = book.place("Smokehouse 1")
    with pytest.raises(Refused) as refusal:
        check_figures(fish("188", "900", "150"), place, "fish")
    assert not isinstance(refusal.value, Unlikely)
    assert list(refusal.value.fields) == ["read_fish 2"]
    with pytest.raises(Unlikely) as asked:
        check_figures(fish("188", "150", "190"), place, "fish")
    assert list(asked.value.fields) == ["read_fish 1", "read_fish 3"]


def test_a_yes_is_kept_only_on_the_figure_that_needed_it(book: Book, smoke: Load) -> None:
    enter(book, smoke, fish("150", "188", confirmed=True), "12:00")
    said = dict(Reading.objects.values_list("probe", "unlikely_confirmed"))
    assert said == {"fish 1": False, "fish 2": True}


def test_a_refused_round_writes_nothing_of_it(book: Book, smoke: Load) -> None:
    before = BookLine.objects.count(), Reading.objects.count()
    with pytest.raises(Refused):
        enter(book, smoke, fish("150", "x"), "12:00")
    assert (BookLine.objects.count(), Reading.objects.count()) == before


def test_only_an_operator_enters_readings(book: Book, smoke: Load) -> None:
    for person in (book.inspector, book.reviewer, book.coordinator):
        with pytest.raises(NotAllowed):
            reading.enter_readings(person, smoke.place, smoke, fish("150"), seen("12:00"))


def test_the_same_key_gets_the_first_answer(book: Book, smoke: Load) -> None:
    first = enter(book, smoke, fish("150"), "12:00", client_key="k")
    lines = BookLine.objects.count()
    again = enter(book, smoke, fish("150"), "12:05", client_key="k")
    assert again.repeated
    assert [row.pk for row in again.readings] == [row.pk for row in first.readings]
    assert BookLine.objects.count() == lines


def test_another_figure_under_a_used_key_is_refused_and_not_lost(book: Book, smoke: Load) -> None:
    enter(book, smoke, fish("150"), "12:00", client_key="k")
    lines = BookLine.objects.count()
    with pytest.raises(Refused, match="already stored 150 F"):
        enter(book, smoke, fish("160"), "12:05", client_key="k")
    assert BookLine.objects.count() == lines


def test_another_fault_of_the_database_is_not_taken_for_a_repeat(
    book: Book, smoke: Load, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise IntegrityError("something else")

    monkeypatch.setattr(reading, "_judge", broken)
    with pytest.raises(IntegrityError, match="something else"):
        enter(book, smoke, fish("150"), "12:00", client_key="k")
    assert not Reading.objects.filter(load=smoke).exists()


def test_a_device_whose_clock_runs_ahead_is_refused(book: Book, smoke: Load) -> None:
    at = moment("12:00")
    for observed, entered in ((at + 121_000, at + 121_000), (at, at + 121_000)):
        with pytest.raises(Refused):
            reading.enter_readings(
                book.operator, smoke.place, smoke, fish("150"), Moments(observed, entered, at)
            )
    when = Moments(at + 120_000, at + 120_000, at)
    assert reading.enter_readings(book.operator, smoke.place, smoke, fish("150"), when).readings


def test_waiting_in_a_queue_is_not_lateness(book: Book, smoke: Load) -> None:
    at = moment("12:00")
    when = Moments(at, at, at + 5 * 60 * 60 * 1000)
    assert reading.enter_readings(book.operator, smoke.place, smoke, fish("150"), when).readings


def test_a_reading_of_a_room_speaks_for_every_load_in_its_places(book: Book) -> None:
    one, two = book.open_lot("TR-1"), book.open_lot("TR-2")
    book.start("brine", "Brine tank 1", "07:30", one)
    book.start("hold", "Brine room", "07:30", two)
    judged = book.at_place("Brine room", "07:40 37.0")
    assert {judged.part.lot.code for judged in judged} == {"TR-1", "TR-2"}


def test_a_correction_of_a_correction_is_of_the_newer_row(book: Book, smoke: Load) -> None:
    (row,) = enter(book, smoke, fish("141"), "12:00").readings
    when = seen("12:10")
    (newer,) = reading.correct_reading(book.operator, row, Figure("146", "F"), "x", when).readings
    with pytest.raises(Changed):
        reading.correct_reading(book.operator, row, Figure("147", "F"), "y", when)
    (newest,) = reading.correct_reading(
        book.operator, newer, Figure("147", "F"), "y", when
    ).readings
    assert (newest.corrects_id, newer.corrects_id) == (newer.pk, row.pk)


def test_running_states_say_the_same_as_folding_anew(book: Book) -> None:
    lot = finished(book)
    at = moment("21:00")

    def said(anew: bool) -> list[tuple[int, str, object]]:
        return [(one.part.pk, one.limit.id, one.judgement) for one in judge_lot(lot, at, anew)]

    assert said(anew=False) == said(anew=True)
    assert len(said(anew=True)) > 10
