"""What came late or was put right, and what changes when the records reviewer accepts it."""

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import Any

import pytest

from lots.core.limits import Verdict
from lots.entries import house, plan
from lots.entries.house import NewInstrument
from lots.entries.load import Portion, end_load, move_start, say_probe_left, start_load
from lots.entries.reading import accept_late, enter_readings
from lots.entries.readings import Figure
from lots.entries.refusals import Changed, NotAllowed, Refused
from lots.entries.series import correct_series_reading, withdraw_import
from lots.models.book import BookLine
from lots.models.house import AccuracyCheck, Instrument
from lots.models.lot import Load, Lot
from lots.models.reading import Accepted
from lots.queries.judgements import Judged, judge_lot
from lots.queries.late_rows import late_rows, rows_named
from lots.queries.plans import starting_plans
from tests.entries.roads import csv, imported
from tests.make import FOUNDED, Book, moment, seen

INVENTED = {"source": "invented for this test", "flag": "to be confirmed"}
REASON = "two people saw it"


def with_limit(book: Book, point_id: str, **limit: Any) -> None:
    """Publishes the plan anew with one limit more at a control point; new lots are held against it."""
    content = deepcopy(starting_plans()["hot-smoked-vacuum-frozen"])
    point = next(one for one in content["control_points"] if one["id"] == point_id)
    point["limits"].append(INVENTED | limit)
    draft = plan.begin_draft(
        book.coordinator, "With one limit more", content, None, moment(FOUNDED)
    )
    book.version = plan.publish_plan(book.coordinator, draft, "", moment(FOUNDED))


@dataclass
class Case:
    """A lot at a step with something late or put right on which one limit of it rests."""

    book: Book
    lot: Lot
    load: Load
    step: str
    limit: str
    kind: str  # of the entry that waits
    milder: Verdict = Verdict.MET

    def found(self, at: str) -> Judged:
        return self.book.judged(self.lot, self.step, at)[self.limit]

    def waiting(self) -> list[str]:
        return [row.key for row in late_rows([self.lot.pk]) if row.kind == self.kind]

    def accept(self, at: str, reason: str = REASON) -> None:
        accept_late(self.book.reviewer, rows_named(self.waiting()), reason, moment(at))


# --- what makes a verdict milder, each before 14:00 -----------------------------------------------


def late_start(book: Book) -> Case:
    """In the cooler from 08:00, entered at 09:30, first read at 09:31: at least 2 h are asked for."""
    with_limit(book, "cold-hold", id="hold-long", kind="duration", of="place", at_least="2 h")
    lot = book.open_lot()
    portions = [Portion(lot, "hold", lot.quantity_g)]
    when = seen("08:00", "09:30", "the tablet was flat")
    load = start_load(book.operator, book.place("Cooler"), portions, when)
    book.at_place("Cooler", "09:31 36")
    book.end(load, "10:30")
    return Case(book, lot, load, "hold", "hold-long", "start")


def late_start_with_reading(book: Book) -> Case:
    """The same, but its cooler was read in time at 08:45: from then on it is shown to have stood there."""
    with_limit(book, "cold-hold", id="hold-long", kind="duration", of="place", at_least="2 h")
    lot = book.open_lot()
    book.at_place("Cooler", "08:45 36")
    portions = [Portion(lot, "hold", lot.quantity_g)]
    load = start_load(
        book.operator, book.place("Cooler"), portions, seen("08:00", "09:30", "flat tablet")
    )
    book.end(load, "10:30")
    return Case(book, lot, load, "hold", "hold-long", "start")


def start_moved(book: Book) -> Case:
    """Begun at 09:00, at 10:00 moved to 08:00."""
    with_limit(book, "cold-hold", id="hold-long", kind="duration", of="place", at_least="2 h")
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "09:00", lot)
    book.at_place("Cooler", "09:01 36")
    move_start(book.operator, load, seen("08:00", "10:00"), "carried in before")
    book.end(load, "10:30")
    return Case(book, lot, load, "hold", "hold-long", "start")


def probe_left(book: Book) -> Case:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(load, "10:05 60, 10:45 130, 11:00 138", probes=4)
    book.fish(load, "11:15 148, 11:30 149, 11:45 150")
    book.end(load, "11:50")
    say_probe_left(book.operator, load, "fish 4", seen("11:05", "12:10"), "slid out of the fish")
    return Case(book, lot, load, "smoke", "smoke-heat", "left")


def accuracy_check(book: Book) -> Case:
    """The thermometer was checked at 07:00, which was entered at 12:00."""
    with_limit(
        book, "cold-hold", id="hold-true", kind="accurate", of="place", within="24 h",
        tolerance="2 °F",
    )  # fmt: skip
    new = NewInstrument("Probe 7", "thermometer", "±1 °F", place=book.place("Cooler"))
    probe = house.register_instrument(book.coordinator, new, moment("06:30"))
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    figures = [Figure("36", "F", instrument=probe)]
    enter_readings(book.operator, load.place, None, figures, seen("08:05"))
    book.end(load, "09:00")
    check(book, probe, "07:00", "12:00")
    return Case(book, lot, load, "hold", "hold-true", "check")


def check(book: Book, one: Instrument, at: str, entered: str) -> AccuracyCheck:
    when = seen(at, entered, "no hand free")
    return house.check_accuracy(book.operator, one, "ice point", "32.5", "32", "F", when)


def logged_warm(book: Book) -> tuple[Case, Any]:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    figures = ["37"] * 10 + ["55"] + ["37"] * 10
    done = imported(book, csv("2026-03-04 08:01:00", 60, figures), "08:30", load.place)
    book.at_place("Cooler", "08:35 37")
    return Case(book, lot, load, "hold", "hold-cold", ""), done.row


def series_correction(book: Book) -> Case:
    case, source = logged_warm(book)
    right = Figure("37", "F")
    correct_series_reading(
        book.operator, source.series.get(), 10, right, "door open", seen("09:00")
    )
    return replace(case, kind="logged")


def file_withdrawn(book: Book) -> Case:
    case, source = logged_warm(book)
    withdraw_import(book.operator, source, "of the other cooler", seen("09:00"))
    return replace(case, kind="file")


def late_end(book: Book) -> Case:
    """Out of the cooler at 10:00, entered at 12:00, when it had been warm since 10:30."""
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    book.at_place("Cooler", "08:05 36, 10:30 50")
    end_load(book.operator, load, seen("10:00", "12:00", "at the truck"))
    return Case(book, lot, load, "hold", "hold-cold", "end")


Make = Callable[[Book], Case]
EACH: list[Make] = [
    late_start, late_start_with_reading, start_moved, probe_left, accuracy_check,
    series_correction, file_withdrawn, late_end,
]  # fmt: skip
KINDS = [pytest.param(make, id=make.__name__) for make in EACH]


@pytest.mark.parametrize("make", KINDS)
def test_it_stays_a_deviation_until_it_is_accepted(book: Book, make: Make) -> None:
    case = make(book)
    assert case.found("14:00").verdict is Verdict.DEVIATION, case.found("14:00").finding
    assert len(case.waiting()) == 1
    case.accept("14:01")
    judged = case.found("14:02")
    assert judged.verdict is Verdict.MET, judged.finding
    assert not judged.judgement.rests_on_late
    assert case.waiting() == []


@pytest.mark.parametrize("make", KINDS)
def test_what_is_shown_from_running_states_is_the_same_before_and_after(
    book: Book, make: Make
) -> None:
    case = make(book)

    def shown(at: str, anew: bool) -> list[tuple[str, object]]:
        return [(one.limit.id, one.judgement) for one in judge_lot(case.lot, moment(at), anew)]

    assert shown("14:00", anew=False) == shown("14:00", anew=True)
    case.accept("14:01")
    assert shown("14:02", anew=False) == shown("14:02", anew=True)


SHORT = ["", "   ", "looks ok", "    ok    1    "]  # each once, and nine letters for every kind
REASONS = [
    *(pytest.param(make, "123456789", id=make.__name__) for make in EACH),
    *(pytest.param(series_correction, reason, id=repr(reason)) for reason in SHORT),
]


@pytest.mark.parametrize(("make", "reason"), REASONS)
def test_a_reason_under_ten_letters_accepts_nothing(book: Book, make: Make, reason: str) -> None:
    case = make(book)
    before = BookLine.objects.count()
    with pytest.raises(Refused) as refusal:
        case.accept("14:01", reason)
    assert "Say why" in refusal.value.fields["reason"]
    assert (BookLine.objects.count(), Accepted.objects.count()) == (before, 0)
    assert case.found("14:02").verdict is Verdict.DEVIATION


def test_a_reason_of_ten_letters_is_taken(book: Book) -> None:
    case = series_correction(book)
    case.accept("14:01", "1234567890")
    assert case.found("14:02").verdict is Verdict.MET


@pytest.mark.parametrize("make", KINDS)
def test_it_is_accepted_once_and_by_the_records_reviewer_alone(book: Book, make: Make) -> None:
    case = make(book)
    rows = rows_named(case.waiting())
    for person in (book.operator, book.coordinator, book.inspector, book.keeper):
        with pytest.raises(NotAllowed):
            accept_late(person, rows, REASON, moment("14:01"))
    case.accept("14:01")
    before = BookLine.objects.count()
    with pytest.raises(Changed):
        accept_late(book.reviewer, rows, REASON, moment("14:02"))
    assert BookLine.objects.count() == before


# --- what is counted meanwhile --------------------------------------------------------------------


def least(book: Book, asked: str) -> None:
    with_limit(book, "cold-hold", id="hold-long", kind="duration", of="place", at_least=asked)


@pytest.mark.parametrize(
    ("asked", "verdict"), [("1 h", Verdict.MET), ("1 h 1 min", Verdict.DEVIATION)]
)
def test_a_late_start_counts_from_when_it_was_entered(
    book: Book, asked: str, verdict: Verdict
) -> None:
    least(book, asked)
    lot = book.open_lot()
    when = seen("08:00", "09:30", "the tablet was flat")
    portions = [Portion(lot, "hold", lot.quantity_g)]
    load = start_load(book.operator, book.place("Cooler"), portions, when)
    book.end(load, "10:30")
    judged = book.judged(lot, "hold", "10:31")["hold-long"]
    assert judged.verdict is verdict, judged.finding


@pytest.mark.parametrize(
    ("asked", "verdict"), [("1 h 45 min", Verdict.MET), ("1 h 46 min", Verdict.DEVIATION)]
)
def test_a_late_start_counts_from_the_first_reading_where_that_was_earlier(
    book: Book, asked: str, verdict: Verdict
) -> None:
    least(book, asked)
    lot = book.open_lot()
    book.at_place("Cooler", "08:45 36")
    when = seen("08:00", "09:30", "the tablet was flat")
    portions = [Portion(lot, "hold", lot.quantity_g)]
    load = start_load(book.operator, book.place("Cooler"), portions, when)
    book.end(load, "10:30")
    judged = book.judged(lot, "hold", "10:31")["hold-long"]
    assert judged.verdict is verdict, judged.finding


def test_a_late_start_counts_whole_against_at_most(book: Book) -> None:
    with_limit(book, "cold-hold", id="hold-short", kind="duration", of="place", at_most="2 h")
    lot = book.open_lot()
    when = seen("08:00", "09:30", "the tablet was flat")
    portions = [Portion(lot, "hold", lot.quantity_g)]
    load = start_load(book.operator, book.place("Cooler"), portions, when)
    book.end(load, "10:30")
    judged = book.judged(lot, "hold", "10:31")["hold-short"]
    assert (judged.verdict, judged.finding.broke_at) == (Verdict.DEVIATION, moment("10:00"))


def test_a_start_moved_again_after_its_acceptance_is_not_accepted_with_it(book: Book) -> None:
    least(book, "2 h")
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "09:00", lot)
    move_start(book.operator, load, seen("08:40", "10:00"), "carried in before")
    case = Case(book, lot, load, "hold", "hold-long", "start")
    case.accept("10:05")
    move_start(book.operator, load, seen("08:10", "10:10"), "and before that")
    book.end(load, "10:30")
    assert case.found("10:31").verdict is Verdict.DEVIATION


def test_a_start_and_a_check_in_time_need_no_acceptance(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    with pytest.raises(Refused, match="neither late nor a correction"):
        accept_late(book.reviewer, [load], REASON, moment("09:00"))
    one = check(book, book.thermometer, "09:00", "09:00")
    with pytest.raises(Refused, match="neither late nor a correction"):
        accept_late(book.reviewer, [one], REASON, moment("09:05"))
    assert not Accepted.objects.exists()


def test_a_failed_check_counts_at_once_however_late_it_is_entered(book: Book) -> None:
    case = accuracy_check(book)
    probe = AccuracyCheck.objects.get(instrument__name="Probe 7").instrument
    case.accept("12:30")
    assert case.found("12:31").verdict is Verdict.MET
    when = seen("09:30", "13:00", "no hand free")
    house.check_accuracy(book.operator, probe, "ice point", "36", "32", "F", when)
    assert case.found("13:01").verdict is Verdict.DEVIATION
