"""Texts of a plan that rows of the book name: none longer than the column that is to keep it."""

from collections.abc import Iterator
from typing import Final

from lots.core.plan_content import Content, Fault, join, rows, said
from lots.models.deviation import Deviation
from lots.models.lot import LoadPart, Lot
from lots.models.reading import Observation


def _longest(model: type, name: str) -> int:
    return int(model._meta.get_field(name).max_length)  # type: ignore[attr-defined]


PRODUCT: Final = _longest(Lot, "product")
SPECIES: Final = _longest(Lot, "species_name")
STEP: Final = _longest(LoadPart, "step")
CONTROL_POINT: Final = _longest(Deviation, "control_point")
LIMIT: Final = _longest(Deviation, "limit_id")
LOOKED_FOR: Final = _longest(Observation, "what")


def overlong(content: Content) -> Iterator[Fault]:
    """A fault for each text that rows could not name."""
    yield from _over(content.get("product"), "product", "name", PRODUCT)
    for path, row in rows(content, "species"):
        yield from _over(row, path, "name", SPECIES)
    for path, row in rows(content, "steps"):
        yield from _over(row, path, "id", STEP)
    for path, row in rows(content, "control_points"):
        yield from _over(row, path, "id", CONTROL_POINT)
        yield from _limits(row, path)


def _limits(row: Content, path: str) -> Iterator[Fault]:
    """Those of the limits in a row, and of the limits in those."""
    for below, limit in rows(row, "limits", path):
        yield from _over(limit, below, "id", LIMIT)
        yield from _over(limit, below, "what", LOOKED_FOR)
        yield from _limits(limit, below)


def _over(row: object, path: str, key: str, longest: int) -> Iterator[Fault]:
    if isinstance(row, dict) and len(said(row, key)) > longest:
        yield Fault(join(path, key), f"Keep this within {longest} letters.")
