"""Which readings a load is held against, and that running states equal a fold from scratch."""

import random

import pytest

from lots.entries import load as load_entry
from lots.entries import reading
from lots.entries.load import end_load, move_start
from lots.entries.lot import split_lot
from lots.entries.reading import accept_late, correct_reading
from lots.entries.readings import Figure
from lots.models.deviation import Deviation
from lots.models.lot import Load, LoadEnd, LoadPart
from lots.models.reading import Reading
from lots.models.scratch import RunningState
from lots.queries.evidence import evidence, load_facts, loads_at, loads_before
from lots.queries.judgements import limit_states
from lots.queries.kept_small import states_text
from lots.queries.plans import plan_value
from tests.entries.roads import csv, imported
from tests.make import Book, moment, seen


def fresh(load: Load) -> Load:
    return Load.objects.select_related("place__within").get(pk=load.pk)


def test_a_reading_of_a_place_opens_a_deviation_on_every_lot_that_stood_in_it(book: Book) -> None:
    lots = [book.open_lot(f"TR-{n}") for n in (1, 2, 3, 4)]
    book.start("hold", "Cooler", "08:00", lots[0], lots[1])
    gone = book.start("hold", "Cooler", "08:00", lots[2])
    book.end(gone, "09:00")
    book.at_place("Cooler", "09:30 41")
    book.start("hold", "Cooler", "10:00", lots[3])
    # TR-3 was out by then (its own deviation is that nobody read the cooler), TR-4 came later
    broken = Deviation.objects.filter(why__contains="outside")
    assert {(d.lot.code, d.broke_at) for d in broken} == {
        ("TR-1", moment("09:30")),
        ("TR-2", moment("09:30")),
    }


def test_exactly_at_its_end_a_load_still_stood_in_the_place(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    book.end(load, "09:00")
    at = moment("09:00")
    assert loads_at(load.place_id, at, at) == [load]
    assert loads_at(load.place_id, at + 1, at + 1) == []


def test_a_room_reading_counts_for_the_lots_of_the_tank_in_it(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:30 38")
    book.at_place("Brine room", "07:35 37, 09:00 39.5")
    found = evidence(fresh(load)).series
    assert len(found["room"][""][0]) == 2
    assert len(found["place"][""][0]) == 1
    assert book.judged(lot, "brine", "10:00")["brine-room"].verdict.value == "PENDING"
    # once brining is over four hours the warm room counts
    judged = book.judged(lot, "brine", "11:31")["brine-room"]
    assert judged.verdict.value == "DEVIATION"
    assert judged.finding.broke_at == moment("11:30")


def test_moving_the_start_judges_anew(book: Book) -> None:
    lot = book.open_lot()
    book.at_place("Brine tank 1", "07:20 62")
    load = book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:31 40")
    assert book.judged(lot, "brine", "07:40")["brine-start"].verdict.value == "MET"
    move_start(book.operator, load, seen("07:15", "07:40"), "the tank was probed first")
    assert book.judged(lot, "brine", "07:41")["brine-start"].verdict.value == "DEVIATION"
    assert Deviation.objects.get().limit_id == "brine-start"


def test_the_end_that_stands_decides_where_a_load_was(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    book.end(load, "08:01")
    end_load(book.operator, load, seen("2026-03-06 09:00"), correct_because="wrong day typed")
    later = moment("2026-03-06 08:00")
    assert loads_at(load.place_id, later, later) == [load]


def test_an_end_put_right_that_makes_it_milder_waits_for_acceptance(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(load, "10:05 148, 10:20 148, 10:34 148, 10:40 148")
    book.end(load, "10:34")
    assert Deviation.objects.get().limit_id == "smoke-heat"
    end_load(book.operator, load, seen("10:40", "10:42"), correct_because="ended later")
    judged = book.judged(lot, "smoke", "10:43")["smoke-heat"]
    assert judged.verdict.value == "DEVIATION"
    assert judged.judgement.rests_on_late
    end = LoadEnd.objects.get(corrected_by=None, load=load)
    accept_late(book.reviewer, [end], "two people saw it", moment("10:50"))
    assert book.judged(lot, "smoke", "10:51")["smoke-heat"].verdict.value == "MET"


def test_cooling_of_a_lot_split_after_smoking_looks_back_into_the_smoke(book: Book) -> None:
    lot = book.open_lot()
    smoke = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(smoke, "10:05 148, 10:20 148, 10:36 148")
    book.end(smoke, "10:36")
    part = split_lot(book.operator, lot, "TR-1B", 5_000, "second rack", moment("10:40"))
    cool = load_entry.start_load(
        book.operator,
        book.place("Cooler"),
        [load_entry.Portion(part, "cool", 5_000)],
        seen("10:50"),
    )
    assert loads_before(fresh(cool)) == [smoke]
    book.fish(cool, "10:55 130, 12:37 69")
    judged = book.judged(part, "cool", "12:38")["cooling"]
    assert judged.verdict.value == "DEVIATION"  # two hours from 10:36, not from 10:50
    assert judged.finding.broke_at == moment("12:36")


def test_all_loads_of_the_step_before_are_looked_back_into(book: Book) -> None:
    lot = book.open_lot()
    one = book.start("smoke", "Smokehouse 1", "08:00", lot, kg=10)
    other = book.start("smoke", "Smokehouse 2", "08:30", lot, kg=10)
    for smoke in (one, other):
        book.end(smoke, "10:00")
    cool = book.start("cool", "Cooler", "10:10", lot)
    assert set(loads_before(fresh(cool))) == {one, other}


def test_a_load_that_held_the_whole_lot_ends_the_look_back(book: Book) -> None:
    lot = book.open_lot()
    for place, start, end in (("1", "08:00", "09:00"), ("2", "09:05", "10:00")):
        smoke = book.start("smoke", f"Smokehouse {place}", start, lot)
        book.end(smoke, end)
    assert loads_before(fresh(book.start("cool", "Cooler", "10:10", lot))) == [smoke]


def test_another_load_of_the_same_step_is_not_the_step_before(book: Book) -> None:
    lot = book.open_lot()
    smoke = book.start("smoke", "Smokehouse 1", "08:00", lot)
    book.end(smoke, "10:00")
    first = book.start("cool", "Cooler", "10:10", lot, kg=10)
    beside = book.start("cool", "Cooler", "10:10", lot, kg=10)
    book.end(first, "10:40")
    moved = book.start("cool", "Brine room", "10:45", lot, kg=10)
    assert [loads_before(fresh(load)) for load in (first, beside, moved)] == [[smoke]] * 3


def test_what_is_measured_after_the_end_is_not_as_monitored(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("brine", "Brine tank 1", "07:30", lot)
    for at in ("08:00", "08:30", "09:00"):
        if at == "08:30":
            book.end(load, at)
        figure = Figure("60", "°SAL", quantity="brine strength")
        reading.enter_readings(book.operator, load.place, load, [figure], seen(at))
    found = load_facts(fresh(load))
    counts = [
        [sample.at for sample in facts.measured["brine strength"]]
        for facts in (found.facts, found.monitored_facts)
    ]
    in_time = [moment("08:00"), moment("08:30")]
    assert counts == [[*in_time, moment("09:00")], in_time]
    assert found.differs


def test_a_load_is_found_until_the_end_that_is_not_accepted_as_put_right(book: Book) -> None:
    load = book.start("hold", "Cooler", "08:00", book.open_lot())
    book.end(load, "10:00")
    end_load(book.operator, load, seen("08:30", "10:05", "said"), correct_because="wrong end")
    old, after = moment("09:30"), moment("10:00") + 1
    assert loads_at(load.place_id, old, old) == [load]
    assert loads_at(load.place_id, after, after) == []
    end = LoadEnd.objects.get(corrected_by=None, load=load)
    accept_late(book.reviewer, [end], "two people saw it", moment("10:50"))
    assert loads_at(load.place_id, old, old) == []


def test_a_late_reading_in_the_smoke_does_not_start_the_cooling_clock_later(book: Book) -> None:
    lot = book.open_lot()
    smoke = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(smoke, "10:05 148, 10:20 148, 10:36 148")
    book.end(smoke, "11:30")
    cool = book.start("cool", "Cooler", "11:30", lot)
    when = seen("11:00", "11:40", "busy")
    figures = [Figure("141", "F", f"fish {n}") for n in (1, 2, 3)]
    rows = reading.enter_readings(book.operator, smoke.place, smoke, figures, when).readings
    book.fish(cool, "11:45 120, 12:45 69")
    assert states_agree(cool)
    judged = book.judged(lot, "cool", "12:46")["cooling"]
    assert judged.verdict.value == "DEVIATION"  # two hours from 10:36, as logged in time
    assert judged.judgement.rests_on_late
    accept_late(book.reviewer, rows, "agrees with the chart", moment("12:50"))
    again = book.judged(lot, "cool", "12:51")["cooling"]
    assert again.verdict.value == "PENDING"  # two hours from 11:00


def test_a_named_probe_and_the_place_itself_are_one_series(book: Book) -> None:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "08:00", lot)
    imported(
        book, csv("2026-03-04 08:00:00", 60, ["36.1"] * 30), "08:40", load.place, None, {1: "wall"}
    )
    book.at_place("Cooler", "08:45 36.5")
    found = evidence(fresh(load)).series["place"]
    assert {probe: sum(map(len, runs)) for probe, runs in found.items()} == {"wall": 31}
    assert states_agree(load)


def scratch(load: Load) -> dict[tuple[int, str], str]:
    """The states folded from the rows alone."""
    found = evidence(fresh(load))
    parts = LoadPart.objects.filter(load=load).select_related("lot__plan_version")
    return {
        (part.lot.plan_version_id, limit.id): states_text(limit_states(limit, found))
        for part in parts
        for _, limit in plan_value(part.lot.plan_version).held_at(part.step)
    }


def states_agree(load: Load) -> bool:
    """Whether what runs (if it was not thrown away) equals a fold from scratch, to the same bytes."""
    rows = RunningState.objects.filter(load=load)
    running = {(row.plan_version_id, row.limit_id): row.states for row in rows}
    return not running or running == scratch(load)


def test_a_reading_between_an_end_and_its_late_entry_counts_on_the_monitored_side(
    book: Book,
) -> None:
    load = book.start("hold", "Cooler", "10:00", book.open_lot())
    book.at_place("Cooler", "10:05 36")
    end_load(book.operator, load, seen("10:30", "11:10", "busy"))
    reading.enter_readings(
        book.operator, load.place, None, [Figure("36", "F")], seen("11:00", "11:15")
    )
    found = evidence(fresh(load))
    counts = [sum(map(len, side["place"][""])) for side in (found.series, found.monitored_series)]
    assert counts == [1, 2]
    assert states_agree(load)


def enter_late(book: Book, load: Load, observed: str, entered: str, probe: str) -> None:
    when = seen(observed, entered, "busy")
    figures = [Figure("120", "F", probe)]
    reading.enter_readings(book.operator, load.place, load, figures, when)


def test_a_late_reading_that_comes_after_all_others_splits_the_state_in_two(book: Book) -> None:
    load = book.start("smoke", "Smokehouse 1", "10:00", book.open_lot())
    book.fish(load, "10:05 100")
    enter_late(book, load, "10:20", "10:50", "fish 1")
    state = RunningState.objects.get(load=load, limit_id="smoke-read").states
    assert "monitored" in state
    assert states_agree(load)


def test_a_probe_first_read_late_is_folded_anew_on_the_monitored_side(book: Book) -> None:
    lot = book.open_lot()
    smoke = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(smoke, "10:05 148, 10:20 148")
    book.end(smoke, "10:25")
    cool = book.start("cool", "Cooler", "10:30", lot)
    enter_late(book, cool, "10:40", "11:10", "fish 1")
    book.fish(cool, "11:15 100", probes=1)
    assert states_agree(cool)


@pytest.mark.parametrize("seed", range(8))
def test_running_states_equal_a_fold_from_scratch_whatever_the_order(book: Book, seed: int) -> None:
    chance = random.Random(seed)
    lots = [book.open_lot("TR-1"), book.open_lot("TR-2")]
    smoke = book.start("smoke", "Smokehouse 1", "10:00", *lots)
    hold = book.start("hold", "Cooler", "10:00", book.open_lot("TR-3"))
    loads, minute = [smoke, hold], 600
    for _ in range(14):
        minute += chance.randint(1, 25)
        one_act(book, chance, smoke, hold, minute)
        for load in loads:
            assert states_agree(load), (seed, minute)
    book.end(smoke, clock(minute + 1))
    cool = book.start("cool", "Cooler", clock(minute + 2), *lots)
    for _ in range(6):
        minute += chance.randint(3, 25)
        one_act(book, chance, cool, hold, minute)
        for load in (cool, hold, smoke):
            assert states_agree(load), (seed, minute)


def clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


def one_act(book: Book, chance: random.Random, fish_in: Load, hold: Load, minute: int) -> None:
    """One thing that may happen: in order, out of order, late, corrected, accepted, in a place."""
    what = chance.choice(["in order", "in order", "earlier", "late", "place", "correct", "accept"])
    now = clock(minute)
    back = clock(max(600, minute - {"earlier": 10, "late": 40}.get(what, 0)))
    if what == "place":
        figure = Figure(f"{chance.uniform(33, 44):.1f}", "F")
        reading.enter_readings(book.operator, hold.place, None, [figure], seen(now))
    elif what == "correct":
        row = Reading.objects.filter(load=fish_in, corrected_by=None).order_by("?").first()
        if row is not None:
            figure = Figure(f"{chance.uniform(60, 160):.2f}", "F")
            correct_reading(book.operator, row, figure, "misread", seen(now))
    elif what == "accept":
        rows = [r for r in Reading.objects.filter(accepted=None) if reading.needs_acceptance(r)]
        if rows:
            accept_late(book.reviewer, rows[:1], "agrees with the chart", moment(now))
    else:
        because = "busy" if what == "late" else ""
        probes = chance.sample(["fish 1", "fish 2", "fish 3", "fish 4"], chance.randint(1, 3))
        figures = [
            Figure(f"{chance.uniform(60, 160):.1f}", chance.choice("F"), probe) for probe in probes
        ]
        when = seen(back, now, because)
        reading.enter_readings(book.operator, fish_in.place, fish_in, figures, when)
