"""The key made ready before any transaction: made, told to the book, or refused with nothing written."""

import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.conf import settings

from lots.entries.head import seal_head
from lots.entries.keys import replace_key
from lots.entries.lapses import lapsed
from lots.entries.record import issue_record
from lots.entries.refusals import NotAllowed, Refused
from lots.entries.sealing import ready_sealer
from lots.models.book import BookLine
from lots.models.house import Establishment
from lots.models.review import HeadSealed, RecordIssued
from lots.models.sealing import SealKey
from lots.pdf.key import encrypt_key, is_encrypted
from lots.pdf.own_authority import new_key
from lots.queries.book_check import book_faults
from lots.queries.house import establishment
from tests.make import Book, moment
from tests.pdf.test_key import unencrypted

WORDS = b"invented, of the tests"
AT = moment("09:00")
NOW = datetime.fromtimestamp(AT / 1000, UTC)


@pytest.fixture
def keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for keys of the test's own; empty."""
    monkeypatch.setattr(settings, "KEYS_DIR", tmp_path / "keys")
    return tmp_path / "keys"


def house() -> Establishment:
    found = establishment()
    assert found is not None
    return found


def test_the_first_key_is_made_and_told_in_the_name_of_the_book(book: Book, keys: Path) -> None:
    sealer = ready_sealer(house(), AT)
    row = SealKey.objects.select_related("line").get()
    assert (row.fingerprint, row.source, row.made_at) == (sealer.fingerprint, "own", AT)
    assert (row.line.kind, row.line.person) == ("sealing key made", None)
    assert sealer.fingerprint in row.line.content
    assert is_encrypted(keys)
    assert ready_sealer(house(), AT) == sealer
    assert SealKey.objects.count() == 1
    assert list(book_faults()) == []


def test_a_key_from_before_the_book_kept_them_is_taken_in_as_it_is(book: Book, keys: Path) -> None:
    keys.mkdir()
    unencrypted(keys)
    sealer = ready_sealer(house(), AT)  # unencrypted, and still of use
    row = SealKey.objects.get()
    assert row.fingerprint == sealer.fingerprint
    assert row.reason.startswith("found in the data folder")
    encrypt_key(keys, WORDS)
    assert ready_sealer(house(), AT).fingerprint == sealer.fingerprint
    assert SealKey.objects.count() == 1


def wrong(keys: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(settings, "SEAL_PASSPHRASE", "another")


def missing(keys: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setattr(settings, "SEAL_PASSPHRASE", "")
    patch.setattr(settings, "SEAL_PASSPHRASE_FILE", str(keys.parent / "none"))


def key_gone(keys: Path, patch: pytest.MonkeyPatch) -> None:
    (keys / "seal-key.pem").unlink()


def all_gone(keys: Path, patch: pytest.MonkeyPatch) -> None:
    shutil.rmtree(keys)


def exchanged(keys: Path, patch: pytest.MonkeyPatch) -> None:
    """Another key and certificate, whole and under the right passphrase."""
    from lots.pdf.key import install

    shutil.rmtree(keys)
    install(keys, new_key("Invented Creek Smokehouse", NOW, WORDS))


def mismatched(keys: Path, patch: pytest.MonkeyPatch) -> None:
    shutil.copy(keys / "seal-ca.pem", keys / "seal.pem")


BARRED: dict[str, tuple[Callable[[Path, pytest.MonkeyPatch], None], str]] = {
    "a wrong passphrase": (wrong, "is not that of the key that seals.*seal_key --passphrase"),
    "no passphrase": (missing, "its passphrase is not at.*seal_key --passphrase"),
    "the key gone": (key_gone, "gone from.*seal_key --new"),
    "the folder gone": (all_gone, "gone from.*seal_key --new"),
    "another key": (exchanged, "not the one that the book says seals"),
    "another certificate": (mismatched, "do not belong together"),
}


@pytest.mark.parametrize(("bar", "words"), BARRED.values(), ids=BARRED.keys())
def test_where_the_key_cannot_seal_nothing_is_written_and_it_is_said_why(
    book: Book,
    keys: Path,
    monkeypatch: pytest.MonkeyPatch,
    bar: Callable[[Path, pytest.MonkeyPatch], None],
    words: str,
) -> None:
    lot = book.open_lot()
    book.start("hold", "Cooler", "08:00", lot)
    book.at_place("Cooler", "08:00 36.2")
    ready_sealer(house(), AT)
    bar(keys, monkeypatch)
    before = BookLine.objects.count()
    late = moment(
        "2026-03-06 09:00"
    )  # the cooler was not read: issuing would write that down first
    assert lapsed([lot], late)
    with pytest.raises(Refused, match=words):
        issue_record(book.reviewer, lot, house(), late)
    with pytest.raises(Refused, match=words):
        seal_head(house(), late)
    assert BookLine.objects.count() == before
    assert not RecordIssued.objects.exists()
    assert not HeadSealed.objects.exists()


def test_without_a_passphrase_no_first_key_is_made(
    book: Book, keys: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    missing(keys, monkeypatch)
    with pytest.raises(Refused, match="seal_key --make"):
        ready_sealer(house(), AT)
    assert not keys.exists()
    assert not SealKey.objects.exists()


def test_a_certificate_that_has_ended_seals_no_more(book: Book, keys: Path) -> None:
    ready_sealer(house(), AT)
    with pytest.raises(Refused, match=r"ended on \d\d \w{3} 2051"):
        ready_sealer(house(), moment("2053-01-01 00:00"))


def test_a_new_key_is_written_in_a_keepers_name_with_its_reason(book: Book, keys: Path) -> None:
    first = ready_sealer(house(), AT)
    new = new_key("Invented Creek Smokehouse", NOW, WORDS)
    row = replace_key(book.keeper, new, " exposed: the laptop was stolen ", AT)
    assert (row.line.person, row.reason) == (book.keeper, "exposed: the laptop was stolen")
    assert ready_sealer(house(), AT).fingerprint == new.fingerprint != first.fingerprint
    assert [one.fingerprint for one in SealKey.objects.order_by("id")] == [
        first.fingerprint,
        new.fingerprint,
    ]
    assert list(book_faults()) == []


def test_who_keeps_no_people_and_who_gives_no_reason_replaces_no_key(
    book: Book, keys: Path
) -> None:
    first, lines = ready_sealer(house(), AT), BookLine.objects.count()
    new = new_key("Invented Creek Smokehouse", NOW, WORDS)
    with pytest.raises(NotAllowed):
        replace_key(book.reviewer, new, "lost", AT)
    with pytest.raises(Refused, match="Say why"):
        replace_key(book.keeper, new, "  ", AT)
    assert ready_sealer(house(), AT) == first
    assert BookLine.objects.count() == lines


def test_a_certificate_the_book_knows_is_not_taken_again(book: Book, keys: Path) -> None:
    new = new_key("Invented Creek Smokehouse", NOW, WORDS)
    replace_key(book.keeper, new, "lost", AT)
    with pytest.raises(Refused, match="knows this certificate already"):
        replace_key(book.keeper, new, "lost again", AT)


def test_a_key_that_cannot_be_put_in_place_leaves_the_book_as_it_was(
    book: Book, keys: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, lines = ready_sealer(house(), AT), BookLine.objects.count()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("lots.entries.keys.install", full)
    with pytest.raises(OSError, match="No space"):
        replace_key(book.keeper, new_key("x", NOW, WORDS), "lost", AT)
    assert BookLine.objects.count() == lines
    assert ready_sealer(house(), AT) == first
