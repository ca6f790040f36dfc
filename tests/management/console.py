"""The server's own console: commands and the server itself, each in a process of its own."""

import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

ROOT = Path(__file__).resolve().parents[2]
CODE = re.compile(r"^ {4}((?:[A-Z2-9]{4}-){3}[A-Z2-9]{4})$", re.MULTILINE)
PATIENCE_S = 60
PASSPHRASE = re.compile(r"^ {4}((?:[A-Z2-9]{4}-){5}[A-Z2-9]{4})$", re.MULTILINE)
PLAIN = {  # as at a real start: none of what the tests set for themselves
    name: value
    for name, value in os.environ.items()
    if name not in ("DJANGO_SETTINGS_MODULE", "SMOKEHOUSE_DATA") and not name.startswith("SEAL_")
}


def at_home(folder: Path) -> dict[str, str]:
    """The environment of whoever serves the folder: their configuration lies beside it."""
    return PLAIN | {"XDG_CONFIG_HOME": str(folder.parent / "config")}


def manage(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """A command on a data folder, in a process of its own."""
    command = [sys.executable, str(ROOT / "manage.py"), "--data", str(folder), *words]
    return subprocess.run(
        command, capture_output=True, text=True, timeout=PATIENCE_S, cwd="/", env=at_home(folder)
    )


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind(("127.0.0.1", 0))
        return int(trial.getsockname()[1])


def get(port: int, path: str) -> tuple[int, bytes]:
    with urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
        return answer.status, answer.read()


class Served:
    """The logbook while it is served from a folder."""

    def __init__(self, folder: Path, *more: str) -> None:
        self.port = free_port()
        words = ["--data", str(folder), "serve", "--port", str(self.port), *more]
        self.output = folder.parent / "serve.log"
        self.process = subprocess.Popen(
            [sys.executable, str(ROOT / "manage.py"), *words],
            stdout=self.output.open("w"), stderr=subprocess.STDOUT, cwd="/", env=at_home(folder),
        )  # fmt: skip

    def wait(self) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline and self.process.poll() is None:
            try:
                get(self.port, "/healthz")
                return
            except (URLError, OSError):
                time.sleep(0.2)
        raise AssertionError(f"not served: {self.output.read_text()}")

    def children(self) -> list[int]:
        listed = subprocess.run(
            ["ps", "-o", "pid=", "--ppid", str(self.process.pid)], capture_output=True, text=True
        )
        return [int(pid) for pid in listed.stdout.split()]

    def all_children(self) -> list[int]:
        """Two workers, started one after the other, one that notices lapses, one that walks the book."""
        deadline = time.monotonic() + PATIENCE_S
        while len(self.children()) < 4 and time.monotonic() < deadline:
            time.sleep(0.1)
        return self.children()

    def end(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(timeout=PATIENCE_S)


def ask(folder: Path, sql: str, *values: object) -> list[tuple[Any, ...]]:
    """Looks into the folder's book, past the application."""
    with closing(sqlite3.connect(folder / "book.sqlite3", timeout=20)) as book:
        rows = book.execute(sql, values).fetchall()
        book.commit()
        return rows


def newest(folder: Path) -> tuple[int, str]:
    """Number and digest of the book's newest line."""
    sql = "SELECT number, digest FROM lots_bookline ORDER BY number DESC LIMIT 1"
    return ask(folder, sql)[0]  # type: ignore[return-value]


ENTER = """
from lots.entries.house import open_place
from lots.models.people import Person
for one in range(NUMBER):
    open_place(Person.objects.order_by("pk").first(), f"NAME {one}", "table", None, 1790000000000)
"""


def enter(folder: Path, number: int, name: str = "Table") -> None:
    """Writes as many lines into the book, through the application."""
    script = ENTER.replace("NUMBER", str(number)).replace("NAME", name)
    done = manage(folder, "shell", "-v", "0", "-c", script)
    assert done.returncode == 0, done.stderr


def is_sound(folder: Path) -> bool:
    """Whether the book agrees with itself and each file that it names is there as it was kept."""
    return manage(folder, "watch_book").returncode == 0


def state(folder: Path) -> dict[str, bytes]:
    """What stands in a data folder, apart from locks."""
    return {
        str(file.relative_to(folder)): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file() and file.suffix != ".lock"
    }
