"""The help page and the server's own health."""

import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory
from django.urls import reverse

from lots.core.limits import VERDICT_WORDS
from lots.entries import house, people, plan
from lots.entries.house import House, NewInstrument
from lots.queries.first_steps import first_steps, first_steps_left
from lots.queries.plans import starting_plans
from lots.views.help import healthz
from tests.make import Book, moment

BACKEND = "lots.views.backend.PersonBackend"


def test_the_help_explains_each_verdict_and_states_the_cautions(book: Book, client: Client) -> None:
    client.force_login(book.inspector.login, backend=BACKEND)
    page = client.get(reverse("help")).content.decode()
    for words in VERDICT_WORDS.values():
        assert words in page
    assert "never says that fish is safe" in page
    assert "process authority" in page
    assert "local rules come first" in page
    assert "15 min" in page  # the rule's own figure, not one typed into the page


def test_the_first_steps_of_a_house_of_one_are_done_one_by_one(db: None) -> None:
    at = moment("2026-03-01 09:00")
    stated = House("Invented Creek", "1 Nowhere Lane", "retail", "America/New_York", "F", "lb")
    person = house.found_house(stated, "fay", "Fay Founder", "FF", "alder-and-oak-smoke", at)

    def done() -> list[bool]:
        return [step.done for step in first_steps(person)]

    assert done() == [False] * 7
    for right in ("coordinator", "reviewer"):
        grant = people.Grant(right, "An invented course", "2025-02-11", "INVENTED-1")
        people.give_right(person, person, grant, at)
    assert done() == [True] * 2 + [False] * 5
    house.open_place(person, "Dock", "receiving dock", None, at)
    assert not done()[2]
    house.open_place(person, "Smokehouse", "smokehouse", None, at)
    assert done() == [True] * 3 + [False] * 4
    house.register_instrument(person, NewInstrument("T 1", "thermometer", "", "", "", None), at)
    assert done() == [True] * 4 + [False] * 3
    content = starting_plans()["hot-smoked-vacuum-frozen"]
    draft = plan.begin_draft(person, content["title"], content, None, at)
    assert done() == [True] * 5 + [False] * 2
    plan.publish_plan(person, draft, "", at)
    assert done() == [True] * 6 + [False]
    assert first_steps_left(person) == 1


def test_the_first_steps_are_shown_until_a_lot_is_opened(book: Book, client: Client) -> None:
    client.force_login(book.coordinator.login, backend=BACKEND)
    page = client.get(reverse("first_steps")).content.decode()
    assert "Done by: operator." in page  # whoever may not open a lot is told who may
    for name in ("help", "people", "places", "instruments", "plans"):
        assert reverse("first_steps") in client.get(reverse(name)).content.decode()
    book.open_lot("TR-1")
    for name in ("help", "people", "places", "instruments", "plans"):
        assert reverse("first_steps") not in client.get(reverse(name)).content.decode()


def test_a_page_that_is_not_there_promises_no_more_than_is_kept(book: Book, client: Client) -> None:
    client.force_login(book.coordinator.login, backend=BACKEND)
    answer = client.get(reverse("draft_edit", args=[1]))
    assert answer.status_code == 404
    assert "draft goes when the draft is signed" in " ".join(answer.content.decode().split())


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
