"""The demo's people, with passwords drawn anew at each fill and kept beside the book."""

import os
import secrets
import tomllib
from pathlib import Path
from typing import Any, Final

from django.conf import settings

from lots.entries.pins import check_new_pin, set_pin
from lots.entries.refusals import Refused
from lots.models.people import Person, Right

FOLDER: Final = Path(settings.BASE_DIR) / "fixtures" / "demo"
WORDS_IN_PASSWORD: Final = 3
PIN_DIGITS: Final = 4
MAY: Final = {
    Right.OPERATOR: "logs: lots, loads, readings, corrective action",
    Right.REVIEWER: "reviews and signs the records, releases, issues",
    Right.COORDINATOR: "edits and publishes plans",
    Right.INSPECTOR: "reads everything",
    Right.KEEPER: "invites people, gives and ends rights",
}


def smokehouse() -> dict[str, Any]:
    """The invented house as its file states it."""
    return tomllib.loads((FOLDER / "smokehouse.toml").read_text())


def new_passwords() -> dict[str, str]:
    """A password for each person, by log-in name; different at each call."""
    words = (FOLDER / "words.txt").read_text().split()
    return {
        person["username"]: "-".join(
            [
                *(secrets.choice(words) for _ in range(WORDS_IN_PASSWORD)),
                str(secrets.randbelow(90) + 10),
            ]
        )
        for person in smokehouse()["people"]
    }


def new_pins() -> dict[str, str]:
    """A PIN for each operator, by log-in name; different at each call."""
    return {
        person["username"]: _new_pin()
        for person in smokehouse()["people"]
        if Right.OPERATOR in person["rights"]
    }


def _new_pin() -> str:
    digits = list("0123456789")
    while True:
        pin = "".join(secrets.choice(digits) for _ in range(PIN_DIGITS))
        try:
            check_new_pin(pin)
        except Refused:
            continue
        return pin


def set_pins(pins: dict[str, str], at: int) -> None:
    for username, pin in pins.items():
        set_pin(Person.objects.get(username=username), pin, at)


def people_file(folder: Path) -> Path:
    return folder / "demo_people.txt"


def keep_people(folder: Path, passwords: dict[str, str], pins: dict[str, str]) -> None:
    """Lays log-in names and passwords beside the book, for the owner of the folder alone."""
    file = people_file(folder)
    file.unlink(missing_ok=True)
    descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as out:
        out.write(people_lines(passwords, pins))


def people_lines(passwords: dict[str, str], pins: dict[str, str]) -> str:
    """A line a person: log-in name, password, name, what they may do, and the PIN where they log."""
    rows = [
        (
            person["username"],
            passwords[person["username"]],
            person["name"],
            "; ".join(MAY[Right(right)] for right in person["rights"])
            + (f" (PIN {pins[person['username']]})" if person["username"] in pins else ""),
        )
        for person in smokehouse()["people"]
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    return "".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, [*widths, 0], strict=True)) + "\n"
        for row in rows
    )
