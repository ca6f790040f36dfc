"""Rows → the record of one lot: everything that its paper says, as one value."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from lots.core import record as paper
from lots.core.limits import (
    Cooling,
    Duration,
    Limit,
    Maintained,
    Measured,
    Observed,
    Within,
    demand,
    operating_demand,
)
from lots.core.plan import ControlPoint, Plan
from lots.core.series import Chunk, unpack
from lots.core.units import Bound
from lots.models.book import BookLine
from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck, Establishment, Instrument
from lots.models.lot import LaboratoryResult, LoadPart, Lot, LotLink
from lots.models.people import Person, Signature
from lots.models.plan import PlanVersion
from lots.models.reading import Observation, PackedSeries, Reading
from lots.models.review import RecordIssued, Release, Review
from lots.queries.digests import canonical
from lots.queries.evidence import end_of, evidence, is_late, started_at
from lots.queries.judgements import Judged, judge_lot, not_judged
from lots.queries.lineage import lineage, parts_of
from lots.queries.lot_page import state_words
from lots.queries.plans import plan_value
from lots.queries.release import deviations_of

MANY = 6  # readings named one by one; more are named by the first and the last


@dataclass(frozen=True)
class _Step:
    """A lot's step with the rows that its load rests on."""

    part: LoadPart
    name: str
    hand: list[Reading]
    packed: list[PackedSeries]


def _establishment(house: Establishment) -> paper.Establishment:
    return paper.Establishment(
        house.name,
        house.address,
        house.sells,
        house.zone,
        house.temperature_unit,
        house.weight_unit,
        int(house.demo),
    )


def _kin(links: Iterable[LotLink], other: str) -> tuple[paper.Kin, ...]:
    return tuple(paper.Kin(getattr(link, other).code, link.how, link.grams) for link in links)


def _identity(lot: Lot, release: Release | None) -> paper.Identity:
    finish = getattr(lot, "finish", None)
    quantities = (
        tuple(paper.Share(q.kind, q.grams) for q in release.quantities.all()) if release else ()
    )
    return paper.Identity(
        code=lot.code,
        product=lot.product,
        species_code=lot.species,
        species=lot.species_name,
        origin=lot.origin,
        supplier=lot.supplier,
        supplier_lot=lot.supplier_lot,
        received_at=lot.received_at,
        opened_at=lot.line.at,
        opened_by=_initials(lot.line),
        state=state_words(lot),
        received_g=lot.quantity_g,
        finished_g=finish.packed_g if finish else 0,
        packs=f"{finish.packs} packs" if finish and finish.packs else "",
        voided=lot.voided.reason if hasattr(lot, "voided") else "",
        quantities=quantities,
        parents=_kin(LotLink.objects.filter(target=lot).select_related("source"), "source"),
        children=_kin(LotLink.objects.filter(source=lot).select_related("target"), "target"),
    )


def _initials(line: BookLine) -> str:
    return line.person.initials if line.person else "book"


def _plan(version: PlanVersion, plan: Plan) -> paper.PlanFacts:
    product = plan.product
    return paper.PlanFacts(
        title=version.plan.title,
        version=version.number,
        published_at=version.signature.at,
        signed_by=version.signature.printed_name,
        intended_use=f"{product.intended_use}; {product.consumer}",
        pack=product.pack_words or product.pack,
        storage=f"{product.storage}. {plan.statement}",
        shelf_life=product.shelf_life,
        process_study=product.process_study,
    )


def _raw_limits(content: dict[str, object]) -> dict[str, str]:
    """Limit id → its data as canonical JSON, for whoever recomputes."""
    points = content.get("control_points", [])
    assert isinstance(points, list)
    return {str(raw["id"]): canonical(raw) for point in points for raw in point.get("limits", [])}


def _lines(limit: Limit) -> tuple[paper.LimitLine, ...]:
    out: list[paper.LimitLine] = []
    for leaf in limit.leaves():
        for rule, word in ((leaf.rule, "critical"), (leaf.operating, "operating")):
            match rule:
                case Within(low, high) | Maintained(low, high, _, _):
                    out += [_line(word, "at least", low)] if low else []
                    out += [_line(word, "at most", high)] if high else []
                case Cooling(_, stages):
                    out += [_line(word, "at most", stage.to) for stage in stages]
    return tuple(dict.fromkeys(out))


def _line(word: str, side: str, bound: Bound) -> paper.LimitLine:
    unit = "F" if "F" in bound.text else "C"
    return paper.LimitLine(word, side, bound.for_unit(unit), unit)


def _numbered(plan: Plan) -> dict[str, str]:
    """Control point id → its number on paper, e.g. "CCP 3"."""
    return {point.id: f"CCP {number}" for number, point in enumerate(plan.control_points, 1)}


def _sources(limit: Limit) -> tuple[str, str]:
    """The sources of a limit, of its parts where it is a combination, and the weakest flag."""
    leaves = [limit, *limit.leaves()]
    sources = list(dict.fromkeys(one.source for one in leaves if one.source))
    flags = {one.flag for one in leaves if one.flag}
    return "; ".join(sources), "to be confirmed" if "to be confirmed" in flags else "published"


def _limit(limit: Limit, raw: dict[str, str]) -> paper.LimitFacts:
    source, flag = _sources(limit)
    return paper.LimitFacts(
        limit.id,
        demand(limit),
        operating_demand(limit),
        source,
        flag,
        raw.get(limit.id, "{}"),
        _lines(limit),
    )


def _point(plan: Plan, point: ControlPoint, raw: dict[str, str]) -> paper.ControlPoint:
    hazards = {hazard.id: hazard.name for hazard in plan.hazards}

    def joined(field: str) -> str:
        return "; ".join(getattr(row, field) for row in point.monitoring)

    return paper.ControlPoint(
        id=_numbered(plan)[point.id],
        name=point.name,
        step=plan.step(point.step).name,
        hazard="; ".join(hazards.get(hazard, hazard) for hazard in point.hazards),
        monitor_what=joined("what"),
        monitor_how=joined("how"),
        monitor_frequency=joined("frequency"),
        monitor_who=joined("who"),
        corrective_action=point.corrective_action,
        limits=tuple(_limit(limit, raw) for limit in point.limits),
    )


def _verdict(one: Judged, step: _Step | None) -> paper.JudgedLimit:
    finding = one.finding
    numbers = _numbered(plan_value(one.part.lot.plan_version))
    return paper.JudgedLimit(
        control_point=numbers[one.point.id],
        limit=one.limit.id,
        load=one.part.load_id,
        verdict=one.verdict.value,
        figure=finding.figure,
        bound=demand(one.limit),
        estimate=finding.estimate,
        why="; ".join(
            filter(
                None,
                [
                    finding.why,
                    "rests on late or corrected readings" if one.judgement.rests_on_late else "",
                ],
            )
        ),
        rests_on=_rests_on(one, step),
        broke_at=finding.broke_at or 0,
        rules=one.judgement.rules,
    )


def _rests_on(one: Judged, step: _Step | None) -> tuple[str, ...]:
    """Which readings, observations, results and series the verdict was computed from."""
    if step is None:
        return ()
    words: list[str] = []
    for leaf in one.limit.leaves():
        match leaf.rule:
            case Measured(quantity, _, _, laboratory):
                words += _measured_rows(one, quantity, laboratory)
            case Observed(what):
                rows = Observation.objects.filter(load=one.part.load_id, what=what)
                words += [
                    f"observation {pk}" for pk in rows.order_by("pk").values_list("pk", flat=True)
                ]
            case Duration():
                words.append(f"start and end of load {one.part.load_id}")
            case _:
                words += _temperature_rows(leaf.of, step)
    return tuple(dict.fromkeys(words))


def _measured_rows(one: Judged, quantity: str, laboratory: bool) -> list[str]:
    results = LaboratoryResult.objects.filter(lot=one.lot_id, quantity=quantity, corrected_by=None)
    words = [f"laboratory result of {row.quantity} by {row.laboratory}" for row in results]
    if laboratory:
        return words
    rows = Reading.objects.filter(load=one.part.load_id, quantity=quantity, withdrawn=False)
    return [f"reading {pk}" for pk in rows.order_by("pk").values_list("pk", flat=True)] + words


def _temperature_rows(subject: str, step: _Step) -> list[str]:
    load = step.part.load

    def fits(row: Reading | PackedSeries) -> bool:
        if row.load_id is not None:
            return subject == "fish"
        return subject == ("place" if row.place_id == load.place_id else "room")

    numbers = [row.pk for row in step.hand if fits(row)]
    names = {f"series of {row.source.file.name}" for row in step.packed if fits(row)}
    if len(numbers) > MANY:
        return [f"readings {numbers[0]} to {numbers[-1]} ({len(numbers)})", *sorted(names)]
    return [*(f"reading {number}" for number in numbers), *sorted(names)]


def _load(part: LoadPart, name: str) -> paper.LoadFacts:
    load, end = part.load, end_of(part.load)
    lots = LoadPart.objects.filter(load=load).select_related("lot")
    moves, before = [], load.started_at
    for move in load.moves.select_related("line__person").order_by("id"):
        moves.append(paper.MovedStart(before, move.started_at, move.reason, _initials(move.line)))
        before = move.started_at
    return paper.LoadFacts(
        number=load.pk,
        step=name,
        place=load.place.name,
        started_at=started_at(load),
        ended_at=end.ended_at if end else 0,
        started_by=_initials(load.line),
        ended_by=_initials(end.line) if end else "",
        lots=tuple(paper.Share(one.lot.code, one.grams) for one in lots),
        moved=tuple(moves),
    )


def _hand(row: Reading, load_number: int) -> paper.HandReading:
    accepted = getattr(row, "accepted", None)
    reasons = [row.late_reason, row.correction_reason, "taken back" if row.withdrawn else ""]
    correction = getattr(row, "corrected_by", None)
    note = [row.note, "confirmed as unlikely but read so" if row.unlikely_confirmed else ""]
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
        initials=_initials(row.line),
        late=int(row.corrects_id is None and is_late(row, row.observed_at)),
        reason="; ".join(filter(None, reasons)),
        note="; ".join(filter(None, note)),
        corrects=row.corrects_id or 0,
        corrected_by=correction.pk if correction else 0,
        accepted_by=f"{_initials(accepted.line)}: {accepted.reason}" if accepted else "",
    )


def _hands(steps: list[_Step]) -> tuple[paper.HandReading, ...]:
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
    return tuple(_hand(row, where[row.pk]) for row in rows.order_by("observed_at", "id"))


def _observations(steps: list[_Step]) -> tuple[paper.ObservationFacts, ...]:
    rows = Observation.objects.filter(load__in=[step.part.load_id for step in steps])
    rows = rows.select_related("line__person").prefetch_related("attachments__file")
    out = []
    for row in rows.order_by("observed_at", "id"):
        files = [attached.file for attached in row.attachments.all()]
        out.append(
            paper.ObservationFacts(
                number=row.pk,
                load=row.load_id,
                what=row.what,
                found="yes" if row.found else "no",
                observed_at=row.observed_at,
                entered_at=row.entered_at,
                recorded_at=row.line.at,
                initials=_initials(row.line),
                note="; ".join(
                    filter(
                        None,
                        [
                            row.note,
                            row.late_reason,
                            f"corrects no. {row.corrects_id}: {row.correction_reason}"
                            if row.corrects_id
                            else "",
                        ],
                    )
                ),
                attachment=", ".join(file.name for file in files),
                attachment_sha256=", ".join(file.sha256 for file in files),
            )
        )
    return tuple(out)


def _series(step: _Step) -> list[paper.LoggerSeries]:
    groups: dict[tuple[int, str, str], list[PackedSeries]] = {}
    for row in step.packed:
        groups.setdefault((row.source_id, row.probe, row.unit), []).append(row)
    end = end_of(step.part.load)
    out = []
    for (_, probe, unit), rows in groups.items():
        source = rows[0].source
        chunks: list[Chunk] = [
            unpack(bytes(row.data)).between(
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
                imported_by=_initials(source.line),
                imported_at=source.line.at,
                digest=source.root,
                gap_ms=0,
                at=at,
                ninths=tuple(value for chunk in chunks for value in chunk.value),
            )
        )
    return out


def _results(lots: list[Lot]) -> tuple[paper.LabResult, ...]:
    rows = LaboratoryResult.objects.filter(lot__in=lots, corrected_by=None)
    rows = rows.select_related("line__person", "report").prefetch_related("samples")
    return tuple(
        paper.LabResult(
            quantity=row.quantity,
            samples=tuple(
                paper.Sample(f"{one.as_read} {one.unit}", row.portion) for one in row.samples.all()
            ),
            laboratory=row.laboratory,
            method=row.method,
            sampled_at=row.sampled_at,
            reported_at=row.reported_at,
            file=row.report.name if row.report else "",
            file_sha256=row.report.sha256 if row.report else "",
            entered_by=_initials(row.line),
        )
        for row in rows.order_by("id")
    )


def _instruments(steps: list[_Step]) -> tuple[paper.InstrumentFacts, ...]:
    ids = {row.instrument_id for step in steps for row in step.hand if row.instrument_id}
    ids |= {row.source.instrument_id for step in steps for row in step.packed}
    out = []
    for one in Instrument.objects.filter(pk__in=[pk for pk in ids if pk]).order_by("name"):
        check = AccuracyCheck.objects.filter(instrument=one).select_related("line__person")
        last = check.order_by("-observed_at", "-id").first()
        result = ""
        if last is not None:
            word = "within" if last.within else "OUT OF"
            result = f"read {last.as_read}, expected {last.expected} °{last.unit}: {word} ±{last.tolerance}"
        out.append(
            paper.InstrumentFacts(
                one.name,
                " ".join(filter(None, [one.kind, one.accuracy])),
                last.observed_at if last else 0,
                last.method if last else "",
                result,
                _initials(last.line) if last else "",
            )
        )
    return tuple(out)


def _day_at(day: str, zone: ZoneInfo) -> int:
    """The beginning of a day typed as 2026-03-11, ms UTC; 0 for none."""
    if not day:
        return 0
    return round(datetime.fromisoformat(day).replace(tzinfo=zone).timestamp()) * 1000


def _actions(row: Deviation, zone: ZoneInfo) -> tuple[paper.ActionFacts, ...]:
    return tuple(
        paper.ActionFacts(
            plan_followed=int(action.plan_followed),
            segregated=action.segregated,
            acceptability_by=action.acceptability_by,
            acceptability="",
            reassessed_by=action.reassessment_by,
            reassess_by_at=_day_at(action.reassessment_due, zone),
            fish=action.fish,
            restored=action.control_restored,
            cause=action.cause,
            initials=_initials(action.line),
            taken_at=action.taken_at,
        )
        for action in sorted(row.actions.all(), key=lambda action: action.pk)
    )


def _dispositions(row: Deviation) -> tuple[paper.DispositionFacts, ...]:
    return tuple(
        paper.DispositionFacts(
            word=one.kind,
            amount_g=one.grams,
            initials=_initials(one.line),
            decided_at=one.line.at,
            reason=one.reason,
            final=int(one.kind != "hold"),
            acceptability=one.acceptability_review,
        )
        for one in sorted(row.dispositions.all(), key=lambda one: one.number)
    )


def _evidence_words(row: Deviation) -> str:
    kept = json.loads(row.evidence)
    numbers = ", ".join(str(number) for number in kept.get("readings", [])[-12:])
    words = [row.why, f"judged from {kept.get('readings_in_all', 0)} readings by hand"]
    if numbers:
        words.append(f"the last of them no. {numbers}")
    if kept.get("series"):
        words.append(f"and {len(kept['series'])} packed logger rows")
    notes = sorted(row.notes.all(), key=lambda note: note.pk)
    words += [f"later: {note.kind} ({note.figure}; {note.why})" for note in notes[-4:]]
    return "; ".join(filter(None, words))


def _deviations(lot: Lot, zone: ZoneInfo) -> tuple[paper.DeviationFacts, ...]:
    out = []
    for state in deviations_of(lot):
        row = state.deviation
        notes = sorted(row.notes.all(), key=lambda note: note.pk)
        gone = bool(notes) and notes[-1].kind == "not reproduced"
        out.append(
            paper.DeviationFacts(
                number=row.pk,
                control_point=_numbered(plan_value(row.lot.plan_version)).get(
                    row.control_point, row.control_point
                ),
                limit=row.limit_id,
                load=row.load_id or 0,
                verdict="DEVIATION",
                figure=row.figure,
                broke_at=row.broke_at,
                opened_at=row.line.at,
                evidence=_evidence_words(row),
                reproduced=int(not gone),
                actions=_actions(row, zone),
                dispositions=_dispositions(row),
            )
        )
    return tuple(out)


def _signature(row: Signature, note: str = "") -> paper.Signature:
    course, date, certificate = (*row.training.rsplit(", ", 2), "", "")[:3]
    return paper.Signature(
        printed_name=row.printed_name,
        initials=row.person.initials,
        right=row.get_right_display(),
        course=course,
        course_date=date,
        certificate=certificate,
        signed_at=row.at,
        meaning=row.meaning,
        signed=row.what,
        note=note,
    )


def _signatures(lot: Lot, release: Release | None) -> tuple[paper.Signature, ...]:
    plan = _signature(lot.plan_version.signature)
    reviews = Review.objects.filter(lot=lot).select_related("signature__person").order_by("id")
    signed = [
        _signature(
            row.signature,
            "; ".join(
                filter(
                    None, [row.note, "also logged entries of this lot" if row.also_logged else ""]
                )
            ),
        )
        for row in reviews
    ]
    if release is not None:
        signed.append(_signature(release.signature, release.note))
    return (plan, *signed)


def _people(initials: set[str]) -> tuple[paper.PersonFacts, ...]:
    rows = Person.objects.filter(initials__in=initials).order_by("initials")
    return tuple(paper.PersonFacts(row.initials, row.name) for row in rows)


def _release(
    release: Release | None, judged: list[Judged], storage: set[str]
) -> paper.ReleaseFacts:
    if release is None:
        return paper.ReleaseFacts()
    mine = [one for one in judged if one.part.step in storage]
    said = [f"{one.point.name}: {one.verdict.words} so far" for one in mine]
    words = "; ".join(dict.fromkeys(said))
    return paper.ReleaseFacts(
        release.signature.at,
        release.signature.person.initials,
        tuple(paper.Share(q.kind, q.grams) for q in release.quantities.all()),
        words or "not stored yet",
    )


def _rows_of_steps(parts: list[LoadPart], plan: Plan) -> list[_Step]:
    out = []
    for part in parts:
        found = evidence(part.load)
        ids = [row.pk for row in found.packed]
        packed = PackedSeries.objects.filter(pk__in=ids).select_related(
            "place", "source__file", "source__instrument", "source__line__person"
        )
        name = plan_value(part.lot.plan_version).step(part.step).name
        out.append(_Step(part, name, found.hand, list(packed)))
    return out


def lot_record(
    lot: Lot, house: Establishment, made_by: Person, at: int, change: str = ""
) -> paper.LotRecord:
    """The record of a lot as the book stands now."""
    plan = plan_value(lot.plan_version)
    parts = parts_of(lot)
    steps = _rows_of_steps(parts, plan)
    by_load = {step.part.load_id: step for step in steps}
    judged = judge_lot(lot, at, anew=True)
    release = (
        Release.objects.filter(lot=lot)
        .select_related("signature__person")
        .prefetch_related("quantities")
        .first()
    )
    head = BookLine.objects.order_by("-number").first()
    assert head is not None
    before = RecordIssued.objects.filter(lot=lot).order_by("-revision").first()
    raw = _raw_limits(plan.content)
    hands = _hands(steps)
    observations = _observations(steps)
    loads = tuple(_load(step.part, step.name) for step in steps)
    series = tuple(one for step in steps for one in _series(step))
    deviations = _deviations(lot, ZoneInfo(house.zone))
    signatures = _signatures(lot, release)
    identity = _identity(lot, release)
    initials = (
        {one.initials for one in (*hands, *observations, *signatures)}
        | {one.started_by for one in loads}
        | {one.ended_by for one in loads}
        | {one.imported_by for one in series}
        | {identity.opened_by, made_by.initials}
        | {a.initials for d in deviations for a in (*d.actions, *d.dispositions)}
    )
    return paper.LotRecord(
        form=paper.FORM,
        revision=(before.revision if before else 0) + 1,
        made_at=at,
        made_by=made_by.initials,
        establishment=_establishment(house),
        lot=identity,
        plan=_plan(lot.plan_version, plan),
        control_points=tuple(_point(plan, point, raw) for point in plan.control_points),
        verdicts=tuple(_verdict(one, by_load.get(one.part.load_id)) for one in judged),
        loads=loads,
        readings=hands,
        observations=observations,
        series=series,
        results=_results([ancestor.lot for ancestor in lineage(lot)]),
        instruments=_instruments(steps),
        deviations=deviations,
        signatures=signatures,
        release=_release(release, judged, {step.id for step in plan.storage_steps}),
        book=paper.BookHead(head.number, head.digest),
        people=_people(initials),
        unjudged=tuple(not_judged(plan)),
        replaces=f"revision {before.revision}" if before else "",
        changed=change,
    )


def get_lot_for_record(code: str) -> Lot | None:
    rows = Lot.objects.select_related(
        "plan_version__plan", "plan_version__signature__person", "line__person", "finish", "voided",
        "release",
    )  # fmt: skip
    return rows.filter(code=code).first()


def issued_lots() -> list[RecordIssued]:
    """The newest record of every lot that has one."""
    newest: dict[int, RecordIssued] = {}
    for row in RecordIssued.objects.select_related("lot", "file", "line").order_by("revision"):
        newest[row.lot_id] = row
    return sorted(newest.values(), key=lambda row: row.lot.code)
