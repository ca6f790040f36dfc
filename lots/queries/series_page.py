"""A logger's readings one by one: where they lie in a packed row, what was put right, what is beside."""

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from typing import Any

from django.db.models import QuerySet

from lots.core.series import unpack
from lots.core.units import MS_PER_S, TempUnit, show_temperature
from lots.models.house import Place
from lots.models.lot import Load
from lots.models.reading import LoggerImport, PackedSeries, SeriesCorrection
from lots.queries.evidence import own_series

BESIDE = 10  # readings shown on either side of the one that is looked at
RUNS_BESIDE = 3  # packed rows read on either side: enough where files do not overlap often


@dataclass(frozen=True)
class Logged:
    """One reading of a logger: as it came, and as it stands after its corrections."""

    series: PackedSeries
    index: int
    at: int
    came: int
    corrections: tuple[SeriesCorrection, ...] = ()

    @property
    def unit(self) -> TempUnit:
        return "F" if self.series.unit == "F" else "C"

    @property
    def seconds(self) -> str:
        """ ":30" behind the clock's minute, where a logger reads closer than that."""
        second = self.at // MS_PER_S % 60
        return f":{second:02d}" if second else ""

    @property
    def newest(self) -> SeriesCorrection | None:
        return self.corrections[-1] if self.corrections else None

    @property
    def taken_back(self) -> bool:
        return self.newest is not None and self.newest.withdrawn

    @property
    def value(self) -> int:
        """The figure that stands; where the reading is taken back, the last that stood."""
        values = [one.value for one in self.corrections if not one.withdrawn]
        return values[-1] if values else self.came

    @property
    def as_it_came(self) -> str:
        return show_temperature(self.came, self.unit)

    @property
    def shown(self) -> str:
        return show_temperature(self.value, self.unit)


def reading_of(series: PackedSeries, index: int, before: int | None = None) -> Logged:
    """A reading of a packed row.

    Args:
        before: the number of a correction; it and later ones are left out.
    Raises:
        IndexError: the row holds no such reading.
    """
    if index < 0:
        raise IndexError(index)
    chunk = unpack(bytes(series.data))
    rows = SeriesCorrection.objects.filter(series=series, index=index).order_by("id")
    if before is not None:
        rows = rows.filter(pk__lt=before)
    corrections = tuple(rows.select_related("line__person", "accepted__line__person"))
    return Logged(series, index, chunk.at[index], chunk.value[index], corrections)


@dataclass(frozen=True)
class Probe:
    """A column of a logger as a page names it: in the fish of a load, or of a place."""

    key: str
    words: str


def _key(series: PackedSeries) -> str:
    return f"{series.place_id}.{series.load_id or ''}.{series.probe}"


@dataclass(frozen=True)
class Scope:
    """What a person looks for a reading in: a load, a place or a file, with its packed rows."""

    kind: str
    pk: int
    name: str
    numbers: list[int]

    def rows(self) -> QuerySet[PackedSeries]:
        return PackedSeries.objects.filter(pk__in=self.numbers)

    def probes(self) -> list[Probe]:
        rows = self.rows().defer("data").select_related("place").order_by("place", "probe")
        found = {_key(row): Probe(_key(row), _words(row)) for row in rows}
        return list(found.values())


def _words(row: PackedSeries) -> str:
    if row.load_id is None:
        return f"{row.place.name}, {row.probe}" if row.probe else row.place.name
    return f"{row.probe}, in the fish"


def scope_of(kind: str, pk: int) -> Scope | None:
    """The load, place or file that a page was opened for; files taken back are left out of the first
    two."""
    standing = PackedSeries.objects.filter(source__withdrawn=None)
    if kind == "load" and (load := Load.objects.filter(pk=pk).select_related("place").first()):
        fresh = Load.objects.select_related("place__within").get(pk=pk)
        numbers = [row.pk for row in own_series(fresh).packed]
        standing = standing.filter(pk__in=numbers)
        name = f"Load {pk}, {load.place.name}"
        return Scope(kind, pk, name, list(standing.values_list("pk", flat=True)))
    if kind == "place" and (place := Place.objects.filter(pk=pk).first()):
        numbers = list(standing.filter(place=pk).values_list("pk", flat=True))
        return Scope(kind, pk, place.name, numbers)
    source = LoggerImport.objects.filter(pk=pk).select_related("file").first()
    if kind == "file" and source:
        numbers = list(source.series.values_list("pk", flat=True))
        return Scope(kind, pk, source.file.name, numbers)
    return None


def beside(
    rows: QuerySet[PackedSeries], at: int, count: int = BESIDE
) -> tuple[list[Logged], list[Logged]]:
    """The readings before a moment and those from it on, nearest runs only, each `count` at most."""
    near = [
        *rows.filter(first_at__lte=at, last_at__gte=at),
        *rows.filter(last_at__lt=at).order_by("-last_at", "-id")[:RUNS_BESIDE],
        *rows.filter(first_at__gt=at).order_by("first_at", "id")[:RUNS_BESIDE],
    ]
    found = sorted(_logged(near), key=lambda one: (one.at, one.series.pk, one.index))
    cut = bisect_left(found, at, key=lambda one: one.at)
    before, after = found[max(0, cut - count) : cut], found[cut : cut + count]
    return _with_corrections(before), _with_corrections(after)


def _logged(rows: Iterable[PackedSeries]) -> Iterable[Logged]:
    for row in rows:
        chunk = unpack(bytes(row.data))
        for index, (at, value) in enumerate(zip(chunk.at, chunk.value, strict=True)):
            yield Logged(row, index, at, value)


def _with_corrections(found: list[Logged]) -> list[Logged]:
    """The same readings with what was put right of them."""
    by_reading: dict[tuple[int, int], list[SeriesCorrection]] = {}
    rows = SeriesCorrection.objects.filter(series__in={one.series.pk for one in found})
    for row in rows.select_related("line__person").order_by("id"):
        by_reading.setdefault((row.series_id, row.index), []).append(row)
    return [
        Logged(
            one.series, one.index, one.at, one.came,
            tuple(by_reading.get((one.series.pk, one.index), ())),
        )
        for one in found
    ]  # fmt: skip


def readings_page(scope: Scope, probe: str, at: int | None) -> dict[str, Any]:
    """Twenty readings of one probe around a moment; without a moment its last ones."""
    probes = scope.probes()
    chosen = next((one for one in probes if one.key == probe), probes[0] if probes else None)
    rows = scope.rows().filter(pk__in=_of(scope, chosen)) if chosen else scope.rows().none()
    rows = rows.select_related("source__file")
    last = rows.defer("data").order_by("-last_at").values_list("last_at", flat=True).first()
    first = rows.defer("data").order_by("first_at").values_list("first_at", flat=True).first()
    before, after = beside(rows, last + 1 if at is None and last is not None else at or 0)
    return {
        "scope": scope,
        "probes": probes,
        "chosen": chosen,
        "first_at": first,
        "last_at": last,
        "at": at,
        "rows": [*before, *after],
    }


def _of(scope: Scope, probe: Probe) -> list[int]:
    place, load, name = probe.key.split(".", 2)
    rows = scope.rows().filter(place=place, load=load or None, probe=name)
    return list(rows.values_list("pk", flat=True))


def neighbours(one: Logged) -> list[Logged]:
    """The readings of the same probe and file around one, itself among them."""
    rows = PackedSeries.objects.filter(
        source=one.series.source_id, load=one.series.load_id, probe=one.series.probe,
        place=one.series.place_id,
    )  # fmt: skip
    before, after = beside(rows, one.at, BESIDE + 1)
    return [*before[-BESIDE:], *islice(after, BESIDE + 1)]
