"""What an engineer's second reading found: each hole by which fish could be let go, closed."""

import json
from threading import Barrier, Thread

import pytest
from django.db import connection

from lots.entries import lot as lots
from lots.entries.deviation import Decision, decide, take_action
from lots.entries.lapses import notice_lapses
from lots.entries.load import Portion, end_load, move_start, start_load
from lots.entries.lot import finish_lot, split_lot, void_lot
from lots.entries.reading import correct_reading, observe
from lots.entries.readings import Figure
from lots.entries.refusals import Changed, Refused
from lots.entries.review import sign_reviews
from lots.models.book import BookLine
from lots.models.deviation import Deviation, DeviationNote
from lots.models.lot import Load, LoadEnd, LoadPart, Lot
from lots.models.reading import Reading
from lots.queries.lineage import through_steps
from lots.queries.release import bars, last_line, releasable_grams
from tests.entries.roads import brined, cooled, finished, freezing, packed, smoking
from tests.entries.test_deviation import DONE
from tests.laboratory import NewResult, enter_laboratory_result
from tests.make import Book, make_book, moment, seen


def part_smoked(book: Book) -> Lot:
    """Twenty kilograms brined, of which ten went through the smoke."""
    one = book.open_lot()
    brined(book, one)
    smoke = book.start("smoke", "Smokehouse 1", "10:45", one, kg=10)
    book.fish(smoke, "10:50 60, 11:30 120, 12:00 148, 12:15 148, 12:30 148, 12:45 148")
    book.end(smoke, "12:48")
    return one


def test_more_cannot_be_packed_than_went_through_each_step(book: Book) -> None:
    one = part_smoked(book)
    cooled(book, one)
    packed(book, one)
    book.end(freezing(book, one), "20:05")
    with pytest.raises(Refused, match="Only 10 kg went through Hot smoke, but 18 kg is packed"):
        finish_lot(book.operator, one, 18_000, 90, seen("20:10"))
    finish_lot(book.operator, one, 10_000, 90, seen("20:10"))


def test_a_raw_remainder_does_not_inherit_the_smoke_unasked(book: Book) -> None:
    one = part_smoked(book)
    with pytest.raises(Refused, match=r"Hot smoke\. Tick the loads that this portion was in"):
        split_lot(book.operator, one, "RAW", 10_000, "", moment("13:00"))
    brine = Load.objects.get(step_kind="brine")
    raw = split_lot(book.operator, one, "RAW", 10_000, "", moment("13:00"), loads=[brine.pk])
    assert "smoke" not in through_steps(raw)
    assert through_steps(one)["smoke"] == 10_000
    assert "Hot smoke has not been" in bars(raw, moment("13:01"))


def test_a_portion_cannot_claim_more_than_went_through(book: Book) -> None:
    one = part_smoked(book)
    every = list(Load.objects.values_list("pk", flat=True))
    with pytest.raises(Refused, match="Only 10 kg of lot TR-1 went through Hot smoke"):
        split_lot(book.operator, one, "X", 12_000, "", moment("13:00"), loads=every)
    split_lot(book.operator, one, "X", 10_000, "", moment("13:00"), loads=every)
    assert through_steps(one)["smoke"] == 0


def test_what_still_stands_in_a_load_is_not_inherited(book: Book) -> None:
    one = book.open_lot()
    brined(book, one)
    smoke = book.start("smoke", "Smokehouse 1", "10:45", one, kg=10)
    with pytest.raises(Refused, match="has not ended"):
        split_lot(book.operator, one, "RAW", 10_000, "", moment("11:00"), loads=[smoke.pk])


def cold_smoke(book: Book) -> tuple[Lot, Deviation]:
    one = finished(book, hottest="140")
    deviation = Deviation.objects.get(limit_id="smoke-heat")
    take_action(book.operator, deviation, DONE, moment("20:11"), moment("20:12"))
    return one, deviation


@pytest.mark.parametrize("kind", ["destroy", "release"])
def test_a_gram_does_not_end_a_deviation(book: Book, kind: str) -> None:
    one, deviation = cold_smoke(book)
    decide(
        book.reviewer,
        deviation,
        Decision(kind, 1, "a gram", "looked at by the trained person"),
        moment("20:15"),
    )
    assert f"deviation {deviation.pk} is open" in bars(one, moment("20:16"))


def test_decisions_together_never_exceed_the_fish(book: Book) -> None:
    one, deviation = cold_smoke(book)
    decide(book.reviewer, deviation, Decision("destroy", 10_000, "half"), moment("20:15"))
    with pytest.raises(Refused, match="at most 8 kg"):
        decide(book.reviewer, deviation, Decision("divert", 9_000, "x", seen=1), moment("20:16"))
    decide(book.reviewer, deviation, Decision("divert", 8_000, "x", seen=1), moment("20:16"))
    assert releasable_grams(one) == 0
    with pytest.raises(Changed, match="already ended"):
        decide(book.reviewer, deviation, Decision("hold", 1, "x", seen=2), moment("20:17"))


def test_a_worse_finding_after_the_last_word_opens_a_new_deviation(book: Book) -> None:
    warm = book.open_lot("TR-2")
    load = book.start("hold", "Cooler", "20:30", warm)
    book.at_place("Cooler", "20:31 41.0")
    first = Deviation.objects.get(load=load)
    take_action(book.operator, first, DONE, moment("20:31"), moment("20:32"))
    decide(
        book.reviewer,
        first,
        Decision("release", 20_000, "its own probe", "The core was above the limit all along"),
        moment("20:33"),
    )
    book.at_place("Cooler", "20:40 55.0")
    assert Deviation.objects.filter(load=load).count() == 2
    assert "deviation" in " ".join(bars(warm, moment("20:41")))


def test_an_open_deviation_is_extended_by_each_new_breach_and_not_by_the_same(book: Book) -> None:
    one = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", one)
    book.at_place("Cooler", "08:05 45.0, 08:20 46.0")
    assert Deviation.objects.filter(load=load).count() == 1
    assert [note.kind for note in DeviationNote.objects.all()] == ["extended"]
    notice_lapses([one], moment("08:30"))
    assert DeviationNote.objects.count() == 1


def test_reworked_fish_must_go_through_what_deviated_again(book: Book) -> None:
    one = book.open_lot()
    brined(book, one)
    book.end(smoking(book, one, "140"), "12:48")
    new = split_lot(book.operator, one, "RW", 20_000, "smoke it again", moment("13:00"), "rework")
    assert "Hot smoke has not been" in bars(new, moment("13:01"))
    smoke = book.start("smoke", "Smokehouse 2", "13:05", new)
    book.fish(smoke, "13:10 90, 14:00 148, 14:15 148, 14:30 148, 14:45 148")
    book.end(smoke, "14:46")
    against = " ".join(bars(new, moment("14:50")))
    assert "Hot smok" not in against.replace("Hot-smok", "")
    assert "deviation" not in against


def test_a_child_is_unreviewed_by_what_happens_to_a_step_that_it_inherited(book: Book) -> None:
    one = finished_smoke(book)
    child = split_lot(book.operator, one, "C", 10_000, "", moment("13:00"))
    line = last_line(child)
    assert line is not None
    sign_reviews(book.reviewer, [(child, line.number)], "", moment("13:10"))
    wrong = Reading.objects.filter(load__step_kind="smoke", as_read="148").first()
    assert wrong is not None
    correct_reading(book.operator, wrong, Figure("146", "F"), "misread", seen("13:20"))
    newest = last_line(child)
    assert newest is not None and newest.number > line.number
    words = bars(child, moment("13:30"))
    assert "something was entered after its review: review it again" in words
    assert "records of lot TR-1, which it came from, are not reviewed" in words


def finished_smoke(book: Book) -> Lot:
    one = book.open_lot()
    brined(book, one)
    book.end(smoking(book, one), "12:48")
    return one


def test_a_start_is_never_moved_forward(book: Book) -> None:
    load = book.start("brine", "Brine tank 1", "07:30", book.open_lot())
    book.at_place("Brine tank 1", "07:30 65")
    with pytest.raises(Refused, match="only be moved back"):
        move_start(book.operator, load, seen("07:31", "08:00", "late"), "it was colder later")


def test_a_lapse_before_a_start_is_moved_is_written_first(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    move_start(book.operator, load, seen("09:55", "12:30", "late"), "probed on the cart")
    deviation = Deviation.objects.order_by("id").first()
    assert deviation is not None and deviation.broke_at == moment("12:00")


def test_an_end_to_come_is_refused(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    with pytest.raises(Refused, match="still to come"):
        end_load(book.operator, load, seen("10:31", "10:30"))


def test_a_laboratory_result_of_a_split_lot_opens_its_own_deviation(db: None) -> None:
    book = make_book("hot-smoked-air-chilled")
    one = book.open_lot()
    pack = book.start("pack", "Table", "08:00", one)
    book.end(pack, "08:30")
    child = split_lot(book.operator, one, "C", 10_000, "", moment("09:00"))
    result = NewResult("water-phase salt", "%", ["1.0"], "An invented laboratory")
    at = moment("2026-03-05 09:00")
    enter_laboratory_result(book.reviewer, child, result, moment("09:10"), at, at)
    assert Deviation.objects.filter(lot=child, limit_id__contains="salt").count() == 1


def test_a_split_lot_is_not_voided(book: Book) -> None:
    one = book.open_lot()
    child = split_lot(book.operator, one, "C", 10_000, "", moment("07:10"))
    with pytest.raises(Refused, match="its weight would be lost"):
        void_lot(book.operator, child, "by mistake", moment("07:11"))


def test_one_lot_is_not_merged_with_itself(book: Book) -> None:
    one, two = book.open_lot("A"), book.open_lot("B")
    portions = [(one, 15_000), (one, 15_000), (two, 1_000)]
    with pytest.raises(Refused, match="each once"):
        lots.merge_lots(book.operator, portions, "M", "", moment("08:00"))


def test_a_used_key_is_not_answered_to_another_act(book: Book) -> None:
    load = book.start("brine", "Brine tank 1", "07:30", book.open_lot(), client_key="key")
    with pytest.raises(Refused, match="already used"):
        end_load(book.operator, load, seen("09:00"), client_key="key")
    with pytest.raises(Refused, match="already used"):
        observe(book.operator, load, [], seen("09:00"), client_key="key")


def test_a_lapse_written_meanwhile_writes_no_empty_line(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = book.open_lot()
    book.start("smoke", "Smokehouse 1", "08:00", one)
    from lots.entries import lapses

    real, asked = lapses.lapsed, []

    def once(*words: object) -> object:
        asked.append(words)
        return real(*words) if len(asked) == 1 else []  # type: ignore[arg-type]

    monkeypatch.setattr(lapses, "lapsed", once)
    before = BookLine.objects.count()
    assert notice_lapses([one], moment("11:00")) == 0
    assert (len(asked), BookLine.objects.count()) == (2, before)


def test_a_reading_taken_back_can_be_put_in_again(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    book.fish(load, "10:05 60", probes=1)
    first = Reading.objects.get(load=load)
    gone = correct_reading(book.operator, first, None, "wrong fish", seen("10:06")).readings[0]
    again = correct_reading(
        book.operator, gone, Figure("60", "F", "fish 1"), "it was right", seen("10:07")
    )
    assert not again.readings[0].withdrawn


@pytest.mark.django_db(transaction=True)
def test_the_same_fish_does_not_go_into_two_smokers_at_once() -> None:
    book = make_book()
    one = book.open_lot()
    barrier, refusals = Barrier(2), []

    def put(place: str) -> None:
        try:
            barrier.wait()
            portions = [Portion(one, "smoke", 20_000)]
            start_load(book.operator, book.place(place), portions, seen("08:00"))
        except Refused as refusal:
            refusals.append(str(refusal))
        finally:
            connection.close()

    both = [Thread(target=put, args=[place]) for place in ("Smokehouse 1", "Smokehouse 2")]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    assert len(refusals) == 1
    assert LoadPart.objects.filter(step="smoke").count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_people_do_not_both_end_a_load_first() -> None:
    book = make_book()
    load = book.start("brine", "Brine tank 1", "07:30", book.open_lot())
    barrier, refusals = Barrier(2), []

    def end(at: str) -> None:
        try:
            barrier.wait()
            end_load(book.operator, load, seen(at))
        except Changed as refusal:
            refusals.append(str(refusal))
        finally:
            connection.close()

    both = [Thread(target=end, args=[at]) for at in ("09:00", "09:01")]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    assert len(refusals) == 1
    assert LoadEnd.objects.filter(load=load).count() == 1


def test_nothing_is_recalled_that_never_left_the_house(book: Book) -> None:
    _, deviation = cold_smoke(book)
    with pytest.raises(Refused, match="Nothing of this lot has left the house"):
        decide(book.reviewer, deviation, Decision("recall", 18_000, "x"), moment("20:15"))


def test_a_deviation_keeps_the_readings_that_its_limit_looks_at_and_no_others(book: Book) -> None:
    one = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", one)
    book.fish(load, "08:02 39", probes=1)
    book.at_place("Cooler", "08:05 45.0")
    deviation = Deviation.objects.get(load=load)
    warm = Reading.objects.get(place=book.place("Cooler"), load=None)
    assert json.loads(deviation.evidence)["readings"] == [warm.pk]
    assert json.loads(deviation.evidence)["readings_in_all"] == 1


def test_a_late_correction_of_an_end_keeps_both_reasons(book: Book) -> None:
    load = book.start("hold", "Cooler", "08:00", book.open_lot())
    book.at_place("Cooler", "08:05 36.0")
    book.end(load, "08:30")
    late = seen("08:20", "09:30", "the clock was misread")
    end_load(book.operator, load, late, correct_because="it was carried out at 08:20")
    newest = LoadEnd.objects.order_by("-id")[0]
    assert newest.reason == "it was carried out at 08:20; the clock was misread"
