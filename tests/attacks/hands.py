"""The attacks themselves: each changes a copy of the book, past the application."""

import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from lots.queries.digests import canonical
from tests.attacks.forging import Forger

ROOT = Path(__file__).resolve().parents[2]
IMPORTED, FORGED_FROM, CUT = 51, 17, 10
Attack = Callable[[Forger], None]


def own_process(folder: Path, *words: str) -> str:
    known = {"SMOKEHOUSE_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "smokehouse.settings"}
    done = subprocess.run(
        [sys.executable, "-m", *words],
        env=os.environ | known, cwd=ROOT, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


def unguarded(sql: str) -> Attack:
    """One change by SQL, with the triggers away for it."""

    def attack(forger: Forger) -> None:
        with forger.unguarded():
            forger.run(sql)

    return attack


def swap_lines(forger: Forger) -> None:
    first, second = forger.line(30), forger.line(31)
    with forger.unguarded():
        forger.put_line(30, prev="x", digest="x", client_key=None)
        for number, line in ((31, first), (30, second)):
            forger.put_line(number, **{k: v for k, v in line.items() if k != "number"})


def cut_newest(forger: Forger) -> None:
    with forger.unguarded():
        forger.cut_off(forger.last - CUT)


def cut_newest_tidily(forger: Forger) -> None:
    cut_newest(forger)
    forger.tidy_up()


def cut_past_the_record(forger: Forger) -> None:
    with forger.unguarded():
        forger.cut_off(40)
    forger.tidy_up()


def reword(number: int, forger: Forger) -> None:
    """A line's words changed and its digest made to fit."""
    content = json.loads(forger.line(number)["content"]) | {"place": "Elsewhere"}
    with forger.unguarded():
        forger.put_line(number, content=canonical(content))
        forger.put_line(number, digest=forger.line_digest(number))


def reword_newest(forger: Forger) -> None:
    reword(forger.newest(), forger)


def change_and_chain_again(forger: Forger) -> None:
    """A reading of the smoke made hotter, and every digest from line 17 on computed anew."""
    with forger.unguarded():
        forger.run("UPDATE lots_reading SET as_read = '155', value = value + 50000 WHERE id = 20")
        forger.run("UPDATE lots_place SET name = 'Smokehouse two' WHERE line_id = ?", FORGED_FROM)
        forger.chain_again(FORGED_FROM)


def change_the_end(forger: Forger) -> None:
    with forger.unguarded():
        newest = forger.newest()
        forger.run("UPDATE lots_reading SET as_read = '-9' WHERE line_id = ?", newest - 5)
        forger.chain_again(newest - 8)


def change_a_byte(forger: Forger) -> None:
    data = bytearray(forger.one("SELECT data FROM lots_packedseries WHERE id = 3"))
    data[6 + 8 * 1000 + 40] ^= 1
    with forger.unguarded():
        forger.run("UPDATE lots_packedseries SET data = ? WHERE id = 3", bytes(data))


def swap_chunks(forger: Forger) -> None:
    fourth, fifth = (
        forger.one("SELECT data FROM lots_packedseries WHERE id = ?", pk) for pk in (4, 5)
    )
    with forger.unguarded():
        forger.run("UPDATE lots_packedseries SET data = ? WHERE id = 4", fifth)
        forger.run("UPDATE lots_packedseries SET data = ? WHERE id = 5", fourth)


ADD_CHUNK = (
    "INSERT INTO lots_packedseries (source_id, place_id, load_id, probe, unit, count, first_at,"
    " last_at, data, digest, line_id) SELECT source_id, place_id, load_id, probe, unit, count,"
    " first_at, last_at, data, digest, line_id FROM lots_packedseries WHERE id = 2"
)
ADD_READING = (
    "INSERT INTO lots_reading (place_id, load_id, probe, quantity, as_read, unit, value,"
    " instrument_id, observed_at, entered_at, device_offset_ms, late_reason, unlikely_confirmed,"
    " from_paper, note, corrects_id, correction_reason, withdrawn, line_id) SELECT place_id, load_id,"
    " probe, quantity, '150', unit, value, instrument_id, observed_at + 60000, entered_at,"
    " device_offset_ms, '', 0, 0, '', NULL, '', 0, line_id FROM lots_reading WHERE id = 20"
)


def kept_file(forger: Forger) -> Path:
    sql = "SELECT sha256 FROM lots_keptfile WHERE line_id = ?"
    return forger.folder / "files" / str(forger.one(sql, IMPORTED))


def change_file(forger: Forger) -> None:
    file = kept_file(forger)
    data = bytearray(file.read_bytes())
    data[-3] ^= 1
    file.write_bytes(bytes(data))


def lose_file(forger: Forger) -> None:
    kept_file(forger).unlink()


def drop_triggers(forger: Forger) -> None:
    names = forger.db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for (name,) in names:
        forger.db.execute(f"DROP TRIGGER {name}")


def set_clock_back(forger: Forger) -> None:
    own_process(forger.folder, "tests.attacks.lay", "clock")


def change_default(forger: Forger) -> None:
    """A column of readings is to say "withdrawn" by itself from now on."""
    there = '"withdrawn" bool NOT NULL'
    forger.db.execute("PRAGMA writable_schema = ON")
    forger.run(
        "UPDATE sqlite_master SET sql = replace(sql, ?, ?) WHERE name = 'lots_reading'",
        there, f"{there} DEFAULT 1",
    )  # fmt: skip
    assert "DEFAULT 1" in forger.one("SELECT sql FROM sqlite_master WHERE name = 'lots_reading'")
    forger.close()
    assert own_process(forger.folder, "tests.attacks.lay", "reading").strip() == "counts"
