"""Who may read and write what: every address of the site, every method, every role."""

from dataclasses import dataclass

import pytest
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import NoReverseMatch, reverse

from lots import urls
from lots.entries import people
from lots.entries.batch import Strength, check_batch
from lots.entries.visit import NewVisit, open_visit, renew_code
from lots.models.people import Person
from lots.models.visit import Visit
from tests.make import PASSWORD, Book, moment, seen

BACKEND = "lots.views.backend.PersonBackend"
O, R, C, I, K = "operator", "reviewer", "coordinator", "inspector", "keeper"  # noqa: E741
EVERYONE = {O, R, C, I, K}
DOOR = EVERYONE | {"anonymous"}  # a visitor too, but for the doors that lead out of the visit
NOBODY: set[str] = set()  # the method itself is refused
V = {"visitor"}  # whoever began a visit with its code; anybody else is asked for the code

# name → (who may GET, who may POST)
TABLE: dict[str, tuple[set[str], set[str]]] = {
    # the house and its people
    "found": (DOOR, DOOR),
    "log_in": (DOOR, DOOR),
    "log_out": (NOBODY, EVERYONE),
    "invited": (DOOR, DOOR),
    "healthz": (DOOR, NOBODY),
    "help": (EVERYONE, NOBODY),
    "first_steps": (EVERYONE, NOBODY),
    "worker": (DOOR, NOBODY),
    "tablet_help": (DOOR, NOBODY),
    "record_check": (DOOR, DOOR),
    "tablet_ca": (DOOR, NOBODY),
    "manifest": (DOOR, NOBODY),
    "pen_open": (EVERYONE, EVERYONE),
    "pen_close": (NOBODY, EVERYONE),
    "pin_set": ({O}, {O}),
    "pin_clear": (NOBODY, {K}),
    "people": (EVERYONE, NOBODY),
    "person_invite": ({K}, {K}),
    "person_show": ({K}, NOBODY),
    "right_give": (NOBODY, {K}),
    "right_end": (NOBODY, {K}),
    "person_reset": (NOBODY, {K}),
    "house_change": ({K}, {K}),
    "keeping": ({K}, NOBODY),
    "keeping_check": (NOBODY, {K}),
    "letter": ({K, C}, NOBODY),
    "places": (EVERYONE, {K, C}),
    "place_show": (EVERYONE, NOBODY),
    "place_close": (NOBODY, {K, C}),
    "instruments": (EVERYONE, {K, C, R}),
    "instrument_show": (EVERYONE, {O, R, C}),
    "instrument_retire": (NOBODY, {K, C, R}),
    "instrument_period": (NOBODY, {K, C, R}),
    "look_back_show": (EVERYONE, NOBODY),
    # plan
    "plans": (EVERYONE, NOBODY),
    "version_show": (EVERYONE, NOBODY),
    "draft_begin": ({C}, {C}),
    "draft_edit": ({C}, {C}),
    "draft_publish": ({C}, {C}),
    "draft_drop": ({C}, {C}),
    "plan_withdraw": ({C}, {C}),
    "point_history": (EVERYONE, NOBODY),
    "draft_try": ({C}, NOBODY),
    "version_what_if": (EVERYONE, NOBODY),
    "reassess_ask": ({O, R, C}, {O, R, C}),
    "reassess_sign": ({C}, {C}),
    # lot and load
    "shift": (EVERYONE, NOBODY),
    "beside_data": (EVERYONE, NOBODY),
    "entry_take": (NOBODY, EVERYONE),  # whose entry it is stands in it: the entries ask their right
    "sums": (EVERYONE, NOBODY),
    "sum_brine": (EVERYONE, NOBODY),
    "sum_reading": (EVERYONE, NOBODY),
    "sum_scale": (EVERYONE, NOBODY),
    "sum_nitrite": (EVERYONE, NOBODY),
    "sum_water_phase": (EVERYONE, NOBODY),
    "sum_ahead": (EVERYONE, NOBODY),
    "salt_forecast": (EVERYONE, NOBODY),
    "salt_points": (EVERYONE, NOBODY),
    "salt_point_keep": ({O, R, C}, {O, R, C}),
    "salt_point_leave_out": ({O, R, C}, {O, R, C}),
    "lots": (EVERYONE, NOBODY),
    "lot_show": (EVERYONE, NOBODY),
    "lot_open": ({O}, {O}),
    "lot_merge": ({O}, {O}),
    "lot_split": ({O}, {O}),
    "lot_destroy": ({O}, {O}),
    "lot_void": ({O}, {O}),
    "lot_finish": ({O}, {O}),
    "lot_laboratory": ({O, R, C}, {O, R, C}),
    "lot_send": ({O, R, C}, {O, R, C}),
    "laboratory": (EVERYONE, NOBODY),
    "process_laboratory": ({O, R, C}, {O, R, C}),
    "process_send": ({O, R, C}, {O, R, C}),
    "report_correct": ({R, C}, {R, C}),
    "samples_give_up": ({R, C}, {R, C}),
    "lot_pieces": (EVERYONE, {O}),
    "pieces_correct": ({O}, {O}),
    "lot_weights": (EVERYONE, {O}),
    "weight_correct": ({O}, {O}),
    "lot_pack": (EVERYONE, NOBODY),
    "lot_thaw": ({O}, {O}),
    "load_show": (EVERYONE, NOBODY),
    "load_start": ({O}, {O}),
    "load_move": ({O}, {O}),
    "load_batch": ({O}, {O}),
    "batches": (EVERYONE, NOBODY),
    "batch_make": ({O}, {O}),
    "batch_before": (EVERYONE, NOBODY),
    "batch_show": (EVERYONE, NOBODY),
    "batch_check": ({O}, {O}),
    "batch_scale": (EVERYONE, NOBODY),
    "batch_discard": ({O}, {O}),
    "batch_reading_correct": ({O}, {O}),
    "load_end": ({O}, {O}),
    "probe_left": ({O}, {O}),
    "load_note": ({O}, {O}),
    "load_sheet": (EVERYONE, NOBODY),
    "sheets": (EVERYONE, NOBODY),
    "paper_enter": ({O}, {O}),
    # reading
    "reading_choose": (EVERYONE, NOBODY),
    "reading_load": ({O}, {O}),
    "reading_place": ({O}, {O}),
    "observation_enter": ({O}, {O}),
    "measurement_enter": ({O}, {O}),
    "reading_answer": (EVERYONE, NOBODY),
    "reading_correct": ({O}, {O}),
    "observation_correct": ({O}, {O}),
    "process_adjust": ({O}, {O}),
    "kept_file": (EVERYONE, NOBODY),
    "logger_upload": (EVERYONE, {O}),
    "logger_file_show": (EVERYONE, NOBODY),
    "logger_withdraw": ({O}, {O}),
    "logger_readings": (EVERYONE, NOBODY),
    "logger_correct": ({O}, {O}),
    "logger_preview": ({O}, {O}),
    "logger_drop": (NOBODY, {O}),
    # deviation
    "deviations": (EVERYONE, NOBODY),
    "deviation_show": (EVERYONE, NOBODY),
    "action_take": ({O, R}, {O, R}),
    "deviation_decide": ({O, R}, {O, R}),  # an operator may only hold: the entry says so
    "consignee_told": ({O, R, C}, {O, R, C}),
    # review
    "review": (EVERYONE, NOBODY),
    "review_sign": (NOBODY, {R}),
    "late_accept": (NOBODY, {R}),
    "lot_release": ({R}, {R}),
    # record
    "records": (EVERYONE, NOBODY),
    "record_download": (EVERYONE, NOBODY),
    "record_issue": ({R}, {R}),
    "records_period": (EVERYONE, NOBODY),
    "records_zip": (EVERYONE, NOBODY),
    "trace": (EVERYONE, NOBODY),
    # an inspector's visit
    "visits": (EVERYONE, NOBODY),
    "visit_open": ({K, C}, {K, C}),
    "visit_show": (EVERYONE, NOBODY),
    "visit_recode": (NOBODY, {K, C}),
    "visit_end": (NOBODY, {K, C}),
    "visit_in": (DOOR | V, DOOR | V),
    "visit_front": (V, NOBODY),
    "visit_lots": (V, NOBODY),
    "visit_lot": (V, NOBODY),
    "visit_record": (V, NOBODY),
    "visit_plan": (V, NOBODY),
    "visit_point": (V, NOBODY),
    "visit_people": (V, NOBODY),
    "visit_instruments": (V, NOBODY),
    "visit_instrument": (V, NOBODY),
    "visit_deviations": (V, NOBODY),
    "visit_deviation": (V, NOBODY),
    "visit_reviews": (V, NOBODY),
    "visit_period": (V, NOBODY),
    "visit_zip": (V, NOBODY),
    "visit_close": (V, V),
}


@dataclass
class House:
    """A book with something at each address, and one person a role who holds that right alone."""

    roles: dict[str, Person]
    numbers: dict[str, int]
    visit: Visit

    def address(self, name: str) -> str:
        number = self.numbers.get(name, 1)
        shapes = ({}, {"pk": number}, {"code": "TR-1"}, {"pk": number, "point": "brine"})
        for kwargs in shapes:
            try:
                return reverse(name, kwargs=kwargs)
            except NoReverseMatch:
                continue
        raise AssertionError(f"{name} takes something else than a number or a lot's code")


@pytest.fixture
def house(book: Book) -> House:
    at = moment("2026-03-04 13:30")
    keeper, code = people.invite(
        book.keeper, "paula", "Paula Peoplekeeper", "PP", [people.Grant(K)], at
    )
    people.set_password(code, PASSWORD, at)
    lot = book.open_lot()
    load = book.start("brine", "Brine tank 1", "08:00", lot)
    book.fish(load, "08:10 36.4")
    strong = Strength("salometer", "78", "40", "F")
    read = check_batch(book.operator, book.mix(), strong, seen("08:20"))
    last = book.inspector.pk
    roles = {O: book.operator, R: book.reviewer, C: book.coordinator, I: book.inspector, K: keeper}
    numbers = {"person_show": last, "right_give": last, "right_end": last, "person_reset": last}
    loads = (
        "load_show", "load_batch", "load_move", "load_end", "load_sheet", "paper_enter", "probe_left", "load_note",
        "reading_load",
    )  # fmt: skip
    visit, _ = open_visit(
        keeper,
        NewVisit("Nora Nobody", "Invented Agency", at, at + 3_600_000, [lot], "one lot"),
        at,
    )
    numbers |= {"batch_reading_correct": read.pk}
    numbers |= dict.fromkeys(
        ("batch_show", "batch_check", "batch_scale", "batch_discard"), read.batch_id
    )
    return House(roles, numbers | dict.fromkeys(loads, load.pk), visit)


def ask(
    client: Client, method: str, address: str, person: Person | None, visit: Visit | None = None
) -> HttpResponse:
    """One request as the person, or in the visit; whatever it wrote is rolled back."""
    with transaction.atomic():
        client.logout()
        if person is not None:
            client.force_login(person.login, backend=BACKEND)
        if visit is not None:
            begin(client, visit)
        answer = client.generic(method, address)
        transaction.set_rollback(True)
    return answer


def begin(client: Client, visit: Visit) -> None:
    """The visit's own session, by a new code."""
    code = renew_code(Person.objects.get(username="paula"), visit, visit.starts_at)
    answer = client.post(reverse("visit_in"), {"visit_code": code})
    assert answer["Location"] == reverse("visit_front")


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages stand in the hour of the visit."""
    at = moment("2026-03-04 14:00")
    monkeypatch.setattr("lots.views.middleware.now_ms", lambda: at)


def outcome(answer: HttpResponse) -> str:
    if answer.status_code in (403, 405):
        return {403: "no right", 405: "no such method"}[answer.status_code]
    if answer.status_code == 401:  # what a tablet's own requests get instead of a log-in page
        return "log in first"
    if answer.status_code == 302 and "/in/?next=" in answer["Location"]:
        return "log in first"
    if answer.status_code == 302 and answer["Location"] == reverse("visit_in"):
        return "code first"
    return "let in"


def expected(role: str, may: set[str], reads: set[str]) -> str:
    if role == "visitor" and role not in reads:
        return "no right"  # before anything else is looked at
    if may == NOBODY:
        return "no such method"
    if role in may:
        return "let in"
    if may == V:
        return "code first"
    return "log in first" if role == "anonymous" else "no right"


def test_every_address_stands_in_the_table_and_no_other() -> None:
    assert set(TABLE) == {pattern.name for pattern in urls.urlpatterns}


@pytest.mark.parametrize("role", [O, R, C, I, K, "anonymous", "visitor"])
def test_each_role_reads_and_writes_what_the_table_says(
    role: str, house: House, client: Client
) -> None:
    wrong, visit = [], house.visit if role == "visitor" else None
    for name, (reads, writes) in TABLE.items():
        if name == "healthz" and visit:
            continue  # answers without a look at who asks
        address = house.address(name)
        for method, may in (("GET", reads), ("POST", writes)):
            got = outcome(ask(client, method, address, house.roles.get(role), visit))
            due = expected(role, may, reads)
            if got != due:
                wrong.append(f"{method} {name} {address}: {got}, not {due}")
    assert wrong == []


def test_no_address_takes_another_method(house: House, client: Client) -> None:
    taken = [
        f"{method} {name}: {answer.status_code}"
        for name in TABLE
        for method in ("PUT", "PATCH", "DELETE")
        if (answer := ask(client, method, house.address(name), house.roles[K])).status_code != 405
    ]
    assert taken == []


def test_a_right_that_has_ended_opens_nothing_any_more(
    house: House, book: Book, client: Client
) -> None:
    client.force_login(book.operator.login, backend=BACKEND)
    assert client.get(reverse("lot_open")).status_code == 200
    people.take_right(book.keeper, book.operator, O, "left the house", moment("2026-03-05 09:00"))
    assert outcome(client.get(reverse("lot_open"))) == "log in first"


def test_a_page_refused_says_why_and_has_a_page_of_its_own(book: Book, client: Client) -> None:
    client.force_login(book.inspector.login, backend=BACKEND)
    answer = client.get(reverse("person_invite"))
    assert answer.status_code == 403
    assert "403.html" in [template.name for template in answer.templates]
    assert "keeper" in answer.content.decode()
