"""`manage.py serve`: backs up, migrates, checks, and serves the logbook on this machine."""

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, ClassVar

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection

from lots.entries.founding import new_founding_code
from lots.management.backing_up import back_up_before_migrating
from lots.management.serving import (
    check_loopback,
    check_not_demo,
    check_not_newer,
    check_port,
    check_triggers_stand,
    prepare_folder,
    serve_forever,
)
from lots.queries.house import establishment


class Command(BaseCommand):
    help = "Backs up the book, brings it up to date and serves the logbook on this machine."
    requires_system_checks: ClassVar[list[str]] = []  # they run after migrating

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="this machine's own address")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        check_loopback(host)
        check_port(host, port)
        folder = Path(settings.DATA_DIR)
        prepare_folder(folder)
        try:
            self._bring_up_to_date()
        except DatabaseError as error:
            raise CommandError(
                f"The database in {folder} is damaged or cannot be read ({error}). Nothing is "
                "served. The copies of earlier starts lie in its folder backups."
            ) from error
        self._say(host, port, folder)
        serve_forever(host, port)

    def _bring_up_to_date(self) -> None:
        check_not_demo()
        check_not_newer()
        check_triggers_stand()
        if connection.vendor == "sqlite":
            copy = back_up_before_migrating(time.time_ns() // 1_000_000)
            if copy:
                self.stdout.write(f"Backed up to {copy}")
        call_command("migrate", interactive=False, verbosity=0)
        self.check(databases=["default"])

    def _say(self, host: str, port: int, folder: Path) -> None:
        shown = f"[{host}]" if host == "::1" else host
        self.stdout.write(f"The logbook is at http://{shown}:{port}/ (data in {folder})")
        if establishment() is None:
            self.stdout.write("The book is empty. Whoever founds the house there needs this code:")
            self.stdout.write(f"\n    {new_founding_code()}\n\n")
        self.stdout.write("Ctrl-C ends it.")
        self.stdout.flush()
