"""A thermometer found 3 °F off, and lots that did and did not rely on it."""

from dataclasses import dataclass, field

from lots.entries import deviation, house, reading, review
from lots.entries.house import NewInstrument
from lots.entries.lot import finish_lot, split_lot
from lots.entries.readings import Figure
from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck, Instrument
from lots.models.lot import Load, Lot
from lots.queries.release import last_line
from tests.entries.roads import LABEL, SOLID, what_of
from tests.make import Book, moment, seen

DAY = "2026-03-05"
DONE = deviation.Action(
    False, "kept", "another thermometer", "it was dropped", "cooler, red tape", "René Reviewer",
    "Cora Coordinator", "2026-03-12",
)  # fmt: skip


def checked(
    book: Book, one: Instrument, as_read: str, at: str, entered: str | None = None
) -> AccuracyCheck:
    because = "no hand free" if entered else ""
    when = seen(at, entered, because)
    return house.check_accuracy(book.operator, one, "ice point", as_read, "32", "F", when)


def read(book: Book, load: Load, with_: Instrument | None, at: str, figure: str) -> None:
    figures = [Figure(figure, "F", f"fish {n}", instrument=with_) for n in (1, 2, 3)]
    reading.enter_readings(book.operator, load.place, load, figures, seen(at))


def at_place(book: Book, name: str, with_: Instrument | None, at: str, figure: str) -> None:
    figures = [Figure(figure, "F", instrument=with_)]
    reading.enter_readings(book.operator, book.place(name), None, figures, seen(at))


def open_with(book: Book, code: str, at: str, with_: Instrument | None) -> Lot:
    figures = [Figure("36.1", "F", "fish 1", instrument=with_)]
    return book.open_lot(code, at=at, figures=figures)


def all_steps(book: Book, code: str, with_: Instrument, day: str, smoked: str = "148") -> Lot:
    """A lot packed at the end of the day; its core in the smoke was read with the instrument."""

    def at(clock: str) -> str:
        return f"{day} {clock}"

    one = open_with(book, code, at("07:00"), book.thermometer)
    tank = book.start("brine", "Brine tank 1", at("07:30"), one)
    for clock in ("07:30", "09:00", "10:20"):
        at_place(book, "Brine tank 1", book.thermometer, at(clock), "38")
    book.end(tank, at("10:30"))
    smoke = book.start("smoke", "Smokehouse 1", at("10:45"), one)
    for clock, figure in (("10:50", "60"), ("11:30", "120"), *((c, smoked) for c in HELD)):
        read(book, smoke, with_, at(clock), figure)
    book.end(smoke, at("12:48"))
    cool = book.start("cool", "Cooler", at("12:50"), one)
    for clock, figure in COOLED:
        read(book, cool, book.thermometer, at(clock), figure)
    book.end(cool, at("15:55"))
    pack = book.start("pack", "Table", at("16:00"), one)
    book.observe(pack, what_of(one, LABEL), True, at("16:20"))
    book.end(pack, at("17:00"))
    cold = book.start("freeze", "Freezer", at("17:00"), one)
    for clock in ("17:05", "20:00"):
        at_place(book, "Freezer", book.thermometer, at(clock), "-4")
    book.observe(cold, what_of(one, SOLID), True, at("20:00"))
    book.end(cold, at("20:05"))
    finish_lot(book.operator, one, 18_000, 90, seen(at("20:10")))
    return one


def smoked(book: Book, code: str, with_: Instrument, day: str) -> Lot:
    """A lot that has only been smoked; its core was read with the instrument."""
    one = open_with(book, code, f"{day} 07:00", book.thermometer)
    smoke = book.start("smoke", "Smokehouse 1", f"{day} 10:45", one)
    for clock in ("10:50", "11:10"):
        read(book, smoke, with_, f"{day} {clock}", "90")
    book.end(smoke, f"{day} 11:20")
    return one


HELD = ("12:00", "12:15", "12:30", "12:45")
COOLED = (("12:52", "141"), ("13:30", "100"), ("14:20", "68"), ("15:10", "50"), ("15:50", "39"))


def let_go(book: Book, one: Lot, at: str) -> None:
    """Reviewed and released."""
    line = last_line(one)
    assert line is not None
    review.sign_reviews(book.reviewer, [(one, line.number)], "", moment(at))
    review.release_lot(book.reviewer, one, {"release": 18_000}, "", moment(at))


@dataclass
class Scene:
    """`probe` was good on 2 March 06:00, and 3 °F high on 6 March 12:00."""

    book: Book
    probe: Instrument
    before: Lot  # smoked before the good check
    gone: Lot  # smoked with it on the 3rd, released and shipped on the 4th
    packed: Lot  # smoked with it on the 4th, packed, not released
    other: Lot  # on the 5th, with another thermometer
    running: Lot  # on the 6th, in the smokehouse now
    child: Lot  # split from the running one after it was brined
    checks: list[AccuracyCheck] = field(default_factory=list)

    def fail(self, as_read: str = "35", at: str = "2026-03-06 12:00") -> AccuracyCheck:
        self.checks.append(checked(self.book, self.probe, as_read, at))
        return self.checks[-1]

    def deviation(self, one: Lot) -> Deviation:
        return Deviation.objects.get(lot=one, limit_id__startswith="accuracy-check-")


def scene(book: Book) -> Scene:
    new = NewInstrument("Probe 7", "thermometer", "±1 °F", place=book.place("Smokehouse 1"))
    probe = house.register_instrument(book.coordinator, new, moment("2026-03-01 09:30"))
    before = smoked(book, "A-BEFORE", probe, "2026-03-01")
    checked(book, probe, "32.5", "2026-03-02 06:00")
    gone = all_steps(book, "B-GONE", probe, "2026-03-03", "146")
    let_go(book, gone, "2026-03-04 05:00")
    packed = all_steps(book, "C-PACKED", probe, "2026-03-04")
    other = smoked(book, "D-OTHER", book.thermometer, "2026-03-05")
    running = open_with(book, "E-RUN", "2026-03-06 06:00", book.thermometer)
    tank = book.start("brine", "Brine tank 1", "2026-03-06 06:30", running)
    at_place(book, "Brine tank 1", probe, "2026-03-06 06:31", "38")
    at_place(book, "Brine tank 1", probe, "2026-03-06 08:20", "38")
    book.end(tank, "2026-03-06 09:30")
    child = split_lot(
        book.operator, running, "F-CHILD", 5_000, "for a trial", moment("2026-03-06 09:40")
    )
    smoke = book.start("smoke", "Smokehouse 1", "2026-03-06 09:45", running, kg=15)
    read(book, smoke, probe, "2026-03-06 10:00", "70")
    return Scene(book, probe, before, gone, packed, other, running, child)
