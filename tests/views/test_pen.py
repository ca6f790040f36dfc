"""The pen: it closes by itself, what is in sight stays, nothing typed is lost."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from lots.entries.pins import set_pin
from lots.models.lot import Load
from lots.models.reading import Reading
from lots.queries.house import rules
from tests.make import PASSWORD, Book, moment
from tests.views.pages import as_person, lines

pytestmark = pytest.mark.pens_close
Clock = Callable[[str], int]
PIN = "4071"


@pytest.fixture
def smoke(book: Book) -> Load:
    return book.start("smoke", "Smokehouse 1", "07:00", book.open_lot("TR-1", at="06:30"))


@pytest.fixture
def tablet(book: Book, clock: Clock) -> Client:
    """Olga's browser at eight, her pen just opened."""
    clock("08:00")
    client = Client()
    client.post(reverse("log_in"), {"username": "olga", "password": PASSWORD})
    assert client.get(reverse("lots")).status_code == 200
    return client


def closed(client: Client) -> bool:
    answer = client.get(reverse("lots"))
    return answer.status_code == 302 and answer.url.startswith(reverse("pen_open"))


def test_it_closes_when_nobody_has_done_anything_for_a_quarter_of_an_hour(
    tablet: Client, clock: Clock
) -> None:
    clock("08:15")
    assert not closed(tablet)
    clock("08:31")
    assert closed(tablet)


def test_every_request_of_a_person_keeps_it_open(tablet: Client, clock: Clock) -> None:
    for text in ("08:10", "08:20", "08:30", "08:40"):
        clock(text)
        assert not closed(tablet)


def test_what_a_page_asks_by_itself_prolongs_nothing(tablet: Client, clock: Clock) -> None:
    for minute in range(1, 16):
        clock(f"08:{minute:02}")
        for name in ("beside_data", "shift"):
            assert tablet.get(reverse(name), headers={"X-Beside": "poll"}).status_code == 200
        for name in ("worker", "manifest"):
            assert tablet.get(reverse(name)).status_code == 200
    clock("08:16")
    assert closed(tablet)


def test_a_hand_on_the_opening_page_keeps_it_open(tablet: Client, clock: Clock) -> None:
    clock("08:14")
    tablet.get(reverse("beside_data"), headers={"X-Beside": "used"})
    clock("08:20")
    assert not closed(tablet)


def test_a_clock_set_back_opens_nothing(tablet: Client, clock: Clock) -> None:
    clock("07:30")
    assert closed(tablet)


def test_the_opening_page_stays_in_sight_and_says_that_the_pen_is_closed(
    tablet: Client, clock: Clock, smoke: Load
) -> None:
    clock("08:30")
    answer = tablet.get(reverse("shift"))
    assert answer.status_code == 200
    assert "Smokehouse 1" in answer.content.decode()
    assert "Open the pen" in answer.content.decode()
    data = tablet.get(reverse("beside_data")).json()
    assert data["pen"]["open"] is False
    assert data["loads"]


@pytest.mark.parametrize(
    "name", ["help", "tablet_help", "worker", "manifest", "healthz", "pen_open"]
)
def test_what_helps_stays_in_sight(tablet: Client, clock: Clock, name: str) -> None:
    clock("08:30")
    assert tablet.get(reverse(name)).status_code == 200


def test_the_password_opens_it_and_leads_on_to_the_page_asked_for(
    tablet: Client, clock: Clock
) -> None:
    clock("08:30")
    asked = tablet.get(reverse("lots") + "?q=1")
    page = tablet.get(asked.url)
    assert "Olga Operator" in page.content.decode()
    answer = tablet.post(asked.url, {"secret": PASSWORD, "next": page.context["onward"]})
    assert answer.url == reverse("lots") + "?q=1"
    assert not closed(tablet)


def test_a_wrong_password_opens_nothing_and_counts_towards_the_throttle(
    tablet: Client, clock: Clock
) -> None:
    clock("08:30")
    for _ in range(3):
        answer = tablet.post(reverse("pen_open"), {"secret": "not the password"})
        assert "not the password of Olga Operator" in answer.content.decode()
    assert closed(tablet)
    for _ in range(6):
        answer = tablet.post(reverse("pen_open"), {"secret": "not the password"})
    assert answer.status_code == 429


def test_it_never_leads_to_another_site(tablet: Client, clock: Clock) -> None:
    clock("08:30")
    answer = tablet.post(
        reverse("pen_open"), {"secret": PASSWORD, "next": "https://elsewhere.example/"}
    )
    assert answer.url == reverse("shift")


def typed(smoke: Load) -> dict[str, str]:
    return {
        "read_fish 1": "61.5",
        "unit": "F",
        "note": "door ajar & <b>windy</b>",
        "client_key": "a" * 32,
    }


def test_nothing_typed_is_lost_when_it_closed_meanwhile(
    tablet: Client, clock: Clock, smoke: Load
) -> None:
    clock("08:30")
    address = reverse("reading_load", args=[smoke.pk])
    before = lines()
    page = tablet.post(address, typed(smoke))
    assert (page.status_code, lines()) == (403, before)
    carried = dict(page.context["typed"])
    assert carried == typed(smoke)
    text = page.content.decode()
    assert f'action="{address}"' in text
    assert "door ajar &amp; &lt;b&gt;windy&lt;/b&gt;" in text
    again = tablet.post(address, carried | {"pen-secret": "wrong one entirely"})
    assert (again.status_code, dict(again.context["typed"]), lines()) == (403, typed(smoke), before)
    done = tablet.post(address, carried | {"pen-secret": PASSWORD})
    assert done.status_code == 302
    row = Reading.objects.get(as_read="61.5")
    assert (row.note, row.unit) == ("door ajar & <b>windy</b>", "F")
    assert not closed(tablet)


def test_fields_of_the_same_name_are_all_carried(tablet: Client, clock: Clock) -> None:
    clock("08:30")
    page = tablet.post(reverse("lot_merge"), {"lot": ["1", "2", "3"]})
    assert [value for name, value in page.context["typed"] if name == "lot"] == ["1", "2", "3"]


def test_a_file_cannot_be_carried_and_the_page_says_what_to_do(
    tablet: Client, clock: Clock, smoke: Load
) -> None:
    clock("08:30")
    before = lines()
    photo = SimpleUploadedFile("probe.png", b"\x89PNG\r\n\x1a\n" + b"0" * 20, "image/png")
    page = tablet.post(
        reverse("reading_load", args=[smoke.pk]), typed(smoke) | {"attachment": photo}
    )
    assert (page.status_code, lines()) == (403, before)
    text = page.content.decode()
    assert "go back with the browser" in text
    assert "61.5" not in text
    opened = tablet.post(reverse("pen_open"), {"secret": PASSWORD, "back": "1"})
    assert "The pen is open" in opened.content.decode()
    assert not closed(tablet)


def test_the_forgery_token_is_asked_for_on_all_of_it(book: Book, clock: Clock, smoke: Load) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(book.operator.login, backend="lots.views.backend.PersonBackend")
    clock("08:00")
    strict.get(reverse("lots"))
    clock("08:30")
    for address in (
        reverse("reading_load", args=[smoke.pk]),
        reverse("pen_open"),
        reverse("entry_take"),
    ):
        answer = strict.post(address, typed(smoke) | {"pen-secret": PASSWORD, "secret": PASSWORD})
        assert answer.status_code == 403
        assert "403_csrf.html" in [template.name for template in answer.templates]


def test_the_pin_opens_it_for_logging_alone(book: Book, tablet: Client, clock: Clock) -> None:
    from lots.entries.people import Grant, give_right

    give_right(book.keeper, book.operator, Grant("keeper"), moment("08:00"))
    set_pin(book.operator, PIN, moment("08:00"))
    assert tablet.get(reverse("house_change")).status_code == 200
    clock("08:30")
    assert tablet.post(reverse("pen_open"), {"secret": PIN}).status_code == 302
    assert not closed(tablet)
    assert tablet.get(reverse("lot_open")).status_code == 200
    answer = tablet.get(reverse("house_change"))
    assert answer.status_code == 403
    assert "opened by PIN" in answer.content.decode()
    tablet.post(reverse("pen_open"), {"secret": PASSWORD})
    assert tablet.get(reverse("house_change")).status_code == 200


def test_after_half_a_day_only_the_password_opens_it(
    book: Book, tablet: Client, clock: Clock
) -> None:
    set_pin(book.operator, PIN, moment("08:00"))
    clock("20:01")
    answer = tablet.post(reverse("pen_open"), {"secret": PIN})
    assert "type the password" in answer.content.decode()
    assert closed(tablet)
    assert tablet.post(reverse("pen_open"), {"secret": PASSWORD}).status_code == 302


def test_a_wrong_pin_is_counted_and_waits(book: Book, tablet: Client, clock: Clock) -> None:
    set_pin(book.operator, PIN, moment("08:00"))
    clock("08:30")
    for _ in range(rules().pin_tries):
        answer = tablet.post(reverse("pen_open"), {"secret": "9999"})
    assert "Too many wrong PINs" in answer.content.decode()
    assert "Too many" in tablet.post(reverse("pen_open"), {"secret": PIN}).content.decode()
    assert tablet.post(reverse("pen_open"), {"secret": PASSWORD}).status_code == 302


def test_it_is_closed_by_hand_on_walking_away(tablet: Client, clock: Clock) -> None:
    assert tablet.post(reverse("pen_close")).url == reverse("shift")
    assert closed(tablet)
    assert tablet.get(reverse("shift")).status_code == 200


def test_signing_asks_for_the_password_and_never_takes_a_pin(book: Book, clock: Clock) -> None:
    from lots.entries.people import Grant, give_right

    clock("08:00")
    give_right(book.keeper, book.reviewer, Grant("operator"), moment("08:00"))
    set_pin(book.reviewer, PIN, moment("08:00"))
    book.open_lot("TR-1", at="07:00")
    reviewer = as_person(book.reviewer)
    ticks = re.findall(
        r'name="lot" value="([^"]+)"', reviewer.get(reverse("review")).content.decode()
    )
    before = lines()
    reviewer.post(reverse("review_sign"), {"lot": ticks, "sign-password": PIN})
    assert lines() == before
    reviewer.post(reverse("review_sign"), {"lot": ticks, "sign-password": PASSWORD})
    assert lines() > before


def test_the_pin_page_asks_for_the_password(book: Book, tablet: Client) -> None:
    def send(**changes: Any) -> Any:
        return tablet.post(
            reverse("pin_set"), {"password": PASSWORD, "pin": PIN, "pin_again": PIN} | changes
        )

    before = lines()
    for changes, words in (
        ({"password": "wrong one entirely"}, "not your password"),
        ({"pin_again": "4072"}, "not the same"),
        ({"pin": "1111", "pin_again": "1111"}, "over and over"),
    ):
        answer = send(**changes)
        assert (words in answer.content.decode(), lines()) == (True, before)
        assert PIN not in answer.content.decode()
    assert send().status_code == 302
    assert lines() == before + 1


def test_the_keeper_clears_a_pin_on_the_person_s_page(book: Book, clock: Clock) -> None:
    clock("08:00")
    set_pin(book.operator, PIN, moment("08:00"))
    keeper = as_person(book.keeper)
    page = keeper.get(reverse("person_show", args=[book.operator.pk])).content.decode()
    assert "Clear the PIN" in page
    keeper.post(reverse("pin_clear", args=[book.operator.pk]))
    page = keeper.get(reverse("person_show", args=[book.operator.pk])).content.decode()
    assert "Clear the PIN" not in page
