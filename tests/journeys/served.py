"""A real server of a demo's folder in a process of its own, on loopback, ended by its own number."""

import os
import re
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Served:
    """A demo's folder with its server: where it is, whose password and PIN is what."""

    folder: Path
    port: int
    passwords: dict[str, str] = field(default_factory=dict)
    pins: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        words = [sys.executable, "manage.py", "--data", str(self.folder)]
        words += ["demo", "--port", str(self.port)]
        with (self.folder / "served.log").open("ab") as log:
            self.process = subprocess.Popen(
                words, cwd=ROOT, env=_environment(), stdout=log, stderr=log
            )
        wait_for(self.base, self.process)
        people = (self.folder / "demo_people.txt").read_text()
        self.passwords = dict(re.findall(r"^(\w+)\s+(\S+-\S+-\S+-\d+)", people, re.M))
        self.pins = dict(re.findall(r"^(\w+) .*\(PIN (\d+)\)", people, re.M))

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(timeout=30)
            self.process = None

    def ask(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        """Looks into the book's file, past the application."""
        with closing(sqlite3.connect(self.folder / "book.sqlite3", timeout=20)) as book:
            rows = book.execute(sql, values).fetchall()
            book.commit()
            return rows


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


def manage(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", "--data", str(folder), *words],
        cwd=ROOT, env=_environment(), capture_output=True, text=True, check=True, timeout=180,
    )  # fmt: skip


def _environment() -> dict[str, str]:
    taken = ("SMOKEHOUSE_DATA", "DJANGO_SETTINGS_MODULE")
    return {name: value for name, value in os.environ.items() if name not in taken}


def fill_demo(folder: Path) -> Path:
    manage(folder, "demo", "--no-serve")
    return folder


@contextmanager
def serve_demo(folder: Path) -> Iterator[Served]:
    """Serves the folder's demo until the block ends."""
    house = Served(folder, free_port())
    try:
        house.start()
        yield house
    finally:
        house.stop()


def wait_for(base: str, process: subprocess.Popen[bytes]) -> None:
    """Waits, at most a minute, until the server answers."""
    for _ in range(240):
        assert process.poll() is None, "the server ended by itself"
        try:
            with urllib.request.urlopen(f"{base}/healthz", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.25)
    raise AssertionError("the server did not answer within a minute")
