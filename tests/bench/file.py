"""A logger's file of 100,000 readings taken in: beside a bare bulk_create of as many rows.

    SMOKEHOUSE_DATA=/tmp/bench .venv/bin/python -m tests.bench.file

BENCH_READINGS=400000 before it makes the file 100,000 lines of four probes; the bare rows stay 100,000.

The file has four probes in a cooler in which three lots stand.  Each round is a process of its own over
a copy of one prepared folder, the import and the bare rows in turn; what a process holds in memory is
all of it, Python and Django included.  While two more imports run, another process writes to the same
book every 20 ms and says how long it had to wait.  The bare table has the columns and indexes of
readings by hand, and neither triggers nor foreign keys.
"""

import json
import os
import resource
import shutil
import sqlite3
import statistics
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from tests.bench.folder import MARK, set_up
from tests.bench.rounds import Verdicts, took_ms

PROBES = 4
COUNT = int(os.environ.get("BENCH_READINGS", 100_000))
LINES = COUNT // PROBES
BARE_ROWS = 100_000
ROUNDS, WATCHED = 3, 2
RATIO_AT_MOST, MEMORY_AT_MOST_MB, WAIT_AT_MOST_MS = 2, 300, 250
PAUSE_S = 0.02
AT = "2026-03-07 07:00"
CSV = "logger.csv"


def prepare() -> None:
    """A book with three lots in one cooler, the file beside it, and the bare table."""
    from django.db import connection

    from tests.bench.curves import HELD_S, held, read
    from tests.entries.roads import csv
    from tests.make import make_book

    book = make_book()
    for number, start in enumerate(("08:00", "09:00", "09:30"), 1):
        lot = book.open_lot(f"TR-{number}")
        book.start("hold", "Cooler", start, lot)
    columns = [[f"{v:.1f}" for v in read(held, HELD_S, LINES, n)] for n in range(1, PROBES + 1)]
    data = csv("2026-03-04 08:00:00", HELD_S / LINES, *columns)
    Path(os.environ["SMOKEHOUSE_DATA"], CSV).write_bytes(data)
    with connection.schema_editor() as editor:
        editor.create_model(bare_model())
    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bench_tick (at INTEGER)")
    connection.close()


def bare_model() -> Any:
    """A table like that of readings by hand: the same columns as plain ones, the same indexes."""
    from django.db import models

    from lots.models.reading import Reading

    columns: dict[str, Any] = {"__module__": __name__}
    for field in Reading._meta.concrete_fields:
        if isinstance(field, models.ForeignKey):
            columns[field.attname] = models.BigIntegerField(null=field.null)
        elif not field.primary_key:
            columns[field.attname] = field.clone()
    indexes = [
        models.Index(fields=["place_id", "observed_at"], name="bench_place"),
        models.Index(fields=["load_id", "observed_at"], name="bench_load"),
    ]
    columns["Meta"] = type("Meta", (), {"app_label": "lots", "indexes": indexes})
    return type("BareReading", (models.Model,), columns)


def bare() -> dict[str, float]:
    """As many rows in one transaction."""
    from django.db import transaction

    model, start = bare_model(), 1_772_640_000_000

    def write() -> None:
        with transaction.atomic():
            model.objects.bulk_create(
                model(
                    line_id=1, place_id=5, probe=f"probe {n % PROBES}", as_read="36.1", unit="F",
                    value=20_500 + n % 10, observed_at=start + n * 1000, entered_at=start,
                )
                for n in range(BARE_ROWS)
            )  # fmt: skip

    ms = took_ms(write)
    assert model.objects.count() == BARE_ROWS
    return {"ms": ms}


def taken_in() -> dict[str, float]:
    """The file through the entries, as the page that stores it does."""
    from lots.entries import logger
    from lots.entries.files import Upload
    from lots.logger.choices import choices_from
    from lots.models.house import Establishment, Place
    from lots.models.people import Person
    from tests.make import moment

    operator, house = Person.objects.get(username="olga"), Establishment.objects.get()
    place, at = Place.objects.get(name="Cooler"), moment(AT)
    data = Path(os.environ["SMOKEHOUSE_DATA"], CSV).read_bytes()
    staged = logger.stage_file(operator, place, None, Upload(CSV, data), at)
    choices, probes = choices_from({}), {n: f"probe {n}" for n in range(1, PROBES + 1)}
    done: list[logger.Imported] = []

    def store() -> None:
        done.append(logger.import_file(operator, staged, choices, probes, None, house, at))

    looked = took_ms(lambda: logger.understood(data, house, choices, at))
    ms = took_ms(store)
    assert done[0].added == COUNT, done
    lots = {one.part.lot_id for one in done[0].judged}
    assert len(lots) == 3, lots
    return {"ms": ms, "looked": looked}


def tick() -> dict[str, float]:
    """Writes every 20 ms until told to stop; the longest wait in ms, and how many were written."""
    folder = Path(os.environ["SMOKEHOUSE_DATA"])
    db = sqlite3.connect(folder / "book.sqlite3", timeout=60, isolation_level=None)
    db.execute("PRAGMA synchronous=FULL")
    waits: list[float] = []
    while not (folder / "stop").exists():
        began = time.perf_counter()
        db.execute("BEGIN IMMEDIATE")
        db.execute("INSERT INTO bench_tick VALUES (?)", [len(waits)])
        db.execute("COMMIT")
        waits.append(1000 * (time.perf_counter() - began))
        time.sleep(PAUSE_S)
    return {"longest": max(waits), "median": statistics.median(waits), "count": len(waits)}


ACTS = {"bare": bare, "taken_in": taken_in, "tick": tick}


def child(act: str, folder: Path) -> "subprocess.Popen[str]":
    env = os.environ | {"SMOKEHOUSE_DATA": str(folder)}
    words = [sys.executable, "-m", "tests.bench.file", act]
    return subprocess.Popen(words, env=env, stdout=subprocess.PIPE, text=True)


def answer(process: "subprocess.Popen[str]") -> dict[str, float]:
    said, _ = process.communicate(timeout=120)
    if process.returncode:
        sys.exit(f"a round failed: {said}")
    return dict(json.loads(said))


def copy_of(ready: Path, name: str) -> Path:
    """A copy of the prepared folder for one round."""
    target = ready / name
    target.mkdir()
    for file in ready.iterdir():
        if file.is_file() and file.name != MARK:
            shutil.copy2(file, target)
    return target


def measured(ready: Path, act: str, name: str) -> dict[str, float]:
    folder = copy_of(ready, name)
    found = answer(child(act, folder))
    shutil.rmtree(folder)
    return found


def watched(ready: Path, name: str) -> dict[str, float]:
    """An import while another process writes."""
    folder = copy_of(ready, name)
    watcher = child("tick", folder)
    time.sleep(1)
    found = answer(child("taken_in", folder))
    time.sleep(0.2)
    (folder / "stop").touch()
    waits = answer(watcher)
    shutil.rmtree(folder)
    return {**waits, "import": found["ms"]}


def one_act(act: str) -> None:
    """What a round's process does: the act, and the memory that the process had at most."""
    if act != "tick":
        set_up(empty=False)
    found = ACTS[act]()
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({**found, "mb": memory}))


def main() -> None:
    ready = set_up()
    prepare()
    rounds: dict[str, list[dict[str, float]]] = {"bare": [], "taken_in": []}
    for number in range(ROUNDS):
        for act in rounds:
            rounds[act].append(measured(ready, act, f"{act}-{number}"))
    took = {act: statistics.median(one["ms"] for one in each) for act, each in rounds.items()}
    looked = statistics.median(one["looked"] for one in rounds["taken_in"])
    waits = [watched(ready, f"watched-{number}") for number in range(WATCHED)]
    print(f"{took['bare']:10.0f} ms     a bare bulk_create of {BARE_ROWS:,} rows")
    print(
        f"{took['taken_in']:10.0f} ms     {COUNT:,} readings taken in: parsed, packed, judged, written"
    )
    print(
        f"{looked:10.0f} ms     beside it: looked at once more, as the page does before it stores"
    )
    for one in waits:
        print(f"{one['longest']:10.0f} ms     longest of {one['count']:.0f} writes meanwhile")
    held_to = Verdicts()
    held_to.hold("the file beside the bare rows", took["taken_in"] / took["bare"], RATIO_AT_MOST)
    memory = max(one["mb"] for one in rounds["taken_in"])
    held_to.hold("memory of the process", memory, MEMORY_AT_MOST_MB, "MB")
    longest = max(one["longest"] for one in waits)
    held_to.hold("the longest wait of another writer", longest, WAIT_AT_MOST_MS, "ms")
    held_to.leave()


if __name__ == "__main__":
    if len(sys.argv) > 1:
        one_act(sys.argv[1])
    else:
        main()
