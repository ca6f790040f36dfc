"""Judgements of a lot's steps, computed from the rows (or from running states where they stand)."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from lots.core import judging
from lots.core.folds import Finding, Span
from lots.core.judging import Facts, Judgement
from lots.core.limits import Limit, NotJudged, Verdict
from lots.core.plan import ControlPoint, Plan, PlanStep
from lots.models.deviation import Deviation
from lots.models.lot import Load, LoadPart, Lot
from lots.models.plan import PlanVersion
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
            limit, found.monitored_series, found.monitored_span, found.before
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


def _with_laboratory(facts: Facts, lots: Iterable[Lot]) -> Facts:
    measured = {quantity: list(samples) for quantity, samples in facts.measured.items()}
    for quantity, samples in seen.laboratory_samples(lots).items():
        measured[quantity] = measured.get(quantity, []) + samples
    return replace(facts, measured=measured)


def _running(load: Load, version: PlanVersion) -> dict[str, StatesByKind]:
    rows = RunningState.objects.filter(load=load, plan_version=version)
    return {row.limit_id: json.loads(row.states) for row in rows}


def judge_part(
    part: LoadPart, at: int, ancestors: Iterable[Ancestor] = (), anew: bool = False
) -> list[Judged]:
    """All limits of one step of a lot, at a moment.

    With `anew` nothing is taken from running states: everything is folded from the rows.
    """
    plan = plan_value(part.lot.plan_version)
    limits = step_limits(plan, part.step)
    if not limits:
        return []
    facts = seen.load_facts(part.load)
    running = {} if anew else _running(part.load, part.lot.plan_version)
    if any(limit.id not in running for _, limit in limits):
        found = seen.evidence(part.load)
        running |= {
            limit.id: limit_states(limit, found) for _, limit in limits if limit.id not in running
        }
    lots = [ancestor.lot for ancestor in ancestors] or [part.lot]
    known = _with_laboratory(facts.facts, lots)
    monitored = _with_laboratory(facts.monitored_facts, lots)
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
    return [judged for part in parts_of(lot) for judged in judge_part(part, at, ancestors, anew)]


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


def told(judged: Judged) -> bool:
    """Whether an open or ended deviation already tells of it up to its last breach."""
    rows = Deviation.objects.filter(
        lot=judged.part.lot_id, load=judged.part.load_id, limit_id=judged.limit.id
    ).prefetch_related("notes")
    last = judged.finding.last_broke_at or judged.finding.broke_at or 0
    for row in rows:
        notes = sorted(row.notes.all(), key=lambda note: note.pk)
        known = max([row.last_broke_at, *(note.last_broke_at for note in notes)])
        if last <= known and not (notes and notes[-1].kind == "not reproduced"):
            return True
    return False


def not_judged(plan: Plan) -> list[str]:
    """The limits that this version keeps and prints but does not judge; each bars the release."""
    return [
        f"{point.name}: {leaf.kind} ({leaf.id})"
        for point in plan.control_points
        for limit in point.limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, NotJudged)
    ]


def span_now(load: Load) -> Span:
    end = seen.end_of(load)
    return Span(seen.started_at(load), end.ended_at if end else None)
