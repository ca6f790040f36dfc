"""A file of a stranger checked in a process of its own, which may take only so much memory and time."""

import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

SPARE: Final = 64_000_000
"""Bytes that must still be free where a file is told to be altered (common practice)."""
ROOT: Final = Path(__file__).resolve().parents[2]
GRACE_S: Final = 5  # for starting a process and ending it, beyond what the check itself may take


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the process may take."""

    memory_mb: int
    seconds: int


class TooMuch(Exception):
    """The check ended because it took too much memory or time, or fell over."""


def check_apart(data: bytes, trusted: Sequence[bytes], bounds: Bounds) -> dict[str, Any]:
    """The check's result as `CheckResult.as_json` says it; nothing of the file touches the disk.

    Args:
        data: the whole file.
        trusted: PEM certificates, as for `check`.
    Raises:
        TooMuch: the bounds were not enough, or the process fell over.
    """
    words = [sys.executable, "-I", "-c", _START, str(ROOT)]
    words += [str(bounds.memory_mb), str(bounds.seconds), str(len(data))]
    try:
        done = subprocess.run(
            words, input=data + b"\n".join(trusted), capture_output=True, check=False,
            timeout=bounds.seconds + GRACE_S, env={},
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise TooMuch("it took too long") from None
    try:
        found: dict[str, Any] = json.loads(done.stdout)
    except ValueError:
        raise TooMuch(f"the check ended without an answer (exit {done.returncode})") from None
    return found


_START: Final = """
import sys
sys.path.insert(0, sys.argv[1])
from lots.pdf.apart import answer
answer(*map(int, sys.argv[2:]))
"""


def answer(memory_mb: int, seconds: int, length: int) -> None:
    """Runs in the process apart: bounds itself, reads the file from its input, prints what was found."""
    import resource

    from lots.pdf.check import check, make_ready

    make_ready()  # before the bounds: a library half loaded would look like a damaged file
    memory = memory_mb * 1_000_000
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    given = sys.stdin.buffer.read()
    trusted = given[length:].split(b"-----BEGIN CERTIFICATE-----")[1:]
    pems = [b"-----BEGIN CERTIFICATE-----" + one for one in trusted]
    found = check(given[:length], pems)
    if found.exit_code == 1:  # a reader that ran out of memory may have called the file damaged
        bytearray(SPARE)
    print(found.as_json())
