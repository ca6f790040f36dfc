"""Roads that several tests take: a lot from brine to packs, and a logger's file into the book."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from lots.entries import logger, lot
from lots.entries.book import act
from lots.entries.files import Upload
from lots.logger.choices import choices_from
from lots.models.house import Establishment, Place
from lots.models.lot import Load, Lot
from lots.models.people import Person, RightGiven
from lots.models.scratch import StagedFile
from lots.queries.judgements import plan_value
from tests.make import Book, moment, seen

LABEL = "label names the species"
SOLID = "packs from the middle"


def what_of(one: Lot, stem: str) -> str:
    """The whole text of what the plan wants looked for, by its beginning."""
    plan = plan_value(one.plan_version)
    leaves = [leaf for p in plan.control_points for limit in p.limits for leaf in limit.leaves()]
    return next(
        leaf.rule.what for leaf in leaves if getattr(leaf.rule, "what", "").startswith(stem)
    )


def brined(book: Book, one: Lot, until: str = "10:30") -> Load:
    load = book.start("brine", "Brine tank 1", "07:30", one)
    book.at_place("Brine tank 1", "07:30 38, 09:00 38.5, 10:20 39")
    book.end(load, until)
    return load


def smoking(book: Book, one: Lot, hottest: str = "148") -> Load:
    """A load in the smokehouse that has held its heat for 45 minutes, not yet taken out."""
    load = book.start("smoke", "Smokehouse 1", "10:45", one)
    rounds = (
        f"10:50 60, 11:30 120, 12:00 {hottest}, 12:15 {hottest}, 12:30 {hottest}, 12:45 {hottest}"
    )
    book.fish(load, rounds)
    return load


def cooled(book: Book, one: Lot) -> Load:
    load = book.start("cool", "Cooler", "12:50", one)
    book.fish(load, "12:52 141, 13:30 100, 14:20 68, 15:10 50, 15:50 39")
    book.end(load, "15:55")
    return load


def packed(book: Book, one: Lot) -> Load:
    load = book.start("pack", "Table", "16:00", one)
    book.observe(load, what_of(one, LABEL), True, "16:20")
    book.end(load, "17:00")
    return load


def freezing(book: Book, one: Lot) -> Load:
    load = book.start("freeze", "Freezer", "17:00", one)
    book.at_place("Freezer", "17:05 -3, 20:00 -4")
    book.observe(load, what_of(one, SOLID), True, "20:00")
    return load


def finished(book: Book, code: str = "TR-1", hottest: str = "148") -> Lot:
    """A lot with every step of the plan over and its packs counted."""
    one = book.open_lot(code)
    brined(book, one)
    book.end(smoking(book, one, hottest), "12:48")
    cooled(book, one)
    packed(book, one)
    book.end(freezing(book, one), "20:05")
    lot.finish_lot(book.operator, one, 18_000, 90, seen("20:10"))
    return one


def csv(start: str, step_s: float, figures: Iterable[object], *more: Iterable[object]) -> bytes:
    """A logger's file in °F, a reading each step, one column a probe."""
    first = datetime.fromisoformat(start)
    heads = ", ".join(f"Probe {n + 1} (°F)" for n in range(1 + len(more)))
    lines = [f"Date and time, {heads}"]
    for n, row in enumerate(zip(figures, *more, strict=True)):
        at = first + timedelta(seconds=n * step_s)
        lines.append(f"{at:%Y-%m-%d %H:%M:%S}, " + ", ".join(str(value) for value in row))
    return ("\n".join(lines) + "\n").encode()


def staged(book: Book, data: bytes, at: str, place: Place, load: Load | None = None) -> StagedFile:
    return logger.stage_file(book.operator, place, load, Upload("logger.csv", data), moment(at))


def imported(
    book: Book,
    data: bytes,
    at: str,
    place: Place,
    load: Load | None = None,
    probes: Mapping[int, str] | None = None,
) -> logger.Imported:
    """The file taken in as it is understood without a person."""
    file = staged(book, data, at, place, load)
    house = Establishment.objects.get()
    choices = choices_from({})
    return logger.import_file(book.operator, file, choices, probes or {}, None, house, moment(at))


def untrained_reviewer(book: Book, person: Person) -> None:
    """A right of reviewer without training, as no entry would give it."""
    with act("right given", book.keeper, moment("06:00")) as writing:
        writing.write(RightGiven(person=person, right="reviewer"))
