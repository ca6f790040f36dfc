"""What a lot's verdicts were computed from, as the record carries it for whoever computes them again."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from lots.core import record as paper
from lots.core.basis import Basis, Pool, Side, SideValues, flat_facts
from lots.core.judging import Facts
from lots.core.limits import Exposure, Limit
from lots.models.lot import LoadPart, Lot
from lots.models.plan import PlanVersion
from lots.queries.digests import canonical
from lots.queries.evidence import LoadEvidence
from lots.queries.judgements import Sitting, facts_of
from lots.queries.plans import plan_value


@dataclass
class Bases:
    """The record's bases, each once, with the plans and the readings that they name."""

    pool: Pool = field(default_factory=Pool)
    _plans: dict[int, paper.PlanContent] = field(default_factory=dict)
    _places: dict[Basis, int] = field(default_factory=dict)
    _of_part: dict[int, int] = field(default_factory=dict)

    @property
    def each(self) -> tuple[Basis, ...]:
        return tuple(self._places)

    @property
    def plans(self) -> tuple[paper.PlanContent, ...]:
        return tuple(self._plans.values())

    def number(self, part: LoadPart) -> int:
        """1 for the first; 0 where the part's step has no limits."""
        return self._of_part.get(part.pk, 0)

    def plan(self, version: PlanVersion) -> int:
        """The place of the version's content among the plans."""
        content = canonical(plan_value(version).content)
        facts = paper.PlanContent(version.plan.title, version.number, content)
        self._plans.setdefault(version.pk, facts)
        return list(self._plans).index(version.pk)

    def add(self, part: LoadPart, basis: Basis) -> None:
        self._of_part[part.pk] = self._places.setdefault(basis, len(self._places)) + 1


def bases_of(parts: Sequence[LoadPart], lots: Sequence[Lot], sitting: Sitting) -> Bases:
    """What the limits of each step are held against, with the plan of the lot first."""
    out = Bases()
    if lots:
        out.plan(lots[0].plan_version)
    for part in parts:
        limits = [limit for _, limit in plan_value(part.lot.plan_version).held_at(part.step)]
        if limits:
            out.add(part, _basis(out, part, limits, list(lots) or [part.lot], sitting))
    return out


def _basis(
    out: Bases, part: LoadPart, limits: list[Limit], lots: list[Lot], sitting: Sitting
) -> Basis:
    found = sitting.evidence(part.load)
    known, monitored, differs = facts_of(part, lots, sitting)
    first = _side(out.pool, found, limits, known, True)
    second = _side(out.pool, found, limits, monitored, False)
    apart = differs or found.differs or second != first
    return Basis(
        load=part.load_id,
        step=part.step,
        plan=out.plan(part.lot.plan_version),
        flats=flat_facts(found.flats),
        known=first,
        monitored=(second,) if apart else (),
    )


def _side(pool: Pool, found: LoadEvidence, limits: list[Limit], facts: Facts, known: bool) -> Side:
    span = found.span if known else found.monitored_span
    earlier = {limit.id: found.earlier(limit, known) for limit in limits if _looks_back(limit)}
    return pool.side(
        SideValues(
            span,
            found.series if known else found.monitored_series,
            found.before if known else found.monitored_before,
            earlier,
            replace(facts, span=replace(span, before_end=None)),
        )
    )


def _looks_back(limit: Limit) -> bool:
    return any(isinstance(leaf.rule, Exposure) and leaf.rule.steps for leaf in limit.leaves())
