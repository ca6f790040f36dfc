"""`manage.py let_in NAME`: a one-time code for somebody locked out, on the server's own console."""

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db.models import Q

from lots.entries.people import let_in
from lots.models.people import Person
from lots.queries.house import rights_of


class Command(BaseCommand):
    help = "Prints a one-time code with which a person sets a new password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="the person's log-in name or printed name")

    def handle(self, *args: Any, name: str, **options: Any) -> None:
        person = Person.objects.filter(Q(username=name) | Q(name=name)).first()
        if person is None:
            known = ", ".join(
                Person.objects.order_by("username").values_list("username", flat=True)
            )
            raise CommandError(f"Nobody here is called “{name}”. Known: {known or 'nobody yet'}.")
        if not rights_of(person):
            raise CommandError(
                f"{person.name} holds no right any more and so cannot log in. A keeper of people "
                "can give one."
            )
        code = let_in(person, time.time_ns() // 1_000_000)
        self.stdout.write(f"{person.name} sets a new password at /invited/ with this code, once:")
        self.stdout.write(f"\n    {code}\n\n")
        self.stdout.write("The old password works until then.")
