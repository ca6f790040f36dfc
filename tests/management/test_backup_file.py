"""A backup that was altered, cut short or made up: refused before it reaches a book."""

import json
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from lots.management.archive import BOOK, INDEX, BadBackup, Opened
from tests.management.console import ask, manage, state


def rewritten(backup: Path, target: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    """The backup with its members changed by hand; the index stays as the change leaves it."""
    with zipfile.ZipFile(backup) as opened:
        held = {name: opened.read(name) for name in opened.namelist()}
    change(held)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in held.items():
            made.writestr(name, content)
    return target


def with_index(change: Callable[[dict[str, object]], None]) -> Callable[[dict[str, bytes]], None]:
    def changed(held: dict[str, bytes]) -> None:
        told = json.loads(held[INDEX])
        change(told)
        text = json.dumps(told, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        held[INDEX] = text.encode()

    return changed


def test_whatever_byte_of_a_backup_is_flipped_it_is_refused_or_says_the_same(
    backup: Path, tmp_path: Path
) -> None:
    good = tmp_path / "good"
    Opened(backup).unpack(good)
    told, content = Opened(backup).index, backup.read_bytes()
    refused = 0
    places = [
        *range(0, len(content), max(1, len(content) // 150)),
        *range(len(content) - 60, len(content)),
    ]
    for number, place in enumerate(places):
        bad = bytearray(content)
        bad[place] ^= 1 << (number % 8)
        file = tmp_path / "bad"
        file.write_bytes(bad)
        folder = tmp_path / "unpacked"
        try:
            opened = Opened(file)
            opened.unpack(folder)
        except BadBackup:
            refused += 1
        else:
            assert opened.index == told, place
            assert state(folder) == state(good), place
        shutil.rmtree(folder, ignore_errors=True)
    assert refused > len(places) * 3 // 4


def test_a_backup_cut_short_anywhere_is_refused(backup: Path, tmp_path: Path) -> None:
    content = backup.read_bytes()
    for length in (0, 1, 100, len(content) // 2, len(content) - 300, len(content) - 1):
        file = tmp_path / "cut"
        file.write_bytes(content[:length])
        with pytest.raises(BadBackup):
            Opened(file)
    done = manage(tmp_path / "new", "restore", str(file))
    assert done.returncode == 1
    assert "Traceback" not in done.stderr and "cannot be restored" in done.stderr
    assert not (tmp_path / "new" / BOOK).exists()


@pytest.mark.parametrize(
    "name",
    ["../evil", "files/../../evil", "/tmp/evil", "files/" + "A" * 64, "keys/../secret_key",
     "keys/seal/../../x.pem", "secret_key", "files\\..\\evil", "book.sqlite3-wal"],
)  # fmt: skip
def test_a_name_that_no_backup_has_is_refused_even_if_the_index_names_it(
    name: str, backup: Path, tmp_path: Path
) -> None:
    def put_in(held: dict[str, bytes]) -> None:
        held[name] = b"evil"
        digest = "2" * 64
        with_index(lambda told: told["members"].append({"name": name, "sha256": digest, "size": 4}))(held)  # type: ignore[attr-defined]  # fmt: skip

    with pytest.raises(BadBackup, match="which no backup holds"):
        Opened(rewritten(backup, tmp_path / "bad", put_in))


ALTERED: dict[str, Callable[[dict[str, bytes]], object]] = {
    "a file put in": lambda held: held.update({"files/" + "1" * 64: b"more"}),
    "a file taken out": lambda held: held.pop(
        next(one for one in held if one.startswith("files/"))
    ),
    "no index": lambda held: held.pop(INDEX),
    "no book": with_index(lambda told: told["members"].pop(0)),  # type: ignore[attr-defined]
    "an index with a space": lambda held: held.update({INDEX: held[INDEX] + b" "}),
    "another form": with_index(lambda told: told.update(form=2)),
    "lines as a word": with_index(lambda told: told.update(lines="69")),
    "a field more": with_index(lambda told: told.update(more=1)),
    "a list for an index": lambda held: held.update({INDEX: b"[]"}),
}


@pytest.mark.parametrize("change", ALTERED.values(), ids=ALTERED.keys())
def test_what_does_not_fit_its_index_is_refused(
    change: Callable[[dict[str, bytes]], object], backup: Path, tmp_path: Path
) -> None:
    def changed(held: dict[str, bytes]) -> None:
        change(held)

    with pytest.raises(BadBackup):
        Opened(rewritten(backup, tmp_path / "bad", changed))


def test_a_member_named_twice_is_refused(backup: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad"
    bad.write_bytes(backup.read_bytes())
    with zipfile.ZipFile(bad, "a") as opened, pytest.warns(UserWarning):
        opened.writestr(BOOK, b"another")
    with pytest.raises(BadBackup):
        Opened(bad)


def test_a_member_larger_than_its_index_says_is_not_unpacked_to_its_end(
    backup: Path, tmp_path: Path
) -> None:
    name = next(one for one in Opened(backup).index.members if one.name.startswith("files/")).name
    bomb = rewritten(backup, tmp_path / "bad", lambda held: held.update({name: b"\0" * 50_000_000}))
    with pytest.raises(BadBackup, match="is not what its index says"):
        Opened(bomb).unpack(tmp_path / "unpacked")
    assert (tmp_path / "unpacked" / name).stat().st_size < 10_000_000


@pytest.mark.parametrize("what", ["lines", "digest", "migrations"])
def test_an_index_that_tells_of_another_book_is_refused(
    what: str, backup: Path, tmp_path: Path
) -> None:
    other = {"lines": 3, "digest": "0" * 64, "migrations": ["lots.0001_ground"]}[what]
    bad = rewritten(backup, tmp_path / "bad", with_index(lambda told: told.update({what: other})))
    done = manage(tmp_path / "new", "restore", str(bad))
    assert (done.returncode, "not the one that its index names" in done.stderr) == (1, True)
    assert not (tmp_path / "new" / BOOK).exists()


def test_a_backup_of_a_newer_version_is_refused_before_anything_is_unpacked(
    data: Path, tmp_path: Path
) -> None:
    ask(data, "INSERT INTO django_migrations (app, name, applied) VALUES ('lots', '0999_later', '2099-01-01')")  # fmt: skip
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    done = manage(tmp_path / "new", "restore", str(tmp_path / "b"))
    assert (done.returncode, "lots.0999_later" in done.stderr) == (1, True)
    assert not list((tmp_path / "new").glob("*.sqlite3"))
