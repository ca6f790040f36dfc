"""Which rows a lethality, an exposure over steps and a limit on instruments name as theirs."""

import pytest

from lots.core.limits import Limit, Verdict
from lots.entries import house
from lots.entries.house import NewInstrument
from lots.entries.reading import accept_late, correct_reading, enter_readings
from lots.entries.readings import Figure
from lots.entries.series import withdraw_import
from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck, Instrument
from lots.models.lot import Load, Lot
from lots.models.reading import PackedSeries, Reading
from lots.queries.judgements import plan_value
from lots.queries.late_rows import late_rows, rows_named
from lots.queries.rests_on import Behind, behind, checks_behind
from tests.entries.roads import csv, imported
from tests.entries.test_acceptances import with_limit
from tests.make import Book, moment, seen


def limit_of(lot: Lot, limit_id: str) -> Limit:
    points = plan_value(lot.plan_version).control_points
    return next(limit for point in points for limit in point.limits if limit.id == limit_id)


def rests(lot: Lot, limit_id: str, load: Load) -> Behind:
    return behind(limit_of(lot, limit_id), load, [lot])


def pks(rows: list[Reading]) -> set[int]:
    return {row.pk for row in rows}


def fish_of(*loads: Load) -> set[int]:
    return set(Reading.objects.filter(load__in=loads).values_list("pk", flat=True))


# --- lethality ------------------------------------------------------------------------------------


@pytest.fixture
def lethal(book: Book) -> tuple[Lot, Load]:
    """A smoke with fish by hand and by logger, and readings of its house and of another one."""
    with_limit(
        book, "smoke", id="smoke-kill", kind="lethality", of="fish", reference="70 °C",
        z="7.5 °C", at_least="2 min", lowest="62.8 °C", longest_gap="20 min",
    )  # fmt: skip
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(load, "10:05 60, 10:45 150, 11:00 160")
    book.at_place("Smokehouse 1", "10:30 170")
    other = book.start("smoke", "Smokehouse 2", "10:00", book.open_lot("TR-2"))
    book.fish(other, "10:06 61")
    data = csv("2026-03-04 10:40:00", 60, ["158"] * 20)
    imported(book, data, "11:01", load.place, load, {1: "tail"})
    imported(book, csv("2026-03-04 10:40:00", 60, ["170"] * 20), "11:02", load.place)
    return lot, load


def test_a_lethality_rests_on_the_readings_of_its_own_fish(lethal: tuple[Lot, Load]) -> None:
    lot, load = lethal
    found = rests(lot, "smoke-kill", load)
    assert pks(found.readings) == fish_of(load)
    assert len(found.readings) == 9
    assert [row.probe for row in found.packed] == ["tail"]
    assert (found.timed, found.before, found.checks) == ([], [], [])
    first, last = min(fish_of(load)), max(fish_of(load))
    assert found.words() == (f"readings {first} to {last} (9)", "series of logger.csv")


def test_of_a_reading_put_right_both_stand_until_it_is_accepted(
    book: Book, lethal: tuple[Lot, Load]
) -> None:
    lot, load = lethal
    wrong = Reading.objects.filter(load=load, observed_at=moment("11:00")).first()
    assert wrong is not None
    done = correct_reading(book.operator, wrong, Figure("161", "F"), "misread", seen("11:05"))
    right = done.readings[0]
    assert {wrong.pk, right.pk} <= pks(rests(lot, "smoke-kill", load).readings)
    accept_late(book.reviewer, [right], "two people saw it", moment("11:10"))
    found = pks(rests(lot, "smoke-kill", load).readings)
    assert right.pk in found
    assert wrong.pk not in found


def test_a_file_taken_back_is_named_until_that_is_accepted(
    book: Book, lethal: tuple[Lot, Load]
) -> None:
    lot, load = lethal
    row = PackedSeries.objects.get(load=load)
    withdraw_import(book.operator, row.source, "of the other house", seen("11:05"))
    assert [one.pk for one in rests(lot, "smoke-kill", load).packed] == [row.pk]
    keys = [one.key for one in late_rows([lot.pk]) if one.kind == "file"]
    accept_late(book.reviewer, rows_named(keys), "the clerk agrees", moment("11:10"))
    assert rests(lot, "smoke-kill", load).packed == []


# --- exposure over steps --------------------------------------------------------------------------


def warm_time(book: Book, *steps: str) -> None:
    with_limit(
        book, "cool", id="warm-time", kind="exposure", of="fish", above="50 °F",
        up_to="135 °F", at_most="4 h", longest_gap="1 h", steps=list(steps),
    )  # fmt: skip


def walked(book: Book) -> tuple[Lot, dict[str, Load]]:
    """A lot that was smoked and cooled, then cooled on in another place; its fish read in each."""
    lot, loads = book.open_lot(), {}
    for name, step, place, page, end in (
        ("smoke", "smoke", "Smokehouse 1", "08:05 60, 08:30 150", "08:40"),
        ("first", "cool", "Cooler", "08:45 140, 09:15 100", "09:20"),
        ("last", "cool", "Brine room", "09:25 95, 09:50 60", ""),
    ):
        loads[name] = book.start(step, place, page[:5], lot)
        book.fish(loads[name], page, probes=1)
        book.at_place(place, f"{page[:5]} 37" if step == "cool" else f"{page[:5]} 150")
        if end:
            book.end(loads[name], end)
    other = book.start("smoke", "Smokehouse 2", "08:00", book.open_lot("TR-2"))
    book.fish(other, "08:10 61", probes=1)
    return lot, loads


def test_an_exposure_over_steps_rests_on_the_fish_of_each_load_of_them(book: Book) -> None:
    warm_time(book, "smoke", "cool")
    lot, loads = walked(book)
    found = rests(lot, "warm-time", loads["last"])
    assert pks(found.readings) == fish_of(*loads.values())
    assert len(found.readings) == 6  # each once
    assert found.packed == []


def test_in_an_earlier_step_it_rests_on_nothing_that_came_later(book: Book) -> None:
    warm_time(book, "smoke", "cool")
    lot, loads = walked(book)
    found = rests(lot, "warm-time", loads["first"])
    assert pks(found.readings) == fish_of(loads["smoke"], loads["first"])
    assert pks(rests(lot, "warm-time", loads["smoke"]).readings) == fish_of(loads["smoke"])


def test_a_step_that_it_does_not_count_is_left_out(book: Book) -> None:
    warm_time(book, "cool")
    lot, loads = walked(book)
    found = rests(lot, "warm-time", loads["last"])
    assert pks(found.readings) == fish_of(loads["first"], loads["last"])


def test_without_steps_it_rests_on_its_own_load_alone(book: Book) -> None:
    warm_time(book)
    lot, loads = walked(book)
    assert pks(rests(lot, "warm-time", loads["last"]).readings) == fish_of(loads["last"])


def test_a_file_of_an_earlier_step_is_named_too(book: Book) -> None:
    warm_time(book, "smoke", "cool")
    lot, loads = walked(book)
    load = loads["smoke"]
    imported(
        book, csv("2026-03-04 08:10:00", 60, ["90"] * 5), "10:00", load.place, load, {1: "tail"}
    )
    found = rests(lot, "warm-time", loads["last"])
    assert [(row.load_id, row.probe) for row in found.packed] == [(load.pk, "tail")]
    assert "series of logger.csv" in found.words()


# --- instruments ----------------------------------------------------------------------------------


def checked(book: Book, one: Instrument, at: str, as_read: str = "32.5") -> AccuracyCheck:
    return house.check_accuracy(book.operator, one, "ice point", as_read, "32", "F", seen(at))


@pytest.fixture
def probe(book: Book) -> Instrument:
    with_limit(
        book, "cold-hold", id="hold-true", kind="accurate", of="place", within="24 h",
        tolerance="2 °F",
    )  # fmt: skip
    new = NewInstrument("Probe 7", "thermometer", "±1 °F", place=book.place("Cooler"))
    return house.register_instrument(book.coordinator, new, moment("2026-03-01 09:30"))


def held(book: Book, probe: Instrument) -> tuple[Lot, Load]:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    for at in ("08:05", "10:00"):
        figures = [Figure("36", "F", instrument=probe)]
        enter_readings(book.operator, load.place, None, figures, seen(at))
    return lot, load


def test_a_limit_on_instruments_names_the_last_check_before_those_within_and_the_next(
    book: Book, probe: Instrument
) -> None:
    checked(book, probe, "2026-03-04 05:00")
    before = checked(book, probe, "07:00")
    checked(book, book.thermometer, "07:05")  # another instrument
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    figures = [Figure("36", "F", instrument=probe)]
    enter_readings(book.operator, load.place, None, figures, seen("08:05"))
    within = checked(book, probe, "09:00")
    enter_readings(book.operator, load.place, None, figures, seen("10:00"))
    after = checked(book, probe, "11:00")
    checked(book, probe, "12:00")
    found = rests(lot, "hold-true", load)
    assert [row.pk for row in found.checks] == [before.pk, within.pk, after.pk]
    assert {row.instrument for row in found.readings} == {probe}
    words = found.words()
    assert [f"accuracy check {row.pk}" for row in (before, within, after)] == list(words[-3:])


def test_readings_without_an_instrument_name_no_check(book: Book, probe: Instrument) -> None:
    checked(book, probe, "07:00")
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    book.at_place("Cooler", "08:05 36")
    found = rests(lot, "hold-true", load)
    assert (len(found.readings), found.checks) == (1, [])


def test_a_deviation_of_an_instrument_names_the_checks_that_it_opened_on(
    book: Book, probe: Instrument
) -> None:
    before = checked(book, probe, "07:00")
    lot, load = held(book, probe)
    assert book.judged(lot, "hold", "10:01")["hold-true"].verdict is Verdict.MET
    failed = checked(book, probe, "11:00", "36")
    book.end(load, "11:30")
    row = Deviation.objects.get(limit_id="hold-true", lot=lot)
    checked(book, probe, "12:00")
    assert [one.pk for one in checks_behind(row)] == [before.pk, failed.pk]


def test_a_deviation_of_another_limit_names_no_check(book: Book, probe: Instrument) -> None:
    checked(book, probe, "07:00")
    lot, load = held(book, probe)
    figures = [Figure("50", "F", instrument=probe)]
    enter_readings(book.operator, load.place, None, figures, seen("10:30"))
    assert checks_behind(Deviation.objects.get(limit_id="hold-cold", lot=lot)) == []


def test_what_came_later_than_a_line_is_left_out(book: Book, probe: Instrument) -> None:
    checked(book, probe, "07:00")
    lot, load = held(book, probe)
    found = rests(lot, "hold-true", load)
    line = found.readings[0].line_id
    assert [row.pk for row in found.up_to(line).readings] == [found.readings[0].pk]
    assert found.up_to(line).checks == found.checks
    assert found.up_to(0).checks == []
