"""`manage.py make_lan_cert`: the house's own certificate for https on its own network."""

from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, ClassVar

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from lots.lan import (
    BadName,
    LanCert,
    lan_cert,
    lan_folder,
    make_lan_cert,
    own_addresses,
    reached,
    renew_server,
    usual_name,
)
from lots.queries.house import establishment


class Command(BaseCommand):
    help = (
        "Makes the house's own certificate authority, constrained to the server's names and addresses on the "
        "house's network, and the server's certificate. Without names or addresses it takes this machine's."
    )
    requires_system_checks: ClassVar[list[str]] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--name", action="append", default=[], help="e.g. smokehouse.home.arpa")
        parser.add_argument("--address", action="append", default=[], help="e.g. 192.168.1.20")
        parser.add_argument(
            "--renew",
            action="store_true",
            help="a new server certificate; tablets keep what they have",
        )
        parser.add_argument(
            "--anew",
            action="store_true",
            help="throw the old authority away; tablets install the new one",
        )

    def handle(
        self,
        *args: Any,
        name: list[str],
        address: list[str],
        renew: bool,
        anew: bool,
        **options: Any,
    ) -> None:
        folder, now = lan_folder(Path(settings.KEYS_DIR)), datetime.now(UTC)
        standing = lan_cert(folder)
        try:
            if renew:
                if name or address:
                    raise BadName(
                        "The authority is constrained to its names: others need a new one, with --anew, "
                        "which every tablet installs."
                    )
                made = renew_server(folder, now)
            elif standing is not None and not anew:
                raise BadName(
                    f"There is a certificate already, for {', '.join(standing.reached.words)}, until "
                    f"{standing.ends:%d %b %Y}. --renew renews it; other names or addresses need a new "
                    "authority: --anew, and every tablet installs it."
                )
            else:
                where = reached(name or [usual_name()], address or own_addresses())
                made = make_lan_cert(folder, house_name(), where, now)
        except BadName as error:
            raise CommandError(str(error)) from error
        self.stdout.write(said(made, folder))


def house_name() -> str:
    try:
        house = establishment()
    except DatabaseError:  # before the first migration
        house = None
    return str(house) if house else "Smokehouse logbook"


def said(made: LanCert, folder: Path) -> str:
    """What a person at the server's console must know of the certificate."""
    return (
        f"The certificate is for {', '.join(made.reached.words)}, until {made.ends:%d %b %Y} (in {folder}).\n"
        "Its authority's SHA-256 fingerprint, to compare on each tablet that installs it:\n"
        f"    {made.fingerprint}"
    )
