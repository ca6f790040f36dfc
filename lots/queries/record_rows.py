"""Rows → what the record says of readings, observations, loggers, laboratories and instruments."""

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import Q

from lots.core import record as paper
from lots.core.series import Chunk
from lots.models.house import AccuracyCheck, Instrument
from lots.models.lot import LaboratoryResult, LoadPart, Lot
from lots.models.plan import Plan
from lots.models.reading import Observation, PackedSeries, Reading
from lots.models.salt import BatchReading
from lots.queries.batches import batch_of
from lots.queries.evidence import LoadEvidence, corrected, end_of, evidence, is_late, started_at
from lots.queries.plans import plan_value
from lots.queries.record_loads import acceptance, initials_of


@dataclass(frozen=True)
class Step:
    """A lot's step with the rows that its load rests on."""

    part: LoadPart
    name: str
    found: LoadEvidence
    packed: list[PackedSeries]

    @property
    def hand(self) -> list[Reading]:
        return self.found.hand


def rows_of_steps(parts: list[LoadPart]) -> list[Step]:
    out = []
    for part in parts:
        found = evidence(part.load)
        ids = [row.pk for row in found.packed]
        packed = PackedSeries.objects.filter(pk__in=ids).select_related(
            "place", "source__file", "source__instrument", "source__line__person"
        )
        name = plan_value(part.lot.plan_version).step(part.step).name
        out.append(Step(part, name, replace(found, packed=list(packed)), list(packed)))
    return out


def _pk(row: Any) -> int:
    return int(row.pk)


def _hand(row: Reading, load_number: int) -> paper.HandReading:
    reasons = [row.late_reason, row.correction_reason, "taken back" if row.withdrawn else ""]
    correction = getattr(row, "corrected_by", None)
    note = [
        row.note,
        "confirmed as unlikely but read so" if row.unlikely_confirmed else "",
        "copied from paper" if row.from_paper else "",
    ]
    files = [attached.file for attached in sorted(row.attachments.all(), key=_pk)]
    return paper.HandReading(
        number=row.pk,
        load=load_number,
        place=row.place.name,
        probe=row.probe,
        quantity=row.quantity,
        as_read=row.as_read,
        unit=row.unit,
        value=row.value,
        instrument=row.instrument.name if row.instrument else "",
        observed_at=row.observed_at,
        entered_at=row.entered_at,
        recorded_at=row.line.at,
        initials=initials_of(row.line),
        late=int(row.corrects_id is None and is_late(row, row.observed_at)),
        reason="; ".join(filter(None, reasons)),
        note="; ".join(filter(None, note)),
        corrects=row.corrects_id or 0,
        corrected_by=correction.pk if correction else 0,
        accepted=acceptance(row),
        attachment=", ".join(file.name for file in files),
        attachment_sha256=", ".join(file.sha256 for file in files),
        withdrawn=int(row.withdrawn),
    )


def hands(steps: list[Step]) -> tuple[paper.HandReading, ...]:
    where: dict[int, int] = {}
    for step in steps:
        for row in step.hand:
            where.setdefault(row.pk, step.part.load_id)
        extra = Reading.objects.filter(load=step.part.load_id).exclude(quantity="temperature")
        for pk in extra.values_list("pk", flat=True):
            where.setdefault(pk, step.part.load_id)
    rows = Reading.objects.filter(pk__in=where).select_related(
        "place", "instrument", "line__person", "corrected_by", "accepted__line__person"
    )
    rows = rows.prefetch_related("attachments__file")
    return tuple(_hand(row, where[row.pk]) for row in rows.order_by("observed_at", "id"))


def observations(steps: list[Step]) -> tuple[paper.ObservationFacts, ...]:
    rows = Observation.objects.filter(load__in=[step.part.load_id for step in steps])
    rows = rows.select_related("line__person", "corrected_by", "accepted__line__person")
    rows = rows.prefetch_related("attachments__file")
    return tuple(_observation(row) for row in rows.order_by("observed_at", "id"))


def _observation(row: Observation) -> paper.ObservationFacts:
    files = [attached.file for attached in sorted(row.attachments.all(), key=_pk)]
    correction = getattr(row, "corrected_by", None)
    return paper.ObservationFacts(
        number=row.pk,
        load=row.load_id,
        what=row.what,
        found="yes" if row.found else "no",
        observed_at=row.observed_at,
        entered_at=row.entered_at,
        recorded_at=row.line.at,
        initials=initials_of(row.line),
        note=row.note,
        attachment=", ".join(file.name for file in files),
        attachment_sha256=", ".join(file.sha256 for file in files),
        late=int(row.corrects_id is None and is_late(row, row.observed_at)),
        reason="; ".join(filter(None, [row.late_reason, row.correction_reason])),
        corrects=row.corrects_id or 0,
        corrected_by=correction.pk if correction else 0,
        accepted=acceptance(row),
    )


def series(step: Step) -> list[paper.LoggerSeries]:
    """The step's logger series, each probe of each file in each place on its own."""
    groups: dict[tuple[object, ...], list[PackedSeries]] = {}
    for row in step.packed:
        key = row.source_id, row.place_id, row.load_id, row.probe, row.unit
        groups.setdefault(key, []).append(row)
    end = end_of(step.part.load)
    out = []
    for rows in groups.values():
        source, probe, unit = rows[0].source, rows[0].probe, rows[0].unit
        chunks: list[Chunk] = [
            corrected(row, known=True).between(
                started_at(step.part.load), end.ended_at if end else None
            )
            for row in sorted(rows, key=lambda row: row.first_at)
        ]
        at = tuple(moment for chunk in chunks for moment in chunk.at)
        if not at:
            continue
        place = rows[0].place.name
        out.append(
            paper.LoggerSeries(
                name=f"{place} {probe}".strip(),
                place=place,
                probe=probe,
                load=step.part.load_id,
                instrument=source.instrument.name if source.instrument else "",
                file=source.file.name,
                file_sha256=source.file.sha256,
                unit=unit,
                count=len(at),
                first_at=at[0],
                last_at=at[-1],
                imported_by=initials_of(source.line),
                imported_at=source.line.at,
                digest=source.root,
                gap_ms=0,
                at=at,
                ninths=tuple(value for chunk in chunks for value in chunk.value),
            )
        )
    return out


def results(
    lots: list[Lot], plans: Collection[Plan] = (), moments: Collection[int] = ()
) -> tuple[paper.LabResult, ...]:
    """What laboratories found of these lots (the first is the record's own), and of the process of these
    plans in samples of these moments."""
    of_process = Q(lot=None, plan__in=plans, sampled_at__in=moments)
    rows = LaboratoryResult.objects.filter(Q(lot__in=lots) | of_process)
    rows = rows.select_related("lot", "plan", "line__person", "report", "corrected_by")
    rows = rows.prefetch_related("samples")
    return tuple(
        paper.LabResult(
            quantity=row.quantity,
            samples=tuple(
                paper.Sample(f"{one.as_read} {one.unit}", row.portion, one.value)
                for one in sorted(row.samples.all(), key=_pk)
            ),
            laboratory=row.laboratory,
            method=row.method,
            sampled_at=row.sampled_at,
            reported_at=row.reported_at,
            file=row.report.name if row.report else "",
            file_sha256=row.report.sha256 if row.report else "",
            entered_by=initials_of(row.line),
            number=row.pk,
            note=row.note,
            corrects=row.corrects_id or 0,
            corrected_by=row.corrected_by.pk if hasattr(row, "corrected_by") else 0,
            of=_result_of(row, lots[0]),
            reason=row.reason or "",
        )
        for row in rows.order_by("id")
    )


def _result_of(row: LaboratoryResult, own: Lot) -> str:
    """Whose fish it was, where it was not the lot's own."""
    if row.lot is not None:
        return "" if row.lot_id == own.pk else f"Of lot {row.lot.code}."
    return f"Of the process: {row.plan.title}." if row.plan else ""


def instruments(steps: list[Step]) -> tuple[paper.InstrumentFacts, ...]:
    ids = {row.instrument_id for step in steps for row in step.hand if row.instrument_id}
    ids |= {row.source.instrument_id for step in steps for row in step.packed}
    ids |= _of_batches(steps)
    begun = min((step.found.span.start for step in steps), default=0)
    ends = [step.found.span.end for step in steps]
    over = None if None in ends else max((end for end in ends if end is not None), default=None)
    return tuple(
        _instrument(one, begun, over)
        for one in Instrument.objects.filter(pk__in=[pk for pk in ids if pk]).order_by("name")
    )


def _of_batches(steps: list[Step]) -> set[int | None]:
    """The instruments with which the strength of the lot's batches was read."""
    batches = {batch for step in steps if (batch := batch_of(step.part.load)) is not None}
    read = BatchReading.objects.filter(batch__in=batches)
    return set(read.values_list("instrument", flat=True))


def _instrument(one: Instrument, begun: int, over: int | None) -> paper.InstrumentFacts:
    """The instrument with the accuracy checks that bear on the lot, the newest first: the last one before
    its work, those during it, and the first one after, when the work is over."""
    rows = AccuracyCheck.objects.filter(instrument=one).select_related("line__person")
    in_order = list(rows.order_by("observed_at", "id"))
    before = [row for row in in_order if row.observed_at <= begun][-1:]
    during = [
        row
        for row in in_order
        if begun < row.observed_at and (over is None or row.observed_at <= over)
    ]
    after = [row for row in in_order if over is not None and row.observed_at > over][:1]
    checks = tuple(_check(row) for row in reversed([*before, *during, *after]))
    last = checks[0] if checks else paper.CheckFacts(0, "", "", "", 1)
    kind = " ".join(filter(None, [one.kind, one.accuracy]))
    return paper.InstrumentFacts(
        one.name, kind, last.checked_at, last.method, last.result, last.checked_by, checks
    )


def _check(row: AccuracyCheck) -> paper.CheckFacts:
    word = "within" if row.within else "OUT OF"
    result = f"read {row.as_read}, expected {row.expected} °{row.unit}: {word} ±{row.tolerance}"
    by = initials_of(row.line)
    return paper.CheckFacts(row.observed_at, row.method, result, by, int(row.within))
