"""The letter that electronic signatures bind as handwritten ones do (21 CFR 11.100(c))."""

from collections.abc import Callable

from django.urls import reverse

from tests.make import Book
from tests.views.pages import as_person


def test_the_letter_carries_the_house_and_leaves_blank_what_is_written_by_hand(
    book: Book, clock: Callable[[str], int]
) -> None:
    text = as_person(book.keeper).get(reverse("letter")).content.decode()
    sheet = text.split('<article class="letter">')[1].split("</article>")[0]
    for words in ("Invented Creek Smokehouse", "1 Nowhere Lane, Inventon", "21 CFR 11.100(c)"):
        assert words in sheet
    for blank in ("Date", "Address", "Signature, by hand", "Printed name"):
        assert f'<span>{blank}</span><span class="write"></span>' in sheet
    assert "Kim Keeper" not in sheet


def test_the_page_says_that_the_house_sends_it_and_that_others_may_ask_otherwise(
    book: Book, clock: Callable[[str], int]
) -> None:
    text = as_person(book.coordinator).get(reverse("letter")).content.decode()
    assert "Nothing is sent from here" in text and "Other agencies" in text


def test_the_page_after_founding_and_the_page_of_people_lead_to_it(
    book: Book, clock: Callable[[str], int]
) -> None:
    for name in ("first_steps", "people"):
        for person, there in (
            (book.keeper, True),
            (book.coordinator, True),
            (book.operator, False),
        ):
            text = as_person(person).get(reverse(name)).content.decode()
            assert (reverse("letter") in text) is there, (name, person.name)
