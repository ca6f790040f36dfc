"""The demo's people, with passwords drawn anew at each fill and kept beside the book."""

import os
import secrets
import tomllib
from pathlib import Path
from typing import Any, Final

from django.conf import settings

from lots.models.people import Right

FOLDER: Final = Path(settings.BASE_DIR) / "fixtures" / "demo"
WORDS_IN_PASSWORD: Final = 3
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


def people_file(folder: Path) -> Path:
    return folder / "demo_people.txt"


def keep_people(folder: Path, passwords: dict[str, str]) -> None:
    """Lays log-in names and passwords beside the book, for the owner of the folder alone."""
    file = people_file(folder)
    file.unlink(missing_ok=True)
    descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as out:
        out.write(people_lines(passwords))


def people_lines(passwords: dict[str, str]) -> str:
    """A line a person: log-in name, password, name and what they may do."""
    rows = [
        (
            person["username"],
            passwords[person["username"]],
            person["name"],
            "; ".join(MAY[Right(right)] for right in person["rights"]),
        )
        for person in smokehouse()["people"]
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    return "".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, [*widths, 0], strict=True)) + "\n"
        for row in rows
    )
