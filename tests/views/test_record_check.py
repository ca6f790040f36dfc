"""A sealed record dropped on a page by whoever has one."""

import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lots.core.rules import Rules
from lots.entries.record import issue_record
from lots.models.scratch import CheckTry
from lots.pdf.apart import Bounds, TooMuch, check_apart
from lots.queries.house import establishment, file_bytes
from lots.views.one_at_a_time import SLOTS, slot
from tests.make import Book, make_book, moment
from tests.pdf.real import WARM

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(book: Book) -> Client:
    return Client()


def drop(client: Client, data: bytes, name: str = "record.pdf") -> Any:
    file = SimpleUploadedFile(name, data, "application/pdf")
    return client.post(reverse("record_check"), {"file": file})


def issued(book: Book) -> bytes:
    house, one = establishment(), book.open_lot()
    assert house is not None
    row = issue_record(book.reviewer, one, house, moment("2026-03-04 12:00"))
    return file_bytes(row.file)


def test_a_record_of_the_house_is_intact_and_the_newest(client: Client, book: Book) -> None:
    said = drop(client, issued(book)).content.decode()
    assert "Intact" in said and "The seal is one that you trust." in said
    assert "This book issued this very file, and it is the newest" in said


def test_an_older_revision_is_told_of_the_newest(client: Client, book: Book) -> None:
    first = issued(book)
    house = establishment()
    assert house is not None
    issue_record(book.reviewer, book.lots["TR-1"], house, moment("2026-03-04 13:00"))
    said = drop(client, first).content.decode()
    assert "It is revision 1; the newest of lot TR-1 is revision 2" in said


def test_a_record_sealed_by_the_house_but_not_issued_is_named(client: Client, book: Book) -> None:
    from datetime import UTC, datetime

    from lots.entries.sealing import ready_sealer
    from lots.pdf.seal import seal
    from tests.pdf.real import unsealed

    issued(book)  # makes the key
    now = datetime(2026, 3, 4, 18, tzinfo=UTC)
    house = establishment()
    assert house is not None
    key = ready_sealer(house, moment("2026-03-04 13:00"))
    data = seal(unsealed(), key, now=now, reason="r", location="l", name="n")
    said = drop(client, data).content.decode()
    assert "THIS BOOK DID NOT ISSUE THIS FILE" in said
    assert "but not issued by its book" in said


def test_an_altered_file_is_named_so(client: Client, book: Book) -> None:
    data = issued(book)
    said = drop(client, data.replace(b"TR-1", b"TR-2", 1)).content.decode()
    assert "Altered" in said
    assert "The seal is one that you trust" not in said


def test_a_strangers_seal_is_not_known(client: Client) -> None:
    said = drop(client, WARM.read_bytes()).content.decode()
    assert "Intact, but the seal is not one that is known here" in said
    assert "This book did not issue this file." in said


def test_no_file_is_asked_for(client: Client) -> None:
    answer = client.post(reverse("record_check"), {})
    assert answer.status_code == 400
    assert "Choose the PDF" in answer.content.decode()


def test_what_is_no_pdf_is_said_plainly(client: Client) -> None:
    said = drop(client, b"Lot;code\n").content.decode()
    assert "This is not a PDF file" in said


def bounded(monkeypatch: pytest.MonkeyPatch, **changes: int) -> None:
    from dataclasses import replace

    from lots.entries import check_tries
    from lots.forms import record_check as form
    from lots.queries import house
    from lots.views import record_check as view

    other: Rules = replace(house.rules(), **changes)
    for module in (check_tries, form, view):
        monkeypatch.setattr(module, "rules", lambda: other)


def test_a_file_too_large_is_refused(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    bounded(monkeypatch, check_bytes=1000)
    answer = drop(client, WARM.read_bytes())
    assert answer.status_code == 400
    assert "are checked here" in answer.content.decode()


def test_too_many_files_from_one_address_are_refused(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    bounded(monkeypatch, check_tries=2)
    answers = [drop(client, b"x") for _ in range(3)]
    assert [answer.status_code for answer in answers] == [200, 200, 429]
    assert "Wait a little" in answers[-1].content.decode()
    assert CheckTry.objects.count() == 2


def test_while_others_are_being_checked_it_asks_to_wait(client: Client) -> None:
    folder = Path(settings.DATA_DIR)
    with slot(folder), slot(folder):
        assert SLOTS == 2
        answer = drop(client, b"x")
    assert answer.status_code == 503
    assert drop(client, b"x").status_code == 200


def test_nothing_of_the_file_is_kept(client: Client, book: Book) -> None:
    before = sorted(Path(settings.DATA_DIR).rglob("*"))
    drop(client, WARM.read_bytes())
    new = {p.name for p in Path(settings.DATA_DIR).rglob("*")} - {p.name for p in before}
    assert all(name.startswith(("checking-", "book.sqlite3")) for name in new)


def test_a_check_that_takes_too_much_memory_ends_and_says_so() -> None:
    with pytest.raises(TooMuch):
        check_apart(WARM.read_bytes(), [], Bounds(memory_mb=1, seconds=20))


@pytest.mark.parametrize("memory_mb", range(60, 130, 6))
def test_too_little_memory_never_makes_a_record_an_altered_one(memory_mb: int) -> None:
    try:
        found = check_apart(WARM.read_bytes(), [], Bounds(memory_mb, seconds=20))
    except TooMuch:
        return
    assert found["outcome"] == "unknown"


def test_a_check_that_takes_too_long_ends_and_says_so() -> None:
    with pytest.raises(TooMuch):
        check_apart(WARM.read_bytes(), [], Bounds(memory_mb=1500, seconds=0))


def test_a_bomb_is_not_unpacked(client: Client) -> None:
    out = BytesIO()
    with pikepdf.open(BytesIO(WARM.read_bytes())) as file:
        packed = zlib.compressobj()
        zeros = b"".join(
            [*(packed.compress(bytes(1_000_000)) for _ in range(3000)), packed.flush()]
        )
        stream = pikepdf.Stream(file, b"")
        stream.write(zeros, filter=pikepdf.Name.FlateDecode)
        file.attachments["lot-record.json"] = pikepdf.AttachedFileSpec(file, b"", filename="x")
        file.Root.Bomb = stream
        file.save(out)
    assert "Altered" in drop(client, out.getvalue()).content.decode()


def test_a_view_that_fails_is_said_on_the_page(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    bounded(monkeypatch, check_memory_mb=1)
    answer = drop(client, WARM.read_bytes())
    assert answer.status_code == 422
    assert "no sign that it is genuine" in answer.content.decode()


@pytest.fixture
def book(db: None) -> Book:
    return make_book()
