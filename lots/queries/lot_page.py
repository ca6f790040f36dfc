"""The whole lot on one page, and the list of lots."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

from django.core.paginator import Page, Paginator
from django.db.models import Q

from lots.core.units import TempUnit
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation
from lots.models.lot import LoadPart, Lot
from lots.models.review import RecordIssued, Release, Review
from lots.queries.chart import draw
from lots.queries.evidence import end_of, started_at
from lots.queries.explained import Explained, explain_all
from lots.queries.forecasts import clock_in
from lots.queries.house import lots_in_hand
from lots.queries.judgements import Judged, judge_parts, not_judged, sitting_of, step_states
from lots.queries.laboratory import reports_of, waiting_of
from lots.queries.lineage import balance, lineage, parts_of, trace
from lots.queries.load_page import LimitShown, notes_of, shown
from lots.queries.pieces import samples_of
from lots.queries.plans import plan_value
from lots.queries.release import (
    bars,
    deviation_state,
    deviations_of,
    gone,
    unreviewed,
    whereabouts,
)
from lots.queries.use_by import past_words, use_by
from lots.queries.yields import weights_line

PAGE_SIZE = 40
NUL = "\0"


def state_words(lot: Lot) -> str:
    """Where the lot stands, computed: voided, released, on hold, finished, in process."""
    if hasattr(lot, "voided"):
        return "voided"
    if hasattr(lot, "release"):
        return "released"
    if words := gone(lot):
        return words
    if any(state.newest and state.newest.kind == "hold" for state in deviations_of(lot)):
        return "on hold"
    if any(not state.ended for state in deviations_of(lot)):
        return "deviation open"
    return "finished, not released" if hasattr(lot, "finish") else "in process"


def lot_list(which: str, words: str, page: str, past: Collection[int] = ()) -> Page[Lot]:
    """Lots for the list page: open ones, those of these numbers, or all that hold the words."""
    rows = Lot.objects.select_related("plan_version__plan", "finish", "release", "voided")
    words = words.replace(NUL, "")
    if words.strip():
        rows = rows.filter(
            Q(code__icontains=words.strip())
            | Q(supplier_lot__icontains=words.strip())
            | Q(supplier__icontains=words.strip())
            | Q(species_name__icontains=words.strip())
        )
    elif which == "past":
        rows = rows.filter(pk__in=past)
    elif which != "all":
        rows = rows.filter(release=None, voided=None)
    return Paginator(rows.order_by("-received_at", "-id"), PAGE_SIZE).get_page(page)


def undecided(lots: Iterable[Lot]) -> dict[int, str]:
    """By number those of the lots that have a deviation not fully decided: "on hold", or open."""
    rows = Deviation.objects.filter(lot__in=[lot.pk for lot in lots]).select_related("lot")
    out: dict[int, str] = {}
    for state in map(deviation_state, rows.prefetch_related("dispositions")):
        if state.newest is not None and state.newest.kind == "hold":
            out[state.deviation.lot_id] = "on hold"
        elif not state.ended:
            out.setdefault(state.deviation.lot_id, "deviation open")
    return out


def past_use_by(at: int) -> dict[int, str]:
    """What is past its use-by date, in words, by number of the lots in the house: those not released,
    and those that stand in a load, where anything is left of them."""
    found = {lot: past_words(lot, at, use_by(lot)) for lot in lots_in_hand()}
    return {
        lot.pk: words
        for lot, words in found.items()
        if words and not gone(lot) and not whereabouts(lot).gone
    }


@dataclass(frozen=True)
class StepShown:
    """A step of the lot's plan as the page shows it."""

    step: Any
    state: str
    css: str
    parts: list[tuple[LoadPart, int, Any]]
    limits: list[LimitShown]
    verdict: str


def judged_and_explained(
    lot: Lot, parts: list[LoadPart], zone: ZoneInfo, at: int
) -> tuple[list[Judged], list[Explained]]:
    """All limits of the lot's steps begun so far, and why each is judged so."""
    ancestors = lineage(lot)
    pairs = [(part, ancestors) for part in parts]
    sitting = sitting_of(pairs)
    judged = [replace(one, of_lot=lot.pk) for one in judge_parts(pairs, at, sitting=sitting)]
    lots = [ancestor.lot for ancestor in ancestors]
    return judged, explain_all(judged, sitting, lots, at, clock_in(zone, at))


def _limits(of_step: list[Judged], why: dict[int, Explained]) -> list[LimitShown]:
    return [replace(one, why=why[id(one.judged)]) for one in shown(of_step)]


def _steps(
    lot: Lot, judged: list[Judged], why: list[Explained], parts: list[LoadPart]
) -> list[StepShown]:
    by_judged = {id(one): said for one, said in zip(judged, why, strict=True)}
    out = []
    for state in step_states(lot, judged, parts):
        if not state.parts and not state.step.required:
            continue  # named together at the end
        words = "over" if state.over else "running now" if state.parts else "to come"
        css = "over" if state.over else "now" if state.parts else "to-come"
        out.append(
            StepShown(
                state.step,
                words,
                css,
                [(part, started_at(part.load), end_of(part.load)) for part in state.parts],
                _limits(state.judged, by_judged),
                state.verdict.value if state.verdict else "",
            )
        )
    return out


def get_lot(code: str) -> Lot | None:
    if NUL in code:  # PostgreSQL refuses it in any text
        return None
    rows = Lot.objects.select_related(
        "plan_version__plan", "finish", "release__signature", "voided", "line__person"
    )
    return rows.filter(code=code).first()


def lot_page(lot: Lot, unit: TempUnit, zone: ZoneInfo, at: int, step: int = 0) -> dict[str, Any]:
    """Everything of one lot; `step`: the number of the step whose chart is drawn large."""
    parts = parts_of(lot)
    judged, why = judged_and_explained(lot, parts, zone, at)
    deviations = deviations_of(lot)
    back, forth = trace(lot)
    plan = plan_value(lot.plan_version)
    begun = {part.step for part in parts}
    released = Release.objects.filter(lot=lot).select_related("signature").first()
    return {
        "lot": lot,
        "plan": plan,
        "state": state_words(lot),
        "balance": balance(lot),
        "steps": _steps(lot, judged, why, parts),
        "spare": [one.name for one in plan.steps if not one.required and one.id not in begun],
        "deviations": deviations,
        "charts": draw(parts, [state.deviation for state in deviations], unit, zone, at, step),
        "bars": [] if released else bars(lot, at, judged),
        "release": released,
        "reviews": Review.objects.filter(lot=lot).select_related("signature").order_by("id"),
        "unreviewed": len(unreviewed(lot)),
        "records": RecordIssued.objects.filter(lot=lot)
        .select_related("line")
        .order_by("-revision"),
        "laboratory": reports_of(lot),
        "awaited": waiting_of(lot),
        "pieces": samples_of(lot),
        "stages": weights_line(lot),
        "notes": notes_of([part.load_id for part in parts], lot),
        "back": back,
        "forth": forth,
        "not_judged": not_judged(plan),
        "lines": lot_lines(lot)[:12],
    }


def lot_lines(lot: Lot) -> list[BookLine]:
    """The lot's lines of the book, newest first."""
    rows = LineLot.objects.filter(lot=lot).select_related("line__person").order_by("-line")
    return [row.line for row in rows[:200]]


def proposed_code(now_words: str) -> str:
    """A code for the next lot: the day and a running letter, e.g. 0304-A."""
    taken = set(Lot.objects.filter(code__startswith=now_words).values_list("code", flat=True))
    for letter in "ABCDEFGHJKLMNPQRSTUVWXYZ":
        if (code := f"{now_words}-{letter}") not in taken:
            return code
    return f"{now_words}-{len(taken) + 1}"
