"""One logger's file as the book took it in: what it was, how it was understood, what became of it."""

import json
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator

from lots.models.lot import Lot
from lots.models.reading import LoggerImport, PackedSeries, SeriesCorrection
from lots.queries.series_page import Logged, reading_of
from lots.queries.spoken_of import loads_of_file

FILES_A_PAGE = 20


@dataclass(frozen=True)
class Column:
    """One probe of the file: how many of its readings were new, and from when to when."""

    probe: str
    unit: str
    count: int
    first_at: int
    last_at: int


def files_page(page: str | None) -> Page[LoggerImport]:
    """The files that were taken in, newest first."""
    rows = LoggerImport.objects.select_related("place", "load", "file", "line__person", "withdrawn")
    return Paginator(rows.order_by("-id"), FILES_A_PAGE).get_page(page)


def get_file(pk: int) -> LoggerImport | None:
    rows = LoggerImport.objects.select_related(
        "place", "load__place", "file", "instrument", "line__person",
        "withdrawn__line__person", "withdrawn__accepted__line__person",
    )  # fmt: skip
    return rows.filter(pk=pk).first()


def file_page(source: LoggerImport) -> dict[str, Any]:
    """Everything of one file."""
    loads = loads_of_file(source)
    return {
        "source": source,
        "withdrawn": getattr(source, "withdrawn", None),
        "columns": _columns(source),
        "understood": json.loads(source.understood),
        "put_right": _put_right(source),
        "loads": loads,
        "lots": list(Lot.objects.filter(parts__load__in=loads).distinct().order_by("code")),
    }


def _columns(source: LoggerImport) -> list[Column]:
    found: dict[str, list[PackedSeries]] = {}
    for row in source.series.defer("data").order_by("id"):
        found.setdefault(row.probe, []).append(row)
    return [
        Column(
            probe,
            rows[0].unit,
            sum(row.count for row in rows),
            min(row.first_at for row in rows),
            max(row.last_at for row in rows),
        )
        for probe, rows in found.items()
    ]


def _put_right(source: LoggerImport) -> list[Logged]:
    """The readings of the file that were corrected, in order of time."""
    rows = SeriesCorrection.objects.filter(series__source=source).select_related("series")
    named = {(row.series_id, row.index): row.series for row in rows}
    found = [reading_of(series, index) for (_, index), series in named.items()]
    return sorted(found, key=lambda one: (one.at, one.series.pk))
