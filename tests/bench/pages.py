"""Server time of each page over a demo folder: median, 95th of a hundred, worst, in ms.

    .venv/bin/python manage.py --data /tmp/pages demo --no-serve
    SMOKEHOUSE_DATA=/tmp/pages .venv/bin/python -m tests.bench.pages [TIMES]

The readings that it posts stay in that folder, so give it a folder of its own.
"""

import os
import statistics
import sys
import time

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")

import django

django.setup()

from django.test import Client  # noqa: E402
from django.urls import reverse  # noqa: E402

from lots.models.deviation import Deviation  # noqa: E402
from lots.models.house import Instrument, Place  # noqa: E402
from lots.models.lot import BrineBatch, Load, Lot  # noqa: E402
from lots.models.people import Person, Right, RightGiven  # noqa: E402
from lots.models.plan import PlanVersion  # noqa: E402
from lots.models.reading import Reading  # noqa: E402
from lots.models.scratch import Login  # noqa: E402

BACKEND = "lots.views.backend.PersonBackend"


def logged_in(right: str) -> Client:
    given = RightGiven.objects.filter(right=right, taken=None).first()
    assert given is not None
    client = Client(SERVER_NAME="localhost")
    client.force_login(Login.objects.get(person=given.person_id), backend=BACKEND)
    return client


def pages() -> list[str]:
    """Every page of the menu, and one of each kind."""
    names = (
        "shift", "lots", "lot_open", "load_start", "reading_choose", "deviations", "review", "records",
        "plans", "places", "instruments", "logger_upload", "people", "help", "batches",
        "batch_make",
    )  # fmt: skip
    found = [reverse(name) for name in names]
    found += [reverse("lot_show", args=[lot.code]) for lot in Lot.objects.order_by("id")]
    found += [reverse("load_show", args=[load.pk]) for load in Load.objects.filter(ends=None)]
    found += [reverse("batch_show", args=[one.pk]) for one in BrineBatch.objects.all()[:3]]
    scaled = "?by=fish&fish=10+kg&ratio=2"
    found += [
        reverse("batch_scale", args=[one.pk]) + scaled for one in BrineBatch.objects.all()[:1]
    ]
    found += [reverse("deviation_show", args=[one.pk]) for one in Deviation.objects.all()[:3]]
    version, place, instrument = (
        PlanVersion.objects.first(),
        Place.objects.first(),
        Instrument.objects.first(),
    )
    reading, person, lot = Reading.objects.last(), Person.objects.first(), Lot.objects.first()
    assert version and place and instrument and reading and person and lot
    return [
        *found,
        reverse("version_show", args=[version.pk]),
        reverse("lot_open") + f"?plan={version.pk}",
        reverse("place_show", args=[place.pk]),
        reverse("instrument_show", args=[instrument.pk]),
        reverse("reading_answer", args=[reading.pk]),
        reverse("reading_place", args=[place.pk]),
        reverse("person_show", args=[person.pk]),
        reverse("trace") + f"?q={lot.code}",
    ]


def measure(act: object, times: int) -> tuple[float, float, float]:
    """Median, 95 %, worst of so many calls, ms; the first is left out, as a warmed server is meant."""
    took = []
    for number in range(times + 1):
        began = time.perf_counter()
        act()  # type: ignore[operator]
        if number:
            took.append(1000 * (time.perf_counter() - began))
    return statistics.median(took), statistics.quantiles(took, n=20)[-1], max(took)


def post_reading(client: Client, load: Load) -> None:
    """The round of fish that was read last in the load, read again now."""
    last = load.readings.filter(quantity="temperature").order_by("-id").first()
    assert last is not None
    data = {f"read_{last.probe}": last.as_read, "unit": last.unit, "instrument": ""}
    answer = client.post(reverse("reading_load", args=[load.pk]), data)
    assert answer.status_code == 302, answer.content.decode()[:3000]


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    clients = {right: logged_in(right) for right in (Right.OPERATOR, Right.KEEPER, Right.REVIEWER)}
    print(f"{'median':>8} {'p95':>8} {'worst':>8}  page")
    medians, p95s = [], []
    for path in pages():
        client = next(c for c in clients.values() if c.get(path).status_code == 200)
        median, p95, worst = measure(lambda c=client, p=path: c.get(p), times)
        medians.append(median)
        p95s.append(p95)
        print(f"{median:8.1f} {p95:8.1f} {worst:8.1f}  {path}")
    print(f"{statistics.median(medians):8.1f} {max(p95s):8.1f}           median page, slowest p95")
    for load in Load.objects.filter(ends=None).select_related("place"):
        if load.readings.filter(quantity="temperature").exists():
            median, p95, worst = measure(
                lambda one=load: post_reading(clients[Right.OPERATOR], one), times
            )
            print(f"{median:8.1f} {p95:8.1f} {worst:8.1f}  a posted reading, {load.place.name}")


if __name__ == "__main__":
    main()
