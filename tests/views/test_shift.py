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
    text = page(olga)
    assert "Read by" in text
    assert '<span class="far">10:10</span>' in text
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


def test_the_list_of_lots_says_that_a_deviation_is_open(
    book: Book, olga: Client, clock: Clock
) -> None:
    book.start("hold", "Cooler", "07:30", book.open_lot("TR-1"))
    book.at_place("Cooler", "07:40 36.0")
    clock("08:10")
    assert "deviation open" not in olga.get(reverse("lots")).content.decode()
    book.at_place("Cooler", "08:00 41.2")
    assert "deviation open" in olga.get(reverse("lots")).content.decode()


def test_a_load_leads_to_what_its_limits_look_at(book: Book, olga: Client, clock: Clock) -> None:
    cool = book.start("hold", "Cooler", "07:30", book.open_lot("TR-1"))
    smoke = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-2"))
    clock("08:10")
    for load, first, where in (
        (cool, reverse("reading_place", args=[cool.place_id]), f"where=place-{cool.place_id}"),
        (smoke, reverse("reading_load", args=[smoke.pk]), f"where=load-{smoke.pk}"),
    ):
        text = olga.get(reverse("load_show", args=[load.pk])).content.decode()
        assert f'class="button button-go" href="{first}"' in text
        assert where in text


def test_the_boxes_stand_beside_their_limit_and_the_last_reading_and_the_first_is_ready(
    book: Book, olga: Client, clock: Clock
) -> None:
    smoke = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-2"))
    book.fish(smoke, "08:05 61.3")
    clock("08:10")
    answer = olga.get(reverse("reading_load", args=[smoke.pk]))
    text = answer.content.decode()
    assert "61.3" in text
    assert any("145 °F" in one for one in answer.context["demands"])
    assert text.count(" autofocus") == 1


def test_the_lot_one_comes_from_is_filled_in(book: Book, olga: Client, clock: Clock) -> None:
    book.open_lot("TR-1", kg=20)
    book.open_lot("TR-2", at="07:05")
    clock("07:30")
    lot = book.lots["TR-1"]
    steps = olga.get(reverse("load_start"), {"lot": "TR-1"}).context["steps"]
    assert [one.next_for for one in steps if one.next_for] == [["TR-1"]]
    chosen = olga.get(reverse("load_start"), {"lot": "TR-1", "step": steps[0].key})
    assert chosen.context["form"][f"lot_{lot.pk}"].value() == "20 kg"


def test_the_box_that_confirms_a_figure_stands_under_it_and_the_refusal_is_in_focus(
    book: Book, olga: Client, clock: Clock
) -> None:
    smoke = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-2"))
    clock("08:10")
    typed = {"read_fish 1": "60", "read_fish 2": "390", "read_fish 3": "61", "unit": "F"}
    answer = olga.post(reverse("reading_load", args=[smoke.pk]), typed)
    names = [field.name for field in answer.context["form"]]
    assert names.index("confirmed") == names.index("read_fish 2") + 1
    text = answer.content.decode()
    assert text.index('id="refused" tabindex="-1" autofocus') < text.index('name="read_fish 1"')


def test_a_place_that_holds_a_load_says_so_before_it_is_chosen(
    book: Book, olga: Client, clock: Clock
) -> None:
    smoke = book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-1"))
    book.open_lot("TR-2", at="07:05")
    clock("08:10")
    text = olga.get(reverse("load_start"), {"step": "smoke|smoke"}).content.decode()
    assert f"{smoke.place.name} (holds a load now)" in text
    assert "Smokehouse 2 (holds" not in text
