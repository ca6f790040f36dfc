"""One file with everything, made while the book is in use."""

import json
import os
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connections

from lots.management.archive import BOOK, INDEX, Opened, read_index
from lots.management.backing_up import is_public_or_closed
from lots.pdf.seal import make_seal_key
from tests.management.console import PLAIN, ROOT, ask, enter, manage, newest

NOW = datetime(2026, 11, 1, tzinfo=UTC)


def members(file: Path) -> list[str]:
    with zipfile.ZipFile(file) as opened:
        return opened.namelist()


def left_in(folder: Path) -> list[str]:
    return sorted(one.name for one in folder.iterdir())


def test_one_file_for_its_owner_holds_the_book_and_every_file_that_it_names(
    data: Path, tmp_path: Path
) -> None:
    (data / "files" / ("0" * 64)).write_bytes(b"lies there, and no row names it")
    file = tmp_path / "out" / "monday.backup"
    file.parent.mkdir()
    done = manage(data, "backup", str(file))
    assert (done.returncode, done.stderr) == (0, "")
    assert file.stat().st_mode & 0o777 == 0o600
    assert left_in(file.parent) == ["monday.backup"]
    named = [row[0] for row in ask(data, "SELECT DISTINCT sha256 FROM lots_keptfile")]
    assert len(named) >= 3
    index = Opened(file).index
    assert (index.lines, index.digest) == newest(data)
    assert sorted(one.name for one in index.members if one.name.startswith("files/")) == sorted(
        f"files/{name}" for name in named
    )
    assert index.digest_of_index in done.stdout
    assert newest(data)[1] in done.stdout


def test_the_index_is_canonical_and_names_the_state_of_the_program(
    data: Path, tmp_path: Path
) -> None:
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    with zipfile.ZipFile(tmp_path / "b") as opened:
        written = opened.read(INDEX)
    told = json.loads(written)
    assert json.dumps(
        told, sort_keys=True, separators=(",", ":"), ensure_ascii=False
    ).encode() == written  # fmt: skip
    assert "lots.0001_ground" in told["migrations"]
    assert read_index(written).members[0].name == BOOK


def test_an_existing_file_is_never_written_over(data: Path, tmp_path: Path) -> None:
    file = tmp_path / "b"
    file.write_text("something of somebody's")
    done = manage(data, "backup", str(file))
    assert (done.returncode, "already there" in done.stderr) == (1, True)
    assert file.read_text() == "something of somebody's"


def test_no_key_that_is_open_goes_along_and_no_secret(data: Path, tmp_path: Path) -> None:
    for standing in (data / "keys").glob("seal*.pem"):
        standing.unlink()
    make_seal_key(data / "keys", "Invented Creek Smokehouse", NOW, b"alder-and-oak-smoke")
    for name in ("seal-key.pem", "seal-ca-key.pem", "pin_seal.pem"):  # as older versions left them
        (data / "keys" / name).write_bytes(_key(closed=False))
    (data / "keys" / "seal-passphrase.pem").write_text("alder-and-oak-smoke")
    file = tmp_path / "b"
    done = manage(data, "backup", str(file))
    assert done.returncode == 0
    keys = [name for name in members(file) if name.startswith("keys/")]
    assert keys == ["keys/seal-ca.pem", "keys/seal.pem"]
    for name in ("secret_key", "seal-key.pem", "seal-ca-key.pem", "pin_seal.pem"):
        assert name in done.stdout
    secret = (data / "secret_key").read_bytes()
    with zipfile.ZipFile(file) as opened:
        whole = b"".join(opened.read(name) for name in opened.namelist())
    for hidden in (b"PRIVATE KEY", secret, b"alder-and-oak-smoke"):
        assert hidden not in whole


def _key(closed: bool) -> bytes:
    how: serialization.KeySerializationEncryption = serialization.NoEncryption()
    if closed:
        how = serialization.BestAvailableEncryption(b"alder-and-oak-smoke")
    private = ec.generate_private_key(ec.SECP256R1())
    return private.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, how)


def test_a_key_goes_along_only_where_a_passphrase_closes_it(tmp_path: Path) -> None:
    make_seal_key(tmp_path, "Invented", NOW, b"alder-and-oak-smoke")
    certificate = (tmp_path / "seal.pem").read_bytes()
    closed, opened = _key(closed=True), _key(closed=False)
    assert is_public_or_closed(certificate)
    assert is_public_or_closed(closed)
    assert is_public_or_closed(certificate + closed)
    traditional = closed.replace(b"ENCRYPTED PRIVATE", b"RSA PRIVATE")
    for bad in (
        opened,
        certificate + opened,
        closed + b"\npassphrase: oak",
        traditional,
        b"",
        b"oak",
    ):
        assert not is_public_or_closed(bad)


def test_a_closed_sealing_key_is_in_the_backup(data: Path, tmp_path: Path) -> None:
    closed = _key(closed=True)
    (data / "keys" / "seal-key.pem").write_bytes(closed)
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    with zipfile.ZipFile(tmp_path / "b") as opened:
        assert opened.read("keys/seal-key.pem") == closed


def test_who_is_logged_in_now_is_not_in_the_copy(data: Path, tmp_path: Path) -> None:
    session = "s3ss10nkeyofsomebodyloggedinnow0"
    ask(data, "INSERT INTO django_session VALUES (?, 'x', '2099-01-01')", session)
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    with zipfile.ZipFile(tmp_path / "b") as opened:
        assert session.encode() not in opened.read(BOOK)
    assert ask(data, "SELECT count(*) FROM django_session") == [(1,)]


@pytest.mark.parametrize("amiss", ["missing", "altered"])
def test_a_kept_file_amiss_is_named_and_the_backup_made_all_the_same(
    amiss: str, data: Path, tmp_path: Path
) -> None:
    file = min((data / "files").iterdir())
    file.unlink() if amiss == "missing" else file.write_bytes(b"something else")
    done = manage(data, "backup", str(tmp_path / "b"))
    assert done.returncode == 3
    assert f"{file.name} that the book names is {amiss}" in done.stderr
    index = Opened(tmp_path / "b").index
    assert index.missing == ((file.name,) if amiss == "missing" else ())


WRITING = """
import itertools, sys
from lots.entries.house import open_place
from lots.entries.files import Upload, keep_file
from lots.entries.book import act
from lots.models.people import Person
person = Person.objects.order_by("pk").first()
for one in itertools.count():
    with act("paper kept", person, 1790000000000) as writing:
        keep_file(writing, Upload("a.png", b"%d" % one * 2000), "image/png")
    if one == 5:
        print("writing", flush=True)
"""


def test_a_backup_made_while_lines_and_files_are_written_is_whole_as_of_one_moment(
    data: Path, tmp_path: Path
) -> None:
    words = ["--data", str(data), "shell", "-v", "0", "-c", WRITING]
    writer = subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), *words],
        stdout=subprocess.PIPE, text=True, cwd="/", env=PLAIN,
    )  # fmt: skip
    try:
        assert writer.stdout and writer.stdout.readline() == "writing\n"
        made = []
        for number in range(4):
            file = tmp_path / f"b{number}"
            before = newest(data)[0]
            done = manage(data, "backup", str(file))
            assert (done.returncode, done.stderr) == (0, "")
            made.append(Opened(file))
            assert made[-1].index.lines >= before
        assert writer.poll() is None
    finally:
        writer.kill()
        writer.wait()
    lines = [opened.index.lines for opened in made]
    assert lines == sorted(set(lines)), "nothing was written between the backups"
    for number, opened in enumerate(made):
        folder = tmp_path / f"unpacked{number}"
        opened.unpack(folder)
        with closing(sqlite3.connect(folder / BOOK)) as book:
            assert book.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            named = {row[0] for row in book.execute("SELECT sha256 FROM lots_keptfile")}
        assert named == {one.name for one in (folder / "files").iterdir()}


def limited(data: Path, file: Path, most_bytes: int) -> subprocess.CompletedProcess[str]:
    """The command where no file may grow beyond a size: a full disk, as far as a write can tell."""
    script = (
        f"import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, ({most_bytes},) * 2); "
        f"sys.path.insert(0, {str(ROOT)!r}); sys.argv = ['manage.py', '--data', {str(data)!r}, "
        f"'backup', {str(file)!r}]; import manage; manage.main()"
    )
    return subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        cwd="/",
        env=PLAIN,
        timeout=60,
    )


def test_a_full_disk_is_said_and_nothing_is_left(data: Path, tmp_path: Path) -> None:
    size = (data / "book.sqlite3").stat().st_size
    file = tmp_path / "out" / "b"
    file.parent.mkdir()
    for most in (size // 4, size + 4096):
        if most > size:  # the copy fits; a file in the archive does not
            large = "f" * 64
            (data / "files" / large).write_bytes(os.urandom(2 * size))
            ask(
                data,
                "INSERT INTO lots_keptfile (sha256, name, media_type, size, line_id) VALUES (?, 'x', 'x', 1, 1)",
                large,
            )
        done = limited(data, file, most)
        assert done.returncode == 1, done.stdout
        assert "There is no room for" in done.stderr
        assert "Traceback" not in done.stderr and "Exception" not in done.stderr
        assert left_in(file.parent) == []
    assert not (data / "keeping" / "backups.json").exists()


def test_what_an_earlier_one_left_that_was_killed_is_swept_away(data: Path, tmp_path: Path) -> None:
    left = tmp_path / "out" / ".b.4194303.part"
    left.mkdir(parents=True)
    (left / "book.sqlite3").write_text("half")
    assert manage(data, "backup", str(tmp_path / "out" / "b")).returncode == 0
    assert left_in(tmp_path / "out") == ["b"]


def test_backups_are_noted_the_newest_first(data: Path, tmp_path: Path) -> None:
    for name in ("first", "second"):
        assert manage(data, "backup", str(tmp_path / name)).returncode == 0
        enter(data, 1, name)
    noted = json.loads((data / "keeping" / "backups.json").read_text())
    assert [Path(one["path"]).name for one in noted] == ["second", "first"]
    assert [one["lines"] for one in noted] == [newest(data)[0] - 1, newest(data)[0] - 2]
    assert noted[0]["size"] == (tmp_path / "second").stat().st_size
    assert (noted[0]["what"], noted[0]["same_disk"]) == ("whole", True)


def test_it_says_so_where_there_is_no_book_and_no_folder(data: Path, tmp_path: Path) -> None:
    empty = manage(tmp_path / "empty", "backup", str(tmp_path / "a"))
    assert (empty.returncode, "There is no book" in empty.stderr) == (1, True)
    nowhere = manage(data, "backup", str(tmp_path / "none" / "a"))
    assert (nowhere.returncode, "cannot be written" in nowhere.stderr) == (1, True)


def test_a_book_that_lies_elsewhere_than_in_sqlite_is_refused_in_words(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(connections["default"], "vendor", "postgresql")
    monkeypatch.setitem(connections["default"].settings_dict, "NAME", "smokehouse")
    for command in ("backup", "restore"):
        with pytest.raises(CommandError, match="PostgreSQL"):
            call_command(command, str(tmp_path / "b"))
