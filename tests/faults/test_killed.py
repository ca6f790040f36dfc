"""The server is killed again and again while readings are logged and files taken in.

    FAULT_KILLS=50 python -m pytest tests/faults      a long run; the suite's own is shorter

A tablet sends each entry again under its own key until it is acknowledged, as static/js/beside/queue.js does.
After each kill the book is walked from the last line that was sound; at the end no acknowledged entry may be
lost, none half written, none there twice.
"""

import json
import os
import random
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from tests.faults.browser import BROKEN_OFF, Browser, Refused, logger_file, now_ms, reading_entry
from tests.faults.reader import Reader
from tests.faults.served import Served, laid

pytestmark = pytest.mark.fault

KILLS = int(os.environ.get("FAULT_KILLS", 10))
TABLETS, LOADS, FIGURES = 3, 2, 3
FILE_ROWS = 3_000
PAUSE_S, AGAIN_AFTER_S = 0.05, 0.2
WITHIN_S = 120  # everything that was sent must be acknowledged so soon after the last kill


@dataclass
class Traffic:
    """Tablets and one who reads loggers out, all at once; what each was told is in the book."""

    port: int
    house: dict[str, Any]
    entries: dict[str, int] = field(default_factory=dict)
    files: dict[str, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)
    threads: list[threading.Thread] = field(default_factory=list)
    within_s: float = WITHIN_S

    def begin(self) -> None:
        works = [(self._tablet, n) for n in range(TABLETS)] + [(self._logger, 0)]
        for work, number in works:
            self.threads.append(threading.Thread(target=self._guarded, args=(work, number)))
            self.threads[-1].start()

    def _guarded(self, work: Callable[[Browser, int], None], number: int) -> None:
        browser = Browser(self.port, self.house)
        try:
            self._until_done(browser.log_in)
            while not self.stop.is_set():
                work(browser, number)
                time.sleep(PAUSE_S)
        except Exception as error:
            self.wrong.append(f"{type(error).__name__}: {error}")
        finally:
            browser.hang_up()

    def _until_done(self, act: Callable[[], None]) -> None:
        """Again and again, until a whole answer says that it was done."""
        deadline = None
        while True:
            try:
                return act()
            except BROKEN_OFF:
                if self.stop.is_set():
                    deadline = deadline or time.monotonic() + self.within_s
                    if time.monotonic() > deadline:
                        raise
                time.sleep(AGAIN_AFTER_S)

    def _tablet(self, browser: Browser, number: int) -> None:
        loads = self.house["loads"]
        entry = reading_entry(self.house, loads[number % len(loads)], FIGURES)

        def send() -> None:
            answer = browser.send_entry(entry)
            if answer.status == 422:
                raise Refused(answer.text)
            if answer.status != 200 or not json.loads(answer.text)["stored"]:
                raise OSError(answer.status)

        self._until_done(send)
        self.entries[entry["key"]] = FIGURES

    def _logger(self, browser: Browser, number: int) -> None:
        count = len(self.files)
        cooler = self.house["coolers"][count % 2]
        start = now_ms() // 1000 - 30 * 86_400 + count * FILE_ROWS
        start = self.house.setdefault("files_from", start) + count * FILE_ROWS
        data, name = logger_file(start, FILE_ROWS), f"file-{count}.csv"
        self._until_done(lambda: browser.send_file(cooler, name, data))
        self.files[name] = FILE_ROWS

    def goes_on(self) -> bool:
        """Waits until each has been told something new, so that every kill falls into work."""
        before, deadline = len(self.entries), time.monotonic() + WITHIN_S
        while len(self.entries) < before + TABLETS and time.monotonic() < deadline:
            if self.wrong:
                return False
            time.sleep(0.02)
        return len(self.entries) > before

    def end(self, within_s: float) -> None:
        """What is on its way is sent until it is acknowledged, for so long."""
        self.within_s = within_s
        self.stop.set()
        for thread in self.threads:
            thread.join(WITHIN_S + 60)


def under_fire(folder: Path, kills: int, planted: str = "") -> list[str]:
    """What was found wrong of a house that works while its server is killed so often."""
    house, chance = laid(folder, LOADS), random.Random(kills)
    server, reader = Served(folder, planted), Reader(folder)
    server.start()
    traffic = Traffic(server.port, house)
    wrong: list[str] = []
    sound: str | None = None
    try:
        traffic.begin()
        for number in range(kills):
            if not traffic.goes_on():
                wrong.append("nothing is acknowledged any more")
                break
            time.sleep(chance.uniform(0, 1.2))
            whole = number % 2 == 1
            if whole:
                server.kill()
            else:
                server.kill_a_worker(chance)
            told = reader.ask("walk", since=sound)
            wrong += [f"after kill {number + 1}: {words}" for words in told["faults"]]
            if told["faults"]:
                break
            sound = told["newest"]
            if whole:
                server.start()
        traffic.end(within_s=5 if wrong else WITHIN_S)
        wrong += traffic.wrong + reader.ask("walk", since=None)["faults"]
        wrong += reader.ask("entries", keys=traffic.entries)
        wrong += reader.ask("files", names=traffic.files)
    finally:
        traffic.stop.set()
        server.end()
        reader.end()
    print(
        f"\n{kills} kills: {len(traffic.entries)} rounds and {len(traffic.files)} files acknowledged"
    )
    assert traffic.entries, wrong
    assert traffic.files or planted, wrong  # a plant may be found before a file is through
    return wrong


def test_kills_lose_nothing_that_was_acknowledged_and_leave_nothing_half_written(
    tmp_path: Path,
) -> None:
    assert under_fire(tmp_path / "data", KILLS) == []


def test_a_line_written_outside_the_transaction_would_be_found(tmp_path: Path) -> None:
    """By the walk; PostgreSQL holds a row's line to be there at the commit, and refuses it at once."""
    if os.environ.get("DATABASE_URL"):
        with pytest.raises(AssertionError, match="violates foreign key constraint"):
            under_fire(tmp_path / "data", 6, planted="line")
        return
    wrong = under_fire(tmp_path / "data", 6, planted="line")
    assert any("stands in no line" in words for words in wrong), wrong


def test_an_acknowledgement_before_the_commit_would_be_found(tmp_path: Path) -> None:
    wrong = under_fire(tmp_path / "data", 4, planted="early")
    assert any(words.startswith("lost: ") for words in wrong), wrong
