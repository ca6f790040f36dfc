"""What was done about a deviation, and what is to become of the fish."""

from dataclasses import dataclass

from lots.core.units import MS_PER_MIN
from lots.entries.book import act
from lots.entries.lapses import notice_lapses
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require, require_training
from lots.models.deviation import (
    CorrectiveAction,
    Deviation,
    Disposition,
    DispositionKind,
    RecallConsignee,
)
from lots.models.people import Person, Right
from lots.queries.house import say_weight
from lots.queries.lineage import heirs
from lots.queries.release import deviation_state, in_question, may_recall

LEAST_REVIEW = 10  # letters: a ground in a few words, not one letter typed to get on


@dataclass(frozen=True, slots=True)
class Action:
    """What 21 CFR 123.7 asks: by the plan's own action (b), or, without it, (c) item by item."""

    plan_followed: bool
    fish: str
    control_restored: str
    cause: str
    segregated: str = ""
    acceptability_by: str = ""
    reassessment_by: str = ""
    reassessment_due: str = ""

    def check(self) -> None:
        wrong = {
            field: text
            for field, text in (
                ("fish", "Say what was done with the fish."),
                ("control_restored", "Say what brought the step back under control."),
                ("cause", "Say what caused it, or that the cause is not yet known."),
            )
            if not getattr(self, field).strip()
        }
        if not self.plan_followed:
            wrong |= {
                field: text
                for field, text in (
                    ("segregated", "Say how the fish is kept apart and held (21 CFR 123.7(c)(1))."),
                    (
                        "acceptability_by",
                        "Name the trained person who decides whether it is acceptable (123.7(c)(2)).",
                    ),
                    (
                        "reassessment_by",
                        "Name the trained person who reassesses the plan (123.7(c)(5)).",
                    ),
                    ("reassessment_due", "Say by which day the plan is reassessed."),
                )
                if not getattr(self, field).strip()
            }
        if wrong:
            raise Refused(wrong)


def take_action(
    person: Person, deviation: Deviation, action: Action, taken_at: int, at: int
) -> CorrectiveAction:
    """Keeps the corrective action; a later one adds to it."""
    require(person, Right.OPERATOR, Right.REVIEWER)
    action.check()
    if taken_at > at + 120_000:
        raise Refused({"taken_at": "This time is still to come."})
    if taken_at < deviation.broke_at // MS_PER_MIN * MS_PER_MIN:  # typed to the minute
        raise Refused({"taken_at": "This is before the limit broke."})
    notice_lapses([deviation.lot], at)
    with act("corrective action taken", person, at) as writing:
        writing.concerns(deviation.lot_id, *_heirs(deviation))
        writing.say(deviation=deviation.pk)
        return writing.write(
            CorrectiveAction(
                deviation=deviation,
                plan_followed=action.plan_followed,
                segregated=action.segregated.strip(),
                acceptability_by=action.acceptability_by.strip(),
                reassessment_by=action.reassessment_by.strip(),
                reassessment_due=action.reassessment_due,
                fish=action.fish.strip(),
                control_restored=action.control_restored.strip(),
                cause=action.cause.strip(),
                taken_at=taken_at,
            )
        )


@dataclass(frozen=True, slots=True)
class Consignee:
    """Somebody who had fish that is recalled; `told_at` 0: not yet told.  `row` is where it stood on
    the page, so that a refusal stands beside it."""

    name: str
    grams: int
    told_at: int = 0
    note: str = ""
    row: int = 0


@dataclass(frozen=True, slots=True)
class Decision:
    """A disposition; `seen` is the number of the newest one that the person saw (0: none).  A recall
    names who had the fish."""

    kind: str
    grams: int
    reason: str
    acceptability_review: str = ""
    seen: int = 0
    consignees: tuple[Consignee, ...] = ()


def _check(decision: Decision, deviation: Deviation) -> None:
    """Refuses a weight that is more than what is not decided about yet."""
    state = deviation_state(deviation)
    most = in_question(deviation) - sum(state.decided.values())
    if decision.grams <= 0 or decision.grams > most:
        raise Refused(
            {"grams": f"Type the weight that this decides about, at most {say_weight(most)}."}
        )


def _check_words(decision: Decision, deviation: Deviation) -> None:
    wrong: dict[str, str] = {}
    if decision.kind == DispositionKind.RECALL and not may_recall(deviation):
        wrong["kind"] = "Nothing of this lot has left the house yet: hold, divert or destroy it."
    if decision.kind not in DispositionKind.values:
        wrong["kind"] = "Choose what is to become of the fish."
    if not decision.reason.strip():
        wrong["reason"] = "Say why this is decided."
    if decision.kind == DispositionKind.RELEASE and not decision.acceptability_review.strip():
        wrong["acceptability_review"] = (
            "A release after a deviation needs the trained person's written review: on what ground "
            "is the fish acceptable for distribution (21 CFR 123.7(c)(2))?"
        )
    elif (
        decision.kind == DispositionKind.RELEASE
        and len(decision.acceptability_review.strip()) < LEAST_REVIEW
    ):
        wrong["acceptability_review"] = "Say why in a few words: on what ground it is acceptable."
    if wrong:
        raise Refused(wrong)


def _check_consignees(decision: Decision, at: int) -> None:
    """Refuses a recall that does not say who had how much of the fish."""
    if decision.kind != DispositionKind.RECALL:
        return
    if not decision.consignees:
        raise Refused({"who_0": "Name everybody who had fish of this lot, and how much each had."})
    wrong: dict[str, str] = {}
    names: set[str] = set()
    for one in decision.consignees:
        name = one.name.strip()
        if not name:
            wrong[f"who_{one.row}"] = "Say who had it."
        elif name.casefold() in names:
            wrong[f"who_{one.row}"] = f"{name} stands here twice. Add the two weights up."
        if one.grams <= 0:
            wrong[f"had_{one.row}"] = "Type how much they had."
        if one.told_at > at + MS_PER_MIN:
            wrong[f"told_{one.row}"] = "This time is still to come."
        names.add(name.casefold())
    total = sum(one.grams for one in decision.consignees)
    # pounds typed are kept in whole grams, so that each row may be one off
    if not wrong and abs(total - decision.grams) > len(decision.consignees):
        wrong["grams"] = (
            f"Those named had {say_weight(total)} together, but {say_weight(decision.grams)} is "
            "recalled. They must agree."
        )
    if wrong:
        raise Refused(wrong)


def decide(person: Person, deviation: Deviation, decision: Decision, at: int) -> Disposition:
    """Keeps what is to become of the fish.  Hold stays open; every other kind ends the deviation and
    needs a trained records reviewer.  Of two people deciding at once the second is told."""
    if decision.kind == DispositionKind.HOLD:
        require(person, Right.OPERATOR, Right.REVIEWER)
    else:
        require(person, Right.REVIEWER)
        require_training(person, Right.REVIEWER)
    _check_words(decision, deviation)
    _check_consignees(decision, at)
    notice_lapses([deviation.lot], at)
    with act("disposition decided", person, at) as writing:
        if decision.kind != DispositionKind.HOLD:
            require_training(person, Right.REVIEWER)  # again: the right may have ended meanwhile
        newest = (
            Disposition.objects.filter(deviation=deviation)
            .select_related("line__person")
            .order_by("-number")
            .first()
        )
        _check_unchanged(deviation, newest, decision.seen)
        _check(decision, deviation)
        if decision.kind != DispositionKind.HOLD and not deviation.actions.exists():
            raise Refused("Write down the corrective action first (21 CFR 123.7(d)).")
        writing.concerns(deviation.lot_id, *_heirs(deviation))
        writing.say(deviation=deviation.pk, kind=decision.kind)
        made = writing.write(
            Disposition(
                deviation=deviation,
                number=(newest.number if newest else 0) + 1,
                kind=decision.kind,
                grams=decision.grams,
                reason=decision.reason.strip(),
                acceptability_review=decision.acceptability_review.strip(),
            )
        )
        recalled = decision.consignees if decision.kind == DispositionKind.RECALL else ()
        for one in recalled:
            writing.write(
                RecallConsignee(
                    disposition=made,
                    consignee=one.name.strip(),
                    grams=one.grams,
                    told_at=one.told_at,
                    note=one.note.strip(),
                )
            )
        return made


def tell_consignee(
    person: Person, row: RecallConsignee, told_at: int, note: str, at: int
) -> RecallConsignee:
    """Keeps when a consignee was told of the recall: a later row of the same name, which governs."""
    require(person, Right.OPERATOR, Right.REVIEWER, Right.COORDINATOR)
    deviation = row.disposition.deviation
    if told_at > at + MS_PER_MIN:
        raise Refused({"told_at": "This time is still to come."})
    if told_at < deviation.broke_at // MS_PER_MIN * MS_PER_MIN:  # typed to the minute
        raise Refused({"told_at": "This is before the limit broke."})
    with act("consignee told of the recall", person, at) as writing:
        newest = RecallConsignee.objects.filter(
            disposition=row.disposition_id, consignee=row.consignee
        )
        if (known := newest.order_by("-pk").first()) is not None and known.told_at:
            raise Changed(f"{row.consignee} is already kept as told. Look at the deviation again.")
        writing.concerns(deviation.lot_id, *_heirs(deviation))
        writing.say(deviation=deviation.pk, consignee=row.consignee)
        return writing.write(
            RecallConsignee(
                disposition=row.disposition,
                consignee=row.consignee,
                grams=row.grams,
                told_at=told_at,
                note=note.strip(),
            )
        )


def _check_unchanged(deviation: Deviation, newest: Disposition | None, seen: int) -> None:
    if newest is None:
        return
    who = newest.line.person.name if newest.line.person else "the book"
    if newest.number != seen:
        raise Changed(
            f"{who} has just decided “{newest.kind}”. Look at the page again before deciding."
        )
    if deviation_state(deviation).ended:
        raise Changed(f"This deviation is already ended: {who} decided “{newest.kind}”.")


def _heirs(deviation: Deviation) -> set[int]:
    """Lots that took the deviation's load along: what is decided about it speaks of them too."""
    if deviation.load_id is None:
        return set()
    return heirs(deviation.load_id, [deviation.lot])
