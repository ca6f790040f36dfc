"""The reading pad and what else is entered beside the smoker, by its keys and by a keyboard."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.journeys.hands import Hands, new_hands
from tests.journeys.served import Served
from tests.journeys.test_offline import loads_of_two_lots

pytestmark = pytest.mark.journey


@pytest.fixture
def tablet(browser: Any, served: Served) -> Iterator[Hands]:
    one = new_hands(browser, served)
    one.log_in()
    yield one
    one.page.context.close()


def place_of(served: Served, kind: str) -> int:
    found = served.ask(
        "SELECT load.place_id FROM lots_load load JOIN lots_place place ON place.id = load.place_id"
        " WHERE place.kind = ? AND NOT EXISTS (SELECT 1 FROM lots_loadend e WHERE e.load_id = load.id)",
        kind,
    )
    return int(found[0][0])


def stored(served: Served, tablet: Hands) -> list[tuple[Any, ...]]:
    tablet.until_sent()
    key = tablet.entries()[-1]["key"]
    return served.ask(
        "SELECT probe, as_read, unit, late_reason, unlikely_confirmed FROM lots_reading reading"
        " JOIN lots_bookline line ON line.number = reading.line_id WHERE client_key = ? ORDER BY reading.id", key,
    )  # fmt: skip


def test_a_round_of_three_fish_goes_in_one_go(tablet: Hands, served: Served) -> None:
    fish, _ = loads_of_two_lots(served)
    tablet.read(fish, "101.5", "102", "99.8")
    rows = stored(served, tablet)
    assert [(row[0], row[1], row[2]) for row in rows] == [
        ("probe 1", "101.5", "F"), ("probe 2", "102", "F"), ("probe 3", "99.8", "F"),
    ]  # fmt: skip


def ask_of(tablet: Hands) -> str:
    tablet.page.wait_for_selector("[role=alertdialog]")
    return str(tablet.page.inner_text("[role=alertdialog]"))


def test_a_point_forgotten_is_asked_about_before_it_is_stored(
    tablet: Hands, served: Served
) -> None:
    cooler = place_of(served, "cooler")
    tablet.read(f"place/{cooler}", "36.4")
    tablet.go(f"read/place/{cooler}")
    tablet.type("365")
    before = len(tablet.entries())
    tablet.page.click(".key-store")
    assert "36.5 °F was meant" in ask_of(tablet)
    assert len(tablet.entries()) == before
    tablet.page.click("button:has-text('36.5 °F was meant')")
    tablet.page.wait_for_selector(".answer")
    assert stored(served, tablet)[0][1] == "36.5"


def test_a_minus_forgotten_is_asked_about_before_it_is_stored(
    tablet: Hands, served: Served
) -> None:
    freezer = place_of(served, "freezer")
    tablet.read(f"place/{freezer}", "−7.0")
    tablet.go(f"read/place/{freezer}")
    tablet.type("7.2")
    tablet.page.click(".key-store")
    assert "−7.2 °F was meant" in ask_of(tablet)
    tablet.page.click("button:has-text('It does read 7.2 °F')")
    tablet.page.wait_for_selector(".answer")
    assert stored(served, tablet)[0][1] == "7.2"


def test_an_unlikely_figure_that_does_read_so_is_kept_as_confirmed(
    tablet: Hands, served: Served
) -> None:
    cooler = place_of(served, "cooler")
    tablet.go(f"read/place/{cooler}")
    tablet.type("71")
    tablet.page.click(".key-store")
    assert "unlikely" in ask_of(tablet)
    tablet.page.click("button:has-text('It does read')")
    tablet.page.wait_for_selector(".answer")
    row = stored(served, tablet)[0]
    assert (row[1], row[4]) == ("71", 1)


def test_a_deviation_s_verdict_stays_with_the_action_until_somebody_has_read_it(
    tablet: Hands, served: Served
) -> None:
    cooler = place_of(served, "cooler")
    tablet.read(f"place/{cooler}", "47.5")
    tablet.page.wait_for_selector(".answer-deviation")
    assert "What the plan says to do" in tablet.page.inner_text(".answer")
    tablet.until_sent()
    tablet.page.evaluate("location.hash = ''")
    tablet.page.reload()
    tablet.page.wait_for_selector("#alerts .box-refusal")
    tablet.page.click("#alerts button:has-text('Read what to do')")
    tablet.page.click("button:has-text('I have read this')")
    tablet.page.wait_for_selector("#board-view:not([hidden])")
    tablet.page.reload()
    tablet.page.wait_for_selector("#strip > *")
    assert tablet.page.locator("#alerts .box-refusal").count() == 0


def test_an_earlier_reading_says_when_and_why(tablet: Hands, served: Served) -> None:
    cooler = place_of(served, "cooler")
    tablet.go(f"read/place/{cooler}")
    tablet.type("36.0")
    tablet.page.locator(".pad summary").click()
    for _ in range(2):
        tablet.page.click("button:text-is('−15 min')")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector(".pad-asks :text('Say why it comes late')")
    tablet.page.click("button:text-is('Hands were full')")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector(".answer")
    assert stored(served, tablet)[0][3] == "Hands were full"


def test_what_is_half_typed_stands_there_again_after_a_reload(
    tablet: Hands, served: Served
) -> None:
    fish, _ = loads_of_two_lots(served)
    tablet.go(f"read/{fish}")
    tablet.type("101")
    tablet.page.click(".key-next")
    tablet.type("98.")
    tablet.page.reload()
    tablet.page.wait_for_selector(".pad-figure")
    assert tablet.page.inner_text(".pad-figure") == "98."
    assert "101" in tablet.page.inner_text(".fish-tabs")


def test_it_is_used_by_a_keyboard_alone(tablet: Hands, served: Served) -> None:
    tablet.page.wait_for_selector("#board .button-read")
    tablet.page.locator("#board .button-read").first.focus()
    tablet.page.keyboard.press("Enter")
    tablet.page.wait_for_selector(".pad-figure")
    assert tablet.page.evaluate("document.activeElement.tagName") == "H1"
    for letter in ("4", "1", ".", "5", "Backspace", "2"):
        tablet.page.keyboard.press(letter)
    assert tablet.page.inner_text(".pad-figure") == "41.2"
    tablet.page.keyboard.press("Tab")
    inside = "document.querySelector('#beside').contains(document.activeElement)"
    assert tablet.page.evaluate(inside)


def test_a_note_a_look_and_an_end_go_in(tablet: Hands, served: Served) -> None:
    fish, _ = loads_of_two_lots(served)
    number = fish.split("/")[1]
    tablet.go(f"load/{number}")
    tablet.page.click("button:text-is('Write a note')")
    tablet.page.fill("#text", "Alder instead of oak from 10:00")
    tablet.page.click("button:text-is('Store the note')")
    tablet.page.wait_for_selector("#beside .box-stored")
    tablet.go(f"look/{number}")
    tablet.page.fill("#other", "smoke at the vents")
    tablet.page.click("button:text-is('Store what was seen')")
    tablet.page.wait_for_selector("#beside .box-stored")
    tablet.go(f"end/{number}")
    tablet.page.click("button:text-is('End the load')")
    tablet.page.wait_for_selector("#beside .box-stored")
    tablet.until_sent()
    assert served.ask("SELECT text FROM lots_note WHERE load_id = ?", number) == [
        ("Alder instead of oak from 10:00",)
    ]
    assert served.ask("SELECT what FROM lots_observation WHERE load_id = ?", number) == [
        ("smoke at the vents",)
    ]
    assert len(served.ask("SELECT id FROM lots_loadend WHERE load_id = ?", number)) == 1


def test_a_load_begun_without_network_is_read_before_its_start_is_sent(
    browser: Any, served: Served
) -> None:
    tablet = new_hands(browser, served, service_workers="block")
    tablet.log_in()
    tablet.page.context.set_offline(True)
    tablet.go("start")
    tablet.page.locator(".button-first").first.click()
    tablet.page.locator(".button-name").last.click()
    tablet.page.wait_for_selector("text=Start the load")
    asked = tablet.page.locator("[name=declared]")
    if asked.count():  # the step that comes next may be a brining
        asked.first.check()
    tablet.page.click("button:text-is('Start the load')")
    tablet.page.wait_for_selector(".names")
    tablet.initial("olive")
    tablet.page.wait_for_selector("#beside .box-stored")
    tablet.page.evaluate("location.hash = ''")
    tablet.page.wait_for_selector(".load-own")
    tablet.page.click(".load-own .button-read")
    tablet.page.wait_for_selector(".pad-figure")
    tablet.type("41.0")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector(".answer")
    tablet.page.context.set_offline(False)
    tablet.until_sent()
    start, reading = tablet.entries()[-2:]
    assert (start["kind"], reading["kind"]) == ("start", "reading")
    kept = served.ask(
        "SELECT reading.as_read FROM lots_reading reading JOIN lots_load load ON load.id = reading.load_id"
        " JOIN lots_bookline line ON line.number = load.line_id WHERE line.client_key = ?", start["key"],
    )  # fmt: skip
    assert kept == [("41.0",)]


def test_a_fish_left_out_of_a_round_is_asked_about(tablet: Hands, served: Served) -> None:
    # the cooling fish: the smokehouse's load has ended by now
    found = served.ask(
        "SELECT load.id FROM lots_load load WHERE load.step_kind = 'cool'"
        " AND NOT EXISTS (SELECT 1 FROM lots_loadend e WHERE e.load_id = load.id)"
    )
    tablet.go(f"read/load/{found[0][0]}")
    tablet.type("65.1")
    before = len(tablet.entries())
    tablet.page.click(".key-store")
    assert "Not read: probe 2, probe 3" in ask_of(tablet)
    assert len(tablet.entries()) == before
    tablet.page.click("button:text-is('Store without')")
    tablet.page.wait_for_selector(".answer")
    assert "by Olive Tidewick" in tablet.page.inner_text("#beside")
    assert [row[0] for row in stored(served, tablet)] == ["probe 1"]
    tablet.page.locator(".answer .button-wide").click()
    tablet.page.wait_for_selector("#board-view:not([hidden])")
    tablet.go(f"read/load/{found[0][0]}")
    tablet.page.locator(".pad summary").click()
    assert "false" not in tablet.page.inner_text(".pad")


def test_turning_back_from_the_name_and_the_pin_loses_nothing_typed(
    tablet: Hands, served: Served
) -> None:
    tablet.page.click("button:has-text('Close the pen')")
    tablet.page.wait_for_selector("#strip :text('Pen closed')")
    cooler = place_of(served, "cooler")
    tablet.go("note/")
    tablet.page.fill("#text", "The door of the cooler sticks")
    tablet.page.click("button:text-is('Store the note')")
    tablet.page.click(".button-name:has-text('OT')")
    tablet.page.click("button:has-text('nothing is stored yet')")
    assert tablet.page.input_value("#text") == "The door of the cooler sticks"
    tablet.go(f"read/place/{cooler}")
    tablet.type("36")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector(".names")
    tablet.page.keyboard.press("5")  # the pad is away: its keyboard too
    tablet.page.click("button:has-text('nothing is stored yet')")
    assert tablet.page.inner_text(".pad-figure") == "36"
    tablet.page.keyboard.press("7")
    assert tablet.page.inner_text(".pad-figure") == "367"
    assert tablet.waiting() == 0
