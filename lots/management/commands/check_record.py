"""Checks a sealed record: its seal, its pages against what is attached, its verdicts against its readings.

0 intact and trusted, 1 altered, 3 intact but whose it is is not known.
"""

import hashlib
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError


class Command(BaseCommand):
    help = "Check a sealed record (exit 0 intact and trusted, 1 altered, 3 not known whose)."
    requires_system_checks: list[str] = []  # noqa: RUF012

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="the PDF")
        parser.add_argument(
            "--trust",
            action="append",
            default=[],
            metavar="CERT",
            help="a certificate to trust instead",
        )
        parser.add_argument(
            "--trust-stamp",
            action="append",
            default=[],
            metavar="CERT",
            help="a time stamping authority's certificate to trust",
        )
        parser.add_argument("--json", action="store_true", help="print the result for a program")

    def handle(self, *args: Any, **options: Any) -> None:
        from lots.pdf.check import check
        from lots.pdf.key import trusted_certificates

        try:
            data = Path(options["file"]).read_bytes()
            trusted = [Path(name).read_bytes() for name in options["trust"]]
            stamps = [Path(name).read_bytes() for name in options["trust_stamp"]]
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}", returncode=2) from error
        result = check(data, trusted or trusted_certificates(Path(settings.KEYS_DIR)), stamps)
        if options["json"] or result.outcome == "altered":
            said = ""
        else:
            said = self._issued(data, result.outcome == "intact")
        for line in [result.as_json()] if options["json"] else result.lines:
            self.stdout.write(line)
        if said:
            self.stdout.write(said)
        self.stdout.flush()
        sys.exit(result.exit_code)

    def _issued(self, data: bytes, ours: bool) -> str:
        """What the book beside this command says of the file; nothing where there is none."""
        from lots.queries.issued import issued_words

        try:
            return issued_words(hashlib.sha256(data).hexdigest(), ours)
        except DatabaseError:
            return ""
