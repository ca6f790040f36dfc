"""Every small book that an earlier version kept still migrates, agrees with itself, and reads.  They lie
in SQLite, whatever DATABASE_URL says; test_books_postgres.py lays their rows into PostgreSQL."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
BOOKS = sorted(folder for folder in HERE.iterdir() if (folder / "book.sqlite3").exists())


def run(data: Path, *words: str, url: str = "") -> subprocess.CompletedProcess[str]:
    """A command on a folder; its book lies in SQLite there, or in PostgreSQL by the URL."""
    known = {
        k: v
        for k, v in os.environ.items()
        if k not in ("DJANGO_SETTINGS_MODULE", "SMOKEHOUSE_DATA", "DATABASE_URL")
    } | ({"DATABASE_URL": url} if url else {})
    command = [sys.executable, str(ROOT / "manage.py"), "--data", str(data), *words]
    return subprocess.run(command, capture_output=True, text=True, env=known, check=False)


def test_there_is_a_book_of_an_earlier_version() -> None:
    assert [folder.name for folder in BOOKS] == ["1", "3", "4", "5", "6"]


@pytest.fixture(params=BOOKS, ids=lambda folder: f"book {folder.name}")
def data(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A copy, migrated to this version."""
    copy = tmp_path / "data"
    shutil.copytree(request.param, copy)
    migrated = run(copy, "migrate", "-v", "0")
    assert migrated.returncode == 0, migrated.stderr
    return copy


def test_an_old_book_agrees_with_itself(data: Path) -> None:
    checked = run(data, "check_book")
    assert checked.returncode == 0, checked.stdout + checked.stderr
    assert "lines agree" in checked.stdout
    assert run(data, "check").returncode == 0


def test_an_old_books_record_is_still_there_and_intact(data: Path) -> None:
    listed = run(data, "export_record", "--list")
    code = listed.stdout.split()[0]
    assert run(data, "export_record", code, "--to", str(data / "out.pdf")).returncode == 0
    assert (data / "out.pdf").read_bytes() == (data / "record.pdf").read_bytes()
    assert run(data, "check_record", str(data / "record.pdf")).returncode == 0


def test_an_old_record_read_by_a_stranger_is_intact_but_not_known(data: Path) -> None:
    stranger = [sys.executable, "-m", "lots.pdf.check", str(data / "record.pdf")]
    assert subprocess.run(stranger, cwd=ROOT, capture_output=True, check=False).returncode == 3


def test_an_old_book_judges_as_it_did(data: Path) -> None:
    said = run(data, "shell", "-c", JUDGE)
    assert said.returncode == 0, said.stderr
    assert "TR-1 none differ" in said.stdout


JUDGE = """
from lots.models.lot import Lot
from lots.models.review import KeptJudgement
from lots.queries.judgements import judge_lot
lot = Lot.objects.get(code='TR-1')
newest = max(KeptJudgement.objects.filter(lot=lot).values_list('at', flat=True))
kept = {(k.load_id, k.limit_id): k.verdict for k in KeptJudgement.objects.filter(lot=lot, at=newest)}
now = {(j.part.load_id, j.limit.id): j.verdict.value for j in judge_lot(lot, newest, anew=True)}
print('TR-1', 'none differ' if kept == now and kept else (kept, now))
"""
