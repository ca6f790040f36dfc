"""What stands between a lot and its release, and which of its lines nobody has reviewed."""

import json
from dataclasses import dataclass

from django.db.models import Q

from lots.core.limits import Verdict
from lots.core.plan import Plan
from lots.models.book import BookLine, LineLot
from lots.models.deviation import Deviation, Disposition
from lots.models.lot import LoadPart, Lot, LotLink
from lots.models.review import Release, Review
from lots.queries.accuracy_checks import check_number
from lots.queries.house import say_weight
from lots.queries.judgements import Judged, judge_lot, not_judged, step_states
from lots.queries.lineage import (
    Ancestor,
    balance,
    in_loads_now,
    inherited_loads,
    lineage,
    packs_in_hand,
    parts_of,
    through_steps,
    with_descendants,
)
from lots.queries.pack import pack_bars
from lots.queries.plans import plan_value
from lots.queries.salt_bars import salt_bars

# Acts that speak of a lot without adding to what is reviewed.
NOT_REVIEWED = ("records reviewed", "lot released", "record issued")


def last_line(lot: Lot) -> BookLine | None:
    """The lot's last line that a review must have seen."""
    row = (
        LineLot.objects.filter(lot=lot)
        .exclude(line__kind__in=NOT_REVIEWED)
        .select_related("line")
        .order_by("-line")
        .first()
    )
    return row.line if row else None


def newest_review(lot: Lot) -> Review | None:
    return (
        Review.objects.filter(lot=lot)
        .select_related("signature", "up_to", "line__person")
        .order_by("-id")
        .first()
    )


def unreviewed(lot: Lot) -> list[BookLine]:
    """The lot's lines since its newest review, oldest first."""
    review = newest_review(lot)
    rows = LineLot.objects.filter(lot=lot).exclude(line__kind__in=NOT_REVIEWED)
    if review is not None:
        rows = rows.filter(line__gt=review.up_to_id)
    return [row.line for row in rows.select_related("line__person").order_by("line")]


@dataclass(frozen=True)
class DeviationState:
    """A deviation with its newest disposition, and how much of its fish has been decided about."""

    deviation: Deviation
    newest: Disposition | None
    decided: dict[str, int]
    needed: int

    @property
    def ended(self) -> bool:
        """Whether final dispositions cover all the fish, and none of it is held."""
        if self.newest is None or self.newest.kind == "hold":
            return False
        return sum(self.decided.values()) >= self.needed


def in_question(deviation: Deviation) -> int:
    """Grams of the lot that the deviation speaks of: its part in the load, or what is left of it as
    packed.  Of one that an accuracy check opened: what had been released by then, or else that
    without the fish that went into lots with such a deviation of their own."""
    there = balance(deviation.lot)
    part = LoadPart.objects.filter(load=deviation.load_id, lot=deviation.lot_id).first()
    grams = part.grams if part else there.came_in
    if there.packed is not None:
        grams = min(grams, there.packed + there.given + there.destroyed)
    if check_number(deviation.limit_id) is None:
        return grams
    release = Release.objects.filter(lot=deviation.lot_id, line__lt=deviation.line_id).first()
    if release is not None:
        return min(grams, sum(one.grams for one in release.quantities.filter(kind="release")))
    return max(0, grams - sum(link.grams for link in _told_apart(deviation)))


def _told_apart(deviation: Deviation) -> list[LotLink]:
    """By what links fish of the deviation's load went into lots of which the same accuracy check
    opened a deviation too."""
    own = Deviation.objects.filter(limit_id=deviation.limit_id).values("lot")
    links = LotLink.objects.filter(source=deviation.lot_id, target__in=own)
    return [link for link in links if deviation.load_id in json.loads(link.loads)]


def deviation_state(deviation: Deviation) -> DeviationState:
    """The deviation as it stands; reads its dispositions, prefetched or not."""
    decisions = sorted(deviation.dispositions.all(), key=lambda one: one.number)
    decided: dict[str, int] = {}
    for one in decisions:
        if one.kind != "hold":
            decided[one.kind] = decided.get(one.kind, 0) + one.grams
    newest = decisions[-1] if decisions else None
    needed = in_question(deviation) if decided else 0
    return DeviationState(deviation, newest, decided, needed)


def may_recall(deviation: Deviation) -> bool:
    """Whether fish of the lot, or of a lot that took its fish along, has been released."""
    lots = with_descendants([deviation.lot])
    if check_number(deviation.limit_id) is not None:
        lots -= {link.target_id for link in _told_apart(deviation)}
    return Lot.objects.filter(pk__in=lots, release__isnull=False).exists()


def undecided_grams(deviation: Deviation) -> int:
    """Grams of the deviation's fish that no final decision speaks of yet."""
    return max(0, in_question(deviation) - sum(deviation_state(deviation).decided.values()))


def gone(lot: Lot) -> str:
    """What became of a lot of which nothing is left to work on or release; "" while there is some."""
    there = balance(lot)
    all_of_it = there.left + there.destroyed if there.packed is None else there.packed
    for state in deviations_of(lot):
        others = {kind: grams for kind, grams in state.decided.items() if kind != "release"}
        if state.deviation.lot_id == lot.pk and others and sum(others.values()) >= all_of_it:
            return {
                "destroy": "destroyed",
                "divert": "diverted",
                "rework": "reworked",
                "recall": "recalled",
            }[max(others, key=lambda kind: others[kind])]
    return ""


@dataclass(frozen=True)
class Whereabouts:
    """Where a lot's fish is as far as the book knows, in words and grams."""

    words: str
    here_g: int
    left_g: int
    gone: bool = False  # nothing is there to decide about

    @property
    def left(self) -> bool:
        return self.left_g > 0


def whereabouts(lot: Lot) -> Whereabouts:
    """Whether the lot is in the house, has left it, or is no more.  What is released and stands in no
    load has left: the book keeps no dispatch."""
    if hasattr(lot, "voided"):
        return Whereabouts("voided", 0, 0, gone=True)
    if hasattr(lot, "release"):
        released = packs_in_hand(lot)
        stored = min(released, in_loads_now(lot))
        words = "released and left" if not stored else "released, in storage here"
        if 0 < stored < released:
            words = "released; some has left, some is in storage here"
        return Whereabouts(words, stored, released - stored)
    there = balance(lot)
    here = there.left if there.packed is None else there.packed
    if gone(lot) == "destroyed" or here <= 0:
        words = "destroyed" if there.given == 0 else "none left: it went into other lots"
        return Whereabouts(words, 0, 0, gone=True)
    return Whereabouts("in process" if there.packed is None else "packed, in the house", here, 0)


def deviations_of(lot: Lot) -> list[DeviationState]:
    """The lot's deviations, and those of loads that its fish was in before it came into this lot;
    of an accuracy check's, only its own where it has one."""
    match = Q(lot=lot)
    others = [ancestor.lot for ancestor in lineage(lot) if ancestor.lot.pk != lot.pk]
    if others:
        match |= Q(lot__in=others, load__in=inherited_loads(lot))
    found = Deviation.objects.filter(match).select_related("lot", "load__place", "line__person")
    found = found.prefetch_related("dispositions__line__person", "actions__line__person", "notes")
    rows = list(found.order_by("id"))
    own = {row.limit_id for row in rows if row.lot_id == lot.pk and check_number(row.limit_id)}
    return [deviation_state(row) for row in rows if row.lot_id == lot.pk or row.limit_id not in own]


def bars(lot: Lot, at: int, judged: list[Judged] | None = None) -> list[str]:
    """Everything that stands between the lot and its release, in words; none when it may go."""
    plan = plan_value(lot.plan_version)
    judged = judge_lot(lot, at) if judged is None else judged
    parts = parts_of(lot)
    states = {state.step.id: state for state in step_states(lot, judged, parts)}
    deviations = deviations_of(lot)
    found = [f"all of it is decided otherwise: {words}" for words in [gone(lot)] if words]
    found += [f"not judged by this version: {words}" for words in not_judged(plan)]
    for step in plan.required_steps:
        state = states[step.id]
        if not state.parts:
            found.append(f"{step.name} has not been")
        elif not state.over:
            found.append(f"{step.name} is still running")
    newest = {(d.deviation.limit_id, d.deviation.load_id): d for d in deviations}
    ended = {key for key, state in newest.items() if state.ended}
    for one in judged:
        if one.verdict is Verdict.PENDING:
            found.append(f"{one.point.name}: not yet shown ({one.finding.figure})")
        if one.verdict is Verdict.DEVIATION and (one.limit.id, one.part.load_id) not in ended:
            found.append(f"{one.point.name}: deviation without a final disposition")
    for state in deviations:
        if not state.ended:
            found.append(f"deviation {state.deviation.pk} is open")
    found += salt_bars(lot, plan) + pack_bars(lot, at, judged, parts)
    return _unique(found + not_through(lot, plan) + _paper_bars(lot))


def not_through(lot: Lot, plan: Plan, packed_g: int | None = None) -> list[str]:
    """Required steps that less fish went through than was packed, in words."""
    packed = balance(lot).packed if packed_g is None else packed_g
    if packed is None:
        return []
    through = through_steps(lot)
    return [
        f"only {say_weight(through.get(step.id, 0))} went through {step.name}, but "
        f"{say_weight(packed)} is packed"
        for step in plan.required_steps
        if through.get(step.id, 0) < packed
    ]


def _paper_bars(lot: Lot) -> list[str]:
    found = []
    if hasattr(lot, "voided"):
        found.append("the lot was voided")
    if balance(lot).packed is None:
        found.append("the lot is not finished: say what was packed")
    review, last = newest_review(lot), last_line(lot)
    if review is None:
        found.append("its records are not reviewed")
    elif last is not None and last.number > review.up_to_id:
        found.append("something was entered after its review: review it again")
    return found + [
        f"records of lot {ancestor.lot.code}, which it came from, are not reviewed"
        for ancestor in lineage(lot)
        if ancestor.lot.pk != lot.pk and not _reviewed_until(ancestor)
    ]


def _reviewed_until(ancestor: Ancestor) -> bool:
    """Whether a review has seen what was made of the ancestor before the fish left it."""
    rows = LineLot.objects.filter(lot=ancestor.lot).exclude(line__kind__in=NOT_REVIEWED)
    if ancestor.until is not None:
        rows = rows.filter(line__at__lte=ancestor.until)
    last = rows.order_by("-line").values_list("line", flat=True).first()
    review = newest_review(ancestor.lot)
    return last is None or (review is not None and review.up_to_id >= last)


def _unique(words: list[str]) -> list[str]:
    return list(dict.fromkeys(words))


def decided_grams(lot: Lot) -> dict[str, int]:
    """Grams of the lot that its own deviations ended in, other than by release, and that are still
    among its packs: the largest of each kind, less what was destroyed or reworked before."""
    decided: dict[str, int] = {}
    for state in deviations_of(lot):
        if state.deviation.lot_id != lot.pk:
            continue
        for kind, grams in state.decided.items():
            if kind != "release":
                decided[kind] = max(decided.get(kind, 0), grams)
    gone = {
        "destroy": balance(lot).destroyed,
        "rework": sum(link.grams for link in lot.gave.all() if link.how == "rework"),
    }
    return {kind: max(0, grams - gone.get(kind, 0)) for kind, grams in decided.items()}


def releasable_grams(lot: Lot) -> int | None:
    """The most that its deviations' dispositions let go: of the fish that a deviation speaks of, what
    was decided to be released; all of the rest.  None where it has no deviation."""
    packed = balance(lot).packed or 0
    allowed = []
    for state in deviations_of(lot):
        spoken = _spoken_of(lot, state)
        allowed.append(max(0, packed - spoken) + min(spoken, state.decided.get("release", 0)))
    return min(allowed, default=None)


def _spoken_of(lot: Lot, state: DeviationState) -> int:
    """Grams of this lot that the deviation speaks of; of an inherited one what came with its load."""
    if state.deviation.lot_id == lot.pk:
        return in_question(state.deviation)
    links = LotLink.objects.filter(target=lot)
    return sum(link.grams for link in links if state.deviation.load_id in json.loads(link.loads))
