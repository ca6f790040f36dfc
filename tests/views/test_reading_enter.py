"""Readings by hand through the page: what is refused, asked about, understood; what they answer."""

from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.models.lot import Load
from lots.models.reading import Reading
from tests.make import Book
from tests.views.pages import above, as_person, beside, kept, lines, refused, taken

Clock = Callable[[str], int]
FISH = ("fish 1", "fish 2", "fish 3")


@pytest.fixture
def smoke(book: Book, clock: Clock) -> Load:
    """A lot in the smoker since 11:30, half an hour ago."""
    clock("12:00")
    return book.start("smoke", "Smokehouse 1", "11:30", book.open_lot())


def of_fish(load: Load) -> str:
    return reverse("reading_load", args=[load.pk])


def of_place(book: Book, name: str) -> str:
    return reverse("reading_place", args=[book.place(name).pk])


def round_of(*figures: str, unit: str = "F", **more: str) -> dict[str, str]:
    read = {f"read_{probe}": figure for probe, figure in zip(FISH, figures, strict=False)}
    return {**read, "unit": unit, "note": "thickest of the rack", **more}


def one(figure: str, unit: str = "F", **more: str) -> dict[str, str]:
    return {"read_": figure, "unit": unit, "note": "by the door", **more}


def verdicts(answer: HttpResponse) -> dict[str, str]:
    return {shown.judged.limit.id: shown.judged.verdict.value for shown in answer.context["limits"]}


@pytest.mark.parametrize(
    ("figure", "words"),
    [
        ("abc", "is not a number"),
        ("63.1 F", "is not a number"),
        ("1,234", "can be read two ways"),
        ("63.1234567", "more than 3 decimals"),
        ("4000", "no fish or oven can have this"),
        ("-200", "no fish or oven can have this"),
        ("6\0", "Null characters are not allowed"),
        ("", "Fill this in"),
        ("6" * 10_000, "at most 20 characters"),
        ("63°🐟", "is not a number"),
    ],
)
def test_a_figure_that_cannot_be_is_refused_beside_it(
    book: Book, olga: Client, figure: str, words: str
) -> None:
    typed = one(figure)
    before = lines()
    answer = olga.post(of_place(book, "Cooler"), typed)
    assert words in beside(answer, "read_")
    assert lines() == before
    assert answer.context["form"]["read_"].value() == figure
    assert kept(answer, {"note": typed["note"]}) == []


@pytest.mark.parametrize(
    ("figure", "unit", "kept_as"),
    [
        ("38,1", "F", "38.1 °F"),
        ("3.5", "C", "3.5 °C"),
        ("−4", "F", "−4.0 °F"),
        (" 38.1 ", "F", "38.1 °F"),
    ],
)
def test_a_figure_with_one_meaning_is_understood(
    book: Book, olga: Client, figure: str, unit: str, kept_as: str
) -> None:
    taken(olga, of_place(book, "Freezer"), one(figure, unit))
    row = Reading.objects.latest("id")
    assert row.as_read == figure.strip()
    assert (row.value, row.unit) == (_ninths(kept_as), unit)


def _ninths(text: str) -> int:
    figure, unit = text.replace("−", "-").split(" °")
    value = float(figure)
    return round((value - 32) * 5000) if unit == "F" else round(value * 9000)


def test_no_figure_at_all_in_a_round_is_refused(smoke: Load, olga: Client) -> None:
    refused(olga, of_fish(smoke), round_of(), "read_fish 1", "Type the figure")


def test_the_words_stand_beside_the_fish_whose_figure_is_wrong(smoke: Load, olga: Client) -> None:
    answer = refused(
        olga, of_fish(smoke), round_of("140.1", "14o", "900"), "read_fish 2", "is not a number"
    )
    assert beside(answer, "read_fish 1") == ""
    assert "no fish or oven can have this" in beside(answer, "read_fish 3")


def test_a_round_of_fish_goes_in_whole_under_one_line(
    book: Book, smoke: Load, olga: Client
) -> None:
    before = lines()
    answer = taken(olga, of_fish(smoke), round_of("140.1", "", "139,5"))
    assert lines() == before + 1
    rows = Reading.objects.filter(load=smoke).order_by("id")
    assert [(row.probe, row.as_read) for row in rows] == [("fish 1", "140.1"), ("fish 3", "139,5")]
    assert {row.note for row in rows} == {"thickest of the rack"}
    page = answer.content.decode()
    assert "140.1 °F" in page
    assert "139.5 °F" in page


def test_an_unlikely_figure_comes_back_with_one_box(smoke: Load, olga: Client) -> None:
    typed = round_of("150.0", "188.0", "149.5")
    answer = refused(olga, of_fish(smoke), typed, "read_fish 2", "188.0 °F is unlikely")
    assert answer.content.decode().count("It does read") == 1
    assert "It does read 188.0 °F" in answer.content.decode()
    box = answer.context["form"]["confirmed"]
    assert 'type="checkbox"' in str(box)
    assert "checked" not in str(box)
    yes = box.field.widget.attrs["value"]
    assert f'value="{yes}"' in answer.content.decode()
    taken(olga, of_fish(smoke), {**typed, "confirmed": yes})
    said = {row.probe: row.unlikely_confirmed for row in Reading.objects.filter(load=smoke)}
    assert said == {"fish 1": False, "fish 2": True, "fish 3": False}


def test_the_box_without_a_tick_asks_again(smoke: Load, olga: Client) -> None:
    for _ in range(2):
        refused(olga, of_fish(smoke), round_of("188.0"), "read_fish 1", "unlikely")


@pytest.mark.parametrize(
    "changed",
    [
        round_of("189.0"),
        round_of("150", "188.0"),
        round_of("188.0", "190"),
        round_of("88", unit="C"),
    ],
)
def test_a_yes_holds_for_no_figure_but_its_own(
    smoke: Load, olga: Client, changed: dict[str, str]
) -> None:
    answer = refused(olga, of_fish(smoke), round_of("188.0"), "read_fish 1", "unlikely")
    yes = answer.context["form"]["confirmed"].field.widget.attrs["value"]
    before = lines()
    again = olga.post(of_fish(smoke), {**changed, "confirmed": yes})
    assert "unlikely" in str(again.context["form"].errors)
    assert "checked" not in str(again.context["form"]["confirmed"])
    assert again.context["form"]["confirmed"].field.widget.attrs["value"] != yes
    assert lines() == before


def test_a_yes_without_the_figure_that_it_was_for_is_nothing(smoke: Load, olga: Client) -> None:
    for yes in ("on", "True", "true", "1"):
        typed = {**round_of("188.0"), "confirmed": yes}
        refused(olga, of_fish(smoke), typed, "read_fish 1", "unlikely")


def test_a_box_ticked_for_a_likely_figure_is_not_kept(smoke: Load, olga: Client) -> None:
    typed = {**round_of("150.0"), "confirmed": "read_fish 1=150.0 °F"}
    taken(olga, of_fish(smoke), typed)
    assert not Reading.objects.latest("id").unlikely_confirmed


def test_a_moment_to_come_is_refused_beyond_two_minutes_grace(book: Book, olga: Client) -> None:
    url = of_place(book, "Cooler")
    refused(olga, url, one("38", observed_at="14:03"), "observed_at", "still to come")
    taken(olga, url, one("38", observed_at="14:02"))


def test_a_late_reading_without_a_reason_is_asked_for_it(book: Book, olga: Client) -> None:
    url = of_place(book, "Cooler")
    typed = one("38", observed_at="13:44")
    answer = refused(olga, url, typed, "late_reason", "Say why it comes late")
    assert "16 min" in beside(answer, "late_reason")
    assert '<details class="aside" open' in answer.content.decode()
    taken(olga, url, {**typed, "late_reason": "hands full of fish"})
    assert Reading.objects.latest("id").late_reason == "hands full of fish"
    taken(olga, url, one("38", observed_at="13:45"))


@pytest.mark.parametrize(
    ("time", "words"),
    [
        ("noon", "is not a time"),
        ("25:00", "not a day and time that exist"),
        ("31 Feb 2026 10:00", "not a day and time that exist"),
        ("4 Xyz 10:00", "not a day and time that exist"),
        ("10:00 +99:99", "not a day and time that exist"),
        ("1 Jan 0001 00:00", "years away"),
        ("31 Dec 9999 23:59", "years away"),
        ("13:50\0", "Null characters"),
        ("8 Mar 2026 02:30", "never existed"),
    ],
)
def test_a_time_that_is_none_is_refused_beside_it(
    book: Book, olga: Client, time: str, words: str
) -> None:
    before = lines()
    answer = olga.post(of_place(book, "Cooler"), one("38", observed_at=time, late_reason="late"))
    assert words in beside(answer, "observed_at")
    assert answer.context["form"]["observed_at"].value() == time
    assert lines() == before


def test_an_hour_that_exists_twice_is_asked_with_both_offsets(
    book: Book, olga: Client, clock: Clock
) -> None:
    clock("2026-11-01 03:00")
    url = of_place(book, "Freezer")
    typed = one("-4", observed_at="1 Nov 2026 01:30", late_reason="the night's book")
    answer = refused(olga, url, typed, "observed_at", "existed twice")
    assert "−04:00 or −05:00" in beside(answer, "observed_at")
    first = taken(olga, url, {**typed, "observed_at": "1 Nov 2026 01:30 −04:00"})
    second = taken(olga, url, {**typed, "observed_at": "1 Nov 2026 01:30 -05:00"})
    one_h = 60 * 60 * 1000
    assert second.context["reading"].observed_at - first.context["reading"].observed_at == one_h


def test_the_same_entry_sent_again_gets_its_first_answer(smoke: Load, olga: Client) -> None:
    typed = round_of("140.1", client_key="a1b2")
    first = olga.post(of_fish(smoke), typed)
    before, rows = lines(), Reading.objects.count()
    again = olga.post(of_fish(smoke), typed)
    assert again["Location"] == first["Location"]
    assert (lines(), Reading.objects.count()) == (before, rows)
    other = olga.post(of_fish(smoke), {**typed, "read_fish 1": "150"})
    assert "already stored 140.1" in other.content.decode()
    assert (lines(), Reading.objects.count()) == (before, rows)


def test_a_key_of_another_kind_of_entry_is_refused_in_words(
    book: Book, smoke: Load, olga: Client
) -> None:
    taken(olga, reverse("load_end", args=[smoke.pk]), {"client_key": "k1"})
    before = lines()
    answer = olga.post(of_place(book, "Cooler"), one("38", client_key="k1"))
    assert "already used for another entry" in above(answer)
    assert lines() == before


def test_two_of_the_same_entry_at_once_are_taken_once(
    smoke: Load, olga: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = round_of("140.1", client_key="twice")
    first = olga.post(of_fish(smoke), typed)
    from lots.entries import reading as entries

    known, asked = entries.already, []

    def not_yet(*words: object) -> object:
        asked.append(words)
        return None if len(asked) == 1 else known(*words)  # type: ignore[arg-type]

    monkeypatch.setattr(entries, "already", not_yet)
    before = lines()
    again = olga.post(of_fish(smoke), typed)
    assert again["Location"] == first["Location"]
    assert lines() == before


def test_nobody_but_an_operator_logs_a_reading(book: Book, smoke: Load, clock: Clock) -> None:
    before = lines()
    for person in (book.inspector, book.reviewer, book.coordinator):
        for url in (of_fish(smoke), of_place(book, "Cooler")):
            answer = as_person(person).post(url, one("38") | round_of("140"))
            assert answer.status_code == 403
    assert lines() == before


ON_THE_LIMIT = [
    # the holding cooler: at most 40 °F (4.4 °C), operating limit 38 °F: on the critical limit it holds
    ("hold", "Cooler", "40", "F", "ADJUST"),
    ("hold", "Cooler", "40.1", "F", "DEVIATION"),
    ("hold", "Cooler", "4.4", "C", "ADJUST"),
    ("hold", "Cooler", "4.5", "C", "DEVIATION"),
    ("hold", "Cooler", "38", "F", "MET"),
    # brine at its start: at most 60 °F (15.6 °C), no operating limit
    ("brine", "Brine tank 1", "60", "F", "MET"),
    ("brine", "Brine tank 1", "60.1", "F", "DEVIATION"),
    ("brine", "Brine tank 1", "15.6", "C", "MET"),
    ("brine", "Brine tank 1", "15.7", "C", "DEVIATION"),
]


@pytest.mark.parametrize(("step", "place", "figure", "unit", "verdict"), ON_THE_LIMIT)
def test_a_reading_on_the_limit_meets_it_and_a_digit_beyond_does_not(
    book: Book,
    olga: Client,
    clock: Clock,
    step: str,
    place: str,
    figure: str,
    unit: str,
    verdict: str,
) -> None:
    lot = book.open_lot()
    book.start(step, place, "07:30", lot)
    clock("07:35")
    answer = taken(olga, of_place(book, place), one(figure, unit))
    assert answer.context["worst"].judged.verdict.value == verdict
    assert f"answer-{verdict.lower()}" in answer.content.decode()
    assert bool(answer.context["deviations"]) is (verdict == "DEVIATION")
    assert lot.deviations.exists() is (verdict == "DEVIATION")


def test_a_reading_of_a_place_shows_for_every_lot_that_stands_in_it(
    book: Book, olga: Client, clock: Clock
) -> None:
    first = book.open_lot("TR-1")
    second = book.open_lot("TR-2", at="07:05")
    book.end(book.start("hold", "Cooler", "07:30", first), "07:40")
    book.start("hold", "Cooler", "07:45", first)
    book.start("hold", "Cooler", "07:50", second)
    clock("08:00")
    answer = taken(olga, of_place(book, "Cooler"), one("44.0"))
    assert {part.lot.code for part in answer.context["parts"]} == {"TR-1", "TR-2"}
    assert len(answer.context["parts"]) == 2
    for lot in (first, second):
        page = olga.get(reverse("lot_show", args=[lot.code])).content.decode()
        assert "44.0 °F" in page


def test_the_answer_names_the_limit_and_what_the_plan_says_to_do(
    book: Book, smoke: Load, olga: Client, clock: Clock
) -> None:
    book.fish(smoke, "11:35 41.0, 13:00 112.4")
    clock("13:30")
    taken(olga, of_fish(smoke), round_of("120", "121", "122"))
    clock("13:40")
    taken(olga, reverse("load_end", args=[smoke.pk]), {"client_key": "e"})
    page = olga.get(reverse("reading_answer", args=[Reading.objects.latest("id").pk]))
    assert page.context["worst"].judged.verdict.value == "DEVIATION"
    text = page.content.decode()
    assert "What the plan says to do" in text
    assert page.context["worst"].judged.point.corrective_action.split("\n")[0][:40] in text
    assert page.context["deviations"][0].lot.code == "TR-1"


def photo(name: str = "fish.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, b"\xff\xd8\xff\xe0" + b"0" * 64, "image/jpeg")


def test_a_file_that_is_no_photo_is_refused_with_the_reading(book: Book, olga: Client) -> None:
    page = SimpleUploadedFile("a.jpg", b"<html><script>alert(1)</script></html>", "image/jpeg")
    typed = one("38") | {"attachment": page}  # type: ignore[dict-item]
    refused(olga, of_place(book, "Cooler"), typed, "attachment", "Attach a photo")
    assert not Reading.objects.exists()


def test_a_photo_goes_in_with_the_reading(book: Book, olga: Client) -> None:
    typed = one("38") | {"attachment": photo()}  # type: ignore[dict-item]
    taken(olga, of_place(book, "Cooler"), typed)
    assert Reading.objects.get().attachments.get().file.name == "fish.jpg"


@pytest.mark.parametrize(
    "text", ["лосось, дверь открыта", "καπνιστό", "🐟 🔥", "a" * 400, '<b>x</b> & "y"']
)
def test_any_writing_in_a_note_is_kept_as_typed(book: Book, olga: Client, text: str) -> None:
    taken(olga, of_place(book, "Cooler"), one("38") | {"note": text})
    assert Reading.objects.get().note == text


@pytest.mark.parametrize(
    ("text", "words"), [("a" * 10_000, "at most 400"), ("x\0y", "Null characters")]
)
def test_a_note_that_cannot_be_kept_is_refused(
    book: Book, olga: Client, text: str, words: str
) -> None:
    before = lines()
    answer = olga.post(of_place(book, "Cooler"), one("38") | {"note": text})
    assert words in beside(answer, "note")
    assert lines() == before


def test_brine_strength_is_measured_in_degrees_salometer(
    book: Book, olga: Client, clock: Clock
) -> None:
    brine = book.start("brine", "Brine tank 1", "07:30", book.open_lot())
    clock("07:40")
    url = reverse("measurement_enter", args=[brine.pk])
    typed = {"quantity": "brine strength", "unit": "°SAL", "as_read": "60,5", "note": "stirred"}
    refused(olga, url, {**typed, "as_read": "sixty"}, "as_read", "is not a number")
    refused(olga, url, {**typed, "as_read": "-1"}, "as_read", "cannot be below nothing")
    refused(olga, url, {**typed, "as_read": "9" * 20}, "as_read", "Check the figure")
    refused(olga, url, {**typed, "unit": "pH"}, "unit", "use °SAL")
    answer = taken(olga, url, typed)
    row = Reading.objects.get(quantity="brine strength")
    assert (row.as_read, row.unit, row.value) == ("60,5", "°SAL", 60_500_000)
    assert "60.5 °SAL" in answer.content.decode()


def test_a_load_or_place_that_is_not_there_is_not_found(olga: Client) -> None:
    for name, pk in (("reading_load", 10**30), ("reading_place", 999), ("load_show", 10**30)):
        assert olga.get(reverse(name, args=[pk])).status_code == 404
