"""When a plan is to be reassessed, and which changes of a plan count as its reassessment.

Source: 21 CFR 123.8(a)(1): at least annually, and whenever changes occur that could affect the hazard
analysis or alter the plan in any way: raw materials or their source, product formulation, processing
methods or systems, finished product distribution systems, intended use or consumers.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from lots.core.plan_content import Content, rows, said

_OF_PRODUCT: Final[Mapping[str, tuple[str, ...]]] = {
    "material": ("ingredients",),
    "method": ("smoke", "process_study"),
    "pack": (
        "pack",
        "pack_words",
        "storage",
        "shelf_life",
        "statement",
        "statement_why",
        "jurisdiction",
        "use_by",
        "use_by_from",
        "use_by_thawed",
    ),
    "use": ("intended_use", "consumer", "distribution"),
}
_OF_STEP: Final = ("id", "kind", "place_kind")
_OF_SPECIES: Final = ("code", "origin")
WORDS: Final = {
    "product": "the product",
    "material": "raw material or its source",
    "method": "processing method or equipment",
    "pack": "pack or storage",
    "use": "intended use or consumer",
}


def bearing(before: Content, now: Content) -> tuple[str, ...]:
    """What of the changes from one content to another could bear on the hazards.

    Errs towards saying so: any other word in one of these fields counts.

    Returns:
        Of "product", "material", "method", "pack", "use" those that differ, in this order.
    """
    old, new = _table(before), _table(now)
    found = [
        cause
        for cause, fields in _OF_PRODUCT.items()
        if any(said(old, key) != said(new, key) for key in fields)
    ]
    if said(old, "name") != said(new, "name"):
        found.append("product")
    if _listed(before, "species", _OF_SPECIES) != _listed(now, "species", _OF_SPECIES):
        found.append("material")
    if _listed(before, "steps", _OF_STEP) != _listed(now, "steps", _OF_STEP):
        found.append("method")
    return tuple(cause for cause in WORDS if cause in found)


def _table(content: Content) -> Mapping[str, Any]:
    product = content.get("product", {})
    return product if isinstance(product, Mapping) else {}


def _listed(content: Content, key: str, fields: tuple[str, ...]) -> list[tuple[str, ...]]:
    found = [tuple(said(row, name) for name in fields) for _, row in rows(content, key)]
    return sorted(found) if key == "species" else found


@dataclass(frozen=True, slots=True)
class Due:
    """When a plan's reassessment is due: a moment in ms UTC, and why."""

    at: int
    asked: bool  # something changed that asks for it at once

    def state(self, now: int) -> str:
        """What a page says of it: "asked", "overdue" or "later"."""
        if self.asked:
            return "asked"
        return "overdue" if now > self.at else "later"


def due(signed_at: int, within_ms: int, asked_at: int | None) -> Due:
    """When the next reassessment of a plan is due.

    Args:
        signed_at: the newest signing of a version or reassessment, ms UTC.
        within_ms: the longest time between two (fixtures/rules.toml), ms.
        asked_at: the earliest moment since then at which something asked for one; None: nothing did.
    """
    year = signed_at + within_ms
    if asked_at is not None and asked_at < year:
        return Due(asked_at, True)
    return Due(year, False)
