"""What was looked for: yes or no, with a photo; put right by a new row; a process adjustment."""

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lots.models.deviation import ProcessAdjustment
from lots.models.lot import Load
from lots.models.reading import Observation
from tests.make import Book
from tests.views.pages import above, as_person, beside, lines, refused, taken

JPEG = b"\xff\xd8\xff\xe0" + b"0" * 64


@pytest.fixture
def pack(book: Book, clock: Callable[[str], int]) -> Load:
    """A lot on the packing table since 10:00."""
    clock("10:20")
    return book.start("pack", "Table", "10:00", book.open_lot())


def url(load: Load) -> str:
    return reverse("observation_enter", args=[load.pk])


def test_the_page_asks_what_the_plan_wants_looked_for(pack: Load, olga: Client) -> None:
    page = olga.get(url(pack)).content.decode()
    assert "Label names the species as an allergen" in page


def test_a_yes_with_a_photo_goes_in(pack: Load, olga: Client) -> None:
    typed = {
        "look_0": "yes",
        "note": "печать видна",
        "attachment": SimpleUploadedFile("label.jpg", JPEG, "image/jpeg"),
    }
    answer = taken(olga, url(pack), typed)
    row = Observation.objects.get(load=pack)
    assert (row.found, row.note) == (True, "печать видна")
    assert row.attachments.get().file.name == "label.jpg"
    page = answer.content.decode()
    assert "<strong>yes</strong>" in page
    assert "label.jpg" in page


def test_a_no_to_what_the_plan_wants_is_a_deviation(pack: Load, olga: Client) -> None:
    answer = taken(olga, url(pack), {"look_0": "no"})
    assert pack.deviations.count() == 1
    assert "verdict-deviation" in answer.content.decode()


def test_nothing_answered_is_refused(pack: Load, olga: Client) -> None:
    before = lines()
    answer = olga.post(url(pack), {"note": "looked at all of them"})
    assert "Answer yes or no" in above(answer)
    assert answer.context["form"]["note"].value() == "looked at all of them"
    assert lines() == before


def test_something_else_needs_its_answer(pack: Load, olga: Client) -> None:
    typed = {"look_0": "yes", "other": "seal of every tenth pack"}
    refused(olga, url(pack), typed, "other_found", "yes or no")
    taken(olga, url(pack), typed | {"other_found": "no"})
    assert Observation.objects.get(what="seal of every tenth pack").found is False
    refused(olga, url(pack), {"other_found": "yes"}, "other", "Say what was looked for")


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"observed_at": "11:00"}, "observed_at", "still to come"),
        ({"observed_at": "09:30"}, "late_reason", "Say why it comes late"),
        ({"observed_at": "nine"}, "observed_at", "is not a time"),
        ({"note": "x" * 10_000}, "note", "at most 400"),
    ],
)
def test_a_look_that_cannot_be_is_refused(
    pack: Load, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    refused(olga, url(pack), {"look_0": "yes", **changed}, field, words)


def test_an_answer_with_a_page_attached_is_refused(pack: Load, olga: Client) -> None:
    bad = SimpleUploadedFile("label.pdf", b"MZ\x90\x00", "application/pdf")
    refused(olga, url(pack), {"look_0": "yes", "attachment": bad}, "attachment", "Attach a photo")
    assert not Observation.objects.filter(load=pack).exists()


def test_the_same_answer_sent_again_writes_nothing(pack: Load, olga: Client) -> None:
    typed = {"look_0": "yes", "client_key": "k"}
    taken(olga, url(pack), typed)
    before = lines()
    assert olga.post(url(pack), typed).status_code == 302
    assert lines() == before


def test_an_answer_is_put_right_once_with_a_reason(pack: Load, olga: Client) -> None:
    taken(olga, url(pack), {"look_0": "no"})
    wrong = Observation.objects.get(load=pack)
    right = reverse("observation_correct", args=[wrong.pk])
    before = lines()
    answer = olga.post(right, {"found": "yes", "reason": ""})
    assert "Fill this in" in beside(answer, "reason")
    assert lines() == before
    page = taken(olga, right, {"found": "yes", "reason": "the wrong roll was looked at"})
    text = page.content.decode()
    assert 'class="struck"' in text
    assert "the wrong roll was looked at" in text
    before = lines()
    again = olga.post(right, {"found": "no", "reason": "once more"})
    assert "already corrected" in above(again)
    assert lines() == before


def test_nobody_but_an_operator_looks(book: Book, pack: Load) -> None:
    before = lines()
    for person in (book.inspector, book.reviewer, book.coordinator):
        assert as_person(person).post(url(pack), {"look_0": "yes"}).status_code == 403
    assert lines() == before


def test_an_adjustment_is_of_a_limit_of_the_lots_own_plan(
    book: Book, olga: Client, clock: Callable[[str], int]
) -> None:
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "08:00 39.0")
    clock("08:05")
    page = olga.get(reverse("lot_show", args=[lot.code])).content.decode()
    assert "Write down the process adjustment" in page
    at = reverse("process_adjust", args=[lot.code])
    typed = {"what": "door closed, fan on high", "limit_id": "hold-cold", "load": str(load.pk)}
    refused(olga, at, typed | {"what": "x" * 5000}, "what", "at most 1000")
    before = lines()
    assert "no such limit" in above(olga.post(at, typed | {"limit_id": "made-up"}))
    other = book.start("hold", "Cooler", "08:01", book.open_lot("TR-2", at="07:50"))
    before += 2
    assert "not in that load" in above(olga.post(at, typed | {"load": str(other.pk)}))
    assert lines() == before
    taken(olga, at, typed)
    assert ProcessAdjustment.objects.get().what == "door closed, fan on high"
