"""The opening page of a shift: what stands where, what it shows, what is due, what has lapsed."""

from collections.abc import Callable

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lots.entries.lapses import notice_lapses
from tests.make import Book
from tests.views.pages import as_person, lines

Clock = Callable[[str], int]


def page(browser: Client) -> str:
    answer = browser.get(reverse("shift"))
    assert answer.status_code == 200
    return answer.content.decode()


def test_an_empty_house_says_what_to_do(olga: Client) -> None:
    text = page(olga)
    assert "No load stands anywhere" in text
    assert reverse("lot_open") in text


def test_a_load_stands_there_with_its_lots_its_last_reading_and_its_verdict(
    book: Book, olga: Client, clock: Clock
) -> None:
    one, two = book.open_lot("TR-1"), book.open_lot("TR-2", at="07:05")
    book.start("hold", "Cooler", "07:30", one, two)
    book.at_place("Cooler", "07:40 36.4")
    clock("07:45")
    text = page(olga)
    for words in (
        "Cooler",
        "TR-1",
        "TR-2",
        "36.4",
        "within limits",
        "read <time>07:40</time> by OO",
    ):
        assert words in text


def test_the_worst_verdict_stands_on_the_load(book: Book, olga: Client, clock: Clock) -> None:
    book.start("hold", "Cooler", "07:30", book.open_lot("TR-1"))
    book.at_place("Cooler", "07:40 41.0, 07:50 36.0")
    clock("07:55")
    text = page(olga)
    assert "load-deviation" in text
    assert "1 open deviation" in text


def test_what_is_due_is_named_and_overdue_once_it_has_passed(
    book: Book, olga: Client, clock: Clock
) -> None:
    smoke = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-1"))
    book.fish(smoke, "08:10 60.0")
    clock("09:00")
    assert "Due by 10:10" in page(olga)
    clock("10:11")
    text = page(olga)
    assert "Overdue" in text
    assert "button-go" in text


def test_a_lapse_not_yet_written_is_shown_as_broken_since_and_the_page_writes_nothing(
    book: Book, olga: Client, clock: Clock
) -> None:
    lot = book.open_lot("TR-1")
    smoke = book.start("smoke", "Smokehouse 1", "08:00", lot)
    book.fish(smoke, "08:10 60.0")
    at = clock("12:00")
    before = lines()
    text = page(olga)
    assert "broken since" in text
    assert "4 Mar 2026 10:10 −05:00" in text
    assert lines() == before
    notice_lapses([lot], at)
    assert "broken since" not in page(olga)
    assert "1 open deviation" in page(olga)


def test_lots_between_steps_wait_in_sight(book: Book, olga: Client, clock: Clock) -> None:
    lot = book.open_lot("TR-1")
    clock("07:30")
    assert "Waiting for their next step" in page(olga)
    book.start("hold", "Cooler", "07:20", lot)
    assert "Waiting for their next step" not in page(olga)


def test_a_load_of_many_lots_names_the_first_and_counts_the_rest(
    book: Book, olga: Client, clock: Clock
) -> None:
    many = [book.open_lot(f"TR-{n}") for n in range(7)]
    book.start("hold", "Cooler", "07:30", *many)
    clock("07:40")
    text = page(olga)
    assert "TR-3" in text
    assert "and 3 more" in text


def test_the_inspector_sees_the_board_without_its_buttons(book: Book, clock: Clock) -> None:
    load = book.start("hold", "Cooler", "07:30", book.open_lot("TR-1"))
    clock("07:40")
    text = page(as_person(book.inspector))
    assert "Cooler" in text
    assert reverse("reading_load", args=[load.pk]) not in text
    assert reverse("lot_open") not in text


def test_more_lots_in_a_load_cost_no_more_queries(book: Book, olga: Client, clock: Clock) -> None:
    clock("07:50")
    book.start("hold", "Cooler", "07:30", book.open_lot("TR-1"))
    with CaptureQueriesContext(connection) as few:
        page(olga)
    book.start("dry", "Dry room", "07:31", *[book.open_lot(f"WF-{n}") for n in range(9)])
    with CaptureQueriesContext(connection) as many:
        page(olga)
    assert len(many) - len(few) <= 4  # a load's last readings; nothing for each lot
