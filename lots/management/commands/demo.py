"""`manage.py demo`: fills a folder with an invented smokehouse's week and serves it on this machine."""

import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, ClassVar, Final

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import transaction

from lots.core.units import show_span
from lots.entries.passphrase import DEMO_FILE
from lots.management.demo.folder import book_is_demo, check_may_fill, stale_ms, throw_away
from lots.management.demo.people import (
    keep_people,
    new_passwords,
    new_pins,
    people_file,
    set_pins,
)
from lots.management.demo.scenario import fill
from lots.management.locks import using_book
from lots.management.serving import (
    check_loopback,
    check_not_newer,
    check_port,
    prepare_folder,
    serve_forever,
)

HOST: Final = "127.0.0.1"
MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS


class Command(BaseCommand):
    help = (
        "Fills a folder with an invented smokehouse and a week of its work, and serves it on this "
        "machine. --data DIR names another folder."
    )
    requires_system_checks: ClassVar[list[str]] = []  # they run after migrating

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8123)
        parser.add_argument("--no-serve", action="store_true", help="fill the folder and stop")
        parser.add_argument("--fresh", action="store_true", help="throw the demo away, fill anew")

    def handle(self, *args: Any, port: int, no_serve: bool, fresh: bool, **options: Any) -> None:
        check_loopback(HOST)
        if not no_serve:
            check_port(HOST, port)
        folder = Path(settings.DATA_DIR)
        prepare_folder(folder)
        with using_book() as holding:
            self._fill_and_serve(folder, port, no_serve, fresh, holding)

    def _fill_and_serve(
        self, folder: Path, port: int, no_serve: bool, fresh: bool, holding: int
    ) -> None:
        check_may_fill(folder)
        begun = book_is_demo() is None and people_file(folder).exists()  # a fill that broke off
        if fresh or begun:
            throw_away(folder)
        check_not_newer()
        call_command("migrate", interactive=False, verbosity=0)
        now = time.time_ns() // 1_000_000 // MINUTE_MS * MINUTE_MS
        if book_is_demo() is None:
            self._fill(folder, now)
        self.check(databases=["default"])
        self._say(folder, now)
        self._serve(folder, port, no_serve, holding)

    def _fill(self, folder: Path, now: int) -> None:
        self.stdout.write(f"Filling {folder} with an invented week of work; about half a minute.")
        self.stdout.flush()
        passwords, pins = new_passwords(), new_pins()
        keep_people(
            folder, passwords, pins
        )  # before the book: a fill that breaks off is known by it
        began = time.monotonic()
        try:
            with transaction.atomic():
                fill(now, passwords)
                set_pins(pins, now)
        except BaseException:
            throw_away(folder)
            raise
        self.stdout.write(f"Filled in {time.monotonic() - began:.0f} s.")

    def _say(self, folder: Path, now: int) -> None:
        self.stdout.write(
            "\nEverything in this book is invented: the house, its people, its suppliers, every fish "
            "and every figure.\n"
        )
        if old := stale_ms(now):
            self.stdout.write(
                f"This demo is stale: its last entry is {show_span(old // HOUR_MS * HOUR_MS)} old, so "
                "what it shows as in process is long over. manage.py demo --fresh makes a new one."
            )
        file = people_file(folder)
        if file.exists():
            self.stdout.write(
                "\nThe people (log-in name, password, name, what they may do, and the PIN of those who log):\n"
            )
            self.stdout.write(file.read_text())
            if (folder / DEMO_FILE).exists():
                self.stdout.write(
                    f"\nThe passphrase of the key that seals lies beside the data, in {folder / DEMO_FILE}: "
                    "only because all of it is invented. A real one never lies in the data folder.\n"
                )
        else:
            self.stdout.write(f"{file} is gone, and the passwords with it: use --fresh.")

    def _serve(self, folder: Path, port: int, no_serve: bool, holding: int) -> None:
        if no_serve:
            self.stdout.write(
                f"The folder is {folder}. To serve it: manage.py --data {folder} demo"
            )
            return
        self.stdout.write(f"The demo is at http://{HOST}:{port}/ (data in {folder})")
        self.stdout.write("Ctrl-C ends it.")
        self.stdout.flush()
        serve_forever(HOST, port, holding)
