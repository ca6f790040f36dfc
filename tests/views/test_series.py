"""A logger's file in the book through its pages: shown, one reading put right, the whole taken back."""

import html
import re
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lots.models.lot import Load, Lot
from lots.models.reading import LoggerImport, PackedSeries, SeriesCorrection, SeriesWithdrawn
from tests.entries.roads import csv, imported
from tests.make import Book, moment
from tests.views.pages import as_person, lines, refused, taken

Clock = Callable[[str], int]
PEAK = 10
FIGURES = ["37"] * PEAK + ["55"] + ["37"] * 10


@dataclass
class Scene:
    lot: Lot
    load: Load
    file: LoggerImport
    series: PackedSeries

    @property
    def correct(self) -> str:
        return reverse("logger_correct", args=[self.series.pk]) + f"?index={PEAK}"

    @property
    def withdraw(self) -> str:
        return reverse("logger_withdraw", args=[self.file.pk])

    @property
    def show(self) -> str:
        return reverse("logger_file_show", args=[self.file.pk])


@pytest.fixture
def warm(book: Book, clock: Clock) -> Scene:
    """A cooler's file from 07:31 to 07:51, a reading a minute, at 07:41 at 55 °F."""
    lot = book.open_lot()
    load = book.start("hold", "Cooler", "07:30", lot)
    row = imported(book, csv("2026-03-04 07:31:00", 60, FIGURES), "08:00", load.place).row
    assert row is not None
    clock("08:10")
    return Scene(lot, load, row, row.series.get())


def page(client: Client, url: str) -> str:
    answer = client.get(url)
    assert answer.status_code == 200, url
    return html.unescape(answer.content.decode())


def readings(**what: object) -> str:
    query = "&".join(f"{name}={value}" for name, value in what.items())
    return f"{reverse('logger_readings')}?{query}"


# --- opening --------------------------------------------------------------------------------------


def test_the_file_s_page_tells_what_it_was_and_of_which_lots(warm: Scene, olga: Client) -> None:
    shown = page(olga, warm.show)
    assert "logger.csv" in shown
    assert "The file held 21 readings; 21 were new" in shown
    assert "TR-1" in shown
    assert warm.file.root in shown
    assert warm.withdraw in shown


@pytest.mark.parametrize("kind", ["load", "place", "file"])
def test_its_readings_are_found_by_load_by_place_and_by_file(
    warm: Scene, olga: Client, kind: str
) -> None:
    number = {"load": warm.load.pk, "place": warm.load.place_id, "file": warm.file.pk}[kind]
    last = page(olga, readings(**{kind: number}))
    assert "The last ones" in last
    assert f"{reverse('logger_correct', args=[warm.series.pk])}?index=20" in last
    assert "55.0 °F" in page(olga, readings(**{kind: number}, at="07:41"))


def test_a_moment_that_is_none_stands_again_beside_its_refusal(warm: Scene, olga: Client) -> None:
    shown = page(olga, readings(file=warm.file.pk, at="noonish"))
    assert 'value="noonish"' in shown
    assert "is not a time" in shown


def test_the_reading_to_put_right_is_shown_among_its_neighbours(warm: Scene, olga: Client) -> None:
    shown = page(olga, warm.correct)
    assert "Put 55.0 °F right" in shown
    assert "◀ this one" in shown
    assert shown.count("37.0 °F") == 20


def test_taking_it_back_says_first_what_that_does(warm: Scene, olga: Client) -> None:
    shown = page(olga, warm.withdraw)
    assert "None of its 21 readings counts any more" in shown
    assert "These lots are judged anew: TR-1" in shown


@pytest.mark.parametrize(
    "address",
    [
        "/logger/files/999/", "/logger/files/999/withdraw/", "/logger/readings/",
        "/logger/readings/?load=999", "/logger/readings/?place=x", "/logger/readings/?file=",
        "/logger/readings/?file=" + "9" * 30, "/logger/series/999/correct/?index=1",
    ],
)  # fmt: skip
def test_an_address_of_nothing_is_not_found(warm: Scene, olga: Client, address: str) -> None:
    assert olga.get(address).status_code == 404


@pytest.mark.parametrize("index", ["", "21", "-1", "x", "9" * 30])
def test_a_reading_that_the_file_does_not_hold_is_not_found(
    warm: Scene, olga: Client, index: str
) -> None:
    url = reverse("logger_correct", args=[warm.series.pk])
    assert olga.get(f"{url}?index={index}").status_code == 404
    assert olga.get(url).status_code == 404


# --- putting one reading right --------------------------------------------------------------------

TYPED = {"as_read": "37.5", "reason": "the door was open", "seen": "0"}


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"reason": ""}, "reason", "Fill this in"),
        ({"as_read": ""}, "as_read", "Type the right figure, or take the reading back"),
        ({"as_read": "warm"}, "as_read", "is not a number"),
        ({"as_read": "900"}, "as_read", "no fish or oven can have this"),
        ({"as_read": "55"}, "as_read", "already stands"),
    ],
)
def test_a_correction_that_is_refused_keeps_what_was_typed(
    warm: Scene, olga: Client, change: dict[str, str], field: str, words: str
) -> None:
    answer = refused(olga, warm.correct, TYPED | change, field, words)
    assert answer.context["form"].errors[field]
    assert not SeriesCorrection.objects.exists()


def test_an_unlikely_figure_is_asked_about_and_taken_with_a_yes(warm: Scene, olga: Client) -> None:
    typed = TYPED | {"as_read": "150"}
    before = lines()
    answer = refused(olga, warm.correct, typed, "as_read", "unlikely here")
    yes = answer.context["form"]["confirmed"].field.widget.attrs["value"]
    again = olga.post(warm.correct, typed | {"as_read": "151", "confirmed": yes})
    assert again.status_code == 200  # a yes to one figure is none to another
    assert lines() == before
    taken(olga, warm.correct, typed | {"confirmed": yes})
    assert SeriesCorrection.objects.get().as_read == "150"


def test_a_correction_stands_beside_what_the_logger_wrote(warm: Scene, olga: Client) -> None:
    answer = taken(olga, warm.correct, TYPED)
    shown = html.unescape(answer.content.decode())
    assert "The correction stands beside the logger's reading" in shown
    assert "Judged anew: TR-1" in shown
    assert "stays until the records reviewer accepts it" in shown
    assert '<del class="struck">55.0 °F</del> <b>37.5 °F</b>' in shown
    assert "the door was open" in shown


def test_a_reading_is_taken_back_with_a_tick(warm: Scene, olga: Client) -> None:
    typed = {"take_back": "on", "reason": "it hung in the air", "seen": "0"}
    answer = taken(olga, warm.correct, typed)
    assert SeriesCorrection.objects.get().withdrawn
    assert "taken back" in answer.content.decode()


def test_who_did_not_see_the_newest_correction_is_told_and_keeps_what_was_typed(
    warm: Scene, olga: Client
) -> None:
    taken(olga, warm.correct, TYPED)
    typed = TYPED | {"as_read": "38"}
    refused(olga, warm.correct, typed, None, "Correct the newest figure instead")
    newest = SeriesCorrection.objects.get().pk
    assert f'name="seen" value="{newest}"' in olga.get(warm.correct).content.decode()
    taken(olga, warm.correct, typed | {"seen": str(newest)})


# --- taking the file back -------------------------------------------------------------------------


def test_a_file_is_not_taken_back_without_a_reason(warm: Scene, olga: Client) -> None:
    for reason in ("", "   "):
        before = lines()
        answer = olga.post(warm.withdraw, {"reason": reason})
        assert answer.status_code == 200
        assert answer.context["form"].errors["reason"]
        assert lines() == before
    refused(olga, warm.withdraw, {"reason": "x" * 301}, "reason", "300")


def test_a_file_taken_back_says_so_wherever_it_is_shown(warm: Scene, olga: Client) -> None:
    answer = taken(olga, warm.withdraw, {"reason": "of the other cooler"})
    shown = html.unescape(answer.content.decode())
    assert "logger.csv is taken back: its 21 readings count no longer" in shown
    assert "of the other cooler" in shown
    assert warm.withdraw not in shown  # not a second time
    assert "taken back" in page(olga, reverse("logger_upload"))
    assert "None are in the book here" in page(olga, readings(load=warm.load.pk))
    assert "was taken back" in page(olga, warm.correct)
    refused(olga, warm.correct, TYPED, None, "was taken back")
    refused(olga, warm.withdraw, {"reason": "again"}, None, "already taken back")
    assert SeriesWithdrawn.objects.count() == 1


def test_both_wait_on_the_reviewer_s_page_until_they_are_accepted(
    book: Book, warm: Scene, olga: Client
) -> None:
    taken(olga, warm.correct, TYPED)
    taken(olga, warm.withdraw, {"reason": "of the other cooler"})
    reviewer = as_person(book.reviewer)
    shown = page(reviewer, reverse("review"))
    keys = [
        f"logged-{SeriesCorrection.objects.get().pk}",
        f"file-{SeriesWithdrawn.objects.get().pk}",
    ]
    for key in keys:
        assert f'value="{key}"' in shown
    typed = {"entry": keys, "accept-reason": "agrees with the paper"}
    reviewer.post("/review/accept/", typed)
    assert all(f'value="{key}"' not in page(reviewer, reverse("review")) for key in keys)
    assert "agrees with the paper" in page(olga, warm.show)


# --- rights ---------------------------------------------------------------------------------------


def test_others_look_and_neither_put_right_nor_take_back(
    book: Book, warm: Scene, clock: Clock
) -> None:
    before = lines()
    for person in (book.inspector, book.reviewer, book.coordinator):
        browser = as_person(person)
        shown = page(browser, warm.show)
        assert warm.withdraw not in shown
        looked = page(browser, readings(file=warm.file.pk))
        assert reverse("logger_correct", args=[warm.series.pk]) not in looked
        for url, typed in ((warm.correct, TYPED), (warm.withdraw, {"reason": "x"})):
            assert browser.get(url).status_code == 403
            assert browser.post(url, typed).status_code == 403
    assert lines() == before


def test_without_a_log_in_nothing_is_shown(warm: Scene) -> None:
    for url in (warm.show, warm.correct, warm.withdraw, readings(file=warm.file.pk)):
        answer = Client().get(url)
        assert answer.status_code == 302
        assert answer["Location"].startswith("/in/")


def test_the_moment_of_the_page_is_the_moment_of_the_entry(warm: Scene, olga: Client) -> None:
    taken(olga, warm.correct, TYPED)
    assert SeriesCorrection.objects.get().entered_at == moment("08:10")


# --- the names of probes --------------------------------------------------------------------------


def send(client: Client, where: str, data: bytes) -> str:
    """Lays a file aside; the address at which it is understood."""
    file = SimpleUploadedFile("smoke.csv", data)
    answer = client.post(reverse("logger_upload"), {"where": where, "file": file})
    assert answer.status_code == 302
    return str(answer["Location"])


def offered(shown: str, column: int) -> list[str]:
    """The names that a column's probe is offered."""
    field = re.search(rf'<input[^>]*name="probe_{column}"[^>]*>', shown)
    assert field is not None
    named = re.search(r'list="([^"]+)"', field[0])
    if named is None:
        return []
    block = re.search(rf'<datalist id="{named[1]}">(.*?)</datalist>', shown, re.DOTALL)
    assert block is not None
    return re.findall(r'<option value="([^"]*)">', block[1])


SMOKED = csv("2026-03-04 07:40:00", 60, ["90"] * 5, ["91"] * 5)


@pytest.fixture
def smoke(book: Book, clock: Clock) -> Load:
    load = book.start("smoke", "Smokehouse 1", "07:20", book.open_lot("TR-9"))
    book.fish(load, "07:25 60", probes=2)
    imported(
        book, csv("2026-03-04 07:26:00", 60, ["70"] * 5), "07:35", load.place, load, {1: 'tail "A"'}
    )
    clock("08:10")
    return load


def test_each_column_is_offered_the_probes_of_the_load_read_by_hand_or_in_earlier_files(
    book: Book, smoke: Load, olga: Client
) -> None:
    other = book.start("smoke", "Smokehouse 2", "07:20", book.open_lot("TR-8"))
    book.fish(other, "07:25 60", probes=5)
    shown = page(olga, send(olga, f"load-{smoke.pk}", SMOKED)).replace('tail "A"', "tail A")
    for column in (1, 2):
        assert offered(shown, column) == ["fish 1", "fish 2", "tail A"]
    assert "Read in this load before: fish 1, fish 2, tail A." in shown


def test_a_name_with_signs_of_its_own_is_offered_as_text(smoke: Load, olga: Client) -> None:
    raw = olga.get(send(olga, f"load-{smoke.pk}", SMOKED)).content.decode()
    assert '<option value="tail &quot;A&quot;">' in raw


def test_another_name_may_still_be_typed_and_stays_when_it_is_refused(
    smoke: Load, olga: Client
) -> None:
    url = send(olga, f"load-{smoke.pk}", SMOKED)
    typed = {"store": "yes", "probe_1": "fish 1", "probe_2": "fish 1"}
    answer = olga.post(url, typed)
    assert "Give each column its own probe" in answer.content.decode()
    assert answer.content.decode().count('value="fish 1" ') >= 2
    taken(olga, url, typed | {"probe_2": "belly"})
    named = set(PackedSeries.objects.filter(load=smoke).values_list("probe", flat=True))
    assert named == {'tail "A"', "fish 1", "belly"}


def test_probes_of_a_file_taken_back_are_not_offered(smoke: Load, olga: Client) -> None:
    taken(olga, reverse("logger_withdraw", args=[LoggerImport.objects.get().pk]), {"reason": "no"})
    shown = page(olga, send(olga, f"load-{smoke.pk}", SMOKED))
    assert offered(shown, 1) == ["fish 1", "fish 2"]


def test_a_load_without_readings_and_a_place_are_offered_nothing(
    book: Book, smoke: Load, olga: Client
) -> None:
    empty = book.start("smoke", "Smokehouse 2", "07:20", book.open_lot("TR-8"))
    for where in (f"load-{empty.pk}", f"place-{smoke.place_id}"):
        shown = page(olga, send(olga, where, SMOKED))
        assert offered(shown, 1) == []
        assert "<datalist" not in shown
