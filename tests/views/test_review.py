"""The review page: what needs an eye, what is accepted, what is signed."""

import re

import pytest
from django.test import Client

from lots.entries import reading
from lots.entries.load import move_start
from lots.entries.readings import Figure
from lots.models.book import BookLine
from lots.models.deviation import DeviationNote
from lots.models.lot import Load, Lot
from lots.models.reading import Accepted, Reading
from lots.models.review import Review
from tests.entries.roads import untrained_reviewer
from tests.make import PASSWORD, Book, moment, seen
from tests.views.test_logger_upload import come, errors


@pytest.fixture(autouse=True)
def afternoon(monkeypatch: pytest.MonkeyPatch) -> None:
    at(monkeypatch, "14:00")


def at(monkeypatch: pytest.MonkeyPatch, when: str) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: moment(when))


def late_smoke(book: Book) -> tuple[Lot, Load]:
    """A lot in the smoke whose reading of 12:00 came in at 12:40."""
    lot = book.open_lot()
    load = book.start("smoke", "Smokehouse 1", "10:00", lot)
    book.fish(load, "10:10 90")
    figures = [Figure("120", "F", f"fish {n}") for n in (1, 2, 3)]
    when = seen("12:00", "12:40", "the tablet was wet")
    reading.enter_readings(book.operator, load.place, load, figures, when)
    book.fish(load, "13:30 148")
    return lot, load


def keys(page: str, name: str) -> list[str]:
    return re.findall(rf'name="{name}" value="([^"]+)"', page)


def sign(client: Client, lots: list[str], password: str = PASSWORD) -> str:
    typed = {"lot": lots, "sign-note": "looked at the chart", "sign-password": password}
    return client.post("/review/sign/", typed, follow=True).content.decode()


def test_a_book_without_open_records_needs_no_eye(book: Book, client: Client) -> None:
    page = come(client, book.reviewer).get("/review/").content.decode()
    assert "Nothing needs an eye" in page


def test_everything_that_stands_out_is_on_the_page_worst_first(book: Book, client: Client) -> None:
    _, load = late_smoke(book)
    wrong = Reading.objects.filter(load=load).order_by("id")[0]
    reading.correct_reading(book.operator, wrong, Figure("91", "F"), "typed 90", seen("13:31"))
    move_start(book.operator, load, seen("09:58", "13:32"), "probed first")
    cool = book.start("hold", "Cooler", "13:00", book.open_lot("TR-2"))
    book.at_place("Cooler", "13:05 39")
    book.at_place("Cooler", "13:10 41")
    other = book.start("hold", "Brine room", "13:00", book.open_lot("TR-3"))
    book.at_place("Brine room", "13:05 39")
    assert cool.pk != other.pk
    page = come(client, book.reviewer).get("/review/").content.decode()
    order = [
        page.index(f"<h2>{words}</h2>")
        for words in (
            "Deviations",
            "Missed readings",
            "Operating limits exceeded",
            "Late and corrected entries",
            "Starts that were moved",
            "Lot by lot",
        )
    ]
    assert order == sorted(order)
    assert "highest 41.0 °F" in page
    assert "operating limit: 1 of 1 readings outside" in page
    assert "typed 90" in page
    assert "the tablet was wet" in page
    assert "probed first" in page


def test_a_limit_not_shown_at_an_ended_step_is_on_the_page(book: Book, client: Client) -> None:
    lot = book.open_lot()
    load = book.start("brine", "Brine tank 1", "07:30", lot)
    book.at_place("Brine tank 1", "07:30 38")
    book.end(load, "11:00")  # the logger's file may still follow
    page = come(client, book.reviewer).get("/review/").content.decode()
    assert "Not yet shown, though the step is over" in page
    assert "waits for the logger" in page


def test_late_entries_are_accepted_with_a_reason(book: Book, client: Client) -> None:
    late_smoke(book)
    come(client, book.reviewer)
    entries = keys(client.get("/review/").content.decode(), "entry")
    assert len(entries) == 3
    before = BookLine.objects.count()
    page = client.post("/review/accept/", {"entry": entries, "accept-reason": ""}).content.decode()
    assert "Say why" in errors(page)
    assert page.count("checked") == 3
    page = client.post("/review/accept/", {"accept-reason": "agrees"}).content.decode()
    assert "Tick at least one" in errors(page)
    assert 'value="agrees"' in page
    assert BookLine.objects.count() == before
    typed = {"entry": entries, "accept-reason": "agrees with the chart"}
    client.post("/review/accept/", typed)
    assert Accepted.objects.count() == 3
    assert DeviationNote.objects.get().kind == "not reproduced"
    assert not keys(client.get("/review/").content.decode(), "entry")


def test_ticked_lots_are_signed_up_to_the_line_that_was_shown(book: Book, client: Client) -> None:
    one, two = book.open_lot("TR-1"), book.open_lot("TR-2")
    come(client, book.reviewer)
    page = client.get("/review/").content.decode()
    lots = keys(page, "lot")
    assert len(lots) == 2
    assert "8 h 0 min" not in page
    page = sign(client, [key for key in lots if key.startswith(f"{one.pk}-")])
    assert "Reviewed and signed: TR-1" in page
    review = Review.objects.get()
    assert (review.lot, f"{one.pk}-{review.up_to_id}") == (one, lots[0])
    assert review.note == "looked at the chart"
    assert [key.split("-")[0] for key in keys(page, "lot")] == [str(two.pk)]


@pytest.mark.parametrize(
    ("password", "words"), [("wrong-password", "not your password"), ("", "Your password again")]
)
def test_a_wrong_password_signs_nothing_and_keeps_ticks_and_note(
    book: Book, client: Client, password: str, words: str
) -> None:
    book.open_lot()
    come(client, book.reviewer)
    lots = keys(client.get("/review/").content.decode(), "lot")
    before = BookLine.objects.count()
    page = sign(client, lots, password)
    assert words in errors(page)
    assert "looked at the chart" in page
    assert re.search(rf'value="{lots[0]}" id="[^"]+" checked', page)
    assert PASSWORD not in page
    assert BookLine.objects.count() == before


def test_without_a_tick_nothing_is_signed(book: Book, client: Client) -> None:
    book.open_lot()
    page = sign(come(client, book.reviewer), [])
    assert "Tick at least one lot" in errors(page)
    assert not Review.objects.exists()


def test_what_was_entered_since_the_page_was_shown_bars_the_signing(
    book: Book, client: Client
) -> None:
    lot = book.open_lot()
    come(client, book.reviewer)
    lots = keys(client.get("/review/").content.decode(), "lot")
    book.start("hold", "Cooler", "13:50", lot)
    page = sign(client, lots)
    assert "since this page was shown" in errors(page)
    assert not Review.objects.exists()
    assert keys(page, "lot") != lots


def test_the_week_runs_from_when_each_record_was_made(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = book.open_lot("TR-1")
    book.start("hold", "Cooler", "11:00", lot)  # a later record does not put the week off
    come(client, book.inspector)
    at(monkeypatch, "2026-03-09 06:59")
    page = client.get("/review/").content.decode()
    assert "due-now" not in page
    at(monkeypatch, "2026-03-10 07:00")  # clocks went forward on 8 March
    page = client.get("/review/").content.decode()
    assert "due-now" in page
    assert "11 Mar 2026 08:00 −04:00" in page
    at(monkeypatch, "2026-03-11 09:00")
    page = client.get("/review/").content.decode()
    assert "Too late" in page
    assert "the week for reviewing its records (21 CFR 123.8(a)(3)) ended" in page


def test_lots_are_sorted_by_the_nearness_of_their_week(book: Book, client: Client) -> None:
    late = book.open_lot("TR-LATE", at="12:00")
    soon = book.open_lot("TR-SOON", at="08:00")
    page = come(client, book.reviewer).get("/review/").content.decode()
    assert [key.split("-")[0] for key in keys(page, "lot")] == [str(soon.pk), str(late.pk)]


def test_a_reviewer_who_also_logged_is_told_so(book: Book, client: Client) -> None:
    from lots.entries import people

    people.give_right(book.keeper, book.reviewer, people.Grant("operator"), moment("06:00"))
    page = come(client, book.reviewer).get("/review/").content.decode()
    assert "also logged" not in page
    operator, book.operator = book.operator, book.reviewer
    lot = book.open_lot()
    book.operator = operator
    page = client.get("/review/").content.decode()
    assert "You also logged some of these records yourself" in page
    sign(client, keys(page, "lot"))
    assert Review.objects.get(lot=lot).also_logged


def test_a_reviewer_without_training_is_told_and_signs_nothing(book: Book, client: Client) -> None:
    untrained_reviewer(book, book.operator)
    book.open_lot()
    come(client, book.operator)
    page = client.get("/review/").content.decode()
    assert "holds no training of yours" in page
    assert "123.10" in errors(sign(client, keys(page, "lot")))
    assert not Review.objects.exists()


def test_others_read_and_do_not_sign(book: Book, client: Client) -> None:
    late_smoke(book)
    for person in (book.inspector, book.operator, book.coordinator, book.keeper):
        come(client, person)
        page = client.get("/review/")
        assert page.status_code == 200
        assert not keys(page.content.decode(), "lot")
        assert not keys(page.content.decode(), "entry")
        assert client.post("/review/sign/", {}).status_code == 403
        assert client.post("/review/accept/", {}).status_code == 403
