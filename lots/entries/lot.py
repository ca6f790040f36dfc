"""Lots: opened, voided, split, merged, reworked, destroyed in part, finished."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field

from lots.core.limits import Observed
from lots.core.plan import Plan
from lots.entries.book import Act, act, already, canonical, taken_once
from lots.entries.files import Upload, keep_file, media_type
from lots.entries.judging import judge_loads, keep_judgements
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.readings import Figure, check_figures, write_reading
from lots.entries.refusals import USED, Refused, Unlikely
from lots.entries.signing import require
from lots.entries.standing import standing
from lots.models.house import Place
from lots.models.lot import (
    Load,
    LoadEnd,
    LoadPart,
    Lot,
    LotFinish,
    LotLink,
    LotVoided,
    PartDestroyed,
)
from lots.models.people import Person, Right
from lots.models.plan import PlanVersion
from lots.models.reading import Attachment, Observation
from lots.queries.house import say_weight
from lots.queries.lineage import balance, in_loads_now, parts_of, through_steps
from lots.queries.plans import newest_versions, plan_value
from lots.queries.release import deviations_of, not_through
from lots.queries.yields import mass_balance

TAKEN_WORDS = ("open", "merge")  # a lot's address is its code; these lead elsewhere


@dataclass(frozen=True)
class NewLot:
    """What a person states when opening a lot."""

    code: str
    version: PlanVersion
    species: str
    origin: str
    supplier: str
    supplier_lot: str
    quantity_g: int
    place: Place
    figures: Sequence[Figure] = ()
    observed: dict[str, bool] = field(default_factory=dict)
    receiving_goes_on: bool = False
    attachment: Upload | None = None
    note: str = ""


def _wrong_code(code: str) -> str | None:
    """Why a new lot cannot have this code, if it cannot."""
    if not code.strip(".") or any(c.isspace() or not c.isprintable() or c in "/?#%" for c in code):
        return "Type a code without spaces or / ? # %, such as TR-0304-1."
    if code.lower() in TAKEN_WORDS or Lot.objects.filter(code=code).exists():
        return f"There is already a lot {code}. Choose another code."
    return None


def _check_new(new: NewLot, when: Moments) -> None:
    wrong: dict[str, str] = {}
    plan = plan_value(new.version)
    code = new.code.strip()
    if text := _wrong_code(code):
        wrong["code"] = text
    if new.species not in plan.species_codes:
        may = ", ".join(f"{one.name} ({one.code})" for one in plan.species)
        wrong["species"] = f"The plan “{plan.title}” does not cover this species. It covers: {may}."
    for one in plan.species:
        if one.code == new.species and new.origin not in one.origin:
            wrong["origin"] = (
                f"The plan covers {one.name} as {one.origin} only: the hazards of {new.origin} fish are "
                "others. A HACCP coordinator can publish a version that covers it."
            )
    if new.quantity_g <= 0:
        wrong["quantity"] = "Type how much came in; it must be more than nothing."
    if not new.supplier.strip():
        wrong["supplier"] = "Name the supplier: it is how the lot is traced back."
    if not newest_versions().filter(pk=new.version.pk).exists():
        wrong["plan"] = "This is not the plan's newest version, or the plan is withdrawn."
    if new.place.kind != "receiving dock":
        wrong["place"] = "Choose the receiving dock that the fish came in at."
    asked = _check_received(new, wrong)
    if wrong:
        raise Refused(wrong | asked)
    when.check("received_at")
    if asked:
        raise Unlikely(asked)


def _check_received(new: NewLot, wrong: dict[str, str]) -> dict[str, str]:
    """Adds what is refused about the temperatures at the dock; returns what is only asked about."""
    try:
        check_figures(new.figures, new.place, "fish")
    except Unlikely as refusal:
        return dict(refusal.fields)
    except Refused as refusal:
        wrong |= refusal.fields
    return {}


def receiving_step(plan: Plan) -> str:
    """The id of the plan's receiving step."""
    return next(step.id for step in plan.steps if step.kind == "receiving")


def asked_at_receiving(plan: Plan) -> list[str]:
    """What the plan's receiving limits want looked for."""
    return [
        leaf.rule.what
        for _, limit in plan.held_at(receiving_step(plan))
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Observed)
    ]


@taken_once
def open_lot(person: Person, new: NewLot, when: Moments, client_key: str | None = None) -> Lot:
    """Opens a lot under the newest version of a plan, with what was read and seen at receiving."""
    require(person, Right.OPERATOR)
    done = already(client_key, "lot opened", person)
    if done is not None:
        first = Lot.objects.filter(line=done).first()
        if first is None:
            raise Refused(USED)
        return first
    _check_new(new, when)
    kind = media_type(new.attachment) if new.attachment else ""
    plan = plan_value(new.version)
    name = next(one.name for one in plan.species if one.code == new.species)
    with act("lot opened", person, when.recorded_at, client_key) as writing:
        _check_new(new, when)  # again: the code may be taken meanwhile, or another version signed
        lot = writing.write(
            Lot(
                code=new.code.strip(),
                plan_version=new.version,
                product=plan.product.name,
                species=new.species,
                species_name=name,
                origin=new.origin,
                supplier=new.supplier.strip(),
                supplier_lot=new.supplier_lot.strip(),
                quantity_g=new.quantity_g,
                received_at=when.observed_at,
                entered_at=when.entered_at,
                note=" ".join(filter(None, [new.note.strip(), when.late_reason.strip()])),
            )
        )
        writing.concerns(lot)
        writing.say(code=lot.code)
        _receive(writing, lot, plan, new, when, kind)
    return lot


def _receive(writing: Act, lot: Lot, plan: Plan, new: NewLot, when: Moments, kind: str) -> None:
    load = writing.write(
        Load(
            place=new.place,
            step_kind="receiving",
            started_at=when.observed_at,
            entered_at=when.entered_at,
        )
    )
    writing.write(LoadPart(load=load, lot=lot, step=receiving_step(plan), grams=new.quantity_g))
    for figure in new.figures:
        write_reading(writing, figure, new.place, load, when)
    for what, found in new.observed.items():
        writing.write(
            Observation(
                load=load,
                what=what,
                found=found,
                observed_at=when.observed_at,
                entered_at=when.entered_at,
                late_reason=when.late_reason,
            )
        )
    if new.attachment is not None:
        kept = keep_file(writing, new.attachment, kind)
        writing.write(Attachment(file=kept, load=load, note="receiving"))
    if not new.receiving_goes_on:
        writing.write(LoadEnd(load=load, ended_at=when.observed_at, entered_at=when.entered_at))
    judge_loads(writing, [load], when.recorded_at)


def void_lot(person: Person, lot: Lot, reason: str, at: int) -> LotVoided:
    """Takes back a lot that was opened in error; it stays in the book with the reason."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why the lot was opened in error."})
    notice_lapses([standing(lot)], at)
    with act("lot voided", person, at) as writing:
        lot = standing(lot)
        _check_void(lot)
        writing.concerns(lot)
        writing.say(code=lot.code)
        for part in parts_of(lot):
            if not part.load.ends.exists():
                ended = max(at, part.load.started_at)
                writing.write(
                    LoadEnd(load=part.load, ended_at=ended, entered_at=at, reason="voided")
                )
        return writing.write(LotVoided(lot=lot, reason=reason.strip()))


def _check_void(lot: Lot) -> None:
    """Refuses to void a lot of which anything was made."""
    if parts := [part for part in parts_of(lot) if part.load.step_kind != "receiving"]:
        raise Refused(
            f"Lot {lot.code} has been in {len(parts)} loads since receiving, so it was not opened in "
            "error. Destroy or finish it instead."
        )
    if lot.gave.exists() or lot.came_from.exists():
        raise Refused(
            f"Fish of lot {lot.code} came from or went into another lot, so it cannot be voided: its "
            "weight would be lost from the book."
        )


def _free(lot: Lot) -> int:
    if hasattr(lot, "finish"):
        raise Refused(
            f"Lot {lot.code} is finished; decide about its packs at its deviation or release."
        )
    return balance(lot).left - in_loads_now(lot)


def _take(lot: Lot, grams: int) -> None:
    free = _free(lot)
    if grams <= 0:
        raise Refused({"grams": "Type a weight of more than nothing."})
    if grams > free:
        raise Refused(
            {
                "grams": f"Only {say_weight(free)} of lot {lot.code} is free. What stands in a load is "
                "free once that load has ended."
            }
        )


def _short(lot: Lot, grams: int) -> str | None:
    """Why this weight cannot be taken from the lot, if it cannot."""
    try:
        _take(lot, grams)
    except Refused as refusal:
        return str(refusal)
    return None


def _offspring(writing: Act, source: Lot, code: str, grams: int, at: int, note: str) -> Lot:
    code = code.strip()
    if text := _wrong_code(code):
        raise Refused({"code": text})
    return writing.write(
        Lot(
            code=code,
            plan_version=source.plan_version,
            product=source.product,
            species=source.species,
            species_name=source.species_name,
            origin=source.origin,
            supplier=source.supplier,
            supplier_lot=source.supplier_lot,
            quantity_g=grams,
            received_at=source.received_at,
            entered_at=at,
            note=note,
        )
    )


def _portion_loads(lot: Lot, grams: int, how: str, named: Collection[int] | None) -> list[int]:
    """The loads whose steps the portion takes with it.

    Without `named` all that have ended, which is only plain where each held the whole lot; otherwise
    the person must say.  Rework leaves out what deviated: it must be done again.
    """
    ended = [part for part in parts_of(lot) if part.load.ends.exists()]
    if how == "rework":
        broken = {state.deviation.load_id for state in deviations_of(lot)}
        ended = [part for part in ended if part.load_id not in broken]
    through = through_steps(lot)
    plan = plan_value(lot.plan_version)
    if named is None:
        left = balance(lot).left
        partly = [step for step in {part.step for part in ended} if through[step] < left]
        if partly:
            names = ", ".join(sorted(plan.step(step).name for step in partly))
            raise Refused(
                {"loads": f"Not all of lot {lot.code} weighs in at: {names}. Tick the loads that this "
                "portion was in."}
            )  # fmt: skip
        named = {part.load_id for part in ended}
    named = {*named, *(part.load_id for part in ended if part.load.step_kind == "receiving")}
    if unknown := set(named) - {part.load_id for part in ended}:
        raise Refused(
            {"loads": f"Load {min(unknown)} cannot be taken along: it has not ended, or it deviated "
            "and must be done again."}
        )  # fmt: skip
    for step in {part.step for part in ended if part.load_id in named}:
        if through[step] < grams:
            raise Refused(
                {"loads": f"Only {say_weight(through[step])} of lot {lot.code} went through "
                f"{plan.step(step).name}."}
            )  # fmt: skip
    return sorted(named)


def split_lot(
    person: Person,
    lot: Lot,
    code: str,
    grams: int,
    reason: str,
    at: int,
    how: str = "split",
    loads: Collection[int] | None = None,
) -> Lot:
    """Makes a new lot of a part of this one; the loads that the portion was in are its history too.

    Args:
        loads: numbers of those loads; None where each step so far held the whole lot.
    """
    require(person, Right.OPERATOR)
    notice_lapses([lot], at)
    if how == "rework" and not reason.strip():
        raise Refused({"reason": "Say why it is reworked."})
    with act("lot split" if how == "split" else "part reworked", person, at) as writing:
        lot = standing(lot)
        _take(lot, grams)
        along = _portion_loads(lot, grams, how, loads)
        new = _offspring(writing, lot, code, grams, at, f"{how} of {lot.code}")
        writing.write(
            LotLink(
                source=lot,
                target=new,
                how=how,
                grams=grams,
                at=at,
                reason=reason.strip(),
                loads=canonical(along),
            )
        )
        writing.concerns(lot, new)
        writing.say(code=lot.code, new=new.code)
    return new


def merge_lots(
    person: Person, portions: Sequence[tuple[Lot, int]], code: str, reason: str, at: int
) -> Lot:
    """Makes one lot of parts of several under the same plan version; it inherits the steps of all."""
    require(person, Right.OPERATOR)
    if len({lot.pk for lot, _ in portions}) < 2 or len({lot.pk for lot, _ in portions}) < len(
        portions
    ):
        raise Refused({"lots": "Choose at least two lots to merge, each once."})
    notice_lapses([lot for lot, _ in portions], at)
    with act("lots merged", person, at) as writing:
        lots = [(standing(lot), grams) for lot, grams in portions]
        if len({(lot.plan_version_id, lot.species) for lot, _ in lots}) > 1:
            raise Refused(
                {"lots": "Lots merge only under the same plan version and of one species."}
            )
        wrong = {f"lot_{lot.pk}": text for lot, grams in lots if (text := _short(lot, grams))}
        if wrong:
            raise Refused(wrong)
        along = {lot.pk: _merged_loads(lot, grams) for lot, grams in lots}
        total = sum(grams for _, grams in lots)
        codes = ", ".join(lot.code for lot, _ in lots)
        new = _offspring(writing, lots[0][0], code, total, at, f"merged from {codes}")
        for lot, grams in lots:
            writing.write(
                LotLink(
                    source=lot,
                    target=new,
                    how="merge",
                    grams=grams,
                    at=at,
                    reason=reason.strip(),
                    loads=canonical(along[lot.pk]),
                )
            )
            writing.concerns(lot)
        writing.concerns(new)
        writing.say(new=new.code, merged=codes)
    return new


def _merged_loads(lot: Lot, grams: int) -> list[int]:
    try:
        return _portion_loads(lot, grams, "merge", None)
    except Refused as refusal:
        words = f"{refusal} Split that portion off first; then merge the new lot."
        raise Refused({f"lot_{lot.pk}": words}) from refusal


def destroy_part(person: Person, lot: Lot, grams: int, reason: str, at: int) -> PartDestroyed:
    """Keeps that a part of the lot was destroyed, and why."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why it was destroyed, and how."})
    notice_lapses([lot], at)
    with act("part destroyed", person, at) as writing:
        lot = standing(lot)
        _take(lot, grams)
        writing.concerns(lot)
        writing.say(code=lot.code)
        return writing.write(PartDestroyed(lot=lot, grams=grams, at=at, reason=reason.strip()))


@taken_once
def finish_lot(
    person: Person,
    lot: Lot,
    packed_g: int,
    packs: int,
    when: Moments,
    note: str = "",
    client_key: str | None = None,
) -> LotFinish:
    """Processing is over.  Refused while a step runs, or one that the plan requires has not been, or
    when more fish comes out than went in."""
    require(person, Right.OPERATOR)
    done = already(client_key, "lot finished", person)
    if done is not None:
        return LotFinish.objects.get(line=done)
    when.check("finished_at")
    notice_lapses([lot], when.recorded_at)
    with act("lot finished", person, when.recorded_at, client_key) as writing:
        lot = standing(lot)
        _check_finish(lot, packed_g, when)
        _ask_for_note(lot, packed_g, note)
        row = writing.write(
            LotFinish(
                lot=lot,
                packed_g=packed_g,
                packs=packs,
                finished_at=when.observed_at,
                entered_at=when.entered_at,
                note=" ".join(filter(None, [note.strip(), when.late_reason.strip()])),
            )
        )
        keep_judgements(writing, lot, when.recorded_at)
        writing.concerns(lot)
        writing.say(code=lot.code, **when.said())
    return row


def _check_finish(lot: Lot, packed_g: int, when: Moments) -> None:
    if hasattr(lot, "finish"):
        raise Refused(f"Lot {lot.code} is already finished.")
    parts = parts_of(lot)
    plan = plan_value(lot.plan_version)
    begun = {part.step for part in parts}
    never = [step.name for step in plan.required_steps if step.id not in begun]
    if never:
        raise Refused(f"Lot {lot.code} cannot be finished: never begun are {', '.join(never)}.")
    required = {step.id for step in plan.required_steps}
    running = [part for part in parts if part.step in required and not part.load.ends.exists()]
    if running:
        names = ", ".join(f"{plan.step(p.step).name} in {p.load.place.name}" for p in running)
        raise Refused(
            f"Lot {lot.code} cannot be finished: still running are {names}. End them first."
        )
    left = balance(lot).left
    if packed_g <= 0:
        raise Refused({"packed": "Type how much was packed."})
    if packed_g > left:
        raise Refused(
            {
                "packed": f"More comes out than went in: {say_weight(packed_g)} packed, but only "
                f"{say_weight(left)} is there. Check both weights."
            }
        )
    if short := not_through(lot, plan, packed_g):
        raise Refused({"packed": "; ".join(short)[:1].upper() + "; ".join(short)[1:] + "."})
    ends = [end.ended_at for p in parts if p.step in required for end in p.load.ends.all()]
    if when.observed_at < max([lot.received_at, *ends]):
        raise Refused({"finished_at": "This is before its last step ended."})


def _ask_for_note(lot: Lot, packed_g: int, note: str) -> None:
    """Asks why more is packed than was there when the lot was last weighed, where no note says so."""
    weighed = mass_balance(lot)
    if packed_g > weighed.last and not note.strip():
        raise Unlikely(
            {
                "note": f"More comes out than went in: {say_weight(packed_g)} packed, but only "
                f"{say_weight(weighed.last)} was there as last weighed ({weighed.last_stage}). Check both "
                "weights. If it is so, say why here."
            }
        )
