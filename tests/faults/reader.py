"""Reads the book beside the server, through Django: one question a line on stdin, one answer a line on stdout.

SMOKEHOUSE_DATA=FOLDER python -m tests.faults.reader
"""

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from tests.faults.served import ROOT, environment


class Reader:
    """The process that reads, seen from a test."""

    def __init__(self, folder: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.reader"], env=environment(folder), cwd=ROOT,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def ask(self, question: str, **about: Any) -> Any:
        assert self.process.stdin and self.process.stdout
        self.process.stdin.write(json.dumps({"question": question, **about}) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())

    def end(self) -> None:
        if self.process.stdin:
            self.process.stdin.close()
        self.process.wait(timeout=60)


def walked(since: str | None) -> dict[str, Any]:
    """Faults since the line with that digest, and the newest digest that was walked."""
    from lots.queries.book_check import Note, Walk, line_of_digest

    first = line_of_digest(since) if since else None
    if since and first is None:
        return {
            "faults": [f"the line with the digest {since} is gone"],
            "newest": since,
            "lines": 0,
        }
    walk = Walk(first.number if first else None)
    faults = [one.words for one in walk.findings() if not isinstance(one, Note)]
    return {"faults": faults, "newest": walk.newest and walk.newest.digest, "lines": walk.lines}


def entries(keys: Mapping[str, int]) -> list[str]:
    """What is wrong with posted readings: key → how many rows its round has."""
    from django.db.models import Count

    from lots.models.book import BookLine
    from lots.models.reading import Reading

    lines = dict(
        BookLine.objects.exclude(client_key=None).values_list("client_key", "number").iterator()
    )
    rows: dict[str, list[tuple[int, int]]] = {}
    counted = Reading.objects.exclude(note="").values_list("note", "line_id").annotate(Count("id"))
    for key, line, count in counted.order_by():
        rows.setdefault(key, []).append((line, count))
    wrong = []
    for key, count in keys.items():
        found = rows.pop(key, [])
        if key not in lines or not found:
            wrong.append(f"lost: {key}")
        elif found != [(lines[key], count)]:
            wrong.append(
                f"not once and whole: {key}: {found} under {lines[key]}, {count} rows sent"
            )
    return wrong + [f"never acknowledged: {key}" for key in rows]


def files(names: Mapping[str, int]) -> list[str]:
    """What is wrong with sent files: name → how many readings it has."""
    from django.db.models import Sum

    from lots.models.reading import LoggerImport

    found: dict[str, list[tuple[int, int]]] = {}
    rows = LoggerImport.objects.annotate(packed=Sum("series__count"))
    for name, added, packed in rows.values_list("file__name", "added", "packed"):
        found.setdefault(name, []).append((added, packed))
    wrong = [
        f"{name}: {found.get(name)} in the book, {count} sent"
        for name, count in names.items()
        if found.pop(name, []) != [(count, count)]
    ]
    return wrong + [f"never acknowledged: {name}" for name in found]


def main() -> None:
    import django

    django.setup()
    answers = {"walk": walked, "entries": entries, "files": files}
    for line in sys.stdin:
        asked = json.loads(line)
        print(json.dumps(answers[asked.pop("question")](**asked)), flush=True)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "smokehouse.settings")
    main()
