"""What relied on an instrument that a check found out of tolerance: its readings since it was last found
good, the loads that they speak of, and the lots that stood there or are of their fish.

In doubt a lot is listed: a good check entered late counts only once it is accepted, a reading put right
or taken back still counts until that is accepted, and the instrument stays in doubt until it is found
good again.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, Max, OuterRef, QuerySet

from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck
from lots.models.lot import Load, LoadEnd, LoadPart, LoadStartMoved, Lot
from lots.models.reading import LoggerImport, PackedSeries, Reading
from lots.queries.accuracy_checks import (
    PREFIX,
    Window,
    check_number,
    limit_id_of,
    window_of,
)
from lots.queries.instrument_in_doubt import Used, uses_of
from lots.queries.lineage import heirs, inherited_loads, lineage, parts_of
from lots.queries.plans import plan_value
from lots.queries.release import Whereabouts, deviation_state, whereabouts


@dataclass(frozen=True)
class Relied:
    """A lot that relied on the instrument, in the loads of its history where it was used."""

    lot: Lot
    uses: list[tuple[LoadPart, Used]]  # in order of the first reading
    whereabouts: Whereabouts
    deviation: Deviation | None  # opened by this very check
    told_by: Deviation | None  # opened by another check of the same doubt, which covers all of it
    grams: int  # what is left of it, here and elsewhere

    @property
    def inherited(self) -> bool:
        """Whether it was not there itself, but is of fish that was."""
        return all(part.lot_id != self.lot.pk for part, _ in self.uses)

    @property
    def count(self) -> int:
        return sum(used.count for _, used in self.uses)

    @property
    def first_at(self) -> int:
        return min(used.first_at for _, used in self.uses)

    @property
    def last_at(self) -> int:
        return max(used.last_at for _, used in self.uses)

    @property
    def load(self) -> Load:
        """That of its first reading concerned."""
        return self.uses[0][1].load

    @property
    def control_point(self) -> str:
        """The first control point of that step with a limit that looks at what was read; "" if none."""
        part, used = self.uses[0]
        for point, limit in plan_value(part.lot.plan_version).held_at(part.step):
            if used.subjects & {leaf.of for leaf in limit.leaves()}:
                return point.id
        return ""

    @property
    def hand(self) -> list[Reading]:
        rows = {row.pk: row for _, used in self.uses for row in used.hand}
        return [rows[number] for number in sorted(rows)]

    @property
    def packed(self) -> list[PackedSeries]:
        rows = {row.pk: row for _, used in self.uses for row, _ in used.packed}
        return [rows[number] for number in sorted(rows)]

    @property
    def to_open(self) -> bool:
        """Whether its fish is there to be decided about and no deviation speaks of it yet."""
        told = self.deviation is not None or self.told_by is not None
        return not told and not self.whereabouts.gone and self.grams > 0

    @property
    def stands(self) -> Deviation | None:
        return self.deviation or self.told_by

    @property
    def ended(self) -> bool:
        return self.stands is not None and deviation_state(self.stands).ended


@dataclass(frozen=True)
class LookBack:
    """All that rests on an instrument around a failed check."""

    check: AccuracyCheck
    window: Window
    relied: list[Relied]
    unnamed: int  # temperatures of that time that name no instrument at all
    others: list[Deviation]  # opened by the check on lots that are no longer found to rest on it

    @property
    def held(self) -> list[Relied]:
        """Lots of which no fish has left the house."""
        return [one for one in self.relied if not one.whereabouts.gone and not one.whereabouts.left]

    @property
    def left(self) -> list[Relied]:
        """Lots of which fish has left, the undecided first."""
        found = [one for one in self.relied if not one.whereabouts.gone and one.whereabouts.left]
        return sorted(found, key=lambda one: one.ended)

    @property
    def gone(self) -> list[Relied]:
        """Lots of which nothing is there to decide about."""
        return [one for one in self.relied if one.whereabouts.gone]


def look_back(check: AccuracyCheck) -> LookBack:
    """The lots that relied on the instrument while it is in doubt because of a failed check."""
    window = window_of(check)
    uses = uses_of(check, window)
    deviations = _deviations(check)
    windows = _windows(check, deviations)
    found = [_relied(check, lot, uses, deviations, windows) for lot in _lots(uses.values())]
    relied = sorted(found, key=lambda one: (one.first_at, one.lot.code))
    listed = {one.lot.pk for one in relied}
    mine = [row for row in deviations if row.limit_id == limit_id_of(check)]
    others = [row for row in mine if row.lot_id not in listed]
    return LookBack(check, window, relied, _unnamed(window), others)


def _lots(uses: Iterable[Used]) -> list[Lot]:
    """Lots that stood in these loads, and those that took fish of them along."""
    found: set[int] = set()
    for used in uses:
        parts = LoadPart.objects.filter(load=used.load).select_related("lot")
        lots = [part.lot for part in parts]
        found |= {lot.pk for lot in lots} | heirs(used.load.pk, lots)
    rows = Lot.objects.select_related("plan_version", "release", "finish", "voided")
    return list(rows.filter(pk__in=found).order_by("id"))


def _deviations(check: AccuracyCheck) -> list[Deviation]:
    """Every deviation that a failed check of the instrument opened."""
    failed = AccuracyCheck.objects.filter(instrument=check.instrument_id, within=False)
    ids = [f"{PREFIX}{number}" for number in failed.values_list("pk", flat=True)]
    rows = Deviation.objects.filter(limit_id__in=ids).select_related("lot", "load__place")
    return list(rows.prefetch_related("dispositions").order_by("id"))


def _windows(check: AccuracyCheck, deviations: Iterable[Deviation]) -> dict[str, Window]:
    """When the instrument was in doubt by each of its other failed checks that opened anything."""
    numbers = {check_number(row.limit_id) for row in deviations} - {check.pk, None}
    others = AccuracyCheck.objects.filter(pk__in=numbers)
    return {limit_id_of(other): window_of(other) for other in others}


def _relied(
    check: AccuracyCheck,
    lot: Lot,
    uses: dict[int, Used],
    deviations: list[Deviation],
    windows: dict[str, Window],
) -> Relied:
    mine = [(part, uses[part.load_id]) for part in parts_of(lot) if part.load_id in uses]
    mine.sort(key=lambda pair: (pair[1].first_at, pair[0].load_id))
    first = min(used.first_at for _, used in mine)
    last = max(used.last_at for _, used in mine)
    own = [row for row in deviations if row.lot_id == lot.pk] or _inherited(lot, deviations)
    this = next((row for row in own if row.limit_id == limit_id_of(check)), None)
    told_by = next(
        (
            row
            for row in own
            if row.limit_id in windows and windows[row.limit_id].holds(first, last)
        ),
        None,
    )
    where = whereabouts(lot)
    return Relied(lot, mine, where, this, told_by, where.left_g + where.here_g)


def _inherited(lot: Lot, deviations: Iterable[Deviation]) -> list[Deviation]:
    """Those of a lot that this one was split from later, opened before the fish came into it."""
    ancestors = {one.lot.pk for one in lineage(lot)}
    loads = inherited_loads(lot)
    return [row for row in deviations if row.lot_id in ancestors and row.load_id in loads]


def _unnamed(window: Window) -> int:
    """Temperatures of the window by hand that name no instrument: a person must say whether they were
    taken with this one."""
    rows = Reading.objects.filter(
        instrument=None, quantity="temperature", observed_at__gte=window.since, corrected_by=None
    )
    if window.until is not None:
        rows = rows.filter(observed_at__lte=window.until)
    return rows.filter(withdrawn=False).count()


def failed_checks() -> QuerySet[AccuracyCheck]:
    rows = AccuracyCheck.objects.filter(within=False).select_related("instrument")
    return rows.order_by("id")


def unsettled_checks() -> list[AccuracyCheck]:
    """Failed checks of whose time something was entered since they were last looked back on: readings
    or files of the instrument, or loads that were said late or put right."""
    since = dict(failed_checks().values_list("pk", "line"))
    if not since:
        return []
    for limit_id, line in Deviation.objects.filter(
        limit_id__in=[f"{PREFIX}{pk}" for pk in since]
    ).values_list("limit_id", "line"):
        number = check_number(limit_id)
        if number is not None:
            since[number] = max(since[number], line)
    return [check for check in failed_checks() if _entered_since(check, since[check.pk])]


def _entered_since(check: AccuracyCheck, line: int) -> bool:
    window = window_of(check)
    until = window.until if window.until is not None else 2**62
    hand = Reading.objects.filter(
        instrument=check.instrument_id, observed_at__range=(window.since, until)
    )
    packed = PackedSeries.objects.filter(source=OuterRef("pk"))
    there = packed.filter(first_at__lte=until, last_at__gte=window.since)
    files = LoggerImport.objects.filter(instrument=check.instrument_id).filter(Exists(there))
    used_at = max(
        hand.aggregate(at=Max("observed_at"))["at"] or 0,
        files.aggregate(at=Max("series__last_at"))["at"] or 0,
    )
    until = min(until, used_at)  # a load begun after its last reading says nothing of it
    late = Load.objects.filter(started_at__lte=until)
    moved = LoadStartMoved.objects.filter(started_at__lte=until)
    ends = LoadEnd.objects.filter(ended_at__gte=window.since, corrects__isnull=False)
    return any(rows.filter(line__gt=line).exists() for rows in (hand, files, late, moved, ends))
