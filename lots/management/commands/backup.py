"""`manage.py backup FILE`: a copy of the book while it is in use."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any, ClassVar

from django.core.management.base import BaseCommand, CommandError

from lots.management.backing_up import copy_database, database_file


class Command(BaseCommand):
    help = "Copies the book's database to a new file. Keys and kept files are not in it."
    requires_system_checks: ClassVar[list[str]] = []  # a book with something amiss is copied too

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        source = database_file()
        if not source.exists():
            raise CommandError(f"There is no book at {source}.")
        try:
            copy_database(source, file)
        except FileExistsError as error:
            raise CommandError(f"{file} is already there: name another file.") from error
        except OSError as error:
            raise CommandError(f"{file} cannot be written: {error.strerror}.") from error
        self.stdout.write(f"Copied {source} to {file} ({file.stat().st_size} bytes).")
        self.stdout.write(
            f"The folders files and keys in {source.parent} are not in it: copy them as well."
        )
