"""A browser in which an operator is logged in: posts readings as a tablet does, and sends loggers' files."""

import json
import re
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from http.client import HTTPConnection, HTTPException
from typing import Any
from urllib.parse import urlencode

ANSWER_WITHIN_S = 30
TOKEN = re.compile(r'name="csrfmiddlewaretoken" value="(\w+)"')
BROKEN_OFF = (OSError, HTTPException)


class Refused(AssertionError):
    """The server answered with something that no repetition mends."""


@dataclass
class Answer:
    status: int
    headers: Mapping[str, str]
    text: str


@dataclass
class Browser:
    """One session over one connection that is kept open."""

    port: int
    house: Mapping[str, Any]
    cookies: dict[str, str] = field(default_factory=dict)
    csrf: str = ""
    _line: HTTPConnection | None = None

    def ask(
        self, method: str, path: str, body: bytes | None = None, kind: str = "", **headers: str
    ) -> Answer:
        """One question; raises one of BROKEN_OFF where no whole answer came.  A connection that the server
        had closed meanwhile is opened anew, as browsers do."""
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        sent = {"Cookie": cookies, "X-CSRFToken": self.csrf} | headers
        sent |= {"Content-Type": kind} if kind else {}
        kept_open = self._line is not None
        try:
            return self._asked(method, path, body, sent)
        except (BrokenPipeError, ConnectionResetError):  # RemoteDisconnected is one
            if not kept_open:
                raise
            return self._asked(method, path, body, sent)

    def _asked(self, method: str, path: str, body: bytes | None, sent: dict[str, str]) -> Answer:
        try:
            if self._line is None:
                self._line = HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_WITHIN_S)
            self._line.request(method, path, body, sent)
            got = self._line.getresponse()
            text = got.read().decode()
        except BROKEN_OFF:
            self.hang_up()
            raise
        for name, value in got.getheaders():
            if name.lower() == "set-cookie":
                key, _, rest = value.partition("=")
                self.cookies[key] = rest.partition(";")[0]
        return Answer(got.status, dict(got.getheaders()), text)

    def hang_up(self) -> None:
        if self._line is not None:
            self._line.close()
            self._line = None

    def log_in(self) -> None:
        self.cookies.clear()
        page = self.ask("GET", "/in/")
        token = TOKEN.search(page.text)
        if not token:
            raise OSError(f"no page to log in: {page.status}")
        names = {name: self.house[name] for name in ("username", "password")}
        typed = urlencode({"csrfmiddlewaretoken": token[1]} | names).encode()
        answer = self.ask("POST", "/in/", typed, "application/x-www-form-urlencoded")
        data = self.ask("GET", "/shift/data")
        if answer.status != 302 or data.status != 200:
            raise OSError(f"not logged in: {answer.status}, {data.status}")
        self.csrf = json.loads(data.text)["csrf"]

    def send_entry(self, entry: Mapping[str, Any]) -> Answer:
        body = json.dumps({**entry, "sent_at": now_ms()}).encode()
        return self.ask("POST", "/entries/", body, "application/json")

    def send_file(self, place: int, name: str, data: bytes) -> None:
        """Through its two pages: laid aside, then stored as it was understood."""
        body, kind = multipart({"where": f"place-{place}"}, name, data)
        laid = self.ask("POST", "/logger/", body, kind)
        if laid.status != 302:
            raise OSError(f"not laid aside: {laid.status}")
        page = laid.headers["Location"]
        form = "application/x-www-form-urlencoded"
        stored = self.ask("POST", page, urlencode({"store": "1"}).encode(), form)
        if stored.status != 302 or stored.headers["Location"] != "/logger/":
            raise OSError(f"not stored: {stored.status}")


def now_ms() -> int:
    return time.time_ns() // 1_000_000


def multipart(fields: Mapping[str, str], name: str, data: bytes) -> tuple[bytes, str]:
    mark = secrets.token_hex(16)
    parts = [
        f'--{mark}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
        for key, value in fields.items()
    ]
    head = f'--{mark}\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
    parts += [
        head.encode(),
        b"Content-Type: text/csv\r\n\r\n",
        data,
        f"\r\n--{mark}--\r\n".encode(),
    ]
    return b"".join(parts), f"multipart/form-data; boundary={mark}"


def reading_entry(
    house: Mapping[str, Any], load: Mapping[str, int], figures: int
) -> dict[str, Any]:
    """A round of fish read now; its note is its key, by which its rows are found again."""
    key, at = secrets.token_hex(16), now_ms()
    rows = [
        {"as_read": f"{60 + secrets.randbelow(80) / 10}", "unit": "F", "probe": f"fish {n}",
         "quantity": "temperature", "instrument": None, "confirmed": False}
        for n in range(1, figures + 1)
    ]  # fmt: skip
    body = {"place": load["place"], "load": load["load"], "figures": rows, "observed_at": at,
            "late_reason": "", "note": key}  # fmt: skip
    return {"key": key, "kind": "reading", "person": house["person"], "seal": "", "entered_at": at,
            "body": json.dumps(body), "device_at": at, "offset_ms": 0}  # fmt: skip


def logger_file(start_s: int, rows: int) -> bytes:
    """A reading each second of one probe in a cooler, from a moment in seconds UTC."""
    lines = ["Date and time, Probe 1 (°F)"]
    for second in range(start_s, start_s + rows):
        when = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(second))
        lines.append(f"{when}, {35 + second % 17 / 10:.1f}")
    return "\n".join(lines).encode()
