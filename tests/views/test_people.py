"""The keeper's pages: inviting, giving and ending rights, resetting, stating the house anew."""

import re

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.entries import people
from lots.models.book import BookLine
from lots.models.house import Establishment
from lots.models.people import Person
from lots.models.scratch import Invitation
from lots.queries.house import establishment, rights_of, standing_right
from tests.make import PASSWORD, Book, moment

NOW = moment("2026-03-04 14:00")
CODE = re.compile(r"<code>((?:[A-Z2-9]{4}-){3}[A-Z2-9]{4})</code>")
TRAINING = {
    "course": "Seafood HACCP (invented)",
    "course_date": "2025-02-11",
    "certificate": "INV-9",
}
NEW = {"name": "Nora Newcomer", "username": "nora", "initials": "NN", "rights": ["operator"]}


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW)


@pytest.fixture
def keeper(book: Book, client: Client) -> Client:
    client.force_login(book.keeper.login, backend="lots.views.backend.PersonBackend")
    return client


def errors(answer: HttpResponse, form: str, field: str | None = None) -> str:
    shown = answer.context[form]
    return " ".join(shown.non_field_errors() if field is None else shown.errors.get(field, []))


def code_on(answer: HttpResponse) -> str:
    found = CODE.search(answer.content.decode())
    assert found, answer.content.decode()
    return found[1]


def test_everybody_reads_who_is_who_and_on_what_training(book: Book, client: Client) -> None:
    client.force_login(book.inspector.login, backend="lots.views.backend.PersonBackend")
    page = client.get(reverse("people")).content.decode()
    assert "René Reviewer" in page
    assert "certificate INV-RR" in page
    assert reverse("person_invite") not in page
    assert reverse("person_show", args=[book.operator.pk]) not in page


def test_an_invitation_shows_its_code_once_and_the_code_works(keeper: Client) -> None:
    answer = keeper.post(reverse("person_invite"), NEW)
    code = code_on(answer)
    assert "no-store" in answer["Cache-Control"]
    assert people.invited(code, NOW) == Person.objects.get(username="nora")
    assert code not in keeper.get(reverse("people")).content.decode()


def test_no_code_is_in_the_book_in_the_database_or_in_an_address(keeper: Client) -> None:
    answer = keeper.post(reverse("person_invite"), NEW)
    bare = code_on(answer).replace("-", "")
    kept = [str(row) for model in (BookLine, Invitation) for row in model.objects.values_list()]
    assert bare not in " ".join(kept).replace("-", "")
    assert answer.status_code == 200  # shown by the answer itself, not by way of an address


def test_a_reviewer_is_invited_with_training_and_an_operator_right_beside_it_has_none(
    keeper: Client,
) -> None:
    keeper.post(reverse("person_invite"), NEW | {"rights": ["operator", "reviewer"]} | TRAINING)
    nora = Person.objects.get(username="nora")
    assert standing_right(nora, "reviewer").certificate == "INV-9"
    assert standing_right(nora, "operator").certificate == ""


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"name": " "}, "name", "Fill this in."),
        ({"username": "olga"}, "username", "already called"),
        ({"username": "nora!"}, "username", "letters, digits"),
        ({"initials": "OO"}, "initials", "already stands for"),
        ({"initials": "OK"}, "initials", "read as a verdict"),
        ({"initials": "n/a"}, "initials", "read as a verdict"),
        ({"rights": []}, "rights", "Choose at least one"),
        ({"rights": ["owner"]}, "rights", "cannot be chosen"),
        ({"rights": ["reviewer"]}, "course", "course, date and certificate"),
        ({"rights": ["coordinator"], **TRAINING, "certificate": ""}, "course", "certificate"),
        ({"course_date": "31 Feb 2025"}, "course_date", "not a day"),
        ({"course_date": "2026-03-05"}, "course_date", "still to come"),
    ],
)
def test_an_invitation_refused_says_why_keeps_what_was_typed_and_writes_nothing(
    change: dict[str, object], field: str, words: str, keeper: Client
) -> None:
    lines, persons = BookLine.objects.count(), Person.objects.count()
    typed = NEW | change
    answer = keeper.post(reverse("person_invite"), typed)
    assert words in errors(answer, "form", field)
    for name in ("name", "username", "initials", "course_date"):
        if str(typed.get(name, "")).strip():
            assert f'value="{typed[name]}"' in answer.content.decode()
    assert (BookLine.objects.count(), Person.objects.count()) == (lines, persons)


def test_a_course_on_the_day_itself_is_not_still_to_come(keeper: Client) -> None:
    typed = NEW | {"rights": ["reviewer"]} | TRAINING | {"course_date": "2026-03-04"}
    code_on(keeper.post(reverse("person_invite"), typed))


def test_a_right_is_given_and_stands_on_the_persons_page(book: Book, keeper: Client) -> None:
    typed = {"give-right": "reviewer"} | {f"give-{name}": text for name, text in TRAINING.items()}
    answer = keeper.post(reverse("right_give", args=[book.operator.pk]), typed)
    assert answer["Location"] == reverse("person_show", args=[book.operator.pk])
    assert rights_of(book.operator) == {"operator", "reviewer"}
    assert "certificate INV-9" in keeper.get(answer["Location"]).content.decode()


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"give-right": ""}, "right", "Choose a right"),
        ({"give-right": "reviewer", "give-course": "Some course"}, "course", "certificate"),
    ],
)
def test_a_right_refused_writes_nothing(
    typed: dict[str, str], field: str, words: str, book: Book, keeper: Client
) -> None:
    lines = BookLine.objects.count()
    answer = keeper.post(reverse("right_give", args=[book.operator.pk]), typed)
    assert words in errors(answer, "give", field)
    assert typed.get("give-course", "") in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_a_right_ends_with_its_reason_and_stays_readable(book: Book, keeper: Client) -> None:
    typed = {"end-right": "operator", "end-reason": "moved to the shop"}
    answer = keeper.post(reverse("right_end", args=[book.operator.pk]), typed)
    assert rights_of(book.operator) == set()
    page = keeper.get(answer["Location"]).content.decode()
    assert "moved to the shop" in page
    assert "holds no right" in page


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"end-right": "operator", "end-reason": " "}, "reason", "Say why"),
        ({"end-right": "reviewer", "end-reason": "left"}, "right", "does not hold"),
        ({"end-right": "", "end-reason": "left"}, "right", "Choose a right"),
    ],
)
def test_ending_a_right_refused_writes_nothing(
    typed: dict[str, str], field: str, words: str, book: Book, keeper: Client
) -> None:
    lines = BookLine.objects.count()
    answer = keeper.post(reverse("right_end", args=[book.operator.pk]), typed)
    assert words in errors(answer, "end", field)
    assert BookLine.objects.count() == lines
    assert rights_of(book.operator) == {"operator"}


def test_the_last_keeper_of_people_cannot_be_removed(book: Book, keeper: Client) -> None:
    lines = BookLine.objects.count()
    typed = {"end-right": "keeper", "end-reason": "tired of it"}
    answer = keeper.post(reverse("right_end", args=[book.keeper.pk]), typed)
    assert "last keeper" in errors(answer, "end")
    assert "tired of it" in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_a_keeper_who_ends_their_own_right_comes_to_a_page_they_may_see(
    book: Book, keeper: Client
) -> None:
    people.give_right(book.keeper, book.operator, people.Grant("keeper"), NOW)
    typed = {"end-right": "keeper", "end-reason": "handed over"}
    answer = keeper.post(reverse("right_end", args=[book.keeper.pk]), typed)
    assert answer["Location"] == reverse("people")
    assert keeper.get(answer["Location"]).status_code == 200


def test_a_reset_ends_the_old_password_and_the_sessions_it_opened(
    book: Book, keeper: Client
) -> None:
    tablet = Client()
    tablet.post(reverse("log_in"), {"username": "olga", "password": PASSWORD})
    assert tablet.get(reverse("people")).status_code == 200
    code = code_on(keeper.post(reverse("person_reset", args=[book.operator.pk])))
    assert tablet.get(reverse("people")).status_code == 302
    again = tablet.post(reverse("log_in"), {"username": "olga", "password": PASSWORD})
    assert again.status_code == 200
    assert people.invited(code, NOW) == book.operator


def test_the_house_is_stated_anew_and_the_older_statement_stays(keeper: Client) -> None:
    typed = {
        "name": "Invented Creek Smokehouse", "address": "2 Nowhere Lane", "sells": "both",
        "zone": "", "other_zone": "America/Boise", "temperature_unit": "C", "weight_unit": "kg",
    }  # fmt: skip
    assert keeper.post(reverse("house_change"), typed).status_code == 302
    assert establishment().address == "2 Nowhere Lane"
    assert establishment().zone == "America/Boise"
    assert Establishment.objects.count() == 2
    assert 'value="America/Boise"' in keeper.get(reverse("house_change")).content.decode()


def test_a_house_stated_badly_is_refused_and_writes_nothing(keeper: Client) -> None:
    typed = {
        "name": "", "address": "2 Nowhere Lane", "sells": "both", "zone": "",
        "other_zone": "Nowhere", "temperature_unit": "C", "weight_unit": "kg",
    }  # fmt: skip
    lines = BookLine.objects.count()
    answer = keeper.post(reverse("house_change"), typed)
    assert "Fill this in." in errors(answer, "form", "name")
    assert "2 Nowhere Lane" in answer.content.decode()
    typed["name"] = "Invented Creek Smokehouse"
    assert "not a time zone" in errors(keeper.post(reverse("house_change"), typed), "form", "zone")
    assert BookLine.objects.count() == lines
