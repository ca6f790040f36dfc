"""Eight browsers that each post a reading a second, and two loggers' files, for two minutes, to a real server.

    SMOKEHOUSE_DATA=/tmp/bench .venv/bin/python -m tests.bench.load        LOAD_SECONDS=120 unless said otherwise

Loopback only, and bounded in time.  Each browser is logged in and posts to /entries/ at its own second, whether
or not the answer before has come late; a reading's time is from the sending to the whole answer.  The files have
10,000 rows and go through their two pages at a third and at two thirds of the time.  At the end the book is
walked, and every acknowledged reading and file must be there once and whole.  The machine's load is printed, since
others may be using it; so are the loop's own delays (how late a post was sent), which are not the server's.
"""

from tests.bench.folder import own_folder

if __name__ == "__main__":
    FOLDER = own_folder()

import json
import os
import statistics
import sys
import threading
import time
from dataclasses import dataclass, field
from typing import Any

from tests.bench.rounds import Verdicts
from tests.faults.browser import Browser, logger_file, now_ms, reading_entry
from tests.faults.reader import Reader
from tests.faults.served import Served, laid

BROWSERS, LOADS, FILES, FILE_ROWS = 8, 4, 2, 10_000
SECONDS = float(os.environ.get("LOAD_SECONDS", 120))
P99_AT_MOST_MS = 150


@dataclass
class Posted:
    """What was sent, how long each answer took, and what was acknowledged."""

    took_ms: list[float] = field(default_factory=list)
    late_ms: list[float] = field(default_factory=list)
    beside_file_ms: list[float] = field(default_factory=list)  # those answered while a file went in
    files_ms: list[float] = field(default_factory=list)
    file_goes_in: bool = False
    entries: dict[str, int] = field(default_factory=dict)
    files: dict[str, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)


def reading_a_second(browser: Browser, number: int, began: float, posted: Posted) -> None:
    load = browser.house["loads"][number % LOADS]
    for tick in range(int(SECONDS)):
        due = began + tick + number / BROWSERS
        time.sleep(max(0.0, due - time.monotonic()))
        entry = reading_entry(browser.house, load, 1)
        sent = time.monotonic()
        answer = browser.send_entry(entry)
        took_ms = 1000 * (time.monotonic() - sent)
        posted.took_ms.append(took_ms)
        posted.late_ms.append(1000 * (sent - due))
        if posted.file_goes_in:
            posted.beside_file_ms.append(took_ms)
        if answer.status == 200 and json.loads(answer.text)["stored"]:
            posted.entries[entry["key"]] = 1
        else:
            posted.wrong.append(f"{answer.status}: {answer.text[:300]}")


def file_now_and_then(browser: Browser, number: int, began: float, posted: Posted) -> None:
    for part in range(1, FILES + 1):
        time.sleep(max(0.0, began + part * SECONDS / (FILES + 1) - time.monotonic()))
        name = f"file-{part}.csv"
        data = logger_file(now_ms() // 1000 - (8 + part) * 86_400, FILE_ROWS)
        sent, posted.file_goes_in = time.monotonic(), True
        browser.send_file(browser.house["coolers"][part % 2], name, data)
        posted.file_goes_in = False
        posted.files_ms.append(1000 * (time.monotonic() - sent))
        posted.files[name] = FILE_ROWS


def guarded(work: Any, *told: Any) -> None:
    try:
        work(*told)
    except Exception as error:
        told[-1].wrong.append(f"{type(error).__name__}: {error}")


def under_load(port: int, house: dict[str, Any]) -> Posted:
    browsers = [Browser(port, house) for _ in range(BROWSERS + 1)]
    for browser in browsers:
        browser.log_in()
    posted, began = Posted(), time.monotonic() + 1
    works = [reading_a_second] * BROWSERS + [file_now_and_then]
    threads = [
        threading.Thread(target=guarded, args=(work, browser, number, began, posted))
        for number, (work, browser) in enumerate(zip(works, browsers, strict=True))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return posted


def held_against_the_book(reader: Reader, posted: Posted) -> list[str]:
    faults = reader.ask("walk", since=None)["faults"]
    entries = reader.ask("entries", keys=posted.entries)
    return [*posted.wrong, *faults, *entries, *reader.ask("files", names=posted.files)]


def main() -> None:
    house = laid(FOLDER / "data", LOADS)
    server, reader = Served(FOLDER / "data"), Reader(FOLDER / "data")
    server.start()
    before = os.getloadavg()[0]
    try:
        posted = under_load(server.port, house)
        wrong = held_against_the_book(reader, posted)
    finally:
        server.end()
        reader.end()
    took = sorted(posted.took_ms)
    cuts = statistics.quantiles(took, n=100, method="inclusive")
    print(
        f"load of the machine: {before:.2f} before, {os.getloadavg()[0]:.2f} after, {os.cpu_count()} processors"
    )
    print(
        f"{len(took):,} readings posted, {len(posted.entries):,} acknowledged; "
        f"files of {FILE_ROWS:,} rows took {', '.join(f'{ms:.0f} ms' for ms in posted.files_ms)}"
    )
    print(
        f"a posted reading: p50 {cuts[49]:.0f} ms, p99 {cuts[98]:.0f} ms, longest {took[-1]:.0f} ms; "
        f"sent late by {statistics.median(posted.late_ms):.1f} ms (median)"
    )
    beside = posted.beside_file_ms or [0]
    print(
        f"{len(beside)} of them while a file went in: median {statistics.median(beside):.0f} ms, "
        f"longest {max(beside):.0f} ms"
    )
    for words in wrong[:20]:
        print(words, file=sys.stderr)
    held_to = Verdicts()
    held_to.hold("lost, doubled or unsound", len(wrong), 0, "found")
    held_to.hold("p99 of a posted reading", cuts[98], P99_AT_MOST_MS, "ms")
    held_to.leave()


if __name__ == "__main__":
    main()
