"""Who has the data folder: several may serve or copy it at a time, and none while it is replaced."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Final

from django.conf import settings
from django.core.management.base import CommandError

from lots.queries.keeping import LOCK, WATCH, keeping_folder

SERVING: Final = "serving.lock"
REPLACED: Final = (
    "The book in {folder} is being replaced from a backup at this moment. Wait until manage.py "
    "restore has ended."
)
SERVED: Final = (
    "The book in {folder} is in use: the logbook is being served from it, or a backup is being made. "
    "End that first (Ctrl-C where it runs), then restore. Nothing was changed."
)


def _take(file: Path, how: int) -> int | None:
    """A descriptor that holds the lock as long as it is open, in whatever process; None if it is not to
    be had.  A file that nobody holds is no obstacle: the lock ends with the processes, not with the file."""
    descriptor = os.open(file, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, how | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        return None
    return descriptor


@contextmanager
def using_book() -> Iterator[int]:
    """Holds the folder for serving or copying; gives what a child process holds it on with."""
    with _held(fcntl.LOCK_SH, REPLACED) as descriptor:
        yield descriptor


@contextmanager
def replacing_book() -> Iterator[int]:
    """Holds the folder for oneself alone."""
    with _held(fcntl.LOCK_EX, SERVED) as descriptor:
        yield descriptor


@contextmanager
def _held(how: int, refusal: str) -> Iterator[int]:
    folder = Path(settings.DATA_DIR)
    descriptor = _take(folder / SERVING, how)
    if descriptor is None:
        raise CommandError(refusal.format(folder=folder))
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def walking_book() -> AbstractContextManager[bool]:
    """Holds the walk's own lock; False where the book is being walked already."""
    return _alone(LOCK)


def watching_book() -> AbstractContextManager[bool]:
    """Says, as long as it is held, that somebody walks the book each night; False where another does."""
    return _alone(WATCH)


@contextmanager
def _alone(name: str) -> Iterator[bool]:
    keeping_folder().mkdir(mode=0o700, parents=True, exist_ok=True)
    descriptor = _take(keeping_folder() / name, fcntl.LOCK_EX)
    try:
        yield descriptor is not None
    finally:
        if descriptor is not None:
            os.close(descriptor)
