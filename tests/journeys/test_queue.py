"""Entries made without network reach the book once each, in order, however the sending breaks off."""

import shutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.journeys.browser import Visitor
from tests.journeys.served import Served, serve_demo
from tests.journeys.tablet import Row, Tablet, in_the_book

pytestmark = pytest.mark.journey
MANY = 30
PLACES = ("Cooler", "Brine tank 1")  # each holds other lots


@pytest.fixture
def tablet(browser: Any, served: Served) -> Iterator[Tablet]:
    """Without service worker, so that the test's hand on the network sees every request."""
    context = browser.new_context(service_workers="block")
    yield Tablet(context.new_page(), served).begin()
    context.close()


def rounds(tablet: Tablet, first: int, end: int) -> list[Row]:
    return [tablet.reading(number, PLACES[number % 2]) for number in range(first, end)]


def stored_once_in_order(tablet: Tablet, keys: list[str], entries: list[Row]) -> None:
    rows = in_the_book(tablet.house.folder, keys)
    assert [row["client_key"] for row in rows] == keys
    bodies = [entry["body"] for entry in entries]
    assert [row["observed_at"] for row in rows] == [body["observed_at"] for body in bodies]
    assert [row["as_read"] for row in rows] == [body["figures"][0]["as_read"] for body in bodies]
    assert [row["place_id"] for row in rows] == [body["place"] for body in bodies]


def test_thirty_entries_outlast_two_reloads_and_a_server_that_was_away(
    browser: Any, demo_folder: Any, tmp_path: Any
) -> None:
    folder = tmp_path / "house"
    shutil.copytree(demo_folder, folder)
    context = browser.new_context()
    with serve_demo(folder) as house:
        tablet = Tablet(context.new_page(), house).begin()
        tablet.keep_the_page()
        house.stop()
        entries, keys = rounds(tablet, 0, MANY), []
        for first in range(0, MANY, 10):
            keys += [tablet.put(entry) for entry in entries[first : first + 10]]
            tablet.send()
            if first < 20:
                tablet.reload()
        assert tablet.waiting() == MANY
        assert in_the_book(folder, keys) == []
        house.start()
        tablet.send()
        assert tablet.waiting() == 0
        stored_once_in_order(tablet, keys, entries)
        assert all(row["at"] - row["entered_at"] >= -1000 for row in in_the_book(folder, keys))
    context.close()


def test_sending_cut_before_and_after_each_entry_loses_none_and_doubles_none(
    tablet: Tablet,
) -> None:
    entries = rounds(tablet, 100, 100 + MANY)
    seen: dict[str, int] = {}

    def cut(route: Any) -> None:
        key = route.request.post_data_json["key"]
        seen[key] = seen.get(key, 0) + 1
        if seen[key] == 2:
            assert route.fetch().status == 200  # the server took it; its answer is lost
        if seen[key] <= 2:
            route.abort("connectionreset")
        else:
            route.continue_()

    tablet.page.route("**/entries/", cut)
    keys = [tablet.put(entry) for entry in entries]
    for _ in range(3 * MANY):
        if not tablet.waiting():
            break
        tablet.run("await q.send()")
    tablet.page.unroute("**/entries/")
    assert tablet.waiting() == 0
    assert list(seen) == keys
    assert set(seen.values()) == {3}
    stored_once_in_order(tablet, keys, entries)


def test_a_session_that_ended_meanwhile_keeps_the_queue_until_somebody_logs_in(
    tablet: Tablet,
) -> None:
    entries = rounds(tablet, 200, 204)
    tablet.page.context.clear_cookies(name="sessionid")
    keys = [tablet.put(entry) for entry in entries]
    tablet.send()
    assert [one["state"] for one in tablet.entries()] == ["waiting"] * 4
    assert not any(one["needs"] for one in tablet.entries())
    Visitor(tablet.page, tablet.house.base).log_in("olive", tablet.house.passwords["olive"])
    tablet.page.wait_for_selector("#board")
    tablet.send()
    stored_once_in_order(tablet, keys, entries)


def test_a_wrong_pin_holds_back_only_that_persons_entries(tablet: Tablet) -> None:
    olive, bram = tablet.id_of("Olive"), tablet.id_of("Bram")
    rows = [tablet.reading(300 + at, "Cooler", who) for at, who in enumerate((bram, olive, bram))]
    wrong = "".join(str(9 - int(digit)) for digit in tablet.pin_of("bram"))
    with_pins = [{**rows[0], "pin": wrong}, rows[1], {**rows[2], "pin": wrong}]
    keys = [tablet.put(entry) for entry in with_pins]
    tablet.send()
    assert [row["client_key"] for row in in_the_book(tablet.house.folder, keys)] == [keys[1]]
    assert [tablet.entry(key)["needs"] for key in keys] == ["pin", "", "pin"]
    tablet.run("await q.retype(given[0], given[1])", [bram, tablet.pin_of("bram")])
    tablet.send()
    found = in_the_book(tablet.house.folder, keys)
    assert [row["client_key"] for row in found] == [keys[1], keys[0], keys[2]]
    assert [row["person_id"] for row in found] == [olive, bram, bram]


def test_an_entry_without_a_pin_goes_once_its_persons_pen_is_open_again(tablet: Tablet) -> None:
    tablet.page.click("button:has-text('Close the pen')")
    tablet.page.wait_for_selector("text=Pen closed")
    key = tablet.put(tablet.reading(310, "Cooler"))
    tablet.send()
    assert tablet.entry(key)["needs"] == "pin"
    tablet.page.goto(tablet.house.base + "/pen/?next=/")
    Visitor(tablet.page, tablet.house.base).type(secret=tablet.house.passwords["olive"])
    tablet.page.keyboard.press("Enter")
    tablet.page.wait_for_selector("#board .load")
    tablet.send()
    assert tablet.entry(key)["state"] == "stored"


def test_a_pin_is_kept_nowhere_in_the_tablets_store(tablet: Tablet) -> None:
    pin = "408162"
    tablet.put({**tablet.reading(320, "Cooler", tablet.id_of("Bram")), "pin": pin})
    kept = tablet.run("return JSON.stringify([await q.list(), await q.snapshot()])")
    stores = (
        "[JSON.stringify(localStorage), JSON.stringify(sessionStorage), document.cookie].join()"
    )
    assert "seal" in kept
    assert pin not in kept
    assert pin not in tablet.page.evaluate(stores)


def test_without_https_a_pin_is_refused_in_words_and_nothing_is_kept(tablet: Tablet) -> None:
    tablet.page.evaluate("Object.defineProperty(crypto, 'subtle', {value: undefined})")
    entry = {**tablet.reading(330, "Cooler"), "pin": "1234"}
    said = tablet.run("return q.put(given).then(() => 'kept', error => error.message)", entry)
    assert "https" in said
    assert tablet.waiting() == 0


def test_a_refused_entry_is_kept_mended_and_sent_while_the_others_go_on(tablet: Tablet) -> None:
    bad = tablet.reading(340, "Cooler")
    bad["body"]["figures"][0]["as_read"] = "tepid"
    good = tablet.reading(341, "Cooler")
    keys = [tablet.put(bad), tablet.put(good)]
    tablet.send()
    refused = tablet.entry(keys[0])
    assert refused["state"] == "refused"
    assert any("tepid" in words for words in refused["fields"].values())
    assert [row["client_key"] for row in in_the_book(tablet.house.folder, keys)] == [keys[1]]
    bad["body"]["figures"][0]["as_read"] = "37.2"
    tablet.run("await q.mend(given[0], given[1])", [keys[0], bad["body"]])
    tablet.send()
    found = in_the_book(tablet.house.folder, keys)
    assert [row["as_read"] for row in found if row["client_key"] == keys[0]] == ["37.2"]


def test_a_refused_entry_that_cannot_be_mended_goes_into_the_book_as_a_note(tablet: Tablet) -> None:
    bad = tablet.reading(350, "Cooler")
    bad["body"]["figures"][0]["as_read"] = "tepid"
    key = tablet.put(bad)
    tablet.send()
    noted = tablet.run("return q.intoNote(given[0], given[1])", [key, tablet.data["pen"]["person"]])
    tablet.send()
    assert tablet.entry(noted)["state"] == "stored"
    assert tablet.waiting() == 0


def test_what_belongs_to_a_load_waits_until_its_start_is_stored(tablet: Tablet) -> None:
    lot = tablet.data["lots"][0]
    tank = next(one["id"] for one in tablet.data["places"] if one["name"] == "Brine tank 2")
    pen, now = tablet.data["pen"]["person"], tablet.data["now"]
    said = {"observed_at": now - 5000, "late_reason": "", "note": "", "declared": "short"}
    portions = [{"lot": lot["id"], "step": "brine", "grams": lot["free_g"] + 10**9}]
    start = {"kind": "start", "person": pen, "label": "Start", "shown": {"step": "Brine"},
             "body": {"place": tank, "portions": portions, **said}}  # fmt: skip
    begun = tablet.put(start)
    read = tablet.put(tablet.reading(719, "Brine tank 2", load={"key": begun}))
    other = tablet.put(tablet.reading(360, "Cooler"))
    tablet.send()
    states = [tablet.entry(key)["state"] for key in (begun, read, other)]
    assert states == ["refused", "waiting", "stored"]
    portions[0]["grams"] = lot["free_g"]
    tablet.run("await q.mend(given[0], given[1])", [begun, start["body"]])
    tablet.send()
    assert [tablet.entry(key)["state"] for key in (begun, read)] == ["stored", "stored"], (
        tablet.entry(read)["fields"]
    )


def test_a_start_set_down_as_a_note_lets_nothing_wait_for_ever(tablet: Tablet) -> None:
    tank = next(one["id"] for one in tablet.data["places"] if one["name"] == "Brine tank 2")
    pen = tablet.data["pen"]["person"]
    body = {"place": tank, "portions": [], "observed_at": tablet.data["now"], "late_reason": "",
            "note": ""}  # fmt: skip
    begun = tablet.put({"kind": "start", "person": pen, "label": "Start", "body": body})
    read = tablet.put(tablet.reading(365, "Brine tank 2", load={"key": begun}))
    tablet.send()
    tablet.run("await q.intoNote(given[0], given[1])", [begun, pen])
    assert tablet.entry(read)["state"] == "refused"
    tablet.run("await q.intoNote(given[0], given[1])", [read, pen])
    tablet.send()
    assert tablet.waiting() == 0


def test_a_page_that_is_not_ours_leaves_the_queue_as_it_was(tablet: Tablet) -> None:
    entry = tablet.reading(370, "Cooler")
    key = tablet.put(entry)
    before = tablet.entry(key)
    tablet.page.route("**/entries/", _with_a_wrong_token)
    tablet.send()
    assert tablet.entry(key) == before
    for status in (302, 500, 503):
        tablet.page.unroute("**/entries/")
        tablet.page.route("**/entries/", _with_a_page(status))
        tablet.send()
        assert tablet.entry(key) == before
    tablet.page.unroute("**/entries/")
    tablet.send()
    assert tablet.entry(key)["state"] == "stored"


def _with_a_wrong_token(route: Any) -> None:
    """The real server's own page about a token that is not its own."""
    answer = route.fetch(headers={**route.request.headers, "x-csrftoken": "x" * 64})
    assert answer.status == 403
    assert "text/html" in answer.headers["content-type"]
    route.fulfill(response=answer)


def _with_a_page(status: int) -> Callable[[Any], None]:
    headers = {"Location": "/in/", "Content-Type": "text/html"}
    return lambda route: route.fulfill(status=status, body="<p>No", headers=headers)


WRONG_BY = 37 * 60_000


def test_a_device_clock_wrong_by_37_minutes_is_measured_and_kept(
    browser: Any, served: Served
) -> None:
    context = browser.new_context(service_workers="block")
    context.add_init_script(
        f"const real = Date.now; Date.now = () => real() - (globalThis.wrongBy ?? {WRONG_BY});"
    )
    tablet = Tablet(context.new_page(), served).begin()
    tablet.run("await q.fetchData()")
    key = tablet.put(tablet.reading(400, "Cooler"))
    tablet.send()
    (row,) = in_the_book(served.folder, [key])
    assert abs(row["device_offset_ms"] - WRONG_BY) <= 2000
    assert abs(row["entered_at"] - row["at"]) <= 3000
    context.set_offline(True)
    tablet.page.evaluate("globalThis.wrongBy = 0")  # somebody sets it right: it now stands ahead
    later = tablet.put(tablet.reading(401, "Cooler"))
    context.set_offline(False)
    tablet.send()
    assert "clock was set" in tablet.entry(later)["fields"]["observed_at"]
    context.close()


def test_a_clock_set_back_while_the_page_lives_moves_no_entry(tablet: Tablet) -> None:
    tablet.run("await q.fetchData()")
    script = """const before = q.houseNow(); const real = Date.now; Date.now = () => real() - given;
        const after = q.houseNow(); Date.now = real; return [after.at - before.at, after.offset_ms - before.offset_ms];"""
    moved, offset = tablet.run(script, 5 * 3600_000)
    assert -2 <= moved <= 1000  # each moment is rounded to a whole ms
    assert abs(offset - 5 * 3600_000) <= 1000


def test_two_tabs_send_each_entry_once(tablet: Tablet) -> None:
    asked: list[str] = []

    def note(request: Any) -> None:
        if request.url.endswith("/entries/"):
            asked.append(request.post_data_json["key"])

    tablet.page.context.on("request", note)
    second = Tablet(tablet.page.context.new_page(), tablet.house, data=tablet.data)
    second.page.goto(tablet.house.base + "/")
    second.page.wait_for_selector("#board .load")
    entries = rounds(tablet, 420, 426)
    keys = [tablet.put(entry) for entry in entries]
    kick = "async () => { const q = await import('/static/js/beside/queue.js'); globalThis.done = q.send(); }"
    for page in (tablet.page, second.page):
        page.evaluate(kick)
    for page in (tablet.page, second.page):
        page.evaluate("() => globalThis.done")
    assert asked == keys
    stored_once_in_order(tablet, keys, entries)
