"""What follows from an act at once: running states, and the deviations that it opens."""

from collections.abc import Iterable

from django.db.models import prefetch_related_objects

from lots.core.limits import RULES, Followed, Verdict, demand
from lots.entries.book import Act, canonical
from lots.entries.running import advance_states as advance_states
from lots.entries.running import fold_states, parts_in
from lots.entries.running import forget_states as forget_states
from lots.models.deviation import Deviation, DeviationNote
from lots.models.lot import Load, LoadPart, Lot
from lots.models.review import KeptJudgement
from lots.models.scratch import RunningState
from lots.queries.judgements import (
    Judged,
    judge_lot,
    judge_parts,
    last_told,
    signature,
)
from lots.queries.lineage import heirs, lineage, lineages, with_descendants
from lots.queries.plans import plan_value
from lots.queries.release import deviation_state
from lots.queries.rests_on import behind
from lots.queries.salt_facts import parts_verified, verified_by

EVIDENCE_ROWS = 40  # reading numbers named in a deviation's evidence


def later_loads(load: Load) -> list[Load]:
    """Loads that fish of this one came into later: a cooling's clock looks back into it."""
    lots = Lot.objects.filter(parts__load=load)
    parts = (
        LoadPart.objects.filter(
            lot__in=with_descendants(lots), load__started_at__gte=load.started_at
        )
        .exclude(load=load)
        .select_related("load__place__within")
        .prefetch_related("load__moves", "load__ends__accepted")
        .order_by("id")
    )
    return list({part.load_id: part.load for part in parts}.values())


def loads_followed_by(load: Load) -> list[Load]:
    """Loads of earlier steps whose fish has to be in one like this in time."""
    lots = [one.lot for part in parts_in(load) for one in lineage(part.lot)]
    steps = {part.step for part in parts_in(load)}
    rows = LoadPart.objects.filter(lot__in=lots).exclude(load=load)
    rows = rows.select_related("load__place__within", "lot__plan_version").order_by("id")
    found = [part for part in rows if steps & _followed_by(part)]
    fresh = {part.load_id: part.load for part in found}
    prefetch_related_objects(list(fresh.values()), "moves", "ends__accepted")
    return list(fresh.values())


def _followed_by(part: LoadPart) -> set[str]:
    limits = plan_value(part.lot.plan_version).held_at(part.step)
    rules = [leaf.rule for _, limit in limits for leaf in limit.leaves()]
    return {rule.by for rule in rules if isinstance(rule, Followed)}


def judge_verified(act: Act, plan_id: int, quantity: str, sampled_at: int, at: int) -> list[Judged]:
    """Judges the steps that a verification of a plan's process speaks for, and opens what has broken.

    These are at most the steps that began between the verification before it and the one after it
    (`parts_verified`), each by the limits on this quantity alone, folded from nothing but facts.
    """
    parts = parts_verified(plan_id, quantity, sampled_at)
    ancestors = lineages(part.lot for part in parts)
    found = [
        one
        for one in judge_parts([(part, ancestors[part.lot_id]) for part in parts], at)
        if verified_by(one.limit, quantity)
    ]
    act.concerns(*(one.lot_id for one in found))
    for one in found:
        hold_deviation(act, one, at)
    return found


def judge_loads(act: Act, loads: Iterable[Load], at: int) -> list[Judged]:
    """Judges every lot of the loads at a moment and opens what has broken, within the act."""
    found: list[Judged] = []
    for load in loads:
        if not RunningState.objects.filter(load=load).exists():
            fold_states(load)
        parts = parts_in(load)
        ancestors = lineages(part.lot for part in parts)
        act.concerns(*(part.lot_id for part in parts))
        act.concerns(*heirs(load.pk, [part.lot for part in parts]))
        judged = judge_parts([(part, ancestors[part.lot_id]) for part in parts], at)
        newest = _newest_deviations(load)
        for one in judged:
            hold_deviation(act, one, at, newest)
        found += judged
    return found


Newest = dict[tuple[int, str], Deviation]  # by lot and limit


def _newest_deviations(load: Load) -> Newest:
    """The newest deviation of each lot and limit in a load."""
    rows = Deviation.objects.filter(load=load).order_by("id")
    return {(row.lot_id, row.limit_id): row for row in rows}


def hold_deviation(
    act: Act, judged: Judged, at: int, known: Newest | None = None
) -> Deviation | None:
    """Opens a deviation, extends it, or notes that it is no longer reproduced; none disappears."""
    part, finding = judged.part, judged.finding
    known = _newest_deviations(part.load) if known is None else known
    newest = known.get((judged.lot_id, judged.limit.id))
    if finding.verdict is not Verdict.DEVIATION:
        if newest is not None:
            _not_reproduced(act, newest, judged)
        return None
    broke = finding.broke_at if finding.broke_at is not None else at
    last = finding.last_broke_at if finding.last_broke_at is not None else broke
    if newest is None:
        return _open(act, judged, broke, last, at)
    return _again(act, newest, judged, broke, last, at)


def _not_reproduced(act: Act, deviation: Deviation, judged: Judged) -> None:
    if not last_told(deviation):
        return
    act.concerns(deviation.lot_id)
    act.write(
        DeviationNote(
            deviation=deviation,
            kind="not reproduced",
            figure=judged.finding.figure,
            last_broke_at=deviation.last_broke_at,
            why=f"now {judged.verdict.words}",
        )
    )


def _again(
    act: Act, newest: Deviation, judged: Judged, broke: int, last: int, at: int
) -> Deviation | None:
    """Another finding of a limit that has a deviation: nothing if it is the one told, a new deviation
    if that one has ended, otherwise a note."""
    if last_told(newest) == signature(judged.finding):
        return None
    if deviation_state(newest).ended:
        return _open(act, judged, broke, last, at)
    act.concerns(newest.lot_id)
    act.write(
        DeviationNote(
            deviation=newest,
            kind="extended",
            figure=judged.finding.figure,
            last_broke_at=last,
            signature=signature(judged.finding),
            why=judged.finding.why,
        )
    )
    return None


def _open(act: Act, judged: Judged, broke: int, last: int, at: int) -> Deviation:
    part, finding = judged.part, judged.finding
    act.concerns(judged.lot_id)
    return act.write(
        Deviation(
            lot_id=judged.lot_id,
            load_id=part.load_id,
            control_point=judged.point.id,
            limit_id=judged.limit.id,
            demand=demand(judged.limit),
            figure=finding.figure,
            why=finding.why,
            broke_at=broke,
            last_broke_at=last,
            signature=signature(finding),
            evidence=canonical(_evidence(judged, broke, at)),
            rules=RULES,
        )
    )


def _evidence(judged: Judged, broke: int, at: int) -> dict[str, object]:
    """What the deviation rests on, as it stood when it was opened."""
    finding = judged.finding
    lot = Lot.objects.get(pk=judged.lot_id)
    rows = behind(judged.limit, judged.part.load, [one.lot for one in lineage(lot)])
    numbers = sorted({row.pk for row in rows.readings})
    return {
        "verdict": finding.verdict.value,
        "figure": finding.figure,
        "figure_at": finding.figure_at or 0,
        "why": finding.why,
        "broke_at": broke,
        "breaches": finding.breaches,
        "judged_at": at,
        "readings": numbers[-EVIDENCE_ROWS:],
        "readings_in_all": len(numbers),
        "series": [[row.pk, row.digest] for row in rows.packed[-EVIDENCE_ROWS:]],
    }


def keep_judgements(writing: Act, lot: Lot, at: int) -> None:
    """Keeps every judgement of the lot as it stands, folded anew from the rows."""
    for one in judge_lot(lot, at, anew=True):
        writing.write(
            KeptJudgement(
                lot=lot,
                load=one.part.load,
                limit_id=one.limit.id,
                verdict=one.verdict.value,
                figure=one.finding.figure,
                broke_at=one.finding.broke_at or 0,
                at=at,
                rules=one.judgement.rules,
            )
        )
