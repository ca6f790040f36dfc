"""Issuing a record asks for the password again; reviews and releases seal the book's head after them."""

import json
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client

from lots.models.book import BookLine
from lots.models.review import HeadSealed, RecordIssued, Release, Review
from lots.queries.heads import head_faults
from tests.entries.roads import finished
from tests.make import PASSWORD, Book, moment
from tests.pdf.authority import answering, authority, served
from tests.views.pages import beside, kept
from tests.views.test_logger_upload import come, errors
from tests.views.test_review import keys as ticks

URL = "/lots/TR-1/record/"


@pytest.fixture(autouse=True)
def evening(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: moment("20:45"))


def issue(client: Client, **typed: str) -> str:
    page = client.post(URL, {"password": PASSWORD} | typed, follow=True)
    return page.content.decode()


# --- the record ---


def test_a_record_is_issued_once_the_password_is_typed_again(book: Book, client: Client) -> None:
    book.open_lot()
    page = come(client, book.reviewer).get(URL).content.decode()
    assert "Revision 1" in page
    assert "What changed since" not in page
    assert "revision 1, is sealed" in issue(client)
    assert RecordIssued.objects.get().change == ""
    page = client.get(URL).content.decode()
    assert "Revision 1 was issued" in page
    assert "revision 2, is sealed" in issue(client, change="A result came in")
    assert RecordIssued.objects.get(revision=2).change == "A result came in"


@pytest.mark.parametrize(
    ("password", "words"),
    [("wrong-password", "This is not your password. Nothing was sealed."), ("", "Fill this in")],
)
def test_a_wrong_password_seals_nothing_and_loses_nothing_typed(
    book: Book, client: Client, password: str, words: str
) -> None:
    book.open_lot()
    come(client, book.reviewer)
    issue(client)
    before = BookLine.objects.count()
    typed = {"change": "A result <came> in", "password": password}
    answer = client.post(URL, typed)
    assert words in beside(answer, "password")
    assert kept(answer, {"change": typed["change"]}) == []
    assert "wrong-password" not in answer.content.decode()
    assert BookLine.objects.count() == before
    assert RecordIssued.objects.count() == 1


def test_guessing_at_the_password_here_is_throttled_as_everywhere(
    book: Book, client: Client
) -> None:
    book.open_lot()
    come(client, book.reviewer)
    answers = [client.post(URL, {"password": f"guess {n}"}).status_code for n in range(9)]
    assert answers[0] == 200
    assert answers[-1] == 429
    assert client.post(URL, {"password": PASSWORD}).status_code == 429
    assert not RecordIssued.objects.exists()


def test_only_a_reviewer_issues_and_only_of_a_lot_that_is(book: Book, client: Client) -> None:
    book.open_lot()
    for person in (book.operator, book.inspector, book.coordinator, book.keeper):
        come(client, person)
        assert client.get(URL).status_code == 403
        assert client.post(URL, {"password": PASSWORD}).status_code == 403
    assert come(client, book.reviewer).get("/lots/NONE/record/").status_code == 404
    assert not RecordIssued.objects.exists()


def test_without_the_passphrase_nothing_is_issued_and_what_was_typed_stays(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.open_lot()
    come(client, book.reviewer)
    issue(client)
    before = BookLine.objects.count()
    monkeypatch.setattr(settings, "SEAL_PASSPHRASE", "another")
    page = issue(client, change="A result came in")
    assert "is not that of the key that seals" in errors(page)
    assert "A result came in" in page
    assert BookLine.objects.count() == before
    monkeypatch.undo()


# --- its time stamp ---


def test_a_record_carries_a_time_stamp_where_an_authority_is_named(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    holder = authority()
    (tmp_path / "tsa.pem").write_bytes(holder.pem)
    book.open_lot()
    come(client, book.reviewer)
    with served(answering(holder)) as url:
        monkeypatch.setattr(settings, "SEAL_TIMESTAMP_URL", url)
        monkeypatch.setattr(settings, "SEAL_TIMESTAMP_CERT", str(tmp_path / "tsa.pem"))
        page = issue(client)
    assert "Time stamp of 2026-03-06 14:10:00 UTC by Invented Time" in page
    line = RecordIssued.objects.get().line
    assert json.loads(line.content)["stamp"].startswith("time stamp of 2026-03-06")


def test_where_the_authority_is_silent_the_record_is_issued_without_and_says_so(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    book.open_lot()
    monkeypatch.setattr(settings, "SEAL_TIMESTAMP_URL", "http://127.0.0.1:9/")
    come(client, book.reviewer)
    page = issue(client)
    assert "revision 1, is sealed" in page
    assert "No time stamp: 127.0.0.1 gave none" in page
    assert "no time stamp" in json.loads(RecordIssued.objects.get().line.content)["stamp"]


def test_a_named_certificate_that_is_none_bars_issuing_in_words(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "tsa.pem").write_text("no certificate")
    book.open_lot()
    come(client, book.reviewer)
    monkeypatch.setattr(settings, "SEAL_TIMESTAMP_URL", "http://127.0.0.1:9/")
    for name in ("tsa.pem", "none.pem"):
        monkeypatch.setattr(settings, "SEAL_TIMESTAMP_CERT", str(tmp_path / name))
        assert "SEAL_TIMESTAMP_CERT" in errors(issue(client))
    assert not RecordIssued.objects.exists()


# --- the head ---


def sign_review(client: Client) -> str:
    lots = ticks(client.get("/review/").content.decode(), "lot")
    typed = {"lot": lots, "sign-note": "", "sign-password": PASSWORD}
    return client.post("/review/sign/", typed, follow=True).content.decode()


def release(client: Client) -> str:
    typed = {"release": "18 kg", "storage": "frozen", "note": "", "password": PASSWORD}
    return client.post("/lots/TR-1/release/", typed, follow=True).content.decode()


def test_a_review_and_a_release_each_seal_the_head_that_holds_them(
    book: Book, client: Client
) -> None:
    finished(book)
    come(client, book.reviewer)
    assert "was not sealed" not in sign_review(client)
    first = HeadSealed.objects.get()
    assert first.head_id >= Review.objects.get().line_id
    assert "was not sealed" not in release(client)
    second = HeadSealed.objects.order_by("id").last()
    assert second is not None
    assert second.head_id == Release.objects.get().line_id
    assert list(head_faults()) == []


def test_without_the_passphrase_the_review_stands_and_the_next_sealing_covers_it(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    finished(book)
    come(client, book.reviewer)
    with monkeypatch.context() as patch:
        patch.setattr(settings, "SEAL_PASSPHRASE", "")
        patch.setattr(settings, "SEAL_PASSPHRASE_FILE", "/nowhere/at/all")
        page = sign_review(client)
    assert "Reviewed and signed: TR-1" in page
    assert "the head of the book was not sealed" in page
    assert "seal_key" in page
    review = Review.objects.get()
    assert not HeadSealed.objects.exists()
    release(client)
    assert HeadSealed.objects.get().head_id > review.line_id
    assert list(head_faults()) == []


def test_a_sealing_that_fails_by_itself_takes_nothing_of_the_review_away(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("planted")

    finished(book)
    come(client, book.reviewer)
    monkeypatch.setattr("lots.views.sealing.seal_head", fails)
    page = sign_review(client)
    assert "Reviewed and signed: TR-1" in page
    assert "The program failed" in page
    assert Review.objects.exists()


def test_a_refused_review_seals_no_head(book: Book, client: Client) -> None:
    finished(book)
    come(client, book.reviewer)
    client.post("/review/sign/", {"lot": [], "sign-password": PASSWORD})
    client.post("/review/sign/", {"lot": ["1-1"], "sign-password": "wrong-password"})
    assert not HeadSealed.objects.exists()
