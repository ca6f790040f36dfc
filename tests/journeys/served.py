"""A real server of a demo's folder in a process of its own, on loopback, ended by its own number."""

import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Served:
    """Where it is, and whose password is what."""

    base: str
    folder: Path
    passwords: dict[str, str]
    pins: dict[str, str]


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
def serve_demo(folder: Path, port: int = 0) -> Iterator[Served]:
    """Serves the folder's demo until the block ends."""
    port = port or free_port()
    words = [sys.executable, "manage.py", "--data", str(folder), "demo", "--port", str(port)]
    with (folder / "served.log").open("ab") as log:
        process = subprocess.Popen(words, cwd=ROOT, env=_environment(), stdout=log, stderr=log)
    base = f"http://127.0.0.1:{port}"
    try:
        wait_for(base, process)
        people = (folder / "demo_people.txt").read_text()
        pins = dict(re.findall(r"^(\w+) .*\(PIN (\d+)\)", people, re.M))
        rows = re.findall(r"^(\w+)\s+(\S+-\S+-\S+-\d+)", people, re.M)
        yield Served(base, folder, dict(rows), pins)
    finally:
        process.terminate()
        process.wait(timeout=30)


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
