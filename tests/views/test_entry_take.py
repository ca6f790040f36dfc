"""Entries that a tablet sends: taken once, proved, refused in words."""

import base64
import hashlib
import json
from collections.abc import Callable
from typing import Any

import pytest
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import padding
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from lots.entries.batch import Typed
from lots.entries.pin_seal import public_key
from lots.entries.pins import set_pin
from lots.models.book import BookLine
from lots.models.lot import Load, Note
from lots.models.people import Person
from lots.models.reading import Observation, Reading
from lots.queries.house import rules
from tests.make import Book, moment
from tests.views.pages import as_person, lines

Clock = Callable[[str], int]
PIN = "4071"
MIN = 60_000


def sealed(text: str, pin: str = PIN) -> str:
    """The envelope as a tablet closes it."""
    key = serialization.load_der_public_key(base64.b64decode(public_key()["spki"]))
    digest = hashlib.sha256(text.encode()).hexdigest()
    held = json.dumps({"pin": pin, "sha256": digest}).encode()
    oaep = padding.OAEP(padding.MGF1(hashes.SHA256()), hashes.SHA256(), None)
    return base64.b64encode(key.encrypt(held, oaep)).decode()  # type: ignore[union-attr]


def entry(
    person: Person, kind: str, body: dict[str, Any], at: int, **changes: Any
) -> dict[str, Any]:
    """One entry as a tablet sends it, made and sent at one moment unless said otherwise."""
    number = changes.pop("number", 1)
    pin = changes.pop("pin", None)
    envelope = {
        "key": f"{number:032x}", "kind": kind, "person": person.pk, "seal": "",
        "body": json.dumps(body), "entered_at": at, "device_at": at, "offset_ms": 0, "sent_at": at,
    } | changes  # fmt: skip
    if pin is not None:
        names = ("key", "kind", "person", "entered_at", "offset_ms", "body")
        envelope["seal"] = sealed("\n".join(str(envelope[name]) for name in names), pin)
    return envelope


def send(browser: Client, what: Any) -> HttpResponse:
    raw = what if isinstance(what, str) else json.dumps(what)
    return browser.post(reverse("entry_take"), raw, content_type="application/json")


def refused(browser: Client, what: Any, status: int, words: str) -> dict[str, Any]:
    """Sent, answered with that number and those words; nothing was written."""
    before = lines()
    answer = send(browser, what)
    assert (answer.status_code, lines()) == (status, before), answer.content
    assert words in answer.content.decode()
    return dict(answer.json())


def reading(load: Load, at: int, *figures: str, **changes: Any) -> dict[str, Any]:
    rows = [
        {"as_read": text, "unit": "F", "probe": f"fish {n}", "quantity": "temperature",
         "instrument": None, "confirmed": False}
        for n, text in enumerate(figures, 1)
    ]  # fmt: skip
    return {"place": load.place_id, "load": load.pk, "figures": rows, "observed_at": at,
            "late_reason": "", "note": ""} | changes  # fmt: skip


@pytest.fixture
def smoke(book: Book) -> Load:
    return book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-1"))


def test_a_round_is_kept_with_its_three_moments_and_answered(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    seen = moment("08:12")
    body = reading(smoke, seen, "61.2", "60.8", "63.0")
    made = entry(
        book.operator,
        "reading",
        body,
        at - 2 * MIN,
        device_at=at,
        offset_ms=-2 * MIN,
        sent_at=at + 2 * MIN,
    )
    answer = send(olga, made)
    assert answer.status_code == 200, answer.content
    said = answer.json()
    assert said["stored"] and not said["repeated"]
    assert said["answer"]["verdict"] == "PENDING"
    rows = list(Reading.objects.order_by("id")[1:])
    assert [row.as_read for row in rows[-3:]] == ["61.2", "60.8", "63.0"]
    last = rows[-1]
    assert (last.observed_at, last.entered_at, last.line.at) == (seen, at - 2 * MIN, at)
    assert last.device_offset_ms == -2 * MIN


def test_the_same_entry_sent_again_gets_its_first_answer(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    made = entry(book.operator, "reading", reading(smoke, at, "61.2"), at)
    first, before = send(olga, made).json(), lines()
    again = send(olga, made).json()
    assert (again["line"], again["repeated"], lines()) == (first["line"], True, before)


def test_every_kind_goes_in(book: Book, olga: Client, clock: Clock) -> None:
    lot = book.open_lot("TR-1", kg=20)
    at = clock("08:00")
    cooler = book.place("Cooler")
    portions = [{"lot": lot.pk, "step": "hold", "grams": 20_000}]
    begin = {
        "place": cooler.pk,
        "portions": portions,
        "observed_at": at,
        "late_reason": "",
        "note": "",
    }
    made = entry(book.operator, "start", begin, at, number=7)
    # a reading of the load's place and a look by the name of its start, which the tablet knows only
    later = at + 20 * MIN
    sent = [made]
    named = {"key": made["key"]}
    figures = [{"as_read": "36.1", "unit": "F", "probe": "", "confirmed": False}]
    sent.append(entry(book.operator, "reading", {"place": cooler.pk, "load": None, "figures": figures,
                "observed_at": later}, later, number=8))  # fmt: skip
    looks = [{"what": "ice round the fish", "found": True}]
    sent.append(
        entry(
            book.operator,
            "look",
            {"load": named, "looks": looks, "observed_at": later},
            later,
            number=9,
        )
    )
    note = {"load": named, "lot": None, "text": "door left open a moment", "observed_at": later}
    sent.append(entry(book.operator, "note", note, later, number=10))
    sent.append(
        entry(book.operator, "end", {"load": named, "observed_at": later}, later, number=11)
    )
    clock("08:20")
    for one in sent:
        one["sent_at"] = later
        answer = send(olga, one)
        assert answer.status_code == 200, (one["kind"], answer.content)
        assert answer.json()["answer"]["page"]
    load = Load.objects.get(place=cooler)
    assert load.ends.count() == 1
    assert Observation.objects.get(what="ice round the fish").load == load
    assert Note.objects.get().load == load
    refused(olga, entry(book.operator, "finish", {"lot": lot.pk, "packed_g": 1, "packs": 1,
            "observed_at": later}, later, number=12), 422, "cannot be finished")  # fmt: skip


def brining(book: Book, at: int, **said: Any) -> dict[str, Any]:
    """10 kg of trout into the brine tank, as a tablet sends it."""
    lot = book.open_lot("TR-5", kg=10, at="07:40")
    portions = [{"lot": lot.pk, "step": "brine", "grams": 10_000}]
    tank = book.place("Brine tank 1").pk
    return {
        "place": tank,
        "portions": portions,
        "observed_at": at,
        "late_reason": "",
        "note": "",
    } | said


CURE = Typed(3, "curing salt", "", "30", "g", nitrite="6.25 %")


def test_a_brining_says_how_long_it_is_to_last(book: Book, olga: Client, clock: Clock) -> None:
    at = clock("08:20")
    body = brining(book, at)
    refused(olga, entry(book.operator, "start", body, at), 422, "short, or long")
    made = entry(book.operator, "start", body | {"declared": "long"}, at, number=8)
    assert send(olga, made).status_code == 200
    assert Load.objects.latest("pk").declared == "long"


def test_what_a_batch_can_do_is_seen_on_the_tablet_first(
    book: Book, olga: Client, clock: Clock
) -> None:
    at = clock("08:20")
    row = book.mix()
    body = brining(book, at, declared="short", batch=row.pk, brine_g=9_000)
    told = refused(olga, entry(book.operator, "start", body, at), 422, "Look at")
    assert told["unlikely"]
    lot = body["portions"][0]["lot"]
    query = {"batch": row.pk, "brine_g": 9_000, "at": at, "lot": f"{lot}:10000"}
    mark = olga.get(reverse("batch_before"), query).json()["mark"]
    made = entry(book.operator, "start", body | {"seen": mark}, at, number=8)
    assert send(olga, made).status_code == 200
    assert (Load.objects.latest("pk").brine_batch, Load.objects.latest("pk").brine_g) == (
        row,
        9_000,
    )


def test_nitrite_in_trout_is_refused_on_the_tablet_unless_it_lies_there(
    book: Book, olga: Client, clock: Clock
) -> None:
    at = clock("08:20")
    row = book.mix("B-1", "06:30", CURE)
    body = brining(book, at, declared="short", batch=row.pk)
    refused(olga, entry(book.operator, "start", body, at), 422, "21 CFR 172.175")
    lot = body["portions"][0]["lot"]
    query = {"batch": row.pk, "at": at, "lot": f"{lot}:10000"}
    mark = olga.get(reverse("batch_before"), query).json()["mark"]
    body |= {"seen": mark, "already": True}
    assert send(olga, entry(book.operator, "start", body, at, number=8)).status_code == 200
    assert "already lay in it" in Load.objects.latest("pk").note


def test_a_brining_that_waited_without_network_is_a_fact_and_is_kept(
    book: Book, olga: Client, clock: Clock
) -> None:
    at = clock("08:20")
    row = book.mix("B-1", "06:30", CURE)
    made = entry(
        book.operator, "start", brining(book, at, declared="short", batch=row.pk), at, number=8
    )
    made["sent_at"] = clock("09:20")
    answer = send(olga, made)
    assert answer.status_code == 200, answer.content
    load = Load.objects.latest("pk")
    assert load.brine_batch == row
    assert "Entered without network" in load.note


@pytest.mark.parametrize(
    "changes",
    [{"batch": 99_999}, {"batch": "1"}, {"brine_g": 10**15}, {"declared": 7}, {"already": "yes"},
     {"seen": "x" * 65}, {"filtered": 1}],
    ids=str,
)  # fmt: skip
def test_a_brining_of_another_shape_is_refused(
    changes: dict[str, Any], book: Book, olga: Client, clock: Clock
) -> None:
    at = clock("08:20")
    body = brining(book, at, declared="short", batch=book.mix().pk) | changes
    before = lines()
    assert send(olga, entry(book.operator, "start", body, at)).status_code == 422
    assert lines() == before


def test_an_entry_whose_load_has_not_begun_here_waits(
    book: Book, olga: Client, clock: Clock
) -> None:
    at = clock("08:20")
    body = {"load": {"key": "0" * 32}, "looks": [{"what": "ice", "found": True}], "observed_at": at}
    assert (
        refused(olga, entry(book.operator, "look", body, at), 409, "has not come in yet")["needs"]
        == "start"
    )


def test_a_pin_initials_an_entry_with_the_pen_closed_or_of_somebody_else(
    book: Book, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    set_pin(book.operator, PIN, at)
    tablet = as_person(book.inspector)
    answer = send(tablet, entry(book.operator, "reading", reading(smoke, at, "61.2"), at, pin=PIN))
    assert answer.status_code == 200, answer.content
    line = BookLine.objects.order_by("-number").first()
    assert line is not None
    assert (line.person, json.loads(line.content)["by"]) == (book.operator, "PIN")


def test_a_wrong_pin_writes_nothing_and_says_how_many_tries_are_left(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    set_pin(book.operator, PIN, at)
    made = entry(book.operator, "reading", reading(smoke, at, "61.2"), at, pin="9999")
    assert refused(olga, made, 403, "4 tries are left")["needs"] == "pin"


def test_too_many_wrong_pins_wait_and_stop_nobody_else(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    set_pin(book.operator, PIN, at)
    wrong = entry(book.operator, "reading", reading(smoke, at, "61.2"), at, pin="9999")
    right = entry(book.operator, "reading", reading(smoke, at, "61.2"), at, pin=PIN)
    for _ in range(rules().pin_tries):
        send(olga, wrong)
    said = refused(olga, right, 429, "Wait 15 min")
    assert said["until"] == at + rules().pin_wait_ms
    elsewhere = olga.post(reverse("entry_take"), json.dumps(right), content_type="application/json",
                          REMOTE_ADDR="192.0.2.7")  # fmt: skip
    assert elsewhere.status_code == 200
    later = clock("08:36")
    again = entry(book.operator, "reading", reading(smoke, later, "62.0"), later, pin=PIN, number=2)
    assert send(olga, again).status_code == 200


def test_a_pin_typed_for_one_entry_proves_no_other(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    set_pin(book.operator, PIN, at)
    tablet = as_person(book.inspector)
    made = entry(book.operator, "reading", reading(smoke, at, "61.2"), at, pin=PIN)
    moved = made | {"body": json.dumps(reading(smoke, at, "161.2"))}
    refused(tablet, moved, 403, "typed for another entry")
    refused(tablet, made | {"seal": "AAAA"}, 403, "must be typed again")
    refused(tablet, made | {"seal": ""}, 403, "waits for the PIN of Olga Operator")


def test_without_a_log_in_nothing_is_taken_and_the_tablet_is_told(
    book: Book, client: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    made = entry(book.operator, "reading", reading(smoke, at, "61.2"), at)
    assert refused(client, made, 401, "log in") == {"needs": "log in"}
    assert client.get(reverse("beside_data")).status_code == 401


def test_who_may_not_log_is_told_so(book: Book, clock: Clock, smoke: Load) -> None:
    at = clock("08:20")
    made = entry(book.inspector, "reading", reading(smoke, at, "61.2"), at)
    assert refused(as_person(book.inspector), made, 403, "right of operator")["needs"] == "right"


def test_a_clock_set_since_is_asked_about_and_taken_once_somebody_has_said(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("09:00")
    made = entry(
        book.operator, "reading", reading(smoke, at - 10 * MIN, "61.2"), at, sent_at=at - 37 * MIN
    )
    refused(olga, made, 422, "clock was set by 37 min")
    said = json.dumps(reading(smoke, at - 10 * MIN, "61.2") | {"settled": True})
    assert send(olga, made | {"body": said}).status_code == 200


def test_an_unlikely_figure_is_asked_about_and_taken_once_confirmed(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    body = reading(smoke, at, "390")
    assert refused(olga, entry(book.operator, "reading", body, at), 422, "unlikely")["unlikely"]
    body["figures"][0]["confirmed"] = True
    assert send(olga, entry(book.operator, "reading", body, at)).status_code == 200


def test_a_late_one_says_why(book: Book, olga: Client, clock: Clock, smoke: Load) -> None:
    at = clock("09:00")
    body = reading(smoke, moment("08:20"), "61.2")
    refused(olga, entry(book.operator, "reading", body, at), 422, "Say why it comes late")


def test_an_end_now_on_a_tablet_a_second_ahead_is_an_end_now(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("09:00")
    made = entry(book.operator, "end", {"load": smoke.pk, "observed_at": at + 900}, at)
    assert send(olga, made).status_code == 200
    assert smoke.ends.get().ended_at == at
    later = clock("09:10")
    body = {"load": smoke.pk, "observed_at": later + 5 * MIN}
    refused(olga, entry(book.operator, "end", body, later, number=2), 422, "already ended")


def test_waiting_in_a_queue_is_not_lateness(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    entered = moment("08:20")
    at = clock("11:00")
    made = entry(book.operator, "reading", reading(smoke, entered, "61.2"), entered, sent_at=at)
    assert send(olga, made).status_code == 200


UNREADABLE: tuple[Any, ...] = (
    "", "[]", "{", "null", "7", '"x"', "{}", '{"key": 7}', "[" * 5000, "NaN", "x" * 300_000,
)  # fmt: skip


@pytest.mark.parametrize("raw", UNREADABLE, ids=lambda raw: str(raw)[:8])
def test_what_is_no_entry_is_refused(raw: str, book: Book, olga: Client) -> None:
    refused(olga, raw, 422, "Nothing was written")


CHANGES: tuple[dict[str, Any], ...] = (
    {"key": "short"}, {"key": "Z" * 32}, {"kind": "delete"}, {"person": 10**30}, {"person": "1"},
    {"person": 99_999}, {"body": ""}, {"body": "[]"}, {"body": "{"}, {"body": 5}, {"seal": 5},
    {"entered_at": None}, {"entered_at": 1.5}, {"entered_at": True}, {"offset_ms": "0"},
    {"sent_at": 10**20}, {"body": '{"observed_at": NaN}'}, {"body": '"\\u0000"'},
)  # fmt: skip
BODIES: tuple[dict[str, Any], ...] = (
    {"observed_at": None}, {"observed_at": -1}, {"observed_at": 10**15}, {"observed_at": "08:00"},
    {"place": 99_999, "load": None}, {"load": 99_999}, {"load": "x"}, {"load": []}, {"load": {"key": 5}},
    {"figures": None}, {"figures": {}}, {"figures": []}, {"figures": [5]}, {"figures": [{}] * 61},
    {"figures": [{"as_read": 5, "unit": "F"}]}, {"figures": [{"as_read": "x", "unit": "F"}]},
    {"figures": [{"as_read": "61", "unit": "K"}]}, {"figures": [{"as_read": "61", "unit": "F", "instrument": 99}]},
    {"figures": [{"as_read": "61", "unit": "F", "quantity": "spite"}]},
    {"figures": [{"as_read": "61", "unit": "F", "confirmed": "yes"}]},
    {"figures": [{"as_read": "61", "unit": "F", "probe": "x" * 41}]},
    {"figures": [{"as_read": "6", "unit": "F"}, {"as_read": "7", "unit": "F"}]},
    {"late_reason": "x" * 301}, {"note": 5}, {"note": "\ud800"}, {"note": "a\x00b"}, {"settled": 1},
)  # fmt: skip


@pytest.mark.parametrize("changes", CHANGES, ids=str)
def test_an_envelope_of_another_shape_is_refused(
    changes: dict[str, Any], book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    before = lines()
    answer = send(olga, entry(book.operator, "reading", reading(smoke, at, "61.2"), at) | changes)
    assert (answer.status_code, lines()) == (422, before), answer.content


@pytest.mark.parametrize("changes", BODIES, ids=lambda changes: str(changes)[:60])
def test_a_body_of_another_shape_is_refused(
    changes: dict[str, Any], book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    body = reading(smoke, at, "61.2") | changes
    moved = {"sent_at": at - 37 * MIN} if "settled" in changes else {}
    before = lines()
    answer = send(olga, entry(book.operator, "reading", body, at) | moved)
    assert (answer.status_code in (409, 422), lines()) == (True, before), answer.content


OTHERS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("look", {"load": None}), ("look", {"load": 99_999}), ("look", {"looks": None}),
    ("look", {"looks": []}), ("look", {"looks": [{"what": "", "found": True}]}),
    ("look", {"looks": [{"what": "ice", "found": "yes"}]}),
    ("look", {"looks": [{"what": "x" * 201, "found": True}]}),
    ("start", {"place": 99_999}), ("start", {"place": True}), ("start", {"portions": None}),
    ("start", {"portions": []}), ("start", {"portions": [7]}), ("start", {"portions": [{}]}),
    ("start", {"portions": [{"lot": 99_999, "step": "hold", "grams": 1}]}),
    ("start", {"portions": [{"lot": "LOT", "step": "candy", "grams": 1}]}),
    ("start", {"portions": [{"lot": "LOT", "step": "hold", "grams": 10**15}]}),
    ("start", {"portions": [{"lot": "LOT", "step": "hold", "grams": -1}]}),
    ("start", {"portions": [{"lot": "LOT", "step": "hold", "grams": 0.5}]}),
    ("start", {"portions": [{"lot": "LOT", "step": "hold", "grams": 12_000}] * 2}),
    ("end", {"load": None}), ("end", {"load": {}}), ("end", {"observed_at": 2**53}),
    ("finish", {"lot": None}), ("finish", {"lot": 99_999}), ("finish", {"packed_g": -5}),
    ("finish", {"packed_g": 10**15}), ("finish", {"packs": -1}), ("finish", {"packs": 10**9}),
    ("finish", {"packs": None}), ("note", {"text": ""}), ("note", {"text": "x" * 2001}),
    ("note", {"text": None}), ("note", {"load": 99_999}), ("note", {"lot": 99_999}),
    ("note", {"lot": {"key": "a"}}), ("note", {"observed_at": None}),
)  # fmt: skip


@pytest.mark.parametrize(("kind", "changes"), OTHERS, ids=str)
def test_each_kind_of_another_shape_is_refused(
    kind: str, changes: dict[str, Any], book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    lot = book.open_lot("TR-9", at="08:10")
    whole = {
        "look": {"load": smoke.pk, "looks": [{"what": "ice", "found": True}]},
        "start": {
            "place": book.place("Cooler").pk,
            "portions": [{"lot": lot.pk, "step": "hold", "grams": 20_000}],
        },
        "end": {"load": smoke.pk},
        "finish": {"lot": lot.pk, "packed_g": 1, "packs": 1},
        "note": {"load": smoke.pk, "lot": None, "text": "x"},
    }[kind] | {"observed_at": at, "late_reason": "", "note": ""}
    text = json.dumps(whole | changes).replace('"LOT"', str(lot.pk))
    before = lines()
    answer = send(olga, entry(book.operator, kind, {}, at) | {"body": text})
    assert (answer.status_code in (409, 422), lines()) == (True, before), answer.content


def test_an_entry_of_megabytes_is_refused_in_words(book: Book, olga: Client) -> None:
    refused(olga, "x" * 3_000_000, 422, "Nothing was written")


def test_a_key_of_somebody_elses_entry_is_refused(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    at = clock("08:20")
    assert send(olga, entry(book.operator, "note", {"text": "x", "observed_at": at}, at)).json()
    other = entry(book.operator, "end", {"load": smoke.pk, "observed_at": at}, at)
    assert refused(olga, other, 422, "")["refused"]


def test_a_finish_sent_again_is_kept_once_and_says_so(
    book: Book, olga: Client, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = book.open_lot("TR-1")
    at = clock("08:20")
    monkeypatch.setattr("lots.entries.lot._check_finish", lambda *_: None)  # about the key alone
    body = {"lot": lot.pk, "packed_g": 9_000, "packs": 60, "observed_at": at}
    made = entry(book.operator, "finish", body, at)
    first, before = send(olga, made), lines()
    assert first.status_code == 200, first.content
    again = send(olga, made).json()
    assert (again["line"], again["repeated"], lines()) == (first.json()["line"], True, before)
