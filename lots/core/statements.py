"""What must stand on a pack about keeping it, by jurisdiction and storage, and allergens by the words that
betray them: data with their sources, read once.  No statement here is the law; who packs asks the
authority of the place.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from lots.core.plan_content import (
    FLAGS,
    REDUCED_OXYGEN,
    STORAGES,
    TO_CONFIRM,
    Content,
    Fault,
    join,
    missing,
    not_one_of,
    rows,
    said,
    twice,
)

PACKS: Final = ("reduced oxygen", "air", "any")
_ASIDE: Final = re.compile(r"\([^)]*\)")  # 38 °F (3.3 °C) says no more than 38 °F
_WORD: Final = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+")
_SENTENCE: Final = re.compile(r"[.;!\n]+(?:\s+|$)")
_DENIES: Final = ("not", "never", "no")


class BadStatements(ValueError):
    """Statements that cannot be read; `faults` holds why."""

    def __init__(self, found: list[Fault]) -> None:
        self.faults = found
        super().__init__("; ".join(f"{fault.path}: {fault.text}" for fault in found))


@dataclass(frozen=True, slots=True)
class Statement:
    """The words asked of packs kept so; `pack` is reduced oxygen, air or any."""

    jurisdiction: str
    storage: str
    pack: str
    text: str
    source: str
    flag: str


@dataclass(frozen=True, slots=True)
class Allergen:
    """An allergen that is named on a label, and words of a recipe that betray it."""

    name: str
    words: tuple[str, ...]
    source: str
    flag: str


@dataclass(frozen=True)
class Statements:
    """All statements, each jurisdiction with the one that it lies within, and the allergens."""

    within: Mapping[str, str]
    statements: tuple[Statement, ...]
    allergens: tuple[Allergen, ...]

    @property
    def jurisdictions(self) -> tuple[str, ...]:
        """The names that a plan may choose among."""
        return tuple(self.within)

    def asked(self, jurisdiction: str, storage: str, reduced: bool) -> Statement | None:
        """The statement asked of such a pack by the jurisdiction or by the nearest around it that says
        anything about such packs; None where none does, or the jurisdiction is not known.

        Args:
            jurisdiction: its name.
            storage: chilled or frozen.
            reduced: whether the pack keeps air out.
        """
        kind = "reduced oxygen" if reduced else "air"
        here = jurisdiction
        while here:
            for row in self.statements:
                if (
                    row.jurisdiction == here
                    and row.storage == storage
                    and row.pack in (kind, "any")
                ):
                    return row
            here = self.within.get(here, "")
        return None

    def allergens_in(self, name: str) -> tuple[str, ...]:
        """The allergens that an ingredient's name betrays; errs towards naming one."""
        words = set(_words(name))
        return tuple(one.name for one in self.allergens if words & set(one.words))


def holds(written: str, asked: str) -> bool:
    """Whether a text says each sentence of what is asked: the same words in the same order, whatever the
    capitals and stops; figures in brackets aside.  "Do not …" says none of it."""
    words = _words(written)
    return all(_stands(_words(one), words) for one in _SENTENCE.split(asked) if _words(one))


def _words(text: str) -> list[str]:
    return [word.replace(",", ".") for word in _WORD.findall(_ASIDE.sub(" ", text).casefold())]


def _stands(wanted: list[str], words: list[str]) -> bool:
    return any(
        words[at : at + len(wanted)] == wanted and not (at and words[at - 1] in _DENIES)
        for at in range(len(words) - len(wanted) + 1)
    )


def statement_faults(content: Content, known: Statements) -> list[Fault]:
    """What bars a plan about the statement on its pack: a jurisdiction that is not known, or a statement
    that does not hold what is asked there while the plan does not say why.

    Errs against publishing.  A plan that names no jurisdiction is asked nothing.

    Args:
        content: a plan's content of the right shape.
        known: the statements that a plan is held against.
    """
    product = content.get("product", {})
    name, why = said(product, "jurisdiction"), said(product, "statement_why")
    if not name:
        return []
    if name not in known.within:
        text = f"“{name}” is not among the jurisdictions: choose {', '.join(known.jurisdictions)}."
        return [Fault("product.jurisdiction", text)]
    reduced = said(product, "pack") in REDUCED_OXYGEN
    asked = known.asked(name, said(product, "storage"), reduced)
    if asked is None or holds(said(product, "statement"), asked.text):
        return []
    if why:
        return [*not_one_of(product, "product", "statement_flag", (TO_CONFIRM,))]
    return [
        Fault(
            "product.statement",
            f"{name}: “{asked.text}” is to stand on such a pack ({asked.source}). Write it here, or say "
            "why it need not stand, for the trained person to confirm.",
        )
    ]


# --- reading --------------------------------------------------------------------------------------

_STATEMENT: Final = {
    "text": "Write the words that are to stand on the pack.",
    "source": "Say where the statement comes from.",
}
_ALLERGEN: Final = {"name": "Name the allergen.", "source": "Say where it comes from."}


def statements_from(content: Mapping[str, Any]) -> Statements:
    """The statements that a file's content states.

    Args:
        content: lists of tables `jurisdiction` (name, within), `statement` (jurisdiction, storage, pack,
            text, source, flag) and `allergen` (name, words, source, flag).
    Raises:
        BadStatements: anything in it cannot be read; it names every row that cannot.
    """
    if found := [*_unreadable(content)]:
        raise BadStatements(found)
    return Statements(
        within={said(row, "name"): said(row, "within") for _, row in rows(content, "jurisdiction")},
        statements=tuple(
            Statement(**{name: said(row, name) for name in Statement.__dataclass_fields__})
            for _, row in rows(content, "statement")
        ),
        allergens=tuple(
            Allergen(said(row, "name"), tuple(row["words"]), said(row, "source"), said(row, "flag"))
            for _, row in rows(content, "allergen")
        ),
    )


def _unreadable(content: Content) -> Iterator[Fault]:
    for key in ("jurisdiction", "statement", "allergen"):
        if len(rows(content, key)) != len(content.get(key, [])):
            yield Fault(key, f"“{key}” must be a list of rows, each a table of fields.")
    yield from _jurisdictions(content)
    places = {said(row, "name") for _, row in rows(content, "jurisdiction")}
    seen: set[tuple[str, str, str]] = set()
    for path, row in rows(content, "statement"):
        yield from missing(row, path, _STATEMENT)
        yield from not_one_of(row, path, "jurisdiction", sorted(places))
        yield from not_one_of(row, path, "storage", STORAGES)
        yield from not_one_of(row, path, "pack", PACKS)
        yield from not_one_of(row, path, "flag", FLAGS)
        yield from _said_before(row, path, seen)
    for path, row in rows(content, "allergen"):
        yield from missing(row, path, _ALLERGEN)
        yield from not_one_of(row, path, "flag", FLAGS)
        words = row.get("words")
        if not isinstance(words, list) or not all(isinstance(one, str) for one in words):
            yield Fault(join(path, "words"), "Give the words that betray it, as a list of texts.")


def _said_before(row: Content, path: str, seen: set[tuple[str, str, str]]) -> Iterator[Fault]:
    """A fault where an earlier row speaks of the same packs: which of the two would be asked?"""
    pack = said(row, "pack")
    for kind in PACKS[:-1] if pack == "any" else (pack,):
        key = (said(row, "jurisdiction"), said(row, "storage"), kind)
        if key in seen:
            yield Fault(path, f"Two statements of {key[0]} for {key[1]} packs ({kind}): keep one.")
        seen.add(key)


def _jurisdictions(content: Content) -> Iterator[Fault]:
    found = rows(content, "jurisdiction")
    yield from twice(found, "name", "jurisdictions")
    within = {said(row, "name"): said(row, "within") for _, row in found}
    for path, row in found:
        yield from missing(row, path, {"name": "Name the jurisdiction."})
        around = said(row, "within")
        if around and around not in within:
            yield Fault(join(path, "within"), f"There is no jurisdiction “{around}”: add it first.")
        elif _circles(said(row, "name"), within):
            yield Fault(join(path, "within"), "A jurisdiction cannot lie within itself.")


def _circles(name: str, within: Mapping[str, str]) -> bool:
    seen: set[str] = set()
    while name and name not in seen:
        seen.add(name)
        name = within.get(name, "")
    return bool(name)
