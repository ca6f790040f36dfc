"""The demo's folder: whether it may be used, throwing it away, and whether its week is old."""

import shutil
from pathlib import Path

from django.conf import settings
from django.core.management.base import CommandError
from django.db import connection

from lots.entries.founding import forget_founding_code
from lots.entries.passphrase import DEMO_FILE
from lots.management.backing_up import database_file
from lots.management.demo.people import people_file
from lots.management.postgres import (
    drop_tables,
    in_postgres,
    other_book,
    own_place,
    tables_of_others,
    where,
)
from lots.models.book import BookLine
from lots.queries.house import rules


def book_is_demo() -> bool | None:
    """Whether the folder's book is invented; None where no house has been founded in it."""
    if "lots_establishment" not in connection.introspection.table_names():
        return None
    with connection.cursor() as cursor:  # by hand: the tables may be older than the models
        cursor.execute("SELECT demo FROM lots_establishment ORDER BY id DESC LIMIT 1")
        row = cursor.fetchone()
    return None if row is None else bool(row[0])


def _leftovers() -> list[Path]:
    """Keys and kept files in the folder."""
    folders = [Path(settings.KEYS_DIR), Path(settings.FILES_DIR)]
    return [folder for folder in folders if folder.is_dir() and any(folder.iterdir())]


def check_may_fill(folder: Path) -> None:
    """Refuses a folder whose book is a real one, or that holds keys or files of who knows what."""
    demo = book_is_demo()
    if demo is False:
        raise CommandError(
            f"{where()} holds a real logbook. The demo never touches it; nothing was changed. Give "
            f"the demo a {own_place()}"
        )
    if in_postgres() and demo is None:
        _check_postgres(folder)
    if demo is None and _leftovers() and not people_file(folder).exists():
        raise CommandError(
            f"{folder} holds no book but has files in {_leftovers()[0]}. They may belong to a real "
            "logbook; nothing was changed. Give the demo a folder of its own: --data DIR"
        )


def _check_postgres(folder: Path) -> None:
    """Refuses a database of something else, and a folder that belongs to another book."""
    if others := tables_of_others():
        raise CommandError(
            f"{where()} holds tables of something else ({others[0]}); nothing was changed. Give the "
            f"demo a {own_place()}"
        )
    if other := other_book(folder):
        raise CommandError(f"{other} Nothing was changed. Give the demo another folder: --data DIR")


def throw_away(folder: Path) -> None:
    """Removes the demo's database, files, keys and staged files."""
    if in_postgres():
        drop_tables()
    else:
        _throw_file_away()
    for name in (settings.FILES_DIR, settings.KEYS_DIR, settings.STAGED_DIR):
        shutil.rmtree(name, ignore_errors=True)
    people_file(folder).unlink(missing_ok=True)
    (folder / DEMO_FILE).unlink(missing_ok=True)
    forget_founding_code()


def _throw_file_away() -> None:
    file = database_file()
    connection.close()
    for end in ("", "-wal", "-shm"):
        file.with_name(file.name + end).unlink(missing_ok=True)


def stale_ms(now: int) -> int:
    """How long ago a person last entered something, where that is longer than the rules allow a demo
    to look fresh; else 0.  What the book itself notices does not count."""
    newest = BookLine.objects.filter(person__isnull=False).order_by("-number").first()
    age = now - newest.at if newest else 0
    return age if age > rules().demo_stale_ms else 0
