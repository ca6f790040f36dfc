"""Killed in the middle (SIGKILL, so that nothing can clean up): the old book stands or the new one does,
and no half file bears a name that somebody would trust."""

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from lots.management.archive import BOOK, Opened
from tests.management.console import PLAIN, ROOT, ask, enter, is_sound, manage, newest

# Ends the process at its n-th act upon the file system: a kill between any two of them
KILLED = """
import os, signal, sys
sys.path.insert(0, {root!r})
ACTS = {{"open", "os.rename", "os.link", "os.remove", "os.rmdir", "os.mkdir", "os.chmod", "shutil.copyfile",
        "sqlite3.connect", "subprocess.Popen"}}
BELOW = {below!r}
left = {number}
def count(event, told):
    global left
    if event not in ACTS or not any(str(one).startswith(BELOW) for one in told[:2]):
        return
    if event == "open" and not (told[2] or 0) & (os.O_WRONLY | os.O_RDWR):
        return
    left -= 1
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(count)
sys.argv = {argv!r}
import manage
try:
    manage.main()
finally:
    print("acts", {number} - left, file=sys.stderr)
"""


def killed_at(
    number: int, below: Path, folder: Path, *words: str
) -> subprocess.CompletedProcess[str]:
    argv = ["manage.py", "--data", str(folder), *words]
    script = KILLED.format(root=str(ROOT), below=str(below), number=number, argv=argv)
    return subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        cwd="/",
        env=PLAIN,
        timeout=60,
    )


def acts_of(below: Path, folder: Path, *words: str) -> int:
    """How many acts the whole command takes."""
    done = killed_at(10**9, below, folder, *words)
    assert done.returncode == 0, done.stderr
    return int(done.stderr.split("acts ")[1])


def spread(acts: int, most: int) -> list[int]:
    """Numbers of acts to be killed at: the first, the last, and between."""
    step = max(1, acts // most)
    return sorted({*range(1, acts + 1, step), *range(max(1, acts - 5), acts + 1)})


def test_a_backup_killed_anywhere_leaves_its_name_free_or_a_whole_backup(
    data: Path, tmp_path: Path
) -> None:
    acts = acts_of(tmp_path, data, "backup", str(tmp_path / "whole"))
    before = newest(data)
    out = tmp_path / "out"
    out.mkdir()
    ended = 0
    for number in spread(acts, 8):
        done = killed_at(number, tmp_path, data, "backup", str(out / "b"))
        ended += done.returncode == -9
        assert newest(data) == before
        if (out / "b").exists():
            assert Opened(out / "b").index.lines == before[0], number
            Opened(out / "b").unpack(tmp_path / f"unpacked{number}")
            (out / "b").unlink()
    assert ended >= 8
    assert manage(data, "backup", str(out / "b")).returncode == 0
    assert [one.name for one in out.iterdir()] == ["b"]
    assert is_sound(data)


def test_a_restore_killed_anywhere_leaves_the_old_book_or_the_new(
    data: Path, tmp_path: Path
) -> None:
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    enter(data, 2)
    words = ["restore", str(tmp_path / "b"), "--losing-lines", "2"]
    trial = Path(shutil.copytree(data, tmp_path / "trial"))
    acts = acts_of(trial, trial, *words)
    old, found = newest(data), set()
    for number in spread(acts, 10):
        folder = Path(shutil.copytree(data, tmp_path / f"at{number}"))
        done = killed_at(number, folder, folder, *words)
        assert done.returncode == -9, (number, done.stderr)
        stands = newest(folder)
        found.add(stands == old)
        if stands != old:
            assert stands[0] == old[0] - 2 + 1, number
            (aside,) = folder.glob("replaced-*")
            assert newest(aside) == old
        assert ask(folder, "PRAGMA integrity_check") == [("ok",)]
        assert is_sound(folder), number
        if stands == old:  # and it can be done again, over what the killed one left
            assert manage(folder, *words).returncode == 0, number
            assert not list(folder.glob("restoring-*"))
            assert is_sound(folder)
        shutil.rmtree(folder)
    assert found == {True, False}


@pytest.mark.parametrize("after_s", [0.3, 0.7, 1.1, 1.5])
def test_a_restore_killed_by_the_clock_leaves_a_book(
    after_s: float, data: Path, tmp_path: Path
) -> None:
    """What happens inside SQLite and in the process that tries the book, too."""
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    enter(data, 1)
    old = newest(data)
    words = [sys.executable, str(ROOT / "manage.py"), "--data", str(data), "restore"]
    process = subprocess.Popen(
        [*words, str(tmp_path / "b"), "--losing-lines", "1"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/", env=PLAIN,
    )  # fmt: skip
    time.sleep(after_s)
    process.kill()
    process.wait()
    assert newest(data) == old or newest(data)[0] == old[0]
    assert is_sound(data)
    assert not (data / f"{BOOK}-journal").exists()
