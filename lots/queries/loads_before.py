"""Where the fish of a load was before: the step before for a cooling's clock, and all the loads that an
exposure runs over."""

from collections.abc import Iterable, Sequence

from lots.core.judging import Earlier
from lots.models.lot import Load, LoadPart, LotLink
from lots.queries.lineage import parts_of
from lots.queries.series_of import series_of
from lots.queries.sight import ALL, Sight, spans_of, started_at


def loads_before(load: Load, sight: Sight = ALL) -> list[Load]:
    """Every load of the step before that the fish of each lot may have been in, as this lot or as one
    it came from."""
    found: dict[int, Load] = {}
    for part in _parts_in(load, sight):
        found |= {one.load_id: one.load for one in _parts_before(part, load, sight)}
    return list(found.values())


def _parts_in(load: Load, sight: Sight) -> list[LoadPart]:
    return list(sight.rows(LoadPart.objects.filter(load=load).select_related("lot")))


def _parts_before(part: LoadPart, load: Load, sight: Sight) -> list[LoadPart]:
    """The parts of the step before, of the lot itself or else of those that it was made of.  Another
    load of the same step, beside this one or moved from, is not the step before."""
    by_lot: dict[int, list[LoadPart]] = {}
    for one in parts_of(part.lot):
        seen = sight.sees(one)
        if seen and one.step != part.step and one.load.started_at <= load.started_at:
            by_lot.setdefault(one.lot_id, []).append(one)
    return [one for parts in _nearest(part.lot_id, by_lot) for one in _last_step(parts)]


def _nearest(lot_id: int, by_lot: dict[int, list[LoadPart]]) -> list[list[LoadPart]]:
    """The parts of the lot, or else of the nearest lots that it was made of and that have any."""
    found: list[list[LoadPart]] = []
    waiting = [lot_id]
    for one in waiting:  # grows while it is walked
        if one in by_lot:
            found.append(by_lot[one])
        else:
            links = LotLink.objects.filter(target=one).values_list("source", flat=True)
            waiting += [source for source in links if source not in waiting]
    return found


def _last_step(parts: Sequence[LoadPart]) -> list[LoadPart]:
    """Of a lot's parts in order of time those of its newest step, back to one that held all of it."""
    newest: list[LoadPart] = []
    for part in reversed(parts):
        if part.step == parts[-1].step:
            newest.append(part)
            if part.grams >= part.lot.quantity_g:
                break
    return newest


def exposed_before(
    load: Load, steps: Iterable[str], known: bool, sight: Sight = ALL
) -> tuple[Earlier, ...]:
    """The loads of these steps that the fish came through to this one, each with those before it."""
    wanted = set(steps)
    return tuple(
        _earlier(one, wanted, known, sight, {load.pk})
        for one in came_through(load, wanted, sight).values()
    )


def came_through(load: Load, steps: set[str], sight: Sight) -> dict[int, Load]:
    """The loads of these steps that fish of this load was in last before it."""
    found: dict[int, Load] = {}
    for part in _parts_in(load, sight):
        by_lot: dict[int, list[LoadPart]] = {}
        for one in parts_of(part.lot):
            before = (started_at(one.load, sight), one.load_id) < (started_at(load, sight), load.pk)
            if one.step in steps and one.load_id != load.pk and before and sight.sees(one):
                by_lot.setdefault(one.lot_id, []).append(one)
        for parts in _nearest(part.lot_id, by_lot):
            found |= {one.load_id: one.load for one in _beside_the_last(parts, load, sight)}
    return found


def _beside_the_last(parts: Sequence[LoadPart], load: Load, sight: Sight) -> list[LoadPart]:
    """The last part to begin, and those that had not ended when it began: the fish was in one of
    them.  A part that this load itself stands beside is no way to it."""
    ordered = sorted(parts, key=lambda part: started_at(part.load, sight))
    begin, own = started_at(ordered[-1].load, sight), started_at(load, sight)

    def ended(part: LoadPart) -> int | None:
        return spans_of(part.load, sight)[0].end

    reached = [p for p in ordered if (end := ended(p)) is None or end > begin or p is ordered[-1]]
    through = [p for p in reached if (end := ended(p)) is not None and end <= own]
    return through or reached


def _earlier(load: Load, steps: set[str], known: bool, sight: Sight, seen: set[int]) -> Earlier:
    span, monitored_span, _ = spans_of(load, sight)
    found = series_of(load, span, monitored_span, sight)
    before = tuple(
        _earlier(one, steps, known, sight, seen | {load.pk})
        for one in came_through(load, steps, sight).values()
        if one.pk not in seen
    )
    series = found.series if known else found.monitored
    return Earlier(series, span if known else monitored_span, before)
