"""Years of finished lots laid into a book as rows, for benches alone: what a house has behind it.

Tests make their books through entries; ten thousand lots would take hours so.  The rows stand as
entries leave them, each lot's under one line of the book, with the line's own digest.
"""

import hashlib
import json
from collections.abc import Iterator, Sequence
from typing import Any, Final

from django.db import transaction

from lots.core.series import PACK_ROWS, Chunk, pack
from lots.core.units import MS_PER_DAY, MS_PER_H, MS_PER_MIN, to_ninths
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation, Disposition
from lots.models.house import KeptFile
from lots.models.lot import Load, LoadEnd, LoadPart, Lot, LotFinish
from lots.models.people import Signature
from lots.models.reading import LoggerImport, PackedSeries, Reading
from lots.models.review import Release, ReleaseQuantity, Review
from lots.models.scratch import RunningState
from lots.queries.digests import line_digest
from tests.bench.curves import HELD_S, held, read
from tests.make import Book, moment

LOTS: Final = 10_000
DEVIATIONS_EACH: Final = 5
SERIES: Final = 2_000  # of a thousand readings
FILES: Final = 40
GRAMS: Final = 20_000
NEWEST: Final = "2026-03-01 10:00"
STEPS: Final = (
    ("smoke", "Smokehouse 1", 7, ("smoke-heat", "smoke-read")),
    ("cool", "Cooler", 6, ("cooling", "cool-read")),
    ("freeze", "Freezer", 14, ("freezer-end", "freeze-read", "frozen-solid")),
)
BROKEN: Final = ("smoke-heat", "smoke-read", "cooling", "cool-read", "freezer-end")


def lay_past(book: Book) -> None:
    """Ten thousand lots finished, reviewed and released, fifty thousand deviations ended, and two
    million readings of loggers, all before the book's first open lot."""
    with transaction.atomic():
        lines = _lines(book, LOTS)
        lots = _lots(book, lines)
        loads = [_loads(book, lots, step, number) for number, step in enumerate(STEPS)]
        _closed(book, lots)
        _deviations(lots, loads)
        _series(book, lines[0])


def _began(number: int) -> int:
    """When the numbered lot came in: four lots a day, back from the newest."""
    return moment(NEWEST) - (LOTS - number) * MS_PER_DAY // 4


def _lines(book: Book, count: int) -> list[BookLine]:
    last = BookLine.objects.order_by("-number").first()
    assert last is not None
    number, prev, lines = last.number, last.digest, []
    for n in range(count):
        content = json.dumps({"lots": [], "rows": []}, separators=(",", ":"))
        line = BookLine(
            number=number + 1 + n, at=_began(n) + 3 * MS_PER_DAY, person=book.operator,
            kind="lot finished", content=content, form=1, prev=prev,
        )  # fmt: skip
        prev = line.digest = line_digest(line)
        lines.append(line)
    return BookLine.objects.bulk_create(lines)


def _lots(book: Book, lines: Sequence[BookLine]) -> list[Lot]:
    lots = Lot.objects.bulk_create(
        Lot(
            line=line, code=f"P-{n}", plan_version=book.version, product="Hot-smoked trout",
            species="TRR", species_name="Rainbow trout", origin="farmed",
            supplier="Invented Springs Farm", supplier_lot=f"ISF-{n}", quantity_g=GRAMS,
            received_at=_began(n), entered_at=_began(n),
        )
        for n, line in enumerate(lines)
    )  # fmt: skip
    LineLot.objects.bulk_create(LineLot(line_id=lot.line_id, lot=lot) for lot in lots)
    return lots


def _loads(book: Book, lots: Sequence[Lot], step: tuple[Any, ...], number: int) -> list[Load]:
    """The lots' loads of one step, each ended, with a hand reading and its running states."""
    name, place, hours, limits = step
    began = [lot.received_at + (number + 1) * 15 * MS_PER_H for lot in lots]
    loads = Load.objects.bulk_create(
        Load(
            line_id=lot.line_id,
            place=book.place(place),
            step_kind=name,
            started_at=at,
            entered_at=at,
        )
        for lot, at in zip(lots, began, strict=True)
    )
    pairs = list(zip(lots, loads, strict=True))
    LoadPart.objects.bulk_create(
        LoadPart(line_id=lot.line_id, load=load, lot=lot, step=name, grams=GRAMS)
        for lot, load in pairs
    )
    LoadEnd.objects.bulk_create(
        LoadEnd(line_id=lot.line_id, load=load, ended_at=end, entered_at=end)
        for (lot, load), end in zip(pairs, (at + hours * MS_PER_H for at in began), strict=True)
    )
    Reading.objects.bulk_create(
        Reading(
            line_id=lot.line_id, place_id=load.place_id, load=load if number < 2 else None,
            probe="fish 1" if number < 2 else "", as_read="38.1", unit="F",
            value=to_ninths("38.1", "F"), observed_at=load.started_at, entered_at=load.started_at,
        )
        for lot, load in pairs
    )  # fmt: skip
    RunningState.objects.bulk_create(
        RunningState(
            load=load,
            plan_version=book.version,
            limit_id=limit,
            states='{"known":{}}',
            last_at="{}",
        )
        for load in loads
        for limit in limits
    )
    return loads


def _closed(book: Book, lots: Sequence[Lot]) -> None:
    """Each lot finished, reviewed, and released whole."""
    after = 3 * MS_PER_DAY
    LotFinish.objects.bulk_create(
        LotFinish(
            line_id=lot.line_id, lot=lot, packed_g=GRAMS, packs=90,
            finished_at=lot.received_at + after, entered_at=lot.received_at + after,
        )
        for lot in lots
    )  # fmt: skip
    signed = Signature.objects.bulk_create(
        Signature(
            line_id=lot.line_id, person=book.reviewer, printed_name="René Reviewer",
            right="reviewer", meaning="reviewed", what=lot.code, at=lot.received_at + after,
        )
        for lot in lots
    )  # fmt: skip
    reviews = Review.objects.bulk_create(
        Review(line_id=lot.line_id, lot=lot, up_to_id=lot.line_id, signature=signature)
        for lot, signature in zip(lots, signed, strict=True)
    )
    releases = Release.objects.bulk_create(
        Release(line_id=one.line_id, lot_id=one.lot_id, review=one, signature_id=one.signature_id)
        for one in reviews
    )
    ReleaseQuantity.objects.bulk_create(
        ReleaseQuantity(line_id=one.line_id, release=one, kind="release", grams=GRAMS)
        for one in releases
    )


def _deviations(lots: Sequence[Lot], loads: Sequence[Sequence[Load]]) -> None:
    """Five a lot, each ended by a disposition over all its fish."""
    found = Deviation.objects.bulk_create(_broken(lots, loads))
    Disposition.objects.bulk_create(
        Disposition(
            line_id=one.line_id, deviation=one, number=1, kind="release", grams=GRAMS,
            reason="judged by the coordinator", acceptability_review="time and temperature",
        )
        for one in found
    )  # fmt: skip


def _broken(lots: Sequence[Lot], loads: Sequence[Sequence[Load]]) -> Iterator[Deviation]:
    for number, lot in enumerate(lots):
        for limit in BROKEN[:DEVIATIONS_EACH]:
            step = next(n for n, step in enumerate(STEPS) if limit in step[3])
            load = loads[step][number]
            broke = load.started_at + 30 * MS_PER_MIN
            yield Deviation(
                line_id=lot.line_id, lot=lot, load=load, control_point=STEPS[step][0],
                limit_id=limit, demand="as the plan asks", figure="30 min", broke_at=broke,
                last_broke_at=broke, signature=f"{broke}|{broke}|1|", evidence='{"readings":[]}',
                rules=1,
            )  # fmt: skip


def _series(book: Book, line: BookLine) -> None:
    """Loggers' series of the cooler, the freezer and the dry room, one after another in time."""
    values = [to_ninths(f"{v:.1f}", "F") for v in read(held, HELD_S, PACK_ROWS, 1)]
    places = [book.place(name) for name in ("Cooler", "Freezer", "Dry room", "Brine room")]
    sources = _sources(book, line, places)
    first, each = _began(0), (moment(NEWEST) - _began(0)) // (SERIES // len(places))
    rows = []
    for number in range(SERIES):
        source = sources[number % len(sources)]
        start = first + number // len(places) * each
        moments = [start + n * each // PACK_ROWS for n in range(PACK_ROWS)]
        data = pack(Chunk(moments, values, "F"))
        rows.append(
            PackedSeries(
                line=line, source=source, place_id=source.place_id, probe="", unit="F",
                count=PACK_ROWS, first_at=moments[0], last_at=moments[-1], data=data,
                digest=hashlib.sha256(data).hexdigest(),
            )
        )  # fmt: skip
    PackedSeries.objects.bulk_create(rows)


def _sources(book: Book, line: BookLine, places: Sequence[Any]) -> list[LoggerImport]:
    sources = []
    for number in range(FILES):
        digest = hashlib.sha256(str(number).encode()).hexdigest()
        file = KeptFile.objects.create(
            line=line, sha256=digest, name=f"past-{number}.csv", media_type="text/csv", size=1
        )
        count = SERIES // FILES * PACK_ROWS
        sources.append(
            LoggerImport.objects.create(
                line=line, place=places[number % len(places)], file=file, understood="{}",
                rows=count, added=count, root=digest,
            )
        )  # fmt: skip
    return sources
