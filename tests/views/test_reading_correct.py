"""A wrong reading is put right by a new row with a reason; both stay and both are shown."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from lots.models.lot import Load
from lots.models.reading import Reading
from tests.make import Book
from tests.views.pages import above, as_person, lines, refused, taken

RIGHT = {"as_read": "146.1", "unit": "F", "reason": "digits swapped"}


@pytest.fixture
def wrong(book: Book, clock: Callable[[str], int]) -> Reading:
    """146.1 °F, written down as 141.6 °F at 12:00 in the smoker."""
    smoke = book.start("smoke", "Smokehouse 1", "11:30", book.open_lot())
    book.fish(smoke, "12:00 141.6", probes=1)
    clock("12:10")
    return Reading.objects.latest("id")


def url(row: Reading) -> str:
    return reverse("reading_correct", args=[row.pk])


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"as_read": "14b"}, "as_read", "is not a number"),
        ({"as_read": "1,234"}, "as_read", "can be read two ways"),
        ({"as_read": "2000"}, "as_read", "no fish or oven"),
        ({"as_read": ""}, "as_read", "Type the right figure"),
        ({"as_read": "141.6"}, "as_read", "the figure that already stands"),
        ({"reason": ""}, "reason", "Fill this in"),
        ({"reason": "   "}, "reason", "Fill this in"),
        ({"unit": "K"}, "unit", "cannot be chosen"),
    ],
)
def test_a_correction_that_cannot_be_is_refused(
    wrong: Reading, olga: Client, changed: dict[str, str], field: str, words: str
) -> None:
    before = lines()
    typed = RIGHT | changed
    answer = olga.post(url(wrong), typed)
    assert answer.status_code == 200
    assert words in str(answer.context["form"].errors.get(field))
    assert answer.context["form"]["reason"].value() == typed["reason"]
    assert lines() == before


def test_both_rows_are_shown_with_the_reason(wrong: Reading, olga: Client) -> None:
    answer = taken(olga, url(wrong), RIGHT)
    assert "146.1 °F" in answer.content.decode()
    new = Reading.objects.get(corrects=wrong)
    assert (new.observed_at, new.probe, new.load_id) == (
        wrong.observed_at, wrong.probe, wrong.load_id,
    )  # fmt: skip
    page = olga.get(reverse("load_show", args=[wrong.load_id])).content.decode()
    assert '<del class="struck">141.6 °F</del>' in page
    assert "digits swapped" in page
    assert f"Corrects no. {wrong.pk}" in page


def test_a_reading_is_not_corrected_twice(wrong: Reading, olga: Client) -> None:
    taken(olga, url(wrong), RIGHT)
    before = lines()
    answer = olga.post(url(wrong), RIGHT | {"as_read": "147"})
    assert "already corrected" in above(answer)
    assert lines() == before
    newer = Reading.objects.get(corrects=wrong)
    taken(olga, url(newer), RIGHT | {"as_read": "147"})


def test_a_reading_taken_back_stays_struck_out(wrong: Reading, olga: Client) -> None:
    taken(olga, url(wrong), {"take_back": "on", "unit": "F", "reason": "the probe was in the air"})
    gone = Reading.objects.get(corrects=wrong)
    assert gone.withdrawn
    page = olga.get(reverse("load_show", args=[wrong.load_id])).content.decode()
    assert "Taken back" in page
    assert "the probe was in the air" in page
    shift = olga.get(reverse("shift")).content.decode()
    assert "141.6" not in shift


def test_an_unlikely_correction_is_asked_about_and_its_yes_is_kept(
    wrong: Reading, olga: Client
) -> None:
    typed = RIGHT | {"as_read": "188"}
    answer = refused(olga, url(wrong), typed, "as_read", "188.0 °F is unlikely")
    assert "It does read 188.0 °F" in answer.content.decode()
    yes = answer.context["form"]["confirmed"].field.widget.attrs["value"]
    refused(olga, url(wrong), typed | {"as_read": "189", "confirmed": yes}, "as_read", "unlikely")
    taken(olga, url(wrong), typed | {"confirmed": yes})
    assert Reading.objects.get(corrects=wrong).unlikely_confirmed


def test_a_correction_judges_anew_and_says_what_it_rests_on(
    book: Book, olga: Client, clock: Callable[[str], int]
) -> None:
    lot = book.open_lot()
    book.start("hold", "Cooler", "07:30", lot)
    book.at_place("Cooler", "08:00 37.0, 09:00 47.3")
    assert lot.deviations.count() == 1
    clock("09:10")
    wrong = Reading.objects.latest("id")
    answer = taken(olga, url(wrong), {"as_read": "37.4", "unit": "F", "reason": "a 3 read as a 4"})
    assert lot.deviations.count() == 1  # none disappears
    cold = next(one for one in answer.context["limits"] if one.judged.limit.id == "hold-cold")
    assert (
        cold.judged.verdict.value == "DEVIATION"
    )  # milder by a correction: not before it is accepted
    assert "late or corrected" in answer.content.decode()


def test_nobody_but_an_operator_corrects(book: Book, wrong: Reading) -> None:
    before = lines()
    for person in (book.inspector, book.reviewer, book.coordinator):
        assert as_person(person).post(url(wrong), RIGHT).status_code == 403
    assert lines() == before


def test_a_measured_quantity_is_corrected_in_its_own_unit(
    book: Book, olga: Client, clock: Callable[[str], int]
) -> None:
    clock("07:40")
    brine: Load = book.start("brine", "Brine tank 1", "07:30", book.open_lot())
    typed = {"quantity": "brine strength", "unit": "", "as_read": "60"}
    taken(olga, reverse("measurement_enter", args=[brine.pk]), typed)
    wrong = Reading.objects.latest("id")
    refused(
        olga,
        url(wrong),
        {"as_read": "-6", "unit": "°SAL", "reason": "x"},
        "as_read",
        "below nothing",
    )
    taken(olga, url(wrong), {"as_read": "66", "unit": "°SAL", "reason": "read upside down"})
    assert Reading.objects.get(corrects=wrong).value == 66_000_000
