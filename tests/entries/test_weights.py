"""Weights through their entries: yields, the mass balance, what is asked about, corrections."""

from collections.abc import Callable
from fractions import Fraction

import pytest

from lots.entries.lot import destroy_part, merge_lots, split_lot, void_lot
from lots.entries.refusals import Changed, NotAllowed, Refused, Unlikely
from lots.entries.weights import correct_weight, weigh_stage
from lots.models.book import BookLine
from lots.models.lot import Load, Lot
from lots.models.salt import StepWeight
from lots.queries.yields import bars, dried_share, mass_balance, weights_of, yields
from tests.make import Book, moment, seen


@pytest.fixture
def lot(book: Book) -> Lot:
    """20 kg of trout, received at 07:00."""
    return book.open_lot("TR-1")


def weigh(
    book: Book, lot: Lot, stage: str, text: str, at: str, load: Load | None = None, reason: str = ""
) -> StepWeight:
    return weigh_stage(book.operator, lot, stage, text, "kg", seen(at), load, reason=reason)


def refused(entry: Callable[[], object], *fields: str) -> Refused:
    """The refusal; nothing was written."""
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        entry()
    assert set(refusal.value.fields) == set(fields)
    assert BookLine.objects.count() == before
    return refusal.value


def by_stage(lot: Lot) -> dict[str, tuple[int, int | None]]:
    return {one.stage: (one.grams, one.of_grams) for one in yields(lot)}


def test_each_stage_is_held_against_the_one_before(book: Book, lot: Lot) -> None:
    weigh(book, lot, "trimmed", "15", "07:10")
    weigh(book, lot, "brined", "14,4 kg", "07:20")
    weigh(book, lot, "smoked", "10.8", "07:30")
    assert by_stage(lot) == {
        "received": (20_000, None),
        "trimmed": (15_000, 20_000),
        "brined": (14_400, 15_000),
        "smoked": (10_800, 14_400),
    }
    assert dried_share(lot) == Fraction(3, 4)
    found = mass_balance(lot)
    assert (found.last, found.last_stage, found.lost) == (10_800, "smoked", 9_200)


def test_the_weights_of_a_stage_add_up(book: Book, lot: Lot) -> None:
    weigh(book, lot, "trimmed", "8", "07:10")
    weigh(book, lot, "trimmed", "7", "07:12")
    assert by_stage(lot)["trimmed"] == (15_000, 20_000)


def test_a_stage_of_which_one_load_was_not_weighed_has_no_yield(book: Book, lot: Lot) -> None:
    tank = book.start("brine", "Brine tank 1", "07:10", lot, kg=8)
    book.end(tank, "07:20")
    second = book.start("brine", "Brine tank 1", "07:25", lot, kg=8)
    weigh(book, lot, "brined", "7.9", "07:21", tank)
    assert yields(lot)[1].partly == "weighed out of 1 of its 2 loads"
    assert yields(lot)[1].share is None
    weigh(book, lot, "brined", "7.8", "07:50", second)
    assert by_stage(lot)["brined"] == (15_700, 20_000)
    assert [one.share for one in weights_of(lot)] == [Fraction(79, 80), Fraction(78, 80)]


def test_what_was_split_off_or_destroyed_is_no_loss(book: Book, lot: Lot) -> None:
    weigh(book, lot, "trimmed", "15", "07:10")
    split_lot(book.operator, lot, "TR-1b", 4_000, "", moment("07:15"))
    destroy_part(book.operator, lot, 1_000, "fell", moment("07:16"))
    weigh(book, lot, "brined", "9", "07:20")
    assert by_stage(lot)["brined"] == (9_000, 10_000)
    found = mass_balance(lot)
    assert (found.came_in, found.given, found.destroyed) == (20_000, 4_000, 1_000)
    assert (found.last, found.lost) == (9_000, 6_000)


def test_what_left_after_the_last_weighing_is_not_there_any_more(book: Book, lot: Lot) -> None:
    weigh(book, lot, "trimmed", "15", "07:10")
    split_lot(book.operator, lot, "TR-1b", 4_000, "", moment("07:15"))
    found = mass_balance(lot)
    assert (found.last, found.lost) == (11_000, 5_000)


@pytest.mark.parametrize(("stage", "hint"), [("trimmed", "say why"), ("brined", "take up brine")])
def test_more_out_than_in_is_asked_about_and_taken_with_a_reason(
    book: Book, lot: Lot, stage: str, hint: str
) -> None:
    weigh(book, lot, stage, "20", "07:10")  # exactly what went in
    row = weights_of(lot)[0].row
    correct_weight(book.operator, row, "", "kg", "weighed with the tub", seen("07:11"))
    asked = refused(lambda: weigh(book, lot, stage, "20.001", "07:20"), "reason")
    assert isinstance(asked, Unlikely)
    assert "20.001 kg" in asked.fields["reason"]
    assert hint in asked.fields["reason"]
    kept = weigh(book, lot, stage, "20.001", "07:20", reason="took up brine")
    assert kept.reason == "took up brine"


def test_a_weight_that_makes_a_later_stage_a_gain_is_asked_about(book: Book, lot: Lot) -> None:
    weigh(book, lot, "smoked", "12", "07:30")
    asked = refused(lambda: weigh(book, lot, "brined", "11", "07:20"), "reason")
    assert "12 kg smoked" in asked.fields["reason"]
    assert weigh(book, lot, "brined", "12", "07:20")


def test_a_gain_that_has_its_reason_is_not_asked_about_again(book: Book, lot: Lot) -> None:
    weigh(book, lot, "brined", "21", "07:20", reason="took up brine")
    assert weigh(book, lot, "smoked", "15", "07:40")


def test_the_same_weight_twice_by_mistake_is_asked_about(book: Book, lot: Lot) -> None:
    weigh(book, lot, "trimmed", "15", "07:10")
    asked = refused(lambda: weigh(book, lot, "trimmed", "15", "07:12"), "reason")
    assert "entered twice" in asked.fields["reason"]


@pytest.mark.parametrize(
    ("stage", "text", "at", "field"),
    [
        ("received", "15", "07:10", "stage"),
        ("packed", "15", "07:10", "stage"),
        ("fried", "15", "07:10", "stage"),
        ("trimmed", "", "07:10", "weight"),
        ("trimmed", "much", "07:10", "weight"),
        ("trimmed", "0", "07:10", "weight"),
        ("trimmed", "9999999999", "07:10", "weight"),
        ("trimmed", "15", "06:59", "observed_at"),
    ],
)
def test_what_is_no_weight_of_the_lot_is_refused(
    book: Book, lot: Lot, stage: str, text: str, at: str, field: str
) -> None:
    refused(lambda: weigh(book, lot, stage, text, at), field)


def test_a_load_of_another_lot_and_a_voided_lot_are_refused(book: Book, lot: Lot) -> None:
    other = book.start("brine", "Brine tank 1", "07:10", book.open_lot("TR-2"))
    refused(lambda: weigh(book, lot, "brined", "15", "07:20", other), "load")
    void_lot(book.operator, lot, "typed twice", moment("07:30"))
    refused(lambda: weigh(book, lot, "brined", "15", "07:20"), "")
    with pytest.raises(NotAllowed):
        weigh_stage(book.reviewer, lot, "brined", "15", "kg", seen("07:20"))


def test_a_late_weight_says_why_and_is_flagged(book: Book, lot: Lot) -> None:
    late = seen("07:10", "08:00")
    refused(lambda: weigh_stage(book.operator, lot, "trimmed", "15", "kg", late), "late_reason")
    late = seen("07:10", "08:00", "the scale is in the other room")
    row = weigh_stage(book.operator, lot, "trimmed", "15", "kg", late)
    assert row.reason == "the scale is in the other room"
    assert weights_of(lot)[0].late


def test_the_same_weight_sent_twice_is_taken_once(book: Book, lot: Lot) -> None:
    first, again = (
        weigh_stage(book.operator, lot, "trimmed", "15", "kg", seen("07:10"), client_key="k")
        for _ in "ab"
    )
    assert first == again
    assert StepWeight.objects.count() == 1


def test_a_correction_stands_beside_the_old_weight(book: Book, lot: Lot) -> None:
    row = weigh(book, lot, "trimmed", "15", "07:10")
    correct_weight(book.operator, row, "33 lb", "kg", "read in pounds", seen("07:20"))
    assert by_stage(lot)["trimmed"] == (14_969, 20_000)  # 33 × 453.59237 g (NIST SP 811)
    (shown,) = weights_of(lot)
    assert [old.as_read for old in shown.past] == ["15"]
    assert shown.row.reason == "read in pounds"
    with pytest.raises(Changed):
        correct_weight(book.operator, row, "14", "kg", "x", seen("07:30"))


def test_a_correction_by_which_more_comes_out_than_went_in_is_asked_about(
    book: Book, lot: Lot
) -> None:
    row = weigh(book, lot, "trimmed", "15", "07:10")
    weigh(book, lot, "smoked", "12", "07:30")
    at = seen("07:40")
    asked = refused(lambda: correct_weight(book.operator, row, "11", "kg", "misread", at), "weight")
    assert isinstance(asked, Unlikely)
    assert "12 kg smoked" in asked.fields["weight"]
    other = Unlikely({"weight": "another question"}).mark
    refused(lambda: correct_weight(book.operator, row, "11", "kg", "misread", at, other), "weight")
    correct_weight(book.operator, row, "11", "kg", "misread", at, asked.mark)
    assert by_stage(lot)["smoked"] == (12_000, 11_000)


def test_a_weight_taken_back_counts_no_more_and_stays_in_sight(book: Book, lot: Lot) -> None:
    row = weigh(book, lot, "trimmed", "15", "07:10")
    correct_weight(book.operator, row, "", "kg", "of another lot", seen("07:20"))
    assert list(by_stage(lot)) == ["received"]
    assert weights_of(lot)[0].taken_back


def test_what_cannot_put_a_weight_right_is_refused(book: Book, lot: Lot) -> None:
    row = weigh(book, lot, "trimmed", "15", "07:10")
    at = seen("07:20")
    refused(lambda: correct_weight(book.operator, row, "14", "kg", " ", at), "reason")
    refused(lambda: correct_weight(book.operator, row, "15.0", "kg", "x", at), "weight")
    refused(lambda: correct_weight(book.operator, row, "no", "kg", "x", at), "weight")


def test_the_drying_of_a_part_split_off_brined_is_its_own(book: Book, lot: Lot) -> None:
    weigh(book, lot, "brined", "16", "07:10")
    child = split_lot(book.operator, lot, "TR-1b", 8_000, "", moment("07:15"))
    assert dried_share(child) is None
    weigh(book, child, "smoked", "6", "07:40")
    assert dried_share(child) == Fraction(6, 8)
    assert dried_share(lot) is None


def test_the_drying_of_a_part_split_off_smoked_is_its_sources(book: Book, lot: Lot) -> None:
    weigh(book, lot, "brined", "16", "07:10")
    weigh(book, lot, "smoked", "12", "07:20")
    child = split_lot(book.operator, lot, "TR-1b", 4_000, "", moment("07:25"))
    grandchild = split_lot(book.operator, child, "TR-1c", 1_000, "", moment("07:26"))
    assert dried_share(child) == dried_share(grandchild) == Fraction(3, 4)


def test_of_lots_merged_smoked_the_one_that_dried_least_governs(book: Book, lot: Lot) -> None:
    other = book.open_lot("TR-2")
    for one, smoked in ((lot, "12"), (other, "13.6")):
        weigh(book, one, "brined", "16", "07:10")
        weigh(book, one, "smoked", smoked, "07:20")
    merged = merge_lots(book.operator, [(lot, 1_000), (other, 1_000)], "TR-3", "", moment("07:30"))
    assert dried_share(merged) == Fraction("0.85")
    third = book.open_lot("TR-4")
    unknown = merge_lots(book.operator, [(lot, 1_000), (third, 1_000)], "TR-5", "", moment("07:31"))
    assert dried_share(unknown) is None


def test_the_bars_are_to_one_scale(book: Book, lot: Lot) -> None:
    weigh(book, lot, "trimmed", "15", "07:10")
    assert [(one.width, one.before) for one in bars(yields(lot))] == [(600, 0), (450, 600)]
