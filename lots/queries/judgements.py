"""Judgements of a lot's steps, computed from the rows (or from running states where they stand)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import prefetch_related_objects

from lots.core import judging
from lots.core.folds import Finding
from lots.core.judging import Facts, Judgement, Sample
from lots.core.limits import Accurate, Limit, NotJudged, Verdict
from lots.core.plan import ControlPoint, Plan, PlanStep
from lots.core.watch import flat_now
from lots.models.deviation import Deviation
from lots.models.lot import Load, LoadPart, Lot
from lots.models.scratch import LoadPicture, RunningState
from lots.queries import evidence as seen
from lots.queries.house import rules
from lots.queries.instruments_used import Uses, instruments_used
from lots.queries.kept_small import inflated, states_from
from lots.queries.lineage import Ancestor, lineage, parts_of
from lots.queries.plans import plan_value
from lots.queries.salt_facts import SaltRows
from lots.queries.sight import ALL, Sight

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
    flats = found.flats
    states: StatesByKind = {
        "known": judging.start(
            limit, found.series, found.span, found.before, flats, found.earlier(limit, known=True)
        )
    }
    earlier = found.earlier(limit, known=False)
    if found.differs or found.span != found.monitored_span or _differ(found, limit, earlier):
        states["monitored"] = judging.start(
            limit,
            found.monitored_series,
            found.monitored_span,
            found.monitored_before,
            flats,
            earlier,
        )
    return states


def _differ(found: seen.LoadEvidence, limit: Limit, monitored: Sequence[Any]) -> bool:
    """Whether what the steps before show is not the same on both sides."""
    return bool(monitored) and tuple(monitored) != found.earlier(limit, known=True)


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


def _with_laboratory(facts: Facts, found: dict[str, list[Sample]]) -> Facts:
    measured = {quantity: list(samples) for quantity, samples in facts.measured.items()}
    for quantity, samples in found.items():
        measured[quantity] = measured.get(quantity, []) + samples
    return replace(facts, measured=measured)


class Sitting:
    """What judging several steps at one moment reads, read once for them all; kept no longer."""

    def __init__(
        self,
        parts: Sequence[LoadPart],
        lots: Iterable[Lot],
        anew: bool,
        sight: Sight = ALL,
    ) -> None:
        prefetch_related_objects([part.load for part in parts], "moves", "ends__accepted")
        self.loads = {part.load_id: part.load for part in parts}
        self.sight = sight
        self.rows = seen.fact_rows(self.loads.values(), sight)
        lots = list(lots)
        self.laboratory = seen.laboratory_by_lot(lots, sight)
        self.salt = SaltRows(parts, lots, sight)
        self.running: dict[tuple[int, int], dict[str, StatesByKind]] = {}
        self.flat: dict[int, dict[str, int]] = {}
        if not anew:
            self._read_running()
        self._facts: dict[int, seen.LoadFacts] = {}
        self._uses: dict[int, tuple[Uses, Uses]] = {}
        self._evidence: dict[int, seen.LoadEvidence] = {}

    def _read_running(self) -> None:
        for row in RunningState.objects.filter(load__in=self.loads):
            states = self.running.setdefault((row.load_id, row.plan_version_id), {})
            states[row.limit_id] = states_from(row.states)
        for load_id, picture in LoadPicture.objects.filter(load__in=self.loads).values_list(
            "load_id", "picture"
        ):
            self.flat[load_id] = flat_now(inflated(picture), rules().flat)

    def facts(self, load: Load) -> seen.LoadFacts:
        """What the load's limits are held against beside its series."""
        if load.pk not in self._facts:
            found = seen.load_facts(load, self.rows, self.sight)
            flat = self.flat.get(load.pk)
            if flat is None:
                flat = flat_now(self.evidence(load).picture, rules().flat)
            if flat:
                found = replace(
                    found,
                    facts=replace(found.facts, flat=flat),
                    monitored_facts=replace(found.monitored_facts, flat=flat),
                )
            self._facts[load.pk] = found
        return self._facts[load.pk]

    def with_instruments(self, found: seen.LoadFacts) -> seen.LoadFacts:
        """The facts with the instruments that the readings were taken with, and their checks."""
        pk = found.load.pk
        if pk not in self._uses:
            self._uses[pk] = instruments_used(found.load, self.sight)
        known, monitored = self._uses[pk]
        return replace(
            found,
            facts=replace(found.facts, uses=known),
            monitored_facts=replace(found.monitored_facts, uses=monitored),
            differs=found.differs or known != monitored,
        )

    def states(self, part: LoadPart, limits: Iterable[Limit]) -> dict[str, StatesByKind]:
        """The states of these limits: the running ones, the missing folded from the rows."""
        key = part.load_id, part.lot.plan_version_id
        found = self.running.setdefault(key, {})
        for limit in limits:
            if limit.id not in found:
                found[limit.id] = limit_states(limit, self.evidence(part.load))
        return found

    def samples(self, lots: Iterable[Lot]) -> dict[str, list[Sample]]:
        out: dict[str, list[Sample]] = {}
        for lot in lots:
            for quantity, samples in self.laboratory.get(lot.pk, {}).items():
                out.setdefault(quantity, []).extend(samples)
        return out

    def evidence(self, load: Load) -> seen.LoadEvidence:
        """All the series of the load, read once."""
        if load.pk not in self._evidence:
            self._evidence[load.pk] = seen.evidence(load, self.sight)
        return self._evidence[load.pk]


def judge_parts(
    parts: Iterable[tuple[LoadPart, Sequence[Ancestor]]],
    at: int,
    anew: bool = False,
    sight: Sight = ALL,
    sitting: Sitting | None = None,
) -> list[Judged]:
    """All limits of several steps, each with the lots whose laboratory results speak for it."""
    each = list(parts)
    if sitting is None:
        sitting = sitting_of(each, anew, sight)
    return [
        judged
        for part, ancestors in each
        for judged in judge_part(part, at, ancestors, anew, sitting)
    ]


def sitting_of(
    parts: Sequence[tuple[LoadPart, Sequence[Ancestor]]], anew: bool = False, sight: Sight = ALL
) -> Sitting:
    """What judging these steps reads."""
    lots = [ancestor.lot for _, ancestors in parts for ancestor in ancestors]
    lots += [part.lot for part, ancestors in parts if not ancestors]
    return Sitting([part for part, _ in parts], lots, anew, sight)


def facts_of(part: LoadPart, lots: Iterable[Lot], sitting: Sitting) -> tuple[Facts, Facts, bool]:
    """What a step's limits are held against beside its series, as known and as monitored, and whether
    the two differ; with what laboratories found in the lots."""
    facts = sitting.facts(part.load)
    limits = plan_value(part.lot.plan_version).held_at(part.step)
    if any(isinstance(leaf.rule, Accurate) for _, one in limits for leaf in one.leaves()):
        facts = sitting.with_instruments(facts)
    lots = list(lots)
    laboratory = sitting.samples(lots)
    more, seen_more = sitting.salt.facts(part, [limit for _, limit in limits], lots)
    known = replace(_with_laboratory(facts.facts, laboratory), **more)
    monitored = replace(_with_laboratory(facts.monitored_facts, laboratory), **seen_more)
    return known, monitored, facts.differs or more != seen_more


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
    limits = plan.held_at(part.step)
    if not limits:
        return []
    lots = [ancestor.lot for ancestor in ancestors] or [part.lot]
    sitting = Sitting([part], lots, anew) if sitting is None else sitting
    running = sitting.states(part, (limit for _, limit in limits))
    known, monitored, differs = facts_of(part, lots, sitting)
    return [
        Judged(
            part,
            point,
            limit,
            judge_limit(limit, running[limit.id], known, monitored, differs, at),
        )
        for point, limit in limits
    ]


def judge_lot(lot: Lot, at: int, anew: bool = False, sight: Sight = ALL) -> list[Judged]:
    """All limits of all steps of a lot begun so far, those it inherited included."""
    ancestors = lineage(lot)
    parts = [(part, ancestors) for part in parts_of(lot) if sight.sees(part)]
    judged = judge_parts(parts, at, anew, sight)
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
    named = ("margin", "maintained_ms", "equivalent_ms")
    spare = next((finding.numbers[name] for name in named if name in finding.numbers), "")
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
