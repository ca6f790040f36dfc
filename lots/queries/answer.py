"""The answer to a reading: what it shows of each limit it speaks of, and what the plan says to do."""

from typing import Any

from lots.core.limits import Every, Verdict
from lots.models.deviation import Deviation
from lots.models.lot import Load, LoadPart
from lots.models.reading import Reading
from lots.queries.board import one_of_each_plan
from lots.queries.evidence import loads_at
from lots.queries.judgements import Judged, judge_parts
from lots.queries.load_page import LimitShown, probes_wanted, shown

FISH = 3  # rows offered for a round where the plan names no number (AFDO: at least three of the largest)


def probes_for(load: Load) -> list[str]:
    """The names of the fish to read in a round: those read before, else as many as the plan wants."""
    used = (
        Reading.objects.filter(load=load, quantity="temperature")
        .order_by("probe")
        .values_list("probe", flat=True)
        .distinct()
    )
    names = [probe for probe in used if probe]
    wanted = max(probes_wanted(load), FISH)
    number = 1
    while len(names) < wanted:
        if f"fish {number}" not in names:
            names.append(f"fish {number}")
        number += 1
    return sorted(names)


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
        key=lambda one: (-one.judged.verdict.rank, isinstance(one.judged.limit.rule, Every)),
    )
    return {
        "reading": reading,
        "round": Reading.objects.filter(line=reading.line_id).order_by("id"),
        "loads": loads,
        "parts": parts,
        "limits": limits,
        "worst": limits[0] if limits else None,
        "act": [one for one in limits if one.judged.verdict in (Verdict.DEVIATION, Verdict.ADJUST)],
        "deviations": _deviations(limits),
    }


def _speaks(one: Judged, reading: Reading) -> bool:
    """Whether the limit looks at what was read."""
    if reading.quantity != "temperature":
        return any(
            getattr(leaf.rule, "quantity", "") == reading.quantity for leaf in one.limit.leaves()
        )
    here = "place" if reading.place_id == one.part.load.place_id else "room"
    return ("fish" if reading.load_id else here) in {leaf.of for leaf in one.limit.leaves()}


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
