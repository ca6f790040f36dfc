"""What is wrong with a backup or with the files of a book, when a backup is put in its place."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

from lots.management.archive import BOOK
from tests.management.console import ask, manage


def _tamper(folder: Path) -> None:
    with closing(sqlite3.connect(folder / BOOK)) as book:
        (trigger,) = book.execute(
            "SELECT sql FROM sqlite_master WHERE name = 'lots_place_no_update'"
        ).fetchone()
        book.execute("DROP TRIGGER lots_place_no_update")
        book.execute("UPDATE lots_place SET name = 'Elsewhere' WHERE id = 3")
        book.execute(trigger)
        book.commit()


def test_a_book_at_fault_is_restored_only_despite_its_faults_and_stays_named(
    data: Path, tmp_path: Path
) -> None:
    _tamper(data)
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    done = manage(tmp_path / "new", "restore", str(tmp_path / "b"))
    assert done.returncode == 1
    assert "row 3 of place is not what was written" in done.stderr
    assert "--despite-faults" in done.stderr
    assert not (tmp_path / "new" / BOOK).exists()
    done = manage(tmp_path / "new", "restore", str(tmp_path / "b"), "--despite-faults")
    assert done.returncode == 3
    assert "row 3 of place is not what was written" in done.stdout
    noted = json.loads((tmp_path / "new" / "keeping" / "walk.json").read_text())
    assert noted["fault_count"] == 1


def test_a_book_that_lost_a_trigger_counts_as_at_fault(data: Path, tmp_path: Path) -> None:
    ask(data, "DROP TRIGGER lots_reading_no_update")
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 0
    done = manage(tmp_path / "new", "restore", str(tmp_path / "b"))
    assert (done.returncode, "lots_reading_no_update is missing" in done.stderr) == (1, True)


def test_a_file_that_the_backup_lacks_counts_as_a_fault(data: Path, tmp_path: Path) -> None:
    gone = min((data / "files").iterdir())
    gone.unlink()
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 3
    done = manage(tmp_path / "new", "restore", str(tmp_path / "b"))
    assert (done.returncode, f"files/{gone.name}" in done.stderr) == (1, True)


def test_an_altered_kept_file_is_mended_and_its_altered_form_put_aside(
    data: Path, backup: Path
) -> None:
    file = min((data / "files").iterdir())
    good = file.read_bytes()
    file.unlink()
    file.write_bytes(b"altered")
    assert manage(data, "restore", str(backup)).returncode == 0
    assert file.read_bytes() == good
    (aside,) = data.glob("replaced-*")
    assert (aside / "files" / file.name).read_bytes() == b"altered"


def test_an_altered_file_of_the_backup_does_not_replace_a_good_one(
    data: Path, kept_book: Path, tmp_path: Path
) -> None:
    file = min((data / "files").iterdir())
    good = file.read_bytes()
    file.unlink()
    file.write_bytes(b"altered")
    assert manage(data, "backup", str(tmp_path / "b")).returncode == 3
    file.write_bytes(good)
    assert manage(data, "restore", str(tmp_path / "b"), "--despite-faults").returncode == 3
    assert file.read_bytes() == good
