"""The rows of a block of lines, read in bulk and held against what the lines say of them.

Every kept table is read by ranges of lines, whatever the lines say, so that a row of which no line tells
is met too; what a line tells of and was not met is looked for by its number.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from django.db import connection
from django.db.models import QuerySet

from lots.models.book import BookLine, Kept, LineLot
from lots.models.kept import KEPT
from lots.queries.book_lines import Fault, Told
from lots.queries.digests import canonical, sha256

ROWS_AT_ONCE: Final = 1_000
LAST_NUMBER: Final = 2**63 - 1  # no line has a higher one
PACKED: Final = "packedseries"
Span = tuple[
    int | None, int
]  # lines above the first (None: from below the first line) up to the last
Digests = Mapping[int, tuple[int, str]]  # number of a row → its line, its digest as told

KEPT_ROWS: Final[Mapping[str, type[Kept]]] = {
    str(model._meta.model_name): model for model in KEPT if issubclass(model, Kept)
}


def by_model(told: Sequence[Told]) -> tuple[dict[str, dict[int, tuple[int, str]]], list[Fault]]:
    """The told rows by model, and what is wrong with the telling itself."""
    found: dict[str, dict[int, tuple[int, str]]] = {}
    wrong: list[Fault] = []
    for one in told:
        for name, pk, digest in one.rows:
            what = f"line {one.line}: row {pk} of {name}"
            if name not in KEPT_ROWS:
                wrong.append(Fault(one.line, f"{what}: no rows of that name are kept"))
            elif pk in found.setdefault(name, {}):
                wrong.append(Fault(one.line, f"{what} is told of twice"))
            else:
                found[name][pk] = (one.line, digest)
    return found, wrong


def in_span(rows: QuerySet[Any], span: Span) -> QuerySet[Any]:
    low, high = span
    rows = rows.filter(line_id__lte=high).order_by()
    return rows if low is None else rows.filter(line_id__gt=low)


def row_faults(told: Sequence[Told], span: Span) -> Iterator[Fault]:
    """What does not agree among the rows of the lines, save packed series (book_chunks)."""
    found, wrong = by_model(told)
    yield from wrong
    for name in sorted({*found, *models_with_rows(span)} - {PACKED}):
        yield from _of_model(KEPT_ROWS[name], found.get(name, {}), span)
    yield from _lot_faults(told, span)


def models_with_rows(span: Span) -> set[str]:
    """The names of those of which rows stand under the lines: one question for all the tables."""
    low, high = span
    above = "" if low is None else f"line_id > {int(low)} AND "
    asked = (
        f"SELECT '{name}' WHERE EXISTS (SELECT 1 FROM {model._meta.db_table} "
        f"WHERE {above}line_id <= {int(high)})"
        for name, model in KEPT_ROWS.items()
    )
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(asked))
        return {name for (name,) in cursor.fetchall()}


def digest_of(model: type[Kept], values: Sequence[Any]) -> str:
    """The digest of a row by its covered columns."""
    return sha256(canonical(model.content_of(values)))


def _of_model(model: type[Kept], told: Digests, span: Span) -> Iterator[Fault]:
    name, columns = model._meta.model_name, model.covered_columns()
    rows = in_span(model._default_manager.all(), span).values_list("pk", "line_id", *columns)
    met: set[int] = set()
    altered: dict[int, tuple[int, str]] = {}
    for pk, line, *values in rows.iterator(ROWS_AT_ONCE):
        if pk not in told or told[pk][0] != line:
            yield untold(line, pk, name)
        if pk not in told:
            continue
        met.add(pk)
        digest = digest_of(model, values)
        if (line, digest) != told[pk]:
            altered[pk] = (line, digest)
    yield from _altered(name, told, altered)
    yield from _not_met(model, told, [pk for pk in told if pk not in met])


def untold(line: int, pk: int, name: str | None) -> Fault:
    return Fault(line, f"row {pk} of {name} stands in no line, though it says line {line}")


def _altered(name: str | None, told: Digests, altered: Digests) -> Iterator[Fault]:
    held_by = {digest: pk for pk, (_, digest) in told.items()} if altered else {}
    for pk, (line, digest) in altered.items():
        told_line, told_digest = told[pk]
        what = f"line {told_line}: row {pk} of {name}"
        if digest != told_digest:
            other = held_by.get(digest)
            swapped = f": it holds what row {other} held" if other is not None else ""
            yield Fault(told_line, f"{what} is not what was written{swapped}")
        if line != told_line:
            yield Fault(told_line, f"{what} says that line {line} wrote it")


def _not_met(model: type[Kept], told: Digests, pks: Sequence[int]) -> Iterator[Fault]:
    """Told rows that do not stand under these lines: gone, or under another line."""
    name, columns = model._meta.model_name, model.covered_columns()
    for start in range(0, len(pks), 500):  # a database takes only so many numbers in one question
        some = pks[start : start + 500]
        elsewhere = {
            pk: (line, digest_of(model, values))
            for pk, line, *values in model._default_manager.filter(pk__in=some).values_list(
                "pk", "line_id", *columns
            )
        }
        yield from _altered(name, told, elsewhere)
        for pk in some:
            if pk not in elsewhere:
                yield Fault(told[pk][0], f"line {told[pk][0]}: row {pk} of {name} is gone")


def _lot_faults(told: Sequence[Told], span: Span) -> Iterator[Fault]:
    """Where the lots that a line concerns are not those that it says."""
    standing: dict[int, set[int]] = {}
    for line, lot in in_span(LineLot.objects.all(), span).values_list("line_id", "lot_id"):
        standing.setdefault(line, set()).add(lot)
    for one in told:
        if standing.pop(one.line, set()) != one.lots and one.readable:
            words = f"line {one.line}: the lots that it concerns were changed"
            yield Fault(one.line, words)
    for line in standing:
        yield Fault(line, f"line {line} is missing, though lots say that it concerns them")


def beyond(newest: int) -> Iterator[Fault]:
    """Rows that name a line after the newest that is not there either: a line that came meanwhile is
    seen by the same question as its rows."""
    lines = BookLine.objects.values("number")
    for name in sorted(models_with_rows((newest, LAST_NUMBER))):
        rows = KEPT_ROWS[name]._default_manager.filter(line_id__gt=newest)
        for pk, line in rows.exclude(line_id__in=lines).order_by().values_list("pk", "line_id"):
            yield untold(line, pk, name)
    mentions = LineLot.objects.filter(line_id__gt=newest).exclude(line_id__in=lines)
    for line in mentions.order_by().values_list("line_id", flat=True):
        yield Fault(line, f"line {line} is missing, though lots say that it concerns them")
