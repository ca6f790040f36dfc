"""A record of 10,000 readings by hand, built, attached and sealed, beside its table of readings alone;
and one of 86,400 logger readings: how large its pages are, and how much memory it takes.

    SMOKEHOUSE_DATA=/tmp/bench .venv/bin/python -m tests.bench.record

"The table alone" is the same rows in the same fixed-row tables, painted to a PDF: no first page, no
canonical bytes, nothing attached, no seal.  No Django and no rows: `lot_record` is not in it.
"""

import hashlib
import resource
import subprocess
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

from lots.core.basis import RunFacts
from lots.core.record import LotRecord, canonical_bytes
from lots.pdf.faces import wrapped
from lots.pdf.layout import PAPERS, Sheet
from lots.pdf.render import _paint, render
from lots.pdf.sections import draw_readings
from lots.pdf.words import shown_in
from tests.bench.rounds import Verdicts, in_turn
from tests.pdf.real import real_record

READINGS, LOGGED, ROUNDS = 10_000, 86_400, 7
RATIO_AT_MOST, PAGES_AT_MOST, MEMORY_AT_MOST = 1.5, 1_000_000, 200_000_000
PASSPHRASE = b"invented, of a bench"
START = 1_772_640_000_000
NOW = datetime(2026, 3, 6, 17, 0, tzinfo=UTC)


def by_hand() -> LotRecord:
    """The kept record with 10,000 readings by hand, no two alike."""
    record = real_record()
    first = record.readings[0]
    readings = tuple(
        replace(
            first, number=n + 1, as_read=f"{330 + n % 90 / 10:.1f}"[1:], value=10_000 + 500 * (n % 90),
            observed_at=START + n * 60_000, entered_at=START + n * 60_000 + 20_000,
            recorded_at=START + n * 60_000 + 21_000, probe=f"fish {n % 7 + 1}", corrected_by=0, corrects=0,
        )
        for n in range(READINGS)
    )  # fmt: skip
    return replace(record, readings=readings)


def by_logger() -> LotRecord:
    """The kept record with a day's readings by the second."""
    record = real_record()
    at = tuple(START + n * 1000 for n in range(LOGGED))
    ninths = tuple(20_000 + 5 * (n * 7919 % 1999) for n in range(LOGGED))
    series = replace(
        record.series[0], at=at, ninths=ninths, count=LOGGED, first_at=at[0], last_at=at[-1]
    )
    runs = tuple(
        RunFacts("F", at[low : low + 1000], ninths[low : low + 1000])
        for low in range(0, LOGGED, 1000)
    )
    return replace(record, series=(series,), runs=record.runs + runs)


def table_alone(record: LotRecord) -> bytes:
    """The readings' table and nothing else, as a PDF."""
    wrapped.cache_clear()
    sheet = Sheet(PAPERS["letter"])
    draw_readings(sheet, record, shown_in(record))
    return _paint(sheet.pages, PAPERS["letter"])


def whole(record: LotRecord, folder: Path) -> bytes:
    """The record rendered, with what is attached, and sealed."""
    from lots.pdf.seal import load_sealer, seal

    wrapped.cache_clear()
    return seal(
        render(record),
        load_sealer(folder, PASSPHRASE),
        now=NOW,
        reason="bench",
        location="nowhere",
        name="Invented Creek",
    )


def page_bytes(pdf: bytes) -> int:
    """The file without what is attached."""
    import pikepdf

    out = BytesIO()
    with pikepdf.open(BytesIO(pdf)) as file:
        for name in list(file.attachments):
            del file.attachments[name]
        if "/AF" in file.Root:
            del file.Root["/AF"]
        file.save(out)
    return len(out.getvalue())


def ratio() -> float:
    from lots.pdf.seal import make_seal_key

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "keys"
        make_seal_key(folder, "Invented Creek", NOW, PASSPHRASE)
        record = by_hand()
        acts = {"table": lambda: table_alone(record), "record": lambda: whole(record, folder)}
        took = in_turn(acts, ROUNDS)
    print(f"the table of {READINGS:,} readings alone: {took['table']:,.0f} ms")
    print(f"the record built, attached and sealed: {took['record']:,.0f} ms")
    return took["record"] / took["table"]


def logged() -> tuple[int, int]:
    """Bytes of the pages, and the memory of a process that makes the record and nothing else."""
    words = [sys.executable, "-m", "tests.bench.record", "--logged"]
    said = subprocess.run(words, capture_output=True, text=True, check=True).stdout.split()
    return int(said[0]), int(said[1])


def make_logged() -> None:
    record = by_logger()
    pdf = render(record)
    hashlib.sha256(canonical_bytes(record)).hexdigest()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    print(page_bytes(pdf), peak)


def main() -> None:
    if "--logged" in sys.argv:
        make_logged()
        return
    held = Verdicts()
    held.hold("record of 10,000 readings, beside its table alone", ratio(), RATIO_AT_MOST)
    size, memory = logged()
    held.hold("pages of 86,400 logger readings", size / 1e6, PAGES_AT_MOST / 1e6, "MB")
    held.hold("memory to make them", memory / 1e6, MEMORY_AT_MOST / 1e6, "MB")
    held.leave()


if __name__ == "__main__":
    main()
