"""The house's side of an inspector's visit: whom it is opened to, for how long, and for which lots."""

import re
from collections.abc import Callable

import pytest
from django.http import HttpResponse
from django.urls import reverse

from lots.models.book import BookLine
from tests.make import Book
from tests.views.pages import as_person
from tests.views.visiting import Visiting, visiting


@pytest.fixture
def house(book: Book, clock: Callable[[str], int]) -> Visiting:
    made = visiting(book)
    clock("2026-03-05 10:00")
    return made


def typed(**changes: object) -> dict[str, object]:
    return {
        "inspector": "Nora Nobody (invented)", "agency": "Invented Agency", "starts_at": "",
        "ends_at": "", "how": "period", "first": "2026-03-04", "last": "2026-03-04",
        "by": "received", "plan": "", "lots": [],
    } | changes  # fmt: skip


def open_by_page(house: Visiting, **changes: object) -> HttpResponse:
    return as_person(house.book.coordinator).post(reverse("visit_open"), typed(**changes))


@pytest.mark.parametrize(
    ("changes", "count"),
    [
        ({}, 1),
        ({"first": "2026-03-03"}, 2),
        ({"first": "2026-03-03", "by": "finished"}, 1),
        ({"how": "chosen"}, 2),
        ({"how": "plan"}, 2),
    ],
)
def test_lots_are_chosen_by_days_by_plan_or_one_by_one(
    changes: dict[str, object], count: int, house: Visiting
) -> None:
    filled = dict(changes)
    if changes.get("how") == "chosen":
        filled["lots"] = [house.shown.pk, house.hidden.pk]
    if changes.get("how") == "plan":
        filled["plan"] = house.book.version.plan_id
    answer = open_by_page(house, **filled)
    assert re.search(r"[A-Z2-9]{4}(-[A-Z2-9]{4}){3}", answer.content.decode())
    made = answer.context["visit"]
    assert made.lots.count() == count
    assert made.ends_at - made.starts_at == 8 * 3_600_000


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"inspector": ""}, "inspector", "Fill this in"),
        ({"first": ""}, "first", "Choose a day"),
        ({"first": "2026-02-30"}, "first", "not a day that exists"),
        ({"first": "9999-12-31"}, "first", "Check the year"),
        ({"last": "2026-03-03"}, "last", "before the first"),
        ({"first": "2026-02-01", "last": "2026-02-02"}, "last", "No lot is chosen"),
        ({"how": "plan"}, "plan", "Choose the plan"),
        ({"how": "chosen"}, "lots", "No lot is chosen"),
        ({"how": "chosen", "lots": ["77777"]}, "lots", "cannot be chosen"),
        ({"ends_at": "2026-03-12 10:00"}, "ends_at", "at most"),
        ({"ends_at": "yesterday"}, "ends_at", "not a time"),
    ],
)
def test_a_visit_that_cannot_be_opened_is_refused_and_keeps_what_was_typed(
    changes: dict[str, object], field: str, words: str, house: Visiting
) -> None:
    lines = BookLine.objects.count()
    answer = open_by_page(house, **changes)
    assert answer.status_code == 200
    assert words in " ".join(answer.context["form"].errors.get(field, [])), answer.context[
        "form"
    ].errors
    assert 'value="Invented Agency"' in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_the_code_is_shown_once(house: Visiting) -> None:
    answer = open_by_page(house)
    code = answer.context["code"]
    assert "no-store" in answer["Cache-Control"]
    page = as_person(house.book.keeper).get(
        reverse("visit_show", args=[answer.context["visit"].pk])
    )
    assert code not in page.content.decode()
