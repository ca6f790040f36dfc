"""A plan's content: the words it is written in, its fields and their paths, and what can be stored.

A content is what a plan's file holds and what is stored: strings, whole numbers, lists and tables.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

Content = Mapping[str, Any]

STEP_KINDS: Final = (
    "receiving",
    "frozen storage",
    "thaw",
    "gut and trim",
    "brine",
    "dry-salt",
    "rinse",
    "drain and dry",
    "refrigerated holding",
    "smoke",
    "cool",
    "slice",
    "pack",
    "label",
    "freeze",
    "chill",
    "storage",
    "dispatch",
)
# A lot may pass these by: what is never held, thawed or sent has nothing to show there.
PASSED_BY: Final = ("frozen storage", "thaw", "refrigerated holding", "storage", "dispatch")
SALTING: Final = ("brine", "dry-salt")  # the kinds of step at which salt and cure go in
PLACE_KINDS: Final = (
    "receiving dock",
    "freezer",
    "cooler",
    "brine tank",
    "dry room",
    "smokehouse",
    "table",
)
BOTULINUM: Final = "C. botulinum"
# Equivalent time is counted with a table of Listeria, which is far less hardy than the spores.
NOT_BOTULINUM: Final = (
    "Heat counted together is for Listeria; it never stands in for 145 °F (62.8 °C) for 30 minutes "
    "where the plan controls C. botulinum by heat and salt."
)
HAZARDS: Final = (
    BOTULINUM,
    "Listeria monocytogenes",
    "Staphylococcus aureus",
    "parasites",
    "scombrotoxin",
    "aquaculture drugs",
    "environmental chemicals",
    "allergens and additives",
    "metal",
)
OTHER_HAZARD: Final = "other"
ORIGINS: Final = ("wild", "farmed", "wild or farmed")
REDUCED_OXYGEN: Final = ("vacuum", "other reduced oxygen")
PACKS: Final = (*REDUCED_OXYGEN, "air")
STORAGES: Final = ("chilled", "frozen")
SMOKES: Final = ("hot", "cold")
PUBLISHED: Final = "published"
TO_CONFIRM: Final = "to be confirmed"
FLAGS: Final = (PUBLISHED, TO_CONFIRM)
YES_NO: Final = ("yes", "no")

LARGEST_WHOLE: Final = 2**53 - 1  # the largest whole number that canonical JSON keeps (RFC 8785)
DEEPEST: Final = 16  # tables within tables; the deepest limit that a plan can need has half of that
_ID: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that bars publishing: `path` is the field it belongs to ("steps.0.kind")."""

    path: str
    text: str


def unstorable(content: object) -> Iterator[Fault]:
    """What canonical JSON cannot keep: anything but text, whole numbers, lists and tables."""
    todo: list[tuple[str, object, int]] = [("", content, 0)]
    while todo:
        path, value, depth = todo.pop()
        if text := _unfit(value, depth):
            yield Fault(path, text)
        elif isinstance(value, Mapping):
            todo += [(join(path, key), value[key], depth + 1) for key in value]
        elif isinstance(value, list):
            todo += [(join(path, number), item, depth + 1) for number, item in enumerate(value)]


def _unfit(value: object, depth: int) -> str:
    if depth > DEEPEST:
        return "This is nested too deeply: write it with fewer levels."
    if isinstance(value, str):
        encodes = value.isascii() or not any("\ud800" <= letter <= "\udfff" for letter in value)
        return "" if encodes else "This text holds half a character: type it again."
    if isinstance(value, bool) or not isinstance(value, int | list | Mapping):
        return "Write this as text, such as yes, no or 4.4 °C."
    if isinstance(value, int) and abs(value) > LARGEST_WHOLE:
        return "This number is too large to be kept."
    if isinstance(value, Mapping) and not all(isinstance(k, str) and k.isascii() for k in value):
        return "The names of fields must be plain letters."
    return ""


def join(path: str, key: object) -> str:
    """The path of a field inside another."""
    name = str(key) if isinstance(key, str | int) else "?"
    return f"{path}.{name}" if path else name


def misshapen(content: Content) -> Iterator[Fault]:
    """Lists that are not lists of rows, and tables that are not tables; absent ones are no fault."""
    yield from _not_table(content, "product", "")
    for key in ("species", "steps", "prerequisites", "hazards", "control_points"):
        yield from _not_rows(content, key, "")
    for path, hazard in rows(content, "hazards"):
        yield from _not_texts(hazard, "prerequisites", path)
    for path, point in rows(content, "control_points"):
        yield from _not_texts(point, "hazards", path)
        yield from _not_table(point, "corrective_action", path)
        yield from _not_rows(point, "monitoring", path)
        yield from _misshapen_limits(point, path)


def _misshapen_limits(data: Content, path: str) -> Iterator[Fault]:
    yield from _not_rows(data, "limits", path)
    yield from _not_rows(data, "stages", path)
    yield from _not_texts(data, "steps", path)
    yield from _not_rows(data, "permitted", path)
    for below, row in rows(data, "permitted", path):
        yield from _not_texts(row, "species", below)
    for key in ("if", "then", "operating"):
        yield from _not_table(data, key, path)
    inner = [*rows(data, "limits", path)]
    inner += [(join(path, key), data[key]) for key in ("if", "then", "operating") if key in data]
    for below, part in inner:
        if isinstance(part, Mapping):
            yield from _misshapen_limits(part, below)


def _not_table(data: Content, key: str, path: str) -> Iterator[Fault]:
    if not isinstance(data.get(key, {}), Mapping):
        yield Fault(join(path, key), f"“{key}” must be a table of fields.")


def _not_rows(data: Content, key: str, path: str) -> Iterator[Fault]:
    value = data.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
        yield Fault(join(path, key), f"“{key}” must be a list of rows, each a table of fields.")


def _not_texts(data: Content, key: str, path: str) -> Iterator[Fault]:
    value = data.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        yield Fault(join(path, key), f"“{key}” must be a list of ids.")


def rows(data: Content, key: str, path: str = "") -> list[tuple[str, Content]]:
    """The tables of a list with their paths; none where there is no such list."""
    value = data.get(key, [])
    if not isinstance(value, list):
        return []
    found = [(join(join(path, key), number), item) for number, item in enumerate(value)]
    return [(below, item) for below, item in found if isinstance(item, Mapping)]


def said(data: Content, key: str) -> str:
    """The text of a field; "" where it is missing, blank or not text."""
    value = data.get(key, "")
    return value.strip() if isinstance(value, str) else ""


def missing(data: Content, path: str, wanted: Mapping[str, str]) -> Iterator[Fault]:
    """A fault for each of these fields that says nothing, with the text that goes with it."""
    for key, text in wanted.items():
        if not said(data, key):
            yield Fault(join(path, key), text)


def not_one_of(data: Content, path: str, key: str, known: Iterable[str]) -> Iterator[Fault]:
    """A fault where a field holds none of the words it may hold."""
    if said(data, key) not in known:
        yield Fault(join(path, key), f"Choose one of: {', '.join(known)}.")


def twice(found: list[tuple[str, Content]], key: str, what: str) -> Iterator[Fault]:
    """A fault at the second row that bears the same name."""
    seen: set[str] = set()
    for path, row in found:
        name = said(row, key)
        if name and name in seen:
            yield Fault(join(path, key), f"Two {what} are called “{name}”: change one.")
        seen.add(name)


def ids(content: Content, key: str, what: str) -> Iterator[Fault]:
    """Faults of the ids of a list: not written as an id, or borne twice."""
    found = rows(content, key)
    for path, row in found:
        yield from bad_id(row, path)
    yield from twice(found, "id", what)


def bad_id(row: Content, path: str) -> Iterator[Fault]:
    """A fault where a row's id is not of small letters, digits and hyphens."""
    if not _ID.fullmatch(said(row, "id")):
        yield Fault(join(path, "id"), "Give it an id of small letters, digits and hyphens.")
