"""A lot is opened at the dock, with what was read and seen; what cannot be is refused beside its field."""

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lots.entries.lot import asked_at_receiving
from lots.models.lot import Lot
from lots.models.reading import Observation, Reading
from lots.queries.plans import plan_value
from tests.make import Book
from tests.views.pages import as_person, beside, lines, refused, taken

Clock = Callable[[str], int]


def new_lot(book: Book, **changes: str) -> dict[str, str]:
    """A lot as it is typed at the dock, all that the plan wants looked for found so."""
    asked = asked_at_receiving(plan_value(book.version))
    return {
        "code": "TR-9",
        "species": "TRR",
        "origin": "farmed",
        "supplier": "Invented Springs Farm",
        "supplier_lot": "ISF-119",
        "quantity": "20,5",
        "place": str(book.place("Dock").pk),
        "unit": "F",
        "read_fish 1": "36.1",
        "note": "two crates",
        **{f"look_{index}": "yes" for index in range(len(asked))},
        **changes,
    }


def url(book: Book) -> str:
    return f"{reverse('lot_open')}?plan={book.version.pk}"


def test_a_lot_is_opened_with_what_was_read_and_seen(book: Book, olga: Client) -> None:
    typed = new_lot(book, **{"read_fish 2": "37,2"})
    answer = taken(olga, url(book), typed)
    lot = Lot.objects.get()
    assert (lot.code, lot.quantity_g, lot.supplier_lot) == ("TR-9", 20_500, "ISF-119")
    assert [row.as_read for row in Reading.objects.order_by("id")] == ["36.1", "37,2"]
    assert all(Observation.objects.values_list("found", flat=True))
    assert "Lot TR-9" in answer.content.decode()


def test_the_code_proposed_is_the_day_and_the_next_letter(
    book: Book, olga: Client, clock: Clock
) -> None:
    assert 'value="0304-A"' in olga.get(url(book)).content.decode()
    taken(olga, url(book), new_lot(book, code="0304-A"))
    assert 'value="0304-B"' in olga.get(url(book)).content.decode()
    clock("2026-03-04 23:30")  # 5 March already, UTC
    assert 'value="0304-B"' in olga.get(url(book)).content.decode()


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"code": "TR 9"}, "code", "without spaces"),
        ({"code": "TR/9"}, "code", "without spaces"),
        ({"code": ""}, "code", "Fill this in"),
        ({"code": "x" * 41}, "code", "at most 40"),
        ({"species": "other"}, "species", "does not cover this species"),
        ({"supplier": ""}, "supplier", "Fill this in"),
        ({"quantity": "0"}, "quantity", "more than nothing"),
        ({"quantity": "twenty"}, "quantity", "is not a weight"),
        ({"quantity": "1,234"}, "quantity", "can be read two ways"),
        ({"quantity": "9" * 30}, "quantity", "more than any smokehouse holds"),
        ({"read_fish 1": "cold"}, "read_fish 1", "is not a number"),
        ({"read_fish 2": "999"}, "read_fish 2", "no fish or oven"),
        ({"received_at": "14:03"}, "received_at", "still to come"),
        ({"received_at": "13:30"}, "late_reason", "Say why it comes late"),
        ({"received_at": "8 Mar 2026 02:30"}, "received_at", "never existed"),
        ({"note": "y" * 10_000}, "note", "at most 200"),
    ],
)
def test_a_lot_that_cannot_be_is_refused(
    book: Book, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, url(book), new_lot(book, **changed), field, words)
    assert not Lot.objects.exists()


def test_the_same_code_twice_is_refused(book: Book, olga: Client) -> None:
    book.open_lot("TR-9")
    refused(olga, url(book), new_lot(book), "code", "There is already a lot TR-9")


def test_all_that_is_wrong_is_said_at_once(book: Book, olga: Client) -> None:
    typed = new_lot(book, code="a b", species="other", quantity="0", **{"read_fish 1": "x"})
    answer = refused(olga, url(book), typed, "code", "without spaces")
    for field in ("species", "quantity", "read_fish 1"):
        assert beside(answer, field)


def test_warm_fish_is_asked_about_and_the_yes_is_kept(book: Book, olga: Client) -> None:
    typed = new_lot(book, **{"read_fish 1": "80"})
    answer = refused(olga, url(book), typed, "read_fish 1", "80.0 °F is unlikely")
    assert "It does read 80.0 °F" in answer.content.decode()
    yes = answer.context["form"]["confirmed"].field.widget.attrs["value"]
    changed = typed | {"read_fish 1": "81", "confirmed": yes}
    refused(olga, url(book), changed, "read_fish 1", "81.0 °F is unlikely")
    taken(olga, url(book), typed | {"confirmed": yes})
    assert Reading.objects.get().unlikely_confirmed


def test_a_plan_that_is_none_leads_back_to_the_choice(book: Book, olga: Client) -> None:
    for wrong in ("", "abc", "1 OR 1", "²", "\0"):
        answer = olga.get(reverse("lot_open"), {"plan": wrong})
        assert "Under which plan" in answer.content.decode()
    assert olga.get(reverse("lot_open"), {"plan": "9" * 40}).status_code == 404


def test_the_same_lot_sent_again_is_opened_once(book: Book, olga: Client) -> None:
    typed = new_lot(book, client_key="k")
    taken(olga, url(book), typed)
    before = lines()
    again = olga.post(url(book), typed)
    assert again["Location"] == reverse("lot_show", args=["TR-9"])
    assert lines() == before


def test_a_paper_goes_in_with_the_lot_and_no_page_does(book: Book, olga: Client) -> None:
    page = SimpleUploadedFile("letter.pdf", b"<html>", "application/pdf")
    refused(olga, url(book), new_lot(book) | {"attachment": page}, "attachment", "Attach a photo")
    paper = SimpleUploadedFile("letter.pdf", b"%PDF-1.7 x", "application/pdf")
    taken(olga, url(book), new_lot(book) | {"attachment": paper})
    load = Lot.objects.get().parts.get().load
    assert "letter.pdf" in olga.get(reverse("load_show", args=[load.pk])).content.decode()


@pytest.mark.parametrize("name", ["Рыбхоз «Исток»", "Ψαράς & Σία", "🐟 <script>alert(1)</script>"])
def test_any_writing_of_a_supplier_is_kept_and_shown_as_text(
    book: Book, olga: Client, name: str
) -> None:
    answer = taken(olga, url(book), new_lot(book, supplier=name))
    assert Lot.objects.get().supplier == name
    assert "<script>alert" not in answer.content.decode()


@pytest.mark.parametrize(
    "field", ["code", "supplier", "supplier_lot", "note", "quantity", "species"]
)
def test_a_null_byte_is_refused(book: Book, olga: Client, field: str) -> None:
    before = lines()
    answer = olga.post(url(book), new_lot(book, **{field: "TR\0R"}))
    assert answer.status_code == 200
    assert beside(answer, field)
    assert lines() == before


def test_nobody_but_an_operator_opens_a_lot(book: Book, clock: Clock) -> None:
    before = lines()
    for person in (book.inspector, book.reviewer, book.coordinator):
        assert as_person(person).get(url(book)).status_code == 403
        assert as_person(person).post(url(book), new_lot(book)).status_code == 403
    assert lines() == before
