"""So many heavy things at once and no more, over all of the server's processes."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Final

SLOTS: Final = 2


class Busy(Exception):
    """Every slot is taken."""


@contextmanager
def slot(folder: Path) -> Iterator[None]:
    """Holds one of the slots while the block runs; a process that dies lets go of its own.

    Raises:
        Busy: none is free.
    """
    held = _take(folder)
    try:
        yield
    finally:
        held.close()


def _take(folder: Path) -> IO[bytes]:
    for number in range(SLOTS):
        file = (folder / f"checking-{number}.lock").open("ab")
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            file.close()
        else:
            return file
    raise Busy
