"""Plans, batches and packs that several tests of the pack stand on."""

import copy
from typing import Any

from lots.entries.book import act, canonical
from lots.entries.plan import begin_draft, publish_plan
from lots.models.lot import BrineBatch, Load, Lot
from lots.queries.plans import starting_plans
from tests.make import Book, moment

FROZEN, CHILLED = "hot-smoked-vacuum-frozen", "hot-smoked-vacuum-chilled"
AIR = "hot-smoked-air-chilled"


def under(book: Book, stem: str, steps: tuple[dict[str, str], ...] = (), **product: str) -> None:
    """Lots from now on are opened under a starting plan whose product says this; `steps` are put in
    behind smoking."""
    content: dict[str, Any] = copy.deepcopy(starting_plans()[stem])
    content["title"] = f"{content['title']}, as tested"
    content["product"] |= product
    at = next(n for n, step in enumerate(content["steps"], 1) if step["kind"] == "smoke")
    content["steps"][at:at] = steps
    draft = begin_draft(book.coordinator, content["title"], content, None, moment("06:00"))
    book.version = publish_plan(book.coordinator, draft, "", moment("06:00"))


def part(kind: str, name: str, grams: int, nitrite: int = 0) -> dict[str, Any]:
    """A part of a batch as the book keeps it: weighed, nitrite in millionths."""
    return {
        "kind": kind, "name": name, "as_read": str(grams), "unit": "g", "mg": grams * 1000,
        "mg_per_measure": 0, "nitrite_millionths": nitrite,
    }  # fmt: skip


BRINE = (part("water", "water", 20_000), part("salt", "kosher salt", 3_000))
CURE = part("curing salt", "pink cure", 60, 62_500)
PEPPER = part("other", "black pepper", 20)


def batch(book: Book, code: str, *parts: dict[str, Any]) -> BrineBatch:
    """A brine of these parts."""
    content = {"form": 1, "method": "brine", "parts": list(parts)}
    at = moment("06:30")
    with act("brine batch made", book.operator, at) as writing:
        return writing.write(
            BrineBatch(code=code, made_at=at, entered_at=at, content=canonical(content))
        )


def brined(book: Book, lot: Lot, row: BrineBatch | None, at: str, until: str) -> Load:
    """The whole lot in a tank, in a batch or in one that the book does not know."""
    load = book.start("brine", "Brine tank 1", at, lot, brine_batch=row)
    book.end(load, until)
    return load


def smoked(
    book: Book, lot: Lot, at: str, until: str, place: str = "Smokehouse 1", **more: Any
) -> Load:
    load = book.start("smoke", place, at, lot, **more)
    book.end(load, until)
    return load
