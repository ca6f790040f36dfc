"""The answer to a reading: what it shows of each limit it speaks of, and what the plan says to do."""

from collections.abc import Iterable
from typing import Any

from lots.core.limits import Every, Verdict, demand
from lots.models.deviation import Deviation
from lots.models.house import Place
from lots.models.lot import Load, LoadPart
from lots.models.reading import Reading
from lots.queries.board import one_of_each_plan
from lots.queries.evidence import loads_at
from lots.queries.judgements import Judged, judge_parts
from lots.queries.load_page import LimitShown, probes_wanted, shown
from lots.queries.plans import plan_value

FISH = 3  # rows offered for a round where the plan names no number (AFDO: at least three of the largest)


def probes_for(load: Load) -> list[str]:
    """The names of the fish to read in a round: those read before, else as many as the plan wants."""
    used = (
        Reading.objects.filter(load=load, quantity="temperature")
        .order_by("probe")
        .values_list("probe", flat=True)
        .distinct()
    )
    return round_of(used, probes_wanted(load))


def round_of(used: Iterable[str], wanted: int) -> list[str]:
    """The names of a round's fish: those read before, and as many more as are wanted."""
    names = [probe for probe in used if probe]
    number = 1
    while len(names) < max(wanted, FISH):
        if f"fish {number}" not in names:
            names.append(f"fish {number}")
        number += 1
    return sorted(names)


def usual_instrument(place_id: int) -> int | None:
    """The thermometer that was used at a place last, in fish or not."""
    rows = Reading.objects.filter(
        place=place_id, instrument__isnull=False, instrument__retired=None, quantity="temperature"
    )
    return rows.order_by("-id").values_list("instrument_id", flat=True).first()


def _loads(reading: Reading) -> list[Load]:
    if reading.load_id:
        rows = Load.objects.select_related("place__within").prefetch_related(
            "moves", "ends__accepted"
        )
        return list(rows.filter(pk=reading.load_id))
    return loads_at(reading.place_id, reading.observed_at, reading.observed_at)


def answer_page(reading: Reading, at: int) -> dict[str, Any]:
    """The reading's round, its limits with the worst first, and the plan's corrective action."""
    loads = _loads(reading)
    parts = list(
        LoadPart.objects.filter(load__in=[load.pk for load in loads]).select_related(
            "load__place__within", "lot__plan_version"
        )
    )
    judged = judge_parts([(part, ()) for part in one_of_each_plan(parts)], at)
    limits = sorted(
        shown([one for one in judged if _speaks(one, reading)]),
        key=lambda one: (
            one.judged.verdict is not Verdict.DEVIATION,
            not _only(one.judged, reading),
            -one.judged.verdict.rank,
            isinstance(one.judged.limit.rule, Every),
        ),
    )
    return {
        "reading": reading,
        "round": Reading.objects.filter(line=reading.line_id).order_by("id"),
        "loads": loads,
        "parts": parts,
        "limits": limits,
        "worst": limits[0] if limits else None,
        "act": [one for one in limits if one.adjusts or one.judged.verdict is Verdict.DEVIATION],
        "deviations": _deviations(limits),
    }


def reading_beside(place: Place, load: Load | None, at: int) -> dict[str, Any]:
    """What stands beside the boxes of a new reading: the limits that will look at it, the last one."""
    loads = [load] if load is not None else loads_at(place.pk, at, at)
    rows = LoadPart.objects.filter(load__in=[one.pk for one in loads])
    parts = one_of_each_plan(rows.select_related("load__place__within", "lot__plan_version"))
    demands = [
        f"{point.name}: {demand(limit)}"
        for part in parts
        for point, limit in plan_value(part.lot.plan_version).held_at(part.step)
        if _subject(place.pk, load, part.load) in {leaf.of for leaf in limit.leaves()}
    ]
    last = Reading.objects.filter(
        place=place, load=load, quantity="temperature", corrected_by=None, withdrawn=False
    )
    return {
        "demands": list(dict.fromkeys(demands)),
        "last": last.select_related("line__person").order_by("-observed_at", "-id").first(),
    }


def _subject(place_id: int, load: Load | None, of: Load) -> str:
    """What a reading is of, as the limits of a load name it."""
    if load is not None:
        return "fish"
    return "place" if place_id == of.place_id else "room"


def _only(one: Judged, reading: Reading) -> bool:
    """Whether the limit looks at nothing else than what was read."""
    if reading.quantity != "temperature":
        return True
    subject = _subject(reading.place_id, reading.load, one.part.load)
    return {leaf.of for leaf in one.limit.leaves()} == {subject}


def _speaks(one: Judged, reading: Reading) -> bool:
    """Whether the limit looks at what was read."""
    if reading.quantity != "temperature":
        return any(
            getattr(leaf.rule, "quantity", "") == reading.quantity for leaf in one.limit.leaves()
        )
    subject = _subject(reading.place_id, reading.load, one.part.load)
    return subject in {leaf.of for leaf in one.limit.leaves()}


def _deviations(limits: list[LimitShown]) -> list[Deviation]:
    """The open deviations of the limits that are broken."""
    broken = [one.judged for one in limits if one.judged.verdict is Verdict.DEVIATION]
    rows: list[Deviation] = []
    for one in broken:
        rows += list(
            Deviation.objects.filter(load=one.part.load_id, limit_id=one.limit.id)
            .select_related("lot")
            .order_by("-id")
        )
    return list({row.pk: row for row in rows}.values())
