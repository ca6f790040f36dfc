"""What the book knows of how a lot was salted, and the pages that are begun with it."""

from fractions import Fraction

import pytest
from django.urls import reverse

from lots.core.batch import Batch, content_of, part_from
from lots.entries.book import act, canonical
from lots.entries.lot import split_lot
from lots.entries.moments import Moments
from lots.entries.pieces import TypedPieces, correct_pieces, measure_pieces
from lots.entries.weights import correct_weight, weigh_stage
from lots.models.lot import BrineBatch, Load, Lot
from lots.models.salt import BatchNamed, PieceSample, StepWeight
from lots.queries.brined import brined
from tests.make import Book, moment
from tests.views.pages import as_person

AT = moment("21:00")


@pytest.fixture
def lot(book: Book) -> Lot:
    return book.open_lot(kg=20)


@pytest.fixture
def load(book: Book, lot: Lot) -> Load:
    """12 h in the tank, read at 36 °F and 40 °F."""
    load = book.start("brine", "Brine tank 1", "08:00", lot)
    book.at_place("Brine tank 1", "08:10 36.0, 14:00 40.0")
    book.at_place("Brine room", "08:10 45.0")  # not the brine
    book.end(load, "20:00")
    return load


def mix(book: Book, load: Load, brine_g: int | None = None) -> BrineBatch:
    """A batch of 40 kg of water and 10 kg of salt, named as that of the load."""
    parts = part_from("water", "water", "40", "kg"), part_from("salt", "salt", "10", "kg")
    with act("brine made", book.operator, AT) as writing:
        content = canonical(content_of(Batch("brine", parts)))
        row = writing.write(BrineBatch(code="B-1", made_at=AT, entered_at=AT, content=content))
        writing.write(
            BatchNamed(load=load, batch=row, brine_g=brine_g, entered_at=AT, reason="on paper")
        )
    return row


def measure(book: Book, lot: Lot, *millimetres: int) -> PieceSample:
    typed = TypedPieces([str(mm) for mm in millimetres], [])
    return measure_pieces(book.operator, lot, typed, Moments(AT, AT, AT))


def weigh(book: Book, lot: Lot, load: Load | None = None, **kilograms: str) -> StepWeight:
    """What the lot, or its part in a load, weighed at these stages; the last of the rows."""
    for stage, kg in kilograms.items():
        row = weigh_stage(book.operator, lot, stage, kg, "kg", Moments(AT, AT, AT), load)
    return row


def test_of_a_lot_that_was_not_salted_only_the_plan_is_known(lot: Lot) -> None:
    known = brined(lot, AT)
    assert (known.load, known.brined_ms, known.strength_pct, known.pieces_um) == (
        None,
        None,
        None,
        (),
    )
    assert known.got == ()


def test_time_and_temperature_are_those_of_the_load_in_the_brine_itself(
    lot: Lot, load: Load
) -> None:
    known = brined(lot, AT)
    assert (known.load, known.brined_ms) == (load, 12 * 3_600_000)
    assert known.typed("F") | {"time": "12 h", "temp": "38"} == known.typed("F")  # the mean


def test_a_load_that_is_still_running_counts_up_to_now(book: Book, lot: Lot) -> None:
    book.start("brine", "Brine tank 1", "08:00", lot)
    assert brined(lot, moment("10:30")).brined_ms == 9_000_000
    assert any("still running" in one for one in brined(lot, moment("10:30")).got)


def test_strength_and_ratio_are_those_of_its_batch(book: Book, lot: Lot, load: Load) -> None:
    """By hand: 10 ÷ 50 is 20 %; 50 kg on 20 kg of fish are 2.5."""
    mix(book, load)
    known = brined(lot, AT)
    assert (known.strength_pct, known.ratio) == (20, Fraction(5, 2))


def test_where_a_part_of_the_batch_was_poured_the_ratio_is_that_of_the_part(
    book: Book, lot: Lot, load: Load
) -> None:
    mix(book, load, brine_g=30_000)
    assert brined(lot, AT).ratio == Fraction(3, 2)


def test_pieces_are_those_measured_last_thickest_first(book: Book, lot: Lot) -> None:
    measure(book, lot, 20, 30)
    measure(book, lot, 25, 42, 31)
    assert brined(lot, AT).pieces_um == (42_000, 31_000, 25_000)


def test_a_sample_that_was_taken_back_leaves_the_one_before(book: Book, lot: Lot) -> None:
    measure(book, lot, 20, 30)
    wrong = measure(book, lot, 60)
    when = Moments(AT, AT, AT)
    correct_pieces(book.operator, wrong, None, "another lot's", when)
    assert brined(lot, AT).pieces_um == (30_000, 20_000)


def test_the_yield_is_smoked_over_brined_and_the_weights_of_a_stage_add_up(
    book: Book, lot: Lot
) -> None:
    weigh(book, lot, brined="20", smoked="8")
    weigh(book, lot, smoked="8")
    assert brined(lot, AT).yield_pct == 80


def test_a_weight_taken_back_leaves_no_yield(book: Book, lot: Lot) -> None:
    row = weigh(book, lot, brined="20", smoked="16")
    correct_weight(book.operator, row, "", "kg", "of another lot", Moments(AT, AT, AT))
    assert brined(lot, AT).yield_pct is None


def test_a_portion_that_was_split_off_is_not_held_against_the_whole(book: Book, lot: Lot) -> None:
    weigh(book, lot, brined="16")
    part = split_lot(book.operator, lot, "TR-1b", 8_000, "", AT)
    weigh(book, part, smoked="6")
    assert brined(part, AT).yield_pct == 75


def test_no_yield_without_the_weight_as_brined(book: Book, lot: Lot) -> None:
    weigh(book, lot, smoked="16")
    assert brined(lot, AT).yield_pct is None


@pytest.mark.parametrize(
    ("stem", "target"), [("hot-smoked-vacuum-frozen", None), ("cold-smoked-vacuum-chilled", "3.5")]
)
def test_the_target_is_the_plans_highest_for_water_phase_salt(
    stem: str, target: str | None, db: None
) -> None:
    from lots.core.plan import plan_from
    from lots.queries.brined import _target
    from lots.queries.plans import starting_plans, unsaved

    found = _target(Lot(plan_version=unsaved(plan_from(starting_plans()[stem]))))
    assert found == (None if target is None else Fraction(target))


def test_the_forecast_is_begun_with_what_the_book_knows_and_answers_once_moisture_is_typed(
    book: Book, lot: Lot, load: Load, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: AT)
    mix(book, load)
    measure(book, lot, 42, 31)
    weigh(book, lot, brined="20", smoked="16")
    client = as_person(book.operator)
    address = reverse("salt_forecast")
    form = client.get(address, {"lot": lot.code}).context["form"]
    begun = {name: str(form[name].value() or "") for name in form.fields if name != "confirmed"}
    assert begun | {
        "thickness": "1.65, 1.22", "thickness_unit": "in", "time": "12 h", "temp": "38", "unit": "F",
        "strength": "20", "strength_unit": "%", "ratio": "2.5", "yield_pct": "80", "moisture": "",
    } == begun  # fmt: skip
    answer = client.get(address, begun | {"lot": lot.code, "moisture": "72", "target": "3.5"})
    assert [row.thickness for row in answer.context["found"].rows] == [
        "1.65 in (41.9 mm)", "1.22 in (31 mm)",
    ]  # fmt: skip
    assert f"Lot {lot.code}: the thickest piece" in answer.content.decode()


def test_the_lots_page_leads_to_its_forecast(book: Book, lot: Lot) -> None:
    page = as_person(book.operator).get(reverse("lot_show", args=[lot.code])).content.decode()
    assert f'href="{reverse("salt_forecast")}?lot={lot.code}"' in page
