"""What the opening page and the pad cost a tablet, cold and warm, as the server counts it: what the
browser's own store answers is no request."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from tests.journeys.hands import new_hands, wait_until_kept
from tests.journeys.served import Served

pytestmark = pytest.mark.journey

MOST_BYTES = 100_000
MOST_REQUESTS = 10
HOP = {"connection", "keep-alive", "transfer-encoding"}


class Gate:
    """Stands before the server on loopback, hands everything on, and counts what goes through."""

    def __init__(self, port: int) -> None:
        self.asked: list[str] = []
        self.bytes = 0
        gate = self

        class Hand(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def hand_on(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
                server = HTTPConnection("127.0.0.1", port, timeout=30)
                server.request(self.command, self.path, body, dict(self.headers))
                answer = server.getresponse()
                said = answer.read()
                self.send_response(answer.status)
                for name, value in answer.getheaders():
                    if name.lower() not in HOP | {"content-length"}:
                        self.send_header(name, value)
                self.send_header("Content-Length", str(len(said)))
                self.end_headers()
                self.wfile.write(said)
                heads = sum(len(name) + len(value) + 4 for name, value in answer.getheaders())
                gate.asked.append(self.path)
                gate.bytes += heads + len(said)

            do_GET = do_POST = do_HEAD = hand_on

            def log_message(self, *words: object) -> None:
                return

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Hand)
        self.base = f"http://127.0.0.1:{self.server.server_address[1]}"

    def count(self, page: Any, path: str) -> tuple[int, int, list[str]]:
        """(requests, bytes) until the page and its worker have been quiet for two seconds."""
        self.asked, self.bytes = [], 0
        page.goto(self.base + path)
        page.wait_for_selector("#strip > *")
        wait_until_kept(page)
        page.wait_for_timeout(2000)
        return len(self.asked), self.bytes, list(self.asked)


@contextmanager
def gate(port: int) -> Iterator[Gate]:
    one = Gate(port)
    threading.Thread(target=one.server.serve_forever, daemon=True).start()
    try:
        yield one
    finally:
        one.server.shutdown()
        one.server.server_close()


def test_the_opening_page_and_the_pad_are_light(browser: Any, served: Served, capsys: Any) -> None:
    with gate(served.port) as one:
        first = new_hands(browser, served)
        first.page.goto(one.base + "/in/?next=/")
        first.page.fill("[name=username]", "olive")
        first.page.fill("[name=password]", served.passwords["olive"])
        first.page.click("main button[type=submit]")
        first.page.wait_for_selector("#strip > *")
        wait_until_kept(first.page)
        cookies = first.page.context.cookies()
        first.page.goto("about:blank")
        cold = browser.new_context()
        cold.add_cookies([cookie for cookie in cookies if cookie["name"] == "sessionid"])
        page = cold.new_page()
        requests, weight, asked = one.count(page, "/")
        page.locator("[data-read]").first.click()
        page.wait_for_selector(".pad-figure")
        pad = len(one.asked) - requests
        again, light, asked_again = one.count(page, "/?")
        with capsys.disabled():
            print(f"\ncold: {requests} requests, {weight} bytes {asked}")
            print(f"the pad after it: {pad} requests; warm: {again}, {light} bytes {asked_again}")
        assert requests <= MOST_REQUESTS, " ".join(asked)
        assert weight <= MOST_BYTES
        assert pad == 0
        assert again <= MOST_REQUESTS
        assert light <= weight / 2
