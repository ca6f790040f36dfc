"""The pages on which a plan is tried against past lots, and its reassessment asked for and signed."""

import json
from typing import Any

import pytest
from django.urls import reverse

from lots.core.units import MS_PER_DAY
from lots.entries import plan as plans
from lots.entries import reassess as entries
from lots.models.plan import Reassessed, ReassessmentAsked
from lots.models.scratch import PlanDraft
from tests.entries.roads import brined, smoking
from tests.make import PASSWORD, Book, moment
from tests.views.pages import as_person, lines, refused, taken

NOW = moment("2026-03-05 10:00")
SIGN = {"outcome": "no change", "considered": "Hazards, limits, deviations."}


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW)


def shown(client: Any, name: str, *args: Any, query: str = "") -> str:
    answer = client.get(reverse(name, args=args) + query)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def draft_of(book: Book, least: str = "146 °F (63.4 °C)") -> PlanDraft:
    content = json.loads(book.version.content)
    content["control_points"][3]["limits"][0] |= {"at_least": least, "flag": "to be confirmed"}
    return plans.begin_draft(book.coordinator, content["title"], content, book.version, NOW)


def bare(book: Book) -> None:
    one = book.open_lot("BARE")
    brined(book, one)
    book.end(smoking(book, one, "145.5"), "12:48")


def test_a_draft_is_tried_against_past_lots_and_nothing_is_written(book: Book) -> None:
    bare(book)
    draft, before = draft_of(book), lines()
    page = shown(as_person(book.coordinator), "draft_try", draft.pk)
    assert "1 of 1 past lot would have failed" in page
    assert "BARE" in page and "146 °F" in page
    assert lines() == before


def test_a_draft_that_cannot_be_read_says_so(book: Book) -> None:
    draft = draft_of(book, "hot")
    page = shown(as_person(book.coordinator), "draft_try", draft.pk)
    assert "cannot be read as a plan yet" in page and "hot" in page


def test_the_draft_is_stored_before_it_is_tried(book: Book) -> None:
    draft, client = draft_of(book), as_person(book.coordinator)
    page = client.get(reverse("draft_edit", args=[draft.pk]) + "?part=product")
    typed = {"seen": page.context["seen"], "do": "try", "product.shelf_life": "3 weeks"}
    answer = client.post(reverse("draft_edit", args=[draft.pk]) + "?part=product", typed)
    assert answer["Location"] == reverse("draft_try", args=[draft.pk])
    draft.refresh_from_db()
    assert json.loads(draft.content)["product"]["shelf_life"] == "3 weeks"


def test_a_version_is_held_by_its_newest_draft_for_the_coordinator_alone(book: Book) -> None:
    bare(book)
    draft_of(book)
    page = shown(as_person(book.coordinator), "version_what_if", book.version.pk)
    assert "past lots held against the draft" in page and "would have failed" in page
    page = shown(as_person(book.inspector), "version_what_if", book.version.pk)
    assert "held against version 1" in page and "146" not in page


def test_lots_older_than_a_year_are_held_only_when_asked_for(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    bare(book)
    draft = draft_of(book)
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW + 400 * MS_PER_DAY)
    client = as_person(book.coordinator)
    assert "No past lots" in shown(client, "draft_try", draft.pk)
    assert "1 of 1 past lot would" in shown(client, "draft_try", draft.pk, query="?lots=all")


def test_an_operator_asks_for_a_reassessment_and_everybody_sees_it(book: Book) -> None:
    typed = {"cause": "pack", "what": "A film that keeps air out."}
    taken(as_person(book.operator), reverse("reassess_ask", args=[book.version.plan_id]), typed)
    assert ReassessmentAsked.objects.get().noticed_at == NOW
    for name, args in (("plans", ()), ("version_show", (book.version.pk,))):
        page = shown(as_person(book.inspector), name, *args)
        assert "To be reassessed now" in page and "A film that keeps air out." in page


def test_asking_without_saying_what_changed_is_refused_beside_the_field(book: Book) -> None:
    url = reverse("reassess_ask", args=[book.version.plan_id])
    refused(as_person(book.operator), url, {"cause": "pack", "what": ""}, "what", "Fill this in")
    refused(as_person(book.operator), url, {"cause": "", "what": "A film."}, "cause", "Choose one")


def test_a_reassessment_is_signed_and_stands_on_the_version_s_forms(book: Book) -> None:
    url = reverse("reassess_sign", args=[book.version.pk])
    taken(as_person(book.coordinator), url, SIGN | {"password": PASSWORD})
    assert Reassessed.objects.get().signature.meaning == entries.MEANINGS["no change"]
    page = shown(as_person(book.inspector), "version_show", book.version.pk)
    assert "Hazards, limits, deviations." in page and "Next reassessment due" in page
    assert "5 Mar 2027 10:00" in page


def test_a_reassessment_with_a_change_begins_a_draft_from_the_version(book: Book) -> None:
    url = reverse("reassess_sign", args=[book.version.pk])
    typed = SIGN | {"outcome": "change", "password": PASSWORD}
    answer = taken(as_person(book.coordinator), url, typed)
    draft = PlanDraft.objects.get()
    assert (draft.base, draft.content) == (book.version, book.version.content)
    assert answer.redirect_chain[0][0] == reverse("draft_edit", args=[draft.pk])
    assert "no newer version is signed yet" in shown(as_person(book.operator), "plans")
    taken(as_person(book.coordinator), url, typed)
    assert PlanDraft.objects.count() == 1


def test_a_wrong_password_signs_no_reassessment(book: Book) -> None:
    url = reverse("reassess_sign", args=[book.version.pk])
    before = lines()
    answer = as_person(book.coordinator).post(url, SIGN | {"password": "wrong"})
    assert answer.context["form"].errors["password"] == [
        "This is not your password. Nothing was signed."
    ]
    assert SIGN["considered"] in answer.content.decode()
    assert (lines(), Reassessed.objects.count()) == (before, 0)


def test_an_older_version_is_not_reassessed_and_the_page_says_which_is(book: Book) -> None:
    plans.publish_plan(book.coordinator, draft_of(book), "Hotter.", NOW)
    before = lines()
    url = reverse("reassess_sign", args=[book.version.pk])
    answer = as_person(book.coordinator).post(url, SIGN | {"password": PASSWORD})
    assert "A newer version is signed" in answer.content.decode()
    assert lines() == before


def test_an_overdue_reassessment_is_said_in_words(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW + 400 * MS_PER_DAY)
    assert "Reassessment overdue" in shown(as_person(book.operator), "plans")


def test_what_bears_on_the_hazards_is_said_before_a_change_is_signed(book: Book) -> None:
    content = json.loads(book.version.content)
    content["product"]["consumer"] = "hospitals"
    draft = plans.begin_draft(book.coordinator, content["title"], content, book.version, NOW)
    page = shown(as_person(book.coordinator), "draft_publish", draft.pk)
    assert "could bear on the hazards: intended use or consumer" in page
    assert "It counts as the plan’s reassessment" in page
