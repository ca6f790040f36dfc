"""What follows from an act at once: running states, and the deviations that it opens."""

import json
from collections.abc import Iterable

from lots.core import judging
from lots.core.limits import RULES, Limit, Verdict, demand
from lots.core.series import Chunk
from lots.entries.book import Act, canonical
from lots.models.deviation import Deviation, DeviationNote
from lots.models.lot import Load, LoadPart, Lot
from lots.models.plan import PlanVersion
from lots.models.reading import Reading
from lots.models.review import KeptJudgement
from lots.models.scratch import RunningState
from lots.queries import evidence as seen
from lots.queries.judgements import (
    Judged,
    judge_lot,
    judge_parts,
    last_told,
    limit_states,
    signature,
    step_limits,
)
from lots.queries.lineage import heirs, lineage, lineages, with_descendants
from lots.queries.plans import plan_value
from lots.queries.release import deviation_state
from lots.queries.rests_on import behind

EVIDENCE_ROWS = 40  # reading numbers named in a deviation's evidence


def _parts(load: Load) -> list[LoadPart]:
    parts = LoadPart.objects.filter(load=load).select_related(
        "load__place__within", "lot__plan_version"
    )
    return list(parts.prefetch_related("load__moves", "load__ends__accepted"))


def forget_states(loads: Iterable[Load]) -> None:
    """Throws running states away; they are folded anew when next needed."""
    RunningState.objects.filter(load__in=[load.pk for load in loads]).delete()


def _limits_of(load: Load) -> list[tuple[PlanVersion, Limit]]:
    """Each limit that the load is held against, once a plan version."""
    found = {
        (part.lot.plan_version_id, limit.id): (part.lot.plan_version, limit)
        for part in _parts(load)
        for _, limit in step_limits(plan_value(part.lot.plan_version), part.step)
    }
    return list(found.values())


def advance_states(load: Load, reading: Reading) -> None:
    """Carries the load's running states on by one reading, or folds them anew where it does not come
    after all that went before, was late, corrects another, or is of a probe not seen yet."""
    rows = {
        (row.plan_version_id, row.limit_id): row for row in RunningState.objects.filter(load=load)
    }
    limits = _limits_of(load)
    standing = [rows.get((version.pk, limit.id)) for version, limit in limits]
    late = reading.corrects_id or seen.is_late(reading, reading.observed_at)
    span, monitored_span, _ = seen._spans(load)
    inside = span.start <= reading.observed_at <= span.until(reading.observed_at)
    late = late or span != monitored_span
    if late or not inside or not all(row and _follows(row, load, reading) for row in standing):
        fold_states(load)
        return
    subject = seen._subject(load, reading.place_id, reading.load_id)
    chunk = Chunk([reading.observed_at], [reading.value], "F" if reading.unit == "F" else "C")
    for (_, limit), row in zip(limits, standing, strict=True):
        assert row is not None
        row.states = canonical(
            {
                kind: judging.advance(limit, states, subject, reading.probe, chunk, span)
                for kind, states in json.loads(row.states).items()
            }
        )
        key = f"{subject}|{reading.probe}"
        row.last_at = canonical({**json.loads(row.last_at), key: reading.observed_at})
        row.save()


def _follows(row: RunningState, load: Load, reading: Reading) -> bool:
    """Whether the reading comes after all that the state has seen of its probe, and the probe is in
    every side of the state already."""
    key = f"{seen._subject(load, reading.place_id, reading.load_id)}|{reading.probe}"
    last = json.loads(row.last_at).get(key)
    if last is None or last >= reading.observed_at:
        return False
    sides = json.loads(row.states)
    if "monitored" not in sides:
        return True
    return all(
        set(probes) == set(sides["monitored"].get(name, {}))
        for name, probes in sides["known"].items()
    )


def fold_states(load: Load) -> None:
    """Folds the load's running states anew, from all its readings."""
    limits = _limits_of(load)
    if not limits:
        return
    found = seen.evidence(load)
    lasts = {
        f"{of}|{probe}": runs[-1].at[-1]
        for of, probes in found.series.items()
        for probe, runs in probes.items()
        if runs
    }
    RunningState.objects.filter(load=load).delete()
    RunningState.objects.bulk_create(
        RunningState(
            load=load,
            plan_version=version,
            limit_id=limit.id,
            states=canonical(limit_states(limit, found)),
            last_at=canonical(lasts),
        )
        for version, limit in limits
    )


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
    )
    return list({part.load_id: part.load for part in parts}.values())


def judge_loads(act: Act, loads: Iterable[Load], at: int) -> list[Judged]:
    """Judges every lot of the loads at a moment and opens what has broken, within the act."""
    found: list[Judged] = []
    for load in loads:
        if not RunningState.objects.filter(load=load).exists():
            fold_states(load)
        parts = _parts(load)
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
