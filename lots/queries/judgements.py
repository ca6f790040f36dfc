"""Judgements of a lot's steps, computed from the rows (or from running states where they stand)."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import prefetch_related_objects

from lots.core import judging
from lots.core.folds import Finding
from lots.core.judging import Facts, Judgement, Sample
from lots.core.limits import Limit, NotJudged, Verdict
from lots.core.plan import ControlPoint, Plan, PlanStep
from lots.models.deviation import Deviation
from lots.models.lot import Load, LoadPart, Lot
from lots.models.scratch import RunningState
from lots.queries import evidence as seen
from lots.queries.lineage import Ancestor, lineage, parts_of
from lots.queries.plans import plan_value

StatesByKind = dict[str, Any]  # "known" and, where anything was late or corrected, "monitored"


@dataclass(frozen=True)
class Judged:
    """One limit of one step of a lot, with its judgement."""

    part: LoadPart
    point: ControlPoint
    limit: Limit
    judgement: Judgement
    of_lot: int = 0  # whose judgement it is, where the step was inherited; 0: the part's own lot

    @property
    def lot_id(self) -> int:
        return self.of_lot or self.part.lot_id

    @property
    def finding(self) -> Finding:
        return self.judgement.finding

    @property
    def verdict(self) -> Verdict:
        return self.judgement.verdict


def limit_states(limit: Limit, found: seen.LoadEvidence) -> StatesByKind:
    """The folds of a limit over a load, from the beginning."""
    states: StatesByKind = {"known": judging.start(limit, found.series, found.span, found.before)}
    if found.differs or found.span != found.monitored_span:
        states["monitored"] = judging.start(
            limit, found.monitored_series, found.monitored_span, found.monitored_before
        )
    return states


def judge_limit(
    limit: Limit, states: StatesByKind, known: Facts, monitored: Facts, differs: bool, at: int
) -> Judgement:
    """The judgement of a limit at a moment."""
    finding = judging.judge(limit, states["known"], known, at)
    before = None
    if differs or "monitored" in states:
        seen_states = states.get("monitored", states["known"])
        before = judging.judge(limit, seen_states, monitored, at)
    return judging.settle(limit.id, finding, before, accepted=False)


def step_limits(plan: Plan, step_id: str) -> list[tuple[ControlPoint, Limit]]:
    """The limits of a step with the control point that each belongs to."""
    return [
        (point, limit)
        for point in plan.control_points
        if point.step == step_id
        for limit in point.limits
    ]


def _with_laboratory(facts: Facts, found: dict[str, list[Sample]]) -> Facts:
    measured = {quantity: list(samples) for quantity, samples in facts.measured.items()}
    for quantity, samples in found.items():
        measured[quantity] = measured.get(quantity, []) + samples
    return replace(facts, measured=measured)


class Sitting:
    """What judging several steps at one moment reads, read once for them all; kept no longer."""

    def __init__(self, parts: Sequence[LoadPart], lots: Iterable[Lot], anew: bool) -> None:
        prefetch_related_objects([part.load for part in parts], "moves", "ends__accepted")
        self.loads = {part.load_id: part.load for part in parts}
        self.rows = seen.fact_rows(self.loads.values())
        self.laboratory = seen.laboratory_by_lot(lots)
        self.running: dict[tuple[int, int], dict[str, StatesByKind]] = {}
        kept = RunningState.objects.none() if anew else RunningState.objects.all()
        for row in kept.filter(load__in=self.loads):
            states = self.running.setdefault((row.load_id, row.plan_version_id), {})
            states[row.limit_id] = json.loads(row.states)
        self._facts: dict[int, seen.LoadFacts] = {}
        self._evidence: dict[int, seen.LoadEvidence] = {}

    def facts(self, load: Load) -> seen.LoadFacts:
        if load.pk not in self._facts:
            self._facts[load.pk] = seen.load_facts(load, self.rows)
        return self._facts[load.pk]

    def states(self, part: LoadPart, limits: Iterable[Limit]) -> dict[str, StatesByKind]:
        """The states of these limits: the running ones, the missing folded from the rows."""
        key = part.load_id, part.lot.plan_version_id
        found = self.running.setdefault(key, {})
        for limit in limits:
            if limit.id not in found:
                found[limit.id] = limit_states(limit, self._all(part.load))
        return found

    def samples(self, lots: Iterable[Lot]) -> dict[str, list[Sample]]:
        out: dict[str, list[Sample]] = {}
        for lot in lots:
            for quantity, samples in self.laboratory.get(lot.pk, {}).items():
                out.setdefault(quantity, []).extend(samples)
        return out

    def _all(self, load: Load) -> seen.LoadEvidence:
        if load.pk not in self._evidence:
            self._evidence[load.pk] = seen.evidence(load)
        return self._evidence[load.pk]


def judge_parts(
    parts: Iterable[tuple[LoadPart, Sequence[Ancestor]]], at: int, anew: bool = False
) -> list[Judged]:
    """All limits of several steps, each with the lots whose laboratory results speak for it."""
    each = list(parts)
    lots = [ancestor.lot for _, ancestors in each for ancestor in ancestors]
    lots += [part.lot for part, ancestors in each if not ancestors]
    sitting = Sitting([part for part, _ in each], lots, anew)
    return [
        judged
        for part, ancestors in each
        for judged in judge_part(part, at, ancestors, anew, sitting)
    ]


def judge_part(
    part: LoadPart,
    at: int,
    ancestors: Sequence[Ancestor] = (),
    anew: bool = False,
    sitting: Sitting | None = None,
) -> list[Judged]:
    """All limits of one step of a lot, at a moment.

    With `anew` nothing is taken from running states: everything is folded from the rows.
    """
    plan = plan_value(part.lot.plan_version)
    limits = step_limits(plan, part.step)
    if not limits:
        return []
    lots = [ancestor.lot for ancestor in ancestors] or [part.lot]
    sitting = Sitting([part], lots, anew) if sitting is None else sitting
    facts = sitting.facts(part.load)
    running = sitting.states(part, (limit for _, limit in limits))
    laboratory = sitting.samples(lots)
    known = _with_laboratory(facts.facts, laboratory)
    monitored = _with_laboratory(facts.monitored_facts, laboratory)
    return [
        Judged(
            part,
            point,
            limit,
            judge_limit(limit, running[limit.id], known, monitored, facts.differs, at),
        )
        for point, limit in limits
    ]


def judge_lot(lot: Lot, at: int, anew: bool = False) -> list[Judged]:
    """All limits of all steps of a lot begun so far, those it inherited included."""
    ancestors = lineage(lot)
    judged = judge_parts([(part, ancestors) for part in parts_of(lot)], at, anew)
    return [replace(one, of_lot=lot.pk) for one in judged]


@dataclass(frozen=True)
class StepState:
    """A step of the lot's plan: its parts so far and what they show."""

    step: PlanStep
    parts: list[LoadPart]
    judged: list[Judged]

    @property
    def running(self) -> list[LoadPart]:
        return [part for part in self.parts if seen.end_of(part.load) is None]

    @property
    def over(self) -> bool:
        return bool(self.parts) and not self.running

    @property
    def verdict(self) -> Verdict | None:
        verdicts = [judged.verdict for judged in self.judged]
        return max(verdicts, key=lambda v: v.rank) if verdicts else None


def step_states(lot: Lot, judged: list[Judged], parts: list[LoadPart]) -> list[StepState]:
    """The steps of the lot's plan in order, each with its parts and judgements."""
    plan = plan_value(lot.plan_version)
    return [
        StepState(
            step,
            [part for part in parts if part.step == step.id],
            [one for one in judged if one.part.step == step.id],
        )
        for step in plan.steps
    ]


def signature(finding: Finding) -> str:
    """What tells one finding of a broken limit from a newer or a worse one."""
    spare = finding.numbers.get("margin", finding.numbers.get("maintained_ms", ""))
    return f"{finding.broke_at}|{finding.last_broke_at}|{finding.breaches}|{spare}"


def last_told(deviation: Deviation) -> str:
    """The signature that was written last of a deviation; "" where it was no longer reproduced."""
    notes = sorted(deviation.notes.all(), key=lambda note: note.pk)
    return notes[-1].signature if notes else deviation.signature


def told(judged: Judged) -> bool:
    """Whether the newest deviation already tells of it, exactly as it is found now."""
    newest = (
        Deviation.objects.filter(
            lot=judged.lot_id, load=judged.part.load_id, limit_id=judged.limit.id
        )
        .prefetch_related("notes")
        .order_by("-id")
        .first()
    )
    return newest is not None and last_told(newest) == signature(judged.finding)


def not_judged(plan: Plan) -> list[str]:
    """The limits that this version keeps and prints but does not judge; each bars the release."""
    return [
        f"{point.name}: {leaf.kind} ({leaf.id})"
        for point in plan.control_points
        for limit in point.limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, NotJudged)
    ]
