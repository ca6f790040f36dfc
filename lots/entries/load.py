"""Loads: lots put into a place from a moment to a moment."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from lots.core.plan import PlanStep
from lots.core.units import show_span
from lots.entries.book import Act, act, already, taken_once
from lots.entries.brining import (
    NOT_SALTED,
    Salting,
    check_batch_use,
    check_before,
    check_declared,
    write_measured,
)
from lots.entries.judging import forget_states, judge_loads, later_loads, loads_followed_by
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.piece_readings import take_pieces_along
from lots.entries.refusals import Changed, Refused
from lots.entries.signing import require
from lots.models.house import Place
from lots.models.lot import Load, LoadEnd, LoadPart, LoadStartMoved, Lot, ProbeLeft
from lots.models.people import Person, Right
from lots.queries.batches import Ask, batches
from lots.queries.evidence import end_of, loads_before, own_series, started_at
from lots.queries.house import say_weight
from lots.queries.judgements import Judged
from lots.queries.lineage import balance, in_loads_now, packs_in_hand
from lots.queries.plans import plan_value

ONE_LOAD_AT_A_TIME = ("smokehouse", "brine tank")


@dataclass(frozen=True, slots=True)
class Portion:
    """A lot with the step of its plan and the weight that goes into the load."""

    lot: Lot
    step_id: str
    grams: int


def _step(portion: Portion) -> PlanStep:
    plan = plan_value(portion.lot.plan_version)
    try:
        return plan.step(portion.step_id)
    except KeyError:
        raise Refused(
            {"lots": f"The plan of lot {portion.lot.code} has no step “{portion.step_id}”."}
        ) from None


def _wrong_place(portions: Sequence[Portion], place: Place) -> str | None:
    if hasattr(place, "closed"):
        return f"{place.name} is closed."
    for step in map(_step, portions):
        if step.place_kind and step.place_kind != place.kind:
            return f"“{step.name}” belongs in a {step.place_kind}; {place.name} is a {place.kind}."
    return None


def _check_portion(portion: Portion, when: Moments) -> str | None:
    lot, step = portion.lot, _step(portion)
    if hasattr(lot, "voided"):
        return f"Lot {lot.code} was voided."
    if hasattr(lot, "finish") and step.kind not in (
        "storage",
        "frozen storage",
        "dispatch",
        "label",
    ):
        return f"Lot {lot.code} is finished; only storage and dispatch follow."
    if when.observed_at < lot.received_at:
        return f"Lot {lot.code} was received later than this."
    free = balance(lot).left - in_loads_now(lot)
    if hasattr(lot, "finish"):
        free = packs_in_hand(lot) - in_loads_now(lot)
    if portion.grams <= 0:
        return f"Type how much of lot {lot.code} goes in."
    if portion.grams > free:
        standing = in_loads_now(lot)
        tail = f" {say_weight(standing)} is in a load that has not ended: end that first."
        return f"Only {say_weight(free)} of lot {lot.code} is free." + (tail if standing else "")
    return None


@taken_once
def start_load(
    person: Person,
    place: Place,
    portions: Sequence[Portion],
    when: Moments,
    note: str = "",
    salting: Salting = NOT_SALTED,
    client_key: str | None = None,
) -> Load:
    """Puts lots into a place; each lot's step begins.  Of fish that is brined or dry-salted it is said how
    long it is to lie and, where its batch is named, what the batch can do for it was seen before."""
    require(person, Right.OPERATOR)
    done = already(client_key, "load started", person)
    if done is not None:
        return Load.objects.get(line=done)
    when.check("started_at")
    if not portions:
        raise Refused({"lots": "Choose at least one lot."})
    kinds = {_step(portion).kind for portion in portions}
    if len(kinds) > 1:
        raise Refused(
            {"lots": "The lots of one load take the same kind of step: " + ", ".join(kinds)}
        )
    [kind] = kinds
    check_declared(kind, salting)
    _check_portions(portions, place, when)
    _check_batch(kind, salting, portions, when)
    notice_lapses([portion.lot for portion in portions], when.recorded_at)
    with act("load started", person, when.recorded_at, client_key) as writing:
        place, portions = _as_they_stand(place, portions)
        _check_portions(portions, place, when)  # again: somebody may have been quicker
        if place.kind in ONE_LOAD_AT_A_TIME:
            standing = Load.objects.filter(place=place, ends=None).first()
            if standing is not None:
                raise Refused(
                    {"place": f"{place.name} still holds load {standing.pk}. End it first."}
                )
        ask = _check_batch(kind, salting, portions, when)
        load = writing.write(
            Load(
                place=place,
                step_kind=kind,
                started_at=when.observed_at,
                entered_at=when.entered_at,
                brine_batch=salting.batch,
                brine_g=salting.brine_g if salting.batch is not None else None,
                declared=salting.declared,
                filtered=(salting.batch is not None and salting.filtered) or None,
                note=" ".join(
                    filter(None, [note.strip(), when.late_reason.strip(), *_said(salting)])
                ),
            )
        )
        parts = [
            writing.write(
                LoadPart(load=load, lot=portion.lot, step=portion.step_id, grams=portion.grams)
            )
            for portion in portions
        ]
        take_pieces_along(writing, parts, when.recorded_at)
        codes = [portion.lot.code for portion in portions]
        writing.say(place=place.name, lots_in_it=codes, **when.said())
        if ask is not None:
            writing.say(batch=ask.batch.code)
            write_measured(writing, load, ask, when)
        later = later_loads(load)
        forget_states(later)
        asking = _not_among(loads_followed_by(load), [load, *loads_before(load), *later])
        judge_loads(writing, [load, *loads_before(load), *later, *asking], when.recorded_at)
    return load


def _check_batch(
    kind: str, salting: Salting, portions: Sequence[Portion], when: Moments
) -> Ask | None:
    """What is asked of the batch that the fish goes into, read anew; None where no batch is named."""
    if salting.batch is None:
        return None
    fish = tuple((portion.lot, portion.grams) for portion in portions)
    batch = batches().get(pk=salting.batch.pk)
    ask = Ask(batch, salting.brine_g, fish, when.observed_at, salting.filtered)
    check_batch_use(kind, ask, when.observed_at)
    check_before(ask, salting.already, salting.seen, salting.waited)
    return ask


def _said(salting: Salting) -> list[str]:
    """What a load's note says of its batch beside the person's own words."""
    found = []
    if salting.batch is not None and salting.filtered:
        found.append("The brine was filtered before this load.")
    if salting.batch is not None and salting.already:
        found.append("The fish already lay in it when this was entered.")
    if salting.batch is not None and salting.waited:
        found.append("Entered without network: what the batch can do was not seen before.")
    return found


def _as_they_stand(place: Place, portions: Sequence[Portion]) -> tuple[Place, Sequence[Portion]]:
    """Place and lots read anew: a row in hand goes on saying that it is not closed or finished."""
    lots = Lot.objects.select_related("plan_version").in_bulk([one.lot.pk for one in portions])
    fresh = [replace(one, lot=lots[one.lot.pk]) for one in portions]
    return Place.objects.select_related("within").get(pk=place.pk), fresh


def _check_portions(portions: Sequence[Portion], place: Place, when: Moments) -> None:
    wrong = {
        f"lot_{portion.lot.pk}": text
        for portion in portions
        if (text := _check_portion(portion, when))
    }
    if text := _wrong_place(portions, place):
        wrong["place"] = text
    if wrong:
        raise Refused(wrong)


def _fresh(load: Load) -> Load:
    """The load as it stands now, not as a page saw it."""
    rows = Load.objects.select_related("place__within")
    return rows.prefetch_related("moves", "ends__accepted").get(pk=load.pk)


def move_start(person: Person, load: Load, when: Moments, reason: str) -> LoadStartMoved:
    """Moves the beginning of a load back, never forward; its limits are judged anew."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why the start is moved."})
    _check_start(load, when)
    notice_lapses(_lots(load), when.recorded_at)
    with act("start of a load moved", person, when.recorded_at) as writing:
        _check_start(load, when)  # again: moved further back meanwhile, this would move it forward
        row = writing.write(
            LoadStartMoved(
                load=load,
                started_at=when.observed_at,
                reason=reason.strip(),
                entered_at=when.entered_at,
            )
        )
        writing.say(place=load.place.name, **when.said())
        _judge_anew(writing, load, when.recorded_at)
    return row


def _check_start(load: Load, when: Moments) -> None:
    """Refuses a start that is not before the one that stands, or before a lot was received."""
    load = _fresh(load)
    if when.observed_at >= started_at(load):
        raise Refused(
            {
                "started_at": "A start can only be moved back. What was read before it counts against "
                "the load; if the load was entered for the wrong fish, end it and say so."
            }
        )
    for part in LoadPart.objects.filter(load=load).select_related("lot"):
        if when.observed_at < part.lot.received_at:
            raise Refused({"started_at": f"Lot {part.lot.code} was received later than this."})


def _not_among(loads: Sequence[Load], others: Sequence[Load]) -> list[Load]:
    known = {load.pk for load in others}
    return [load for load in loads if load.pk not in known]


def _judge_anew(writing: Act, load: Load, at: int) -> list[Judged]:
    load = _fresh(load)
    later = later_loads(load)
    forget_states([load, *later])
    asking = _not_among(loads_followed_by(load), [load, *later])
    return judge_loads(writing, [load, *later, *asking], at)


@taken_once
def end_load(
    person: Person,
    load: Load,
    when: Moments,
    note: str = "",
    correct_because: str = "",
    client_key: str | None = None,
) -> list[Judged]:
    """Ends a load, or puts a wrong end right; what its readings do not show is a deviation now."""
    require(person, Right.OPERATOR)
    if already(client_key, "load ended", person) is not None:
        return []
    _check_end(load, when, correct_because)
    notice_lapses(_lots(load), when.recorded_at)
    with act("load ended", person, when.recorded_at, client_key) as writing:
        load, standing = _check_end(load, when, correct_because)  # again, under the lock
        writing.write(
            LoadEnd(
                load=load,
                ended_at=when.observed_at,
                entered_at=when.entered_at,
                reason="; ".join(filter(None, [correct_because.strip(), when.late_reason.strip()])),
                note=note.strip(),
                corrects=standing,
            )
        )
        writing.say(place=load.place.name, **when.said())
        return _judge_anew(writing, load, when.recorded_at)


def _check_end(load: Load, when: Moments, because: str) -> tuple[Load, LoadEnd | None]:
    """The load as it stands and the end that stands, unless this end cannot be."""
    load = _fresh(load)
    standing = end_of(load)
    if standing is not None and not because.strip():
        raise Changed(
            f"{load.place.name}: this load was already ended. To put the time right, say why."
        )
    when.check("ended_at")
    if when.observed_at > when.recorded_at:
        raise Refused({"ended_at": "This time is still to come. End the load when it is over."})
    start = started_at(load)
    if when.observed_at < start:
        short = show_span(start - when.observed_at)
        raise Refused({"ended_at": f"This is {short} before the load began."})
    return load, standing


def _lots(load: Load) -> list[Lot]:
    return [
        part.lot for part in LoadPart.objects.filter(load=load).select_related("lot__plan_version")
    ]


def say_probe_left(person: Person, load: Load, probe: str, when: Moments, reason: str) -> ProbeLeft:
    """Why a probe left its load before the step was over.  From then on nothing is asked of it: what it
    had shown or broken stays, the other probes govern, and the reason is printed."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why the probe left."})
    replace(when, late_reason=when.late_reason or reason).check()  # one reason says both
    _check_probe(load, probe, when.observed_at)
    notice_lapses(_lots(load), when.recorded_at)
    with act("probe left", person, when.recorded_at) as writing:
        _check_probe(_fresh(load), probe, when.observed_at)  # again: somebody may have been quicker
        writing.concerns(*_lots(load))
        writing.say(**when.said())
        row = writing.write(
            ProbeLeft(
                load=load,
                probe=probe,
                at=when.observed_at,
                reason=reason.strip(),
                entered_at=when.entered_at,
            )
        )
        _judge_anew(writing, load, when.recorded_at)
        return row


def _check_probe(load: Load, probe: str, at: int) -> None:
    """Refuses a probe that the load does not have, one that left already, and a moment at which it
    cannot have left."""
    runs = own_series(load).series.get("fish", {}).get(probe, [])
    if not runs:
        raise Refused({"probe": f"No reading of “{probe}” was taken in this load: choose another."})
    if at < runs[0].at[0]:
        raise Refused({"observed_at": "It had not been read by then: give the moment it left."})
    end = end_of(load)
    if end is not None and at > end.ended_at:
        raise Refused({"observed_at": "The load had ended by then."})
    said = ProbeLeft.objects.filter(load=load, probe=probe).last()
    if said is not None and runs[-1].at[-1] <= said.said_at:
        raise Refused({"probe": f"Why {probe} left is already in the book: “{said.reason}”."})
