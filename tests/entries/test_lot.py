"""Lots through their entries: what opening, splitting, merging and finishing refuse."""

import pytest

from lots.entries.lot import (
    destroy_part,
    merge_lots,
    split_lot,
    void_lot,
)
from lots.entries.readings import Figure
from lots.entries.refusals import NotAllowed, Refused, Unlikely
from lots.models.book import BookLine
from lots.models.lot import LaboratoryResult, Lot
from lots.queries.lineage import balance
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, moment

AT = "07:30"


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot("TR-1")


def test_warm_fish_at_the_dock_is_asked_about_not_refused(book: Book) -> None:
    warm = Figure("80", "F", "fish 1")
    with pytest.raises(Unlikely) as asked:
        book.open_lot(figures=[warm])
    assert "80.0 °F is unlikely" in asked.value.fields["read_fish 1"]
    assert not Lot.objects.exists()
    assert book.open_lot(figures=[Figure("80", "F", "fish 1", confirmed=True)])


def test_what_is_refused_beside_it_is_not_taken_for_a_question(book: Book) -> None:
    with pytest.raises(Refused) as refusal:
        book.open_lot(figures=[Figure("80", "F", "fish 1")], supplier="  ")
    assert not isinstance(refusal.value, Unlikely)
    assert set(refusal.value.fields) == {"supplier", "read_fish 1"}


@pytest.mark.parametrize("code", ["", " ", "a b", "a/b", "a?b", "..", "open", "Merge", "a\u202eb"])
def test_a_code_that_has_no_page_of_its_own_is_refused(book: Book, lot: Lot, code: str) -> None:
    for act in (
        lambda: book.open_lot(code),
        lambda: split_lot(book.operator, lot, code, 1_000, "x", moment(AT)),
    ):
        with pytest.raises(Refused) as refusal:
            act()
        assert "code" in refusal.value.fields


def test_fish_given_on_or_destroyed_is_gone_from_the_lot(book: Book, lot: Lot) -> None:
    split_lot(book.operator, lot, "TR-1b", 6_000, "", moment(AT))
    destroy_part(book.operator, lot, 4_000, "fell", moment(AT))
    assert balance(lot).left == 10_000
    with pytest.raises(Refused) as refusal:
        split_lot(book.operator, lot, "TR-1c", 10_001, "", moment(AT))
    assert "Only 10 kg" in refusal.value.fields["grams"]


def test_each_lot_that_is_short_is_named_in_a_merge(book: Book, lot: Lot) -> None:
    other = book.open_lot("TR-2", kg=5)
    lines = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        merge_lots(book.operator, [(lot, 20_001), (other, 5_001)], "X", "", moment(AT))
    assert set(refusal.value.fields) == {f"lot_{lot.pk}", f"lot_{other.pk}"}
    assert BookLine.objects.count() == lines


def test_a_merged_lot_has_the_steps_of_all_and_the_weight_of_all(book: Book, lot: Lot) -> None:
    other = book.open_lot("TR-2", kg=5)
    book.end(book.start("hold", "Cooler", "07:10", lot), "07:15")
    book.end(book.start("hold", "Brine room", "07:10", other), "07:15")
    new = merge_lots(book.operator, [(lot, 20_000), (other, 5_000)], "X", "", moment(AT))
    assert new.quantity_g == 25_000
    assert set(book.judged(lot, "hold", AT)) == {"hold-cold", "hold-read"}


def test_a_voided_lot_takes_nothing_more(book: Book, lot: Lot) -> None:
    void_lot(book.operator, lot, "typed twice", moment(AT))
    for act in (
        lambda: void_lot(book.operator, lot, "again", moment(AT)),
        lambda: split_lot(book.operator, lot, "TR-1b", 1, "x", moment(AT)),
        lambda: destroy_part(book.operator, lot, 1, "x", moment(AT)),
        lambda: book.start("hold", "Cooler", AT, Lot.objects.get(pk=lot.pk)),
    ):
        with pytest.raises(Refused, match="voided"):
            act()


def result(*samples: str, **changes: str) -> NewResult:
    given = {"quantity": "water-phase salt", "unit": "%", "laboratory": "Invented Bay Laboratory"}
    return NewResult(samples=samples, **(given | changes))  # type: ignore[arg-type]


def test_a_laboratory_result_is_kept_by_sample(book: Book, lot: Lot) -> None:
    at = moment(AT)
    enter_laboratory_result(book.reviewer, lot, result("3,5", "3.61"), at, at, at)
    kept = LaboratoryResult.objects.get()
    assert list(kept.samples.order_by("number").values_list("value", flat=True)) == [
        3_500_000,
        3_610_000,
    ]


@pytest.mark.parametrize(
    "wrong", [result(), result("x"), result("-1"), result("9" * 19), result("1", unit="ppm")]
)
def test_a_sample_that_is_no_figure_is_refused(book: Book, lot: Lot, wrong: NewResult) -> None:
    with pytest.raises(Refused) as refusal:
        enter_laboratory_result(book.operator, lot, wrong, moment(AT), moment(AT), moment(AT))
    assert set(refusal.value.fields) == {"samples"}
    assert not LaboratoryResult.objects.exists()


def test_the_inspector_keeps_nothing(book: Book, lot: Lot) -> None:
    at = moment(AT)
    for act in (
        lambda: void_lot(book.inspector, lot, "x", at),
        lambda: split_lot(book.inspector, lot, "b", 1, "x", at),
        lambda: destroy_part(book.inspector, lot, 1, "x", at),
        lambda: enter_laboratory_result(book.inspector, lot, result("3.5"), at, at, at),
    ):
        with pytest.raises(NotAllowed):
            act()


def test_an_origin_that_the_plan_does_not_cover_is_refused(book: Book) -> None:
    with pytest.raises(Refused, match="covers Rainbow trout as farmed only"):
        book.open_lot("W-1", origin="wild")
