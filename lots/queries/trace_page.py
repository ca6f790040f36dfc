"""From a lot back to where its fish came from and forward to where it went."""

from dataclasses import dataclass

from django.db.models import prefetch_related_objects

from lots.models.deviation import Disposition
from lots.models.lot import LoadPart, Lot, LotLink, PartDestroyed
from lots.models.review import Release, ReleaseQuantity
from lots.queries.evidence import end_of, started_at
from lots.queries.lineage import Balance, balance, parts_of, trace
from lots.queries.plans import plan_value


@dataclass(frozen=True)
class Shared:
    """A load that the lot was in, and the lots that stood there with it."""

    part: LoadPart
    step: str
    started_at: int
    ended_at: int | None
    others: list[LoadPart]


@dataclass(frozen=True)
class Trace:
    """A lot with all that its fish can be followed by."""

    lot: Lot
    back: list[LotLink]
    forward: list[LotLink]
    loads: list[Shared]
    balance: Balance
    destroyed: list[PartDestroyed]
    release: Release | None
    quantities: list[ReleaseQuantity]
    decided: list[Disposition]
    same_delivery: list[Lot]

    @property
    def sources(self) -> list[tuple[Lot, int]]:
        """The lots as they came in at the dock that this one's fish is from, with the weight that each
        gave on the last way here; the lot itself where none gave it any."""
        made = {link.target_id for link in self.back}
        came: dict[int, tuple[Lot, int]] = {}
        for link in self.back:
            if link.source_id not in made:
                grams = came.get(link.source_id, (link.source, 0))[1] + link.grams
                came[link.source_id] = link.source, grams
        return list(came.values()) or [(self.lot, self.lot.quantity_g)]


def trace_of(lot: Lot) -> Trace:
    """Everything by which the lot is traced."""
    back, forward = trace(lot)
    release = Release.objects.filter(lot=lot).select_related("line__person").first()
    decided = Disposition.objects.filter(deviation__lot=lot).select_related(
        "deviation", "line__person"
    )
    return Trace(
        lot,
        back,
        forward,
        _loads(lot),
        balance(lot),
        list(PartDestroyed.objects.filter(lot=lot).select_related("line__person").order_by("id")),
        release,
        list(release.quantities.order_by("id")) if release else [],
        list(decided.order_by("line")),
        _same_delivery(lot),
    )


def _loads(lot: Lot) -> list[Shared]:
    """Every load that its fish was in, as this lot or as one it came from."""
    parts = parts_of(lot)
    prefetch_related_objects([part.load for part in parts], "parts__lot")
    found = [
        _shared(part, plan_value(part.lot.plan_version).step(part.step).name) for part in parts
    ]
    return sorted(found, key=lambda one: (one.started_at, one.part.pk))


def _shared(part: LoadPart, step: str) -> Shared:
    end = end_of(part.load)
    parts = sorted(part.load.parts.all(), key=lambda one: one.pk)
    others = [other for other in parts if other.lot_id != part.lot_id]
    return Shared(part, step, started_at(part.load), end.ended_at if end else None, others)


def _same_delivery(lot: Lot) -> list[Lot]:
    """Other lots of the same supplier's lot."""
    if not lot.supplier_lot:
        return []
    rows = Lot.objects.filter(supplier=lot.supplier, supplier_lot=lot.supplier_lot)
    return list(rows.exclude(pk=lot.pk).order_by("code"))
