"""Which rows a limit is held against in a load: by what the limit looks at, never by nearness in time."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from lots.core.cure import NITRITE
from lots.core.limits import (
    Accurate,
    Cooling,
    Cure,
    Declared,
    Duration,
    Exposure,
    Followed,
    Limit,
    Measured,
    NotJudged,
    Observed,
)
from lots.models.deviation import Deviation
from lots.models.house import AccuracyCheck
from lots.models.lot import LaboratoryResult, Load, LoadPart, Lot
from lots.models.reading import Observation, PackedSeries, Reading
from lots.queries.evidence import LoadEvidence, loads_before
from lots.queries.lineage import lineage, with_descendants
from lots.queries.loads_before import came_through
from lots.queries.plans import plan_value
from lots.queries.series_of import RowsOf, rows_of
from lots.queries.sight import ALL, started_at

MANY = 6  # numbers named one by one; more are named by the first and the last

Row = TypeVar("Row", Reading, Observation, LaboratoryResult, PackedSeries, AccuracyCheck)


@dataclass
class Behind:
    """The rows behind a finding, the loads whose start and end count, the loads before whose fish
    counts, and the checks of the instruments used."""

    readings: list[Reading] = field(default_factory=list)
    observations: list[Observation] = field(default_factory=list)
    results: list[LaboratoryResult] = field(default_factory=list)
    packed: list[PackedSeries] = field(default_factory=list)
    timed: list[int] = field(default_factory=list)
    before: list[int] = field(default_factory=list)
    checks: list[AccuracyCheck] = field(default_factory=list)

    def words(self) -> tuple[str, ...]:
        """The rows by their numbers on paper."""
        words = [f"start and end of load {number}" for number in self.timed]
        words += _numbers("reading", self.readings)
        words += _numbers("observation", self.observations)
        words += _numbers("laboratory result", self.results)
        words += sorted({f"series of {row.source.file.name}" for row in self.packed})
        words += [f"fish of load {number}, the step before" for number in self.before]
        words += _numbers("accuracy check", self.checks)
        return tuple(dict.fromkeys(words))

    def up_to(self, line: int) -> "Behind":
        """Those that the book held at a line of its own."""
        return Behind(
            _until(self.readings, line),
            _until(self.observations, line),
            _until(self.results, line),
            _until(self.packed, line),
            self.timed,
            self.before,
            _until(self.checks, line),
        )


def _until(rows: Iterable[Row], line: int) -> list[Row]:
    return [row for row in rows if row.line_id <= line]


def _numbers(word: str, rows: Sequence[Row]) -> list[str]:
    each = sorted({row.pk for row in rows})
    if len(each) > MANY:
        return [f"{word}s {each[0]} to {each[-1]} ({len(each)})"]
    return [f"{word} {number}" for number in each]


def behind(
    limit: Limit, load: Load, lots: Iterable[Lot], found: LoadEvidence | RowsOf | None = None
) -> Behind:
    """The rows that a limit is held against over a load.

    Args:
        lots: those whose laboratory results speak for the fish.
        found: the load's evidence, where it has been read already.
    """
    found = rows_of(load) if found is None else found
    out, each = Behind(), list(lots)
    for leaf in limit.leaves():
        match leaf.rule:
            case Duration() | Declared():
                out.timed.append(load.pk)
            case Cure():
                _measured(out, load, each, NITRITE, True)
            case Followed(by, _):
                out.timed += [load.pk, *_loads_of(load, each, by)]
            case Observed(what):
                rows = Observation.objects.filter(load=load, what=what).order_by("id")
                rows = rows.select_related("corrected_by__accepted")
                out.observations += [row for row in rows if not _put_right(row)]
            case Measured(quantity, _, _, laboratory):
                _measured(out, load, each, quantity, laboratory)
                if leaf.rule.verified_within_ms is not None:
                    out.results += _verifications(load, quantity)
            case NotJudged():
                pass
            case rule:
                own = Behind()
                _temperatures(own, leaf, load, found.hand, found.packed)
                out.readings += own.readings
                out.packed += own.packed
                if isinstance(rule, Cooling):
                    out.before += [one.pk for one in loads_before(load)]
                if isinstance(rule, Exposure) and rule.steps:
                    _exposed(out, leaf, rule, load)
                if isinstance(rule, Accurate):
                    out.checks += _checks(own)
    return out


def _exposed(out: Behind, leaf: Limit, rule: Exposure, load: Load) -> None:
    """The readings of the earlier loads that the fish was exposed in, each load once."""
    seen, waiting = {load.pk}, [load]
    for one in waiting:  # grows while it is walked
        for pk, earlier in came_through(one, set(rule.steps), ALL).items():
            if pk in seen:
                continue
            seen.add(pk)
            waiting.append(earlier)
            found = rows_of(earlier)
            _temperatures(out, leaf, earlier, found.hand, found.packed)


def _checks(own: Behind) -> list[AccuracyCheck]:
    """The checks that say whether the instruments of these rows read true: the last before each was
    used, those while it was, and the next."""
    used: dict[int, list[int]] = {}
    for row in own.readings:
        if row.instrument_id is not None:
            used.setdefault(row.instrument_id, []).append(row.observed_at)
    for series in own.packed:
        if series.source.instrument_id is not None:
            used.setdefault(series.source.instrument_id, []).extend(
                (series.first_at, series.last_at)
            )
    found: list[AccuracyCheck] = []
    for number, moments in used.items():
        each = list(
            AccuracyCheck.objects.filter(instrument=number)
            .select_related("instrument", "line__person")
            .order_by("observed_at", "id")
        )
        first = max((c.observed_at for c in each if c.observed_at <= min(moments)), default=0)
        after = [c.observed_at for c in each if c.observed_at > max(moments)][:1]
        last = after[0] if after else max(moments)
        found += [check for check in each if first <= check.observed_at <= last]
    return found


def checks_behind(deviation: Deviation) -> list[AccuracyCheck]:
    """The accuracy checks that a deviation of a limit on instruments rested on when it was opened."""
    plan = plan_value(deviation.lot.plan_version)
    limits = [limit for point in plan.control_points for limit in point.limits]
    limit = next((limit for limit in limits if limit.id == deviation.limit_id), None)
    if limit is None or deviation.load is None:
        return []
    if not any(isinstance(leaf.rule, Accurate) for leaf in limit.leaves()):
        return []
    lots = [one.lot for one in lineage(deviation.lot)]
    return behind(limit, deviation.load, lots).up_to(deviation.line_id).checks


def _measured(
    out: Behind, load: Load, lots: Sequence[Lot], quantity: str, laboratory: bool
) -> None:
    out.results += LaboratoryResult.objects.filter(
        lot__in=lots, quantity=quantity, corrected_by=None
    ).order_by("id")
    if not laboratory:
        out.readings += _standing(
            Reading.objects.filter(load=load, quantity=quantity)
            .select_related("accepted", "corrected_by__accepted")
            .order_by("id")
        )


def _verifications(load: Load, quantity: str) -> list[LaboratoryResult]:
    """The verifications of the process that govern: the last before the load and the first after it."""
    plans = LoadPart.objects.filter(load=load).values("lot__plan_version__plan")
    rows = LaboratoryResult.objects.filter(
        lot=None, plan__in=plans, quantity=quantity, corrected_by=None
    )
    each, start = list(rows.order_by("id")), started_at(load)
    last = max((row.sampled_at for row in each if row.sampled_at <= start), default=None)
    first = min((row.sampled_at for row in each if row.sampled_at > start), default=None)
    return [row for row in each if row.sampled_at in (last, first)]


def _loads_of(load: Load, lots: Iterable[Lot], step: str) -> list[int]:
    """The loads of a later step that these lots, or lots made of them, went on into."""
    rows = LoadPart.objects.filter(lot__in=with_descendants(lots), step=step).exclude(load=load)
    return sorted(set(rows.values_list("load", flat=True)))


def _standing(rows: Iterable[Reading]) -> list[Reading]:
    """The readings without those of which a correction has been accepted, or that were taken back: as
    long as it has not, the reading corrected counts as monitored."""
    return [row for row in rows if not row.withdrawn and not _put_right(row)]


def _taken_back(row: PackedSeries) -> bool:
    """Whether its file was taken back and that is accepted."""
    withdrawn = getattr(row.source, "withdrawn", None)
    return withdrawn is not None and getattr(withdrawn, "accepted", None) is not None


def _put_right(row: Reading | Observation) -> bool:
    correction = getattr(row, "corrected_by", None)
    return correction is not None and getattr(correction, "accepted", None) is not None


def _temperatures(
    out: Behind,
    leaf: Limit,
    load: Load,
    by_hand: Sequence[Reading],
    logged: Sequence[PackedSeries],
) -> None:
    def fits(row: Reading | PackedSeries) -> bool:
        if row.load_id is not None:
            return leaf.of == "fish"
        return leaf.of == ("place" if row.place_id == load.place_id else "room")

    hand = [row for row in _standing(by_hand) if fits(row)]
    packed = [row for row in logged if fits(row) and not _taken_back(row)]
    if leaf.window.which in ("first reading", "last reading") and not packed:
        hand = _at_the_end_of_each(hand, last=leaf.window.which == "last reading")
    out.readings += hand
    out.packed += packed


def _at_the_end_of_each(rows: Sequence[Reading], last: bool) -> list[Reading]:
    """Each probe's first reading, or its last."""
    ordered = sorted(rows, key=lambda row: (row.observed_at, row.pk), reverse=not last)
    return list({row.probe: row for row in ordered}.values())
