"""One load as its page shows it, and the steps that a load can be started for."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Q

from lots.core.limits import Every, Limit, Measured, Observed, Verdict, demand, operating_demand
from lots.models.lot import Load, LoadPart, Lot, Note
from lots.models.reading import LoggerImport, Observation, Reading
from lots.queries.batches import SALTING_KINDS, ask_of, batch_of, before_load, lengths
from lots.queries.board import first_subject, one_of_each_plan, open_lots
from lots.queries.evidence import OwnSeries, end_of, is_late, own_series, started_at
from lots.queries.explained import Explained
from lots.queries.forecasts import CAUTION, Foreseen, foreseen
from lots.queries.judgements import Judged, judge_parts, sitting_of
from lots.queries.lineage import balance, free_of, parts_of, steps_begun, through_steps
from lots.queries.plans import plan_value


@dataclass
class Startable:
    """A kind of step, with the lots that may go into it and how much of each is free."""

    key: str
    step_id: str
    name: str
    place_kind: str
    lots: list[tuple[Lot, int]] = field(default_factory=list)
    next_for: list[str] = field(default_factory=list)


def startable(code: str = "") -> list[Startable]:
    """Steps that open lots may begin, those that come next for some lot first; with a lot's code only
    the steps of that lot, each with every lot that may go along."""
    found: dict[str, Startable] = {}
    order: dict[str, int] = {}
    lots = open_lots()
    free_grams, begun = free_of(lots), steps_begun(lots)
    for lot in lots:
        free = free_grams[lot.pk]
        if free <= 0:
            continue
        plan = plan_value(lot.plan_version)
        done = begun[lot.pk]
        last = max((i for i, step in enumerate(plan.steps) if step.id in done), default=-1)
        ahead = [step.id for step in plan.steps[last + 1 :] if step.required][:1]
        for index, step in enumerate(plan.steps):
            if step.kind == "receiving":
                continue
            key = f"{step.kind}|{step.id}"
            one = found.setdefault(key, Startable(key, step.id, step.name, step.place_kind))
            one.lots.append((lot, free))
            order[key] = min(order.get(key, index), index)
            if step.id in ahead:
                one.next_for.append(lot.code)
    steps = list(found.values())
    if any(lot.code == code for one in steps for lot, _ in one.lots):
        steps = [one for one in steps if any(lot.code == code for lot, _ in one.lots)]
        for one in steps:
            one.next_for = [other for other in one.next_for if other == code]
            one.lots.sort(key=lambda pair: pair[0].code != code)
    return sorted(steps, key=lambda one: (not one.next_for, order[one.key]))


@dataclass(frozen=True)
class TakenAlong:
    """A load that a split portion may have been in; `whole` where it held all of the lot."""

    load: Load
    words: str
    whole: bool


def taken_along(lot: Lot) -> list[TakenAlong]:
    """The loads that have ended, from which a portion takes its history."""
    plan, left = plan_value(lot.plan_version), balance(lot).left
    through = through_steps(lot)
    return [
        TakenAlong(
            part.load,
            f"{plan.step(part.step).name}, {part.load.place.name}",
            through[part.step] >= left,
        )
        for part in parts_of(lot)
        if end_of(part.load) is not None
    ]


@dataclass(frozen=True)
class LimitShown:
    """A limit on a page: its sentence, its judgement, its operating limit; why it is judged so, and
    what its course promises, where the page tells of them."""

    judged: Judged
    demand: str
    operating: str
    every: bool
    why: Explained | None = None
    ahead: tuple[Foreseen, ...] = ()

    @property
    def adjusts(self) -> bool:
        """Whether its operating limit is exceeded while the critical limit is not broken."""
        return bool(self.judged.finding.adjust) and self.judged.verdict is not Verdict.DEVIATION

    @property
    def act(self) -> str:
        """The plan's corrective action, where the course is a likely miss."""
        return next((one.act for one in self.ahead if one.act), "")


def shown(judged: Sequence[Judged], ahead: Iterable[Foreseen] = ()) -> list[LimitShown]:
    """The limits as a page shows them, each with its forecasts."""
    by_limit: dict[tuple[str, int], list[Foreseen]] = {}
    for one in ahead:
        by_limit.setdefault((one.limit_id, one.part_id), []).append(one)
    return [
        LimitShown(
            one,
            demand(one.limit),
            operating_demand(one.limit),
            isinstance(one.limit.rule, Every),
            ahead=tuple(by_limit.get((one.limit.id, one.part.pk), ())),
        )
        for one in judged
    ]


def asked_looks(load: Load) -> list[str]:
    """What the limits of the load's step want looked for."""
    return _asked(_parts(load), Observed)


def asked_measures(load: Load) -> list[str]:
    """What the limits of the load's step want measured on the spot."""
    return _asked(_parts(load), Measured)


def _parts(load: Load) -> list[LoadPart]:
    return list(LoadPart.objects.filter(load=load).select_related("lot__plan_version"))


def _asked(parts: list[LoadPart], kind: type) -> list[str]:
    return asked_by(
        (
            limit
            for part in parts
            for _, limit in plan_value(part.lot.plan_version).held_at(part.step)
        ),
        kind,
    )


def asked_by(limits: Iterable[Limit], kind: type) -> list[str]:
    """What the limits want looked for (Observed), or measured on the spot (Measured)."""
    out: list[str] = []
    for limit in limits:
        for leaf in limit.leaves():
            rule = leaf.rule
            if kind is Observed and isinstance(rule, Observed):
                out.append(rule.what)
            if kind is Measured and isinstance(rule, Measured) and not rule.laboratory:
                out.append(rule.quantity)
    return list(dict.fromkeys(out))


def probes_wanted(load: Load) -> int:
    """How many probes or fish the limits of the load's step ask for; 0 if none looks at fish."""
    wanted = 0
    for part in _parts(load):
        for _, limit in plan_value(part.lot.plan_version).held_at(part.step):
            for leaf in limit.leaves():
                if leaf.of == "fish":
                    wanted = max(wanted, leaf.probes)
    return wanted


@dataclass(frozen=True)
class ReadingRow:
    """A reading by hand as a page lists it."""

    row: Reading
    subject: str


@dataclass(frozen=True)
class Round:
    """What was read at one moment under one line of the book."""

    first: Reading
    late: bool
    rows: list[ReadingRow]


def rounds(load: Load, found: OwnSeries) -> list[Round]:
    """The load's readings by hand and its places' in its time, by round, newest first."""
    other = Reading.objects.filter(load=load).exclude(quantity="temperature").values("pk")
    match = Q(pk__in=[row.pk for row in found.hand]) | Q(pk__in=other)
    rows = Reading.objects.filter(match).select_related(
        "place", "instrument", "line__person", "corrects", "corrected_by", "accepted"
    )
    by_line: dict[int, list[Reading]] = {}
    for row in rows.prefetch_related("attachments__file").order_by("-observed_at", "-line", "id"):
        by_line.setdefault(row.line_id, []).append(row)
    return [
        Round(
            each[0],
            each[0].corrects_id is None and is_late(each[0], each[0].observed_at),
            [ReadingRow(row, _subject(row, load)) for row in each],
        )
        for each in by_line.values()
    ]


def _subject(row: Reading, load: Load) -> str:
    if row.quantity != "temperature":
        return row.quantity
    return row.probe or "fish" if row.load_id else row.place.name


def _limits(load: Load, at: int) -> tuple[list[LoadPart], list[LimitShown]]:
    """The load's lots, and its limits once for each plan version, with their forecasts."""
    rows = LoadPart.objects.filter(load=load).select_related(
        "lot__plan_version__plan", "load__place__within"
    )
    parts = list(rows.order_by("id"))
    pairs = [(part, ()) for part in one_of_each_plan(parts)]
    sitting = sitting_of(pairs)
    judged = judge_parts(pairs, at, sitting=sitting)
    return parts, shown(judged, foreseen(load, judged, sitting, at))


def end_page(load: Load, at: int) -> dict[str, Any]:
    """What a person sees before ending a load: the limits that its readings do not show yet."""
    parts, limits = _limits(load, at)
    open_yet = (Verdict.PENDING, Verdict.DEVIATION)
    return {
        "load": load,
        "step": plan_value(parts[0].lot.plan_version).step(parts[0].step),
        "not_shown": [one for one in limits if one.judged.verdict in open_yet],
    }


def notes_of(loads: Iterable[int], lot: Lot | None = None) -> list[Note]:
    """The notes about the loads, and about the lot itself, newest first."""
    about = Q(load__in=list(loads)) | (Q(lot=lot) if lot is not None else Q())
    rows = Note.objects.filter(about).select_related("line__person", "load__place")
    return list(rows.order_by("-observed_at", "-id"))


def salting_of(load: Load) -> dict[str, Any]:
    """The batch that a brined or dry-salted load lies in, and what it is and can do for its fish."""
    if load.step_kind not in SALTING_KINDS:
        return {"salted": False}
    ask = ask_of(load)
    before = None if ask is None else before_load(ask)
    declared = lengths(part.lot for part in load.parts.all()).get(load.declared, "")
    return {"salted": True, "batch": batch_of(load), "before": before, "declared": declared}


def load_page(load: Load, at: int) -> dict[str, Any]:
    """Everything of one load."""
    parts, limits = _limits(load, at)
    plan = plan_value(parts[0].lot.plan_version)
    found = own_series(load)
    files = LoggerImport.objects.filter(series__in=[row.pk for row in found.packed]).distinct()
    return {
        "load": load,
        "parts": parts,
        **salting_of(load),
        "step": plan.step(parts[0].step),
        "subject": first_subject(one.judged for one in limits),
        "since": started_at(load),
        "end": end_of(load),
        "limits": limits,
        "caution": CAUTION if any(one.ahead for one in limits) else "",
        "rounds": rounds(load, found),
        "observations": Observation.objects.filter(load=load)
        .select_related("line__person", "corrected_by")
        .prefetch_related("attachments__file")
        .order_by("-observed_at", "-id"),
        "papers": load.attachments.select_related("file").order_by("id"),
        "files": files.select_related(
            "file", "line__person", "instrument", "withdrawn__line__person"
        ),
        "looks": _asked(parts, Observed),
        "measures": _asked(parts, Measured),
        "notes": notes_of([load.pk]),
        "moves": load.moves.select_related("line__person").order_by("id"),
        "probes_left": load.probes_left.select_related("line__person").order_by("id"),
    }
