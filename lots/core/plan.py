"""What a plan version demands: its product, species, hazards, steps and critical control points.

A plan is data, pinned by each lot.  `plan_from` reads it; `faults` lists what bars its publishing.
"""

from dataclasses import dataclass, field, replace
from typing import Final

from lots.core.limits import (
    Exposure,
    Limit,
    cure_rows,
    knowing_cures,
    limit_from,
    waiting_for_files,
)
from lots.core.plan_content import (
    FLAGS,
    HAZARDS,
    ORIGINS,
    PACKS,
    PLACE_KINDS,
    PUBLISHED,
    REDUCED_OXYGEN,
    SMOKES,
    STEP_KINDS,
    STORAGES,
    TO_CONFIRM,
    Content,
    Fault,
    rows,
    said,
)
from lots.core.plan_faults import faults, publishable
from lots.core.reuse import Brining, brining_from
from lots.core.rules import Rules
from lots.core.use_by import KeepsFor, listed, read_keeps_for

__all__ = [
    "FLAGS",
    "HAZARDS",
    "ORIGINS",
    "PACKS",
    "PLACE_KINDS",
    "PUBLISHED",
    "REDUCED_OXYGEN",
    "SMOKES",
    "STEP_KINDS",
    "STORAGES",
    "TO_CONFIRM",
    "BadPlan",
    "Content",
    "ControlPoint",
    "Fault",
    "Hazard",
    "Monitoring",
    "Plan",
    "PlanStep",
    "Prerequisite",
    "Product",
    "Species",
    "faults",
    "plan_from",
    "publishable",
]

_YES: Final = "yes"


class BadPlan(ValueError):
    """A plan's content that cannot be read; `faults` holds why."""

    def __init__(self, found: list[Fault]) -> None:
        self.faults = found
        super().__init__("; ".join(f"{fault.path}: {fault.text}" for fault in found))


@dataclass(frozen=True, slots=True)
class Product:
    """What is made, for whom, how it is packed and kept."""

    name: str
    smoke: str
    intended_use: str
    consumer: str
    shelf_life: str
    pack: str
    pack_words: str
    distribution: str
    storage: str
    process_study: str
    statement: str
    statement_why: str  # why what the jurisdiction asks need not stand on the pack
    jurisdiction: str
    ingredients: str
    use_by: str
    use_by_from: str
    use_by_thawed: str

    @property
    def keeps_for(self) -> KeepsFor | None:
        """How long a pack may be used from smoking or packing; None where the plan does not say."""
        return read_keeps_for(self.use_by)

    @property
    def thawed_keeps_for(self) -> KeepsFor | None:
        """How long a pack may be used once thawed; None where the plan does not say."""
        return read_keeps_for(self.use_by_thawed)

    @property
    def ingredients_listed(self) -> tuple[str, ...]:
        """The ingredients that the plan names beside the fish."""
        return listed(self.ingredients)

    @property
    def reduced_oxygen(self) -> bool:
        """Whether the pack keeps air out: vacuum, modified atmosphere, a film that does not breathe."""
        return self.pack in REDUCED_OXYGEN


@dataclass(frozen=True, slots=True)
class Species:
    """A species by its FAO code, where it comes from, and whether it forms scombrotoxin."""

    code: str
    name: str
    scientific_name: str
    origin: str
    scombrotoxin: bool


@dataclass(frozen=True, slots=True)
class PlanStep:
    """A process step; `required` before a lot may be released, `logger` where a file may follow."""

    id: str
    name: str
    kind: str
    place_kind: str
    required: bool
    logger: bool


@dataclass(frozen=True, slots=True)
class Prerequisite:
    """A programme that stands beside the plan, such as sanitation or supplier approval."""

    id: str
    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Hazard:
    """A row of the hazard analysis."""

    id: str
    name: str
    hazard: str
    significant: bool
    why: str
    prerequisites: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Monitoring:
    """What is monitored, how, how often, by whom."""

    what: str
    how: str
    frequency: str
    who: str


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """A critical control point: hazards, limits, monitoring, corrective action, verification, record."""

    id: str
    name: str
    step: str
    hazards: tuple[str, ...]
    limits: tuple[Limit, ...]
    monitoring: tuple[Monitoring, ...]
    fish_action: str
    cause_action: str
    verification: str
    record: str

    @property
    def corrective_action(self) -> str:
        """What is done with the fish and about the cause (21 CFR 123.7(b))."""
        return f"{self.fish_action} {self.cause_action}".strip()


@dataclass(frozen=True)
class Plan:
    """A plan version, as its content states it."""

    title: str
    product: Product
    species: tuple[Species, ...]
    prerequisites: tuple[Prerequisite, ...]
    hazards: tuple[Hazard, ...]
    steps: tuple[PlanStep, ...]
    control_points: tuple[ControlPoint, ...]
    content: Content = field(repr=False, compare=False)
    brining: Brining | None = None

    def step(self, step_id: str) -> PlanStep:
        """The step of this id.

        Raises:
            KeyError: the plan has no such step.
        """
        for step in self.steps:
            if step.id == step_id:
                return step
        raise KeyError(step_id)

    def step_before(self, step_id: str) -> PlanStep | None:
        """The step that the plan lists before this one; None before the first."""
        at = self.steps.index(self.step(step_id))
        return self.steps[at - 1] if at else None

    def points_at(self, step_id: str) -> tuple[ControlPoint, ...]:
        """The critical control points at a step."""
        return tuple(point for point in self.control_points if point.step == step_id)

    def held_at(self, step_id: str) -> list[tuple[ControlPoint, Limit]]:
        """The limits of a step with the control point that each belongs to; an exposure over several
        steps is judged in each of them."""
        return [
            (point, limit)
            for point in self.control_points
            for limit in point.limits
            if point.step == step_id or step_id in _exposed_in(limit)
        ]

    def control_point_of(self, limit_id: str) -> ControlPoint:
        """The control point that a limit, or the limit it is a part of, stands at.

        Raises:
            KeyError: the plan has no such limit.
        """
        whole = limit_id.partition("/")[0]
        for point in self.control_points:
            if any(limit.id == whole for limit in point.limits):
                return point
        raise KeyError(limit_id)

    def controlled_at(self, hazard_id: str) -> tuple[ControlPoint, ...]:
        """The control points at which a hazard is controlled."""
        return tuple(point for point in self.control_points if hazard_id in point.hazards)

    def origin_of(self, code: str) -> str:
        """Where fish of this species may come from under the plan: "wild", "farmed" or "either".

        Args:
            code: the species' FAO code.
        Raises:
            KeyError: the plan does not cover the species.
        """
        for species in self.species:
            if species.code == code:
                return species.origin if species.origin in ("wild", "farmed") else "either"
        raise KeyError(code)

    @property
    def species_codes(self) -> tuple[str, ...]:
        """The FAO codes of the species that the plan covers."""
        return tuple(species.code for species in self.species)

    @property
    def required_steps(self) -> tuple[PlanStep, ...]:
        """The steps that must be over before a lot may be released."""
        return tuple(step for step in self.steps if step.required)

    @property
    def storage_steps(self) -> tuple[PlanStep, ...]:
        """The steps in which the finished fish is kept, before and after release."""
        return tuple(step for step in self.steps if step.kind == "storage")

    @property
    def statement(self) -> str:
        """What must stand on the pack about keeping it; "" where the plan asks for nothing."""
        return self.product.statement

    def retention_years(self, rules: Rules) -> int:
        """How long the records of a lot under this plan are kept, in years.

        Source: 21 CFR 123.9(b), by the plan's storage.
        """
        return rules.retention_years[self.product.storage]


def _exposed_in(limit: Limit) -> tuple[str, ...]:
    return limit.rule.steps if isinstance(limit.rule, Exposure) else ()


def plan_from(content: Content) -> Plan:
    """The plan that a content states; a field that is missing reads as "".

    Args:
        content: strings, whole numbers, lists and tables, as in a plan file.
    Raises:
        BadPlan: the content has faults that keep it from being read; an incomplete plan is read.
    """
    try:
        return Plan(
            title=said(content, "title"),
            product=_product(content.get("product", {})),
            species=tuple(_species(row) for _, row in rows(content, "species")),
            prerequisites=tuple(_prerequisite(row) for _, row in rows(content, "prerequisites")),
            hazards=tuple(_hazard(row) for _, row in rows(content, "hazards")),
            steps=tuple(_step(row) for _, row in rows(content, "steps")),
            control_points=_knowing(
                tuple(_point(row) for _, row in rows(content, "control_points"))
            ),
            content=content,
            brining=brining_from(content),
        )
    except (ValueError, TypeError, AttributeError) as error:
        # Content of a shape that no page of ours writes: say all that is wrong with it.
        raise BadPlan(faults(content) or [Fault("", str(error))]) from error


def _knowing(points: tuple[ControlPoint, ...]) -> tuple[ControlPoint, ...]:
    """The control points with limits that know in which fish the plan permits nitrite."""
    found = cure_rows(limit for point in points for limit in point.limits)
    return tuple(
        replace(point, limits=tuple(knowing_cures(limit, found) for limit in point.limits))
        for point in points
    )


def _product(data: Content) -> Product:
    return Product(**{name: said(data, name) for name in Product.__dataclass_fields__})


def _species(row: Content) -> Species:
    return Species(
        code=said(row, "code"),
        name=said(row, "name"),
        scientific_name=said(row, "scientific_name"),
        origin=said(row, "origin"),
        scombrotoxin=said(row, "scombrotoxin") == _YES,
    )


def _prerequisite(row: Content) -> Prerequisite:
    return Prerequisite(said(row, "id"), said(row, "name"), said(row, "text"))


def _hazard(row: Content) -> Hazard:
    return Hazard(
        id=said(row, "id"),
        name=said(row, "name"),
        hazard=said(row, "hazard"),
        significant=said(row, "significant") == _YES,
        why=said(row, "why"),
        prerequisites=tuple(row.get("prerequisites", ())),
    )


def _step(row: Content) -> PlanStep:
    return PlanStep(
        id=said(row, "id"),
        name=said(row, "name"),
        kind=said(row, "kind"),
        place_kind=said(row, "place_kind"),
        required=said(row, "required") == _YES,
        logger=said(row, "logger") == _YES,
    )


def _point(row: Content) -> ControlPoint:
    action = row.get("corrective_action", {})
    return ControlPoint(
        id=said(row, "id"),
        name=said(row, "name"),
        step=said(row, "step"),
        hazards=tuple(row.get("hazards", ())),
        limits=waiting_for_files(limit_from(data) for _, data in rows(row, "limits")),
        monitoring=tuple(
            Monitoring(**{name: said(each, name) for name in Monitoring.__dataclass_fields__})
            for _, each in rows(row, "monitoring")
        ),
        fish_action=said(action, "fish"),
        cause_action=said(action, "cause"),
        verification=said(row, "verification"),
        record=said(row, "record"),
    )
