"""The page of a lot's weights: yields, the mass balance, weights entered and put right."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from lots.entries.lot import split_lot
from lots.entries.weights import weigh_stage
from lots.models.lot import Lot, LotFinish
from lots.models.salt import StepWeight
from tests.entries.roads import brined, cooled, freezing, packed, smoking
from tests.make import Book, moment, seen
from tests.views.pages import as_person, beside, refused, taken

Clock = Callable[[str], int]


@pytest.fixture
def lot(book: Book, clock: Clock) -> Lot:
    """20 kg of trout, received at 07:00; it is half past seven."""
    clock("07:30")
    return book.open_lot("TR-1")


def url(lot: Lot) -> str:
    return reverse("lot_weights", args=[lot.code])


def weigh(book: Book, lot: Lot, stage: str, text: str, at: str) -> StepWeight:
    return weigh_stage(book.operator, lot, stage, text, "kg", seen(at))


WEIGHT = {"stage": "trimmed", "weight": "15"}


def test_a_weight_is_shown_with_its_yield_and_the_balance(lot: Lot, olga: Client) -> None:
    page = taken(olga, url(lot), WEIGHT).content.decode()
    assert "trimmed" in page
    assert "75 %" in page
    assert "There, as last weighed (trimmed)" in page
    assert "<svg" in page
    shown = olga.get(reverse("lot_show", args=[lot.code])).content.decode()
    assert "trimmed 15 kg (75 %)" in shown
    assert "75 % of what came in" in shown


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"weight": "much"}, "weight", "is not a weight"),
        ({"weight": "0"}, "weight", "more than nothing"),
        ({"weight": "20.001"}, "reason", "More comes out than went in"),
        ({"stage": "brined", "weight": "20.001"}, "reason", "Fish may take up brine"),
        ({"observed_at": "06:30", "late_reason": "x"}, "observed_at", "received later"),
        ({"observed_at": "07:05"}, "late_reason", "Say why it comes late"),
    ],
)
def test_what_cannot_be_is_refused_and_what_is_odd_asked_about(
    lot: Lot, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, url(lot), WEIGHT | changed, field, words)
    assert not StepWeight.objects.exists()


def test_more_out_than_in_is_taken_with_its_reason_and_said(lot: Lot, olga: Client) -> None:
    typed = {"stage": "brined", "weight": "20.5", "reason": "it took up brine"}
    page = taken(olga, url(lot), typed).content.decode()
    assert "more by 0.5 kg" in page
    assert "more came out than went in, by 0.5 kg" in page
    assert "it took up brine" in page


def test_a_weight_is_put_right_and_the_old_one_stays_in_sight(
    book: Book, lot: Lot, olga: Client
) -> None:
    row = weigh(book, lot, "trimmed", "15", "07:25")
    correct = reverse("weight_correct", args=[row.pk])
    refused(olga, correct, {"weight": "14", "reason": ""}, "reason", "Fill this in")
    refused(olga, correct, {"weight": "", "reason": "x"}, "weight", "or take it back")
    refused(olga, correct, {"weight": "15", "reason": "x"}, "weight", "already stands")
    more = {"weight": "21", "reason": "with the tub"}
    asked = refused(olga, correct, more, "weight", "More comes out than went in")
    mark = asked.context["form"].fields["seen"].widget.attrs["value"]
    again = olga.post(correct, more | {"weight": "22", "seen": mark})
    assert "22 kg trimmed" in beside(again, "weight")
    page = taken(olga, correct, {"weight": "14", "reason": "with the tub"}).content.decode()
    assert 'class="struck">15 kg' in page
    assert "with the tub" in page
    assert "70 %" in page


def test_a_part_split_off_says_that_it_was_taken_over(book: Book, lot: Lot, olga: Client) -> None:
    weigh(book, lot, "brined", "16", "07:10")
    child = split_lot(book.operator, lot, "TR-1b", 8_000, "", moment("07:15"))
    weigh(book, child, "smoked", "6", "07:20")
    page = olga.get(url(child)).content.decode()
    assert "taken over" in page
    assert "Drying and smoking left 75 % of the brined fish" in page


def to_packs(book: Book, lot: Lot) -> None:
    """Every step of the plan, with 14 kg weighed out of the smoke."""
    brined(book, lot)
    book.end(smoking(book, lot), "12:48")
    weigh(book, lot, "smoked", "14", "12:49")
    cooled(book, lot)
    packed(book, lot)
    book.end(freezing(book, lot), "20:05")


def test_finishing_asks_when_more_is_packed_than_was_weighed(
    book: Book, lot: Lot, olga: Client, clock: Clock
) -> None:
    to_packs(book, lot)
    clock("20:10")
    finish = reverse("lot_finish", args=[lot.code])
    typed = {"packed": "14.2", "packs": "30"}
    answer = refused(olga, finish, typed, "note", "only 14 kg was there as last weighed (smoked)")
    assert answer.status_code == 200
    assert not LotFinish.objects.exists()
    taken(olga, finish, typed | {"note": "the scale in the packing room reads high"})
    assert "packed" in olga.get(url(lot)).content.decode()


def test_as_much_packed_as_was_weighed_is_not_asked_about(
    book: Book, lot: Lot, olga: Client, clock: Clock
) -> None:
    to_packs(book, lot)
    clock("20:10")
    taken(olga, reverse("lot_finish", args=[lot.code]), {"packed": "14", "packs": "30"})


def test_who_may_not_write_sees_the_weights_and_no_form(book: Book, lot: Lot) -> None:
    weigh(book, lot, "trimmed", "15", "07:25")
    ines = as_person(book.inspector)
    page = ines.get(url(lot)).content.decode()
    assert "75 %" in page
    assert "Store the weight" not in page
    assert "Put it right" not in page
    assert ines.post(url(lot), WEIGHT).status_code == 403
