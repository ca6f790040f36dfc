"""The opening page of a shift: what stands where, since when, what it shows and what is due."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Max

from lots.core.limits import Cooling, Every, Maintained, Verdict, Within
from lots.core.units import show_span
from lots.models.house import Place
from lots.models.lot import Load, LoadPart, Lot
from lots.models.reading import PackedSeries, Reading
from lots.queries.evidence import started_at
from lots.queries.forecasts import Foreseen, foreseen, most_pressing
from lots.queries.house import open_places
from lots.queries.judgements import Judged, judge_parts, sitting_of
from lots.queries.lineage import balance
from lots.queries.plans import plan_value


@dataclass(frozen=True)
class Due:
    """The next moment by which a reading is wanted, of what, and why; `file_by` where a logger's file
    may still show it, and until when."""

    at: int
    what: str
    of: str
    why: str = ""
    file_by: int | None = None


@dataclass(frozen=True)
class LoadNow:
    """An open load as the board shows it."""

    load: Load
    step_name: str
    since: int
    parts: list[LoadPart]
    judged: list[Judged]
    last: Reading | None
    logger_until: int | None
    due: Due | None
    ahead: tuple[Foreseen, ...] = ()

    @property
    def worst(self) -> Judged | None:
        """The limit that matters most: the worst verdict; `every` gives way to a limit of heat."""
        return max(
            self.judged,
            key=lambda one: (one.verdict.rank, not isinstance(one.limit.rule, Every)),
            default=None,
        )

    @property
    def subject(self) -> str:
        """What the step's limits look at first: the fish, the place or the room."""
        return first_subject(self.judged)


@dataclass(frozen=True)
class PlaceNow:
    """Loads of the same step that stand in the same place and are read with one thermometer."""

    loads: list[LoadNow]

    @property
    def first(self) -> LoadNow:
        return self.loads[0]

    @property
    def worst_load(self) -> LoadNow:
        return max(self.loads, key=lambda now: now.worst.verdict.rank if now.worst else -1)

    @property
    def worst(self) -> Judged | None:
        return self.worst_load.worst

    @property
    def parts(self) -> list[LoadPart]:
        return [part for now in self.loads for part in now.parts]

    @property
    def last(self) -> Reading | None:
        lasts = [now.last for now in self.loads if now.last is not None]
        return max(lasts, key=lambda row: (row.observed_at, row.pk), default=None)

    @property
    def due(self) -> Due | None:
        dues = [now.due for now in self.loads if now.due is not None]
        return min(dues, key=lambda due: due.at, default=None)

    @property
    def ahead(self) -> Foreseen | None:
        """The most pressing forecast of its loads."""
        return most_pressing(one for now in self.loads for one in now.ahead)

    @property
    def logger_until(self) -> int | None:
        return max((now.logger_until or 0 for now in self.loads), default=0) or None


def by_place(loads: Iterable[LoadNow], at: int) -> list[PlaceNow]:
    """The board's tiles: one a load, but one for all that share place, step and thermometer; what is
    broken or overdue stands first."""
    groups: dict[tuple[object, ...], list[LoadNow]] = {}
    for now in loads:
        alone = now.subject == "fish"
        key = (now.load.place_id, now.load.step_kind, now.load.pk if alone else 0)
        groups.setdefault(key, []).append(now)
    tiles = [PlaceNow(group) for group in groups.values()]
    return sorted(tiles, key=lambda tile: _urgency(tile, at))


def _urgency(tile: PlaceNow, at: int) -> tuple[bool, bool]:
    """False sorts first: what is broken, then what is overdue, then the house's usual order."""
    broken = tile.worst is not None and tile.worst.verdict is Verdict.DEVIATION
    overdue = tile.due is not None and tile.due.at < at
    return not broken, not overdue


def _subjects(judged: Iterable[Judged]) -> list[str]:
    """The subjects that limits of temperature look at, the fish before the place before the room."""
    looked = {
        leaf.of
        for one in judged
        for leaf in one.limit.leaves()
        if isinstance(leaf.rule, Within | Maintained | Cooling | Every)
    }
    return [subject for subject in ("fish", "place", "room") if subject in looked] or ["place"]


def first_subject(judged: Iterable[Judged]) -> str:
    """What a step's limits look at first: the fish, the place or the room."""
    return _subjects(judged)[0]


def open_loads() -> list[Load]:
    """Loads that have not ended, the smokehouses first."""
    loads = Load.objects.filter(ends=None).select_related("place__within")
    loads = loads.prefetch_related("moves", "ends__accepted")
    order = ["smokehouse", "brine tank", "dry room", "cooler", "table", "freezer"]
    return sorted(
        loads,
        key=lambda load: (
            order.index(load.place.kind) if load.place.kind in order else len(order),
            load.place.name,
            load.pk,
        ),
    )


def _last_reading(load: Load, judged: list[Judged]) -> Reading | None:
    """The newest reading of what the step's limits look at; of a round the fish that governs."""
    subject = first_subject(judged)
    if subject == "fish":
        rows = Reading.objects.filter(load=load)
    else:
        place = load.place_id if subject == "place" else load.place.within_id
        rows = Reading.objects.filter(place=place, load=None, observed_at__gte=started_at(load))
    rows = rows.filter(corrected_by=None, withdrawn=False, quantity="temperature")
    newest = rows.select_related("line__person", "place").order_by("-observed_at", "-id").first()
    if newest is None or subject != "fish":
        return newest
    heats = any(getattr(leaf.rule, "low", None) for one in judged for leaf in one.limit.leaves())
    order = "value" if heats else "-value"
    return (
        rows.filter(line=newest.line_id)
        .select_related("line__person", "place")
        .order_by(order)
        .first()
    )


def _logger_until(load: Load) -> int | None:
    rows = PackedSeries.objects.filter(load=load) | PackedSeries.objects.filter(
        place=load.place, load=None, last_at__gte=started_at(load)
    )
    return rows.aggregate(until=Max("last_at"))["until"]


def _due(judged: list[Judged]) -> Due | None:
    """The first reading that is wanted: by an `every`, or so that a time of heat does not break."""
    found = [due for one in judged if (due := _due_of(one)) is not None]
    return min(found, key=lambda due: due.at, default=None)


def _due_of(one: Judged) -> Due | None:
    finding, rule = one.finding, one.limit.rule
    if isinstance(rule, Maintained):
        if one.verdict is not Verdict.PENDING or finding.next_at is None:
            return None
        why = f"or the {show_span(rule.for_ms)} start anew"
        return Due(finding.next_at, one.point.name, one.limit.of, why)
    if not isinstance(rule, Every):
        return None
    if finding.why == WAITS and finding.figure_at is not None:
        at = finding.figure_at + rule.within_ms
        return Due(at, one.point.name, one.limit.of, file_by=finding.next_at or at)
    moment = finding.last_broke_at if finding.last_broke_at is not None else finding.next_at
    return None if moment is None else Due(moment, one.point.name, one.limit.of)


WAITS = "waits for the logger's file"


def loads_now(at: int, ahead: bool = True) -> list[LoadNow]:
    """Every open load with what it shows at a moment, and (`ahead`) what its course promises."""
    parts: dict[int, list[LoadPart]] = {}
    loads = open_loads()
    rows = LoadPart.objects.filter(load__in=loads).select_related(
        "load__place__within", "lot__plan_version"
    )
    for part in rows.order_by("id"):
        parts.setdefault(part.load_id, []).append(part)
    pairs = [(part, ()) for each in parts.values() for part in one_of_each_plan(each)]
    sitting = sitting_of(pairs)
    judged: dict[int, list[Judged]] = {}  # by load: its limits, once for each plan version in it
    for one in judge_parts(pairs, at, sitting=sitting):
        judged.setdefault(one.part.load_id, []).append(one)
    return [
        _now(load, parts[load.pk], judged, tuple(seen))
        for load in loads
        if load.pk in parts
        for seen in (foreseen(load, judged.get(load.pk, []), sitting, at) if ahead else [],)
    ]


def one_of_each_plan(parts: Iterable[LoadPart]) -> list[LoadPart]:
    """Of the lots in a load one for each plan version: the load's limits are the same for the rest."""
    firsts: dict[tuple[int, int], LoadPart] = {}
    for part in parts:
        firsts.setdefault((part.load_id, part.lot.plan_version_id), part)
    return list(firsts.values())


def _now(
    load: Load,
    parts: list[LoadPart],
    found: dict[int, list[Judged]],
    ahead: tuple[Foreseen, ...],
) -> LoadNow:
    judged = found.get(load.pk, [])
    return LoadNow(
        load,
        plan_value(parts[0].lot.plan_version).step(parts[0].step).name,
        started_at(load),
        parts,
        judged,
        _last_reading(load, judged),
        _logger_until(load),
        _due(judged),
        ahead,
    )


@dataclass(frozen=True)
class Readable:
    """What a reading can be of: a load's fish, or a place, with the lots that it speaks for."""

    load: Load | None
    place: Place
    step_name: str
    codes: list[str]


def readable(at: int) -> tuple[list[Readable], list[Readable]]:
    """Loads whose limits look at fish, and every open place, with the lots that stand in each."""
    loads = loads_now(at, ahead=False)
    fish = [
        Readable(now.load, now.load.place, now.step_name, [p.lot.code for p in now.parts])
        for now in loads
        if now.subject == "fish"
    ]
    codes: dict[int, list[str]] = {}
    for now in loads:
        for place in filter(None, [now.load.place_id, now.load.place.within_id]):
            codes.setdefault(place, []).extend(part.lot.code for part in now.parts)
    places = [
        Readable(None, place, "", list(dict.fromkeys(codes.get(place.pk, []))))
        for place in open_places()
    ]
    return fish, sorted(places, key=lambda one: not one.codes)


def open_lots() -> list[Lot]:
    """Lots that are neither released nor voided, newest first."""
    rows = Lot.objects.filter(voided=None, release=None).select_related(
        "plan_version__plan", "finish"
    )
    return list(rows.order_by("-received_at", "-id"))


def lots_between_steps(loads: list[LoadNow]) -> list[Lot]:
    """Open lots, not finished, that stand in no load now: the next step waits for them.  A lot all of
    whose fish went into others or was destroyed waits for nothing."""
    inside = {part.lot_id for now in loads for part in now.parts}
    waiting = [lot for lot in open_lots() if lot.pk not in inside and not hasattr(lot, "finish")]
    return [lot for lot in waiting if balance(lot).left > 0]
