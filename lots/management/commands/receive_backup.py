"""Part of `manage.py restore`, which runs it on the folder that it has unpacked a backup into: brings the
book there to this version, writes the line that tells of the restore, and walks it."""

import json
import sys
from typing import Any, ClassVar

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from lots.entries.keeping import Restored, say_restored
from lots.management.restoring import FAULTS
from lots.management.serving import migrations_wait
from lots.management.walking import walk_and_note, walk_said
from lots.models.triggers import missing_triggers


class Command(BaseCommand):
    help = "Part of `restore`, and of no use by itself: reads on its input what was unpacked."
    requires_system_checks: ClassVar[list[str]] = []

    def handle(self, *args: Any, **options: Any) -> None:
        if sys.stdin.isatty():
            raise CommandError("This is run by manage.py restore FILE.")
        told = json.load(sys.stdin)
        now_ms = told.pop("now_ms")
        try:
            missing = [] if migrations_wait() else missing_triggers()
            call_command("migrate", interactive=False, verbosity=0)
            say_restored(Restored(**told), now_ms)
            walk = walk_and_note(now_ms)
        except DatabaseError as error:
            raise CommandError(f"its database is damaged ({error})") from error
        if missing:
            self.stdout.write(
                f"the append-only trigger {missing[0]} is missing ({len(missing)} in all)"
            )
        for words in walk_said(walk):
            self.stdout.write(words)
        raise SystemExit(0 if walk.agrees and not missing else FAULTS)
