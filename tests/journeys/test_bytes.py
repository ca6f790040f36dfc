"""What the opening page and the pad cost a tablet, cold and warm, its service worker's own fetches counted."""

import os
from typing import Any

import pytest

from tests.journeys.browser import Visitor
from tests.journeys.served import Served

pytestmark = pytest.mark.journey
os.environ["PW_EXPERIMENTAL_SERVICE_WORKER_NETWORK_EVENTS"] = "1"

MOST_BYTES = 100_000
MOST_REQUESTS = 10


def visit(page: Any, address: str) -> tuple[int, list[str]]:
    """Bytes over the wire and the addresses asked for, until the page has been quiet for a second."""
    asked: list[Any] = []
    page.context.on("request", asked.append)
    page.goto(address, wait_until="networkidle")
    page.wait_for_timeout(1500)
    page.context.remove_listener("request", asked.append)
    sizes = [one.sizes() for one in asked if (answer := one.response()) and not _at_hand(answer)]
    total = sum(max(0, one["responseBodySize"]) + one["responseHeadersSize"] for one in sizes)
    return total, [one.url for one in asked]


def _at_hand(answer: Any) -> bool:
    """Whether it came from the service worker's store and not over the wire."""
    return bool(answer.from_service_worker)


def test_the_opening_page_and_the_pad_are_light(browser: Any, served: Served, capsys: Any) -> None:
    first = browser.new_context()
    visitor = Visitor(first.new_page(), served.base)
    visitor.log_in("olive", served.passwords["olive"])
    session = [one for one in first.cookies() if one["name"] == "sessionid"]
    cold = browser.new_context()
    cold.add_cookies(session)
    page = cold.new_page()
    bytes_cold, asked = visit(page, served.base + "/")
    read = page.locator("[data-read]").first
    read.click()
    page.wait_for_timeout(1500)
    bytes_warm, again = visit(page, served.base + "/")
    with capsys.disabled():
        print(
            f"\ncold: {len(asked)} requests, {bytes_cold} bytes; warm: {len(again)}, {bytes_warm} bytes"
        )
    assert len(asked) <= MOST_REQUESTS, asked
    assert bytes_cold <= MOST_BYTES
    assert bytes_warm <= bytes_cold
