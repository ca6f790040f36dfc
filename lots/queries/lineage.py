"""Where a lot came from and went to, and how much of it there is."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, Sum

from lots.models.lot import LoadPart, Lot, LotFinish, LotLink, PartDestroyed


@dataclass(frozen=True, slots=True)
class Ancestor:
    """A lot whose steps up to a moment are this lot's history too; None: without end."""

    lot: Lot
    until: int | None


def lineage(lot: Lot) -> list[Ancestor]:
    """The lot itself and all it came from, each up to the moment that the fish left it."""
    found = {lot.pk: Ancestor(lot, None)}
    waiting = [(lot, None)]
    while waiting:
        child, limit = waiting.pop()
        for link in LotLink.objects.filter(target=child).select_related("source"):
            until = link.at if limit is None else min(link.at, limit)
            known = found.get(link.source_id)
            if known is None or (known.until is not None and known.until < until):
                found[link.source_id] = Ancestor(link.source, until)
                waiting.append((link.source, until))
    return list(found.values())


def lineages(lots: Iterable[Lot]) -> dict[int, list[Ancestor]]:
    """The lineage of each lot, by lot."""
    each = {lot.pk: lot for lot in lots}
    given = set(LotLink.objects.filter(target__in=each).values_list("target_id", flat=True))
    return {pk: lineage(lot) if pk in given else [Ancestor(lot, None)] for pk, lot in each.items()}


def parts_of(lot: Lot) -> list[LoadPart]:
    """The lot's steps in order of their start, those inherited included."""
    parts: list[LoadPart] = []
    for ancestor in lineage(lot):
        rows = LoadPart.objects.filter(lot=ancestor.lot).select_related(
            "load__place__within", "lot__plan_version__plan", "load__line__person"
        )
        rows = rows.prefetch_related("load__moves", "load__ends")
        parts += [
            part for part in rows if ancestor.until is None or part.load.started_at < ancestor.until
        ]
    return sorted(parts, key=lambda part: (part.load.started_at, part.load_id))


@dataclass(frozen=True, slots=True)
class Balance:
    """Grams of a lot: received or taken over, given on, destroyed, packed."""

    came_in: int
    given: int
    destroyed: int
    packed: int | None

    @property
    def left(self) -> int:
        """What has not been given on or destroyed before packing."""
        return self.came_in - self.given - self.destroyed


def balance(lot: Lot) -> Balance:
    given = LotLink.objects.filter(source=lot).aggregate(sum=Sum("grams"))["sum"] or 0
    destroyed = PartDestroyed.objects.filter(lot=lot).aggregate(sum=Sum("grams"))["sum"] or 0
    finish = LotFinish.objects.filter(lot=lot).first()
    return Balance(lot.quantity_g, given, destroyed, finish.packed_g if finish else None)


def found(words: str) -> list[Lot]:
    """Lots whose code, supplier's lot or supplier holds the words, newest first."""
    words = words.strip()
    if not words:
        return []
    match = Q(code__icontains=words) | Q(supplier_lot__icontains=words)
    match |= Q(supplier__icontains=words)
    return list(Lot.objects.filter(match).order_by("-received_at")[:50])


def trace(lot: Lot) -> tuple[list[LotLink], list[LotLink]]:
    """All links by which fish came to the lot, and all by which it went on, in order of time."""
    return _walk([lot], back=True), _walk([lot], back=False)


def _walk(start: Iterable[Lot], back: bool) -> list[LotLink]:
    seen: dict[int, LotLink] = {}
    waiting = [lot.pk for lot in start]
    while waiting:
        match = {"target_id__in" if back else "source_id__in": waiting}
        links = LotLink.objects.filter(**match).select_related("source", "target")
        new = [link for link in links if link.pk not in seen]
        seen |= {link.pk: link for link in new}
        waiting = [link.source_id if back else link.target_id for link in new]
    return sorted(seen.values(), key=lambda link: link.at)


def with_descendants(lots: Iterable[Lot]) -> set[int]:
    """Numbers of the lots and of all that got fish of them."""
    start = list(lots)
    return {lot.pk for lot in start} | {link.target_id for link in _walk(start, back=False)}


def in_loads_now(lot: Lot) -> int:
    """Grams of the lot that stand in loads not yet ended."""
    return sum(part.grams for part in LoadPart.objects.filter(lot=lot, load__ends=None))
