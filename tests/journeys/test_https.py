"""https on a name of the house's network, in chromium with the authority in its own store, and without."""

import os
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509

from lots.lan import CA_CERT, lan_folder
from tests.journeys.browser import FLAGS
from tests.journeys.hands import wait_until_kept
from tests.journeys.served import ROOT, _environment, free_port, manage
from tests.test_lan import leaf_for

pytestmark = pytest.mark.journey

NAME = "smokehouse.home.arpa"
OTHER = "elsewhere.home.arpa"
LOOPBACK = "127.0.0.2"  # of this machine, and yet another address than the one that is served without https


@dataclass
class Lan:
    """The house served over https, and a browser's home."""

    folder: Path
    port: int
    people: dict[str, str]

    @property
    def base(self) -> str:
        return f"https://{NAME}:{self.port}"

    @property
    def keys(self) -> Path:
        return lan_folder(self.folder / "keys")


def _real(folder: Path) -> None:
    """The demo's book, as if it were a real one: serve refuses an invented house."""
    import sqlite3

    with sqlite3.connect(folder / "book.sqlite3") as book:
        names = [row[0] for row in book.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"
                                                " AND tbl_name = 'lots_establishment'")]  # fmt: skip
        kept = [row[0] for row in book.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'"
                                               " AND tbl_name = 'lots_establishment'")]  # fmt: skip
        for name in names:
            book.execute(f'DROP TRIGGER "{name}"')
        book.execute("UPDATE lots_establishment SET demo = 0")
        for text in kept:
            book.execute(text)


@pytest.fixture(scope="module")
def lan(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lan]:
    folder = tmp_path_factory.mktemp("lan") / "house"
    shutil.copytree(demo_folder, folder)
    _real(folder)
    manage(folder, "make_lan_cert", "--name", NAME, "--address", LOOPBACK)
    text = (folder / "demo_people.txt").read_text().splitlines()
    house = Lan(folder, free_port(), {row.split()[0]: row.split()[1] for row in text})
    words = [sys.executable, "manage.py", "--data", str(folder), "serve", "--host", LOOPBACK]
    with (folder / "serve.log").open("wb") as log:
        process = subprocess.Popen(
            [*words, "--port", str(house.port)],
            cwd=ROOT,
            env=_environment(),
            stdout=log,
            stderr=log,
        )
    try:
        _wait(house, process)
        yield house
    finally:
        process.terminate()
        process.wait(timeout=30)


def _wait(house: Lan, process: subprocess.Popen[bytes]) -> None:
    import ssl

    trusting = ssl.create_default_context(cafile=str(house.keys / CA_CERT))
    for _ in range(240):
        assert process.poll() is None, (house.folder / "serve.log").read_text()
        try:
            with urllib.request.urlopen(
                f"https://{LOOPBACK}:{house.port}/healthz", timeout=2, context=trusting
            ):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.25)
    raise AssertionError("not served within a minute")


@contextmanager
def chromium(home: Path, trusted: Path | None, *names: str) -> Iterator[Any]:
    """A browser with a home of its own, whose store trusts the authority or is empty."""
    from playwright.sync_api import sync_playwright

    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    database = f"sql:{store}"
    subprocess.run(["certutil", "-d", database, "-N", "--empty-password"], check=True)
    if trusted is not None:
        subprocess.run(["certutil", "-d", database, "-A", "-t", "C,,", "-n", "house", "-i", str(trusted)], check=True)  # fmt: skip
    rules = ", ".join(f"MAP {name} {LOOPBACK}" for name in names or (NAME,))
    with sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            str(home / "profile"), executable_path="/usr/bin/chromium",
            args=[*FLAGS, f"--host-resolver-rules={rules}"],
            env={**os.environ, "HOME": str(home)}, viewport={"width": 800, "height": 1280},
        )  # fmt: skip
        try:
            yield context
        finally:
            context.close()


def test_with_the_authority_installed_the_page_is_kept_and_opens_without_network(
    lan: Lan, tmp_path: Path
) -> None:
    with chromium(tmp_path, lan.keys / CA_CERT) as context:
        page = context.new_page()
        page.goto(lan.base + "/in/?next=/")
        assert page.evaluate("window.isSecureContext")
        page.fill("[name=username]", "olive")
        page.fill("[name=password]", lan.people["olive"])
        page.click("main button[type=submit]")
        page.wait_for_selector("#strip > *")
        cookies = {one["name"]: one for one in context.cookies()}
        assert cookies["sessionid"]["secure"]
        wait_until_kept(page)
        assert "Nothing is kept" not in page.inner_text("#strip")
        context.set_offline(True)
        page.reload()
        page.wait_for_selector("#board .load")
        page.wait_for_selector("#strip :text('No network')")
        page.goto(lan.base + "/lots/")
        assert "This page needs the server" in page.inner_text("main")


def test_without_it_the_browser_warns_and_the_help_page_says_what_to_do(
    lan: Lan, tmp_path: Path
) -> None:
    with chromium(tmp_path, None) as context:
        page = context.new_page()
        with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
            page.goto(lan.base + "/")
    past = tmp_path / "past"
    past.mkdir()
    with chromium(past, None) as context:
        session = context.new_page()
        client = context.new_cdp_session(session)  # as somebody who goes past the warning
        client.send("Security.setIgnoreCertificateErrors", {"ignore": True})
        session.goto(lan.base + "/tablet/")
        words = session.inner_text("main")
        for step in ("Fetch the certificate", "Android", "iPad", "compare", "Without it"):
            assert step in words
        shown = (lan.folder / "serve.log").read_text()
        fingerprint = session.inner_text("section:nth-of-type(2) code")
        assert fingerprint in shown
        assert session.locator(".qr-frame svg path").count()
        fetched = session.evaluate(
            "fetch('/tablet/ca.crt').then(a => a.arrayBuffer()).then(b => [...new Uint8Array(b)])"
        )
        ours = x509.load_pem_x509_certificate((lan.keys / CA_CERT).read_bytes())
        assert x509.load_der_x509_certificate(bytes(fetched)) == ours


def test_a_certificate_for_another_name_is_not_accepted_under_the_authority(
    lan: Lan, tmp_path: Path
) -> None:
    """Whoever gets at the authority's key cannot stand in for another site."""
    import ssl
    import threading
    from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

    class Plain(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"<p>another site</p>")

        def log_message(self, *words: object) -> None:
            return

    forged = tmp_path / "forged"
    shutil.copytree(lan.keys, forged)
    key, certificate = another_leaf(forged)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    server = ThreadingHTTPServer((LOOPBACK, 0), Plain)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        with chromium(tmp_path / "home", lan.keys / CA_CERT, OTHER, NAME) as browser:
            page = browser.new_page()
            with pytest.raises(Exception, match="ERR_CERT"):
                page.goto(f"https://{OTHER}:{server.server_address[1]}/")
            assert browser.new_page().goto(lan.base + "/tablet/").status == 200
    finally:
        server.shutdown()
        server.server_close()


def another_leaf(folder: Path) -> tuple[Path, Path]:
    """Key and certificate for another name, made with the authority's own key, valid today."""
    from datetime import UTC, datetime

    key = folder / "another-key.pem"
    certificate = leaf_for(folder, x509.DNSName(OTHER), datetime.now(UTC), key)
    return key, certificate
