"""Late readings and corrections that turn a verdict, through the book: three kinds, in both directions."""

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from lots.core.limits import Verdict
from lots.entries.reading import Look, accept_late, correct_reading, enter_readings, observe
from lots.entries.readings import Figure
from lots.models.deviation import Deviation
from lots.models.lot import Load, Lot
from lots.models.reading import Observation, Reading
from lots.queries.judgements import Judged
from tests.entries.roads import LABEL, what_of
from tests.make import Book, moment, seen

PROBES = 3


@dataclass
class Case:
    """A load on its way, its limit, and how it is entered."""

    book: Book
    lot: Lot
    load: Load
    step: str
    limit: str
    until: str

    def read(self, at: str, figure: str, entered: str | None = None) -> None:
        subject = None if self.limit == "hold-cold" else self.load
        names = [""] if subject is None else [f"fish {n + 1}" for n in range(PROBES)]
        figures = [Figure(figure, "F", name) for name in names]
        when = seen(at, entered, "the pen was wet" if entered else "")
        enter_readings(self.book.operator, self.load.place, subject, figures, when)

    def correct(self, at: str, figure: str, when: str) -> None:
        for row in Reading.objects.filter(observed_at=moment(at), place=self.load.place):
            correct_reading(self.book.operator, row, Figure(figure, "F"), "misread", seen(when))

    def end(self) -> None:
        self.book.end(self.load, self.until)

    def found(self, at: str) -> Judged:
        return self.book.judged(self.lot, self.step, at)[self.limit]

    def accept(self, at: str) -> None:
        late = Reading.objects.filter(line__at__gt=moment("11:00"), accepted=None)
        rows = [row for row in late if row.place_id == self.load.place_id]
        accept_late(self.book.reviewer, rows, "two people saw it", moment(at))


def held_cold(book: Book) -> Case:
    lot = book.open_lot()
    return Case(book, lot, book.start("hold", "Cooler", "08:00", lot), "hold", "hold-cold", "10:30")


def heated(book: Book) -> Case:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "08:00", lot)
    return Case(book, lot, load, "smoke", "smoke-heat", "10:30")


def cooled(book: Book) -> Case:
    lot = book.open_lot()
    smoke = book.start("smoke", "Smokehouse 1", "07:10", lot)
    book.fish(smoke, "07:15 60, 07:30 148, 07:45 148, 08:00 148, 08:10 148")
    book.end(smoke, "08:12")
    load = book.start("cool", "Cooler", "08:12", lot)
    return Case(book, lot, load, "cool", "cooling", "10:50")


Begin = Callable[[Book], Case]
# kind: how it begins, readings in time that meet it, and which of them matters: (moment, good, bad)
GOOD = {
    "at most": (held_cold, "08:10 37, 09:00 37, 10:00 37", ("09:00", "37", "45")),
    "maintained": (heated, "08:20 60, 09:00 148, 09:15 148, 09:30 148", ("09:15", "148", "138")),
    "cooling": (
        cooled,
        "08:15 141, 09:00 100, 09:50 69, 10:20 60, 10:40 39",
        ("09:50", "69", "96"),
    ),
}
KINDS = [pytest.param(*case, id=kind) for kind, case in GOOD.items()]


def read_all(case: Case, page: str, without: str = "", instead: str = "") -> None:
    for entry in page.split(", "):
        at, figure = entry.split()
        if at != without:
            case.read(at, figure)
        elif instead:
            case.read(at, instead)


@pytest.mark.parametrize(("begin", "page", "key"), KINDS)
def test_readings_in_time_meet_it(
    book: Book, begin: Begin, page: str, key: tuple[str, str, str]
) -> None:
    case = begin(book)
    read_all(case, page)
    case.end()
    judged = case.found("11:10")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.MET, False), judged.finding
    assert not Deviation.objects.filter(limit_id=case.limit).exists()


@pytest.mark.parametrize(("begin", "page", "key"), KINDS)
def test_a_correction_to_the_worse_counts_at_once(
    book: Book, begin: Begin, page: str, key: tuple[str, str, str]
) -> None:
    case, (at, _, bad) = begin(book), key
    read_all(case, page)
    case.end()
    case.correct(at, bad, "11:10")
    judged = case.found("11:11")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    assert Deviation.objects.get(limit_id=case.limit).lot == case.lot


@pytest.mark.parametrize(("begin", "page", "key"), KINDS)
def test_a_correction_to_the_milder_counts_once_it_is_accepted_and_the_deviation_stays_written(
    book: Book, begin: Begin, page: str, key: tuple[str, str, str]
) -> None:
    case, (at, good, bad) = begin(book), key
    read_all(case, page, without=at, instead=bad)
    case.end()
    assert case.found("11:05").verdict is Verdict.DEVIATION
    case.correct(at, good, "11:10")
    judged = case.found("11:11")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    case.accept("11:20")
    assert case.found("11:21").verdict is Verdict.MET
    assert Deviation.objects.filter(limit_id=case.limit).exists()


LATE = [  # a reading entered late that alone shows it met: without it the step ends unshown
    pytest.param(held_cold, "", ("09:00", "37"), id="at most"),
    pytest.param(heated, "08:20 60, 09:00 148, 09:40 148", ("09:20", "148"), id="maintained"),
    pytest.param(cooled, "08:15 141, 09:00 100, 10:20 60, 10:40 39", ("09:50", "69"), id="cooling"),
]


@pytest.mark.parametrize(("begin", "page", "late"), LATE)
def test_a_late_reading_to_the_milder_counts_once_it_is_accepted(
    book: Book, begin: Begin, page: str, late: tuple[str, str]
) -> None:
    case, (at, figure) = begin(book), late
    if page:
        read_all(case, page)
    case.end()
    assert case.found("11:05").verdict is Verdict.DEVIATION
    case.read(at, figure, "11:10")
    judged = case.found("11:11")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    case.accept("11:20")
    assert case.found("11:21").verdict is Verdict.MET


WORSE = [  # of one moment the least favourable reading counts, whenever it was entered
    pytest.param(*GOOD["at most"][:2], ("09:30", "45"), id="at most"),
    pytest.param(*GOOD["maintained"][:2], ("09:20", "138"), id="maintained"),
    pytest.param(*GOOD["cooling"][:2], ("09:50", "96"), id="cooling"),
]


@pytest.mark.parametrize(("begin", "page", "late"), WORSE)
def test_a_late_reading_to_the_worse_counts_at_once(
    book: Book, begin: Begin, page: str, late: tuple[str, str]
) -> None:
    case, (at, figure) = begin(book), late
    read_all(case, page)
    case.end()
    assert case.found("11:05").verdict is Verdict.MET
    case.read(at, figure, "11:10")
    judged = case.found("11:11")
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    assert Deviation.objects.filter(limit_id=case.limit).exists()


def test_a_thing_looked_for_late_counts_once_it_is_accepted(book: Book) -> None:
    lot = book.open_lot()
    pack = book.start("pack", "Table", "08:00", lot)
    book.end(pack, "08:30")
    label = what_of(lot, LABEL)
    observe(book.operator, pack, [Look(label, True)], seen("08:20", "11:10", "forgotten"))
    judged = book.judged(lot, "pack", "11:11")["label"]
    assert (judged.verdict, judged.judgement.rests_on_late) == (Verdict.DEVIATION, True)
    accept_late(book.reviewer, [Observation.objects.get(load=pack)], "seen by two", moment("11:20"))
    assert book.judged(lot, "pack", "11:21")["label"].verdict is Verdict.MET
