"""What a tablet beside the smoker goes on with when there is no network: loads, lots, places, plans, what
is due, and the figures against which it may say a provisional verdict."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Final

from lots.core.limits import (
    Cooling,
    Duration,
    Every,
    Exposure,
    Given,
    Lethality,
    Limit,
    Maintained,
    Measured,
    Observed,
    Within,
    demand,
    operating_demand,
)
from lots.core.rules import Range
from lots.core.units import MG_PER_G, MS_PER_H, QUANTITIES, Bound, show_span, show_temperature
from lots.models.house import Place
from lots.models.lot import LoadPart, Lot
from lots.models.people import Person, Right, RightGiven
from lots.models.plan import PlanVersion
from lots.models.reading import Reading
from lots.queries.answer import round_of, usual_instrument
from lots.queries.batches import METHOD_OF, batch_value, batch_words, lengths, usable_batches
from lots.queries.board import LoadNow
from lots.queries.house import open_places, rules, usable_instruments
from lots.queries.judgements import Judged
from lots.queries.load_page import asked_by, startable
from lots.queries.plans import plan_value

Row = dict[str, Any]
SHIFT_MS: Final = 8 * MS_PER_H  # common practice
COLD_PLACES: Final = ("cooler", "freezer", "room")


def pad_people() -> list[Row]:
    """Everybody who may log, with whether a PIN was chosen."""
    standing = RightGiven.objects.filter(right=Right.OPERATOR, taken=None).values("person")
    rows = Person.objects.filter(pk__in=standing).select_related("login").order_by("name")
    return [
        {"id": one.pk, "name": one.name, "initials": one.initials, "pin": bool(one.login.pin)}
        for one in rows
    ]


def pad_rules() -> Row:
    """The numbers by which the tablet asks about a figure."""
    said = rules()
    return {
        "late_after_ms": said.late_after_ms,
        "possible": _range(said.possible),
        "slip": {
            "last_within_ms": said.slip.last_within_ms,
            "far": said.slip.far,
            "near": said.slip.near,
        },
    }


def _range(one: Range) -> Row:
    return {"low": one.lowest, "high": one.highest}


def _bound(one: Bound | None) -> Row | None:
    return None if one is None else {"C": one.c, "F": one.f}


def _last(row: Reading) -> Row:
    return {
        "value": row.value,
        "text": show_temperature(row.value, "F" if row.unit == "F" else "C"),
        "at": row.observed_at,
        "by": row.line.person.initials if row.line.person else "",
    }


def pad_places(loads: Sequence[LoadNow]) -> list[Row]:
    """Every open place with what is likely there, its last reading and the lots in it."""
    places = list(open_places())
    newest = _newest_of_places(places)
    codes: dict[int, list[str]] = {}
    for now in loads:
        for place in filter(None, (now.load.place_id, now.load.place.within_id)):
            codes.setdefault(place, []).extend(part.lot.code for part in now.parts)
    said = rules()
    return [
        {
            "id": place.pk,
            "name": place.name,
            "kind": place.kind,
            "within": place.within_id,
            "likely": {
                subject: _range(said.likely_for(subject, place.kind))
                for subject in ("place", "fish")
            },
            "lots": list(dict.fromkeys(codes.get(place.pk, ()))),
            "last": _last(newest[place.pk]) if place.pk in newest else None,
        }
        for place in places
    ]


def _newest_of_places(places: Iterable[Place]) -> dict[int, Reading]:
    """The newest standing reading of each place itself."""
    out: dict[int, Reading] = {}
    for place in places:  # a handful, each by its index
        rows = Reading.objects.filter(
            place=place, load=None, corrected_by=None, withdrawn=False, quantity="temperature"
        )
        row = rows.select_related("line__person").order_by("-observed_at", "-id").first()
        if row is not None:
            out[place.pk] = row
    return out


def pad_instruments() -> list[Row]:
    return [{"id": one.pk, "name": one.name} for one in usable_instruments()]


def pad_loads(loads: Sequence[LoadNow], at: int) -> list[Row]:
    """Every load with its lots, its limits as they stand, its fish, and its clocks."""
    fish = _fish([now.load.pk for now in loads])
    usual = {place: usual_instrument(place) for place in {now.load.place_id for now in loads}}
    return [_load(now, fish.get(now.load.pk, {}), usual[now.load.place_id], at) for now in loads]


def _load(now: LoadNow, fish: dict[str, Reading], instrument: int | None, at: int) -> Row:
    load, limits = now.load, [one.limit for one in now.judged]
    return {
        "id": load.pk,
        "place": load.place_id,
        "step": now.step_name,
        "step_id": now.parts[0].step,
        "since": now.since,
        "lots": [
            {
                "id": part.lot_id,
                "code": part.lot.code,
                "species": part.lot.species_name,
                "grams": part.grams,
            }
            for part in now.parts
        ],
        "plans": sorted({part.lot.plan_version_id for part in now.parts}),
        "subject": now.subject,
        "probes": _probes(now, fish),
        "instrument": instrument,
        "limits": [_limit(one) for one in now.judged],
        "looks": asked_by(limits, Observed),
        "measures": [
            {"quantity": quantity, "units": list(QUANTITIES.get(quantity, ("",)))}
            for quantity in asked_by(limits, Measured)
        ],
        "last": {probe: _last(row) for probe, row in fish.items()},
        "clocks": [clock for one in now.judged for clock in _clocks(one, now, at)],
        "ahead": now.ahead[0].short if now.ahead else "",
    }


def _fish(loads: Sequence[int]) -> dict[int, dict[str, Reading]]:
    """Of each load the newest standing reading of each fish."""
    rows = Reading.objects.filter(
        load__in=loads, corrected_by=None, withdrawn=False, quantity="temperature"
    )
    out: dict[int, dict[str, Reading]] = {}
    for row in rows.select_related("line__person").order_by("observed_at", "id"):
        out.setdefault(row.load_id, {})[row.probe] = row
    return out


def _probes(now: LoadNow, fish: dict[str, Reading]) -> list[str]:
    wanted = [leaf.probes for one in now.judged for leaf in one.limit.leaves() if leaf.of == "fish"]
    return round_of(fish, max(wanted, default=0))


def _limit(one: Judged) -> Row:
    return {
        "id": one.limit.id,
        "point": one.point.name,
        "of": one.limit.of,
        "demand": demand(one.limit),
        "operating": operating_demand(one.limit),
        "action": one.point.corrective_action,
        "figure": one.finding.figure,
        "verdict": str(one.verdict),
        "judge": _provisional(one.limit),
    }


def _provisional(limit: Limit) -> Row | None:
    """The figures of a plain at most, at least or between over the whole step; None of any other kind."""
    rule, stricter = limit.rule, limit.operating
    if not isinstance(rule, Within) or limit.window.which != "whole step":
        return None
    inner = stricter if isinstance(stricter, Within) else Within(None, None)
    return {
        "low": _bound(rule.low),
        "high": _bound(rule.high),
        "op_low": _bound(inner.low),
        "op_high": _bound(inner.high),
    }


def _clocks(one: Judged, now: LoadNow, at: int) -> Iterator[Row]:
    """What time does to a limit: until when it lasts at most, from when it has lasted long enough, what is
    still to be had."""
    finding, name = one.finding, one.point.name

    def clock(kind: str, moment: int, label: str) -> Row:
        return {"label": f"{name}: {label}", "kind": kind, "at": moment}

    if isinstance(one.limit.rule, Given):
        binds = one.limit.rule.condition.rule
        if isinstance(binds, Duration) and binds.longer_than_ms:
            then = f"from then on {demand(one.limit.rule.then)}"
            yield clock("from", now.since + binds.longer_than_ms, then)
        return
    for leaf in one.limit.leaves():
        match leaf.rule:
            case Duration(least, longer, most):
                if least or longer:
                    yield clock("at least", now.since + (least or longer or 0), demand(leaf))
                if most:
                    yield clock("at most", now.since + most, demand(leaf))
            case Maintained() as rule if leaf is one.limit and (since := _unbroken(one, rule, at)):
                left = rule.for_ms - finding.numbers["maintained_ms"]
                words = f"{show_span(left)} still to be shown, at the earliest"
                yield clock("at least", since + rule.for_ms, words)
            case Cooling() | Exposure() if leaf is one.limit and finding.next_at is not None:
                yield clock("at most", finding.next_at, demand(leaf))
            case Every() | Lethality():
                continue


def _unbroken(one: Judged, rule: Maintained, at: int) -> int | None:
    """Since when the bound has been held without a break; None where that is not known: held long
    enough, not held now, or held longer before a break than since."""
    finding, gap = one.finding, rule.longest_gap_ms
    had = finding.numbers.get("maintained_ms", rule.for_ms)
    if had >= rule.for_ms or gap is None or finding.next_at is None or finding.next_at < at:
        return None
    newest = finding.next_at - gap
    held = finding.figure_at is not None and finding.figure_at + had == newest
    return finding.figure_at if held else None


def pad_lots() -> list[Row]:
    """Lots in hand with how much is free, and the steps that they may begin."""
    out: dict[int, Row] = {}
    for step in startable():
        kind = step.key.split("|")[0]
        said = lengths(lot for lot, _ in step.lots) if kind in METHOD_OF else {}
        for lot, free in step.lots:
            row = out.setdefault(lot.pk, _lot(lot, free))
            row["steps"].append(
                {
                    "id": step.step_id,
                    "kind": kind,
                    "name": step.name,
                    "place_kind": step.place_kind,
                    "next": lot.code in step.next_for,
                    "lengths": said,
                }
            )
    return sorted(out.values(), key=lambda row: row["code"])


def _lot(lot: Lot, free: int) -> Row:
    return {
        "id": lot.pk,
        "code": lot.code,
        "product": lot.product,
        "free_g": free,
        "finished": hasattr(lot, "finish"),
        "steps": [],
    }


def pad_batches() -> list[Row]:
    """The batches that a load may be put into, with the kind of step that each is for."""
    steps = {method: kind for kind, method in METHOD_OF.items()}
    return [
        {
            "id": row.pk,
            "code": row.code,
            "words": batch_words(row),
            "step": steps[method],
            "total_g": batch_value(row).total_mg // MG_PER_G,
        }
        for method in steps
        for row in usable_batches(method)
    ]


def pad_plans(parts: Iterable[LoadPart], lots: Iterable[Row]) -> list[Row]:
    """The plan versions of what is in the house, as a person reads them beside the smoker."""
    ids = {part.lot.plan_version_id for part in parts}
    codes = Lot.objects.filter(pk__in=[row["id"] for row in lots])
    ids |= set(codes.values_list("plan_version", flat=True))
    versions = PlanVersion.objects.filter(pk__in=ids).select_related("plan").order_by("pk")
    return [
        {
            "id": version.pk,
            "title": f"{version.plan.title}, version {version.number}",
            "points": [
                {
                    "name": point.name,
                    "step": plan_value(version).step(point.step).name,
                    "action": point.corrective_action,
                    "limits": [demand(limit) for limit in point.limits],
                }
                for point in plan_value(version).control_points
            ],
        }
        for version in versions
    ]


def pad_due(loads: Sequence[LoadNow]) -> list[Row]:
    """Which reading is due when, the earliest first, a place once."""
    out: dict[str, Row] = {}
    for now in loads:
        if now.due is None:
            continue
        where = _where(now)
        row = {
            "where": where,
            "what": now.due.what,
            "of": now.due.of,
            "at": now.due.at,
            "why": now.due.why,
            "file_by": now.due.file_by,
        }
        key = str(sorted(where.items()))
        if key not in out or row["at"] < out[key]["at"]:
            out[key] = row
    return sorted(out.values(), key=lambda row: row["at"])


def _where(now: LoadNow) -> Row:
    """What is read for the load's next due reading: its fish, its place, or the room."""
    of = now.due.of if now.due is not None else now.subject
    if of == "fish":
        return {"load": now.load.pk}
    room = now.load.place.within_id if of == "room" else None
    return {"place": room or now.load.place_id}


def pad_round(due: Iterable[Row], places: Iterable[Row], at: int) -> list[Row]:
    """The cold places whose check falls due within the shift, the earliest first."""
    cold = {row["id"] for row in places if row["kind"] in COLD_PLACES}
    return [
        {"place": row["where"]["place"], "at": row["at"], "what": row["what"]}
        for row in due
        if row["where"].get("place") in cold and row["at"] <= at + SHIFT_MS
    ]
