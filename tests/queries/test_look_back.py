"""What relied on an instrument that was found off."""

import pytest

from lots.core.limits import Verdict
from lots.entries.reading import correct_reading
from lots.models.house import AccuracyCheck
from lots.models.reading import LoggerImport, Reading
from lots.queries.accuracy_checks import register, window_of
from lots.queries.look_back import look_back
from lots.queries.look_back_effect import Effects
from tests.entries.failed_check import Scene, at_place, checked, open_with, scene
from tests.entries.roads import csv
from tests.make import Book, moment, seen


@pytest.fixture
def then(book: Book) -> Scene:
    return scene(book)


def codes(check: AccuracyCheck) -> list[str]:
    return [one.lot.code for one in look_back(check).relied]


def test_lots_read_since_the_last_good_check_are_listed_and_no_others(then: Scene) -> None:
    check = then.fail()
    assert codes(check) == ["B-GONE", "C-PACKED", "E-RUN", "F-CHILD"]
    found = look_back(check)
    assert [one.lot.code for one in found.left] == ["B-GONE"]
    assert [one.lot.code for one in found.held] == ["C-PACKED", "E-RUN", "F-CHILD"]
    assert found.unnamed == 0


def test_each_lot_says_by_which_readings_from_when_to_when(then: Scene) -> None:
    check = then.fail()
    gone, _, running, child = look_back(check).relied
    assert (gone.count, gone.load.place.name) == (18, "Smokehouse 1")
    assert (gone.first_at, gone.last_at) == (
        moment("2026-03-03 10:50"),
        moment("2026-03-03 12:45"),
    )
    assert gone.uses[0][1].range == "60.0 °F to 146.0 °F"
    assert [used.load.place.name for _, used in running.uses] == ["Brine tank 1", "Smokehouse 1"]
    assert child.inherited and not running.inherited
    assert child.count == 2


def test_quantities_say_what_left_and_what_is_here(then: Scene) -> None:
    gone, packed, running, child = (one.whereabouts for one in look_back(then.fail()).relied)
    assert (gone.left_g, gone.here_g) == (18_000, 0)
    assert (packed.left_g, packed.here_g) == (0, 18_000)
    assert (running.here_g, child.here_g) == (15_000, 5_000)


def test_without_any_good_check_all_its_readings_are_in_doubt(book: Book) -> None:
    lot = book.open_lot("OLD", at="2026-03-02 07:00")
    check = checked(book, book.thermometer, "29", "2026-03-06 12:00")
    assert window_of(check).since == 0
    assert codes(check) == [lot.code]


def test_a_good_check_entered_late_and_not_accepted_clears_nothing(then: Scene) -> None:
    checked(then.book, then.probe, "32", "2026-03-05 06:00", "2026-03-06 11:00")
    check = then.fail()
    assert "B-GONE" in codes(check)
    assert len(window_of(check).not_counted) == 1


def test_a_good_check_in_time_ends_the_doubt(then: Scene) -> None:
    check = then.fail()
    checked(then.book, then.probe, "32", "2026-03-06 13:00")
    later = open_with(then.book, "G-LATER", "2026-03-06 14:00", then.probe)
    assert later.code not in codes(check)


def test_what_is_read_with_it_before_it_is_found_good_again_is_listed(then: Scene) -> None:
    check = then.fail()
    later = open_with(then.book, "G-LATER", "2026-03-06 12:30", then.probe)
    assert later.code in codes(check)


def test_a_reading_of_a_place_speaks_for_every_lot_that_stood_there(book: Book) -> None:
    one = open_with(book, "ONE", "07:00", None)
    open_with(book, "TWO", "07:00", None)  # stays on the dock
    book.start("brine", "Brine tank 1", "07:30", one)
    at_place(book, "Brine room", book.thermometer, "08:00", "37")
    check = checked(book, book.thermometer, "35", "09:00")
    assert codes(check) == ["ONE"]
    assert look_back(check).relied[0].uses[0][1].subjects == {"room"}
    assert look_back(check).unnamed == 2


def test_a_logger_file_lists_the_lots_of_its_rows(book: Book) -> None:
    lot = open_with(book, "LOGGED", "07:00", None)
    book.start("brine", "Brine tank 1", "07:30", lot)
    source = _logged(book)
    check = checked(book, book.thermometer, "35", "09:00")
    (one,) = look_back(check).relied
    assert one.count == 3  # of the rows from 07:00 to 08:00 those while it stood there
    assert one.packed == list(source.series.all())


def _logged(book: Book) -> LoggerImport:
    from lots.entries import logger
    from lots.logger.choices import choices_from
    from lots.models.house import Establishment
    from tests.entries.roads import staged

    data = csv("2026-03-04 07:00:00", 900, [37, 37.5, 38, 38.5, 39])
    file = staged(book, data, "08:30", book.place("Brine tank 1"))
    house = Establishment.objects.get()
    made = logger.import_file(
        book.operator, file, choices_from({}), {}, book.thermometer, house, moment("08:30")
    )
    assert made.row is not None
    return made.row


def test_what_the_figures_may_have_been_stands_beside_what_was_read(then: Scene) -> None:
    """146 °F read with a thermometer that is 3 °F high may have been 143 °F: below the 145 °F that the
    plan wants for 30 minutes."""
    check = then.fail()
    gone, packed, *_ = look_back(check).relied
    effects = {one.limit.id: one for one in Effects(check, moment("2026-03-06 12:00")).of(gone)}
    heat = effects["smoke-heat"]
    assert (
        heat.as_read.verdict is Verdict.ADJUST
    )  # above the critical limit, below the operating one
    assert heat.if_off.verdict is Verdict.DEVIATION
    assert heat.worse
    still = {one.limit.id: one for one in Effects(check, moment("2026-03-06 12:00")).of(packed)}
    assert not still["smoke-heat"].worse  # 148 °F may have been 145 °F: on the limit meets it
    assert still["smoke-heat"].if_off.verdict is Verdict.ADJUST


def test_one_that_reads_low_would_only_have_been_warmer(then: Scene) -> None:
    check = then.fail("29")
    gone = look_back(check).relied[0]
    effects = Effects(check, moment("2026-03-06 12:00")).of(gone)
    assert effects
    assert not any(one.worse for one in effects if one.limit.id == "smoke-heat")


def test_a_reading_taken_back_counts_until_that_is_accepted(book: Book) -> None:
    lot = open_with(book, "ONE", "07:00", book.thermometer)
    row = Reading.objects.get()
    correct_reading(book.operator, row, None, "wrong lot of fish", seen("07:05"))
    check = checked(book, book.thermometer, "35", "09:00")
    assert codes(check) == [lot.code]


def test_a_check_that_failed_is_in_sight_until_a_good_one(then: Scene) -> None:
    then.fail()
    at = moment("2026-03-06 12:01")
    assert [row.instrument.name for row in register(at) if row.off] == ["Probe 7"]
    checked(then.book, then.probe, "32", "2026-03-06 12:01")
    assert not any(row.off for row in register(at))
