"""The server with one fault planted in it, to see that the tests of faults find it.

    SMOKEHOUSE_DATA=FOLDER python -m tests.faults.planted KIND serve --port N

Nothing of this is in the product: the fault is put into this process before the server's parts are loaded.
"""

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

OPEN_FOR_S = 0.15  # how long the gap stands open


def line_outside_the_transaction() -> None:
    """The rows are committed first, the line that tells of them afterwards."""
    from django.db import connection, transaction

    from lots.entries import book
    from lots.models.people import Person

    @contextmanager
    def act(
        kind: str, person: Person | None, at: int, client_key: str | None = None
    ) -> Iterator[book.Act]:
        with connection.constraint_checks_disabled():
            with transaction.atomic():
                number, digest = book._head()
                writing = book.Act(number + 1, at, person)
                yield writing
            time.sleep(OPEN_FOR_S)
            with transaction.atomic():
                if not (writing.nothing and not writing._rows):
                    writing.close(kind, digest, client_key or None)

    book.act = act


def acknowledged_before_commit() -> None:
    """The tablet hears "stored" at once; the entry is written a little later."""
    from lots.views import beside

    take = beside._take

    def early(*told: Any) -> tuple[int, dict[str, Any], bool]:
        threading.Timer(OPEN_FOR_S, take, told).start()
        return 0, {}, False

    beside._take = early


FAULTS: dict[str, Callable[[], None]] = {
    "line": line_outside_the_transaction,
    "early": acknowledged_before_commit,
}


def main(kind: str, words: list[str]) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")
    import django

    django.setup()
    FAULTS[kind]()
    from django.core.management import execute_from_command_line

    execute_from_command_line(["manage.py", *words])


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
