"""What is done with a lot: split, rework, merge, destroy, void, finish."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from lots.entries import plan
from lots.models.lot import Lot, LotFinish, LotLink, LotVoided, PartDestroyed
from lots.queries.plans import starting_plans
from tests.entries.test_road import LABEL
from tests.make import Book, moment
from tests.views.pages import as_person, lines, refused, taken

Clock = Callable[[str], int]


@pytest.fixture
def lot(book: Book, clock: Clock) -> Lot:
    """20 kg of trout, received at 07:00; it is half past seven."""
    clock("07:30")
    return book.open_lot("TR-1")


def of(name: str, lot: Lot) -> str:
    return reverse(name, args=[lot.code])


SPLIT = {"how": "split", "code": "TR-1b", "grams": "5", "reason": "two brines"}


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"grams": "20.001"}, "grams", "Only 20 kg of lot TR-1 is free"),
        ({"grams": "0"}, "grams", "more than nothing"),
        ({"grams": "-5"}, "grams", "is not a weight"),
        ({"grams": "five"}, "grams", "is not a weight"),
        ({"code": "TR-1"}, "code", "already a lot TR-1"),
        ({"code": "merge"}, "code", "already a lot merge"),
        ({"code": ".."}, "code", "without spaces"),
        ({"code": "TR/1"}, "code", "without spaces"),
        ({"how": "rework", "reason": ""}, "reason", "Say why it is reworked"),
    ],
)
def test_a_part_that_cannot_be_split_off_is_refused(
    lot: Lot, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, of("lot_split", lot), SPLIT | changed, field, words)
    assert not LotLink.objects.exists()


@pytest.mark.parametrize("how", ["split", "rework"])
def test_a_part_becomes_a_new_lot_with_its_weight(lot: Lot, olga: Client, how: str) -> None:
    answer = taken(olga, of("lot_split", lot), SPLIT | {"how": how, "grams": "5,25"})
    new = Lot.objects.get(code="TR-1b")
    assert (new.quantity_g, new.species, new.supplier_lot) == (5_250, "TRR", "ISF-118")
    assert LotLink.objects.get().how == how
    assert "5.25 kg from" in answer.content.decode()
    assert "14.75 kg" in olga.get(of("lot_split", lot)).content.decode()


def test_what_stands_in_a_load_cannot_be_split_off(book: Book, lot: Lot, olga: Client) -> None:
    book.start("brine", "Brine tank 1", "07:20", lot, kg=16)
    refused(olga, of("lot_split", lot), SPLIT, "grams", "Only 4 kg of lot TR-1 is free")


def test_lots_merge_with_their_weights(book: Book, lot: Lot, olga: Client) -> None:
    other = book.open_lot("TR-2", at="07:10", kg=8)
    typed = {"code": "TR-12", f"lot_{lot.pk}": "12", f"lot_{other.pk}": "8", "reason": "one rack"}
    answer = taken(olga, reverse("lot_merge"), typed)
    assert Lot.objects.get(code="TR-12").quantity_g == 20_000
    page = answer.content.decode()
    assert "12 kg from" in page
    assert "8 kg from" in page


def test_a_merge_that_cannot_be_is_refused(book: Book, lot: Lot, olga: Client) -> None:
    other = book.open_lot("TR-2", at="07:10", kg=8)
    mine, theirs = f"lot_{lot.pk}", f"lot_{other.pk}"
    url, typed = reverse("lot_merge"), {"code": "TR-12", mine: "12", theirs: "8"}
    refused(olga, url, typed | {theirs: "8.5"}, theirs, "Only 8 kg of lot TR-2 is free")
    refused(olga, url, typed | {theirs: "0"}, theirs, "more than nothing")
    refused(olga, url, typed | {theirs: ""}, theirs, "at least two lots")
    refused(olga, url, typed | {"code": "TR-2"}, "code", "already a lot TR-2")
    assert not LotLink.objects.exists()


def test_species_are_not_merged(book: Book, lot: Lot, olga: Client) -> None:
    white = book.open_lot("WF-2", at="07:10", species="WHL", origin="wild")
    typed = {"code": "X-1", f"lot_{lot.pk}": "1", f"lot_{white.pk}": "1"}
    refused(olga, reverse("lot_merge"), typed, f"lot_{white.pk}", "of one species")


def test_plan_versions_are_not_merged(book: Book, lot: Lot, olga: Client) -> None:
    content = starting_plans()["hot-smoked-vacuum-frozen"]
    draft = plan.begin_draft(
        book.coordinator, content["title"], content, book.version, moment("07:12")
    )
    newer = plan.publish_plan(book.coordinator, draft, "the same again", moment("07:12"))
    other = book.open_lot("TR-2", at="07:15", version=newer)
    typed = {"code": "X-1", f"lot_{lot.pk}": "1", f"lot_{other.pk}": "1"}
    refused(olga, reverse("lot_merge"), typed, f"lot_{other.pk}", "same plan version")


def test_a_part_is_destroyed_with_its_weight_and_reason(lot: Lot, olga: Client) -> None:
    url, typed = of("lot_destroy", lot), {"grams": "3", "reason": "fell on the floor; bleached"}
    refused(olga, url, typed | {"reason": ""}, "reason", "Fill this in")
    refused(olga, url, typed | {"grams": "20.5"}, "grams", "Only 20 kg")
    answer = taken(olga, url, typed)
    assert PartDestroyed.objects.get().grams == 3000
    assert "3 kg was destroyed" in answer.content.decode()


def test_a_lot_is_voided_only_before_any_step(book: Book, lot: Lot, olga: Client) -> None:
    other = book.open_lot("TR-2", at="07:10")
    book.start("brine", "Brine tank 1", "07:20", other)
    typed = {"reason": "typed twice"}
    refused(olga, of("lot_void", other), typed, None, "not opened in error")
    refused(olga, of("lot_void", lot), {"reason": ""}, "reason", "Fill this in")
    answer = taken(olga, of("lot_void", lot), typed)
    assert LotVoided.objects.get().reason == "typed twice"
    assert "typed twice" in answer.content.decode()
    refused(olga, of("lot_void", lot), typed, None, "was voided")
    refused(olga, of("lot_split", lot), SPLIT, None, "was voided")


def test_a_lot_that_gave_fish_is_not_voided(lot: Lot, olga: Client) -> None:
    taken(olga, of("lot_split", lot), SPLIT)
    refused(olga, of("lot_void", lot), {"reason": "x"}, None, "went into another lot")


FINISH = {"packed": "16", "packs": "40", "note": "lids dated"}


def test_a_lot_is_not_finished_before_its_steps_have_begun(lot: Lot, olga: Client) -> None:
    refused(olga, of("lot_finish", lot), FINISH, None, "never begun are Brine")


@pytest.fixture
def packed(book: Book, lot: Lot, clock: Clock) -> Lot:
    """The lot with every step begun; it still stands in the freezer, 23:50."""
    brine = book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:31 44.2, 09:15 43.0, 10:30 42.1")
    book.end(brine, "11:00")
    smoke = book.start("smoke", "Smokehouse 1", "11:30", lot)
    book.fish(smoke, "11:35 41.0, 13:00 112.4, 14:00 147.3, 14:15 149.9, 14:30 151.2")
    book.end(smoke, "14:40")
    cool = book.start("cool", "Cooler", "14:45", lot)
    book.fish(cool, "14:50 146.0, 15:40 98.2, 16:30 66.0, 17:20 48.3, 18:10 38.9")
    book.end(cool, "18:15")
    table = book.start("pack", "Table", "18:20", lot, kg=16)
    book.observe(table, LABEL, True, "18:40")
    book.end(table, "19:00")
    book.start("freeze", "Freezer", "19:05", lot, kg=16)
    book.at_place("Freezer", "19:10 -4.2, 23:40 -5.0")
    clock("23:50")
    return lot


def test_a_lot_is_not_finished_while_a_step_runs(packed: Lot, olga: Client) -> None:
    refused(olga, of("lot_finish", packed), FINISH, None, "still running are Freeze in Freezer")


def test_no_more_fish_comes_out_than_went_in(book: Book, packed: Lot, olga: Client) -> None:
    book.end(packed.parts.get(step="freeze").load, "23:45")
    url = of("lot_finish", packed)
    refused(olga, url, FINISH | {"packed": "20.1"}, "packed", "More comes out than went in")
    refused(olga, url, FINISH | {"packed": "0"}, "packed", "Type how much")
    refused(olga, url, FINISH | {"packs": "9" * 30}, "packs", "less than or equal to")
    refused(olga, url, FINISH | {"packs": "-1"}, "packs", "greater than or equal to")
    refused(olga, url, FINISH | {"finished_at": "23:59"}, "finished_at", "still to come")
    refused(olga, url, FINISH | {"finished_at": "23:00"}, "late_reason", "Say why it comes late")
    early = {"finished_at": "06:00", "late_reason": "x"}
    refused(olga, url, FINISH | early, "finished_at", "before its last step ended")
    answer = taken(olga, url, FINISH)
    assert LotFinish.objects.get().packed_g == 16_000
    assert "16 kg in 40 packs" in answer.content.decode()
    refused(olga, url, FINISH, None, "already finished")
    refused(olga, of("lot_split", packed), SPLIT, None, "is finished")


def test_a_person_without_the_right_is_refused(book: Book, lot: Lot) -> None:
    before = lines()
    acts = {
        "lot_split": SPLIT,
        "lot_destroy": {"grams": "1", "reason": "x"},
        "lot_void": {"reason": "x"},
        "lot_finish": FINISH,
    }
    for person in (book.inspector, book.reviewer, book.coordinator):
        for name, typed in acts.items():
            assert as_person(person).post(of(name, lot), typed).status_code == 403
        assert as_person(person).post(reverse("lot_merge"), {"code": "x"}).status_code == 403
    assert lines() == before


def test_a_lot_that_is_not_there_is_not_found(book: Book, olga: Client) -> None:
    for name in (
        "lot_show",
        "lot_split",
        "lot_destroy",
        "lot_void",
        "lot_finish",
        "lot_laboratory",
        "lot_send",
        "lot_pieces",
        "lot_weights",
    ):
        for code in ("none", "a\0b", "🐟", "x" * 3000):
            assert olga.get(reverse(name, args=[code])).status_code == 404
