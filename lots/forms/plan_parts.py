"""The parts of the plan page: which fields each one offers, read from the plan's content."""

from typing import Final

from lots.core.plan import (
    HAZARDS,
    ORIGINS,
    PACKS,
    PLACE_KINDS,
    SMOKES,
    STEP_KINDS,
    STORAGES,
    Content,
)
from lots.core.plan_content import OTHER_HAZARD, join, rows, said
from lots.core.use_by import USE_BY_FROM
from lots.forms.plan_kinds import BY_WHOM, FLAG_CHOICES, kind_choices
from lots.forms.plan_limits import limit_group
from lots.forms.plan_spots import YES_NO, Choices, Group, Offer, Spot
from lots.queries.house import species, statements

POINT: Final = "control_points."
Rows = list[tuple[Spot, ...]]
_PARTS: Final = {
    "product": "Product",
    "species": "Species",
    "steps": "Steps",
    "brining": "Brining",
    "prerequisites": "Prerequisites",
    "hazards": "Hazard analysis",
    "control_points": "Control points",
}


def parts(content: Content) -> list[tuple[str, str]]:
    """The parts of the page and their names: the product and so on, then each control point."""
    points = rows(content, "control_points")
    named = [(path, f"{n}. {said(row, 'name')}") for n, (path, row) in enumerate(points, 1)]
    return [*_PARTS.items(), *named]


def part_at(path: str) -> str:
    """The part of the page on which the field at a path is offered."""
    first, _, rest = path.partition(".")
    if first == "control_points" and rest:
        return f"{POINT}{rest.partition('.')[0]}"
    return first if first in _PARTS else "product"


def anchor(group: Group, path: str) -> str:
    """Where on its part of the page the field at a path, or the nearest thing around it, stands."""
    spots = {spot.path for spot in group.spots()}
    groups = {one.path for one in group.groups()}
    while path and path not in spots and path not in groups:
        path = path.rpartition(".")[0]
    return f"id_{path}" if path in spots else f"at-{path or group.path}"


def part_group(content: Content, part: str) -> Group:
    """Everything that a part of the page offers.

    Raises:
        KeyError: the plan has no such part.
    """
    if part.startswith(POINT):
        return _point(content, part)
    return {
        "product": _product,
        "species": _species,
        "steps": _steps,
        "brining": _brining,
        "prerequisites": _prerequisites,
        "hazards": _hazards,
        "control_points": _points,
    }[part](content)


def words(*choices: str) -> Choices:
    """Choices that are stored as they are shown."""
    return tuple((each, each) for each in choices)


def _product(content: Content) -> Group:
    def at(key: str, label: str, kind: str = "line", **more: object) -> Spot:
        return Spot(join("product", key), label, kind, **more)  # type: ignore[arg-type]

    return Group(
        "product",
        "Product",
        [
            (Spot("title", "Title of the plan"),),
            (at("name", "Product"),),
            (
                at("smoke", "Smoked", "choice", choices=words(*SMOKES)),
                at("pack", "Pack", "choice", choices=words(*PACKS)),
                at("storage", "Kept", "choice", choices=words(*STORAGES)),
            ),
            (at("pack_words", "The pack in words", optional=True),),
            (
                at(
                    "process_study",
                    "Process study",
                    help="Its name, number and date. A chilled vacuum pack needs one; otherwise it "
                    "may stay empty.",
                ),
            ),
            (at("intended_use", "Intended use"), at("consumer", "Consumer", "long")),
            (at("distribution", "Distribution", "long"),),
            (
                at("shelf_life", "Shelf life", "long"),
                at("shelf_life_source", "Where the shelf life comes from", "long"),
                at(
                    "shelf_life_flag",
                    "How firm it is",
                    "choice",
                    choices=FLAG_CHOICES,
                    help=BY_WHOM,
                ),
            ),
            (
                at("statement", "Statement on the pack", "long"),
                at("statement_source", "Where the statement comes from", "long", optional=True),
                at(
                    "statement_flag",
                    "How firm it is",
                    "choice",
                    choices=FLAG_CHOICES,
                    help=BY_WHOM,
                    optional=True,
                ),
            ),
            *_on_the_pack(),
        ],
    )


def _on_the_pack() -> Rows:
    """The use-by date, the ingredients, and whose statement the pack bears."""

    def at(key: str, label: str, kind: str = "line", **more: object) -> Spot:
        return Spot(join("product", key), label, kind, optional=True, **more)  # type: ignore[arg-type]

    places = (("", "not yet said"), *words(*statements().jurisdictions))
    since = (("", "not yet said"), *words(*USE_BY_FROM))

    def of(key: str, what: str) -> tuple[Spot, Spot]:
        return (
            at(f"{key}_source", f"Where {what} comes from", "long"),
            at(f"{key}_flag", "How firm it is", "choice", choices=FLAG_CHOICES, help=BY_WHOM),
        )

    return [
        (
            at(
                "jurisdiction",
                "Statement as asked in",
                "choice",
                choices=places,
                help="Its statement must stand on the pack.",
            ),
            at(
                "statement_why",
                "Why its statement need not stand",
                help="Only where it does not; the trained person confirms it.",
            ),
        ),
        (
            at("use_by", "Use by, after", help="Such as 6 months, or 14 days."),
            at("use_by_from", "Counted from", "choice", choices=since),
        ),
        of("use_by", "this time"),
        (
            at("use_by_thawed", "Use by, once thawed", help="Of frozen packs: such as 5 days."),
            *of("use_by_thawed", "this time"),
        ),
        (
            at(
                "ingredients",
                "Ingredients beside the fish",
                "long",
                help="As on the label, by commas; each additive of the brine by its name.",
            ),
            *of("ingredients", "this list"),
        ),
    ]


def _species(content: Content) -> Group:
    group = Group("species", "Species that this plan covers")
    group.about = "A lot of any other species is refused when it is opened."
    for path, row in rows(content, "species"):
        spots = (
            Spot(join(path, "name"), "Name"),
            Spot(join(path, "origin"), "Wild or farmed", "choice", words(*ORIGINS)),
            Spot(join(path, "scombrotoxin"), "Forms scombrotoxin", "choice", YES_NO),
        )
        heading = f"{said(row, 'code')} · {said(row, 'scientific_name')}"
        group.inner.append(Group(path, heading, [spots], remove="Remove this species"))
    have = {said(row, "code") for _, row in rows(content, "species")}
    known = sorted(species(), key=lambda row: str(row["english_name"]))
    choices = tuple(
        (str(row["code"]), f"{row['english_name']} ({row['code']}, {row['scientific_name']})")
        for row in known
        if row["code"] not in have
    )
    group.add = Offer("species", "Add a species", "Add the species", choices)
    return group


def _steps(content: Content) -> Group:
    group = Group("steps", "Steps, in the order that the fish goes")
    for number, (path, row) in enumerate(rows(content, "steps"), 1):
        spots = (
            Spot(join(path, "name"), "Name"),
            Spot(join(path, "kind"), "Kind", "choice", words(*STEP_KINDS)),
            Spot(join(path, "place_kind"), "Place", "choice", words(*PLACE_KINDS)),
            Spot(join(path, "required"), "Needed before release", "choice", YES_NO),
            Spot(join(path, "logger"), "Recorded by a data logger", "choice", YES_NO),
        )
        inner = Group(path, f"{number}. {said(row, 'name')}", [spots], remove="Remove this step")
        inner.earlier = number > 1
        group.inner.append(inner)
    group.add = Offer("steps", "Add a step of the kind", "Add the step", words(*STEP_KINDS))
    return group


def _brining(content: Content) -> Group:
    group = Group("brining", "Using a batch of brine again")
    group.about = (
        "A load is refused in a batch that has been used as often or as long as this. What stays empty "
        "is not limited."
    )
    group.rows = [
        (
            Spot("brining.most_loads", "Most loads in one batch", help="Such as 3.", optional=True),
            Spot(
                "brining.most_age",
                "How long after its first load it may take another",
                help="Such as 4 h.",
                optional=True,
            ),
            Spot(
                "brining.filtering_lifts",
                "Longer if it is filtered first",
                "choice",
                (("", "not said"), *YES_NO),
                optional=True,
            ),
        ),
        (
            Spot("brining.source", "Where these figures come from", "long", optional=True),
            Spot("brining.flag", "How firm they are", "choice", FLAG_CHOICES, BY_WHOM, True),
        ),
        (
            Spot(
                "brining.apart",
                "Species that share a batch with no other",
                "ticks",
                tuple(
                    (said(row, "code"), said(row, "name")) for _, row in rows(content, "species")
                ),
                optional=True,
            ),
        ),
    ]
    return group


def _prerequisites(content: Content) -> Group:
    group = Group("prerequisites", "Prerequisite programmes")
    group.about = "They stand beside the plan; the hazard analysis may point at them."
    for path, row in rows(content, "prerequisites"):
        spots = (
            Spot(join(path, "name"), "Name"),
            Spot(join(path, "text"), "What it says", "long", optional=True),
        )
        inner = Group(path, said(row, "name") or "A programme", [spots])
        inner.remove = "Remove this programme"
        group.inner.append(inner)
    group.add = Offer("prerequisites", "", "Add a programme")
    return group


def _hazards(content: Content) -> Group:
    group = Group("hazards", "Hazard analysis")
    programmes = _named(content, "prerequisites")
    points = rows(content, "control_points")
    for path, row in rows(content, "hazards"):
        here = [said(p, "name") for _, p in points if said(row, "id") in p.get("hazards", [])]
        inner = Group(path, said(row, "name") or "A hazard")
        inner.about = f"Controlled at: {'; '.join(here) or 'no critical control point'}."
        inner.rows = [
            (
                Spot(join(path, "name"), "Name"),
                Spot(join(path, "significant"), "Significant", "choice", YES_NO),
            ),
            (Spot(join(path, "why"), "Why, or why not", "long"),),
            (
                Spot(
                    join(path, "prerequisites"), "Controlled by the programmes", "ticks", programmes
                ),
            ),
        ]
        inner.remove = "Remove this hazard"
        group.inner.append(inner)
    group.add = Offer("hazards", "Add a hazard", "Add the hazard", words(*HAZARDS, OTHER_HAZARD))
    return group


def _points(content: Content) -> Group:
    group = Group("control_points", "Critical control points")
    for number, (path, row) in enumerate(rows(content, "control_points"), 1):
        inner = Group(path, f"{number}. {said(row, 'name') or 'A control point'}")
        inner.remove = "Remove this control point"
        inner.earlier = number > 1
        group.inner.append(inner)
    group.add = Offer(
        "control_points", "Add a control point at the step", "Add it", _named(content, "steps")
    )
    return group


def _named(content: Content, key: str) -> Choices:
    """The rows of a list as choices, by their ids."""
    return tuple((said(row, "id"), said(row, "name")) for _, row in rows(content, key))


def _point(content: Content, path: str) -> Group:
    found = dict(rows(content, "control_points"))
    row = found[path]
    group = Group(path, said(row, "name") or "A control point")
    group.rows = [
        (
            Spot(join(path, "name"), "Name"),
            Spot(join(path, "step"), "At the step", "choice", _named(content, "steps")),
        ),
        (
            Spot(
                join(path, "hazards"),
                "Hazards controlled here",
                "ticks",
                _named(content, "hazards"),
            ),
        ),
    ]
    group.inner = [_limits(content, row, path), _monitoring(row, path), _after(path)]
    return group


def _limits(content: Content, row: Content, path: str) -> Group:
    at = join(path, "limits")
    group = Group(at, "Critical limits")
    fish = tuple((said(one, "code"), said(one, "name")) for _, one in rows(content, "species"))
    for below, data in rows(row, "limits", path):
        inner = limit_group(data, below, _named(content, "steps"), fish=fish)
        inner.remove = "Remove this limit"
        group.inner.append(inner)
    group.add = Offer(at, "Add a limit of the kind", "Add the limit", kind_choices(0))
    return group


def _monitoring(row: Content, path: str) -> Group:
    at = join(path, "monitoring")
    group = Group(at, "Monitoring")
    for number, (below, _) in enumerate(rows(row, "monitoring", path), 1):
        what = (
            Spot(join(below, "what"), "What", "long"),
            Spot(join(below, "how"), "How", "long"),
        )
        when = (
            Spot(join(below, "frequency"), "How often", "long"),
            Spot(join(below, "who"), "Who", "long"),
        )
        inner = Group(below, f"Row {number}", [what, when], remove="Remove this row")
        group.inner.append(inner)
    group.add = Offer(at, "", "Add a row of monitoring")
    return group


def _after(path: str) -> Group:
    group = Group(join(path, "corrective_action"), "Corrective action, verification and record")
    group.rows = [
        (
            Spot(join(path, "corrective_action.fish"), "What is done with the fish", "long"),
            Spot(join(path, "corrective_action.cause"), "How the cause is corrected", "long"),
        ),
        (
            Spot(join(path, "verification"), "Verification, and how often", "long"),
            Spot(join(path, "record"), "Record that is kept", "long"),
        ),
    ]
    return group
