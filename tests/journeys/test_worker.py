"""The service worker: the opening page opens without network, and nothing else pretends to be it."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.journeys.served import Served
from tests.journeys.tablet import Tablet

pytestmark = pytest.mark.journey
SHELL = "async () => { const kept = await caches.match('/'); return kept ? kept.text() : ''; }"


@pytest.fixture
def tablet(browser: Any, served: Served) -> Iterator[Tablet]:
    """One whose worker has kept the opening page."""
    context = browser.new_context()
    tablet = Tablet(context.new_page(), served).begin()
    tablet.keep_the_page()
    yield tablet
    context.close()


def test_the_board_is_still_there_without_network(tablet: Tablet) -> None:
    loads = tablet.page.locator("#board .load").count()
    tablet.page.context.set_offline(True)
    tablet.reload()
    assert tablet.page.locator("#board .load").count() == loads > 0
    assert tablet.page.evaluate("getComputedStyle(document.body).fontFamily") != "Times New Roman"
    assert "No network" in tablet.page.inner_text("#strip")


def test_another_page_without_network_says_what_can_be_done_and_leads_back(tablet: Tablet) -> None:
    tablet.page.context.set_offline(True)
    tablet.page.goto(tablet.house.base + "/records/")
    assert "No network" in tablet.page.inner_text("h1")
    tablet.page.click("a:has-text('To the opening page')")
    tablet.page.wait_for_selector("#board .load")


def test_a_server_that_only_says_it_is_broken_leaves_the_board_in_sight(tablet: Tablet) -> None:
    """The store is looked at by hand: a page's route cannot answer for its worker."""
    script = """async () => {
        const source = await (await fetch('/sw.js')).text();
        const body = source.replace(/self\\.addEventListener/g, '(() => {})');
        const made = new Function('caches', 'fetch', 'location', 'self', `${body}; return page;`);
        const say = status => made(caches, async () => new Response('broken', {status}), location, self);
        const event = {request: new Request('/'), waitUntil: () => {}};
        return [await (await say(503)(event, '/')).text(), await (await say(200)(event, '/')).text()];
    }"""
    kept, said = _unbound(tablet, script)
    assert "In the house now" in kept
    assert said == "broken"


def _unbound(tablet: Tablet, script: str) -> Any:
    """Runs it on a page of our own that forbids nothing, beside the kept pages."""
    tablet.page.context.new_cdp_session(tablet.page).send("Page.setBypassCSP", {"enabled": True})
    tablet.page.reload()
    return tablet.page.evaluate(script)


def test_a_log_in_page_never_stands_for_the_opening_page(tablet: Tablet) -> None:
    tablet.page.context.clear_cookies()
    tablet.page.goto(tablet.house.base + "/")
    assert "/in/" in tablet.page.url
    tablet.page.evaluate("navigator.serviceWorker.controller.postMessage('keep the page')")
    tablet.page.wait_for_timeout(1500)
    kept = tablet.page.evaluate(SHELL)
    assert "In the house now" in kept
    assert 'type="password"' not in kept


def test_the_worker_answers_for_no_entry_and_no_data(tablet: Tablet) -> None:
    tablet.page.context.set_offline(True)
    ask = "address => fetch(address, {method: address === '/entries/' ? 'POST' : 'GET'}).then(() => 'answered', () => 'nobody')"
    assert [tablet.page.evaluate(ask, each) for each in ("/shift/data", "/entries/")] == [
        "nobody"
    ] * 2
    kept = tablet.page.evaluate(
        "async () => { const all = []; for (const name of await caches.keys())"
        " for (const one of await (await caches.open(name)).keys()) all.push(new URL(one.url).pathname);"
        " return all; }"
    )
    assert not [path for path in kept if path != "/" and not path.startswith("/static/")]


def test_other_pages_say_how_many_entries_wait_and_send_them(tablet: Tablet) -> None:
    tablet.page.route("**/entries/", lambda route: route.abort())
    key = tablet.put(tablet.reading(500, "Cooler"))
    tablet.page.goto(tablet.house.base + "/lots/")
    tablet.page.wait_for_selector("#tablet-waits a[href='/#waiting']")
    assert "1 entry waits" in tablet.page.inner_text("#tablet-waits")
    tablet.page.unroute("**/entries/")
    tablet.page.reload()
    for _ in range(50):
        if not tablet.waiting():
            break
        tablet.page.wait_for_timeout(100)
    tablet.page.wait_for_selector("#tablet-waits", state="detached")
    assert tablet.entry(key)["state"] == "stored"
