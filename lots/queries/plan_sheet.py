"""A whole plan as the forms that an inspector expects: hazard analysis, steps, control points."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from lots.core.limits import Lethality, NotJudged, demand, limit_from, operating_demand
from lots.core.named import named
from lots.core.plan import TO_CONFIRM, Content, ControlPoint, Plan, PlanStep
from lots.core.plan_content import NOT_BOTULINUM, said

CONFIRM: Final = "to be confirmed by the trained person"


@dataclass(frozen=True, slots=True)
class FigureLine:
    """One critical or operating limit in words, with where it comes from."""

    which: str
    words: str
    source: str
    flag: str


@dataclass(frozen=True, slots=True)
class LimitSheet:
    """A limit as one sentence, with a line for each figure that it is made of."""

    sentence: str
    figures: tuple[FigureLine, ...]
    combined: bool
    not_judged: bool
    caution: str  # what the limit does not control, though it may look so; "" mostly


@dataclass(frozen=True, slots=True)
class PointSheet:
    """A critical control point as a section of the plan's form."""

    number: int
    point: ControlPoint
    step: str
    hazards: tuple[str, ...]
    limits: tuple[LimitSheet, ...]


@dataclass(frozen=True, slots=True)
class HazardLine:
    """A row of the hazard analysis, with where the hazard is controlled."""

    name: str
    kind: str
    significant: bool
    why: str
    points: tuple[str, ...]
    prerequisites: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlanSheet:
    """A whole plan, ready to be shown or printed."""

    plan: Plan
    product: Content
    hazards: tuple[HazardLine, ...]
    steps: tuple[tuple[int, PlanStep, tuple[str, ...]], ...]
    points: tuple[PointSheet, ...]

    @property
    def not_judged(self) -> list[str]:
        """The limits that are kept and printed but not judged."""
        return [one.sentence for sheet in self.points for one in sheet.limits if one.not_judged]

    @property
    def to_confirm(self) -> int:
        """How many figures the trained person has yet to confirm."""
        lines = [line for sheet in self.points for one in sheet.limits for line in one.figures]
        return sum(line.flag == CONFIRM for line in lines)


def flag_words(flag: str) -> str:
    """How firm a figure is, in words."""
    return CONFIRM if flag == TO_CONFIRM else flag


def plan_sheet(plan: Plan) -> PlanSheet:
    """The plan as forms: product, hazard analysis, steps, a section for each control point."""
    numbers = {point.id: f"CCP {n}" for n, point in enumerate(plan.control_points, 1)}
    return PlanSheet(
        plan=plan,
        product={
            key: flag_words(value) if key.endswith("_flag") else value
            for key, value in plan.content.get("product", {}).items()
        },
        hazards=tuple(_hazard_lines(plan, numbers)),
        steps=tuple(
            (n, step, tuple(numbers[point.id] for point in plan.points_at(step.id)))
            for n, step in enumerate(plan.steps, 1)
        ),
        points=tuple(_point_sheets(plan)),
    )


def _hazard_lines(plan: Plan, numbers: dict[str, str]) -> Iterator[HazardLine]:
    programmes = {one.id: one.name for one in plan.prerequisites}
    for hazard in plan.hazards:
        yield HazardLine(
            name=hazard.name,
            kind=hazard.hazard,
            significant=hazard.significant,
            why=hazard.why,
            points=tuple(
                f"{numbers[point.id]} {point.name}" for point in plan.controlled_at(hazard.id)
            ),
            prerequisites=tuple(programmes.get(name, name) for name in hazard.prerequisites),
        )


def _point_sheets(plan: Plan) -> Iterator[PointSheet]:
    names = {hazard.id: hazard.name for hazard in plan.hazards}
    steps = {step.id: step.name for step in plan.steps}
    for number, (point, data) in enumerate(
        zip(plan.control_points, plan.content.get("control_points", ()), strict=True), 1
    ):
        yield PointSheet(
            number=number,
            point=point,
            step=plan.step(point.step).name,
            hazards=tuple(names.get(name, name) for name in point.hazards),
            limits=tuple(_limit_sheet(each, steps) for each in data.get("limits", ())),
        )


def _limit_sheet(data: Content, steps: Mapping[str, str]) -> LimitSheet:
    limit = named(limit_from(data), steps)
    inner = list(limit.leaves())
    return LimitSheet(
        sentence=demand(limit),
        figures=tuple(_figure_lines(data, limit.of, {}, steps)),
        combined=len(inner) > 1,
        not_judged=any(isinstance(leaf.rule, NotJudged) for leaf in inner),
        caution=NOT_BOTULINUM if any(isinstance(leaf.rule, Lethality) for leaf in inner) else "",
    )


def _figure_lines(
    data: Content, of: str, above: Content, steps: Mapping[str, str], which: str = "critical"
) -> Iterator[FigureLine]:
    """A line for each figure: critical, operating, and those with a source of their own."""
    own = {key: said(data, key) or said(above, key) for key in ("source", "flag")}
    parts = [(part, which) for part in data.get("limits", ())]
    parts += [(data["if"], "condition"), (data["then"], which)] if "if" in data else []
    for part, name in parts:
        yield from _figure_lines(part, said(part, "of") or of, own, steps, name)
    if not parts:
        limit = named(limit_from(data, of), steps)
        yield FigureLine(which, demand(limit), own["source"], flag_words(own["flag"]))
        yield from _own_sources(data, which)
        if limit.operating:
            yield _line("operating", operating_demand(limit), data["operating"])


def _own_sources(data: Content, which: str) -> Iterator[FigureLine]:
    """Figures whose source is given apart from the limit's, such as the longest gap."""
    for key in data:
        if key.endswith("_source"):
            name = key.removesuffix("_source")
            flag = flag_words(said(data, f"{name}_flag"))
            words = f"{name.replace('_', ' ')} {said(data, name)}"
            yield FigureLine(which, words, said(data, key), flag)


def _line(which: str, words: str, data: Content) -> FigureLine:
    return FigureLine(which, words, said(data, "source"), flag_words(said(data, "flag")))
