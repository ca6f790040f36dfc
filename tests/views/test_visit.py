"""What an inspector sees in a visit, and what not; how the visit ends."""

import re
from collections.abc import Callable
from html.parser import HTMLParser

import pytest
from axes.models import AccessAttempt
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.entries.visit import end_visit, renew_code
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.visit import VisitSeen
from tests.make import Book, moment
from tests.views.pages import as_person
from tests.views.visiting import HIDDEN, SHOWN, Visiting, visiting

Clock = Callable[[str], int]


@pytest.fixture
def house(book: Book, clock: Clock) -> Visiting:
    made = visiting(book)
    clock("2026-03-05 10:00")
    return made


@pytest.fixture
def nora(house: Visiting) -> Client:
    return house.client()


class Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "a":
            self.found.append(dict(attrs).get("href") or "")


def links(answer: HttpResponse) -> list[str]:
    """Addresses that the page leads to, within the site."""
    parser = Links()
    parser.feed(answer.content.decode())
    return [one for one in parser.found if one.startswith("/")]


def walk(client: Client) -> dict[str, HttpResponse]:
    """Every page of the visit that links lead to."""
    ahead, seen = [reverse("visit_front")], {}
    while ahead:
        address = ahead.pop()
        if address in seen or address == reverse("visit_close"):
            continue
        answer = client.get(address)
        seen[address] = answer
        if answer["Content-Type"].startswith("text/html"):
            ahead += [one.split("#")[0] for one in links(answer)]
    return seen


def test_everything_asked_for_first_is_at_most_two_taps_away(nora: Client, house: Visiting) -> None:
    record = house.issue(house.shown)
    front = nora.get(reverse("visit_front"))
    one = set(links(front))
    two = one | {link for address in one for link in links(nora.get(address))}
    plan = house.book.version.plan_id
    wanted = [
        reverse("visit_plan", args=[house.book.version.pk]),
        reverse("visit_lot", args=[SHOWN]),
        reverse("visit_record", args=[record.pk]),
        reverse("visit_point", args=[plan, "smoke"]),
        reverse("visit_deviation", args=[Deviation.objects.filter(lot=house.shown)[0].pk]),
        reverse("visit_people"),
        reverse("visit_instrument", args=[house.book.thermometer.pk]),
        reverse("visit_reviews"),
        reverse("visit_period"),
    ]
    assert [address for address in wanted if address not in two] == []


def test_no_page_of_the_visit_names_the_lot_that_was_not_chosen(
    nora: Client, house: Visiting
) -> None:
    house.issue(house.shown)
    house.issue(house.hidden)
    pages = walk(nora)
    assert len(pages) >= 18
    assert all(answer.status_code == 200 for answer in pages.values()), {
        address: answer.status_code for address, answer in pages.items()
    }
    for address, answer in pages.items():
        if answer["Content-Type"].startswith("text/html"):
            assert HIDDEN not in answer.content.decode(), address
    assert any(
        SHOWN in answer.content.decode() for answer in pages.values() if not answer.streaming
    )


def test_what_was_not_chosen_does_not_open(nora: Client, house: Visiting) -> None:
    record = house.issue(house.hidden)
    other = Deviation.objects.get(lot=house.hidden)
    for address in (
        reverse("visit_lot", args=[HIDDEN]),
        reverse("visit_record", args=[record.pk]),
        reverse("visit_deviation", args=[other.pk]),
        reverse("visit_plan", args=[house.book.version.pk + 1]),
        reverse("visit_point", args=[house.book.version.plan_id, "no-such-point"]),
        reverse("visit_lot", args=["NO-SUCH-LOT"]),
    ):
        assert nora.get(address).status_code == 404, address
    assert not VisitSeen.objects.exclude(address=reverse("visit_front")).exists()


def test_no_page_of_the_house_opens_and_nothing_is_written(nora: Client, house: Visiting) -> None:
    lines = BookLine.objects.count()
    for name, args in (
        ("shift", []), ("lots", []), ("lot_show", [SHOWN]), ("records", []), ("log_in", []),
        ("record_download", [1]), ("visits", []), ("beside_data", []), ("help", []),
        ("pen_open", []), ("kept_file", [1]), ("records_zip", []), ("people", []),
    ):  # fmt: skip
        for method in (nora.get, nora.post):
            assert method(reverse(name, args=args)).status_code == 403, name
    assert BookLine.objects.count() == lines


def test_a_lot_opened_later_is_not_in_it(nora: Client, house: Visiting) -> None:
    house.book.open_lot("LATER-1", at="2026-03-05 09:30")
    assert nora.get(reverse("visit_lot", args=["LATER-1"])).status_code == 404
    assert "LATER-1" not in nora.get(reverse("visit_lots")).content.decode()


def test_what_is_looked_at_is_shown_to_the_house_and_to_the_inspector(
    nora: Client, house: Visiting
) -> None:
    nora.get(reverse("visit_front"))
    nora.get(reverse("visit_lot", args=[SHOWN]))
    nora.get(reverse("visit_lot", args=[SHOWN]))
    nora.get(reverse("visit_record", args=[house.issue(house.shown).pk]))
    nora.get(reverse("visit_lot", args=[HIDDEN]))
    wanted = ["The front page", f"Lot {SHOWN}", f"Sealed record of lot {SHOWN}, revision 1 (PDF)"]
    assert list(VisitSeen.objects.order_by("pk").values_list("what", flat=True)) == wanted
    mine = nora.get(reverse("visit_close")).content.decode()
    theirs = as_person(house.book.keeper).get(reverse("visit_show", args=[house.visit.pk]))
    for what in wanted:
        assert what in mine and what in theirs.content.decode()


def test_the_inspector_ends_it_and_sees_the_list_once(nora: Client) -> None:
    nora.get(reverse("visit_lots"))
    answer = nora.post(reverse("visit_close"))
    assert "The lots and their records" in answer.content.decode()
    assert nora.get(reverse("visit_front"))["Location"] == reverse("visit_in")


def test_ended_by_the_house_the_next_page_is_shut(nora: Client, house: Visiting) -> None:
    assert nora.get(reverse("visit_front")).status_code == 200
    end_visit(house.book.keeper, house.visit, "ended by the house", moment("2026-03-05 10:01"))
    answer = nora.get(reverse("visit_lot", args=[SHOWN]))
    assert (answer.status_code, "The visit is over" in answer.content.decode()) == (403, True)
    assert "The front page" in answer.content.decode()
    assert nora.get(reverse("visit_front"))["Location"] == reverse("visit_in")


@pytest.mark.parametrize(
    ("at", "code"),
    [("2026-03-05 16:59", 200), ("2026-03-05 17:00", 403), ("2026-03-06 09:00", 403)],
)
def test_it_ends_by_itself_to_the_minute(at: str, code: int, house: Visiting, clock: Clock) -> None:
    clock("2026-03-05 16:30")
    nora = house.client()
    clock(at)
    assert nora.get(reverse("visit_front")).status_code == code


@pytest.mark.parametrize(("after", "code"), [("11:00", 200), ("11:01", 403)])
def test_a_tablet_laid_aside_closes_after_an_hour(
    after: str, code: int, nora: Client, house: Visiting, clock: Clock
) -> None:
    clock(f"2026-03-05 {after}")
    assert nora.get(reverse("visit_lots")).status_code == code
    again = nora.get(reverse("visit_lots"))
    assert again.status_code == (200 if code == 200 else 302)


def test_use_keeps_it_open(nora: Client, clock: Clock) -> None:
    for hour in ("10:50", "11:40", "12:30"):
        clock(f"2026-03-05 {hour}")
        assert nora.get(reverse("visit_lots")).status_code == 200


def test_a_new_code_closes_the_browser_of_the_old(nora: Client, house: Visiting) -> None:
    renew_code(house.book.keeper, house.visit, moment("2026-03-05 10:01"))
    answer = nora.get(reverse("visit_front"))
    assert answer.status_code == 403
    assert "new code" in answer.content.decode()


def test_the_code_works_in_one_browser_alone(nora: Client, house: Visiting) -> None:
    answer = Client().post(reverse("visit_in"), {"visit_code": house.code})
    assert answer.status_code == 200
    assert "not known, was used" in answer.content.decode()


def test_typing_the_code_logs_the_persons_own_log_in_out(house: Visiting) -> None:
    client = as_person(house.book.operator)
    assert "is logged in" in client.get(reverse("visit_in")).content.decode()
    assert "_auth_user_id" in client.session
    client.post(reverse("visit_in"), {"visit_code": house.code})
    assert "_auth_user_id" not in client.session
    assert client.get(reverse("lots")).status_code == 403
    client.post(reverse("visit_close"))
    assert client.get(reverse("lots"))["Location"].startswith("/in/")


def test_wrong_codes_are_throttled_as_wrong_passwords_are(house: Visiting) -> None:
    client = Client()
    answers = [
        client.post(reverse("visit_in"), {"visit_code": f"ABCD-EFGH-JKLM-NPQ{n}"}).status_code
        for n in range(2, 10)
    ]
    assert answers == [200] * 7 + [429]
    assert client.post(reverse("visit_in"), {"visit_code": house.code}).status_code == 429
    kept = "".join(str(row.post_data) for row in AccessAttempt.objects.all())
    assert "ABCD" not in kept


def test_a_right_code_forgets_the_wrong_ones(house: Visiting) -> None:
    client = Client()
    for _ in range(5):
        client.post(reverse("visit_in"), {"visit_code": "WRONG"})
    assert client.post(reverse("visit_in"), {"visit_code": house.code}).status_code == 302
    assert not AccessAttempt.objects.exists()


def test_no_page_may_be_kept_by_the_browser(nora: Client, house: Visiting) -> None:
    record = house.issue(house.shown)
    for name, args in (
        ("visit_front", []),
        ("visit_lot", [SHOWN]),
        ("visit_record", [record.pk]),
    ):
        assert "no-store" in nora.get(reverse(name, args=args))["Cache-Control"]


def test_the_control_points_page_tells_figures_by_word_and_shape(
    nora: Client, house: Visiting
) -> None:
    page = nora.get(reverse("visit_point", args=[house.book.version.plan_id, "smoke"]))
    text = page.content.decode()
    assert '<svg class="chart-wide"' in text and "mark-deviation" in text
    assert "<span>deviation</span>" in text and "at least 30 min" in text
    assert "script" not in re.sub(r"<script type=.application.json.*?</script>", "", text)


def test_training_is_shown_and_log_in_names_are_not(nora: Client) -> None:
    text = nora.get(reverse("visit_people")).content.decode()
    assert "Seafood HACCP, basic course (invented)" in text and "INV-RR" in text
    for username in ("olga", "rene", "cora"):
        assert username not in text
