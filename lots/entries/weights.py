"""Weights through the steps: what a lot weighed at a stage, and weights put right."""

from lots.core.units import BadQuantity
from lots.core.weights import BRINED, STAGES, WEIGHED_HERE, StageYield, Typed, typed_weight
from lots.entries.book import Act, act, already, taken_once
from lots.entries.moments import Moments
from lots.entries.refusals import Changed, Refused, Unlikely
from lots.entries.signing import require
from lots.entries.standing import standing
from lots.models.lot import Load, LoadPart, Lot
from lots.models.people import Person, Right
from lots.models.salt import StepWeight
from lots.queries.house import say_weight
from lots.queries.yields import standing_weights, yields_with

WEIGHED = "weight entered"


@taken_once
def weigh_stage(
    person: Person,
    lot: Lot,
    stage: str,
    text: str,
    unit: str,
    when: Moments,
    load: Load | None = None,
    note: str = "",
    reason: str = "",
    client_key: str | None = None,
) -> StepWeight:
    """Keeps what a lot, or its part in a load, weighed at a stage; the weights of one stage add up.

    Args:
        stage: one of core.weights.WEIGHED_HERE: receiving and packing have entries of their own.
        text: as typed; unit: the house's, where none is typed.
        reason: why more came out than went in, where it did.
    """
    require(person, Right.OPERATOR)
    done = already(client_key, WEIGHED, person)
    if done is not None:
        return StepWeight.objects.get(line=done)
    if stage not in WEIGHED_HERE:
        raise Refused({"stage": f"Choose {', '.join(WEIGHED_HERE)}."})
    typed = _typed(text, unit)
    when.check()
    with act(WEIGHED, person, when.recorded_at, client_key) as writing:
        lot = standing(lot)
        _check_when(lot, when.observed_at)
        _check_load(lot, load)
        row = _row(lot, load, stage, typed, when, note)
        gained = _gained(lot, row, None)
        if gained and not reason.strip():
            raise Unlikely({"reason": " ".join(f"{_more(one)} {_why(one)}" for one in gained)})
        row.reason = "; ".join(filter(None, [reason.strip(), when.late_reason.strip()]))
        return _write(writing, row, **when.said())


def _row(
    lot: Lot, load: Load | None, stage: str, typed: Typed, when: Moments, note: str
) -> StepWeight:
    return StepWeight(
        lot=lot,
        load=load,
        stage=stage,
        as_read=typed.as_read,
        unit=typed.unit,
        grams=typed.grams,
        observed_at=when.observed_at,
        entered_at=when.entered_at,
        note=note.strip(),
    )


def _write(writing: Act, row: StepWeight, **said: str | int) -> StepWeight:
    writing.concerns(row.lot)
    writing.say(code=row.lot.code, stage=row.stage, **said)
    return writing.write(row)


def _typed(text: str, unit: str) -> Typed:
    try:
        typed = typed_weight(text, unit)
    except BadQuantity as error:
        raise Refused({"weight": str(error)}) from error
    if not typed.grams:
        raise Refused({"weight": "Type a weight of more than nothing."})
    return typed


def _check_when(lot: Lot, at: int) -> None:
    if at < lot.received_at:
        raise Refused({"observed_at": f"Lot {lot.code} was received later than this."})
    finish = getattr(lot, "finish", None)
    if finish is not None and at > finish.finished_at:
        raise Refused({"observed_at": f"Lot {lot.code} was finished by then. Check the time."})


def _check_load(lot: Lot, load: Load | None) -> None:
    if load is not None and not LoadPart.objects.filter(load=load, lot=lot).exists():
        raise Refused({"load": f"Lot {lot.code} was not in that load. Choose another."})


def _gained(lot: Lot, row: StepWeight, instead: StepWeight | None) -> list[StageYield]:
    """The stages of which this weight, standing instead of another, makes more come out than went in."""
    before = standing_weights(lot, but=instead)
    rows = [*before, row] if row.grams else before
    known = {(one.stage, one.grams, one.of_grams) for one in yields_with(lot, before) if one.gained}
    return [
        one
        for one in yields_with(lot, rows)
        if one.gained and (one.stage, one.grams, one.of_grams) not in known
    ]


def _why(one: StageYield) -> str:
    if one.stage == BRINED:
        return "Fish may take up brine and weigh more: if it did, say so here."
    return "If it is so, say why here."


def _more(one: StageYield) -> str:
    of = "came in" if one.before == STAGES[0] else f"was there {one.before}"
    return (
        f"More comes out than went in: {say_weight(one.grams)} {one.stage}, but only "
        f"{say_weight(one.of_grams or 0)} {of}. Check both weights, and whether one is entered twice: the "
        "weights of a stage add up."
    )


def correct_weight(
    person: Person,
    wrong: StepWeight,
    text: str,
    unit: str,
    reason: str,
    when: Moments,
    mark: str = "",
) -> StepWeight:
    """Puts a weight right by a new row; an empty text takes it back altogether.  Both stay.

    Args:
        mark: of the question that was shown and said yes to (Unlikely.mark).
    """
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say what was wrong."})
    typed = _typed(text, unit) if text.strip() else Typed("0", wrong.unit, 0)
    if typed.grams == wrong.grams and typed.unit == wrong.unit:
        raise Refused({"weight": "This is the weight that already stands."})
    seen = Moments(wrong.observed_at, when.entered_at, when.recorded_at, when.device_offset_ms)
    with act("weight corrected", person, when.recorded_at) as writing:
        lot = standing(wrong.lot)
        if StepWeight.objects.filter(corrects=wrong).exists():
            raise Changed("This weight was already put right. Look at the page again.")
        row = _row(lot, wrong.load, wrong.stage, typed, seen, wrong.note)
        asked = Unlikely({"weight": " ".join(map(_more, _gained(lot, row, wrong)))})
        if asked.fields["weight"] and asked.mark != mark:
            raise asked
        row.corrects, row.reason = wrong, reason.strip()
        return _write(writing, row, corrects=wrong.pk, **when.said())
