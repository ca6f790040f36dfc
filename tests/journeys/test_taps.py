"""How many taps a reading takes, and how soon its verdict stands there on a slow tablet."""

from statistics import median
from typing import Any

import pytest

from tests.journeys.hands import Hands, new_hands
from tests.journeys.served import Served

pytestmark = pytest.mark.journey

SLOWER = 4
WITHIN_MS = 300
RUNS = 15
COUNT = """() => { globalThis.taps = 0; addEventListener('pointerdown', () => { globalThis.taps += 1; }, true); }"""


def count(tablet: Hands) -> int:
    return int(tablet.page.evaluate("globalThis.taps"))


def due(tablet: Hands) -> Any:
    """The button of a place's reading that is due."""
    return tablet.page.locator("#board .button-read[data-read^='place:']").first


def test_unlocked_a_due_reading_takes_three_taps_beside_its_digits(
    browser: Any, served: Served
) -> None:
    tablet = new_hands(browser, served)
    tablet.log_in()
    tablet.page.wait_for_selector("#next .button")
    tablet.page.evaluate(COUNT)
    due(tablet).click()
    tablet.type("41.2")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector(".answer")
    assert count(tablet) - len("41.2") == 2
    tablet.page.locator(".answer .button-wide").click()  # back, or read and acknowledged
    tablet.page.wait_for_selector("#board-view:not([hidden])")
    assert count(tablet) - len("41.2") == 3


def test_from_the_locked_page_it_takes_the_reading_store_the_name_and_the_pin(
    browser: Any, served: Served
) -> None:
    tablet = new_hands(browser, served)
    tablet.log_in()
    tablet.page.click("button:has-text('Close the pen')")
    tablet.page.wait_for_selector("#strip :text('Pen closed')")
    tablet.page.evaluate(COUNT)
    due(tablet).click()
    tablet.type("41.3")
    tablet.page.click(".key-store")
    tablet.page.wait_for_selector(".names")
    tablet.initial("olive")
    tablet.page.wait_for_selector(".answer")
    digits = len("41.3") + len(served.pins["olive"])
    # the due reading, store, the own name, and “Done” after a PIN of four
    assert count(tablet) - digits == 4
    tablet.until_sent()
    kept = served.ask(
        "SELECT content FROM lots_bookline WHERE client_key = ?", tablet.entries()[-1]["key"]
    )
    assert '"by":"PIN"' in kept[0][0]


MEASURE = """async ([where, digits]) => {
    const wait = () => new Promise(done => requestAnimationFrame(done));
    location.hash = '';
    while (document.querySelector('#board-view').hidden) await wait();
    location.hash = where;
    while (!document.querySelector('.pad-figure')) await wait();
    for (const digit of digits.slice(0, -1)) document.querySelector(`.keys .key-${digit}`).click();
    await wait();
    const begun = performance.now();
    document.querySelector(`.keys .key-${digits.at(-1)}`).click();
    document.querySelector('.key-store').click();
    while (!document.querySelector('.answer .verdict')) await wait();
    return performance.now() - begun;
}"""


def test_a_verdict_stands_there_within_300_ms_of_the_last_digit_on_a_slow_tablet(
    browser: Any, served: Served, capsys: Any
) -> None:
    tablet = new_hands(browser, served)
    tablet.log_in()
    place = served.ask(
        "SELECT load.place_id FROM lots_load load JOIN lots_place place ON place.id = load.place_id"
        " WHERE place.kind = 'cooler' AND NOT EXISTS"
        " (SELECT 1 FROM lots_loadend e WHERE e.load_id = load.id) LIMIT 1"
    )[0][0]
    session = tablet.page.context.new_cdp_session(tablet.page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    took = [tablet.page.evaluate(MEASURE, [f"read/place/{place}", "36"]) for _ in range(RUNS)]
    with capsys.disabled():
        print(f"\nlast digit to verdict, processor {SLOWER} times slower: median {median(took):.0f} ms, "
              f"slowest {max(took):.0f} ms, of {RUNS}")  # fmt: skip
    assert median(took) <= WITHIN_MS
    session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    tablet.until_sent()
