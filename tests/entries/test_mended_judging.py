"""What a later entry must not hide: breaches after an end put right, fish that cooled first, what was
only looked for when the step was over."""

from lots.core.limits import Verdict
from lots.entries.load import end_load
from lots.entries.lot import merge_lots
from lots.entries.reading import accept_late
from lots.models.deviation import Deviation
from lots.models.lot import Load, LoadEnd, Lot
from lots.queries.judgements import Judged
from tests.entries.roads import LABEL, csv, imported, what_of
from tests.make import Book, moment, seen

EARLY = "08:05 60, 09:00 148, 09:15 148, 09:30 148, 09:45 100"  # last at or above 140 °F at 09:30
LATE = "08:35 60, 11:00 148, 11:15 148, 11:30 148"
COOLED = "11:45 100, 12:30 80, 13:10 68"


def cut_short(book: Book, lot: Lot, until: str = "07:50") -> Load:
    """A load in the cooler whose end was said to be 08:10, then put right without acceptance."""
    load = book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:35 38")
    book.end(load, "08:10")
    end_load(book.operator, load, seen(until, "08:20", "said"), correct_because="wrong end")
    return load


def accept_end(book: Book, load: Load) -> None:
    end = LoadEnd.objects.get(load=load, corrected_by=None)
    accept_late(book.reviewer, [end], "two people saw it", moment("08:40"))


def test_an_end_put_right_to_earlier_hides_no_breach_until_it_is_accepted(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:35 38, 08:00 55")
    book.end(load, "08:10")
    end_load(book.operator, load, seen("07:50", "08:20", "said"), correct_because="wrong end")
    cold = book.judged(lot, "hold", "08:21")["hold-cold"]
    assert (cold.verdict, cold.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    assert not Deviation.objects.get().notes.exists()
    accept_end(book, load)
    assert book.judged(lot, "hold", "08:41")["hold-cold"].verdict is Verdict.MET


def test_a_file_of_the_time_that_an_end_put_right_cut_off_still_counts(book: Book) -> None:
    lot = book.open_lot()
    load = cut_short(book, lot)
    file = csv("2026-03-04 07:36:00", 60, [37] * 20 + [55] * 10)
    imported(book, file, "08:30", load.place)
    assert book.judged(lot, "hold", "08:31")["hold-cold"].verdict is Verdict.DEVIATION
    assert Deviation.objects.get().limit_id == "hold-cold"


def test_a_file_that_lies_wholly_in_the_time_cut_off_is_held_against_the_load(book: Book) -> None:
    lot = book.open_lot()
    load = cut_short(book, lot)
    imported(book, csv("2026-03-04 07:55:00", 60, [55] * 10), "08:30", load.place)
    assert Deviation.objects.get().limit_id == "hold-cold"


def test_a_file_after_an_accepted_end_is_no_longer_held_against_the_load(book: Book) -> None:
    lot = book.open_lot()
    load = cut_short(book, lot)
    accept_end(book, load)
    imported(book, csv("2026-03-04 07:55:00", 60, [55] * 10), "08:50", load.place)
    assert book.judged(lot, "hold", "08:51")["hold-cold"].verdict is Verdict.MET
    assert not Deviation.objects.exists()


def test_an_end_entered_late_leaves_out_no_reading_before_it_was_entered(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "07:35 38, 08:30 55")
    end_load(book.operator, load, seen("08:00", "09:00", "busy"))
    cold = book.judged(lot, "hold", "09:01")["hold-cold"]
    assert (cold.verdict, cold.judgement.rests_on_late) == (Verdict.DEVIATION, True)


def cooling(book: Book, lot: Lot) -> Judged:
    cool = book.start("cool", "Cooler", "11:40", lot)
    book.fish(cool, COOLED)
    return book.judged(lot, "cool", "13:11")["cooling"]


def smoked(book: Book, *portions: tuple[Lot, float]) -> None:
    """The first portion in one smokehouse until 09:50, the second in the other until 11:35."""
    (one, kg), (other, rest) = portions
    first = book.start("smoke", "Smokehouse 1", "08:00", one, kg=kg)
    second = book.start("smoke", "Smokehouse 2", "08:30", other, kg=rest)
    book.fish(first, EARLY)
    book.end(first, "09:50")
    book.fish(second, LATE)
    book.end(second, "11:35")


def test_fish_of_two_smokehouses_cools_from_when_the_first_of_it_began_to(book: Book) -> None:
    lot = book.open_lot()
    smoked(book, (lot, 10), (lot, 10))
    found = cooling(book, lot)
    assert (found.verdict, found.finding.broke_at) == (Verdict.DEVIATION, moment("11:30"))


def test_fish_of_two_merged_lots_cools_from_when_the_first_of_it_began_to(book: Book) -> None:
    one, other = book.open_lot("TR-1"), book.open_lot("TR-2")
    smoked(book, (one, 20), (other, 20))
    portions = [(one, 20_000), (other, 20_000)]
    merged = merge_lots(book.operator, portions, "TR-3", "", moment("11:36"))
    found = cooling(book, merged)
    assert (found.verdict, found.finding.broke_at) == (Verdict.DEVIATION, moment("11:30"))


def test_a_fish_not_read_in_the_smokehouse_cools_from_when_the_first_fish_there_began_to(
    book: Book,
) -> None:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "08:00", lot)
    book.fish(load, "09:00 148, 09:45 148, 10:00 120")
    book.fish(load, "11:30 148", probes=4)
    book.end(load, "11:35")
    cool = book.start("cool", "Cooler", "11:40", lot)
    book.fish(cool, COOLED)
    # every fish was hot at 11:30 still
    assert book.judged(lot, "cool", "13:11")["cooling"].verdict is Verdict.PENDING


def test_what_is_looked_for_when_the_step_is_over_counts_only_once_accepted(book: Book) -> None:
    lot = book.open_lot()
    pack = book.start("pack", "Table", "08:00", lot)
    book.end(pack, "08:30")
    assert Deviation.objects.get().limit_id == "label"
    book.observe(pack, what_of(lot, LABEL), True, "09:00")
    label = book.judged(lot, "pack", "09:01")["label"]
    assert (label.verdict, label.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    assert not Deviation.objects.get().notes.exists()


def test_what_is_found_bad_when_the_step_is_over_counts_at_once(book: Book) -> None:
    lot = book.open_lot()
    pack = book.start("pack", "Table", "08:00", lot)
    book.observe(pack, what_of(lot, LABEL), True, "08:20")
    book.end(pack, "08:30")
    book.observe(pack, what_of(lot, LABEL), False, "09:00")
    assert book.judged(lot, "pack", "09:01")["label"].verdict is Verdict.DEVIATION
