"""Founding an empty house, logging in and out, taking up an invitation."""

from pathlib import Path

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.entries import people
from lots.entries.founding import forget_founding_code, founding_code_stands, new_founding_code
from lots.models.book import BookLine
from lots.models.house import Establishment
from lots.models.people import Person
from lots.queries.house import rights_of
from tests.make import PASSWORD, Book, moment

NOW = moment("2026-03-04 14:00")
STATEMENT = {
    "name": "Invented Creek Smokehouse",
    "address": "1 Nowhere Lane, Inventon",
    "sells": "wholesale",
    "zone": "America/New_York",
    "other_zone": "",
    "temperature_unit": "F",
    "weight_unit": "lb",
    "person_name": "Fay Founder",
    "username": "fay",
    "initials": "FF",
    "password": PASSWORD,
    "password_again": PASSWORD,
}


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW)


@pytest.fixture
def code(db: None) -> str:
    yield new_founding_code()
    forget_founding_code()


def errors(answer: HttpResponse, field: str | None = None) -> str:
    form = answer.context["form"]
    found = form.non_field_errors() if field is None else form.errors.get(field, [])
    return " ".join(found)


def enter(
    client: Client, username: str = "olga", password: str = PASSWORD, onward: str = ""
) -> HttpResponse:
    typed = {"username": username, "password": password, "next": onward}
    return client.post(reverse("log_in"), typed)


# founding


@pytest.mark.django_db
def test_an_empty_house_leads_every_page_to_its_founding(client: Client) -> None:
    for path in ("/", "/in/", "/lots/", "/nowhere/"):
        assert client.get(path)["Location"] == reverse("found")


def test_founding_makes_the_house_and_logs_its_keeper_in(code: str, client: Client) -> None:
    answer = client.post(reverse("found"), STATEMENT | {"code": code})
    assert answer["Location"] == reverse("first_steps")
    house = Establishment.objects.get()
    assert (house.name, house.zone, house.demo) == (STATEMENT["name"], "America/New_York", False)
    person = Person.objects.get()
    assert person.name == "Fay Founder"
    assert rights_of(person) == {"keeper", "operator"}
    assert client.get(reverse("places")).status_code == 200
    client.logout()
    assert enter(client, "fay")["Location"] == reverse("shift")


def test_the_founding_code_is_gone_once_the_house_is_founded(code: str, client: Client) -> None:
    client.post(reverse("found"), STATEMENT | {"code": code})
    assert not founding_code_stands()


def test_the_founding_code_is_kept_as_its_digest_for_its_owner_alone(code: str) -> None:
    file = Path(settings.DATA_DIR) / "founding_code"
    assert code.replace("-", "") not in file.read_text()
    assert file.stat().st_mode & 0o777 == 0o600


def test_a_code_typed_in_small_letters_with_blanks_is_the_same_code(
    code: str, client: Client
) -> None:
    typed = f" {code.lower().replace('-', ' ')} "
    assert client.post(reverse("found"), STATEMENT | {"code": typed}).status_code == 302


def test_a_founded_house_is_not_founded_again(book: Book, client: Client) -> None:
    lines = BookLine.objects.count()
    answer = client.post(reverse("found"), STATEMENT | {"code": new_founding_code()})
    forget_founding_code()
    assert answer["Location"] == reverse("log_in")
    assert BookLine.objects.count() == lines


@pytest.mark.parametrize(
    ("field", "typed", "words"),
    [
        ("code", "ABCD-EFGH-JKLM-NPQR", "not the code"),
        ("name", "", "Fill this in."),
        ("address", "  ", "Fill this in."),
        ("sells", "barter", "cannot be chosen"),
        ("zone", "", "Choose the time zone"),
        ("other_zone", "America/Boise", "not both"),
        ("temperature_unit", "K", "cannot be chosen"),
        ("weight_unit", "", "Choose one."),
        ("person_name", "", "Fill this in."),
        ("username", "fay founder", "letters, digits"),
        ("initials", "FFFFF", "at most 4"),
        ("initials", "ok", "read as a verdict"),
        ("password_again", "alder-and-oak-smoke-2", "not the same"),
    ],
)
def test_founding_refuses_beside_the_field_and_writes_nothing(
    field: str, typed: str, words: str, code: str, client: Client
) -> None:
    answer = client.post(reverse("found"), STATEMENT | {"code": code, field: typed})
    assert answer.status_code == 200
    assert words in errors(answer, field)
    assert "Invented Creek" in answer.content.decode() or field == "name"
    assert PASSWORD not in answer.content.decode()
    assert not BookLine.objects.exists()
    assert founding_code_stands()


def test_a_time_zone_that_does_not_exist_is_refused(code: str, client: Client) -> None:
    typed = STATEMENT | {"code": code, "zone": "", "other_zone": "America/Inventon"}
    answer = client.post(reverse("found"), typed)
    assert "not a time zone" in errors(answer, "zone")
    assert "America/Inventon" in answer.content.decode()
    assert not BookLine.objects.exists()


@pytest.mark.parametrize("password", ["short-one", "0123456789012", "password123"])
def test_a_weak_password_is_refused(password: str, code: str, client: Client) -> None:
    typed = STATEMENT | {"code": code, "password": password, "password_again": password}
    answer = client.post(reverse("found"), typed)
    assert errors(answer, "password")
    assert not BookLine.objects.exists()


@pytest.mark.django_db
def test_without_a_code_printed_the_page_says_where_to_get_one(client: Client) -> None:
    assert "manage.py serve" in client.get(reverse("found")).content.decode()
    answer = client.post(reverse("found"), STATEMENT | {"code": ""})
    assert errors(answer, "code")
    assert not BookLine.objects.exists()


# logging in and out


def test_a_person_logs_in_and_comes_to_the_page_asked_for(book: Book, client: Client) -> None:
    assert client.get(reverse("people"))["Location"] == "/in/?next=/people/"
    assert enter(client, onward="/people/")["Location"] == "/people/"


@pytest.mark.parametrize(
    "onward", ["https://elsewhere.example/", "//elsewhere.example", "javascript:x"]
)
def test_logging_in_never_leads_out_of_the_house(onward: str, book: Book, client: Client) -> None:
    assert enter(client, onward=onward)["Location"] == reverse("shift")


@pytest.mark.parametrize(("name", "password"), [("olga", "wrong"), ("nobody", PASSWORD)])
def test_a_wrong_name_and_a_wrong_password_get_the_same_words(
    name: str, password: str, book: Book, client: Client
) -> None:
    answer = enter(client, name, password)
    assert errors(answer) == "Log-in name or password is wrong. Both are as they were set here."
    assert f'value="{name}"' in answer.content.decode()
    assert client.get(reverse("people")).status_code == 302


def test_whose_rights_have_all_ended_cannot_log_in(book: Book, client: Client) -> None:
    people.take_right(book.keeper, book.operator, "operator", "left the house", NOW)
    assert errors(enter(client))


def test_logging_out_takes_a_post_and_ends_the_session(book: Book, client: Client) -> None:
    enter(client)
    assert client.get(reverse("log_out")).status_code == 405
    assert client.post(reverse("log_out"))["Location"] == reverse("log_in")
    assert client.get(reverse("people")).status_code == 302


def test_the_eighth_wrong_password_shuts_the_name_even_to_the_right_one(
    book: Book, client: Client
) -> None:
    for _ in range(settings.AXES_FAILURE_LIMIT - 1):
        assert enter(client, password="wrong").status_code == 200
    assert enter(client, password="wrong").status_code == 429
    answer = enter(client)
    assert answer.status_code == 429
    assert "15 minutes" in answer.content.decode()
    assert settings.AXES_COOLOFF_TIME * 60 == 15
    assert enter(client, "rene").status_code == 302


def test_what_the_throttle_keeps_holds_no_password(book: Book, client: Client) -> None:
    enter(client, password="nearly-my-password")
    kept = [str(row) for row in AccessAttempt.objects.values_list()]
    assert kept
    assert "nearly-my-password" not in " ".join(kept)


# invitations


def test_an_invited_person_sets_a_password_once_and_logs_in(book: Book, client: Client) -> None:
    _, code = people.invite(
        book.keeper, "nora", "Nora Newcomer", "NN", [people.Grant("operator")], NOW
    )
    typed = {
        "code": code.lower(),
        "password": "birch-and-apple",
        "password_again": "birch-and-apple",
    }
    assert client.post(reverse("invited"), typed)["Location"] == reverse("log_in")
    assert enter(client, "nora", "birch-and-apple").status_code == 302
    again = Client().post(reverse("invited"), typed)
    assert "not known, was used, or is too old" in errors(again, "code")


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"code": "ABCD-EFGH-JKLM-NPQR"}, "code", "not known"),
        ({"password_again": "birch-and-pear"}, "password_again", "not the same"),
        ({"password": "birch", "password_again": "birch"}, "password", "too short"),
    ],
)
def test_an_invitation_refuses_beside_the_field_and_writes_nothing(
    change: dict[str, str], field: str, words: str, book: Book, client: Client
) -> None:
    code = people.reset(book.keeper, book.operator, NOW)
    lines = BookLine.objects.count()
    typed = {"code": code, "password": "birch-and-apple", "password_again": "birch-and-apple"}
    answer = client.post(reverse("invited"), typed | change)
    assert words in errors(answer, field)
    assert (typed | change)["code"] in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_a_code_too_old_is_refused(book: Book, client: Client) -> None:
    code = people.reset(book.keeper, book.operator, moment("2026-02-25 13:59"))
    typed = {"code": code, "password": "birch-and-apple", "password_again": "birch-and-apple"}
    assert "too old" in errors(client.post(reverse("invited"), typed), "code")
