"""Rows → the record of one lot: everything that its paper says, as one value."""

import json
from collections.abc import Iterable
from dataclasses import replace

from lots.core import record as paper
from lots.core.limits import Cooling, Limit, Maintained, Within, demand, operating_demand
from lots.core.plan import ControlPoint, Plan
from lots.core.units import Bound
from lots.models.book import BookLine
from lots.models.house import Establishment
from lots.models.lot import Lot, LotLink
from lots.models.people import Person, Signature
from lots.models.plan import PlanVersion
from lots.models.review import RecordIssued, Release, ReleaseQuantity, Review
from lots.queries import record_salt
from lots.queries.digests import canonical
from lots.queries.judgements import Judged, judge_parts, not_judged, sitting_of
from lots.queries.lineage import lineage, parts_of
from lots.queries.lot_page import state_words
from lots.queries.plans import plan_value
from lots.queries.record_basis import Bases, bases_of
from lots.queries.record_deviations import deviation_facts
from lots.queries.record_figures import as_read_figure, rounded
from lots.queries.record_loads import BOOK, adjustments, initials_of, load_facts
from lots.queries.record_rows import (
    Step,
    hands,
    instruments,
    observations,
    results,
    rows_of_steps,
    series,
)
from lots.queries.record_said import logged_corrections, remarks, taken_back
from lots.queries.release import unreviewed
from lots.queries.rests_on import behind
from lots.queries.retention import keep_until
from lots.queries.sight import ALL


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
    return tuple(
        paper.Kin(
            getattr(link, other).code,
            link.how,
            link.grams,
            link.at,
            initials_of(link.line),
            link.reason,
            tuple(json.loads(link.loads)),
        )
        for link in links
    )


def _identity(lot: Lot, release: Release | None) -> paper.Identity:
    finish, voided = getattr(lot, "finish", None), getattr(lot, "voided", None)
    quantities = (
        tuple(paper.Share(q.kind, q.grams) for q in _quantities(release)) if release else ()
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
        opened_by=initials_of(lot.line),
        state=state_words(lot),
        received_g=lot.quantity_g,
        finished_g=finish.packed_g if finish else 0,
        packs=f"{finish.packs} packs" if finish and finish.packs else "",
        voided=voided.reason if voided else "",
        voided_at=voided.line.at if voided else 0,
        voided_by=initials_of(voided.line) if voided else "",
        note=lot.note,
        finished_at=finish.finished_at if finish else 0,
        finished_by=initials_of(finish.line) if finish else "",
        finish_note=finish.note if finish else "",
        destroyed=tuple(
            paper.Destroyed(row.grams, row.at, initials_of(row.line), row.reason)
            for row in lot.destroyed.select_related("line__person").order_by("id")
        ),
        quantities=quantities,
        parents=_kin(
            LotLink.objects.filter(target=lot).select_related("source", "line__person"), "source"
        ),
        children=_kin(
            LotLink.objects.filter(source=lot).select_related("target", "line__person"), "target"
        ),
    )


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
        accepted=(_signature(version.signature, "plan"),),
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


def _verdict(
    one: Judged, steps: dict[int, Step], lots: list[Lot], bases: Bases
) -> paper.JudgedLimit:
    finding, step = one.finding, steps[one.part.load_id]
    numbers = _numbered(plan_value(one.part.lot.plan_version))
    late = "rests on late or corrected readings" if one.judgement.rests_on_late else ""
    return paper.JudgedLimit(
        control_point=numbers[one.point.id],
        limit=one.limit.id,
        load=one.part.load_id,
        verdict=one.verdict.value,
        figure=as_read_figure(finding.figure, one.part.load_id, tuple(lot.pk for lot in lots)),
        bound=demand(one.limit),
        estimate=rounded(finding.estimate),
        why="; ".join(filter(None, [finding.why, late])),
        rests_on=behind(one.limit, step.part.load, lots, step.found).words(),
        broke_at=finding.broke_at or 0,
        rules=one.judgement.rules,
        basis=bases.number(one.part),
    )


def _signature(row: Signature, kind: str, note: str = "") -> paper.Signature:
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
        kind=kind,
    )


def _signatures(lot: Lot, release: Release | None) -> tuple[paper.Signature, ...]:
    """Reviews and release; the plan's own signature stands with the plan."""
    reviews = Review.objects.filter(lot=lot).select_related("signature__person").order_by("id")
    signed = []
    for row in reviews:
        also = "also logged entries of this lot" if row.also_logged else ""
        note = "; ".join(filter(None, [row.note, also]))
        signed.append(_signature(row.signature, "review", note))
    if release is not None:
        signed.append(_signature(release.signature, "release", release.note))
    return tuple(signed)


def _people(initials: set[str]) -> tuple[paper.PersonFacts, ...]:
    rows = Person.objects.filter(initials__in=initials).order_by("initials")
    found = [paper.PersonFacts(row.initials, row.name) for row in rows]
    if BOOK in initials:
        found.append(paper.PersonFacts(BOOK, "the logbook itself, when a time limit had passed"))
    return tuple(found)


def _named(value: object) -> set[str]:
    """All initials that occur anywhere in a part of the record."""
    if isinstance(value, tuple):
        if value and isinstance(value[0], int):
            return set()  # a series, which may be long
        return {one for part in value for one in _named(part)}
    found: set[str] = set()
    for name in getattr(value, "__dataclass_fields__", ()):
        inside = getattr(value, name)
        if name in INITIALS:
            found |= {inside}
        elif not isinstance(inside, str | int):
            found |= _named(inside)
    return found - {""}


INITIALS = (
    "initials", "opened_by", "finished_by", "voided_by", "started_by", "ended_by", "imported_by",
    "entered_by", "checked_by",
)  # fmt: skip


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
        tuple(paper.Share(q.kind, q.grams) for q in _quantities(release)),
        words or "Not in storage yet",
        release.storage,
        release.note,
    )


def _points_of_limits(plan: Plan) -> dict[str, str]:
    """Limit id → the number of its control point on paper."""
    numbers = _numbered(plan)
    return {limit.id: numbers[point.id] for point in plan.control_points for limit in point.limits}


def _since(lot: Lot, before: RecordIssued | None) -> str:
    """What came into the book of the lot since its last record: each kind of act, and how often."""
    if before is None:
        return ""
    lines = BookLine.objects.filter(lots__lot=lot, number__gt=before.head_id).exclude(
        pk=before.line_id
    )
    counts: dict[str, int] = {}
    for kind in lines.order_by("number").values_list("kind", flat=True):
        counts[kind] = counts.get(kind, 0) + 1
    said = ", ".join(f"{kind} ({n} times)" if n > 1 else kind for kind, n in counts.items())
    return f"in the book since then: {said or 'nothing of this lot'}"


def _kept_until(lot: Lot, house: Establishment) -> str:
    """The day, as 2027-03-05, until when the lot's records are kept by rule."""
    return keep_until(lot, house).day.isoformat()


def _loads(lot: Lot, steps: list[Step]) -> tuple[paper.LoadFacts, ...]:
    """Each load once, also where the fish of several lots that this one came from stood in it."""
    lots: dict[int, list[str]] = {}
    for step in steps:
        inherited = step.part.lot_id != lot.pk
        lots.setdefault(step.part.load_id, []).extend([step.part.lot.code] if inherited else [])
    first = {step.part.load_id: step for step in reversed(steps)}
    return tuple(
        load_facts(first[number].part, first[number].name, ", ".join(codes))
        for number, codes in lots.items()
    )


def _quantities(release: Release) -> list[ReleaseQuantity]:
    return sorted(release.quantities.all(), key=lambda one: one.pk)


def _found_release(lot: Lot) -> Release | None:
    rows = Release.objects.filter(lot=lot).select_related("signature__person")
    return rows.prefetch_related("quantities").first()


def lot_record(
    lot: Lot, house: Establishment, made_by: Person, at: int, change: str = ""
) -> paper.LotRecord:
    """The record of a lot as the book stands now."""
    plan = plan_value(lot.plan_version)
    steps = rows_of_steps(parts_of(lot))
    by_load = {step.part.load_id: step for step in steps}
    lots = [ancestor.lot for ancestor in lineage(lot)]
    ancestors = lineage(lot)
    parts = [(part, ancestors) for part in parts_of(lot)]
    sitting = sitting_of(parts, anew=True)
    judged = [replace(one, of_lot=lot.pk) for one in judge_parts(parts, at, True, ALL, sitting)]
    bases = bases_of([part for part, _ in parts], [one.lot for one in ancestors], sitting)
    release = _found_release(lot)
    head = BookLine.objects.order_by("-number").first()
    assert head is not None
    before = RecordIssued.objects.filter(lot=lot).order_by("-revision").first()
    raw = _raw_limits(plan.content)
    record = paper.LotRecord(
        form=paper.FORM,
        revision=(before.revision if before else 0) + 1,
        made_at=at,
        made_by=made_by.initials,
        establishment=_establishment(house),
        lot=_identity(lot, release),
        plan=_plan(lot.plan_version, plan),
        control_points=tuple(_point(plan, point, raw) for point in plan.control_points),
        verdicts=tuple(dict.fromkeys(_verdict(one, by_load, lots, bases) for one in judged)),
        loads=_loads(lot, steps),
        readings=hands(steps),
        observations=observations(steps),
        series=tuple(one for step in by_load.values() for one in series(step)),
        results=results(
            [lot, *(one for one in lots if one.pk != lot.pk)],
            {one.plan_version.plan for one in lots},
            {one.at for basis in bases.each for one in basis.known.verified},
        ),
        instruments=instruments(steps),
        deviations=deviation_facts(lot),
        signatures=_signatures(lot, release),
        release=_release(release, judged, {step.id for step in plan.storage_steps}),
        book=paper.BookHead(head.number, head.digest),
        people=(),
        unjudged=tuple(not_judged(plan)),
        adjustments=adjustments(lots, by_load, lot, _points_of_limits(plan)),
        unreviewed=len(unreviewed(lot)),
        replaces=f"revision {before.revision}" if before else "",
        changed="; ".join(filter(None, [change.rstrip("."), _since(lot, before)])),
        remarks=remarks(lot, by_load),
        logged_corrections=logged_corrections(by_load.values()),
        taken_back=taken_back(by_load.values()),
        plans=bases.plans,
        bases=bases.each,
        runs=bases.pool.runs,
        kept_until=_kept_until(lot, house),
        batches=record_salt.batches(step.part.load for step in steps),
        pieces=record_salt.pieces(lot),
        weights=record_salt.weights(lot),
        yields=record_salt.yields_said(lot),
        sent=record_salt.sent([lot, *(one for one in lots if one.pk != lot.pk)]),
        salt=record_salt.salt_said(lot),
        pack=record_salt.pack(lot, at, judged),
    )
    return replace(record, people=_people(_named(record) | {made_by.initials}))


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
