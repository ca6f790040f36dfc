"""Loads through their entries: each refusal under the name of what it is about."""

import pytest

from lots.entries.load import Portion, end_load, move_start, say_probe_left, start_load
from lots.entries.refusals import Changed, NotAllowed, Refused
from lots.models.book import BookLine
from lots.models.lot import Load, LoadEnd, Lot
from lots.queries.evidence import end_of, started_at
from tests.make import Book, moment, seen


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot("TR-1")


def refused(book: Book, place: str, at: str, *portions: Portion) -> dict[str, str]:
    lines = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        start_load(book.operator, book.place(place), portions, seen(at))
    assert BookLine.objects.count() == lines
    return refusal.value.fields


def test_each_lot_that_cannot_go_in_is_named_by_itself(book: Book, lot: Lot) -> None:
    other = book.open_lot("TR-2", kg=5)
    wrong = refused(
        book, "Cooler", "07:30", Portion(lot, "hold", 20_001), Portion(other, "hold", 0)
    )
    assert set(wrong) == {f"lot_{lot.pk}", f"lot_{other.pk}"}


def test_the_wrong_kind_of_place_is_refused(book: Book, lot: Lot) -> None:
    wrong = refused(book, "Freezer", "07:30", Portion(lot, "smoke", 1_000))
    assert "belongs in a smokehouse; Freezer is a freezer" in wrong["place"]


def test_a_step_that_the_plan_has_not_is_refused(book: Book, lot: Lot) -> None:
    assert "no step" in refused(book, "Cooler", "07:30", Portion(lot, "candy", 1_000))["lots"]


def test_lots_of_one_load_take_the_same_kind_of_step(book: Book, lot: Lot) -> None:
    other = book.open_lot("TR-2")
    wrong = refused(book, "Cooler", "07:30", Portion(lot, "hold", 1), Portion(other, "cool", 1))
    assert "the same kind of step" in wrong["lots"]


def test_a_smoker_holds_one_load_at_a_time_and_is_free_after_its_end(book: Book, lot: Lot) -> None:
    first = book.start("smoke", "Smokehouse 1", "07:30", lot, kg=10)
    portion = Portion(lot, "smoke", 1_000)
    assert "still holds" in refused(book, "Smokehouse 1", "07:40", portion)["place"]
    start_load(book.operator, book.place("Smokehouse 2"), [portion], seen("07:40"))
    book.end(first, "07:50")
    start_load(book.operator, book.place("Smokehouse 1"), [portion], seen("07:55"))


def test_two_pages_ending_the_same_load_end_it_once(book: Book, lot: Lot) -> None:
    load = book.start("hold", "Cooler", "07:30", lot)
    book.end(load, "08:00")
    with pytest.raises(Changed):
        end_load(book.operator, load, seen("08:01"))
    end_load(book.operator, load, seen("08:02"), correct_because="it was the other one")
    fresh = Load.objects.get(pk=load.pk)
    assert end_of(fresh).ended_at == moment("08:02")  # type: ignore[union-attr]
    assert LoadEnd.objects.filter(load=load).count() == 2


def test_the_same_end_sent_again_writes_nothing(book: Book, lot: Lot) -> None:
    load = book.start("hold", "Cooler", "07:30", lot)
    book.end(load, "08:00", client_key="k")
    lines = BookLine.objects.count()
    assert book.end(load, "08:00", client_key="k") == []
    assert BookLine.objects.count() == lines


def test_a_moved_start_stands_and_the_first_stays(book: Book, lot: Lot) -> None:
    load = book.start("hold", "Cooler", "07:30", lot)
    move_start(book.operator, load, seen("07:10", "07:40"), "carried in before")
    fresh = Load.objects.get(pk=load.pk)
    assert (started_at(fresh), fresh.started_at) == (moment("07:10"), moment("07:30"))


def test_a_probe_does_not_leave_in_the_future(book: Book, lot: Lot) -> None:
    load = book.start("smoke", "Smokehouse 1", "07:30", lot)
    with pytest.raises(Refused):
        say_probe_left(book.operator, load, "fish 1", seen("08:00", "07:50"), "slipped out")


def test_only_an_operator_moves_fish(book: Book, lot: Lot) -> None:
    load = book.start("hold", "Cooler", "07:30", lot)
    for person in (book.inspector, book.reviewer, book.coordinator):
        with pytest.raises(NotAllowed):
            start_load(person, book.place("Cooler"), [Portion(lot, "hold", 1)], seen("08:00"))
        with pytest.raises(NotAllowed):
            end_load(person, load, seen("08:00"))
        with pytest.raises(NotAllowed):
            move_start(person, load, seen("07:20", "08:00"), "x")
