"""A small invented book in a data folder of its own, as a real start would have it."""

import shutil
from pathlib import Path

import pytest

from tests.management.console import ROOT, manage


@pytest.fixture(scope="session")
def kept_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The newest kept book, brought to this version; tests copy it."""
    folder = tmp_path_factory.mktemp("kept") / "data"
    shutil.copytree(ROOT / "tests" / "books" / "4", folder)
    done = manage(folder, "migrate", "--verbosity", "0")
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def data(kept_book: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(kept_book, tmp_path / "data"))


@pytest.fixture(scope="session")
def backup(kept_book: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A backup of the kept book, made from a copy of it, so that no note of it stays there."""
    folder = tmp_path_factory.mktemp("backup")
    shutil.copytree(kept_book, folder / "data")
    assert manage(folder / "data", "backup", str(folder / "b")).returncode == 0
    return folder / "b"
