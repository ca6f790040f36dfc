"""Where the passphrase of the sealing key may lie, and where not."""

import re
from pathlib import Path

import pytest
from django.conf import settings

from lots.entries.house import House, change_house
from lots.entries.passphrase import (
    DEMO_FILE,
    BadPassphrase,
    keep_passphrase,
    new_passphrase,
    passphrase_file,
    read_passphrase,
    readings_of,
)
from tests.make import Book, moment


@pytest.fixture(autouse=True)
def folders(db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data folder and a home of the test's own; nothing in the environment."""
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE", "")
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE_FILE", "")
    monkeypatch.setattr(settings, "DATA_DIR", tmp_path / "house")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    (tmp_path / "house").mkdir()
    return tmp_path


def test_a_new_passphrase_can_be_typed_and_is_never_the_same() -> None:
    made = {new_passphrase() for _ in range(50)}
    assert len(made) == 50
    assert all(re.fullmatch(r"([A-HJ-NP-Z2-9]{4}-){5}[A-HJ-NP-Z2-9]{4}", one) for one in made)


def test_a_passphrase_typed_from_paper_is_understood() -> None:
    made = new_passphrase()
    for typed in (made, made.lower(), made.replace("-", " "), f" {made.replace('-', '')} \n"):
        assert made in readings_of(typed)
    assert readings_of(" Oak and Salt ")[0] == "Oak and Salt"


def test_it_is_kept_outside_the_data_folder_for_its_owner_alone(folders: Path) -> None:
    assert read_passphrase() is None
    file = keep_passphrase("alder")
    assert read_passphrase() == b"alder"
    assert file.stat().st_mode & 0o777 == 0o600
    assert file.parent.stat().st_mode & 0o777 == 0o700
    assert not file.is_relative_to(folders / "house")
    assert list((folders / "house").rglob("*")) == []


def test_two_data_folders_have_two_passphrases(
    folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = passphrase_file()
    monkeypatch.setattr(settings, "DATA_DIR", folders / "elsewhere" / "house")
    assert passphrase_file() != first
    assert passphrase_file().name.startswith("seal-house-")


def test_the_environment_comes_before_any_file(monkeypatch: pytest.MonkeyPatch) -> None:
    keep_passphrase("alder")
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE", "oak")
    assert read_passphrase() == b"oak"
    with pytest.raises(BadPassphrase, match="SEAL_PASSPHRASE is set"):
        keep_passphrase("salt")


def test_a_file_in_the_data_folder_is_refused_by_whatever_way_it_leads_there(
    folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    inside = folders / "house" / "words"
    inside.write_text("alder")
    inside.chmod(0o600)
    (folders / "link").symlink_to(inside)
    round_about = folders / "house" / ".." / "house" / "words"
    for file in (inside, folders / "link", round_about):
        monkeypatch.setattr(settings, "SEAL_PASSPHRASE_FILE", str(file))
        with pytest.raises(BadPassphrase, match="lies in the data folder"):
            read_passphrase()
        with pytest.raises(BadPassphrase, match="Move it elsewhere"):
            keep_passphrase("oak")
    assert inside.read_text() == "alder"


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o644])
def test_a_file_that_others_can_read_is_refused_with_what_to_do(mode: int) -> None:
    file = keep_passphrase("alder")
    file.chmod(mode)
    with pytest.raises(BadPassphrase, match=f"mode {mode:o}.*chmod 600"):
        read_passphrase()


def test_a_file_without_words_or_that_is_no_file_is_refused_in_words(
    folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = keep_passphrase("\n ")
    with pytest.raises(BadPassphrase, match="is empty"):
        read_passphrase()
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadPassphrase, match="it is not text"):
        read_passphrase()
    (folders / "config" / "folder").mkdir(mode=0o700)
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE_FILE", str(folders / "config" / "folder"))
    with pytest.raises(BadPassphrase, match="cannot be read"):
        read_passphrase()


def test_a_place_that_cannot_be_written_is_said_with_what_to_do(
    folders: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folders / "file").write_text("")
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE_FILE", str(folders / "file" / "words"))
    with pytest.raises(BadPassphrase, match=r"cannot be written.*SEAL_PASSPHRASE_FILE"):
        keep_passphrase("alder")


def test_the_demos_alone_lies_beside_its_data(book: Book, folders: Path) -> None:
    assert passphrase_file() != folders / "house" / DEMO_FILE
    invented = House("Invented", "Nowhere", "both", "UTC", "F", "kg", demo=True)
    change_house(book.keeper, invented, moment("09:00"))
    assert passphrase_file() == folders / "house" / DEMO_FILE
    keep_passphrase("alder")
    assert read_passphrase() == b"alder"
    change_house(book.keeper, House("Real", "Nowhere", "both", "UTC", "F", "kg"), moment("09:01"))
    assert read_passphrase() is None
