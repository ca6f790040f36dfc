"""What bars a plan from being published: each fault says what to do, and beside which field.

Nothing here raises, whatever the content: a half-written plan is a plan with faults.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Final

from lots.core.limit_faults import limit_faults
from lots.core.plan_content import (
    FLAGS,
    HAZARDS,
    ORIGINS,
    OTHER_HAZARD,
    PACKS,
    PASSED_BY,
    PLACE_KINDS,
    REDUCED_OXYGEN,
    SALTING,
    SMOKES,
    STEP_KINDS,
    STORAGES,
    YES_NO,
    Content,
    Fault,
    ids,
    join,
    misshapen,
    missing,
    not_one_of,
    rows,
    said,
    twice,
    unstorable,
)
from lots.core.reuse import brining_faults
from lots.core.use_by import use_by_faults

_SPECIES: Final = re.compile(r"[A-Z]{3}")  # FAO ASFIS three-letter codes


def faults(content: Content) -> list[Fault]:
    """Everything that bars this plan from being published, in the order of the page.

    Errs against publishing.  Never raises: values that cannot be stored and lists that are not lists
    are reported first and alone.

    Args:
        content: a plan's content, complete or not.
    """
    unfit = [*unstorable(content)] or [*misshapen(content)]
    if unfit:
        return unfit
    return [
        *_product(content),
        *_species(content),
        *_steps(content),
        *brining_faults(content),
        *_prerequisites(content),
        *_hazards(content),
        *_control_points(content),
        *limit_faults(content),
    ]


def publishable(content: Content) -> bool:
    """Whether nothing bars this plan from being published."""
    return not faults(content)


# --- product, species, steps, hazards --------------------------------------------------------------

_PRODUCT: Final = {
    "name": "Name the product.",
    "intended_use": "Say how it is meant to be used, such as ready to eat.",
    "consumer": "Say who is meant to eat it, such as the general public.",
    "shelf_life": "Say how long it keeps, and from when.",
    "shelf_life_source": "Say where the shelf life comes from.",
    "distribution": "Say how it reaches the buyer and how it is kept on the way.",
}
_CHOICES: Final = {
    "smoke": SMOKES,
    "pack": PACKS,
    "storage": STORAGES,
    "shelf_life_flag": FLAGS,
}


def _product(content: Content) -> Iterator[Fault]:
    yield from missing(content, "", {"title": "Give the plan a title."})
    product = content.get("product", {})
    yield from missing(product, "product", _PRODUCT)
    for key, known in _CHOICES.items():
        yield from not_one_of(product, "product", key, known)
    reduced = said(product, "pack") in REDUCED_OXYGEN
    if reduced and said(product, "storage") == "chilled" and not said(product, "process_study"):
        yield Fault(
            "product.process_study",
            "Without a process study attached, a chilled reduced-oxygen pack can be published only "
            "as kept frozen: name the study here, or set storage to frozen.",
        )
    if reduced and not said(product, "statement"):
        yield Fault(
            "product.statement",
            "Write the statement that must stand on the pack, such as “Keep frozen”.",
        )
    yield from use_by_faults(product)


def _species(content: Content) -> Iterator[Fault]:
    species = rows(content, "species")
    if not species:
        yield Fault("species", "Name at least one species, by its FAO code and its name.")
    for path, row in species:
        if not _SPECIES.fullmatch(said(row, "code")):
            yield Fault(
                join(path, "code"), "Give the FAO code: three capital letters, such as TRR."
            )
        yield from missing(row, path, {"name": "Give the species' name."})
        yield from not_one_of(row, path, "origin", ORIGINS)
        yield from not_one_of(row, path, "scombrotoxin", YES_NO)
    yield from twice(species, "code", "species")


def _steps(content: Content) -> Iterator[Fault]:
    steps = rows(content, "steps")
    yield from ids(content, "steps", "steps")
    for path, row in steps:
        yield from missing(row, path, {"name": "Name the step."})
        yield from not_one_of(row, path, "kind", STEP_KINDS)
        yield from not_one_of(row, path, "place_kind", PLACE_KINDS)
        yield from not_one_of(row, path, "required", YES_NO)
        yield from not_one_of(row, path, "logger", YES_NO)
    kinds = [said(row, "kind") for _, row in steps]
    if kinds and kinds[0] != "receiving":
        yield Fault("steps.0.kind", "The first step must be receiving.")
    for wanted in _wanted_kinds(content.get("product", {})):
        if not set(wanted) & set(kinds):
            yield Fault("steps", f"Add a step of the kind {' or '.join(wanted)}.")


def _wanted_kinds(product: Content) -> Iterator[tuple[str, ...]]:
    yield ("receiving",)
    yield SALTING  # smoked fish is salted and smoked: 21 CFR 123.3(s)
    yield ("smoke",)
    if said(product, "smoke") == "hot":
        yield ("cool",)
    yield ("pack",)
    if said(product, "storage") == "frozen":
        yield ("freeze",)
    yield ("storage",)


def _prerequisites(content: Content) -> Iterator[Fault]:
    yield from ids(content, "prerequisites", "prerequisites")
    for path, row in rows(content, "prerequisites"):
        yield from missing(row, path, {"name": "Name the prerequisite programme."})


def _hazards(content: Content) -> Iterator[Fault]:
    hazards = rows(content, "hazards")
    yield from ids(content, "hazards", "hazards")
    for kind in HAZARDS:
        if kind not in {said(row, "hazard") for _, row in hazards}:
            yield Fault("hazards", f"Add a row for {kind}: significant or not, and why.")
    for path, row in hazards:
        yield from not_one_of(row, path, "hazard", (*HAZARDS, OTHER_HAZARD))
        yield from not_one_of(row, path, "significant", YES_NO)
        yield from missing(row, path, {"name": "Name the hazard.", "why": "Say why."})
        yield from _uncontrolled(content, row, path)
    forming = [
        said(r, "name") for _, r in rows(content, "species") if said(r, "scombrotoxin") == "yes"
    ]
    for path, row in hazards:
        if forming and said(row, "hazard") == "scombrotoxin" and said(row, "significant") == "no":
            yield Fault(
                join(path, "significant"),
                f"{forming[0]} forms scombrotoxin: say yes, or take the species out of the plan.",
            )


def _uncontrolled(content: Content, row: Content, path: str) -> Iterator[Fault]:
    known = {said(other, "id") for _, other in rows(content, "prerequisites")}
    named = row.get("prerequisites", [])
    for number, name in enumerate(named):
        if name not in known:
            yield Fault(
                join(join(path, "prerequisites"), number),
                f"There is no prerequisite “{name}”: add it below, or take it out here.",
            )
    points = rows(content, "control_points")
    at_point = any(said(row, "id") in point.get("hazards", []) for _, point in points)
    if said(row, "significant") == "yes" and not named and not at_point:
        yield Fault(
            path,
            "This hazard is significant, but no control point names it and no prerequisite is given: "
            "say where it is controlled.",
        )


# --- control points --------------------------------------------------------------------------------

_MONITORING: Final = {
    "what": "Say what is monitored.",
    "how": "Say how it is monitored.",
    "frequency": "Say how often it is monitored.",
    "who": "Say who monitors it.",
}
_POINT: Final = {
    "name": "Name the control point.",
    "verification": "Say how this control point is verified, and how often.",
    "record": "Name the record that is kept of it.",
}
_ACTION: Final = {
    "fish": "Say what is done with the fish, so that none that may be unsafe is sold.",
    "cause": "Say how the cause is corrected.",
}


def _control_points(content: Content) -> Iterator[Fault]:
    points = rows(content, "control_points")
    yield from ids(content, "control_points", "control points")
    if not points:
        yield Fault("control_points", "Add at least one critical control point.")
    for path, point in points:
        yield from missing(point, path, _POINT)
        yield from missing(
            point.get("corrective_action", {}), join(path, "corrective_action"), _ACTION
        )
        yield from _at_step(content, point, path)
        yield from _of_hazards(content, point, path)
        for key, one in (("limits", "critical limit"), ("monitoring", "row of monitoring")):
            if not rows(point, key):
                yield Fault(join(path, key), f"Add at least one {one}.")
        for below, row in rows(point, "monitoring", path):
            yield from missing(row, below, _MONITORING)


def _at_step(content: Content, point: Content, path: str) -> Iterator[Fault]:
    steps = {said(row, "id"): row for _, row in rows(content, "steps")}
    name = said(point, "step")
    step = steps.get(name) if name else None
    if step is None:
        yield Fault(
            join(path, "step"), f"There is no step “{name}”: choose one of the plan's steps."
        )
    elif said(step, "required") == "no" and not _may_be_passed_by(step, steps.values()):
        yield Fault(
            join(path, "step"),
            f"The step “{name}” has a critical control point: set it as required for release.",
        )


def _may_be_passed_by(step: Content, steps: Iterable[Content]) -> bool:
    """Whether a lot may go without the step: what it never needs, or one of several ways to salt it."""
    salted = any(said(r, "kind") in SALTING and said(r, "required") == "yes" for r in steps)
    return said(step, "kind") in PASSED_BY or (said(step, "kind") in SALTING and salted)


def _of_hazards(content: Content, point: Content, path: str) -> Iterator[Fault]:
    significant = {said(r, "id"): said(r, "significant") for _, r in rows(content, "hazards")}
    named = point.get("hazards", [])
    if not named:
        yield Fault(join(path, "hazards"), "Name the hazard that is controlled here.")
    for number, name in enumerate(named):
        at = join(join(path, "hazards"), number)
        if name not in significant:
            yield Fault(at, f"There is no hazard “{name}”: choose one of the plan's hazards.")
        elif significant[name] == "no":
            yield Fault(at, f"The hazard “{name}” is said not to be significant: say yes there.")
