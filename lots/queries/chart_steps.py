"""What a lot's temperature strip is drawn from: its steps with readings, their limits, their gaps."""

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from lots.core.limits import Cooling, Every, Limit, Maintained, Within
from lots.core.plan import Plan
from lots.core.series import Chunk
from lots.core.units import Bound, TempUnit, degrees, show_number
from lots.models.lot import LoadPart
from lots.queries.evidence import OwnSeries, own_series
from lots.queries.plans import plan_value

GAP_MS = 45 * 60_000  # where the plan names no longest time without a reading


@dataclass(frozen=True)
class DrawnBound:
    """A figure drawn as a line, with the words that stand on it."""

    bound: Bound
    css: str
    sign: str
    limit_id: str

    def words(self, unit: TempUnit) -> str:
        figure = degrees(self.bound.f if unit == "F" else self.bound.c, unit)
        return f"{self.sign} {show_number(figure, 1)}"


@dataclass(frozen=True)
class ChartStep:
    part: LoadPart
    plan: Plan
    found: OwnSeries
    start: int
    end: int
    bounds: list[DrawnBound]
    longest_gap: int

    def runs(self) -> Iterator[tuple[str, str, Sequence[Chunk]]]:
        for subject, probes in sorted(self.found.series.items()):
            for probe, runs in sorted(probes.items()):
                yield subject, probe, runs


def chart_steps(parts: Iterable[LoadPart], at: int) -> list[ChartStep]:
    each = {part.load_id: part for part in parts}
    return [step for part in each.values() if (step := _step(part, at)) is not None]


def _step(part: LoadPart, at: int) -> ChartStep | None:
    found = own_series(part.load)
    runs = [run for probes in found.series.values() for each in probes.values() for run in each]
    if not runs:
        return None
    plan = plan_value(part.lot.plan_version)
    limits = [limit for _, limit in plan.held_at(part.step)]
    every = [
        leaf.rule.within_ms
        for limit in limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Every)
    ]
    bounds = {
        (one.bound.f, one.css): one for limit in limits for one in _drawn(limit, found.series)
    }
    start = min(found.span.start, min(run.at[0] for run in runs))
    end = found.span.end or max(at, max(run.at[-1] for run in runs))
    gap = min(every, default=GAP_MS)
    return ChartStep(part, plan, found, start, max(end, start + 60_000), list(bounds.values()), gap)


def _drawn(limit: Limit, read: Container[str]) -> Iterator[DrawnBound]:
    """The figures of a limit that can be drawn as lines, of what was read at all."""
    for leaf in limit.leaves():
        if leaf.of not in read:
            continue
        for rule, css in ((leaf.rule, "limit"), (leaf.operating, "operating")):
            match rule:
                case Within(low, high) | Maintained(low, high, _, _):
                    for bound, sign in ((low, "≥"), (high, "≤")):
                        if bound is not None:
                            yield DrawnBound(bound, css, sign, limit.id)
                case Cooling(_, stages):
                    for stage in stages:
                        yield DrawnBound(stage.to, css, "to", limit.id)


def gaps(step: ChartStep) -> Iterator[tuple[int, int]]:
    """From when to when nothing was read in the step, longer than the plan lets pass."""
    read = [stretch for _, _, runs in step.runs() for run in runs for stretch in _read(run, step)]
    last = step.start
    for first, until in [*sorted(read), (step.end, step.end)]:
        if first - last > step.longest_gap:
            yield last, first
        last = max(last, until)


def _read(run: Chunk, step: ChartStep) -> Iterator[tuple[int, int]]:
    """The stretches of a run in which readings followed each other closely enough."""
    first = run.at[0]
    for one, other in pairwise(run.at):
        if other - one > step.longest_gap:
            yield first, one
            first = other
    yield first, run.at[-1]


def label_of(step: ChartStep, subject: str, probe: str) -> str:
    if subject == "fish":
        return probe or "fish"
    room = step.part.load.place.within if subject == "room" else None
    name = room.name if room is not None else step.part.load.place.name
    return f"{name}, {probe}" if probe else name
