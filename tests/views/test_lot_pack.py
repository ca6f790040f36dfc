"""The page of what must stand on a lot's packs, packs thawed, and lots past their use-by date."""

import html
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from lots.entries.pack import thaw_packs
from lots.models.lot import Lot
from lots.models.salt import Thawed
from tests.entries.roads import finished
from tests.make import Book, moment, seen
from tests.packs import BRINE, CHILLED, CURE, batch, brined, under
from tests.views.pages import as_person, refused, taken

Clock = Callable[[str], int]
TYPED = {"grams": "2.5 kg", "thawed_at": "", "reason": "for the counter", "late_reason": ""}


@pytest.fixture
def lot(book: Book, clock: Clock) -> Lot:
    """18 kg of trout in the freezer; it is the next morning."""
    done = finished(book)
    clock("2026-03-05 09:00")
    return done


def page(client: Client, name: str, *args: str, **query: str) -> str:
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return " ".join(html.unescape(answer.content.decode()).split())


def test_the_sheet_says_storage_statement_date_and_species(lot: Lot, olga: Client) -> None:
    shown = page(olga, "lot_pack", "TR-1")
    for words in (
        "Keep frozen. Thaw under refrigeration immediately before use.",
        "Use by <b>4 Sep 2026</b>",
        "6 months from the first packing, 4 Mar 2026",
        "<b>Fish: Rainbow trout</b>",
        "Rainbow trout, salt, brown sugar, natural wood smoke",
        "Of 1 salting the book knows no batch",
        "1 h after it",
        "Invented Creek Smokehouse, 1 Nowhere Lane",
    ):
        assert words in shown, words


def test_what_only_a_batch_held_is_told_apart(book: Book, clock: Clock, olga: Client) -> None:
    one = book.open_lot("TR-2")
    brined(book, one, batch(book, "B-7", *BRINE, CURE), "08:00", "12:00")
    shown = page(olga, "lot_pack", "TR-2")
    assert "<b>sodium nitrite</b> (batch B-7)" in shown
    assert "not yet packed" in shown


def test_a_chilled_vacuum_pack_is_told_to_be_frozen(book: Book, clock: Clock, olga: Client) -> None:
    under(book, CHILLED, process_study="Invented study 7")
    book.open_lot("SA-1", species="SAL")
    shown = page(olga, "lot_pack", "SA-1")
    assert "They may not go out chilled: water-phase salt is not yet shown" in shown
    assert "Keep frozen. Thaw under refrigeration" in shown
    assert "Packs thawed" not in shown


def test_the_sheet_is_linked_from_the_lot_with_its_date(lot: Lot, olga: Client) -> None:
    shown = page(olga, "lot_show", "TR-1")
    assert reverse("lot_pack", args=["TR-1"]) in shown
    assert "Use by <b>4 Sep 2026</b>" in shown


def test_packs_thawed_go_into_the_book_and_get_a_date_of_their_own(lot: Lot, olga: Client) -> None:
    answer = taken(olga, reverse("lot_thaw", args=["TR-1"]), TYPED)
    row = Thawed.objects.get()
    assert (row.grams, row.at) == (2_500, moment("2026-03-05 09:00"))
    shown = " ".join(answer.content.decode().split())
    assert "Use by, of the 2.5 kg thawed <b>10 Mar 2026</b>" in shown
    assert "for the counter (Olga Operator)" in shown
    assert "2.5 kg was thawed and has a date of its own" in page(olga, "lot_show", "TR-1")


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"grams": "18.001"}, "grams", "Only 18 kg"),
        ({"grams": "0"}, "grams", "more than nothing"),
        ({"grams": "some"}, "grams", "is not a weight"),
        ({"reason": ""}, "reason", "Fill this in"),
        (
            {"thawed_at": "4 Mar 2026 20:00", "late_reason": "forgot"},
            "thawed_at",
            "before the lot was",
        ),
        ({"thawed_at": "5 Mar 2026 07:00"}, "late_reason", "comes late"),
    ],
)
def test_a_thawing_that_cannot_be_is_refused_and_nothing_typed_is_lost(
    lot: Lot, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, reverse("lot_thaw", args=["TR-1"]), TYPED | changed, field, words)
    assert not Thawed.objects.exists()


def test_a_lot_not_packed_has_nothing_to_thaw(book: Book, clock: Clock, olga: Client) -> None:
    book.open_lot("TR-2")
    refused(olga, reverse("lot_thaw", args=["TR-2"]), TYPED, None, "not packed yet")


def test_who_is_no_operator_sees_the_sheet_and_no_button(book: Book, lot: Lot) -> None:
    shown = page(as_person(book.inspector), "lot_pack", "TR-1")
    assert "Use by" in shown
    assert reverse("lot_thaw", args=["TR-1"]) not in shown


def test_lots_past_their_date_are_listed_and_say_so(
    book: Book, lot: Lot, olga: Client, clock: Clock
) -> None:
    book.open_lot("TR-9", at="2026-03-05 08:00")
    thaw_packs(book.operator, lot, 2_500, "for the counter", seen("2026-03-05 09:00"))
    assert "Nothing in the house is past" in page(olga, "lots", which="past")
    clock("2026-03-11 09:00")
    shown = page(olga, "lots", which="past")
    assert "2.5 kg thawed, past its use-by date, 10 Mar 2026" in shown
    assert "TR-9" not in shown
    clock("2026-09-05 09:00")
    assert "past its use-by date, 4 Sep 2026" in page(olga, "lots", which="past")
    assert "Past its use-by date, 4 Sep 2026" in page(olga, "lot_show", "TR-1")
    assert "It cannot be released" in page(olga, "lot_pack", "TR-1")
