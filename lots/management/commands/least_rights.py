"""`manage.py least_rights ROLE`: the SQL that lets a PostgreSQL role serve the book and no more."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from lots.management.postgres import in_postgres, least_rights


class Command(BaseCommand):
    help = (
        "Prints the SQL by which a role may serve the book: what is kept it reads and adds to, and it "
        "can neither change tables nor switch triggers off. For PostgreSQL, run as the tables' owner."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("role")

    def handle(self, *args: Any, role: str, **options: Any) -> None:
        if not in_postgres():
            raise CommandError(
                "SQLite has no roles: whoever can write the file can change the book."
            )
        for line in least_rights(role):
            self.stdout.write(line)
