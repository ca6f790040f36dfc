"""A house whose days are now, for servers of its own; prints what a browser must know of it, as JSON.

SMOKEHOUSE_DATA=FOLDER python -m tests.faults.lay LOADS
SMOKEHOUSE_DATA=FOLDER python -m tests.faults.lay database NAME    an empty database, where one server has many
"""

import json
import os
import sys
from datetime import datetime, timedelta

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")
os.environ.setdefault("SEAL_PASSPHRASE", "invented, of a book that is attacked")

import django

django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402

from lots.entries import house  # noqa: E402
from lots.models.book import BookLine  # noqa: E402
from tests import make  # noqa: E402

FOUNDED_DAYS_AGO = 40
COOLERS = 2  # where loggers' files go


def ago(**span: float) -> str:
    """A moment of the house so long ago, as `make.moment` reads it."""
    return f"{datetime.now(make.ZONE) - timedelta(**span):%Y-%m-%d %H:%M}"


def lay(loads: int) -> dict[str, object]:
    """So many loads in smokehouses, each begun an hour ago, and coolers for files."""
    call_command("migrate", verbosity=0)
    if BookLine.objects.exists():
        sys.exit("The database is not empty: these tests need one of their own.")
    make.FOUNDED = ago(days=FOUNDED_DAYS_AGO)
    book = make.make_book()
    founded = make.moment(make.FOUNDED)
    fires = [
        house.open_place(book.keeper, f"Fire {n}", "smokehouse", None, founded)
        for n in range(1, loads + 1)
    ]
    coolers = [
        house.open_place(book.keeper, f"Cold {n}", "cooler", None, founded)
        for n in range(1, COOLERS + 1)
    ]
    book.places |= {place.name: place for place in fires}
    begun = []
    for number, place in enumerate(fires, 1):
        lot = book.open_lot(f"TR-{number}", at=ago(minutes=70))
        load = book.start("smoke", place.name, ago(minutes=60), lot)
        begun.append({"load": load.pk, "place": place.pk})
    return {
        "person": book.operator.pk,
        "username": book.operator.username,
        "password": make.PASSWORD,
        "loads": begun,
        "coolers": [place.pk for place in coolers],
    }


def main(words: list[str]) -> None:
    if words[0] == "database":
        with connection._nodb_cursor() as cursor:
            cursor.execute(f'CREATE DATABASE "{words[1]}"')
    else:
        print(json.dumps(lay(int(words[0]))))


if __name__ == "__main__":
    main(sys.argv[1:])
