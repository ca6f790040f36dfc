"""The fields of a limit on the plan page, by its kind, and what a new limit of a kind starts as."""

from collections.abc import Mapping
from typing import Any, Final

from lots.core.limits import SUBJECTS, BadLimit, demand, limit_from, operating_demand
from lots.core.plan import FLAGS, Content
from lots.core.plan_content import join, rows, said
from lots.core.units import QUANTITIES
from lots.forms.plan_spots import YES_NO, Choices, Group, Offer, Spot

KINDS_SAID: Final = {
    "at most": "a temperature at most",
    "at least": "a temperature at least",
    "between": "a temperature between two",
    "maintained": "a temperature kept for a time without a break",
    "cooling": "cooling in stages",
    "duration": "how long the step lasts",
    "every": "how often it is read",
    "measured": "a quantity measured",
    "observed": "something looked at: so or not so",
    "all of": "all of several limits",
    "any of": "any one of several limits",
    "given": "a limit that applies only under a condition",
}
LEAVES: Final = tuple(kind for kind in KINDS_SAID if kind not in ("all of", "any of", "given"))
DEEPEST: Final = 3  # combinations inside combinations that the page offers to build
FLAG_CHOICES: Final[Choices] = (
    ("", "not yet said"),
    *((flag, flag) for flag in FLAGS),
)
BY_WHOM: Final = "What is to be confirmed, the trained person confirms."
_TEMPERATURE: Final = "Such as 40 °F (4.4 °C), or 4.4 °C."
_SPAN: Final = "Such as 30 min, or 2 h 30 min."
_WINDOWS: Final[Choices] = (
    ("", "every reading of the step"),
    ("first reading", "the first reading"),
    ("last reading", "the last reading"),
    ("after", "from some time after the start on"),
)
_AT_MOST: Final = ("at_most", "At most", _TEMPERATURE)
_AT_LEAST: Final = ("at_least", "At least", _TEMPERATURE)
_FIGURES: Final = {
    "at most": (_AT_MOST,),
    "at least": (_AT_LEAST,),
    "between": (_AT_LEAST, _AT_MOST),
    "maintained": (
        ("at_least", "At least", "For heat. Leave empty for freezing."),
        ("at_most", "At most", "For freezing. Leave empty for heat."),
        ("for", "For", _SPAN),
        ("longest_gap", "Readings at most so far apart", "A longer gap counts for nothing."),
    ),
    "cooling": (("from", "From", "A temperature, or: end of the step before"),),
    "duration": (
        ("at_least", "At least", _SPAN),
        ("longer_than", "Longer than", "Where exactly so long is not enough."),
        ("at_most", "At most", _SPAN),
    ),
    "every": (
        ("within", "At least every", _SPAN),
        ("file_within", "Logger's file within", "After the step's end; empty without a logger."),
    ),
    "measured": (
        ("at_least", "At least", "With its unit, such as 3.5 %."),
        ("at_most", "At most", "With its unit, such as 1.5 in."),
    ),
}
_MAY_BE_EMPTY: Final = ("maintained", "duration", "measured")
_READ_IN_PROBES: Final = ("at most", "at least", "between", "maintained", "cooling")


def kind_choices(depth: int) -> Choices:
    """The kinds that may be chosen for a limit so deep inside others."""
    return tuple((k, v) for k, v in KINDS_SAID.items() if depth < DEEPEST or k in LEAVES)


def limit_group(
    data: Content, path: str, of: str = "", depth: int = 0, name: str = "", condition: bool = False
) -> Group:
    """The fields of a limit, those of the limits inside it, and what it demands in words.

    Args:
        of: what the limit around this one is held against; "" for one that stands by itself.
        depth: how many limits it is inside.
        name: what it is to the limit around it, such as "Where".
        condition: it is the condition of another, and so has no operating limit.
    """
    kind = said(data, "kind")
    group = Group(path, f"{name}{KINDS_SAID.get(kind, kind or 'a limit')}".capitalize())
    group.demands, group.operating, group.unread = _said_back(data, of)
    group.rows = [row for row in (_what(data, path, kind), *_held(data, path, kind, of)) if row]
    group.inner = [
        *_stages(data, path, kind),
        *_parts(data, path, kind, said(data, "of") or of or "place", depth, condition),
    ]
    if kind in LEAVES and kind != "observed" and not condition:
        group.inner.append(_operating(data, join(path, "operating"), kind))
    group.rows += _sources(data, path, kind)
    group.change = Offer(path, "Make it another kind", "Change the kind", kind_choices(depth))
    group.add = _adding(path, kind, depth)
    return group


def _said_back(data: Content, of: str) -> tuple[str, str, str]:
    try:
        limit = limit_from(data, of or "place")
    except BadLimit as error:
        return "", "", str(error).partition(": ")[2] or str(error)
    except ValueError:
        return "", "", "a figure cannot be read"
    return demand(limit), operating_demand(limit), ""


def _figures(data: Content, path: str, kind: str, operating: bool = False) -> tuple[Spot, ...]:
    found = _FIGURES.get(kind, ())
    optional = operating or kind in _MAY_BE_EMPTY
    return tuple(
        Spot(join(path, key), label, help=text, optional=optional or key == "file_within")
        for key, label, text in found
        if not (operating and key in ("from", "file_within"))
    )


def _what(data: Content, path: str, kind: str) -> tuple[Spot, ...]:
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
        )  # fmt: skip
    if kind not in KINDS_SAID:
        texts = (key for key in data if key not in ("id", "source", "flag", "of"))
        return tuple(Spot(join(path, key), key) for key in texts if isinstance(data[key], str))
    return _figures(data, path, kind)


def _held(data: Content, path: str, kind: str, of: str) -> list[tuple[Spot, ...]]:
    around = (("", f"as above: {SUBJECTS.get(of, of)}"),) if of else (("", "the place"),)
    subjects = (*around, *((key, words) for key, words in SUBJECTS.items() if of or key != "place"))
    if not of and "of" in data:
        subjects = tuple(SUBJECTS.items())
    row = [Spot(join(path, "of"), "Measured on", "choice", subjects, optional=True)]
    if kind in ("at most", "at least", "between") or "window" in data:
        row.append(Spot(join(path, "window"), "Which readings", "window", _WINDOWS, optional=True))
    if kind in _READ_IN_PROBES or "probes" in data:
        text = "How many at least. Empty is one."
        row.append(Spot(join(path, "probes"), "Probes", help=text, optional=True))
    return [tuple(row)]


def _sources(data: Content, path: str, kind: str) -> list[tuple[Spot, ...]]:
    if kind in ("all of", "any of", "given") and not {"source", "flag"} & set(data):
        return []
    names = [""] if kind != "maintained" else ["", "longest_gap_"]
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
        Spot(join(path, "to"), "Down to", help=_TEMPERATURE, optional=optional),
        Spot(join(path, "within"), "Within", help=_SPAN, optional=optional),
    )


def _counted(path: str) -> Spot:
    choices = tuple((words, words) for words in ("the start", "the stage before"))
    return Spot(join(path, "counted_from"), "Counted from", "choice", choices)


def _parts(
    data: Content, path: str, kind: str, of: str, depth: int, condition: bool
) -> list[Group]:
    if kind == "given":
        return [
            limit_group(data[key], join(path, key), of, depth + 1, name, condition or key == "if")
            for key, name in (("if", "Where: "), ("then", "There must be: "))
            if isinstance(data.get(key), Mapping)
        ]
    if kind not in ("all of", "any of"):
        return []
    groups = []
    for number, (below, part) in enumerate(rows(data, "limits", path)):
        word = "" if not number else "and: " if kind == "all of" else "or: "
        group = limit_group(part, below, of, depth + 1, word, condition)
        group.remove = "Remove this limit"
        groups.append(group)
    return groups


def _operating(data: Content, path: str, kind: str) -> Group:
    group = Group(path, "Operating limit", folded="Add an operating limit")
    group.about = (
        "Stricter than the critical limit: beyond it the process is adjusted in time. "
        "Leave all of it empty where there is none."
    )
    spots = _figures(data, path, kind, operating=True)
    group.rows = [spots] if spots else []
    for number in range(len(rows(data, "stages")) if kind == "cooling" else 0):
        group.rows.append(_stage_spots(f"{path}.stages.{number}", True))
    group.rows += _sources({}, path, "")
    return group


def _adding(path: str, kind: str, depth: int) -> Offer | None:
    if kind == "cooling":
        return Offer(join(path, "stages"), "", "Add a stage")
    if kind in ("all of", "any of"):
        choices = kind_choices(depth + 1)
        return Offer(join(path, "limits"), "Add to these a limit of the kind", "Add it", choices)
    return None


def new_limit(kind: str) -> dict[str, Any]:
    """What a new limit of a kind starts as: its figures empty, to be filled in and sourced."""
    data: dict[str, Any] = {"kind": kind}
    if kind == "given":
        return data | {"if": new_limit("duration"), "then": new_limit("at most")}
    if kind in ("all of", "any of"):
        return data | {"limits": [new_limit("at most"), new_limit("every")]}
    if kind == "cooling":
        return data | {
            "from": "",
            "stages": [{"to": "", "within": "", "counted_from": "the start"}],
        }
    if kind == "observed":
        return data | {"what": ""}
    if kind == "measured":
        return data | {"quantity": next(iter(QUANTITIES))}
    required = [key for key, _, _ in _FIGURES[kind] if kind not in _MAY_BE_EMPTY]
    return data | {key: "" for key in required if key != "file_within"}
