"""Instruments: registered, checked for accuracy, retired."""

from fractions import Fraction

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.core.units import to_ninths
from lots.entries import house
from lots.models.book import BookLine
from lots.models.house import AccuracyCheck, Instrument, InstrumentRetired
from lots.queries.accuracy_checks import boiling_point
from tests.make import Book, moment

NOW = moment("2026-03-04 14:00")
ICE = {"method": "ice point", "as_read": "32.4", "unit": "F", "expected": "", "note": "",
       "altitude": "",
       "observed_at": "", "late_reason": ""}  # fmt: skip


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW)


def as_(client: Client, person: object) -> Client:
    client.force_login(person.login, backend="lots.views.backend.PersonBackend")
    return client


def errors(answer: HttpResponse, form: str, field: str | None = None) -> str:
    shown = answer.context[form]
    return " ".join(shown.non_field_errors() if field is None else shown.errors.get(field, []))


def check(client: Client, book: Book, **typed: str) -> HttpResponse:
    return client.post(reverse("instrument_show", args=[book.thermometer.pk]), ICE | typed)


def test_an_instrument_is_registered(book: Book, client: Client) -> None:
    typed = {"name": "Salometer 1", "kind": "salometer", "reference": "60 °F", "serial": "S-4"}
    assert as_(client, book.reviewer).post(reverse("instruments"), typed).status_code == 302
    made = Instrument.objects.get(name="Salometer 1")
    assert (made.reference, made.serial, made.place) == ("60 °F", "S-4", None)
    assert "Salometer 1" in client.get(reverse("instruments")).content.decode()


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"name": "", "kind": "scale"}, "name", "Fill this in."),
        ({"name": "Thermometer 1", "kind": "thermometer"}, "name", "already an instrument"),
        ({"name": "Thermometer 2", "kind": ""}, "kind", "Choose one."),
        ({"name": "Thermometer 2", "kind": "gun"}, "kind", "cannot be chosen"),
        ({"name": "Thermometer 2", "kind": "scale", "place": "9999"}, "place", "cannot be chosen"),
    ],
)
def test_an_instrument_refused_says_why_keeps_what_was_typed_and_writes_nothing(
    typed: dict[str, str], field: str, words: str, book: Book, client: Client
) -> None:
    lines = BookLine.objects.count()
    answer = as_(client, book.keeper).post(reverse("instruments"), typed | {"serial": "S-77"})
    assert words in errors(answer, "form", field)
    assert 'value="S-77"' in answer.content.decode()
    assert BookLine.objects.count() == lines


@pytest.mark.parametrize(
    ("as_read", "unit", "within"),
    [("34", "F", True), ("34.1", "F", False), ("30", "F", True), ("29.9", "F", False),
     ("1", "C", True), ("1.1", "C", False), ("-1,0", "C", True), ("-1.1", "C", False)],
)  # fmt: skip
def test_in_ice_a_thermometer_may_be_off_by_two_fahrenheit_or_one_celsius(
    as_read: str, unit: str, within: bool, book: Book, client: Client
) -> None:
    """Food Code 4-203.11: accurate within 2 °F, or 1 °C where it shows °C; on the limit meets it."""
    assert check(as_(client, book.operator), book, as_read=as_read, unit=unit).status_code == 302
    row = AccuracyCheck.objects.get()
    assert row.within is within
    assert row.expected == {"F": "32", "C": "0"}[unit]
    assert row.observed_at == NOW


def test_a_thermometer_that_is_off_is_said_to_be_off_in_words(book: Book, client: Client) -> None:
    check(as_(client, book.operator), book, as_read="35.0")
    page = client.get(reverse("instrument_show", args=[book.thermometer.pk])).content.decode()
    assert "Take another thermometer" in page
    assert "Off by more than 2 °F" in page
    assert "Off by more than 2 °F" in client.get(reverse("instruments")).content.decode()


def test_the_list_shows_the_latest_check_by_when_it_was_made(book: Book, client: Client) -> None:
    as_(client, book.operator)
    check(client, book, as_read="33.0", observed_at="13:50")
    check(client, book, as_read="31.5", observed_at="11:00", late_reason="no hand free")
    page = client.get(reverse("instruments")).content.decode()
    assert "read 33.0 °F" in page
    assert "read 31.5 °F" not in page


def test_a_check_older_than_a_day_is_due_again(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_(client, book.operator)
    assert "Never checked" in client.get(reverse("instruments")).content.decode()
    check(client, book)
    for hours, due in ((24, False), (25, True)):
        later = NOW + hours * 3_600_000
        monkeypatch.setattr("lots.views.middleware.now_ms", lambda later=later: later)
        page = client.get(reverse("instruments")).content.decode()
        assert ("Overdue by" in page) is due
        assert "no period set" in page


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"method": ""}, "method", "Choose one."),
        ({"as_read": ""}, "as_read", "Fill this in."),
        ({"as_read": "cold"}, "as_read", "cold"),
        ({"as_read": "3200"}, "as_read", "not possible"),
        ({"expected": "33"}, "expected", "Ice and water stand at 32 °F"),
        ({"expected": "0"}, "expected", "Ice and water stand at 32 °F"),
        ({"expected": "icy"}, "expected", "icy"),
        ({"method": "boiling point", "expected": "211"}, "altitude", "altitude"),
        ({"method": "boiling point", "altitude": "4500"}, "altitude", "4,500 ft or 1400 m"),
        ({"method": "boiling point", "altitude": "90000 ft"}, "altitude", "Nobody smokes"),
        (
            {"method": "boiling point", "altitude": "5,000 ft", "expected": "211"},
            "expected",
            "about 203.0 °F",
        ),
        ({"method": "reference", "expected": "36.2"}, "note", "Name the reference"),
        ({"method": "reference", "note": "R-1"}, "expected", "should have read"),
        ({"observed_at": "15:00"}, "observed_at", "still to come"),
        ({"observed_at": "soon"}, "observed_at", "not a time"),
        ({"observed_at": "11:00"}, "late_reason", "Say why it comes late"),
    ],
)
def test_a_check_refused_says_why_keeps_what_was_typed_and_writes_nothing(
    change: dict[str, str], field: str, words: str, book: Book, client: Client
) -> None:
    lines = BookLine.objects.count()
    answer = check(as_(client, book.operator), book, **change)
    assert answer.status_code == 200
    assert words in errors(answer, "check", field)
    for name, typed in (ICE | change).items():
        if typed and name not in ("method", "unit"):
            assert f'value="{typed}"' in answer.content.decode()
    assert BookLine.objects.count() == lines


@pytest.mark.parametrize("expected", ["32", "32.0", "32,00"])
def test_the_ice_point_may_be_typed_out(expected: str, book: Book, client: Client) -> None:
    assert check(as_(client, book.operator), book, expected=expected).status_code == 302


@pytest.mark.parametrize(
    ("altitude", "unit", "as_read", "expected", "within"),
    [
        ("5,000 ft", "F", "201", "203.0", True),
        ("5000 feet", "F", "200.9", "203.0", False),
        ("1524 m", "F", "205", "203.0", True),
        ("1 524 m", "C", "96", "95.0", True),
        ("0 ft", "F", "212", "212.0", True),
    ],
)
def test_boiling_water_is_held_against_what_holds_at_the_altitude(
    altitude: str, unit: str, as_read: str, expected: str, within: bool, book: Book, client: Client
) -> None:
    typed = {"method": "boiling point", "as_read": as_read, "unit": unit, "altitude": altitude}
    assert check(as_(client, book.operator), book, **typed).status_code == 302
    row = AccuracyCheck.objects.get()
    assert (row.within, row.expected, row.note) == (within, expected, altitude)


def test_the_boiling_point_of_the_day_may_be_typed(book: Book, client: Client) -> None:
    typed = {"method": "boiling point", "as_read": "202", "altitude": "4,500 ft", "expected": "203"}
    check(as_(client, book.operator), book, note="barometer of the day", **typed)
    row = AccuracyCheck.objects.get()
    assert (row.expected, row.note) == ("203", "4,500 ft; barometer of the day")


@pytest.mark.parametrize(
    ("feet", "published"), [(1000, "210.2"), (2000, "208.4"), (5000, "203.0"), (8000, "197.6")]
)
def test_the_rule_agrees_with_the_published_tables(feet: int, published: str) -> None:
    """Boiling points by altitude as health departments print them, in °F; taken from memory."""
    off = boiling_point(Fraction(feet)) - to_ninths(published, "F")
    assert abs(off) <= to_ninths("32.6", "F") - to_ninths("32", "F")


PERIOD = {"every": "7 days", "period_reason": "as its maker asks"}


def test_a_period_set_governs_when_the_next_check_is_due(
    book: Book, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = reverse("instrument_period", args=[book.thermometer.pk])
    check(as_(client, book.reviewer), book)
    assert client.post(address, PERIOD).status_code == 302
    page = client.get(reverse("instruments")).content.decode()
    assert "every 7 days" in page
    assert "11 Mar 2026 15:00 −04:00" in page  # seven days, over the change of the clock
    later = NOW + 7 * 24 * 3_600_000 + 60_000
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: later)
    assert "Overdue by 1 min" in client.get(reverse("instruments")).content.decode()
    client.post(address, PERIOD | {"every": "30 days"})
    page = client.get(reverse("instrument_show", args=[book.thermometer.pk])).content.decode()
    assert "every 30 days" in page
    assert "Overdue" not in page


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"every": ""}, "every", "Fill this in"),
        ({"every": "often"}, "every", "not a length of time"),
        ({"every": "1 min"}, "every", "from 1 h"),
        ({"every": "900 days"}, "every", "730 days"),
        ({"period_reason": ""}, "period_reason", "Say why"),
    ],
)
def test_a_period_refused_says_why_and_keeps_what_was_typed(
    change: dict[str, str], field: str, words: str, book: Book, client: Client
) -> None:
    lines = BookLine.objects.count()
    address = reverse("instrument_period", args=[book.thermometer.pk])
    answer = as_(client, book.keeper).post(address, PERIOD | change)
    assert words in errors(answer, "period", field)
    for typed in (PERIOD | change).values():
        assert f'value="{typed}"' in answer.content.decode() or not typed
    assert BookLine.objects.count() == lines


def test_overdue_instruments_stand_first(book: Book, client: Client) -> None:
    for name in ("A scale of ours", "Probe that is never checked"):
        kind = "scale" if "scale" in name else "thermometer"
        house.register_instrument(book.keeper, house.NewInstrument(name, kind), NOW - 1000)
    check(as_(client, book.operator), book)
    page = client.get(reverse("instruments")).content.decode()
    names = ["Probe that is never checked", "Thermometer 1", "A scale of ours"]
    places = [page.index(f">{name}</a>") for name in names]
    assert places == sorted(places)
    assert "1 needs a check" in page


def test_an_instrument_is_retired_with_its_reason_and_checked_no_more(
    book: Book, client: Client
) -> None:
    address = reverse("instrument_retire", args=[book.thermometer.pk])
    assert as_(client, book.coordinator).post(address, {"reason": "cracked"}).status_code == 302
    assert InstrumentRetired.objects.get().reason == "cracked"
    page = client.get(reverse("instrument_show", args=[book.thermometer.pk])).content.decode()
    assert "cracked" in page
    assert "Store the check" not in page
    lines = BookLine.objects.count()
    answer = check(as_(client, book.operator), book)
    assert "is retired" in errors(answer, "check")
    assert "Thermometer 1 is retired." in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_retiring_is_refused_without_a_reason_and_a_second_time(book: Book, client: Client) -> None:
    address = reverse("instrument_retire", args=[book.thermometer.pk])
    as_(client, book.coordinator)
    assert "Say why" in errors(client.post(address, {"reason": ""}), "retire", "reason")
    assert not InstrumentRetired.objects.exists()
    client.post(address, {"reason": "cracked"})
    assert "already retired" in errors(client.post(address, {"reason": "cracked"}), "retire")
    assert InstrumentRetired.objects.count() == 1


def test_this_version_says_that_it_keeps_no_checks_of_a_salometer(
    book: Book, client: Client
) -> None:
    one = house.register_instrument(book.keeper, house.NewInstrument("S1", "salometer"), NOW)
    page = (
        as_(client, book.operator).get(reverse("instrument_show", args=[one.pk])).content.decode()
    )
    assert "thermometers and data loggers only" in page
    assert "Store the check" not in page
    lines = BookLine.objects.count()
    answer = client.post(reverse("instrument_show", args=[one.pk]), ICE)
    assert "data loggers only" in errors(answer, "check")
    assert BookLine.objects.count() == lines
