"""A logger's file through its pages: sent, understood, changed, stored once."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.lot import Load
from lots.models.people import Person
from lots.models.reading import LoggerImport, PackedSeries
from lots.models.scratch import StagedFile
from tests.entries.roads import csv
from tests.make import Book, moment


@pytest.fixture(autouse=True)
def noon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: moment("12:00"))


def come(client: Client, person: Person) -> Client:
    client.force_login(person.login, backend="lots.views.backend.PersonBackend")
    return client


def send(client: Client, where: str, data: bytes, name: str = "cooler.csv") -> StagedFile:
    answer = client.post("/logger/", {"where": where, "file": SimpleUploadedFile(name, data)})
    assert answer.status_code == 302, errors(answer.content.decode())
    return StagedFile.objects.order_by("-id")[0]


def errors(page: str) -> str:
    """What the page refuses, as plain text."""
    boxes = re.findall(r'<div class="box box-refusal".*?</div>\s*</div>', page, re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", box) for box in boxes)


@pytest.fixture
def cooler(book: Book) -> str:
    return f"place-{book.place('Cooler').pk}"


def in_smoke(book: Book) -> Load:
    return book.start("smoke", "Smokehouse 1", "08:00", book.open_lot())


AMBIGUOUS = b"Date,Temp (F)\n" + b"".join(b"03/04/2026 0%d:00,36.%d\n" % (n, n) for n in range(5))


def test_a_file_is_shown_as_understood_and_then_stored_once(
    book: Book, client: Client, cooler: str
) -> None:
    come(client, book.operator)
    data = csv("2026-03-04 08:00:00", 60, ["36.1", "36.2", "36.3"])
    staged = send(client, cooler, data)
    page = client.get(f"/logger/{staged.pk}/").content.decode()
    assert "4 Mar 2026 08:02 −05:00" in page
    assert "36.3 °F" in page
    assert "Store these readings" in page
    assert not PackedSeries.objects.exists()
    answer = client.post(f"/logger/{staged.pk}/", {"store": "yes"}, follow=True)
    assert "3 readings are in the book" in answer.content.decode()
    assert PackedSeries.objects.get().count == 3
    lines = BookLine.objects.count()
    again = send(client, cooler, data)
    answer = client.post(f"/logger/{again.pk}/", {"store": "yes"}, follow=True)
    assert "Nothing new was added: all 3 readings" in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_dates_of_two_ways_are_asked_about_and_the_answer_is_kept(
    book: Book, client: Client, cooler: str
) -> None:
    come(client, book.operator)
    staged = send(client, cooler, AMBIGUOUS)
    url = f"/logger/{staged.pk}/"
    page = client.get(url).content.decode()
    assert "3 Apr 2026 (day first) or 4 Mar 2026 (month first)" in errors(page)
    assert "Store these readings" not in page
    assert client.post(url, {"again": "yes", "date_order": "month first"}).status_code == 302
    page = client.get(url).content.decode()
    assert "4 Mar 2026 04:00" in page
    assert re.search(r'value="month first" selected', page)
    client.post(url, {"store": "yes", "date_order": "month first"})
    assert PackedSeries.objects.get().first_at == moment("00:00")


def test_storing_what_cannot_be_read_writes_nothing_and_says_why(
    book: Book, client: Client, cooler: str
) -> None:
    come(client, book.operator)
    staged = send(client, cooler, AMBIGUOUS)
    before = BookLine.objects.count()
    answer = client.post(f"/logger/{staged.pk}/", {"store": "yes", "zone": "−05:00"})
    page = answer.content.decode()
    assert "more than one way" in errors(page)
    assert 'value="−05:00"' in page  # what was typed stays
    assert BookLine.objects.count() == before


def test_unit_zone_and_columns_can_be_changed(book: Book, client: Client, cooler: str) -> None:
    come(client, book.operator)
    data = b"Time,A,B\n2026-03-04 08:00,2.5,99\n2026-03-04 08:01,2.6,99\n"
    staged = send(client, cooler, data)
    url = f"/logger/{staged.pk}/"
    typed = {"unit_1": "C", "take_2": "no", "take_1": "yes", "zone": "UTC"}
    client.post(url, {"again": "yes", **typed})
    page = client.get(url).content.decode()
    assert "2.5 °C" in page
    assert "4 Mar 2026 03:00 −05:00" in page
    client.post(url, {"store": "yes", **typed})
    row = PackedSeries.objects.get()
    assert (row.unit, row.count, row.first_at) == ("C", 2, moment("03:00"))


def test_a_zone_that_is_none_is_refused_in_words(book: Book, client: Client, cooler: str) -> None:
    come(client, book.operator)
    staged = send(client, cooler, csv("2026-03-04 08:00:00", 60, ["36.1"]))
    client.post(f"/logger/{staged.pk}/", {"again": "yes", "zone": "Atlantis"})
    page = client.get(f"/logger/{staged.pk}/").content.decode()
    assert "is no time zone" in errors(page)
    assert 'value="Atlantis"' in page


def test_two_columns_under_one_probe_are_refused_beside_the_first(
    book: Book, client: Client
) -> None:
    come(client, book.operator)
    load = in_smoke(book)
    data = csv("2026-03-04 08:00:00", 60, ["90"] * 3, ["91"] * 3)
    staged = send(client, f"load-{load.pk}", data)
    before = BookLine.objects.count()
    typed = {"store": "yes", "probe_1": "tail", "probe_2": "tail"}
    page = client.post(f"/logger/{staged.pk}/", typed).content.decode()
    assert "Give each column its own probe" in errors(page)
    assert page.count('value="tail"') == 2
    assert BookLine.objects.count() == before
    client.post(f"/logger/{staged.pk}/", typed | {"probe_2": "head"})
    assert set(PackedSeries.objects.values_list("probe", "load_id")) == {
        ("tail", load.pk),
        ("head", load.pk),
    }


def test_a_file_that_breaks_a_limit_says_on_which_lots(
    book: Book, client: Client, cooler: str
) -> None:
    book.start("hold", "Cooler", "08:00", book.open_lot("TR-1"), book.open_lot("TR-2"))
    come(client, book.operator)
    staged = send(client, cooler, csv("2026-03-04 08:00:00", 60, ["36.1", "41.5"]))
    answer = client.post(f"/logger/{staged.pk}/", {"store": "yes"}, follow=True)
    assert "A limit is broken on: TR-1, TR-2" in answer.content.decode()
    assert Deviation.objects.count() == 2


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"%PDF-1.7 not a table", "PDF"),
        (b"just a line of words\n", ""),
        (b"Date,Door\n2026-03-04 08:00,open\n2026-03-04 08:01,shut\n", "temperature"),
        (b"Date,Temp (F)\n2026-03-04 08:00,36.1\n2026-03-05 08:00,36.1\n", "still to come"),
        (
            b"Date,Temp (F)\n2026-03-04 08:00,36.1\n2026-03-04 08:01,900.5\n",
            "no temperature of fish",
        ),
    ],
)
def test_a_file_that_cannot_go_in_says_what_to_do(
    book: Book, client: Client, cooler: str, data: bytes, words: str
) -> None:
    come(client, book.operator)
    staged = send(client, cooler, data)
    page = client.get(f"/logger/{staged.pk}/")
    assert page.status_code == 200
    said = errors(page.content.decode())
    assert said.strip()
    assert words in said
    before = BookLine.objects.count()
    again = client.post(f"/logger/{staged.pk}/", {"store": "yes"})
    assert errors(again.content.decode()).strip()
    assert BookLine.objects.count() == before


def test_an_empty_file_and_no_file_are_refused_beside_the_field(
    book: Book, client: Client, cooler: str
) -> None:
    come(client, book.operator)
    empty = client.post("/logger/", {"where": cooler, "file": SimpleUploadedFile("x.csv", b"")})
    assert "This file is empty" in errors(empty.content.decode())
    assert f'value="{cooler}" selected' in empty.content.decode()
    none = client.post("/logger/", {"where": ""})
    assert "Choose the file" in errors(none.content.decode())
    assert "Choose the place" in errors(none.content.decode())
    assert not StagedFile.objects.exists()


def test_a_dropped_file_is_gone_and_nothing_is_written(
    book: Book, client: Client, cooler: str
) -> None:
    come(client, book.operator)
    staged = send(client, cooler, csv("2026-03-04 08:00:00", 60, ["36.1"]))
    before = BookLine.objects.count()
    answer = client.post(f"/logger/{staged.pk}/drop/", follow=True)
    assert "nothing of it is in the book" in answer.content.decode()
    assert not StagedFile.objects.exists()
    assert client.get(f"/logger/{staged.pk}/").status_code == 404
    assert BookLine.objects.count() == before


def test_only_an_operator_sends_files_and_others_read_the_list(
    book: Book, client: Client, cooler: str
) -> None:
    for person in (book.inspector, book.reviewer, book.coordinator):
        come(client, person)
        page = client.get("/logger/")
        assert page.status_code == 200
        assert "Send a file" not in page.content.decode()
        data = SimpleUploadedFile("x.csv", b"a,b\n1,2\n")
        assert client.post("/logger/", {"where": cooler, "file": data}).status_code == 403
    assert not StagedFile.objects.exists()


def test_the_import_says_how_the_file_was_understood(
    book: Book, client: Client, cooler: str
) -> None:
    come(client, book.operator)
    staged = send(client, cooler, csv("2026-03-04 08:00:00", 60, ["36.1"]))
    instrument = str(book.thermometer.pk)
    client.post(f"/logger/{staged.pk}/", {"store": "yes", "instrument": instrument})
    row = LoggerImport.objects.get()
    assert row.instrument == book.thermometer
    assert '"zone":"America/New_York"' in row.understood
    assert row.file.name == "cooler.csv"


def test_readings_unlikely_for_the_place_are_asked_about_before_anything_is_written(
    book: Book, client: Client
) -> None:
    come(client, book.operator)
    hot = csv("2026-03-04 08:00:00", 60, ["91.0", "120.0", "150.2"])
    staged = send(client, f"place-{book.place('Freezer').pk}", hot)
    lines = BookLine.objects.count()
    page = client.post(f"/logger/{staged.pk}/", {"store": "yes"}).content.decode()
    assert "reads 91.0 °F to 150.2 °F: unlikely for Freezer" in page
    assert "It is the right place, and they do read so" in page
    assert BookLine.objects.count() == lines
    yes = {"store": "yes", "confirmed": "on"}
    client.post(f"/logger/{staged.pk}/", yes)
    assert PackedSeries.objects.get().place == book.place("Freezer")


def test_a_file_laid_to_the_wrong_place_is_laid_to_the_right_one_and_looked_at_again(
    book: Book, client: Client
) -> None:
    load = in_smoke(book)
    come(client, book.operator)
    hot = csv("2026-03-04 08:00:00", 60, ["91.0", "120.0", "150.2"])
    staged = send(client, f"place-{book.place('Freezer').pk}", hot)
    moved = {"store": "yes", "where": f"load-{load.pk}"}
    answer = client.post(f"/logger/{staged.pk}/", moved, follow=True)
    assert "It is now for Smokehouse 1. Look at it again" in answer.content.decode()
    assert not PackedSeries.objects.exists()
    client.post(f"/logger/{staged.pk}/", {"store": "yes", "probe_1": "probe 1"})
    assert PackedSeries.objects.get().load == load
