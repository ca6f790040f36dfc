"""`manage.py serve`: backs up, migrates, checks, and serves the logbook on this machine."""

import time
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, ClassVar, Final

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection

from lots.entries.founding import new_founding_code
from lots.lan import (
    BadName,
    LanCert,
    Reached,
    lan_cert,
    lan_folder,
    make_lan_cert,
    own_addresses,
    reached,
    renew_server,
    usual_name,
)
from lots.management.backing_up import back_up_before_migrating, database_file
from lots.management.commands.make_lan_cert import house_name, said
from lots.management.locks import using_book
from lots.management.postgres import (
    backup_words,
    check_can_keep,
    in_postgres,
    other_book,
    role_words,
    where,
)
from lots.management.sealing import ready_at_start
from lots.management.serving import (
    check_not_demo,
    check_not_newer,
    check_port,
    check_triggers_stand,
    is_loopback,
    migrations_wait,
    prepare_folder,
    serve_forever,
    speak_https,
)
from lots.management.walking import walk_and_note, walk_said
from lots.queries.house import establishment
from lots.queries.keeping import last_walk

EVERY_ADDRESS: Final = ("0.0.0.0", "::", "[::]")


def _where(host: str) -> Reached:
    """Whom the first certificate names: the host asked for, and this machine's name and addresses."""
    bare = host.strip("[]")
    if host in EVERY_ADDRESS:
        return reached([usual_name()], own_addresses())
    is_address = bare.replace(".", "").isdigit() or ":" in bare
    names, addresses = ([], [bare]) if is_address else ([bare], [])
    return reached([*names, usual_name()], [*addresses, *own_addresses()])


class Command(BaseCommand):
    help = "Backs up the book, brings it up to date and serves the logbook on this machine."
    requires_system_checks: ClassVar[list[str]] = []  # they run after migrating

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--host",
            default="127.0.0.1",
            help="where it listens: on any address or name but loopback over https, with the house's own "
            "certificate; 0.0.0.0 is every address",
        )
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--despite-faults",
            action="store_true",
            help="serve a book that did not agree with itself when it was walked after an update",
        )

    def handle(
        self, *args: Any, host: str, port: int, despite_faults: bool, **options: Any
    ) -> None:
        check_port(host, port)
        folder = Path(settings.DATA_DIR)
        prepare_folder(folder)
        with using_book() as holding:
            self._prepare_and_serve(folder, host, port, despite_faults, holding)

    def _prepare_and_serve(
        self, folder: Path, host: str, port: int, despite_faults: bool, holding: int
    ) -> None:
        try:
            self._bring_up_to_date(despite_faults)
        except DatabaseError as error:
            if in_postgres():
                raise CommandError(
                    f"{where()} cannot be used: {str(error).strip()}. Nothing is served."
                ) from error
            raise CommandError(
                f"The database in {folder} is damaged or cannot be read ({error}). Nothing is "
                "served. The copies of earlier starts lie in its folder backups."
            ) from error
        certificates, standing = None, None
        if not is_loopback(host):
            certificates = lan_folder(Path(settings.KEYS_DIR))
            standing = self._certificate(certificates, host)
            speak_https(standing)
        for words in ready_at_start(time.time_ns() // 1_000_000):
            self.stdout.write(f"{words}\n")
        self._say(host, port, folder, standing)
        serve_forever(host, port, holding, certificates)

    def _certificate(self, folder: Path, host: str) -> LanCert:
        """The house's own certificate for the host: made first, or renewed where it ends soon."""
        now, standing = datetime.now(UTC), lan_cert(folder)
        try:
            if standing is None:
                standing = make_lan_cert(folder, house_name(), _where(host), now)
            elif standing.wants_renewing(now):
                standing = renew_server(folder, now)
        except BadName as error:
            raise CommandError(str(error)) from error
        if host not in EVERY_ADDRESS and not standing.reached.covers(host):
            raise CommandError(
                f"The certificate is for {', '.join(standing.reached.words)}, not for {host}. Serve one of "
                f"those, or make another: manage.py make_lan_cert --anew with --name or --address {host}; "
                "every tablet then installs the new authority."
            )
        self.stdout.write(said(standing, folder))
        return standing

    def _bring_up_to_date(self, despite_faults: bool) -> None:
        check_not_demo()
        check_not_newer()
        check_triggers_stand()
        changes = migrations_wait()
        copy = None
        if in_postgres():
            self._say_of_postgres()
        else:
            copy = back_up_before_migrating(time.time_ns() // 1_000_000)
            if copy:
                self.stdout.write(f"Backed up to {copy}")
        call_command("migrate", interactive=False, verbosity=0)
        self.check(databases=["default"])
        if changes and copy:  # not of a new book
            self._walk_changed_book(copy, despite_faults)

    def _walk_changed_book(self, copy: Path, despite_faults: bool) -> None:
        """An update must leave the book as it was written: refuses to serve one that it did not."""
        self.stdout.write("The update changed the book's tables: walking the book once …")
        self.stdout.flush()
        before = last_walk()
        walk = walk_and_note(time.time_ns() // 1_000_000)
        for words in walk_said(walk):
            self.stdout.write(words)
        known = before is not None and not before.agrees and before.faults == walk.faults
        if walk.agrees or known or despite_faults:
            return
        raise CommandError(
            "After the update the book does not agree with itself, as named above. Nothing is served. The "
            f"book as it was before lies in {copy}: put it in the place of {database_file()} with the "
            "version before, or serve this one all the same: --despite-faults."
        )

    def _say_of_postgres(self) -> None:
        check_can_keep()
        if connection.introspection.table_names():
            self.stdout.write(backup_words())
        if other := other_book(Path(settings.DATA_DIR)):
            self.stdout.write(other)

    def _say(self, host: str, port: int, folder: Path, standing: LanCert | None) -> None:
        if standing is None:
            shown = f"[{host}]" if host == "::1" else host
            self.stdout.write(f"The logbook is at http://{shown}:{port}/ (data in {folder})")
        else:
            words = standing.reached.words if host in EVERY_ADDRESS else [host.strip("[]")]
            shown = [f"https://{f'[{one}]' if ':' in one else one}:{port}/" for one in words]
            self.stdout.write(f"The logbook is at {' or '.join(shown)} (data in {folder})")
            self.stdout.write(f"A tablet begins at {shown[0]}tablet/")
        if in_postgres() and (words := role_words()):
            self.stdout.write(words)
        if establishment() is None:
            self.stdout.write("The book is empty. Whoever founds the house there needs this code:")
            self.stdout.write(f"\n    {new_founding_code()}\n\n")
        self.stdout.write("Ctrl-C ends it.")
        self.stdout.flush()
