"""The real server over a folder of its own, in a process group of its own, to be killed at any moment."""

import json
import os
import random
import secrets
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.parse import urlsplit
from urllib.request import urlopen

from tests.journeys.served import free_port

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 90


def environment(folder: Path) -> dict[str, str]:
    """As at a real start; where DATABASE_URL names a database server, a database of its own there."""
    known = dict(os.environ) | {"SMOKEHOUSE_DATA": str(folder)}
    known["DJANGO_SETTINGS_MODULE"] = "smokehouse.settings"
    url = urlsplit(known.get("DATABASE_URL", ""))
    if url.scheme.startswith("postgres"):
        known["DATABASE_URL"] = url._replace(path=f"/{_database(folder, known)}").geturl()
    return known


def _database(folder: Path, known: dict[str, str]) -> str:
    """The name of the folder's own database, made at the first asking."""
    named = folder / "database"
    if not named.exists():
        name = f"faults_{secrets.token_hex(6)}"
        words = [sys.executable, "-m", "tests.faults.lay", "database", name]
        subprocess.run(words, env=known, cwd=ROOT, check=True, timeout=PATIENCE_S)
        named.write_text(name)
    return named.read_text()


def laid(folder: Path, loads: int) -> dict[str, Any]:
    """A new house in the folder, and what a browser must know of it."""
    folder.mkdir(parents=True, exist_ok=True)
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.lay", str(loads)],
        env=environment(folder), cwd=ROOT, capture_output=True, text=True, timeout=PATIENCE_S,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


class Served:
    """`manage.py serve`, or the same with a fault planted in it (tests/faults/planted.py)."""

    def __init__(self, folder: Path, planted: str = "") -> None:
        self.folder, self.planted, self.port = folder, planted, free_port()
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        words = ["tests.faults.planted", self.planted] if self.planted else ["manage"]
        with (self.folder / "served.log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", *words, "serve", "--port", str(self.port)],
                env=environment(self.folder), cwd=ROOT, stdout=log, stderr=log,
                start_new_session=True,
            )  # fmt: skip
        self._wait()

    def _wait(self) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            assert self.process and self.process.poll() is None, self.log()
            try:
                with urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=5):
                    return
            except (URLError, OSError):
                time.sleep(0.1)
        raise AssertionError(f"not served: {self.log()}")

    def log(self) -> str:
        return (self.folder / "served.log").read_text()[-3000:]

    def workers(self) -> list[int]:
        assert self.process
        listed = subprocess.run(
            ["ps", "-o", "pid=,args=", "--ppid", str(self.process.pid)],
            capture_output=True, text=True,
        ).stdout  # fmt: skip
        return [int(row.split()[0]) for row in listed.splitlines() if "notice_lapses" not in row]

    def kill_a_worker(self, chance: random.Random) -> None:
        """One of the processes that answer; the server starts another."""
        deadline = time.monotonic() + PATIENCE_S
        while not (workers := self.workers()) and time.monotonic() < deadline:
            time.sleep(0.05)
        with suppress(ProcessLookupError):
            os.kill(chance.choice(workers), signal.SIGKILL)

    def kill(self) -> None:
        """The server and all that it started, at one blow."""
        if self.process is not None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None

    def end(self) -> None:
        if self.process is not None:
            self.process.terminate()
            try:
                self.process.wait(timeout=30)
            except subprocess.TimeoutExpired:
                self.kill()
