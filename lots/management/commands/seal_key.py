"""`manage.py seal_key`: the key that seals, on the server's own console."""

import getpass
import time
from argparse import ArgumentParser
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from lots.entries.keys import replace_key
from lots.entries.passphrase import (
    BadPassphrase,
    from_environment,
    keep_passphrase,
    new_passphrase,
    read_passphrase,
    readings_of,
)
from lots.entries.refusals import Refused
from lots.entries.sealing import ready_sealer, seal_folder, trouble_words
from lots.management.sealing import made_passphrase, shown_once, status_lines
from lots.models.house import Establishment
from lots.models.people import Person
from lots.models.sealing import SealKey
from lots.pdf.key import (
    KeyTrouble,
    WrongPassphrase,
    encrypt_key,
    fingerprint,
    grouped,
    has_key,
    is_encrypted,
    load_certificate,
    load_sealer,
)
from lots.pdf.outside import NotTaken, read_outside
from lots.pdf.own_authority import new_key
from lots.queries.house import establishment

DONE = ("status", "show_fingerprint", "encrypt", "passphrase", "make", "new", "import_file")


class Command(BaseCommand):
    help = (
        "The key that seals records and the book's head: how it stands, encrypting it, a new one after loss "
        "or exposure, one from outside."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        one = parser.add_mutually_exclusive_group(required=True)
        one.add_argument("--status", action="store_true", help="how the key stands")
        one.add_argument("--show-fingerprint", action="store_true", help="what people compare")
        one.add_argument(
            "--encrypt", action="store_true", help="encrypts a key that lies there unencrypted"
        )
        one.add_argument(
            "--passphrase", action="store_true", help="asks for the passphrase and keeps it here"
        )
        one.add_argument("--make", action="store_true", help="the first key, as serve makes it")
        one.add_argument(
            "--new", action="store_true", help="a new key: lost or exposed; --by, --reason"
        )
        one.add_argument(
            "--import", dest="import_file", type=Path, metavar="FILE.p12",
            help="a key from outside (PKCS #12); --by",
        )  # fmt: skip
        parser.add_argument("--by", metavar="INITIALS", help="in whose name; a keeper of people")
        parser.add_argument("--reason", default="", help="why; it stands in the book")

    def handle(self, *args: Any, **options: Any) -> None:
        (asked,) = (name for name in DONE if options[name])
        do: Callable[..., None] = getattr(self, f"_{asked}")
        try:
            do(options)
        except Refused as refusal:
            raise CommandError(f"{refusal} Nothing was changed.") from refusal
        except NotTaken as bad:
            raise CommandError(f"{options['import_file']} is not taken. {bad}") from bad
        except (KeyTrouble, BadPassphrase) as trouble:
            raise CommandError(f"{trouble_words(trouble)} Nothing was changed.") from trouble

    # --- looking ---

    def _status(self, options: dict[str, Any]) -> None:
        for line in status_lines():
            self.stdout.write(line)

    def _show_fingerprint(self, options: dict[str, Any]) -> None:
        self.stdout.write(grouped(fingerprint(load_certificate(seal_folder()))))

    # --- the passphrase ---

    def _encrypt(self, options: dict[str, Any]) -> None:
        folder = seal_folder()
        if is_encrypted(folder):
            raise CommandError("The key is encrypted already. Nothing was changed.")
        load_sealer(folder, None)  # before a passphrase is made for a key that is damaged
        made = made_passphrase()
        if made:
            self.stdout.write(shown_once(made))
        passphrase = read_passphrase()
        assert passphrase is not None
        encrypt_key(folder, passphrase)
        self.stdout.write(
            "The key is encrypted. Copies of the data folder made before hold it unencrypted: if anybody "
            "else could have read one, make a new key with --new."
        )

    def _passphrase(self, options: dict[str, Any]) -> None:
        if from_environment():
            raise BadPassphrase("SEAL_PASSPHRASE is set: the passphrase is taken from there.")
        folder = seal_folder()
        if not is_encrypted(folder):
            raise CommandError("The key is not encrypted: --encrypt encrypts it.")
        for words in readings_of(getpass.getpass("The passphrase that was written down: ")):
            try:
                load_sealer(folder, words.encode())
            except WrongPassphrase:
                continue
            self.stdout.write(f"It opens the key, and is kept in {keep_passphrase(words)}.")
            return
        raise CommandError("The key does not open with this passphrase. Nothing was changed.")

    # --- another key ---

    def _make(self, options: dict[str, Any]) -> None:
        if has_key(seal_folder()):
            raise CommandError("There is a key already; --new makes another. Nothing was changed.")
        house = self._house()
        made = made_passphrase()
        if made:
            self.stdout.write(shown_once(made))
        self._say(ready_sealer(house, _now()).fingerprint)

    def _new(self, options: dict[str, Any]) -> None:
        """Under a new passphrase, since what lost or gave away the key may have done so with that too."""
        house, person = self._house(), self._person(options["by"])
        passphrase = new_passphrase()
        if from_environment():
            passphrase = (read_passphrase() or b"").decode()
        at = _now()
        new = new_key(house.name, datetime.fromtimestamp(at / 1000, UTC), passphrase.encode())
        row = replace_key(person, new, options["reason"], at)
        if not from_environment():
            self._keep(passphrase)
        self._say(row.fingerprint)

    def _keep(self, passphrase: str) -> None:
        """Shown whatever happens: the key opens with nothing else now."""
        try:
            keep_passphrase(passphrase)
        except BadPassphrase as trouble:
            self.stdout.write(f"{trouble} Then: manage.py seal_key --passphrase")
        self.stdout.write(shown_once(passphrase))

    def _import_file(self, options: dict[str, Any]) -> None:
        file, person = options["import_file"], self._person(options["by"])
        try:
            data = file.read_bytes()
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error.strerror}.") from error
        password, at = getpass.getpass(f"The password of {file.name}: ").encode(), _now()
        made = "" if read_passphrase() is not None else new_passphrase()
        now = datetime.fromtimestamp(at / 1000, UTC)
        new = read_outside(data, password, now, made.encode() or read_passphrase() or b"")
        reason = (
            options["reason"]
            or f"from outside, issued by {new.certificate.issuer.rfc4514_string()}"
        )
        row = replace_key(person, new, reason[:300], at)
        if made:
            self._keep(made)
        self._say(row.fingerprint)
        if not new.chain:
            self.stdout.write(
                "The file held nothing of who issued it: only the certificate is kept."
            )

    def _say(self, mark: str) -> None:
        self.stdout.write(
            f"The key seals from now on. Its fingerprint, to be written down and given to whoever checks "
            f"records:\n    {grouped(mark)}"
        )
        if SealKey.objects.count() > 1:
            self.stdout.write(
                "What was sealed before is still trusted, by its own certificate. A running server "
                "takes the new key by itself."
            )

    # --- who, and for whom ---

    def _house(self) -> Establishment:
        house = establishment()
        if house is None:
            raise CommandError("The book is empty: the house is founded first (manage.py serve).")
        return house

    def _person(self, initials: str | None) -> Person:
        """Whose name it is done in, once their own password was typed."""
        if not initials:
            raise CommandError("Say in whose name: --by INITIALS, a keeper of people.")
        person = Person.objects.filter(initials=initials).select_related("login").first()
        if person is None:
            raise CommandError(f"Nobody here has the initials {initials}.")
        password = getpass.getpass(f"The password of {person.name}: ")
        if not person.login.check_password(password):
            raise CommandError(f"This is not the password of {person.name}. Nothing was changed.")
        return person


def _now() -> int:
    return time.time_ns() // 1_000_000
