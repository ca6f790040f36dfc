"""Nitrite: what goes in on the fish's green weight, how much curing salt that asks for, and in which fish
a jurisdiction permits it at all.

What goes in is a planning figure.  The law's figures are those of the finished fish, which only a
laboratory finds.  The rows of a jurisdiction are data (fixtures/cure.toml, or a plan's limit of kind
`cure`); who has another law enters another table.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final, Protocol

from lots.core.units import MG_PER_G, MILLIONTHS, BadQuantity, read_quantity, show_quantity

METHODS: Final = ("equilibrium", "pick-up", "dry")
DRY_SALT: Final = "dry salt"  # a batch's method, as core/batch.py says it
NITRITE: Final = "sodium nitrite"
FLAGS: Final = ("published", "to be confirmed")
PPM: Final = MILLIONTHS
Share = Fraction | int


class BadCure(ValueError):
    """A cure that cannot be reckoned, or a jurisdiction's table that cannot be read; the message says what
    to do."""


# --- what goes in ---------------------------------------------------------------------------------


def ingoing_ppm(
    method: str, nitrite_mg: Share, fish_mg: Share = 0, brine_mg: Share = 0, pick_up: Share = 0
) -> Fraction:
    """Ingoing sodium nitrite in ppm on the fish's green weight: a planning figure, exact.

    By equilibrium fish and brine come to one strength; by pick-up the fish holds as much of the brine as it
    was weighed to take up; dry, all of it goes into the fish.

    Args:
        method: "equilibrium", "pick-up" or "dry".
        nitrite_mg: sodium nitrite itself (not the curing salt), mg, 0 or more.
        fish_mg: green weight of the fish, mg, above 0; not looked at by pick-up.
        brine_mg: the whole brine that the nitrite is in, curing salt included, mg; dry: not looked at.
        pick_up: share of its green weight that the fish gains from the brine (0.10 for 10 %).
    Raises:
        BadCure: an unknown method, or a weight missing that the method needs.
    Source: the formulas of USDA FSIS Directive 7620.3 (Processing Inspectors' Calculations Handbook, 1995,
        chapter 3), a meat handbook: the arithmetic alone is taken from it.
    """
    _method(method)
    if nitrite_mg < 0:
        raise BadCure("Nitrite cannot weigh less than nothing.")
    return Fraction(nitrite_mg) * PPM * _taken(method, pick_up) / _on(method, fish_mg, brine_mg)


def _method(method: str) -> None:
    if method not in METHODS:
        raise BadCure(f"Choose how the fish takes it up: {', '.join(METHODS)}; not “{method}”.")


def _taken(method: str, pick_up: Share) -> Share:
    if method != "pick-up":
        return 1
    if not 0 < pick_up <= 1:
        raise BadCure("State the pick-up as a share of the green weight: 10 % is 0.10.")
    return pick_up


def _on(method: str, fish_mg: Share, brine_mg: Share) -> Share:
    """The weight that the nitrite is spread over."""
    if method != "pick-up" and not fish_mg > 0:
        raise BadCure("State what the fish weighs.")
    if method != "dry" and not brine_mg > 0:
        raise BadCure("State what the brine weighs.")
    return {"equilibrium": fish_mg + brine_mg, "pick-up": brine_mg, "dry": fish_mg}[method]


@dataclass(frozen=True, slots=True)
class CureNeeded:
    """Curing salt for a wanted ppm, the nitrite in it and the salt that it brings; mg, exact."""

    cure_mg: Fraction
    nitrite_mg: Fraction

    @property
    def salt_mg(self) -> Fraction:
        """What of the curing salt is salt: all but the nitrite."""
        return self.cure_mg - self.nitrite_mg


def cure_for_ppm(
    method: str,
    ppm: Share,
    nitrite_share: Share,
    fish_mg: Share = 0,
    brine_mg: Share = 0,
    pick_up: Share = 0,
    on_top: bool = False,
) -> CureNeeded:
    """The curing salt that gives a wanted ingoing ppm: `ingoing_ppm` solved backwards, exact.

    Args:
        ppm: wanted, 0 or more.
        nitrite_share: share of sodium nitrite in the curing salt (0.0625 for 6.25 %), above 0, at most 1.
        on_top: whether brine_mg is the brine before the curing salt goes in, so that it grows by it.
        Others: as `ingoing_ppm`.
    Raises:
        BadCure: as `ingoing_ppm`; a share that cannot be; a ppm that no amount of it gives.
    """
    _method(method)
    if not 0 < nitrite_share <= 1:
        raise BadCure("State the nitrite in the curing salt as 6.25 % or 0.0625, not as 6.25.")
    if ppm < 0:
        raise BadCure("A wanted ppm cannot be below nothing.")
    over = Fraction(nitrite_share) * PPM * _taken(method, pick_up)
    if on_top and method != "dry":
        over -= ppm  # each mg of it makes the whole heavier by itself
    if over <= 0:
        raise BadCure("No amount of this curing salt gives that many ppm.")
    cure_mg = Fraction(ppm) * _on(method, fish_mg, brine_mg) / over
    return CureNeeded(cure_mg, cure_mg * nitrite_share)


class Mixed(Protocol):
    """What is asked of a batch (core/batch.py): its method, and what nitrite and all of it weigh, mg."""

    @property
    def method(self) -> str: ...
    @property
    def nitrite_mg(self) -> Share: ...
    @property
    def total_mg(self) -> Share: ...


def ingoing_of(batch: Mixed, fish_g: int, brine_g: int | None = None) -> Fraction:
    """Ingoing ppm of this fish from the part of a batch that was used on it: a planning figure.

    A brine: by equilibrium of fish and that part, the highest that the fish can come to without drying.
    A dry salting: all of that part's nitrite is in the fish.

    Args:
        fish_g: green weight of all the fish that shares the part, grams, above 0.
        brine_g: grams of the batch used on it; None: the whole batch.
    """
    part = _part_mg(batch, brine_g)
    nitrite = Fraction(batch.nitrite_mg) * part / batch.total_mg if batch.total_mg else Fraction(0)
    if not nitrite:
        return Fraction(0)
    method = "dry" if batch.method == DRY_SALT else "equilibrium"
    return ingoing_ppm(method, nitrite, fish_g * MG_PER_G, part)


def _part_mg(batch: Mixed, brine_g: int | None) -> Share:
    return batch.total_mg if brine_g is None else brine_g * MG_PER_G


# --- what the law permits -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CureRule:
    """One row of a jurisdiction: in the finished fish of these species, sodium nitrite of no more than
    `at_most` and, where that is stated, no less than `at_least` (millionths of a ppm); `heat` and `cooling`
    say in words what else the row asks for."""

    species: tuple[str, ...]  # FAO three-letter codes (ASFIS)
    at_least: int | None
    at_most: int
    rule: str
    words: str
    heat: str = ""
    cooling: str = ""
    source: str = ""
    flag: str = ""

    @property
    def bounds(self) -> str:
        """The figures in words: "at most 200 ppm", "100 ppm to 200 ppm"."""
        most = show_quantity(self.at_most, NITRITE)
        if self.at_least is None:
            return f"at most {most}"
        return f"{show_quantity(self.at_least, NITRITE)} to {most}"


@dataclass(frozen=True, slots=True)
class Jurisdiction:
    """A law's table: the rows that permit nitrite, and the number of the rule that leaves out all others."""

    name: str
    rule: str
    rules: tuple[CureRule, ...]
    source: str = ""
    flag: str = ""


def cure_rule(species: str, rules: Collection[CureRule]) -> CureRule | None:
    """The row that permits nitrite in this species (FAO code); None where none does."""
    return next((rule for rule in rules if species and species in rule.species), None)


def not_permitted(name: str, rules: Collection[CureRule], rule: str = "") -> str:
    """What is said where nitrite went into a fish that no row permits it in, with the rules' numbers.

    Args:
        name: the fish as people call it, e.g. "rainbow trout".
        rule: the number of the rule that leaves out all other fish, where a table states it.
    """
    said = _listed([f"{row.words} ({row.rule})" for row in rules])
    permitted = f"Nitrite is permitted in {said}; not in {name}" if said else ""
    return f"{permitted or f'Nitrite is not permitted in {name}'}{f' ({rule})' if rule else ''}."


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


# --- a table as data ------------------------------------------------------------------------------

Data = Mapping[str, Any]
_CODE: Final = re.compile(r"[A-Z0-9]{3}")
_ROW_FIELDS: Final = (
    "species",
    "at_least",
    "at_most",
    "rule",
    "words",
    "heat",
    "cooling",
    "source",
    "flag",
)


def cure_rules(content: Data) -> tuple[CureRule, ...]:
    """The rows under `permitted` of a jurisdiction's table or of a plan's limit of kind `cure`.

    Raises:
        BadCure: the table is entered wrongly; the message names every fault (`permitted_faults`).
    """
    faults = [f"{path}: {text}" for path, text in permitted_faults(content)]
    if faults:
        raise BadCure(" ".join(faults))
    return tuple(_rule(row) for row in content["permitted"])


def jurisdictions(data: Data, known: Collection[str] = ()) -> tuple[Jurisdiction, ...]:
    """Every jurisdiction of a file such as fixtures/cure.toml.

    Raises:
        BadCure: the file is entered wrongly; the message names every fault (`cure_faults`).
    """
    faults = [f"{path}: {text}" for path, text in cure_faults(data, known)]
    if faults:
        raise BadCure(" ".join(faults))
    return tuple(
        Jurisdiction(
            _said(row, "name"),
            _said(row, "rule"),
            cure_rules(row),
            _said(row, "source"),
            _said(row, "flag"),
        )
        for row in data["jurisdiction"]
    )


def cure_faults(data: Data, known: Collection[str] = ()) -> Iterator[tuple[str, str]]:
    """What is entered wrongly in a file of jurisdictions: each field's path with what to do about it.

    Args:
        known: the species codes that the house knows; of none, any code will do.
    """
    rows = data.get("jurisdiction")
    if data.get("form") != 1:
        yield "form", "Write form = 1."
    if not isinstance(rows, list) or not rows or not all(isinstance(row, Mapping) for row in rows):
        yield "jurisdiction", "Enter at least one [[jurisdiction]] with its name and rows."
        return
    seen: set[str] = set()
    for number, row in enumerate(rows):
        path = f"jurisdiction.{number}"
        yield from _head_faults(row, path, seen)
        yield from permitted_faults(row, path, known)


def _head_faults(row: Data, path: str, seen: set[str]) -> Iterator[tuple[str, str]]:
    wanted = {
        "name": "Name the jurisdiction and its code.",
        "rule": "State the number of the rule that leaves out all other fish.",
        "source": "State where the table was read.",
    }
    yield from ((f"{path}.{key}", text) for key, text in wanted.items() if not _said(row, key))
    if _said(row, "flag") not in FLAGS:
        yield f"{path}.flag", f"Write one of: {', '.join(FLAGS)}."
    if _said(row, "name") in seen:
        yield f"{path}.name", f"“{_said(row, 'name')}” is entered twice: change one."
    seen.add(_said(row, "name"))


def permitted_faults(
    content: Data, path: str = "", known: Collection[str] = ()
) -> Iterator[tuple[str, str]]:
    """What is entered wrongly in the rows under `permitted`: each field's path with what to do about it.

    An empty list is no fault: it permits nitrite in no fish.  A missing one is: silence permits nothing
    and forbids nothing.
    """
    rows = content.get("permitted")
    start = f"{path}.permitted" if path else "permitted"
    if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
        yield start, "List the fish in which nitrite is permitted; an empty list for none."
        return
    seen: dict[str, str] = {}
    for number, row in enumerate(rows):
        yield from _row_faults(row, f"{start}.{number}")
        yield from _species_faults(row, f"{start}.{number}", known, seen)


def _row_faults(row: Data, path: str) -> Iterator[tuple[str, str]]:
    for key in row:
        if key not in _ROW_FIELDS:
            yield f"{path}.{key}", f"A row has no “{key}”; it has {', '.join(_ROW_FIELDS)}."
    if not _said(row, "rule"):
        yield f"{path}.rule", "State the number of the rule, such as 21 CFR 172.175(a)(2)."
    if "flag" in row and _said(row, "flag") not in FLAGS:
        yield f"{path}.flag", f"Write one of: {', '.join(FLAGS)}."
    if not row.get("at_most"):
        yield f"{path}.at_most", "State the most nitrite in the finished fish, such as 200 ppm."
    wrong = [*_unread(row, path, "at_most"), *_unread(row, path, "at_least")]
    yield from wrong
    both = bool(_said(row, "at_least") and _said(row, "at_most"))
    if both and not wrong and _ppm(row, "at_least") > _ppm(row, "at_most"):
        yield f"{path}.at_least", "The least is above the most: change one."


def _unread(row: Data, path: str, key: str) -> Iterator[tuple[str, str]]:
    if not isinstance(row.get(key, ""), str):
        yield f"{path}.{key}", "Write the figure with its unit, such as 200 ppm."
    elif _said(row, key):
        try:
            if _ppm(row, key) < 0:
                yield f"{path}.{key}", "Nitrite cannot be below nothing."
        except BadQuantity as error:
            yield f"{path}.{key}", str(error)


def _species_faults(
    row: Data, path: str, known: Collection[str], seen: dict[str, str]
) -> Iterator[tuple[str, str]]:
    codes = row.get("species")
    if not isinstance(codes, list) or not codes or not all(isinstance(c, str) for c in codes):
        yield f"{path}.species", "List the FAO codes of the species, such as SAL."
        return
    for code in codes:
        if not _CODE.fullmatch(code):
            yield f"{path}.species", f"“{code}” is not an FAO code of three capital letters."
        elif known and code not in known:
            yield f"{path}.species", f"“{code}” is not among the species of this logbook."
        elif code in seen:
            yield f"{path}.species", f"“{code}” stands in two rows: a fish has one rule."
        seen[code] = path


def _rule(row: Data) -> CureRule:
    return CureRule(
        species=tuple(row["species"]),
        at_least=_ppm(row, "at_least") if _said(row, "at_least") else None,
        at_most=_ppm(row, "at_most"),
        rule=_said(row, "rule"),
        words=_said(row, "words") or ", ".join(row["species"]),
        heat=_said(row, "heat"),
        cooling=_said(row, "cooling"),
        source=_said(row, "source"),
        flag=_said(row, "flag"),
    )


def _ppm(row: Data, key: str) -> int:
    return read_quantity(_said(row, key), NITRITE).c


def _said(row: Data, key: str) -> str:
    value = row.get(key, "")
    return value.strip() if isinstance(value, str) else ""
