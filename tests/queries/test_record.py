"""The record built from a book that was made through entries, and what its pages say."""

from functools import lru_cache
from subprocess import run

import pytest

from lots.core.record import LotRecord, canonical_bytes, record_from
from lots.entries import load, lot, reading, review
from lots.entries.brining import Salting
from lots.entries.deviation import Action, Decision, decide, take_action
from lots.entries.readings import Figure
from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.models.reading import Observation, Reading
from lots.pdf.render import render
from lots.queries.house import establishment
from lots.queries.record import get_lot_for_record, lot_record
from lots.queries.record_figures import rounded
from lots.queries.release import last_line
from tests.entries.roads import brined, finished, smoking
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, make_book, moment, seen


def record_of(book: Book, one: Lot, at: str = "2026-03-06 12:00") -> LotRecord:
    house, whole = establishment(), get_lot_for_record(one.code)
    assert house is not None and whole is not None
    return lot_record(whole, house, book.reviewer, moment(at))


@lru_cache(maxsize=4)
def paper(record: LotRecord) -> str:
    """What poppler reads out of the pages, white space evened out."""
    said = run(["pdftotext", "-raw", "-", "-"], input=render(record), capture_output=True)
    return " ".join(said.stdout.decode().split())


def rests(record: LotRecord, limit: str) -> tuple[str, ...]:
    return next(one.rests_on for one in record.verdicts if one.limit == limit)


def test_a_record_of_a_book_is_one_that_canonical_bytes_give_back(book: Book) -> None:
    record = record_of(book, finished(book))
    assert record_from(canonical_bytes(record)) == record


def test_a_measured_limit_rests_on_the_readings_of_its_quantity(chilled: Book) -> None:
    one = chilled.open_lot()
    tank = chilled.start("brine", "Brine tank 1", "07:30", one)
    chilled.at_place("Brine tank 1", "07:30 38")
    figures = [Figure("70", "°SAL", quantity="brine strength")]
    reading.enter_readings(chilled.operator, tank.place, tank, figures, seen("07:35"))
    strength = Reading.objects.get(quantity="brine strength")
    assert rests(record_of(chilled, one, "08:00"), "brine-strength") == (f"reading {strength.pk}",)


@pytest.fixture
def chilled(db: None) -> Book:
    return make_book("hot-smoked-air-chilled")


def test_a_thickness_read_in_inches_is_printed_in_inches(chilled: Book) -> None:
    one = chilled.open_lot()
    tank = chilled.start("brine", "Brine tank 1", "07:30", one)
    figures = [Figure("1.2", "in", "fish 1", quantity="thickness")]
    reading.enter_readings(chilled.operator, tank.place, tank, figures, seen("07:35"))
    record = record_of(chilled, one, "08:00")
    figure = next(v.figure for v in record.verdicts if "thickness" in v.figure)
    assert figure.startswith("thickness 1.2 in")
    assert "30.48" not in paper(record)


def test_an_observed_limit_rests_on_its_observations_and_a_lasting_one_on_the_loads_times(
    book: Book,
) -> None:
    one = finished(book)
    record = record_of(book, one)
    number = Observation.objects.get(what__startswith="packs from the middle").pk
    assert any(one.rests_on == (f"observation {number}",) for one in record.verdicts)
    pack = one.parts.get(step="pack").load_id
    assert any(one.rests_on == (f"start and end of load {pack}",) for one in record.verdicts)


def test_a_cooling_rests_on_its_fish_and_on_that_of_the_step_before(book: Book) -> None:
    one = finished(book)
    smoke, cool = one.parts.get(step="smoke").load_id, one.parts.get(step="cool").load_id
    words = next(v.rests_on for v in record_of(book, one).verdicts if "cooled" in v.bound)
    fish = Reading.objects.filter(load=cool).order_by("pk")
    assert words == (
        f"readings {fish[0].pk} to {fish.last().pk} ({fish.count()})",  # type: ignore[union-attr]
        f"fish of load {smoke}, the step before",
    )


def test_the_first_readings_limit_rests_on_the_first_reading_alone(book: Book) -> None:
    one = book.open_lot()
    brined(book, one)
    first = Reading.objects.filter(place__name="Brine tank 1").order_by("pk").first()
    assert first is not None
    words = next(v.rests_on for v in record_of(book, one).verdicts if "first reading" in v.bound)
    assert words == (f"reading {first.pk}",)


def test_a_late_end_and_its_correction_are_printed_with_their_reasons(book: Book) -> None:
    one = book.open_lot()
    tank = book.start("brine", "Brine tank 1", "07:30", one)
    load.end_load(book.operator, tank, seen("10:00", "12:00", "was at the dock"))
    load.end_load(
        book.operator,
        tank,
        seen("10:30", "12:30", "found at lunch"),
        correct_because="looked at the wrong clock",
    )
    ends = list(tank.ends.order_by("pk"))
    reading.accept_late(book.reviewer, [ends[-1]], "the tank's log agrees", moment("13:00"))
    text = paper(record_of(book, one))
    assert "End entered late, 4 Mar 2026 12:00 −05:00, by OO: was at the dock" in text
    assert "End corrected from 4 Mar 2026 10:00 −05:00 to 4 Mar 2026 10:30 −05:00 by OO" in text
    assert "looked at the wrong clock" in text
    assert "Accepted 4 Mar 2026 13:00 −05:00 by RR: the tank's log agrees" in text


def test_a_correction_not_accepted_says_so(book: Book) -> None:
    one = book.open_lot()
    tank = book.start("brine", "Brine tank 1", "07:30", one)
    book.end(tank, "10:00")
    load.end_load(
        book.operator, tank, seen("10:30", "12:30", "found at lunch"), correct_because="wrong clock"
    )
    assert "wrong clock; found at lunch; not accepted yet" in paper(record_of(book, one))


def test_a_start_entered_late_is_printed_with_its_reason(book: Book) -> None:
    one = book.open_lot()
    portion = load.Portion(one, "brine", one.quantity_g)
    when = seen("07:30", "11:00", "the tablet was flat")
    tank, short = book.place("Brine tank 1"), Salting("short")
    load.start_load(book.operator, tank, [portion], when, salting=short)
    assert "Start entered late, 4 Mar 2026 11:00 −05:00: the tablet was flat" in paper(
        record_of(book, one)
    )


def test_a_corrected_observation_stands_above_its_correction(book: Book) -> None:
    one = finished(book)
    wrong = Observation.objects.get(what__startswith="label names")
    reading.correct_observation(book.operator, wrong, False, "read the wrong label", seen("20:30"))
    record = record_of(book, one)
    new = Observation.objects.get(corrects=wrong)
    assert f"Corrected by no. {new.pk}." in paper(record)
    assert f"Corrects no. {wrong.pk}: read the wrong label" in paper(record)


def test_a_probe_that_left_is_printed_with_the_reason(book: Book) -> None:
    one = book.open_lot()
    brined(book, one)
    house = smoking(book, one)
    load.say_probe_left(book.operator, house, "fish 2", seen("12:20"), "slid out of the fish")
    assert (
        "fish 2 left at 4 Mar 2026 12:20 −05:00 (OO, said 4 Mar 2026 12:20 −05:00): slid out"
        in paper(record_of(book, one))
    )


def test_a_process_adjustment_is_printed_beside_its_limit(book: Book) -> None:
    one = book.open_lot()
    brined(book, one)
    house = smoking(book, one)
    limit = next(v.limit for v in record_of(book, one).verdicts if v.load == house.pk)
    reading.adjust_process(
        book.operator, one, house, limit, "145.5 °F", "opened the damper", moment("12:40")
    )
    text = paper(record_of(book, one))
    assert "Process adjustments" in text and "145.5 °F opened the damper" in text


def test_a_destroyed_part_is_printed_with_grams_moment_and_reason(book: Book) -> None:
    one = book.open_lot()
    lot.destroy_part(book.operator, one, 1_500, "dropped, into the bin", moment("08:00"))
    assert "1.5 kg, 4 Mar 2026 08:00 −05:00 by OO: dropped, into the bin" in paper(
        record_of(book, one)
    )


def test_a_split_lot_prints_the_steps_that_it_took_along_and_from_where(book: Book) -> None:
    one = book.open_lot()
    tank = brined(book, one)
    new = lot.split_lot(book.operator, one, "TR-1B", 5_000, "thin sides apart", moment("10:40"))
    record = record_of(book, new)
    text = paper(record)
    dock = one.parts.order_by("pk")[0].load_id
    assert (
        f"TR-1 (split, 5.0 kg); 4 Mar 2026 10:40 −05:00 by OO; thin sides apart; taken along: loads {dock}, {tank.pk}"
        in text
    )
    assert text.count("Step of lot TR-1, taken along from there.") == 2
    assert {r.place for r in record.readings} >= {"Brine tank 1"}
    assert any(v.load == tank.pk for v in record.verdicts)
    gave = paper(record_of(book, one))
    assert (
        "Went into TR-1B (split, 5.0 kg); 4 Mar 2026 10:40 −05:00 by OO; thin sides apart" in gave
    )


def test_a_load_that_two_merged_lots_shared_is_printed_once(book: Book) -> None:
    one, other = book.open_lot("TR-1"), book.open_lot("TR-2")
    tank = book.start("brine", "Brine tank 1", "07:30", one, other)
    book.at_place("Brine tank 1", "07:30 38")
    book.end(tank, "10:30")
    new = lot.merge_lots(
        book.operator, [(one, 20_000), (other, 20_000)], "TR-3", "one rack", moment("10:40")
    )
    record = record_of(book, new)
    assert [one.number for one in record.loads].count(tank.pk) == 1
    assert next(one.of_lot for one in record.loads if one.number == tank.pk) == "TR-1, TR-2"
    assert len(set(record.verdicts)) == len(record.verdicts)


def test_finish_and_release_are_printed_with_their_notes(book: Book) -> None:
    one = finished(book)
    line = last_line(one)
    assert line is not None
    review.sign_reviews(book.reviewer, [(one, line.number)], "looked through", moment("20:30"))
    review.release_lot(
        book.reviewer, one, {"release": 18_000}, "sold whole", moment("20:40"), "shelf by lot"
    )
    text = paper(record_of(book, one))
    assert "Packed 4 Mar 2026 20:10 −05:00 by OO" in text
    assert "stated at release: shelf by lot" in text and "Note: sold whole" in text
    assert "looked through" in text
    assert "Not in storage yet" in text


def test_a_voided_lot_says_why_when_and_by_whom(book: Book) -> None:
    one = book.open_lot()
    lot.void_lot(book.operator, one, "opened twice", moment("07:20"))
    text = paper(record_of(book, one))
    assert "VOID This lot was opened in error: opened twice" in text
    assert "Voided 4 Mar 2026 07:20 −05:00 by OO." in text


def test_the_plans_signature_is_no_review(book: Book) -> None:
    text = paper(record_of(book, book.open_lot()))
    first = text.split("1 Temperature over time")[0]
    assert "Records: reviewed by nobody yet." in first
    assert "Reviewed and signed" not in first
    assert "Plan accepted for use by Cora Coordinator (CC)" in text


def warm(book: Book) -> tuple[Lot, Deviation]:
    one = book.open_lot()
    book.start("brine", "Brine tank 1", "07:30", one)
    book.at_place("Brine tank 1", "07:30 62")
    return one, Deviation.objects.get()


def test_who_is_named_to_review_is_not_said_to_have_done_so(book: Book) -> None:
    one, deviation = warm(book)
    action = Action(False, "iced", "chilled", "pump", "red tag", "Cora", "Cora", "2026-11-27")
    take_action(book.operator, deviation, action, moment("07:35"), moment("07:40"))
    text = paper(record_of(book, one))
    assert "Acceptability to be reviewed by Cora" in text
    assert "Plan to be reassessed by Cora, by 27 Nov 2026" in text
    assert "Acceptability review:" not in text


def test_each_part_decided_about_is_printed_and_what_is_left(book: Book) -> None:
    one, deviation = warm(book)
    take_action(
        book.operator,
        deviation,
        Action(True, "iced", "chilled", "pump"),
        moment("07:35"),
        moment("07:40"),
    )
    first = decide(
        book.reviewer, deviation, Decision("destroy", 2_000, "top rack"), moment("07:45")
    )
    later = Decision("release", 5_000, "lower racks", "stayed under 40 °F", seen=first.number)
    decide(book.reviewer, deviation, later, moment("07:50"))
    text = paper(record_of(book, one))
    assert "destroy 2.0 kg, release 5.0 kg, still undecided: 13.0 kg" in text
    assert "Still undecided: 13.0 kg." in text
    assert "Acceptability review: stayed under 40 °F" in text


def test_a_deviations_evidence_is_what_its_limit_looks_at_and_was_known_then(book: Book) -> None:
    one, _ = warm(book)
    bad = Reading.objects.get(as_read="62")
    book.at_place("Brine tank 1", "08:00 61")
    (deviation,) = [
        d for d in record_of(book, one, "08:10").deviations if d.broke_at == moment("07:30")
    ]
    assert deviation.evidence.endswith(f"rests on reading {bad.pk}")


def test_a_deviation_put_right_keeps_its_note_with_the_moment(book: Book) -> None:
    one, _ = warm(book)
    bad = Reading.objects.get(as_read="62")
    new = Figure("42", "F")
    reading.correct_reading(book.operator, bad, new, "digits swapped", seen("07:40"))
    right = Reading.objects.get(corrects=bad)
    reading.accept_late(book.reviewer, [right], "seen on the display", moment("07:50"))
    text = paper(record_of(book, one, "07:55"))
    assert "Since then 4 Mar 2026 07:50 −05:00 (RR): not reproduced from here on" in text
    assert f"Corrects no. {bad.pk}: digits swapped" in text


def test_a_laboratorys_result_is_named_by_its_number(chilled: Book) -> None:
    one = chilled.open_lot()
    new = NewResult(
        "water-phase salt", "%", ["3.1", "3.4"], "Invented Laboratory", note="two loins"
    )
    row = enter_laboratory_result(
        chilled.operator, one, new, moment("07:00"), moment("07:05"), moment("07:10")
    )
    assert f"{row.pk} water-phase salt 3.1 %" in paper(record_of(chilled, one))
    assert "Note: two loins" in paper(record_of(chilled, one))


@pytest.mark.parametrize(
    ("estimate", "short"),
    [
        ("about 99 min 6.666 s if straight", "about 99 min if straight"),
        ("about 2 h 30 min 40 s if straight", "about 2 h 31 min if straight"),
        ("about 45.4 s if straight", "about 45 s if straight"),
        ("about 30 min if straight", "about 30 min if straight"),
    ],
)
def test_an_estimate_claims_no_more_than_whole_minutes(estimate: str, short: str) -> None:
    assert rounded(estimate) == short


def test_whoever_put_a_hand_to_the_lot_is_named_among_the_initials(book: Book) -> None:
    one = finished(book)
    assert {p.initials for p in record_of(book, one).people} == {"OO", "CC", "RR"}
