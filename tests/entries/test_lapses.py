"""What time alone breaks is written in the name of the book, dated to when it broke."""

from lots.entries import reading
from lots.entries.lapses import lapsed, notice_lapses
from lots.entries.lot import split_lot
from lots.entries.reading import accept_late, correct_reading
from lots.entries.readings import Figure
from lots.entries.refusals import Refused
from lots.models.book import BookLine
from lots.models.deviation import Deviation, DeviationNote
from lots.models.lot import Load, Lot
from lots.models.reading import Reading
from lots.queries.shift_review import broken_since
from tests.make import Book, moment, seen


def in_smoke(book: Book) -> tuple[Lot, Load]:
    """A lot in the smokehouse, read at 10:10 and due again at 12:10."""
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(load, "10:10 90")
    return lot, load


def late(book: Book, load: Load, observed: str, entered: str) -> list[Reading]:
    figures = [Figure("120", "F", f"fish {n}") for n in (1, 2, 3)]
    when = seen(observed, entered, "the tablet was wet")
    return reading.enter_readings(book.operator, load.place, load, figures, when).readings


def test_a_server_off_for_three_hours_writes_one_deviation_dated_to_the_minute(book: Book) -> None:
    lot, _ = in_smoke(book)
    assert notice_lapses([lot], moment("15:10")) == 1
    deviation = Deviation.objects.get()
    assert deviation.limit_id == "smoke-read"
    assert deviation.broke_at == moment("12:10")
    assert deviation.line.person is None
    assert deviation.line.at == moment("15:10")
    assert deviation.line.kind == "lapse noticed"


def test_a_reading_still_in_time_is_no_lapse(book: Book) -> None:
    lot, _ = in_smoke(book)
    assert notice_lapses([lot], moment("12:10")) == 0  # exactly on the two hours


def test_noticing_again_adds_nothing(book: Book) -> None:
    lot, _ = in_smoke(book)
    notice_lapses([lot], moment("15:10"))
    lines = BookLine.objects.count()
    assert notice_lapses([lot], moment("15:11")) == 0
    assert notice_lapses([lot], moment("18:00")) == 0
    assert BookLine.objects.count() == lines
    assert not DeviationNote.objects.exists()


def test_every_entry_on_the_lot_notices_first(book: Book) -> None:
    _, load = in_smoke(book)
    book.fish(load, "13:00 110")
    kinds = list(BookLine.objects.order_by("-number").values_list("kind", flat=True)[:2])
    assert kinds == ["reading entered", "lapse noticed"]
    assert Deviation.objects.get().broke_at == moment("12:10")


def test_a_second_lapse_extends_the_open_deviation(book: Book) -> None:
    lot, load = in_smoke(book)
    book.fish(load, "13:00 110")
    notice_lapses([lot], moment("15:30"))
    assert Deviation.objects.count() == 1
    note = DeviationNote.objects.get()
    assert (note.kind, note.last_broke_at) == ("extended", moment("15:00"))


def test_a_lapse_not_yet_written_is_seen_as_broken_since(book: Book) -> None:
    lot, _ = in_smoke(book)
    found = broken_since(moment("13:00"))
    assert [(one.part.lot_id, one.limit.id, one.finding.broke_at) for one in found] == [
        (lot.pk, "smoke-read", moment("12:10"))
    ]
    assert not Deviation.objects.exists()
    assert [one.limit.id for one in lapsed([lot], moment("13:00"))] == ["smoke-read"]
    notice_lapses([lot], moment("13:01"))
    assert broken_since(moment("13:02")) == []


def test_a_late_reading_leaves_the_lapse_a_deviation_until_it_is_accepted(book: Book) -> None:
    lot, load = in_smoke(book)
    notice_lapses([lot], moment("12:30"))
    rows = late(book, load, "12:00", "12:40")
    judged = book.judged(lot, "smoke", "12:41")["smoke-read"]
    assert judged.verdict.value == "DEVIATION"
    assert judged.judgement.rests_on_late
    assert "not yet accepted" in judged.finding.why
    assert not DeviationNote.objects.exists()
    accept_late(book.reviewer, rows, "agrees with the chart on the wall", moment("12:50"))
    assert book.judged(lot, "smoke", "12:51")["smoke-read"].verdict.value == "MET"
    assert DeviationNote.objects.get().kind == "not reproduced"
    assert Deviation.objects.count() == 1  # none disappears


def test_a_late_reading_before_the_lapse_was_noticed_does_not_hide_it(book: Book) -> None:
    lot, load = in_smoke(book)
    late(book, load, "12:00", "12:40")
    assert Deviation.objects.get().broke_at == moment("12:10")
    assert book.judged(lot, "smoke", "12:41")["smoke-read"].verdict.value == "DEVIATION"


def test_accepting_needs_a_reason_and_something_late(book: Book) -> None:
    _, load = in_smoke(book)
    rows = late(book, load, "10:20", "10:50")
    for attempt, words in (
        (lambda: accept_late(book.reviewer, rows, " ", moment("11:00")), "believed"),
        (lambda: accept_late(book.reviewer, [], "why", moment("11:00")), "Tick"),
        (lambda: accept_late(book.reviewer, rows, "ok, fine", moment("11:00")), "few words"),
        (
            lambda: accept_late(
                book.reviewer,
                [Reading.objects.filter(load=load).first()],
                "agrees with the chart",
                moment("11:00"),
            ),
            "neither",
        ),
    ):
        try:
            attempt()
        except Refused as refusal:
            assert words in str(refusal)
        else:
            raise AssertionError(words)


def test_a_correction_that_turns_the_verdict_waits_for_acceptance_too(book: Book) -> None:
    lot = book.open_lot()
    book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:30 62")
    assert Deviation.objects.get().limit_id == "brine-start"
    wrong = Reading.objects.get(place=book.place("Brine tank 1"))
    fixed = correct_reading(
        book.operator, wrong, Figure("52", "F"), "read 52, typed 62", seen("07:40")
    ).readings
    assert book.judged(lot, "brine", "07:41")["brine-start"].verdict.value == "DEVIATION"
    accept_late(book.reviewer, fixed, "the operator showed the note", moment("08:00"))
    assert book.judged(lot, "brine", "08:01")["brine-start"].verdict.value == "MET"
    assert DeviationNote.objects.get().kind == "not reproduced"
    assert Deviation.objects.count() == 1


def test_a_correction_for_the_worse_needs_no_acceptance(book: Book) -> None:
    lot = book.open_lot()
    book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:30 52")
    right = Reading.objects.get(place=book.place("Brine tank 1"))
    correct_reading(book.operator, right, Figure("62", "F"), "misread", seen("07:40"))
    assert book.judged(lot, "brine", "07:41")["brine-start"].verdict.value == "DEVIATION"
    assert Deviation.objects.get().limit_id == "brine-start"


def test_a_second_pass_after_it_came_back_is_noted_as_extended(book: Book) -> None:
    lot, load = in_smoke(book)
    notice_lapses([lot], moment("12:30"))
    rows = late(book, load, "12:00", "12:40")
    accept_late(book.reviewer, rows, "agrees with the chart", moment("12:50"))
    notice_lapses([lot], moment("14:30"))
    assert [note.kind for note in DeviationNote.objects.order_by("id")] == [
        "not reproduced",
        "extended",
    ]
    assert Deviation.objects.count() == 1


def test_a_lot_split_off_still_carries_the_lapse_of_the_lot_it_came_from(book: Book) -> None:
    lot, load = in_smoke(book)
    book.end(load, "13:00")
    new = split_lot(book.operator, lot, "TR-1B", 5_000, "smaller packs", moment("13:10"))
    from lots.queries.release import deviations_of

    assert [one.deviation.lot.code for one in deviations_of(new)].count("TR-1") >= 1
