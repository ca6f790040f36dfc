"""The whole lot on one page, and the list of lots."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lots.entries.lot import split_lot
from lots.models.lot import Lot
from tests.entries.roads import brined, finished, smoking
from tests.make import Book, moment
from tests.views.pages import as_person

Clock = Callable[[str], int]


def page(browser: Client, code: str = "TR-1") -> str:
    answer = browser.get(reverse("lot_show", args=[code]))
    assert answer.status_code == 200
    return answer.content.decode()


def test_a_lot_shows_its_steps_readings_limits_and_chart(
    book: Book, olga: Client, clock: Clock
) -> None:
    lot = book.open_lot()
    brined(book, lot)
    smoking(book, lot)
    clock("12:50")
    text = page(olga)
    for words in (
        "Rainbow trout, in process", "Brine tank 1", "Smokehouse 1", "Running now", "within limits",
        'class="chart-wide"', 'class="chart-narrow"', "Invented Springs Farm, their lot ISF-118",
        "Keep frozen. Thaw under refrigeration",
    ):  # fmt: skip
        assert words in text, words


def test_steps_not_needed_are_named_in_one_line(book: Book, olga: Client, clock: Clock) -> None:
    clock("07:30")
    book.open_lot()
    text = page(olga)
    assert "where it happens: Frozen storage of raw fish, Thaw, Gut and trim" in text
    assert "<h3>Thaw</h3>" not in text
    assert "<h3>Brine</h3>" in text
    assert "To come" in text


def test_a_deviation_stands_on_the_page_with_the_moment_it_broke(
    book: Book, olga: Client, clock: Clock
) -> None:
    book.start("hold", "Cooler", "07:30", book.open_lot())
    book.at_place("Cooler", "07:40 37.0, 08:00 41.2")
    clock("08:10")
    text = page(olga)
    assert "deviation open" in text
    assert "Nothing is decided yet" in text
    assert "Broke <time>4 Mar 2026 08:00 −05:00</time>" in text
    assert 'class="breach"' in text


def test_where_fish_came_from_and_went_is_linked_both_ways(
    book: Book, olga: Client, clock: Clock
) -> None:
    lot = book.open_lot()
    split_lot(book.operator, lot, "TR-1b", 5_000, "two brines", moment("07:20"))
    clock("07:30")
    assert reverse("lot_show", args=["TR-1b"]) in page(olga)
    assert reverse("lot_show", args=["TR-1"]) in page(olga, "TR-1b")
    assert "5 kg went into other lots" in page(olga)


def test_what_bars_the_release_is_named(book: Book, olga: Client, clock: Clock) -> None:
    finished(book)
    clock("20:15")
    text = page(olga)
    assert "finished, not released" in text
    assert "Its records are not reviewed" in text
    assert reverse("lot_release", args=["TR-1"]) not in text
    assert reverse("lot_release", args=["TR-1"]) in page(as_person(book.reviewer))


def test_the_inspector_reads_and_is_offered_nothing_to_write(book: Book, clock: Clock) -> None:
    book.open_lot()
    clock("07:30")
    text = page(as_person(book.inspector))
    for name in ("lot_split", "lot_destroy", "lot_void", "lot_finish", "lot_laboratory"):
        assert reverse(name, args=["TR-1"]) not in text


@pytest.mark.parametrize("code", ["ЛОТ-1", "ΠΑΡΤΙΔΑ-1", "🐟-1", "a'b\"c", "<b>x", "x&y=1"])
def test_any_code_has_its_page(book: Book, olga: Client, clock: Clock, code: str) -> None:
    clock("07:30")
    book.open_lot(code)
    text = page(olga, code)
    assert "<b>x" not in text
    assert olga.get(reverse("lots")).status_code == 200


def test_a_longer_history_costs_no_more_queries_a_step(
    book: Book, olga: Client, clock: Clock
) -> None:
    lot = book.open_lot()
    clock("21:00")
    book.end(book.start("hold", "Cooler", "07:10", lot), "07:15")
    with CaptureQueriesContext(connection) as one:
        page(olga)
    for minute in range(20, 50, 5):
        book.end(book.start("hold", "Cooler", f"07:{minute}", lot), f"07:{minute + 3}")
    with CaptureQueriesContext(connection) as seven:
        page(olga)
    assert len(seven) - len(one) <= 6 * 5  # the readings of each load for the chart; no judging


def test_the_list_finds_by_code_supplier_and_species(
    book: Book, olga: Client, clock: Clock
) -> None:
    clock("07:30")
    book.open_lot("TR-1")
    book.open_lot("WF-2", species="WHL", origin="wild", supplier="Nowhere Bay Boats")

    def found(words: str) -> set[str]:
        return {lot.code for lot in olga.get(reverse("lots"), {"q": words}).context["page"]}

    assert found("tr-") == {"TR-1"}
    assert found("nowhere bay") == {"WF-2"}
    assert found("whitefish") == {"WF-2"}
    assert found("ISF-118") == {"TR-1", "WF-2"}
    assert found("none such") == set()
    for words in ("a\0b", "%", "x" * 5_000, "🐟", "'; DROP TABLE lots_lot;--"):
        assert olga.get(reverse("lots"), {"q": words}).status_code == 200
    for number in ("0", "-1", "abc", "9" * 30):
        assert olga.get(reverse("lots"), {"page": number}).status_code == 200


def test_a_voided_lot_is_listed_only_among_all(book: Book, olga: Client, clock: Clock) -> None:
    from lots.entries.lot import void_lot

    clock("07:30")
    void_lot(book.operator, book.open_lot(), "typed twice", moment("07:20"))
    assert list(olga.get(reverse("lots")).context["page"]) == []
    listed = olga.get(reverse("lots"), {"which": "all"})
    assert list(listed.context["page"]) == list(Lot.objects.all())
    assert "voided" in listed.content.decode()
