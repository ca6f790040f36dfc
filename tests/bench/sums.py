"""Server time of each sum, of the forecast of salt and of its fit, beside the opening page; ends with 1 where one
takes longer than the opening page allows.

    SMOKEHOUSE_DATA=/tmp/bench-sums .venv/bin/python -m tests.bench.sums

What is measured is the processor's time of the request, whole, from address to page, so that a busy machine
measures the same; the clock's time stands beside it.  What a sum may take is a ratio to the opening page of a
small book.  The fit is made anew from forty points each time.
"""

import statistics
import sys
import time
from collections.abc import Callable
from urllib.parse import urlencode

from tests.bench.folder import set_up

TIMES = 15
RATIO = 1.0  # times the opening page of the same book; measured: 0.1 to 0.3
FIT_RATIO = 5.0  # measured: 0.5
BACKEND = "lots.views.backend.PersonBackend"


def measure(act: Callable[[], object], times: int = TIMES) -> tuple[float, float]:
    """Median processor's and clock's ms of so many calls; the first is left out."""
    busy, clock = [], []
    for number in range(times + 1):
        began, started = time.process_time(), time.perf_counter()
        act()
        if number:
            busy.append(1000 * (time.process_time() - began))
            clock.append(1000 * (time.perf_counter() - started))
    return statistics.median(busy), statistics.median(clock)


def main() -> int:
    set_up()
    from django.test import Client

    from lots.core.calibration import calibrate
    from lots.queries.uptake_points import known_now, point_of, points
    from tests.make import make_book
    from tests.points import six_points
    from tests.views.test_salt import FORECAST
    from tests.views.test_sums import AHEAD, BRINE, NITRITE, READING, SCALE

    book = make_book()
    six_points(book)
    assert known_now().own
    client = Client(SERVER_NAME="localhost")
    client.force_login(book.operator.login, backend=BACKEND)

    def page(path: str, typed: dict[str, str]) -> Callable[[], object]:
        address = f"{path}?{urlencode(typed)}" if typed else path

        def ask() -> None:
            answer = client.get(address)
            assert answer.status_code == 200
            assert not typed or b'id="answer"' in answer.content, path

        return ask

    shown = {
        "/sums/": {},
        "/sums/brine/": BRINE | {"salometer": "60"},
        "/sums/reading/": READING,
        "/sums/scale/": SCALE | {"volume": "20 L"},
        "/sums/nitrite/": NITRITE | {"wanted": "150"},
        "/sums/water-phase-salt/": {"salt_pct": "2.6", "moisture": "68"},
        "/sums/ahead/": AHEAD,
        "/sums/salt/": FORECAST,
        "/sums/salt/points/": {},
    }
    base, clock = measure(page("/", {}))
    print(f"{'processor':>10} {'clock':>8} {'ratio':>6}  page")
    print(f"{base:10.1f} {clock:8.1f} {1:6.1f}  / (the opening page)")
    slow = []
    for path, typed in shown.items():
        busy, clock = measure(page(path, typed))
        print(f"{busy:10.1f} {clock:8.1f} {busy / base:6.1f}  {path}")
        slow += [path] if busy > RATIO * base else []
    rows = [point_of(row) for row in points()]
    many = (rows * 7)[:40]
    busy, clock = measure(lambda: calibrate(many), 5)
    print(f"{busy:10.1f} {clock:8.1f} {busy / base:6.1f}  the fit to {len(many)} points, anew")
    slow += ["the fit"] if busy > FIT_RATIO * base else []
    print("too slow: " + ", ".join(slow) if slow else "all within their ratio")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
