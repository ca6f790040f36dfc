"""Files that appear under their name whole or not at all."""

import fcntl
import glob
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def workshop(target: Path) -> Iterator[Path]:
    """A hidden folder beside the target in which it is made, and which goes away with the block.  What one
    left behind that was killed is swept away first; one at work holds its folder's lock.

    Raises FileExistsError where the target is there already.
    """
    if os.path.lexists(target):
        raise FileExistsError(target)
    for old in target.parent.glob(f".{glob.escape(target.name)}.*.part"):
        _sweep(old)
    folder = target.with_name(f".{target.name}.{os.getpid()}.part")
    folder.mkdir(mode=0o700)
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        os.close(descriptor)


def _sweep(old: Path) -> None:
    """Removes what nobody is at work in any more."""
    try:
        descriptor = os.open(old, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    except OSError:
        return
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        shutil.rmtree(old, ignore_errors=True)
    except BlockingIOError:
        pass
    finally:
        os.close(descriptor)


def put_under(part: Path, target: Path) -> None:
    """Gives a finished file its name; raises FileExistsError where something else got it meanwhile."""
    fsync(part)
    try:
        os.link(part, target)
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links, as the one of a camera
        if os.path.lexists(target):
            raise FileExistsError(target) from None
        part.rename(target)
    fsync(target.parent)


def fsync(what: Path) -> None:
    """A file is on the disk only once it was synced, and its name only once its folder was."""
    descriptor = os.open(what, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def fsync_tree(folder: Path) -> None:
    """Everything in a folder, and the folders themselves."""
    for at, _, names in os.walk(folder):
        for name in names:
            fsync(Path(at) / name)
        fsync(Path(at))
