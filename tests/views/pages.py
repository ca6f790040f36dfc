"""Pages as the people of the test's smokehouse see them."""

import html
import re
from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from django.test import Client

from lots.models.book import BookLine
from lots.models.people import Person

ERRORS = re.compile(
    r'<ul class="wrong" id="id_(?P<field>[^"]*)_error">(?P<words>.*?)</ul>', re.DOTALL
)
UPLOADS = ("attachment", "report")


def as_person(person: Person) -> Client:
    """A browser in which the person is logged in."""
    client = Client()
    client.force_login(person.login, backend="lots.views.backend.PersonBackend")
    return client


def lines() -> int:
    return BookLine.objects.count()


def beside(answer: HttpResponse, field: str) -> str:
    """The words that the page shows beside a field."""
    shown = answer.content.decode()
    found = [one["words"] for one in ERRORS.finditer(shown) if one["field"] == field]
    return html.unescape(re.sub(r"<[^>]*>", " ", " ".join(found)))


def above(answer: HttpResponse) -> str:
    """The words that the page shows about the form as a whole."""
    return " ".join(answer.context["form"].non_field_errors())


def kept(answer: HttpResponse, typed: Mapping[str, Any]) -> list[str]:
    """Fields that the page does not show again as they were typed."""
    form, shown = answer.context["form"], html.unescape(answer.content.decode())
    return [
        name
        for name, value in typed.items()
        if name not in (*UPLOADS, "confirmed")
        and (str(form[name].value()) != str(value) or str(value) not in shown)
    ]


def refused(
    client: Client, url: str, typed: Mapping[str, Any], field: str | None, words: str
) -> HttpResponse:
    """Posts what the book must not take: the words stand beside the field (None: above the form), all
    that was typed stands there again, and nothing was written."""
    before = lines()
    answer: HttpResponse = client.post(url, typed)
    assert answer.status_code == 200, answer
    said = above(answer) if field is None else beside(answer, field)
    assert words and words in said, (said, answer.context["form"].errors)
    assert kept(answer, typed) == []
    assert lines() == before
    return answer


def taken(client: Client, url: str, typed: Mapping[str, Any]) -> HttpResponse:
    """Posts what the book takes, and follows to the page that answers."""
    before = lines()
    answer: HttpResponse = client.post(url, typed, follow=True)
    assert answer.status_code == 200
    assert answer.redirect_chain, answer.context["form"].errors
    assert lines() > before
    return answer
