"""The network cut in the middle: nothing entered is lost, nothing is taken twice, all of it in order."""

from typing import Any

import pytest

from tests.journeys.hands import Hands, new_hands
from tests.journeys.served import Served

pytestmark = pytest.mark.journey


def loads_of_two_lots(house: Served) -> tuple[str, str]:
    """Where two different lots are read: the fish in the smokehouse, and the brine tank."""
    found = dict(
        house.ask(
            "SELECT place.kind, load.id FROM lots_load load JOIN lots_place place ON place.id = load.place_id"
            " WHERE NOT EXISTS (SELECT 1 FROM lots_loadend e WHERE e.load_id = load.id)"
        )
    )
    tank = house.ask("SELECT place_id FROM lots_load WHERE id = ?", found["brine tank"])[0][0]
    return f"load/{found['smokehouse']}", f"place/{tank}"


def enter_thirty(tablet: Hands, house: Served, reload: bool = True) -> None:
    """Thirty entries by the keys, alternately for two lots; the page is loaded anew twice meanwhile."""
    fish, tank = loads_of_two_lots(house)
    for number in range(30):
        if number % 2:
            tablet.read(tank, f"43.{number % 10}")
        else:
            tablet.read(fish, *(f"1{number + 10}.{n}" for n in range(3)))
        if reload and number in (9, 19):
            tablet.page.reload()
            tablet.page.wait_for_selector("#strip > *")


def check_stored(tablet: Hands, house: Served, count: int) -> None:
    """Each once, in the order in which they were entered, with the moments at which they were read."""
    entries = [entry for entry in tablet.entries() if entry["kind"] == "reading"][-count:]
    assert len(entries) == count
    assert {entry["state"] for entry in entries} == {"stored"}
    numbers = []
    for entry in entries:
        lines = house.ask("SELECT number FROM lots_bookline WHERE client_key = ?", entry["key"])
        assert len(lines) == 1, entry["label"]
        numbers.append(lines[0][0])
        kept = house.ask(
            "SELECT as_read, observed_at, entered_at FROM lots_reading WHERE line_id = ? ORDER BY id",
            lines[0][0],
        )
        typed = [figure["as_read"] for figure in entry["body"]["figures"]]
        assert [row[0] for row in kept] == typed
        assert {row[1] for row in kept} == {entry["body"]["observed_at"]}
        assert {row[2] for row in kept} == {entry["entered_at"]}
    assert numbers == sorted(numbers)


def test_thirty_entries_made_without_a_server_are_stored_once_in_order(
    browser: Any, served: Served
) -> None:
    tablet = new_hands(browser, served)
    tablet.log_in()
    tablet.keep_the_page()
    served.stop()
    enter_thirty(tablet, served)
    assert tablet.waiting() == 30
    tablet.page.reload()
    tablet.page.wait_for_selector(".strip-waits")
    assert "30 entries wait" in tablet.page.inner_text("#strip")
    assert "No network" in tablet.page.inner_text("#strip")
    served.start()
    tablet.until_sent()
    check_stored(tablet, served, 30)
    tablet.page.wait_for_function("() => !document.querySelector('.strip-waits')")


def test_the_sending_cut_after_each_entry_in_turn_loses_and_doubles_nothing(
    browser: Any, served: Served
) -> None:
    tablet = new_hands(browser, served, service_workers="block")
    tablet.log_in()
    tablet.page.context.set_offline(True)
    enter_thirty(tablet, served, reload=False)
    assert tablet.waiting() == 30
    cut: set[str] = set()

    def take_and_say_nothing(route: Any) -> None:
        """The server hears each entry; its first answer never arrives."""
        key = route.request.post_data_json["key"]
        if key in cut:
            route.continue_()
            return
        cut.add(key)
        assert route.fetch().status == 200
        route.abort()

    tablet.page.route("**/entries/", take_and_say_nothing)
    tablet.page.context.set_offline(False)
    tablet.until_sent(seconds=120)
    assert len(cut) == 30
    check_stored(tablet, served, 30)


def test_the_session_gone_meanwhile_leaves_the_queue_as_it_is(browser: Any, served: Served) -> None:
    tablet = new_hands(browser, served, service_workers="block")
    tablet.log_in()
    tablet.page.context.set_offline(True)
    _, tank = loads_of_two_lots(served)
    for number in range(4):
        tablet.read(tank, f"44.{number}")
    served.ask("DELETE FROM django_session")
    tablet.page.context.set_offline(False)
    tablet.queue("send")
    assert tablet.waiting() == 4
    tablet.page.evaluate("location.hash = ''")
    tablet.page.wait_for_selector("#strip a:has-text('logged out')")
    tablet.log_in("bram")
    tablet.until_sent()
    check_stored(tablet, served, 4)
    who = served.ask(
        "SELECT DISTINCT person.username FROM lots_bookline line JOIN lots_person person"
        " ON person.id = line.person_id JOIN lots_reading reading ON reading.line_id = line.number"
        " WHERE reading.as_read LIKE '44.%' AND line.client_key IS NOT NULL"
    )
    assert who == [("olive",)]  # initialled by her PIN, whoever logged in since


def test_a_wrong_pin_keeps_only_that_person_s_entries(browser: Any, served: Served) -> None:
    tablet = new_hands(browser, served, service_workers="block")
    tablet.log_in()
    _, tank = loads_of_two_lots(served)
    tablet.page.click("button:has-text('Close the pen')")
    tablet.page.wait_for_selector("text=Pen closed")
    tablet.page.context.set_offline(True)
    for who, pin in (("olive", "9041"), ("bram", ""), ("olive", "9041"), ("bram", "")):
        tablet.go(f"read/{tank}")
        tablet.type("45.1")
        tablet.page.click(".key-store")
        tablet.page.wait_for_selector(".names")
        tablet.initial(who, pin)
        tablet.page.wait_for_selector(".answer")
    tablet.page.context.set_offline(False)
    tablet.until_sent(left=2)
    open_yet = [entry for entry in tablet.entries() if entry["state"] == "waiting"]
    assert [entry["needs"] for entry in open_yet] == ["pin", "pin"]
    tries = served.ask("SELECT sum(failures) FROM lots_pintry")[0][0]
    assert tries == 1  # what was sealed with the same PIN was not tried again
    tablet.go("waiting")
    tablet.page.locator("button:has-text('Type the PIN again')").first.click()
    tablet.type(served.pins["olive"])
    tablet.page.click("button:text-is('Done')")
    tablet.until_sent()
    assert tablet.waiting() == 0


def test_a_refused_entry_is_kept_mended_and_sent(browser: Any, served: Served) -> None:
    tablet = new_hands(browser, served, service_workers="block")
    tablet.log_in()
    fish, _ = loads_of_two_lots(served)
    body = {"place": 0, "load": int(fish.split("/")[1]), "observed_at": 1_000_000_000_000, "late_reason": "x",
            "note": "", "figures": [{"as_read": "150.5", "unit": "F", "probe": "probe 1"}]}  # fmt: skip
    body["place"] = served.ask("SELECT place_id FROM lots_load WHERE id = ?", body["load"])[0][0]
    olive = served.ask("SELECT id FROM lots_person WHERE username = 'olive'")[0][0]
    tablet.queue(
        "put",
        {"kind": "reading", "person": olive, "body": body, "label": "an odd one", "shown": None},
    )
    tablet.queue("send")
    assert [entry["state"] for entry in tablet.entries()] == ["refused"]
    tablet.page.reload()
    tablet.page.click(".strip-waits")
    tablet.page.wait_for_selector("#beside :text('years away')")
    tablet.page.click("button:has-text('Put it right')")
    tablet.page.wait_for_selector(".pad-figure")
    assert tablet.page.inner_text(".pad-figure") == "150.5"
    tablet.page.locator("summary").last.click()
    tablet.page.click("button:text-is('Now')")
    tablet.page.click(".key-store")
    tablet.until_sent()
    assert tablet.entries()[-1]["state"] == "stored"
