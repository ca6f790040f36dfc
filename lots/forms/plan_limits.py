"""The fields of a limit on the plan page, by its kind."""

from collections.abc import Mapping
from typing import Final

from lots.core.limits import SUBJECTS, BadLimit, demand, limit_from, operating_demand
from lots.core.named import named
from lots.core.plan import Content
from lots.core.plan_content import join, rows, said
from lots.core.units import QUANTITIES
from lots.forms.plan_kinds import (
    ABOUT,
    BY_WHOM,
    CAUTION,
    FIGURES,
    FLAG_CHOICES,
    GAP_APART,
    KINDS_SAID,
    LEAVES,
    MAY_BE_EMPTY,
    NO_OPERATING,
    NOT_OPERATING,
    OF_LOT,
    OPTIONAL_KINDS,
    READ_IN_PROBES,
    SPAN,
    TEMPERATURE,
    WINDOWS,
    kind_choices,
)
from lots.forms.plan_spots import YES_NO, Choices, Group, Offer, Spot
from lots.queries.house import species
from lots.queries.plans import starting_limits

# kinds whose figures are temperatures, so that a thermometer's accuracy makes them stricter
IN_DEGREES: Final = READ_IN_PROBES


def limit_group(
    data: Content,
    path: str,
    steps: Choices = (),
    of: str = "",
    depth: int = 0,
    name: str = "",
    condition: bool = False,
    fish: Choices = (),
) -> Group:
    """The fields of a limit, those of the limits inside it, and what it demands in words.

    Args:
        steps: the plan's steps in order, by id and name.
        of: what the limit around this one is held against; "" for one that stands by itself.
        depth: how many limits it is inside.
        name: what it is to the limit around it, such as "Where".
        condition: it is the condition of another, and so has no operating limit.
        fish: the plan's species, by code and name.
    """
    kind = said(data, "kind")
    group = Group(path, f"{name}{KINDS_SAID.get(kind, kind or 'a limit')}".capitalize())
    group.demands, group.operating, group.unread = _said_back(data, of, dict(steps))
    group.about, group.caution = ABOUT.get(kind, ""), CAUTION.get(kind, "")
    group.fill = _offered(path, kind)
    what = _what(data, path, kind, steps)
    rows = (what, _over(path, kind, steps), *_held(data, path, kind, of))
    group.rows = [row for row in rows if row]
    group.inner = [
        *_stages(data, path, kind),
        *_permitted(data, path, kind, fish),
        *_parts(data, path, kind, steps, said(data, "of") or of or "place", depth, condition, fish),
    ]
    if kind in LEAVES and kind not in NO_OPERATING and not condition:
        group.inner.append(_operating(data, join(path, "operating"), kind))
    group.rows += _sources(data, path, kind)
    group.change = Offer(path, "Make it another kind", "Change the kind", kind_choices(depth))
    group.add = _adding(path, kind, depth)
    return group


def _said_back(data: Content, of: str, names: Mapping[str, str]) -> tuple[str, str, str]:
    try:
        limit = named(limit_from(data, of or "place"), names)
    except BadLimit as error:
        return "", "", str(error).partition(": ")[2] or str(error)
    except ValueError:
        return "", "", "a figure cannot be read"
    return demand(limit), operating_demand(limit), ""


def _figures(data: Content, path: str, kind: str, operating: bool = False) -> tuple[Spot, ...]:
    found = FIGURES.get(kind, ())
    optional = operating or kind in OPTIONAL_KINDS
    return tuple(
        Spot(join(path, key), label, help=text, optional=optional or key in MAY_BE_EMPTY)
        for key, label, text in found
        if not (operating and key in NOT_OPERATING)
    )


def _what(data: Content, path: str, kind: str, steps: Choices) -> tuple[Spot, ...]:
    if kind == "observed":
        return (Spot(join(path, "what"), "What is looked for and must be so", "long"),)
    if kind == "measured":
        return (
            Spot(join(path, "quantity"), "Quantity", "choice", tuple((q, q) for q in QUANTITIES)),
            *_figures(data, path, kind),
            Spot(
                join(path, "laboratory"), "By a laboratory", "choice", (("", "no"), YES_NO[0]),
                optional=True,
            ),
            Spot(
                join(path, "when_sampled"), "Asked of", "choice",
                (("", "each lot"), ("yes", "sampled lots")), optional=True,
            ),
        )  # fmt: skip
    if kind == "followed":
        by = Spot(join(path, "by"), "All of it in the step", "choice", steps)
        return (by, *_figures(data, path, kind))
    if kind not in KINDS_SAID:
        texts = (key for key in data if key not in ("id", "source", "flag", "of"))
        return tuple(Spot(join(path, key), key) for key in texts if isinstance(data[key], str))
    return _figures(data, path, kind)


def _over(path: str, kind: str, steps: Choices) -> tuple[Spot, ...]:
    """The steps that an exposure runs over, to be ticked."""
    if kind != "exposure":
        return ()
    text = "Its own step and those next to it, or none for its own step alone. The time between counts too."
    return (Spot(join(path, "steps"), "Over the steps", "ticks", steps, text, True),)


def _offered(path: str, kind: str) -> Offer | None:
    """Figures that a source prints for this kind, to be filled in."""
    choices = tuple(
        (str(number), str(row["offer"]))
        for number, row in enumerate(starting_limits())
        if row["kind"] == kind
    )
    if not choices:
        return None
    return Offer(path, "Fill in figures with their source", "Fill them in", choices)


def _held(data: Content, path: str, kind: str, of: str) -> list[tuple[Spot, ...]]:
    if kind in OF_LOT and "of" not in data:
        return []
    if kind in OF_LOT:
        whose = tuple(SUBJECTS.items())
        return [(Spot(join(path, "of"), "Said of", "choice", whose, optional=True),)]
    around = (("", f"as above: {SUBJECTS.get(of, of)}"),) if of else (("", "the place"),)
    subjects = (*around, *((key, words) for key, words in SUBJECTS.items() if of or key != "place"))
    if not of and "of" in data:
        subjects = tuple(SUBJECTS.items())
    row = [Spot(join(path, "of"), "Measured on", "choice", subjects, optional=True)]
    if kind in ("at most", "at least", "between") or "window" in data:
        row.append(Spot(join(path, "window"), "Which readings", "window", WINDOWS, optional=True))
    if kind in READ_IN_PROBES or "probes" in data:
        text = "How many at least. Empty is one."
        row.append(Spot(join(path, "probes"), "Probes", help=text, optional=True))
    return [tuple(row)]


def _sources(data: Content, path: str, kind: str) -> list[tuple[Spot, ...]]:
    if kind in ("all of", "any of", "given") and not {"source", "flag"} & set(data):
        return []
    names = ["", "longest_gap_"] if kind in GAP_APART else [""]
    return [
        (
            Spot(
                join(path, f"{name}source"),
                "Where the gap's figure comes from" if name else "Where it comes from",
                "long",
                optional=True,
            ),
            Spot(
                join(path, f"{name}flag"), "How firm it is", "choice", FLAG_CHOICES, BY_WHOM, True
            ),
        )
        for name in names
    ]


def _permitted(data: Content, path: str, kind: str, fish: Choices) -> list[Group]:
    """The rows of the fish in which nitrite is permitted."""
    if kind != "cure":
        return []
    return [
        _fish_row(below, said(row, "words") or f"Row {number}", (*fish, *_others(row, fish)))
        for number, (below, row) in enumerate(rows(data, "permitted", path), 1)
    ]


def _others(row: Content, fish: Choices) -> Choices:
    """The row's species that are not the plan's, so that saving loses none of them."""
    have, names = dict(fish), {one["code"]: one["english_name"] for one in species()}
    others = [str(code) for code in row.get("species", ()) if code not in have]
    return tuple((code, f"{names.get(code, code)} (not in the plan)") for code in others)


def _fish_row(path: str, heading: str, fish: Choices) -> Group:
    group = Group(path, heading[:1].upper() + heading[1:], remove="Remove this row")
    ppm = "In the finished fish, such as 200 ppm."
    group.rows = [
        (Spot(join(path, "words"), "The fish in the rule's words", optional=True),),
        (Spot(join(path, "species"), "Of the plan's species", "ticks", fish),),
        (
            Spot(join(path, "at_least"), "At least", help="Where the rule has one.", optional=True),
            Spot(join(path, "at_most"), "At most", help=ppm),
        ),
        (Spot(join(path, "rule"), "Number of the rule", help="Such as 21 CFR 172.175(a)(2)."),),
        (
            Spot(join(path, "heat"), "Its own heat, in words", "long", optional=True),
            Spot(join(path, "cooling"), "Its own cooling, in words", "long", optional=True),
        ),
    ]
    return group


def _stages(data: Content, path: str, kind: str) -> list[Group]:
    if kind != "cooling":
        return []
    found = rows(data, "stages", path)
    return [_stage(below, number, len(found)) for number, (below, _) in enumerate(found, 1)]


def _stage(path: str, number: int, count: int) -> Group:
    group = Group(path, f"Stage {number}", [(*_stage_spots(path, False), _counted(path))])
    group.remove = "Remove this stage" if count > 1 else ""
    return group


def _stage_spots(path: str, optional: bool) -> tuple[Spot, ...]:
    return (
        Spot(join(path, "to"), "Down to", help=TEMPERATURE, optional=optional),
        Spot(join(path, "within"), "Within", help=SPAN, optional=optional),
    )


def _counted(path: str) -> Spot:
    choices = tuple((words, words) for words in ("the start", "the stage before"))
    return Spot(join(path, "counted_from"), "Counted from", "choice", choices)


def _parts(
    data: Content,
    path: str,
    kind: str,
    steps: Choices,
    of: str,
    depth: int,
    condition: bool,
    fish: Choices,
) -> list[Group]:
    if kind == "given":
        return [
            limit_group(
                data[key],
                join(path, key),
                steps,
                of,
                depth + 1,
                name,
                condition or key == "if",
                fish,
            )
            for key, name in (("if", "Where: "), ("then", "There must be: "))
            if isinstance(data.get(key), Mapping)
        ]
    if kind not in ("all of", "any of"):
        return []
    groups = []
    for number, (below, part) in enumerate(rows(data, "limits", path)):
        word = "" if not number else "and: " if kind == "all of" else "or: "
        group = limit_group(part, below, steps, of, depth + 1, word, condition, fish)
        group.remove = "Remove this limit"
        groups.append(group)
    return groups


def _operating(data: Content, path: str, kind: str) -> Group:
    group = Group(path, "Operating limit", folded="Add an operating limit")
    group.about = (
        "Stricter than the critical limit: beyond it the process is adjusted in time. "
        "Leave all of it empty where there is none."
    )
    group.propose = kind in IN_DEGREES
    if not group.propose:
        group.about += " None is proposed here: how far off a thermometer may be has no part in it."
    spots = _figures(data, path, kind, operating=True)
    group.rows = [spots] if spots else []
    for number in range(len(rows(data, "stages")) if kind == "cooling" else 0):
        group.rows.append(_stage_spots(f"{path}.stages.{number}", True))
    group.rows += _sources({}, path, "")
    return group


def _adding(path: str, kind: str, depth: int) -> Offer | None:
    if kind == "cooling":
        return Offer(join(path, "stages"), "", "Add a stage")
    if kind == "cure":
        return Offer(join(path, "permitted"), "", "Add a fish in which it is permitted")
    if kind in ("all of", "any of"):
        choices = kind_choices(depth + 1)
        return Offer(join(path, "limits"), "Add to these a limit of the kind", "Add it", choices)
    return None
