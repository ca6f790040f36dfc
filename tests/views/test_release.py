"""The page of a release: what stands against it, the quantities, the signature."""

import pytest
from django.test import Client

from lots.entries.deviation import Action, Decision, decide, take_action
from lots.entries.review import sign_reviews
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.lot import Lot
from lots.models.review import Release
from lots.queries.release import last_line
from tests.entries.roads import finished
from tests.make import PASSWORD, Book, moment
from tests.views.test_logger_upload import come, errors

URL = "/lots/TR-1/release/"
TYPED = {"release": "18 kg", "storage": "Keep frozen", "note": "first of the year"}


@pytest.fixture(autouse=True)
def evening(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: moment("20:45"))


def review(book: Book, lot: Lot) -> None:
    last = last_line(lot)
    assert last is not None
    sign_reviews(book.reviewer, [(lot, last.number)], "", moment("20:40"))


def sign(client: Client, **changes: str) -> str:
    typed = TYPED | {"password": PASSWORD} | changes
    return client.post(URL, typed, follow=True).content.decode()


def test_what_stands_against_it_is_said_in_words(book: Book, client: Client) -> None:
    finished(book, hottest="140")
    page = come(client, book.reviewer).get(URL).content.decode()
    assert "Its records are not reviewed." in page
    assert "is open." in page
    assert "Sign and release" not in page


def test_a_lot_is_released_with_the_quantities_prefilled(book: Book, client: Client) -> None:
    lot = finished(book)
    review(book, lot)
    come(client, book.reviewer)
    page = client.get(URL).content.decode()
    assert 'name="release" value="18 kg"' in page
    assert "Nothing stands against it" in page
    assert "Keep frozen" in page
    sign(client)
    made = Release.objects.get()
    assert (made.lot, made.storage, made.note) == (lot, "Keep frozen", "first of the year")
    assert "by René Reviewer" in client.get(URL).content.decode()


def test_what_deviations_decided_is_taken_off_beforehand(book: Book, client: Client) -> None:
    lot = finished(book, hottest="140")
    deviation = Deviation.objects.get()
    done = Action(True, "held", "more wood", "wet wood")
    take_action(book.operator, deviation, done, moment("20:11"), moment("20:12"))
    decide(book.reviewer, deviation, Decision("destroy", 5_000, "cold rack"), moment("20:15"))
    rest = Decision("release", 13_000, "warm racks", "Their probes held 145 °F for 30 min", seen=1)
    decide(book.reviewer, deviation, rest, moment("20:16"))
    review(book, lot)
    page = come(client, book.reviewer).get(URL).content.decode()
    assert 'name="release" value="13 kg"' in page
    assert 'name="destroy" value="5 kg"' in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"release": "17 kg"}, "add up to 17 kg, but 18 kg was packed"),
        ({"release": "17", "destroy": "2"}, "add up to 19 kg"),
        ({"release": "all"}, "is not a weight"),
        ({"storage": ""}, "How it is kept"),
        ({"password": "wrong-password"}, "not your password"),
        ({"password": ""}, "Your password again"),
    ],
)
def test_a_refused_release_keeps_what_was_typed_and_writes_nothing(
    book: Book, client: Client, changes: dict[str, str], words: str
) -> None:
    review(book, finished(book))
    come(client, book.reviewer)
    before = BookLine.objects.count()
    page = sign(client, **changes)
    assert words in errors(page)
    assert "first of the year" in page
    assert f'value="{changes.get("release", "18 kg")}"' in page
    assert PASSWORD not in page
    assert BookLine.objects.count() == before


def test_a_release_that_is_barred_is_refused_even_if_it_is_sent(book: Book, client: Client) -> None:
    finished(book)
    come(client, book.reviewer)
    before = BookLine.objects.count()
    page = sign(client)
    assert "its records are not reviewed" in errors(page)
    assert "first of the year" in page
    assert BookLine.objects.count() == before


def test_the_page_never_says_that_fish_is_safe(book: Book, client: Client) -> None:
    review(book, finished(book))
    page = come(client, book.reviewer).get(URL).content.decode()
    main = page[page.index("<main") : page.index("</main>")]
    assert "safe" not in main.lower()


def test_only_a_reviewer_comes_to_the_release(book: Book, client: Client) -> None:
    finished(book)
    for person in (book.operator, book.inspector, book.coordinator, book.keeper):
        come(client, person)
        assert client.get(URL).status_code == 403
        assert client.post(URL, TYPED).status_code == 403


def test_a_lot_that_is_none_is_not_found(book: Book, client: Client) -> None:
    assert come(client, book.reviewer).get("/lots/NONE/release/").status_code == 404
