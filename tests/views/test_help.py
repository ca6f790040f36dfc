"""The help page and the server's own health."""

import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory
from django.urls import reverse

from lots.core.limits import VERDICT_WORDS
from lots.views.help import healthz
from tests.make import Book


def test_the_help_explains_each_verdict_and_states_the_cautions(book: Book, client: Client) -> None:
    client.force_login(book.inspector.login, backend="lots.views.backend.PersonBackend")
    page = client.get(reverse("help")).content.decode()
    for words in VERDICT_WORDS.values():
        assert words in page
    assert "never says that fish is safe" in page
    assert "process authority" in page
    assert "local rules come first" in page
    assert "15 min" in page  # the rule's own figure, not one typed into the page


def test_healthz_needs_no_log_in_and_no_founded_house(db: None, client: Client) -> None:
    answer = client.get("/healthz")
    assert (answer.status_code, answer.content) == (200, b"ok\n")
    assert answer["Content-Type"] == "text/plain"


def test_healthz_is_503_when_the_book_cannot_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    def gone() -> None:
        raise OperationalError("unable to open database file")

    monkeypatch.setattr("lots.views.help.book_answers", gone)
    answer = healthz(RequestFactory().get("/healthz"))
    assert answer.status_code == 503
    assert b"unable to open" not in answer.content
