"""Where a lot came from and went to, and how much of it there is."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet, Sum

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
        for link in LotLink.objects.filter(target=child).select_related("source").order_by("id"):
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


def inherited_loads(lot: Lot) -> set[int]:
    """Numbers of the loads that this lot's fish was in before it came into this lot."""
    links = LotLink.objects.filter(target=lot).values_list("loads", flat=True)
    return {number for text in links for number in json.loads(text)}


def parts_of(lot: Lot) -> list[LoadPart]:
    """The lot's steps in order of their start, those inherited included."""
    lots = [ancestor.lot for ancestor in lineage(lot)]
    match = Q(lot=lot)
    if len(lots) > 1:
        match |= Q(lot__in=lots, load__in=inherited_loads(lot))
    rows = LoadPart.objects.filter(match).select_related(
        "load__place__within", "lot__plan_version__plan", "load__line__person"
    )
    rows = rows.prefetch_related("load__moves", "load__ends")
    return sorted(rows, key=lambda part: (part.load.started_at, part.load_id, part.pk))


def heirs(load_id: int, lots: Iterable[Lot]) -> set[int]:
    """Numbers of the lots whose history a load is, because fish of these lots went into them."""
    found: set[int] = set()
    for link in _walk(lots, back=False):
        if load_id in json.loads(link.loads):
            found.add(link.target_id)
    return found


def through_steps(lot: Lot) -> dict[str, int]:
    """Grams of the lot that went through each step of its plan: its own parts and what came with its
    fish, less what fish that left had gone through."""
    parts = parts_of(lot)
    step_of = {part.load_id: part.step for part in parts}
    out: dict[str, int] = {}
    for part in parts:
        if part.lot_id == lot.pk:
            out[part.step] = out.get(part.step, 0) + part.grams
    came = LotLink.objects.filter(target=lot)
    for sign, links in ((1, came), (-1, LotLink.objects.filter(source=lot))):
        for link in links:
            for step in {step_of[n] for n in json.loads(link.loads) if n in step_of}:
                out[step] = out.get(step, 0) + sign * link.grams
    return out


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
    words = words.replace("\0", "").strip()  # PostgreSQL refuses it in any text
    if not words:
        return []
    match = Q(code__icontains=words) | Q(supplier_lot__icontains=words)
    match |= Q(supplier__icontains=words)
    return list(Lot.objects.filter(match).order_by("-received_at", "-id")[:50])


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
    return sorted(seen.values(), key=lambda link: (link.at, link.pk))


def with_descendants(lots: Iterable[Lot]) -> set[int]:
    """Numbers of the lots and of all that got fish of them."""
    start = list(lots)
    return {lot.pk for lot in start} | {link.target_id for link in _walk(start, back=False)}


def free_of(lots: Iterable[Lot]) -> dict[int, int]:
    """Grams of each lot that stand in no load: what is left of it, or what was packed, less what a load
    holds now.  Asks the same few questions however many lots there are."""
    each = {lot.pk: lot for lot in lots}
    given = _sums(LotLink.objects.filter(source__in=each), "source")
    destroyed = _sums(PartDestroyed.objects.filter(lot__in=each), "lot")
    standing = _sums(LoadPart.objects.filter(lot__in=each, load__ends=None), "lot")
    return {
        pk: (
            lot.finish.packed_g
            if hasattr(lot, "finish")
            else lot.quantity_g - given.get(pk, 0) - destroyed.get(pk, 0)
        )
        - standing.get(pk, 0)
        for pk, lot in each.items()
    }


def _sums(rows: QuerySet[Any], by: str) -> dict[int, int]:
    return dict(rows.order_by().values_list(by).annotate(sum=Sum("grams")))


def steps_begun(lots: Iterable[Lot]) -> dict[int, set[str]]:
    """The steps that each lot's fish has been in, those inherited included."""
    each = {lot.pk: lot for lot in lots}
    given = set(LotLink.objects.filter(target__in=each).values_list("target", flat=True))
    out: dict[int, set[str]] = {pk: set() for pk in each}
    for pk, step in LoadPart.objects.filter(lot__in=each).values_list("lot", "step"):
        out[pk].add(step)
    for pk in given:
        out[pk] |= {part.step for part in parts_of(each[pk])}
    return out


def packs_in_hand(lot: Lot) -> int:
    """Grams packed and, once the lot is released, let go: what was destroyed or diverted is not free."""
    release = getattr(lot, "release", None)
    if release is None:
        return int(lot.finish.packed_g)
    return sum(one.grams for one in release.quantities.all() if one.kind == "release")


def in_loads_now(lot: Lot) -> int:
    """Grams of the lot that stand in loads not yet ended."""
    return sum(part.grams for part in LoadPart.objects.filter(lot=lot, load__ends=None))
