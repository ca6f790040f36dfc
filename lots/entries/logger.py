"""A logger's file into the book: staged, understood, its rows packed, each reading once.

Parsing, packing and looking for what is already there happen before the transaction; inside it rows
are appended, and compared once more only where somebody else imported meanwhile.
"""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from django.conf import settings
from django.db.models import Max

from lots.core.merkle import merkle_root
from lots.core.series import PACK_ROWS, Chunk, pack, unpack
from lots.core.units import show_temperature
from lots.entries.book import Act, act, canonical
from lots.entries.files import Upload, keep_file
from lots.entries.judging import forget_states, judge_loads, later_loads
from lots.entries.lapses import notice_lapses
from lots.entries.refusals import Refused, Unlikely
from lots.entries.running import Running, folded, put_running
from lots.entries.signing import require
from lots.logger.choices import Choices
from lots.logger.errors import LoggerFileError
from lots.logger.preview import Preview, preview
from lots.logger.reading import Bounds, Parsed, rows
from lots.logger.understanding import Understanding, understand
from lots.models.book import LineLot
from lots.models.house import Establishment, Instrument, Place
from lots.models.lot import Load, LoadPart
from lots.models.people import Person, Right
from lots.models.reading import LoggerImport, PackedSeries, SeriesWithdrawn
from lots.models.scratch import StagedFile
from lots.queries.evidence import evidence, loads_at
from lots.queries.house import rules
from lots.queries.judgements import Judged
from lots.queries.sight import Sight

EARLIEST_AT = 946_684_800_000  # 1 Jan 2000 UTC: a logger's clock that was never set says less


def stage_file(
    person: Person, place: Place, load: Load | None, upload: Upload, at: int
) -> StagedFile:
    """Lays an uploaded file aside until the person has seen how it is understood."""
    require(person, Right.OPERATOR)
    if len(upload.data) > rules().upload_bytes:
        raise Refused(
            {"file": f"The file is over {rules().upload_bytes // 1_000_000} MB. Export less."}
        )
    digest = hashlib.sha256(upload.data).hexdigest()
    folder = Path(settings.STAGED_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / digest).write_bytes(upload.data)
    return StagedFile.objects.create(
        sha256=digest,
        name=upload.name[-200:],
        size=len(upload.data),
        place=place,
        load=load,
        person=person,
        at=at,
    )


def staged_bytes(staged: StagedFile) -> bytes:
    return (Path(settings.STAGED_DIR) / staged.sha256).read_bytes()


def move_staged(staged: StagedFile, place: Place, load: Load | None) -> bool:
    """Lays the staged file to another place or load; whether that was a change."""
    if (staged.place_id, staged.load_id) == (place.pk, load.pk if load else None):
        return False
    staged.place, staged.load = place, load
    staged.save(update_fields=["place", "load"])
    return True


def keep_choices(staged: StagedFile, choices: Mapping[str, str]) -> None:
    """Lays what a person chose beside the staged file, so that the next look begins from it."""
    staged.choices = canonical(dict(choices))
    staged.save(update_fields=["choices"])


def drop_staged(staged: StagedFile) -> None:
    """Throws a staged file away."""
    others = StagedFile.objects.filter(sha256=staged.sha256).exclude(pk=staged.pk)
    if not others.exists():
        (Path(settings.STAGED_DIR) / staged.sha256).unlink(missing_ok=True)
    staged.delete()


def _bounds(at: int) -> Bounds:
    possible = rules().possible
    return Bounds(possible.lowest, possible.highest, EARLIEST_AT, at, rules().future_grace_ms)


def understood(
    data: bytes, house: Establishment, choices: Choices, at: int
) -> tuple[Understanding, Preview]:
    """How the file is understood, and what would go in.

    Raises:
        LoggerFileError: it cannot be understood at all.
    """
    most = rules().upload_bytes
    found = understand(data, house.zone, house.temperature_unit, choices, largest_bytes=most)
    return found, preview(data, found, _bounds(at), largest_bytes=most)


@dataclass(frozen=True)
class Imported:
    """What came of an import; `line` is None where every reading was there before."""

    added: int
    seen_before: int
    row: LoggerImport | None
    judged: list[Judged]


class _NothingNew(Exception):
    """Somebody else took the same readings in meanwhile."""


@dataclass(frozen=True)
class _Target:
    place: Place
    load: Load | None
    instrument: Instrument | None


def import_file(
    person: Person,
    staged: StagedFile,
    choices: Choices,
    probes: Mapping[int, str],
    instrument: Instrument | None,
    house: Establishment,
    at: int,
    confirmed: bool = False,
) -> Imported:
    """Takes the staged file's readings into the book, each once however often it is sent.

    Args:
        probes: column → the probe's name; "" is the place itself.
        confirmed: a person has said that unlikely readings do read so.
    Raises:
        Unlikely: readings that this place or these fish are not likely to have.
        Refused: the file cannot be read with certainty, or two columns would be one probe.
    """
    require(person, Right.OPERATOR)
    data = staged_bytes(staged)
    found, parsed = _parse(data, house, choices, at)
    columns = [one.channel.column for one in parsed.series]
    named = [probes.get(column, "").strip() for column in columns]
    if len(set(named)) != len(named):
        raise Refused({"probes": "Give each column its own probe, so that they are told apart."})
    if staged.load is not None and "" in named:
        raise Refused({"probes": "Name the probe of each column: it is in a fish of the load."})
    target = _Target(staged.place, staged.load, instrument)
    if not confirmed:
        _ask_about_unlikely(target, parsed)
    newest = _newest()
    fresh = _fresh_chunks(target, parsed, probes)
    total = sum(len(one.readings) for one in parsed.series)
    if not any(len(chunk) for _, chunk in fresh):
        drop_staged(staged)
        return Imported(0, total, None, [])
    first = min(chunk.at[0] for _, chunk in fresh if len(chunk))
    last = max(chunk.at[-1] for _, chunk in fresh if len(chunk))
    touched = [target.load] if target.load else loads_at(target.place.pk, first, last)
    notice_lapses(_lots(touched), at)
    foreseen = _foresee(target, fresh, touched)
    try:
        with act("logger file imported", person, at) as writing:
            if _newest() != newest:
                fresh = _fresh_chunks(target, parsed, probes)
                foreseen = None
            standing = [target.load] if target.load else loads_at(target.place.pk, first, last)
            if {load.pk for load in standing} != {load.pk for load in touched}:
                foreseen = None
            touched = standing
            if not any(len(chunk) for _, chunk in fresh):
                raise _NothingNew
            upload = Upload(staged.name, data)
            row = _write(writing, target, upload, found, fresh, total)
            judged = _judge(writing, touched, foreseen, at)
            writing.say(place=target.place.name, rows=total, added=row.added, root=row.root)
    except _NothingNew:
        drop_staged(staged)
        return Imported(0, total, None, [])
    drop_staged(staged)
    return Imported(row.added, total - row.added, row, judged)


def _ask_about_unlikely(target: _Target, parsed: Parsed) -> None:
    """A file laid to the wrong place would open deviations on every lot there: asked about first."""
    likely = rules().likely_for("fish" if target.load else "place", target.place.kind)
    for one in parsed.series:
        values = [reading.ninths for reading in one.readings]
        if not values or (likely.holds(min(values)) and likely.holds(max(values))):
            continue
        unit = "F" if one.channel.unit == "F" else "C"
        low, high = (
            show_temperature(v, "F" if unit == "F" else "C") for v in (min(values), max(values))
        )
        where = f"fish in {target.place.name}" if target.load else target.place.name
        raise Unlikely(
            {
                "confirmed": f"{one.channel.name} reads {low} to {high}: unlikely for {where}. Is it the "
                "right place? If it does read so, say so."
            }
        )


def _lots(loads: list[Load]) -> list:  # type: ignore[type-arg]
    parts = LoadPart.objects.filter(load__in=[load.pk for load in loads])
    return [part.lot for part in parts.select_related("lot__plan_version")]


def _newest() -> tuple[int, ...]:
    """What tells whether somebody took a file in, or back, meanwhile."""
    models = (PackedSeries, SeriesWithdrawn)
    return tuple(model.objects.aggregate(newest=Max("pk"))["newest"] or 0 for model in models)


def _parse(
    data: bytes, house: Establishment, choices: Choices, at: int
) -> tuple[Understanding, Parsed]:
    most = rules().upload_bytes
    try:
        found = understand(data, house.zone, house.temperature_unit, choices, largest_bytes=most)
        return found, rows(data, found, _bounds(at), largest_bytes=most)
    except LoggerFileError as error:
        raise Refused({"file": error.message}) from error


def _fresh_chunks(
    target: _Target, parsed: Parsed, probes: Mapping[int, str]
) -> list[tuple[str, Chunk]]:
    """The readings of each probe that are not in the book yet."""
    out = []
    for one in parsed.series:
        if not one.readings:
            continue
        probe = probes.get(one.channel.column, "").strip()
        first, last = one.readings[0].observed_at, one.readings[-1].observed_at
        there = _there(target, probe, first, last)
        new = [r for r in one.readings if (r.observed_at, r.ninths) not in there]
        unit = "F" if one.channel.unit == "F" else "C"
        chunk = Chunk(
            [r.observed_at for r in new],
            [r.ninths for r in new],
            "F" if unit == "F" else "C",
        )
        out.append((probe, chunk))
    return out


def _there(target: _Target, probe: str, first: int, last: int) -> set[tuple[int, int]]:
    """(moment, value) of the probe's packed readings in the time: identity is place, probe, both."""
    rows = PackedSeries.objects.filter(
        place=target.place,
        load=target.load,
        probe=probe,
        last_at__gte=first,
        first_at__lte=last,
        source__withdrawn=None,  # a file taken back may be sent again
    )
    there: set[tuple[int, int]] = set()
    for row in rows:
        chunk = unpack(bytes(row.data))
        there.update(zip(chunk.at, chunk.value, strict=True))
    return there


def _write(
    writing: Act,
    target: _Target,
    upload: Upload,
    found: Understanding,
    fresh: list[tuple[str, Chunk]],
    total: int,
) -> LoggerImport:
    pieces = _pieces(fresh)
    packed = [pack(chunk) for _, chunk in pieces]
    source = writing.write(
        LoggerImport(
            place=target.place,
            load=target.load,
            instrument=target.instrument,
            file=keep_file(writing, upload, "text/csv"),
            understood=canonical(_said(found)),
            rows=total,
            added=sum(len(chunk) for _, chunk in pieces),
            root=merkle_root(packed),
        )
    )
    for (probe, chunk), data in zip(pieces, packed, strict=True):
        writing.write(_packed_row(source, target, probe, chunk, data))
    return source


def _pieces(fresh: list[tuple[str, Chunk]]) -> list[tuple[str, Chunk]]:
    return [
        (probe, chunk.part(i, i + PACK_ROWS))
        for probe, chunk in fresh
        for i in range(0, len(chunk), PACK_ROWS)
    ]


def _packed_row(
    source: LoggerImport, target: _Target, probe: str, chunk: Chunk, data: bytes
) -> PackedSeries:
    return PackedSeries(
        source=source,
        place=target.place,
        load=target.load,
        probe=probe,
        unit=chunk.unit,
        count=len(chunk),
        first_at=chunk.at[0],
        last_at=chunk.at[-1],
        data=data,
        digest=hashlib.sha256(data).hexdigest(),
    )


def _said(found: Understanding) -> dict[str, object]:
    """How the file was understood, as text and whole numbers."""
    channels = [
        {key: str(value) for key, value in asdict(channel).items()} for channel in found.channels
    ]
    return {
        "encoding": found.encoding,
        "delimiter": found.delimiter,
        "date_order": found.date_order,
        "clock": found.clock,
        "decimal": found.decimal,
        "zone": found.zone,
        "zone_from": found.zone_from,
        "channels": channels,
    }


@dataclass(frozen=True)
class _Foreseen:
    """The states of the loads as they will be once the file is in the book, folded before its
    transaction, and the newest line that they rest on."""

    line: int
    states: dict[int, tuple[Running, Running | None]]
    again: list[Load]


def _newest_line(loads: Sequence[Load]) -> int:
    """The newest line about any lot that was in these loads."""
    lots = LoadPart.objects.filter(load__in=[load.pk for load in loads]).values("lot")
    return LineLot.objects.filter(lot__in=lots).aggregate(newest=Max("line"))["newest"] or 0


def _foresee(target: _Target, fresh: list[tuple[str, Chunk]], touched: Sequence[Load]) -> _Foreseen:
    source = LoggerImport(place=target.place, load=target.load, instrument=target.instrument)
    coming = tuple(
        _packed_row(source, target, probe, chunk, pack(chunk)) for probe, chunk in _pieces(fresh)
    )
    again = [later for load in touched for later in later_loads(load)]
    each = {load.pk: load for load in (*touched, *again)}
    line = _newest_line(list(each.values()))
    sight = Sight(coming=coming)
    states = {pk: folded(load, evidence(load, sight)) for pk, load in each.items()}
    return _Foreseen(line, states, again)


def _judge(writing: Act, touched: list[Load], foreseen: _Foreseen | None, at: int) -> list[Judged]:
    """Judges the loads with what was foreseen, or anew where somebody wrote about their lots
    meanwhile."""
    if foreseen is not None and foreseen.line != _newest_line([*touched, *foreseen.again]):
        foreseen = None  # a load that looks back into these may have begun, too
    again = foreseen.again if foreseen else [x for load in touched for x in later_loads(load)]
    each = {load.pk: load for load in (*touched, *again)}
    forget_states(each.values())
    if foreseen is not None:
        for pk, load in each.items():
            put_running(load, *foreseen.states[pk])
    judged = judge_loads(writing, touched, at)
    own = {load.pk for load in touched}
    judge_loads(writing, {load.pk: load for load in again if load.pk not in own}.values(), at)
    return judged
