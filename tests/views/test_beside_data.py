"""What a tablet goes on with when there is no network; and how an entry by PIN is shown afterwards."""

import json
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lots.entries.moments import Moments
from lots.entries.note import write_note
from lots.entries.pins import set_pin
from lots.entries.reading import enter_readings
from lots.entries.readings import Figure
from lots.models.lot import Load, Note
from lots.queries.house import establishment, rules
from lots.queries.record import lot_record
from lots.queries.record_loads import initials_of
from tests.make import Book, moment, seen
from tests.views.pages import as_person, lines, refused

Clock = Callable[[str], int]
MIN = 60_000
H = 60 * MIN


def data(browser: Client, **headers: str) -> dict[str, Any]:
    answer = browser.get(reverse("beside_data"), headers=headers)
    assert answer.status_code == 200
    assert "no-store" in answer["Cache-Control"]
    return dict(answer.json())


@pytest.fixture
def smoke(book: Book) -> Load:
    return book.start("smoke", "Smokehouse 1", "08:00", book.open_lot("TR-1"))


def test_an_empty_house_has_places_people_and_nothing_due(book: Book, olga: Client) -> None:
    said = data(olga)
    assert (said["loads"], said["lots"], said["due"], said["round"]) == ([], [], [], [])
    assert {one["name"] for one in said["places"]} >= {"Cooler", "Smokehouse 1"}
    assert all(one["last"] is None for one in said["places"])
    assert (said["unit"], said["weight_unit"], said["zone"]) == ("F", "kg", "America/New_York")
    assert said["pin_key"]["spki"] and said["csrf"] and said["board"]


def test_only_operators_are_named_with_whether_they_have_a_pin(book: Book, olga: Client) -> None:
    mine = {"id": book.operator.pk, "name": "Olga Operator", "initials": "OO"}
    people = {one["id"]: one for one in data(olga)["people"]}
    assert people[book.operator.pk] == mine | {"pin": False}
    assert book.inspector.pk not in people
    set_pin(book.operator, "4071", moment("08:00"))
    people = {one["id"]: one for one in data(olga)["people"]}
    assert people[book.operator.pk] == mine | {"pin": True}


def test_nothing_in_it_tells_a_pin_or_a_password(book: Book, olga: Client) -> None:
    set_pin(book.operator, "4071", moment("08:00"))
    text = olga.get(reverse("beside_data")).content.decode()
    book.operator.login.refresh_from_db()
    assert book.operator.login.pin not in text and book.operator.login.password not in text


def test_a_load_comes_with_its_limits_fish_and_last_readings(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    book.fish(smoke, "08:10 61.3")
    clock("08:15")
    said = data(olga)
    (one,) = said["loads"]
    assert (one["id"], one["step_id"], one["subject"]) == (smoke.pk, "smoke", "fish")
    assert one["since"] == moment("08:00")
    assert [lot["code"] for lot in one["lots"]] == ["TR-1"]
    assert one["probes"] == ["fish 1", "fish 2", "fish 3"]
    last = one["last"]["fish 1"]
    assert (last["text"], last["at"], last["by"]) == ("61.3 °F", moment("08:10"), "OO")
    assert any("145 °F" in limit["demand"] for limit in one["limits"])
    assert all(limit["action"] for limit in one["limits"])


def test_a_plain_bound_is_given_to_judge_by_and_a_time_of_heat_is_not(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    book.start("hold", "Cooler", "07:30", book.open_lot("TR-2", at="07:05"))
    clock("08:15")
    by_step = {one["step_id"]: one["limits"] for one in data(olga)["loads"]}
    plain = [limit["judge"] for limit in by_step["hold"] if limit["judge"]]
    assert plain and all(one["high"]["F"] == 40_000 for one in plain)  # 40 °F: (40 - 32) * 5000
    heat = [limit for limit in by_step["smoke"] if "145 °F" in limit["demand"]]
    assert heat and all(limit["judge"] is None for limit in heat)


def test_the_next_reading_is_due_of_what_the_limit_looks_at(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    book.fish(smoke, "08:10 60.0")
    clock("09:00")
    said = data(olga)
    assert said["due"][0]["where"] == {"load": smoke.pk}
    assert said["due"][0]["at"] == moment("10:10")


def test_a_cold_place_due_within_the_shift_stands_in_the_round(
    book: Book, olga: Client, clock: Clock
) -> None:
    book.start("hold", "Cooler", "07:30", book.open_lot("TR-1"))
    book.at_place("Cooler", "07:40 36.4")
    clock("07:45")
    assert data(olga)["round"] == []  # due in 16 h
    clock("17:00")
    said = data(olga)
    (one,) = said["round"]
    assert one["place"] == book.place("Cooler").pk
    assert said["now"] < one["at"] <= said["now"] + 8 * H
    cooler = next(row for row in said["places"] if row["name"] == "Cooler")
    assert (cooler["last"]["text"], cooler["lots"]) == ("36.4 °F", ["TR-1"])


def test_time_at_heat_still_to_be_shown_has_its_earliest_moment(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    book.fish(smoke, "08:10 146.0, 08:20 147.0")
    clock("08:21")
    (one,) = data(olga)["loads"]
    heat = [clock_ for clock_ in one["clocks"] if "20 min still to be shown" in clock_["label"]]
    assert [(each["kind"], each["at"]) for each in heat] == [("at least", moment("08:40"))]


def test_time_at_heat_that_was_broken_off_promises_no_moment(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    book.fish(smoke, "08:10 146.0, 08:20 147.0, 08:25 140.0, 08:30 146.0")
    clock("08:31")
    (one,) = data(olga)["loads"]
    assert not [each for each in one["clocks"] if "still to be shown" in each["label"]]


def test_lots_in_hand_say_what_is_free_and_which_step_is_next(
    book: Book, olga: Client, clock: Clock
) -> None:
    lot = book.open_lot("TR-1", kg=20)
    clock("07:30")
    (one,) = data(olga)["lots"]
    assert (one["id"], one["free_g"], one["finished"]) == (lot.pk, 20_000, False)
    assert len([step for step in one["steps"] if step["next"]]) == 1
    book.start("hold", "Cooler", "07:40", lot, kg=5)
    clock("07:45")
    assert data(olga)["plans"][0]["points"]


def test_the_opening_page_carries_the_same_data(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("08:15")
    page = olga.get(reverse("shift")).content.decode()
    held = re.search(r'<script id="shift-data" type="application/json">(.*?)</script>', page, re.S)
    assert held is not None
    embedded, asked = json.loads(held[1]), data(olga)
    for one in (embedded, asked):
        one.pop("csrf")
        one.pop("board", None)
    assert embedded == asked


@pytest.mark.pens_close
def test_a_closed_pen_stays_closed_whatever_the_page_asks_by_itself(
    book: Book, olga: Client, clock: Clock
) -> None:
    at = clock("08:00")
    assert data(olga)["pen"]["open"]
    minutes = rules().lock_after_ms // MIN
    for passed in range(1, minutes + 2):
        clock(f"{8 + passed // 60:02}:{passed % 60:02}")
        said = data(olga, **{"X-Beside": "poll"})
        assert said["pen"]["open"] == (passed <= minutes), passed
    assert said["pen"]["locks_at"] == at + rules().lock_after_ms
    assert said["loads"] == [] and said["places"]  # still in sight


def test_more_lots_in_a_load_cost_no_more_queries(book: Book, olga: Client, clock: Clock) -> None:
    clock("07:50")
    book.start("hold", "Cooler", "07:30", book.open_lot("TR-1"))
    data(olga)
    with CaptureQueriesContext(connection) as few:
        data(olga)
    book.start("dry", "Dry room", "07:31", *[book.open_lot(f"WF-{n}") for n in range(9)])
    with CaptureQueriesContext(connection) as many:
        data(olga)
    assert len(many) - len(few) <= 6  # of the other load; nothing for each lot


def by_pin(book: Book, load: Load, at: int, by: str = "PIN") -> str:
    when = Moments(at, at, at, by=by)
    figures = [Figure("61.3", "F", "fish 1")]
    kept = enter_readings(book.operator, load.place, load, figures, when)
    return initials_of(kept.readings[0].line)


@pytest.mark.parametrize("by", ["PIN", "paper"])
def test_initials_say_how_an_entry_came(by: str, book: Book, clock: Clock, smoke: Load) -> None:
    assert by_pin(book, smoke, moment("08:10"), by) == f"OO ({by})"
    assert by_pin(book, smoke, moment("08:20"), "") == "OO"


def test_words_of_a_person_never_pass_for_how_an_entry_came(book: Book, smoke: Load) -> None:
    lot = book.open_lot('x","by":"PIN')
    assert initials_of(lot.line) == "OO"


def test_the_load_page_and_the_record_say_that_a_reading_came_by_pin(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    by_pin(book, smoke, moment("08:10"))
    at = clock("08:15")
    assert "OO (PIN)" in olga.get(reverse("load_show", args=[smoke.pk])).content.decode()
    record = lot_record(book.lots["TR-1"], establishment(), book.reviewer, at)
    hands = [hand.initials for hand in record.readings if hand.load == smoke.pk]
    assert hands == ["OO (PIN)"]


def test_a_page_used_with_the_pen_opened_by_pin_says_so_too(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("08:10")
    session = olga.session
    session["pen_by"] = "pin"
    session.save()
    olga.post(reverse("reading_load", args=[smoke.pk]), {"read_fish 1": "61.3", "unit": "F"})
    assert "OO (PIN)" in olga.get(reverse("load_show", args=[smoke.pk])).content.decode()


def test_a_note_written_on_a_page_stands_with_its_load_and_its_lot(
    book: Book, olga: Client, clock: Clock, smoke: Load
) -> None:
    clock("08:10")
    answer = olga.post(
        reverse("load_note", args=[smoke.pk]), {"text": "door <b>open</b>", "observed_at": ""}
    )
    assert answer.status_code == 302
    assert Note.objects.get().load == smoke
    for url in (reverse("load_show", args=[smoke.pk]), reverse("lot_show", args=["TR-1"])):
        assert "door &lt;b&gt;open&lt;/b&gt;" in olga.get(url).content.decode()


def test_a_note_about_one_lot_stands_on_its_page_alone(
    book: Book, olga: Client, clock: Clock
) -> None:
    other, lot = book.open_lot("TR-2"), book.open_lot("TR-1")
    write_note(book.operator, None, lot, "two soft fish", seen("07:20"))
    clock("08:10")
    assert "two soft fish" in olga.get(reverse("lot_show", args=["TR-1"])).content.decode()
    assert "two soft fish" not in olga.get(reverse("lot_show", args=[other.code])).content.decode()


def test_an_empty_note_is_asked_for_again(book: Book, olga: Client, smoke: Load) -> None:
    url = reverse("load_note", args=[smoke.pk])
    refused(olga, url, {"text": "", "observed_at": ""}, "text", "Fill this in")


def test_who_may_not_log_writes_no_note_on_a_page(book: Book, smoke: Load, clock: Clock) -> None:
    before = lines()
    url = reverse("load_note", args=[smoke.pk])
    assert as_person(book.inspector).post(url, {"text": "x"}).status_code == 403
    assert lines() == before
