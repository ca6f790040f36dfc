"""Letters that the paper cannot show are told of where they are typed, and kept as they are."""

import pytest
from django.contrib.messages import get_messages
from django.test import Client
from django.urls import reverse

from lots.models.lot import Note
from tests.make import Book, make_book

pytestmark = pytest.mark.django_db


@pytest.fixture
def book(db: None) -> Book:
    return make_book()


def note(book: Book, text: str) -> str:
    """What a page says after a note with this text was sent."""
    load = book.start("hold", "Cooler", "07:30", book.open_lot())
    client = Client()
    client.force_login(book.operator.login, backend="lots.views.backend.PersonBackend")
    answer = client.post(reverse("load_note", args=[load.pk]), {"text": text})
    return " ".join(str(one) for one in get_messages(answer.wsgi_request))


def test_a_letter_without_a_glyph_is_named_and_kept(book: Book) -> None:
    said = note(book, "鮭 from the dock")
    assert "鮭 (U+9BAD)" in said
    assert "prints the code instead" in said
    assert Note.objects.get().text == "鮭 from the dock"


@pytest.mark.parametrize("text", ["plain", "Größe 4,4 °C", "Ψάρι", "Щука", "fish №1 — “cold”"])
def test_latin_greek_and_cyrillic_are_said_nothing_of(book: Book, text: str) -> None:
    assert "no type for" not in note(book, text)


def test_no_more_than_a_few_letters_are_named(book: Book) -> None:
    said = note(book, "一二三四五六七八")
    assert "and 3 more" in said
