"""Takes an issued record out of the book as a file."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from lots.queries.house import file_bytes
from lots.queries.record import issued_lots


class Command(BaseCommand):
    help = "Write a lot's newest sealed record to a file, or list the lots that have one."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("lot", nargs="?", help="the lot's code")
        parser.add_argument("--to", help="the file to write")
        parser.add_argument("--list", action="store_true", help="list the lots that have a record")

    def handle(self, *args: Any, **options: Any) -> None:
        rows = {row.lot.code: row for row in issued_lots()}
        if options["list"]:
            for code, row in rows.items():
                self.stdout.write(f"{code} revision {row.revision}, {row.lot.species_name}")
            return
        if not options["lot"] or not options["to"]:
            raise CommandError(
                "Say which lot and where to: export_record LOT --to FILE.pdf (or --list)"
            )
        found = rows.get(options["lot"])
        if found is None:
            raise CommandError(
                f"Lot {options['lot']} has no issued record. Those that have one: "
                f"{', '.join(rows) or 'none'}."
            )
        Path(options["to"]).write_bytes(file_bytes(found.file))
        self.stdout.write(
            f"{options['to']}: record of lot {found.lot.code}, revision {found.revision}"
        )
