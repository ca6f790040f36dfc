"""Where the fish of a step went on to: which of it came into loads of a later step, and when."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lots.core.judging import Went
from lots.models.lot import Load, LoadPart, Lot, LotFinish, LotLink, PartDestroyed
from lots.queries.sight import Sight, start_entered_at, start_is_late, started_at


@dataclass(frozen=True, slots=True)
class _Gone:
    """Grams that went on, or that are no more, at a moment; `among`: only of these loads (None: any)."""

    at: int
    grams: int
    among: frozenset[int] | None = None


def went_on(part: LoadPart, step: str, sight: Sight, late: bool) -> list[Went]:
    """The fish of a lot's part in a load that went into loads of a later step, in order of time.

    Errs against the processor: where a lot was in several loads of the step, what went on is taken to be
    of the newest; of fish that was mixed with other fish, it is taken to have gone last.

    Args:
        step: the later step's id.
        late: a load whose start was entered late, and not accepted, counts from when it was entered.
    """
    own = _parts(part.lot_id, part.step, sight)
    packs = sorted(
        ((started_at(one.load, sight), one) for one in own), key=lambda p: (p[0], p[1].pk)
    )
    here = frozenset(one.load_id for one in own)
    links = list(sight.rows(LotLink.objects.filter(source=part.lot_id)).order_by("at", "id"))
    gone = _into(part.lot_id, step, sight, late)
    for link in links:
        if along := here & set(json.loads(link.loads)):
            gone += _portion(link, step, sight, late, frozenset(along))
    gone += _no_more(part.lot, packs, here, links, sight)
    return _of_load(part.load_id, packs, gone)


def _of_load(
    load_id: int, packs: Sequence[tuple[int, LoadPart]], gone: Iterable[_Gone]
) -> list[Went]:
    """What of all that went on is taken to be of one load: each time that of the newest begun."""
    left = {one.load_id: one.grams for _, one in packs}
    out: list[Went] = []
    for one in sorted(gone, key=lambda g: g.at):
        grams = one.grams
        for start, pack in reversed(packs):
            if start > one.at or (one.among is not None and pack.load_id not in one.among):
                continue
            taken = min(grams, left[pack.load_id])
            left[pack.load_id] -= taken
            grams -= taken
            if taken and pack.load_id == load_id:
                out.append(Went(one.at, taken))
    return out


def _parts(lot_id: int, step: str, sight: Sight) -> list[LoadPart]:
    rows = sight.rows(LoadPart.objects.filter(lot=lot_id, step=step))
    rows = rows.select_related("load__accepted").prefetch_related("load__moves")
    return list(rows.order_by("id"))


def _into(lot_id: int, step: str, sight: Sight, late: bool) -> list[_Gone]:
    return [
        _Gone(_counted_from(one.load, sight, late), one.grams)
        for one in _parts(lot_id, step, sight)
    ]


def _counted_from(load: Load, sight: Sight, late: bool) -> int:
    if late and start_is_late(load, sight):
        return start_entered_at(load, sight)
    return started_at(load, sight)


def _portion(
    link: LotLink, step: str, sight: Sight, late: bool, along: frozenset[int]
) -> list[_Gone]:
    """What went on of fish that was taken into another lot: after all that it was mixed with there."""
    target = link.target
    gone = _into(target.pk, step, sight, late)
    for further in sight.rows(LotLink.objects.filter(source=target)).select_related("target"):
        if along & set(json.loads(further.loads)):
            gone += _portion(further, step, sight, late, along)
    gone += _destroyed(target, sight)
    return _after(gone, target.quantity_g - link.grams, link.grams, along)


def _destroyed(lot: Lot, sight: Sight) -> list[_Gone]:
    rows = sight.rows(PartDestroyed.objects.filter(lot=lot))
    return [_Gone(row.at, row.grams) for row in rows]


def _after(
    gone: Iterable[_Gone], first: int, most: int, among: frozenset[int] | None = None
) -> list[_Gone]:
    """What went on beyond the first so many grams, and no more than so many."""
    out: list[_Gone] = []
    for one in sorted(gone, key=lambda g: g.at):
        beyond = min(max(0, one.grams - first), most)
        first = max(0, first - one.grams)
        most -= beyond
        if beyond:
            out.append(_Gone(one.at, beyond, among))
    return out


def _no_more(
    lot: Lot,
    packs: Sequence[tuple[int, LoadPart]],
    here: frozenset[int],
    links: Iterable[LotLink],
    sight: Sight,
) -> list[_Gone]:
    """What was destroyed, or taken back to be worked again, and what its weight as packed leaves out;
    first all that had not been in the step is taken to be gone so."""
    without = [link for link in links if not here & set(json.loads(link.loads))]
    given = sum(link.grams for link in without if link.how != "rework")
    unpacked = max(0, lot.quantity_g - sum(one.grams for _, one in packs) - given)
    gone = _destroyed(lot, sight)
    gone += [_Gone(link.at, link.grams) for link in without if link.how == "rework"]
    finish = sight.rows(LotFinish.objects.filter(lot=lot)).first()
    if finish is not None and packs:
        all_links = sum(link.grams for link in links)
        lost = lot.quantity_g - all_links - sum(one.grams for one in _destroyed(lot, sight))
        gone.append(_Gone(packs[-1][0], max(0, lost - finish.packed_g)))
    return _after(gone, unpacked, lot.quantity_g)
