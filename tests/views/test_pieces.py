"""The page of a lot's pieces: a sample typed once, asked about, put right."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from lots.entries.pieces import TypedPieces, measure_pieces
from lots.models.lot import Lot
from lots.models.reading import Reading
from lots.models.salt import PieceSample
from tests.make import Book, make_book, seen
from tests.views.pages import as_person, beside, lines, refused, taken

Clock = Callable[[str], int]
SAMPLE = {
    "thickness_unit": "mm",
    "weight_unit": "g",
    "thickness-1": "22",
    "weight-1": "180",
    "thickness-2": "39,5",
    "note": "tail ends",
}


@pytest.fixture
def chilled(db: None, clock: Clock) -> Book:
    """Its plan takes pieces up to 1.5 in thick; it is half past seven."""
    clock("07:30")
    return make_book("hot-smoked-air-chilled")


@pytest.fixture
def lot(chilled: Book) -> Lot:
    return chilled.open_lot("TR-1")


@pytest.fixture
def olga(chilled: Book) -> Client:
    return as_person(chilled.operator)


def url(lot: Lot) -> str:
    return reverse("lot_pieces", args=[lot.code])


def test_a_sample_is_shown_with_its_spread_and_what_is_too_thick(lot: Lot, olga: Client) -> None:
    page = taken(olga, url(lot), SAMPLE).content.decode()
    for words in (
        "22 mm (0.87 in) to 39.5 mm (1.56 in), mean 30.8 mm (1.21 in), of 2",
        "the thickest is 1.8 times the thinnest: <strong>uneven</strong>",
        "1.5 in: <strong>1 of 2 thicker</strong>",
        "180 g (6.3 oz)",
        "tail ends",
    ):
        assert words in page
    shown = olga.get(reverse("lot_show", args=[lot.code])).content.decode()
    assert "2 pieces, 22 mm (0.87 in) to 39.5 mm (1.56 in) thick" in shown
    assert "1 thicker than the plan" in shown


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"thickness-2": "thick"}, "thickness-2", "is not a number"),
        ({"weight-2": "0"}, "weight-2", "more than nothing"),
        ({"thickness-2": "1.5"}, "thickness-2", "Was it 1.5 in?"),
        ({"thickness_unit": "in", "thickness-1": "", "thickness-2": "38"}, "thickness-2", "Was it 38 mm?"),
        ({"observed_at": "06:30", "late_reason": "x"}, "observed_at", "received later"),
        ({"observed_at": "07:05"}, "late_reason", "Say why it comes late"),
        ({"observed_at": "08:30"}, "observed_at", "still to come"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_typed_is_lost(
    lot: Lot, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, url(lot), SAMPLE | changed, field, words)
    assert not PieceSample.objects.exists()


def test_a_sample_of_nothing_is_refused(lot: Lot, olga: Client) -> None:
    typed = {"thickness_unit": "mm", "weight_unit": "g"}
    refused(olga, url(lot), typed, "thickness-1", "at least one piece")


def test_an_unlikely_thickness_is_taken_once_somebody_says_it_is_so(lot: Lot, olga: Client) -> None:
    odd = SAMPLE | {"thickness-2": "1.5"}
    answer = refused(olga, url(lot), odd, "thickness-2", "unlikely")
    mark = answer.context["form"].fields["sure"].widget.attrs["value"]
    other = olga.post(url(lot), odd | {"thickness-1": "1.6", "sure": mark})
    assert "unlikely" in beside(other, "thickness-1")
    taken(olga, url(lot), odd | {"sure": mark})


def test_more_pieces_are_asked_for_and_nothing_is_stored_or_lost(lot: Lot, olga: Client) -> None:
    before = lines()
    page = olga.post(url(lot), SAMPLE | {"pieces": "10", "more": "1"}).content.decode()
    assert 'name="weight-20"' in page
    assert 'value="39,5"' in page
    assert lines() == before


def test_in_the_brine_the_load_that_asks_is_offered_first(
    chilled: Book, lot: Lot, olga: Client
) -> None:
    tank = chilled.start("brine", "Brine tank 1", "07:20", lot)
    page = olga.get(reverse("load_show", args=[tank.pk])).content.decode()
    assert f'href="{url(lot)}"' in page
    form = olga.get(url(lot)).context["form"]
    assert form["load"].value() == tank.pk
    taken(olga, url(lot), SAMPLE | {"load": str(tank.pk)})
    assert Reading.objects.filter(load=tank, quantity="thickness").count() == 2


def test_a_sample_is_put_right_and_the_old_figures_stay_in_sight(
    chilled: Book, lot: Lot, olga: Client
) -> None:
    row = measure_pieces(
        chilled.operator, lot, TypedPieces(["1.2"], ["8"], "in", "oz"), seen("07:25")
    )
    correct = reverse("pieces_correct", args=[row.pk])
    form = olga.get(correct).context["form"]
    assert (form["thickness-1"].value(), form["thickness_unit"].value()) == ("1.2", "in")
    typed = {"thickness_unit": "in", "weight_unit": "oz", "thickness-1": "1.1", "weight-1": "8"}
    refused(olga, correct, typed | {"reason": ""}, "reason", "Fill this in")
    refused(olga, correct, typed | {"thickness-1": "1.2", "reason": "x"}, "thickness-1", "already")
    page = taken(olga, correct, typed | {"reason": "read the wrong mark"}).content.decode()
    assert 'class="struck">1 pieces' not in page
    assert "30.5 mm (1.2 in)" in page  # as it was
    assert "27.9 mm (1.1 in)" in page  # as it is
    assert "read the wrong mark" in page
    again = olga.post(correct, typed | {"thickness-1": "1.0", "reason": "x"})
    assert "already put right" in " ".join(again.context["form"].non_field_errors())


def test_a_sample_is_taken_back_and_says_so(chilled: Book, lot: Lot, olga: Client) -> None:
    row = measure_pieces(chilled.operator, lot, TypedPieces(["30"], []), seen("07:25"))
    typed = {
        "thickness_unit": "mm",
        "weight_unit": "g",
        "take_back": "on",
        "reason": "another lot's",
    }
    page = taken(olga, reverse("pieces_correct", args=[row.pk]), typed).content.decode()
    assert "Taken back" in page
    assert "another lot" in page


def test_who_may_not_write_sees_the_samples_and_no_form(chilled: Book, lot: Lot) -> None:
    measure_pieces(chilled.operator, lot, TypedPieces(["30"], []), seen("07:25"))
    ines = as_person(chilled.inspector)
    page = ines.get(url(lot)).content.decode()
    assert "30 mm" in page
    assert "Store the sample" not in page
    assert "Put it right" not in page
    assert ines.post(url(lot), SAMPLE).status_code == 403


def test_one_thickness_measured_in_a_load_is_asked_about_too(
    chilled: Book, lot: Lot, olga: Client
) -> None:
    tank = chilled.start("brine", "Brine tank 1", "07:20", lot)
    measure = reverse("measurement_enter", args=[tank.pk])
    typed = {"quantity": "thickness", "as_read": "1.5", "unit": "mm"}
    answer = refused(olga, measure, typed, "as_read", "Was it 1.5 in?")
    box = answer.context["form"].fields["confirmed"].widget.attrs["value"]
    other = olga.post(measure, typed | {"as_read": "1.4", "confirmed": box})
    assert "unlikely" in beside(other, "as_read")
    assert not Reading.objects.filter(quantity="thickness").exists()
    taken(olga, measure, typed | {"confirmed": box})
    row = Reading.objects.get(quantity="thickness")
    assert row.unlikely_confirmed
    correct = reverse("reading_correct", args=[row.pk])
    refused(
        olga, correct, {"as_read": "38", "unit": "in", "reason": "x"}, "as_read", "Was it 38 mm?"
    )
    taken(olga, correct, {"as_read": "38", "unit": "mm", "reason": "the other side of the rule"})
    assert not Reading.objects.get(as_read="38").unlikely_confirmed
