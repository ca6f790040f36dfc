"""`manage.py worked [PATH …]`: runs published examples through this logbook's own sums."""

import sys
import tomllib
from argparse import ArgumentParser
from collections.abc import Iterable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any, ClassVar

from django.core.management.base import BaseCommand

from lots.core.worked import Outcome, run

CASES = Path(__file__).resolve().parents[3] / "fixtures" / "worked"


def case_files(paths: Iterable[Path]) -> Iterator[Path]:
    """The files named, and those of each folder named, in order; a path that holds none comes back as
    it is, so that it is missed aloud."""
    for path in paths:
        yield from sorted(path.rglob("*.toml")) or [path]


def outcome(path: Path) -> Outcome:
    """What became of the case in a file; one that cannot be read is off and says why."""
    try:
        return run(tomllib.loads(path.read_text("utf-8-sig"), parse_float=Decimal))
    except IsADirectoryError:
        return Outcome(str(path), problem="holds no case: a case is a file that ends in .toml")
    except OSError as error:
        return Outcome(str(path), problem=f"cannot be read: {error.strerror}")
    except ValueError as error:  # not TOML, or not UTF-8
        return Outcome(str(path), problem=f"cannot be read: {error}")


class Command(BaseCommand):
    help = "Runs worked cases and says of each whether what was expected came out."
    requires_system_checks: ClassVar[list[str]] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "paths", nargs="*", type=Path, metavar="PATH", help="files or folders of cases"
        )

    def handle(self, *args: Any, paths: list[Path], **options: Any) -> None:
        files = list(case_files(paths or [CASES]))
        off = 0
        for path in files:
            off += not self._told(path, outcome(path))
        self.stdout.write(f"Cases: {len(files)}, ok: {len(files) - off}, off: {off}.")
        if off:
            sys.exit(1)

    def _told(self, path: Path, found: Outcome) -> bool:
        self.stdout.write(f"{'ok ' if found.ok else 'off'}  {found.title}")
        if not found.ok and found.title != str(path):
            self.stdout.write(f"     file:     {path}")
        self.stdout.write(f"     expected: {found.expected}")
        self.stdout.write(f"     got:      {found.got}")
        return found.ok
