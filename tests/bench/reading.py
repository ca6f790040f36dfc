"""One reading entered and judged: in a load of 100,000 readings beside a load of 100, on time and late.

    SMOKEHOUSE_DATA=/tmp/bench .venv/bin/python -m tests.bench.reading

The loads stand in four smokehouses and were read by loggers, four probes each, over the same seven
hours; then a person reads one fish by hand, through the entry.  Loads whose late readings are measured
are others than those on time, since one late reading makes the next ones dearer.
"""

from tests.bench.folder import set_up

if __name__ == "__main__":
    set_up()

from django.db import connection, models

from lots.entries import house
from lots.entries.moments import Moments
from lots.entries.reading import enter_readings
from lots.entries.readings import Figure
from lots.models.kept import SCRATCH
from lots.models.lot import Load
from lots.models.scratch import RunningState, StagedFile
from tests.bench.curves import SMOKED_S, heated, read
from tests.bench.rounds import Verdicts, in_turn
from tests.entries.roads import csv, imported
from tests.make import Book, make_book, moment

PROBES, MANY, FEW = 4, 100_000, 100
ON_TIME_AT_MOST, LATE_AT_MOST, STATE_AT_MOST = 1.5, 5, 4_000
ROUNDS = 15
HOUR_MS = 3_600_000
BEGAN, READ_OUT = "10:45", "17:50"
LOADS = {"few": FEW, "many": MANY, "few, late": FEW, "many, late": MANY}


def load_of(book: Book, number: int, readings: int) -> Load:
    """A load in a smokehouse of its own, with so many readings of its probes."""
    place = house.open_place(
        book.keeper, f"Smokehouse {number}0", "smokehouse", None, moment("06:00")
    )
    book.places[place.name] = place
    lot = book.open_lot(f"TR-{number}")
    load = book.start("smoke", place.name, BEGAN, lot)
    each = readings // PROBES
    columns = [[f"{v:.1f}" for v in read(heated, SMOKED_S, each, n)] for n in range(1, PROBES + 1)]
    data = csv(f"2026-03-04 {BEGAN}:00", SMOKED_S / each, *columns)
    probes = {n: f"fish {n}" for n in range(1, PROBES + 1)}
    done = imported(book, data, READ_OUT, place, load, probes)
    assert done.added == readings, done
    return load


class Hand:
    """Reads one fish of a load again and again, a second later each time."""

    def __init__(self, book: Book, load: Load, late_ms: int = 0) -> None:
        self.book, self.load, self.late_ms = book, load, late_ms
        self.at = moment(READ_OUT) + HOUR_MS // 12

    def __call__(self) -> None:
        self.at += 1000
        why = "the tablet lay in the cooler" if self.late_ms else ""
        when = Moments(self.at - self.late_ms, self.at, self.at, 0, why)
        figure = Figure("148.3", "F", "fish 1")
        answer = enter_readings(self.book.operator, self.load.place, self.load, [figure], when)
        assert answer.judged


def stored_bytes(row: models.Model) -> int:
    """What a row of scratch holds: every text and binary column that is no name of it."""
    kinds = models.TextField | models.BinaryField
    columns = [f.attname for f in row._meta.concrete_fields if isinstance(f, kinds)]
    values = [getattr(row, name) or b"" for name in columns]
    return sum(len(v.encode() if isinstance(v, str) else bytes(v)) for v in values)


def beside_bytes(load: Load) -> int:
    """What else is kept of a running load and can be thrown away, such as its checkpoints."""
    models_of_loads = [
        model
        for model in SCRATCH
        if model not in (RunningState, StagedFile) and hasattr(model, "load")
    ]
    return sum(stored_bytes(row) for m in models_of_loads for row in m.objects.filter(load=load))


def hold_states(held_to: Verdicts, loads: dict[str, Load]) -> None:
    sizes: list[int] = []
    for name, load in loads.items():
        mine = {row.limit_id: stored_bytes(row) for row in RunningState.objects.filter(load=load)}
        beside = beside_bytes(load)
        print(f"running states, {name}: {mine}; {beside} bytes beside them, shared evenly")
        sizes += [size + beside / len(mine) for size in mine.values()]
    held_to.hold("the largest running state", max(sizes), STATE_AT_MOST, "bytes")
    held_to.hold("the mean running state", sum(sizes) / len(sizes), STATE_AT_MOST, "bytes")


def main() -> None:
    book = make_book()
    loads = {name: load_of(book, n, count) for n, (name, count) in enumerate(LOADS.items(), 1)}
    acts = {
        name: Hand(book, load, HOUR_MS if "late" in name else 0) for name, load in loads.items()
    }
    took = in_turn(acts, ROUNDS, warm=2)
    for name, ms in took.items():
        print(f"{ms:10.2f} ms     one reading, {name}: {LOADS[name]:,} there")
    held_to = Verdicts()
    held_to.hold("on time: 100,000 beside 100", took["many"] / took["few"], ON_TIME_AT_MOST)
    late = took["many, late"] / took["few"]
    held_to.hold("an hour late in 100,000 beside on time in 100", late, LATE_AT_MOST)
    hold_states(held_to, loads)
    connection.close()
    held_to.leave()


if __name__ == "__main__":
    main()
