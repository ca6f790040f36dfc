"""Past lots held against other limits than those they were made under; nothing is written."""

from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from lots.core.limits import AllOf, AnyOf, Given, Limit, Rule, Verdict, demand
from lots.core.named import named
from lots.core.plan import Content, plan_from
from lots.core.plan import Plan as PlanValue
from lots.models.lot import LoadPart, Lot
from lots.models.plan import Plan, PlanVersion
from lots.models.review import KeptJudgement
from lots.queries.judgements import Judged, judge_part, sitting_of
from lots.queries.lineage import Ancestor, lineage, parts_of
from lots.queries.plans import plan_value, unsaved

MOST_LOTS: Final = 200  # common practice: a year of a small house, and a page that can be read
Key = tuple[str, str]  # step id, limit id
Limits = dict[Key, Limit]


class Outcome(StrEnum):
    """What the other limit would have made of a lot, the worst first."""

    FAILS = "would have failed"
    STILL = "failed then too"
    UNTOLD = "cannot be told"
    MENDED = "would no longer have failed"
    SAME = "no different"


ORDER: Final = tuple(Outcome)


@dataclass(frozen=True, slots=True)
class ChangedLimit:
    """A limit of a step that is not in both plans alike; "" where one of them has none."""

    step: str
    point: str
    before: str
    now: str


@dataclass(frozen=True, slots=True)
class Held:
    """One limit of one step of a past lot: what it showed then, and what it would be.

    `load` 0: the lot was not in the step.  A verdict of None: that plan has no such limit.
    """

    lot: Lot
    step: str
    demand: str
    load: int
    then: Verdict | None
    then_figure: str
    would: Verdict | None
    would_figure: str
    why: str
    kept: bool  # whether `then` was kept in the book; else it is today's judgement

    @property
    def outcome(self) -> Outcome:
        """In doubt "cannot be told": never that a lot would have passed."""
        failed, fails = Verdict.DEVIATION is self.then, Verdict.DEVIATION is self.would
        if fails:
            return Outcome.STILL if failed else Outcome.FAILS
        if not self.load or self.would is Verdict.PENDING:
            return Outcome.UNTOLD
        return Outcome.MENDED if failed else Outcome.SAME


@dataclass(frozen=True)
class WhatIf:
    """Past lots against a content; `cut`: older lots of the plan were left out."""

    changed: tuple[ChangedLimit, ...]
    held: tuple[Held, ...]
    lots: int
    cut: bool

    def of(self, *outcomes: Outcome) -> list[Held]:
        return [one for one in self.held if one.outcome in outcomes]

    @property
    def would_have_failed(self) -> list[Held]:
        return self.of(Outcome.FAILS)

    @property
    def failing_lots(self) -> int:
        """How many lots would have failed that did not."""
        return len({one.lot.pk for one in self.would_have_failed})

    @property
    def unharmed(self) -> list[Lot]:
        """The lots for which every changed limit would have shown the same."""
        other = {one.lot.pk for one in self.held if one.outcome is not Outcome.SAME}
        same = {one.lot.pk: one.lot for one in self.held if one.lot.pk not in other}
        return list(same.values())


def what_if(plan: Plan | None, content: Content, at: int, since: int = 0) -> WhatIf:
    """The plan's past lots, under whichever version, held against the limits of a content.

    Args:
        plan: whose lots; None (a plan not yet published) has none.
        content: what may be changed to, as in a plan file.
        at: the moment at which is judged, ms UTC.
        since: only lots received from then on, ms UTC.
    Raises:
        BadPlan: the content cannot be read.
    """
    new = plan_from(content)
    lots, cut = _past_lots(plan, since)
    trial = _Trial(new)
    held = [one for lot in lots for one in _held(lot, trial, at)]
    held.sort(key=lambda one: (ORDER.index(one.outcome), -one.lot.received_at, one.lot.pk))
    newest = plan.versions.order_by("-number").first() if plan else None
    changed = () if newest is None else tuple(_changes(plan_value(newest), new))
    return WhatIf(changed, tuple(held), len(lots), cut)


def _past_lots(plan: Plan | None, since: int) -> tuple[list[Lot], bool]:
    """The newest lots of the plan that are not void, and whether there are more."""
    if plan is None:
        return [], False
    rows = Lot.objects.filter(plan_version__plan=plan, voided=None, received_at__gte=since)
    rows = rows.select_related("plan_version").order_by("-received_at", "-id")
    lots = list(rows[: MOST_LOTS + 1])
    return lots[:MOST_LOTS], len(lots) > MOST_LOTS


class _Trial:
    """The other plan, and what of it differs from each version that lots were made under."""

    def __init__(self, new: PlanValue) -> None:
        self.new = new
        self._differing: dict[int, tuple[frozenset[Key], PlanVersion, PlanVersion]] = {}

    def differing(self, version: PlanVersion) -> tuple[frozenset[Key], PlanVersion, PlanVersion]:
        """The limits that differ; and both plans with these limits alone, as versions never saved."""
        if version.pk not in self._differing:
            old = plan_value(version)
            keys = _differing(old, self.new)
            self._differing[version.pk] = (
                keys,
                unsaved(_alone(old, keys)),
                unsaved(_alone(self.new, keys)),
            )
        return self._differing[version.pk]


def _limits(plan: PlanValue) -> Limits:
    return {(step.id, one.id): one for step in plan.steps for _, one in plan.held_at(step.id)}


def _differing(old: PlanValue, new: PlanValue) -> frozenset[Key]:
    """Keys of the limits that do not demand the same in both plans."""
    before, now = _limits(old), _limits(new)
    return frozenset(
        key
        for key in {**before, **now}
        if key not in before or key not in now or _bare(before[key]) != _bare(now[key])
    )


def _bare(limit: Limit) -> Limit:
    """The limit without where it comes from, which changes no verdict."""
    return replace(limit, source="", flag="", rule=_bare_rule(limit.rule))


def _bare_rule(rule: Rule) -> Rule:
    match rule:
        case AllOf(parts):
            return AllOf(tuple(map(_bare, parts)))
        case AnyOf(parts):
            return AnyOf(tuple(map(_bare, parts)))
        case Given(condition, then):
            return Given(_bare(condition), _bare(then))
    return rule


def _alone(plan: PlanValue, keys: frozenset[Key]) -> PlanValue:
    """The plan with only these limits, each as it stands among the others of its control point."""
    ids = {limit_id for _, limit_id in keys}
    points = tuple(
        replace(point, limits=tuple(one for one in point.limits if one.id in ids))
        for point in plan.control_points
    )
    return replace(plan, control_points=points)


def _changes(old: PlanValue, new: PlanValue) -> Iterator[ChangedLimit]:
    """What the content changes of the plan's newest version, in the order of the steps."""
    before, now = _limits(old), _limits(new)
    differing = _differing(old, new)
    names = _names(old) | _names(new)
    for step, limit in [key for key in {**now, **before} if key in differing]:
        point = (new if (step, limit) in now else old).control_point_of(limit)
        yield ChangedLimit(
            step=names.get(step, step),
            point=point.name,
            before=_said(before.get((step, limit)), names),
            now=_said(now.get((step, limit)), names),
        )


def _names(plan: PlanValue) -> dict[str, str]:
    return {step.id: step.name for step in plan.steps}


def _said(limit: Limit | None, names: Mapping[str, str]) -> str:
    return demand(named(limit, names)) if limit else ""


def _held(lot: Lot, trial: _Trial, at: int) -> Iterator[Held]:
    """Every limit that differs from the one the lot was made under."""
    ancestors, parts = lineage(lot), parts_of(lot)
    for part in parts:
        yield from _held_part(lot, part, ancestors, trial, at)
    been = {part.step for part in parts}
    now, before = _limits(trial.new), _limits(plan_value(lot.plan_version))
    names = _names(plan_value(lot.plan_version)) | _names(trial.new)
    for step, limit in sorted(trial.differing(lot.plan_version)[0]):
        if step not in been and (step, limit) in now:
            why = "the step is not in the lot" if (step, limit) not in before else "not yet begun"
            words = _said(now[step, limit], names)
            yield Held(lot, names[step], words, 0, None, "", None, "", why, False)


def _held_part(
    lot: Lot, part: LoadPart, ancestors: list[Ancestor], trial: _Trial, at: int
) -> Iterator[Held]:
    keys, own, other = trial.differing(part.lot.plan_version)
    if not any(step == part.step for step, _ in keys):
        return
    sitting = sitting_of([(part, ancestors)], anew=True)  # the evidence is read once for both
    kept = _kept(lot, part)
    now = {
        one.limit.id: one for one in judge_part(_under(part, other), at, ancestors, True, sitting)
    }
    limits = {limit for step, limit in keys if step == part.step}
    before: dict[str, Judged] = {}
    if limits - set(kept):  # under its own version, only where the book kept nothing
        sitting.running.clear()
        under_own = judge_part(_under(part, own), at, ancestors, True, sitting)
        before = {one.limit.id: one for one in under_own}
    names = _names(plan_value(part.lot.plan_version)) | _names(trial.new)
    for limit_id in sorted(limits):
        was = kept.get(limit_id)
        yield _line(lot, part, names, was, before.get(limit_id), now.get(limit_id))


def _line(
    lot: Lot,
    part: LoadPart,
    names: Mapping[str, str],
    was: KeptJudgement | None,
    before: Judged | None,
    now: Judged | None,
) -> Held:
    then = Verdict(was.verdict) if was else before.verdict if before else None
    figure = was.figure if was else before.finding.figure if before else ""
    return Held(
        lot=lot,
        step=names.get(part.step, part.step),
        demand=_said(now.limit if now else None, names) or "no limit any more",
        load=part.load_id,
        then=then,
        then_figure=figure,
        would=now.verdict if now else None,
        would_figure=now.finding.figure if now else "",
        why=now.finding.why if now else "",
        kept=was is not None,
    )


def _kept(lot: Lot, part: LoadPart) -> dict[str, KeptJudgement]:
    """What the book kept last of this step of the lot, by limit."""
    rows = KeptJudgement.objects.filter(lot=lot, load=part.load_id).order_by("id")
    return {row.limit_id: row for row in rows}


def _under(part: LoadPart, version: PlanVersion) -> LoadPart:
    """A copy of the part whose lot stands under another version; never saved."""
    other = copy(part)
    lot = copy(part.lot)
    lot.plan_version = version
    other.lot = lot
    return other
