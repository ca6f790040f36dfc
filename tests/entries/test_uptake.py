"""Points of the forecast of salt: kept, asked about, refused, left out."""

from collections.abc import Callable
from typing import Any

import pytest

from lots.core.calibration import Calibration, CannotSay, Why
from lots.entries.book import act
from lots.entries.lot import void_lot
from lots.entries.refusals import NotAllowed, Refused, Unlikely
from lots.entries.uptake import keep_point, leave_out
from lots.models.book import BookLine, LineLot
from lots.models.lot import LaboratoryResult, Lot
from lots.models.salt import UptakePoint, UptakePointLeftOut
from lots.queries.uptake_points import known_now
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, moment
from tests.points import LABORATORY, a_point, kept, result_of, six_points

AT = moment("14:00")


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot()


@pytest.fixture
def result(book: Book, lot: Lot) -> LaboratoryResult:
    return result_of(book, lot, "2.6", "68", "3.68")  # 100 × 2.6 ÷ 70.6


def refused(act: Callable[[], Any], field: str, words: str, kind: type[Refused] = Refused) -> None:
    """The act is refused at this field, and nothing was written."""
    before = BookLine.objects.count()
    with pytest.raises(kind) as refusal:
        act()
    assert words in refusal.value.fields[field], refusal.value.fields
    assert kind is Unlikely or not isinstance(refusal.value, Unlikely)
    assert (BookLine.objects.count(), UptakePoint.objects.count()) == (before, 0)


def test_a_point_is_kept_with_its_figures_and_its_line(
    book: Book, result: LaboratoryResult
) -> None:
    point = keep_point(book.operator, result, a_point(note=" thickest of five "), AT)
    row = UptakePoint.objects.get(pk=point.pk)
    assert (row.result, row.thickness_um, row.salt) == (result, 38_000, 2_600_000)
    assert row.note == "thickest of five"
    assert (row.line.kind, row.line.person) == ("salt point kept", book.operator)


def test_a_point_asks_for_no_review_of_its_lot(book: Book, result: LaboratoryResult) -> None:
    point = keep_point(book.operator, result, a_point(), AT)
    assert not LineLot.objects.filter(line=point.line_id).exists()


def test_the_point_names_the_load_that_the_fish_was_brined_in(book: Book, lot: Lot) -> None:
    load = book.start("brine", "Brine tank 1", "08:00", lot)
    book.end(load, "12:30")
    point = kept(book, "TR-1", a_point())
    assert point.load == load


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"thickness_um": 0}, "thickness_um", "at most 300 mm"),
        ({"thickness_um": 965_200}, "thickness_um", "at most 300 mm"),  # 38 in
        ({"open_faces": 3}, "open_faces", "on or off"),
        ({"brined_ms": 0}, "brined_ms", "how long"),
        ({"brined_ms": 61 * 86_400_000}, "brined_ms", "at most 60 days"),
        ({"brine_temp": 60 * 9000}, "brine_temp", "between −5 °C and 40 °C"),
        ({"brine_salt": 0}, "brine_salt", "above 0"),
        ({"ratio": 0}, "ratio", "above 0"),
        ({"raw_moisture": 0}, "raw_moisture", "above 0"),
        ({"raw_moisture": 100_000_000}, "raw_moisture", "No fish is all water"),
        ({"moisture": 0}, "moisture", "above 0"),
        ({"salt": 0}, "salt", "above 0"),
        ({"salt": 40_000_000}, "moisture", "over 100 % together"),
        ({"yield_share": 20_000_000}, "yield_share", "no water would be left"),
    ],
)  # fmt: skip
def test_a_figure_that_cannot_be_is_refused_at_its_field(
    changes: dict[str, int], field: str, words: str, book: Book, result: LaboratoryResult
) -> None:
    refused(lambda: keep_point(book.operator, result, a_point(**changes), AT), field, words)


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"thickness_um": 1_500}, "thickness_um", "1.5 mm (0.06 in) is unlikely"),
        ({"thickness_um": 130_000}, "thickness_um", "Is the unit right?"),
        ({"brined_ms": 8 * 86_400_000}, "brined_ms", "more than 7 days"),
        ({"ratio": 300_000}, "ratio", "does not cover"),
        ({"yield_share": 45_000_000}, "yield_share", "Less than 50 %"),
        ({"salt": 16_000_000}, "salt", "more salt than this brine"),
        ({"moisture": 60_000_000}, "moisture", "moisture make"),
    ],
)  # fmt: skip
def test_an_odd_figure_is_asked_about_and_taken_when_it_is_so(
    changes: dict[str, int], field: str, words: str, book: Book, result: LaboratoryResult
) -> None:
    new = a_point(**changes)
    refused(lambda: keep_point(book.operator, result, new, AT), field, words, Unlikely)
    with pytest.raises(Unlikely):  # a yes to another figure is none to this
        keep_point(book.operator, result, new, AT, frozenset({"note"}))
    sure = frozenset({field, "moisture", "salt"})
    assert keep_point(book.operator, result, new, AT, sure).pk


def test_one_result_makes_one_point(book: Book, result: LaboratoryResult) -> None:
    keep_point(book.operator, result, a_point(), AT)
    with pytest.raises(Refused, match="kept already"):
        keep_point(book.operator, result, a_point(), AT)
    assert UptakePoint.objects.count() == 1


def test_the_same_entry_sent_again_gets_its_first_answer(
    book: Book, result: LaboratoryResult
) -> None:
    first = keep_point(book.operator, result, a_point(), AT, client_key="k1")
    before = BookLine.objects.count()
    assert keep_point(book.operator, result, a_point(), AT, client_key="k1") == first
    assert BookLine.objects.count() == before


def test_no_point_is_made_of_another_quantity(book: Book, lot: Lot) -> None:
    new = NewResult("histamine", "ppm", ["12"], LABORATORY)
    other = enter_laboratory_result(book.operator, lot, new, AT, AT, AT)
    refused(
        lambda: keep_point(book.operator, other, a_point(), AT), "", "water-phase salt of a lot"
    )


def test_no_point_is_made_of_a_voided_lot(book: Book, lot: Lot, result: LaboratoryResult) -> None:
    void_lot(book.operator, lot, "opened twice", AT)
    refused(lambda: keep_point(book.operator, result, a_point(), AT), "", "voided")


def test_who_only_reads_keeps_no_point(book: Book, result: LaboratoryResult) -> None:
    before = BookLine.objects.count()
    with pytest.raises(NotAllowed):
        keep_point(book.inspector, result, a_point(), AT)
    assert BookLine.objects.count() == before


def test_a_point_left_out_stays_in_the_book_and_out_of_the_fit(book: Book) -> None:
    points = six_points(book)
    fit = known_now().fit
    assert isinstance(fit, Calibration)
    assert fit.n == 6
    row = leave_out(book.reviewer, points[0], "measured with the skin on", AT)
    assert UptakePointLeftOut.objects.get(pk=row.pk).reason == "measured with the skin on"
    assert UptakePoint.objects.count() == 6
    after = known_now().fit
    assert isinstance(after, Calibration)
    assert after.n == 5


def test_leaving_out_asks_for_a_reason(book: Book) -> None:
    point = kept(book, "TR-1", a_point())
    with pytest.raises(Refused) as refusal:
        leave_out(book.reviewer, point, "  ", AT)
    assert "Say why" in refusal.value.fields["reason"]
    assert not UptakePointLeftOut.objects.exists()


def test_a_point_is_left_out_once(book: Book) -> None:
    point = kept(book, "TR-1", a_point())
    leave_out(book.reviewer, point, "a wrong piece", AT)
    with pytest.raises(Refused, match="already"):
        leave_out(book.reviewer, point, "again", AT)
    assert UptakePointLeftOut.objects.count() == 1


def test_who_only_reads_leaves_no_point_out(book: Book) -> None:
    point = kept(book, "TR-1", a_point())
    with pytest.raises(NotAllowed):
        leave_out(book.inspector, point, "so", AT)
    assert not UptakePointLeftOut.objects.exists()


def test_one_point_gives_no_fit_and_says_what_to_do(book: Book) -> None:
    kept(book, "TR-1", a_point())
    assert known_now().fit == CannotSay(Why.ONE)
    assert known_now().diffusivity.low < 1e-10 < known_now().diffusivity.high


def test_the_fit_comes_near_the_diffusivity_that_the_points_were_made_with(book: Book) -> None:
    six_points(book, 2e-10)
    fit = known_now().fit
    assert isinstance(fit, Calibration)
    assert fit.low < 2e-10 < fit.high
    assert abs(fit.best / 2e-10 - 1) < 0.05


def corrected(book: Book, result: LaboratoryResult) -> LaboratoryResult:
    """The result that stands in another's place."""
    same = {name: getattr(result, name) for name in LaboratoryResult.NAMED[1:-2]}
    with act("laboratory result corrected", book.reviewer, AT) as writing:
        return writing.write(LaboratoryResult(lot=result.lot, corrects=result, **same))


def test_a_corrected_result_makes_no_point(book: Book, result: LaboratoryResult) -> None:
    corrected(book, result)
    refused(lambda: keep_point(book.operator, result, a_point(), AT), "", "corrected meanwhile")


def test_a_point_of_a_result_that_was_corrected_leaves_the_fit(book: Book) -> None:
    points = six_points(book)
    corrected(book, points[2].result)
    fit = known_now().fit
    assert isinstance(fit, Calibration)
    assert fit.n == 5


def test_a_point_of_a_lot_that_was_voided_leaves_the_fit(book: Book) -> None:
    points = six_points(book)
    lot = points[0].result.lot
    assert lot is not None
    void_lot(book.operator, lot, "opened twice", AT)
    fit = known_now().fit
    assert isinstance(fit, Calibration)
    assert fit.n == 5
