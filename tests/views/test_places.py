"""Places: opened, looked at, closed."""

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.entries import house
from lots.models.book import BookLine
from lots.models.house import Place, PlaceClosed
from tests.make import Book, moment

NOW = moment("2026-03-04 14:00")


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: NOW)


@pytest.fixture
def coordinator(book: Book, client: Client) -> Client:
    client.force_login(book.coordinator.login, backend="lots.views.backend.PersonBackend")
    return client


def errors(answer: HttpResponse, field: str | None = None) -> str:
    form = answer.context["form"]
    return " ".join(form.non_field_errors() if field is None else form.errors.get(field, []))


def test_a_place_is_opened_inside_another(book: Book, coordinator: Client) -> None:
    room = book.place("Brine room")
    typed = {"name": "Brine tank 2", "kind": "brine tank", "within": room.pk}
    assert coordinator.post(reverse("places"), typed)["Location"] == reverse("places")
    assert Place.objects.get(name="Brine tank 2").within == room
    assert "Brine tank 2 is open." in coordinator.get(reverse("places")).content.decode()


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"name": " "}, "name", "Fill this in."),
        ({"name": "Cooler"}, "name", "already a place"),
        ({"kind": ""}, "kind", "Choose one."),
        ({"kind": "cellar"}, "kind", "cannot be chosen"),
        ({"within": "99999"}, "within", "cannot be chosen"),
        ({"name": "x" * 81}, "name", "at most 80"),
    ],
)
def test_a_place_refused_says_why_keeps_what_was_typed_and_writes_nothing(
    change: dict[str, str], field: str, words: str, coordinator: Client
) -> None:
    lines = BookLine.objects.count()
    typed = {"name": "Cold cellar", "kind": "room", "within": ""} | change
    answer = coordinator.post(reverse("places"), typed)
    assert words in errors(answer, field)
    assert typed["name"].strip() in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_a_closed_place_holds_no_new_place(book: Book, coordinator: Client) -> None:
    house.close_place(book.keeper, book.place("Dry room"), "torn down", NOW)
    typed = {"name": "Rack 1", "kind": "room", "within": book.place("Dry room").pk}
    assert errors(coordinator.post(reverse("places"), typed), "within")
    assert not Place.objects.filter(name="Rack 1").exists()


def test_a_place_shows_what_it_holds_now(book: Book, coordinator: Client) -> None:
    load = book.start("brine", "Brine tank 1", "08:00", book.open_lot())
    page = coordinator.get(reverse("place_show", args=[load.place_id])).content.decode()
    assert "TR-1 (20 kg)" in page
    assert reverse("load_show", args=[load.pk]) in page
    assert "1 load" in coordinator.get(reverse("places")).content.decode()


def test_only_who_may_open_places_sees_the_form_for_it(book: Book, client: Client) -> None:
    client.force_login(book.operator.login, backend="lots.views.backend.PersonBackend")
    assert "Open this place" not in client.get(reverse("places")).content.decode()
    page = client.get(reverse("place_show", args=[book.place("Cooler").pk])).content.decode()
    assert "Close Cooler" not in page
    assert "Log a reading" in page


def test_a_place_is_closed_with_its_reason(book: Book, coordinator: Client) -> None:
    cooler = book.place("Cooler")
    answer = coordinator.post(reverse("place_close", args=[cooler.pk]), {"reason": "sold"})
    assert answer["Location"] == reverse("places")
    assert PlaceClosed.objects.get(place=cooler).reason == "sold"
    page = coordinator.get(reverse("place_show", args=[cooler.pk])).content.decode()
    assert "sold" in page
    assert "Close Cooler" not in page


def test_closing_without_a_reason_is_refused(book: Book, coordinator: Client) -> None:
    address = reverse("place_close", args=[book.place("Cooler").pk])
    assert "Say why" in errors(coordinator.post(address, {"reason": " "}), "reason")
    assert not PlaceClosed.objects.exists()


def test_a_place_that_holds_a_load_is_not_closed(book: Book, coordinator: Client) -> None:
    load = book.start("brine", "Brine tank 1", "08:00", book.open_lot())
    lines = BookLine.objects.count()
    answer = coordinator.post(reverse("place_close", args=[load.place_id]), {"reason": "leaks"})
    assert "still holds a load" in errors(answer)
    assert "leaks" in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_a_room_with_a_tank_in_it_is_not_closed(book: Book, coordinator: Client) -> None:
    address = reverse("place_close", args=[book.place("Brine room").pk])
    assert "other places in it" in errors(coordinator.post(address, {"reason": "sold"}))
    assert not PlaceClosed.objects.exists()


def test_a_closed_place_is_not_closed_again(book: Book, coordinator: Client) -> None:
    address = reverse("place_close", args=[book.place("Cooler").pk])
    coordinator.post(address, {"reason": "sold"})
    lines = BookLine.objects.count()
    answer = coordinator.post(address, {"reason": "sold"})
    assert "already closed" in errors(answer)
    assert "already closed" in answer.content.decode()
    assert BookLine.objects.count() == lines


def test_a_place_that_does_not_exist_is_not_found(coordinator: Client) -> None:
    assert coordinator.get(reverse("place_show", args=[99999])).status_code == 404
