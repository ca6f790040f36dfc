"""Walks the book and names the first line and row that do not agree."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from django.apps import apps

from lots.models.book import BookLine, Kept, LineLot
from lots.models.kept import KEPT
from lots.models.reading import PackedSeries
from lots.queries.digests import line_digest, row_digest

GENESIS: Final = "0" * 64


@dataclass(frozen=True, slots=True)
class Fault:
    """The first thing that does not agree: which line, and what is wrong with it."""

    line: int
    words: str


def book_faults() -> Iterator[Fault]:
    """Everything in the book that does not agree with its digests, in order of the lines."""
    prev, number = GENESIS, 0
    rows_told: dict[str, set[int]] = {}
    for line in BookLine.objects.order_by("number").iterator():
        number += 1
        if line.number != number:
            yield Fault(number, f"line {number} is missing: the next is {line.number}")
            number = line.number
        if line.prev != prev:
            yield Fault(line.number, f"line {line.number} does not follow the line before it")
        if line_digest(line) != line.digest:
            yield Fault(line.number, f"line {line.number} is not what its digest says")
        yield from _row_faults(line, rows_told)
        prev = line.digest
    yield from _untold(rows_told, number)


def _row_faults(line: BookLine, rows_told: dict[str, set[int]]) -> Iterator[Fault]:
    try:
        content = json.loads(line.content)
    except ValueError:
        yield Fault(line.number, f"line {line.number} cannot be read")
        return
    for name, pk, digest in content.get("rows", []):
        rows_told.setdefault(name, set()).add(pk)
        row = apps.get_model("lots", name).objects.filter(pk=pk).first()
        what = f"line {line.number}: row {pk} of {name}"
        if row is None:
            yield Fault(line.number, f"{what} is gone")
        elif row_digest(row) != digest:
            yield Fault(line.number, f"{what} is not what was written")
        elif row.line_id != line.number:
            yield Fault(line.number, f"{what} says that line {row.line_id} wrote it")
        elif isinstance(row, PackedSeries) and _spoilt(row):
            yield Fault(line.number, f"{what}: its packed readings were changed")
    lots = set(LineLot.objects.filter(line=line).values_list("lot_id", flat=True))
    if lots != set(content.get("lots", [])):
        yield Fault(line.number, f"line {line.number}: the lots that it concerns were changed")


def _spoilt(row: PackedSeries) -> bool:
    return hashlib.sha256(bytes(row.data)).hexdigest() != row.digest


def _untold(rows_told: dict[str, set[int]], last: int) -> Iterator[Fault]:
    """Rows that no line tells of: put in behind the application's back.  A row whose line
    came after the last one walked is passed over: the book is in use."""
    for model in KEPT:
        if not issubclass(model, Kept):
            continue
        told = rows_told.get(str(model._meta.model_name), set())
        for pk, line in model.objects.values_list("pk", "line_id"):
            if pk not in told and not (line > last and _stands(line)):
                yield Fault(line, f"row {pk} of {model._meta.model_name} stands in no line")


def _stands(number: int) -> bool:
    return BookLine.objects.filter(number=number).exists()
