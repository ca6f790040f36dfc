"""Many at once: the book stays one chain, nobody's entry is lost, and none is taken twice."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection

from lots.entries.load import Portion, start_load
from lots.entries.lot import NewLot, asked_at_receiving, open_lot
from lots.entries.note import write_note
from lots.entries.pins import MustWait, WrongPin, check_pin, set_pin
from lots.entries.reading import Look, enter_readings, observe
from lots.entries.readings import Figure
from lots.models.book import BookLine
from lots.models.lot import Load, Lot, Note
from lots.models.reading import Observation, Reading
from lots.models.scratch import PinTry
from lots.queries.book_check import book_faults
from lots.queries.judgements import judge_lot
from tests.make import Book, make_book, moment, plan_of, seen

THREADS, EACH = 8, 6


@pytest.fixture
def house(transactional_db: None) -> Book:
    return make_book()


def at_once(what: Callable[[int], object], threads: int = THREADS) -> list[object]:
    """What each thread's call came to, all begun together; an error is an answer too."""
    barrier = Barrier(threads, timeout=30)

    def one(number: int) -> object:
        try:
            barrier.wait()
            return what(number)
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(threads) as pool:
        return list(pool.map(one, range(threads)))


def check_chain(lines: int) -> None:
    """So many lines, each the next of the one before, and every row as it was written."""
    rows = list(BookLine.objects.order_by("number").values_list("number", "prev", "digest"))
    assert [number for number, _, _ in rows] == list(range(1, lines + 1))
    assert [prev for _, prev, _ in rows[1:]] == [digest for _, _, digest in rows[:-1]]
    assert list(book_faults()) == []


def append_notes(house: Book) -> None:
    def write(number: int) -> None:
        for turn in range(EACH):
            write_note(house.operator, None, None, f"{number}, {turn}", seen("10:00"))

    before = BookLine.objects.count()
    assert at_once(write) == [None] * THREADS
    assert Note.objects.count() == THREADS * EACH
    check_chain(before + THREADS * EACH)


def test_many_appending_at_once_never_fork_the_chain(house: Book) -> None:
    append_notes(house)


@pytest.fixture
def repeatable(house: Book) -> Iterator[Book]:
    """A role whose sessions would go on reading what they saw first, before they had the lock."""
    with connection.cursor() as cursor:
        cursor.execute(
            "ALTER ROLE CURRENT_USER SET default_transaction_isolation = 'repeatable read'"
        )
    connection.close()
    yield house
    with connection.cursor() as cursor:
        cursor.execute("ALTER ROLE CURRENT_USER RESET default_transaction_isolation")
    connection.close()


@pytest.mark.of_database("postgresql")
def test_the_chain_does_not_rest_on_how_the_role_was_set_up(repeatable: Book) -> None:
    append_notes(repeatable)


def test_many_readings_of_one_load_at_once_all_count(house: Book) -> None:
    lot = house.open_lot()
    load = house.start("smoke", "Smokehouse 1", "08:00", lot)

    def read(number: int) -> None:
        for turn in range(EACH):
            figures = [Figure(str(100 + number + turn), "F", f"fish {number}")]
            enter_readings(house.operator, load.place, load, figures, seen(f"09:{turn}{number}"))

    assert at_once(read) == [None] * THREADS
    assert Reading.objects.filter(load=load).count() == THREADS * EACH
    at = moment("10:30")
    so_far = [(one.limit.id, one.judgement) for one in judge_lot(lot, at)]
    anew = [(one.limit.id, one.judgement) for one in judge_lot(lot, at, anew=True)]
    assert so_far == anew
    assert list(book_faults()) == []


def keyed(house: Book) -> dict[str, Callable[[], object]]:
    """Entries that a tablet may send twice, each to be answered alike however often it comes."""
    lot = house.open_lot()
    load = house.start("hold", "Cooler", "08:00", lot)
    other = house.open_lot("TR-2")
    asked = asked_at_receiving(plan_of(house.version))
    new = NewLot(
        "TR-3", house.version, "TRR", "farmed", "Invented Springs Farm", "", 20_000,
        house.place("Dock"), [Figure("36", "F", "fish 1")], dict.fromkeys(asked, True),
    )  # fmt: skip
    portions, looks = [Portion(other, "hold", 20_000)], [Look("ice", True)]
    when = seen("09:00")
    return {
        "note": lambda: write_note(house.operator, None, lot, "once", when, "k-note").pk,
        "reading": lambda: enter_readings(
            house.operator, load.place, load, [Figure("36", "F", "a")], when, client_key="k-read"
        ).readings[0].pk,
        "look": lambda: len(observe(house.operator, load, looks, when, "k-look")) * 0,
        "start": lambda: start_load(
            house.operator, house.place("Brine room"), portions, when, client_key="k-start"
        ).pk,
        "lot": lambda: open_lot(house.operator, new, seen("09:00"), "k-lot").pk,
    }  # fmt: skip


@pytest.mark.parametrize("kind", ["note", "reading", "look", "start", "lot"])
def test_an_entry_sent_many_times_at_once_is_taken_once_and_answered_alike(
    kind: str, house: Book
) -> None:
    entry = keyed(house)[kind]
    before = BookLine.objects.count()
    answers = at_once(lambda _: entry())
    assert answers == [answers[0]] * THREADS
    assert not isinstance(answers[0], Exception)
    assert BookLine.objects.exclude(client_key=None).count() == 1
    assert BookLine.objects.count() == before + 1
    made = {
        "note": Note.objects.count(),
        "look": Observation.objects.filter(what="ice").count(),
        "lot": Lot.objects.filter(code="TR-3").count(),
        "start": Load.objects.filter(place=house.place("Brine room")).count(),
        "reading": Reading.objects.filter(probe="a").count(),
    }
    assert made == dict.fromkeys(made, 0) | {kind: 1}


def test_wrong_pins_typed_at_once_are_all_counted(house: Book) -> None:
    set_pin(house.operator, "4071", moment("10:00"))

    def wrong(_: int) -> None:
        check_pin(house.operator, "4072", "192.0.2.7", moment("10:01"))

    answers = at_once(wrong, 3)
    assert {type(one) for one in answers} <= {WrongPin, MustWait}
    assert PinTry.objects.get().failures == 3
