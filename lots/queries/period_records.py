"""All records of a period: the newest sealed PDF of each lot, and the lots that have none."""

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import IO, Final
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipFile, ZipInfo
from zoneinfo import ZoneInfo

from django.conf import settings

from lots.core.moments import MONTHS, show_moment
from lots.core.spreadsheet import MARK, csv_text
from lots.models.book import LineLot
from lots.models.house import Establishment
from lots.models.lot import Lot
from lots.models.plan import PlanVersion
from lots.models.review import RecordIssued
from lots.queries.house import rules
from lots.queries.lot_page import state_words
from lots.queries.retention import COPY, keep_until
from lots.queries.visit import newest_records

RECEIVED, FINISHED = "received", "finished"
PIECE: Final = 1 << 20
MB: Final = 1_000_000
GONE = "is not in the data folder"
CHANGED = "is not what was issued: its digest differs"


@dataclass(frozen=True)
class PeriodLot:
    """A lot of the period, its newest record, and how many entries came after that."""

    lot: Lot
    state: str
    record: RecordIssued | None
    since: int
    kept_until: date

    @property
    def file_name(self) -> str:
        """Under which the record lies in the download; "" where there is none."""
        if self.record is None:
            return ""
        plain = "".join(c if c.isalnum() or c in "-_" else "_" for c in self.lot.code)
        return f"records/{plain}-{self.lot.pk}-revision-{self.record.revision}.pdf"

    @property
    def finished_at(self) -> int:
        finish = getattr(self.lot, "finish", None)
        return finish.finished_at if finish else 0


@dataclass(frozen=True)
class Period:
    """Days from `first` to `last`, both included, by when lots were received or finished."""

    first: date
    last: date
    by: str

    @property
    def words(self) -> str:
        """The days in words, e.g. "received 1 Mar 2026 to 4 Mar 2026"."""
        return f"{self.by} {_say(self.first)} to {_say(self.last)}"

    def span(self, zone: ZoneInfo) -> tuple[int, int]:
        """ms UTC from the first midnight up to, not including, the midnight after the last day."""
        ends = self.first, self.last + timedelta(days=1)
        first, after = (datetime.combine(day, time(), zone).timestamp() for day in ends)
        return round(first * 1000), round(after * 1000)


def _say(day: date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


@dataclass(frozen=True)
class PeriodRecords:
    """What the download holds, and what it cannot hold."""

    period: Period
    found: int  # lots; where they are too many for one download, `rows` is empty
    rows: list[PeriodLot]
    versions: list[PlanVersion]

    @property
    def with_record(self) -> list[PeriodLot]:
        return [one for one in self.rows if one.record]

    @property
    def without(self) -> list[PeriodLot]:
        """Lots of the period of which no record was ever issued."""
        return [one for one in self.rows if not one.record]

    @property
    def size(self) -> int:
        """Bytes of all the PDFs."""
        return sum(one.record.file.size for one in self.rows if one.record)

    @property
    def too_much(self) -> str:
        """Why this cannot be one download, in words that say what to do; "" where it can."""
        rule = rules().period
        if self.found > rule.most_lots:
            return (
                f"{self.found} lots are more than the {rule.most_lots} that go into one download. "
                "Choose fewer days and fetch the rest after it."
            )
        if self.size > rule.largest_bytes:
            return (
                f"These records are {self.size // MB} MB; one download holds {rule.largest_bytes // MB} "
                "MB at most. Choose fewer days and fetch the rest after it."
            )
        return ""


def lots_of_period(
    period: Period, zone: ZoneInfo, lots: Collection[int] | None = None
) -> list[Lot]:
    """The lots of the period, by when they came in; only of these numbers, where any are given."""
    first, after = period.span(zone)
    field = "received_at" if period.by == RECEIVED else "finish__finished_at"
    rows = Lot.objects.filter(**{f"{field}__gte": first, f"{field}__lt": after})
    if lots is not None:
        rows = rows.filter(pk__in=lots)
    rows = rows.select_related("plan_version__plan", "finish", "release", "voided")
    return list(rows.order_by("received_at", "pk"))


def period_records(
    period: Period, house: Establishment, lots: Collection[int] | None = None
) -> PeriodRecords:
    """The records of a period, and the plan versions that its lots were made under."""
    found = lots_of_period(period, ZoneInfo(house.zone), lots)
    if len(found) > rules().period.most_lots:
        return PeriodRecords(period, len(found), [], [])
    newest, since = newest_records(found), _since_records(found)
    rows = [
        PeriodLot(
            lot,
            state_words(lot),
            newest.get(lot.pk),
            since.get(lot.pk, 0),
            keep_until(lot, house).day,
        )
        for lot in found
    ]
    under = {lot.plan_version_id for lot in found}
    versions = PlanVersion.objects.filter(pk__in=under).select_related("plan", "signature")
    return PeriodRecords(period, len(found), rows, list(versions.order_by("plan__title", "number")))


def _since_records(lots: Iterable[Lot]) -> dict[int, int]:
    """How many entries about each lot are newer than what its newest record was made of."""
    heads = {number: row.head_id for number, row in newest_records(lots).items()}
    out: dict[int, int] = {}
    rows = LineLot.objects.filter(lot__in=heads, line__gt=min(heads.values(), default=0))
    rows = rows.exclude(line__kind=COPY)
    for lot_id, line_id in rows.values_list("lot_id", "line_id"):
        if line_id > heads[lot_id]:
            out[lot_id] = out.get(lot_id, 0) + 1
    return out


@dataclass(frozen=True)
class Packed:
    """A file of the download with its SHA-256; `wrong` says where it is not what was issued."""

    name: str
    sha256: str
    size: int
    wrong: str = ""


class RecordsZip:
    """One download written piece by piece, so that it needs no more memory for more records."""

    def __init__(self, target: IO[bytes], made_at: int, zone: ZoneInfo) -> None:
        self._zip = ZipFile(target, "w", ZIP_STORED)  # the PDFs are compressed already
        self._made = datetime.fromtimestamp(made_at / 1000, zone).timetuple()[:6]
        self.packed: list[Packed] = []

    def add_record(self, one: PeriodLot) -> Packed:
        """The lot's sealed PDF as it lies in the data folder, whether or not it is what was issued."""
        assert one.record is not None
        file = one.record.file
        try:
            with (Path(settings.FILES_DIR) / file.sha256).open("rb") as source:
                digest, size = self._copy(one.file_name, source)
        except FileNotFoundError:
            row = Packed(one.file_name, "", 0, GONE)
        else:
            row = Packed(one.file_name, digest, size, "" if digest == file.sha256 else CHANGED)
        self.packed.append(row)
        return row

    def _copy(self, name: str, source: IO[bytes]) -> tuple[str, int]:
        digest, size = hashlib.sha256(), 0
        with self._zip.open(self._info(name), "w") as target:
            while piece := source.read(PIECE):
                digest.update(piece)
                size += len(piece)
                target.write(piece)
        return digest.hexdigest(), size

    def add(self, name: str, data: bytes) -> Packed:
        """A page or a list of ours."""
        info = self._info(name)
        info.compress_type = ZIP_DEFLATED
        self._zip.writestr(info, data)
        row = Packed(name, hashlib.sha256(data).hexdigest(), len(data))
        self.packed.append(row)
        return row

    def _info(self, name: str) -> ZipInfo:
        return ZipInfo(name, self._made)  # type: ignore[arg-type]

    def close(self) -> None:
        """Adds the digests of everything, as `sha256sum --check` reads them, and closes."""
        lines = [f"{one.sha256}  {one.name}\n" for one in self.packed if one.sha256]
        self._zip.writestr(self._info("SHA256SUMS"), "".join(lines))
        self._zip.close()


HEADS: Final = (
    "lot", "product", "species", "plan", "plan version", "received", "finished", "state", "packed, kg",
    "record", "revision", "issued", "entries since", "SHA-256", "bytes", "remark", "kept at least until",
)  # fmt: skip
NO_RECORD = "no record issued"


def index_csv(found: PeriodRecords, packed: Collection[Packed], zone: ZoneInfo) -> str:
    """The index for a spreadsheet: a line a lot, those without a record too."""
    by_name = {one.name: one for one in packed}
    return MARK + csv_text([HEADS, *(_index_row(one, by_name, zone) for one in found.rows)])


def _index_row(one: PeriodLot, packed: dict[str, Packed], zone: ZoneInfo) -> list[object]:
    lot, record, file = one.lot, one.record, packed.get(one.file_name)
    finish = getattr(lot, "finish", None)
    made = [
        lot.code,
        lot.product,
        lot.species_name,
        lot.plan_version.plan.title,
        lot.plan_version.number,
        show_moment(lot.received_at, zone),
        show_moment(one.finished_at, zone) if finish else "",
        one.state,
        f"{finish.packed_g / 1000:g}" if finish else "",
    ]
    if record is None or file is None:
        return [*made, *[""] * 6, NO_RECORD, one.kept_until.isoformat()]
    issued = [one.file_name, record.revision, show_moment(record.line.at, zone), one.since]
    return [*made, *issued, file.sha256, file.size, file.wrong, one.kept_until.isoformat()]
