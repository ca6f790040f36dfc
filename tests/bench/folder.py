"""The data folder of a bench: its own, emptied at each run, with Django set up upon it.

A bench is run with SMOKEHOUSE_DATA naming a folder that is new, empty, or a bench's already: a book
that people keep is never touched.
"""

import os
import shutil
import sys
from pathlib import Path

MARK = "this-folder-is-a-bench"

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")


def own_folder() -> Path:
    """The bench's folder, emptied."""
    named = os.environ.get("SMOKEHOUSE_DATA")
    if not named:
        sys.exit("SMOKEHOUSE_DATA must name a folder of the bench's own, such as /tmp/bench.")
    folder = Path(named)
    if folder.exists() and any(folder.iterdir()) and not (folder / MARK).exists():
        sys.exit(f"{folder} is not a bench's. Name a new folder.")
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    (folder / MARK).touch()
    return folder


def set_up(empty: bool = True) -> Path:
    """Django upon the bench's folder; `empty` lays a new book with no rows in it."""
    folder = own_folder() if empty else Path(os.environ["SMOKEHOUSE_DATA"])
    import django

    django.setup()
    if empty:
        lay_book(folder / "book.sqlite3")
    return folder


def open_book(file: Path) -> None:
    """Turns this process to another book."""
    from django.db import connection

    connection.close()
    connection.settings_dict["NAME"] = str(file)


def lay_book(file: Path) -> None:
    """A new book's tables and triggers."""
    from django.core.management import call_command

    open_book(file)
    call_command("migrate", interactive=False, verbosity=0)
