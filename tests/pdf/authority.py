"""A time stamping authority of the tests' own on loopback, that answers well or as badly as is asked."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread
from typing import Any

from asn1crypto import keys, tsp, x509
from cryptography.hazmat.primitives import serialization
from pyhanko.sign.timestamps import DummyTimeStamper

from tests.pdf.keys import NOW, TIME_STAMPS, Holder, issued, rsa_key

Answer = Callable[[bytes], bytes]


def authority(**changes: Any) -> Holder:
    """A certificate for time stamping."""
    return issued("Invented Time", **{"key": rsa_key(6), "purposes": [TIME_STAMPS]} | changes)


def stamper(holder: Holder, at: datetime = NOW, *more: Holder) -> DummyTimeStamper:
    private = holder.key.private_bytes(
        serialization.Encoding.DER,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    certificates = [x509.Certificate.load(_der(one)) for one in (holder, *more)]
    return DummyTimeStamper(
        certificates[0], keys.PrivateKeyInfo.load(private), certificates[1:], fixed_dt=at
    )


def _der(holder: Holder) -> bytes:
    return holder.certificate.public_bytes(serialization.Encoding.DER)


def answering(holder: Holder, *more: Holder, at: datetime = NOW) -> Answer:
    """An authority that stamps what it is asked."""
    own = stamper(holder, at, *more)
    return lambda asked: own.request_tsa_response(tsp.TimeStampReq.load(asked)).dump()


@contextmanager
def served(
    answer: Answer,
    *,
    kind: str = "application/timestamp-reply",
    status: int = 200,
    after_s: float = 0,
) -> Iterator[str]:
    """Serves the authority and gives its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            time.sleep(after_s)
            try:
                data = answer(asked)
                self.send_response(status)
                self.send_header("Content-Type", kind)
                self.send_header("Content-Length", str(len(data)))
                self.send_header("Location", "http://127.0.0.1:9/")
                self.end_headers()
                self.wfile.write(data)
            except (BrokenPipeError, ConnectionResetError):
                pass  # who asked has gone

        def log_message(self, *_: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        server.server_close()
