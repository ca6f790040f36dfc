"""The opening page and its views in every state (filled, refused, offline, waiting, locked, deviation), by
day and by night, upright, lengthwise and on a phone."""

from typing import Any

import pytest

from tests.journeys.hands import Hands, new_hands
from tests.journeys.looked_at import LANDSCAPE, PHONE, UPRIGHT, Fault, faults, told
from tests.journeys.served import Served
from tests.journeys.test_offline import loads_of_two_lots

pytestmark = pytest.mark.journey

ALL = (LANDSCAPE, UPRIGHT, PHONE)


def views(served: Served) -> list[str]:
    fish, tank = loads_of_two_lots(served)
    number = fish.split("/")[1]
    lot = served.ask("SELECT id FROM lots_lot ORDER BY id DESC LIMIT 1")[0][0]
    plan = served.ask("SELECT id FROM lots_planversion ORDER BY id LIMIT 1")[0][0]
    return [
        "", f"read/{fish}", f"read/{tank}", f"load/{number}", f"look/{number}", f"note/{number}",
        f"end/{number}", "start", "lots", f"finish/{lot}", f"plan/{plan}", "waiting", "read/place/999999",
    ]  # fmt: skip


def show(tablet: Hands, view: str) -> None:
    tablet.page.evaluate("where => { location.hash = 'lots'; location.hash = where; }", view)
    tablet.page.wait_for_timeout(150)


def look_at(
    tablet: Hands, served: Served, state: str, which: list[str] | None = None
) -> list[Fault]:
    out: list[Fault] = []
    for view in views(served) if which is None else which:
        show(tablet, view)
        out += faults(tablet.page, f"{state} #{view}", ALL)
    return out


def test_filled_and_locked(browser: Any, served: Served) -> None:
    tablet = new_hands(browser, served)
    tablet.log_in()
    found = look_at(tablet, served, "filled")
    tablet.page.set_viewport_size(UPRIGHT)
    show(tablet, "")
    tablet.page.click("button:has-text('Close the pen')")
    tablet.page.wait_for_selector("#strip :text('Pen closed')")
    _, tank = loads_of_two_lots(served)
    found += look_at(tablet, served, "locked", ["", f"read/{tank}"])
    tablet.page.set_viewport_size(UPRIGHT)
    show(tablet, f"read/{tank}")
    tablet.type("43.1")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector(".names")
    found += faults(tablet.page, "locked, who", ALL)
    tablet.page.click(".button-name:has-text('OT')")
    tablet.page.wait_for_selector(".pin")
    found += faults(tablet.page, "locked, PIN", ALL)
    for path in ("/pen/", "/lots/"):
        tablet.page.goto(served.base + path)
        found += faults(tablet.page, f"locked {path}", ALL)
    assert not found, told(found)


def test_refused_and_deviation(browser: Any, served: Served) -> None:
    tablet = new_hands(browser, served)
    tablet.log_in()
    fish, tank = loads_of_two_lots(served)
    number = int(fish.split("/")[1])
    place = served.ask("SELECT place_id FROM lots_load WHERE id = ?", number)[0][0]
    olive = served.ask("SELECT id FROM lots_person WHERE username = 'olive'")[0][0]
    body = {"place": place, "load": number, "observed_at": 10**12, "late_reason": "x", "note": "",
            "figures": [{"as_read": "150.5", "unit": "F", "probe": "probe 1"}]}  # fmt: skip
    key = tablet.queue(
        "put",
        {"kind": "reading", "person": olive, "body": body, "label": "an odd one", "shown": None},
    )
    tablet.queue("send")
    found = look_at(tablet, served, "refused", ["", "waiting", f"mend/{key}", f"answer/{key}"])
    tablet.page.set_viewport_size(UPRIGHT)
    show(tablet, f"read/{tank}")
    tablet.type("435")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector("[role=alertdialog]")
    found += faults(tablet.page, "asked about", ALL)
    tablet.page.set_viewport_size(UPRIGHT)
    tablet.page.locator("summary").last.click()
    tablet.page.locator("button:text-is('−1 h')").click()
    found += faults(tablet.page, "late", ALL)
    cooler = served.ask(
        "SELECT load.place_id FROM lots_load load JOIN lots_place place ON place.id = load.place_id"
        " WHERE place.kind = 'cooler' AND NOT EXISTS (SELECT 1 FROM lots_loadend e WHERE e.load_id = load.id)"
    )[0][0]
    tablet.page.set_viewport_size(UPRIGHT)
    tablet.read(f"place/{cooler}", "47.5")
    tablet.page.wait_for_selector(".answer-deviation")
    tablet.queue("send")
    found += faults(tablet.page, "deviation, answer", ALL)
    show(tablet, "")
    tablet.page.wait_for_selector("#alerts .box-refusal")
    found += faults(tablet.page, "deviation, board", ALL)
    assert not found, told(found)


def test_offline_and_waiting(browser: Any, served: Served) -> None:
    tablet = new_hands(browser, served)
    tablet.log_in()
    tablet.keep_the_page()
    tablet.page.context.set_offline(True)
    tablet.page.reload()
    tablet.page.wait_for_selector("#strip :text('No network')")
    found = look_at(tablet, served, "offline", [""])
    fish, tank = loads_of_two_lots(served)
    tablet.page.set_viewport_size(UPRIGHT)
    tablet.read(tank, "43.4")
    found += faults(tablet.page, "offline, answer", ALL)
    found += look_at(tablet, served, "waiting", ["", "waiting", f"load/{fish.split('/')[1]}"])
    tablet.page.goto(served.base + "/lots/")
    found += faults(tablet.page, "offline, another page", ALL)
    assert not found, told(found)
