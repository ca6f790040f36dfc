"""Brine batches and dry saltings: made, their strength read, named for a load, discarded."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.batch import BadPart, Batch, Part, content_of, doubts, part_from
from lots.core.beforehand import strength_words
from lots.core.brine import (
    FULL_SCALE,
    SATURATED,
    SIXTY_F,
    brine_figures,
    expected_reading,
    pct_of_salometer,
    refractometer,
    salometer_deg,
    true_salometer,
)
from lots.core.salt_water import BadBrineTemp, read_full_scale
from lots.core.units import (
    MILLIONTHS,
    BadQuantity,
    TempUnit,
    read_number,
    read_temperature,
    round_half_up,
    show_number,
    show_quantity,
    to_ninths,
)
from lots.entries.book import act, already, canonical, taken_once
from lots.entries.brining import (
    check_batch_use,
    check_before,
    put_right_measured,
    take_back_measured,
    took_over,
    write_measured,
)
from lots.entries.judging import forget_states, judge_loads, later_loads
from lots.entries.lapses import notice_lapses
from lots.entries.moments import Moments
from lots.entries.refusals import Changed, Refused, Unlikely
from lots.entries.signing import require
from lots.models.house import Instrument
from lots.models.lot import BrineBatch, Load, LoadPart, Lot
from lots.models.people import Person, Right
from lots.models.salt import BatchDiscarded, BatchNamed, BatchReading
from lots.queries.batches import (
    METHOD_OF,
    Ask,
    batch_of,
    batch_value,
    batches,
    is_running,
    uses_of,
)
from lots.queries.house import rules
from lots.queries.sight import started_at

METHODS: Final = ("brine", "dry salt")
MEANS: Final = {"salometer": "°", "refractometer": "%"}
CORRECTS_ITSELF: Final = "corrects itself"


# --- making one -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Typed:
    """One part as typed; `number` is its row on the page, by which refusals name it."""

    number: int
    kind: str
    name: str
    amount: str
    unit: str
    per_measure: str = ""
    nitrite: str = ""


@dataclass(frozen=True, slots=True)
class NewBatch:
    """A batch as typed.  `as_read` is the brine's temperature; `seen` the mark of the doubts shown."""

    code: str
    method: str
    parts: Sequence[Typed]
    as_read: str = ""
    unit: str = "F"
    note: str = ""
    seen: str = ""


@taken_once
def make_batch(
    person: Person, new: NewBatch, when: Moments, client_key: str | None = None
) -> BrineBatch:
    """Keeps what went into a brine or a dry salting.

    Raises:
        Refused: what cannot be, beside the row that it stands in.
        Unlikely: what is odd but possible, until it was seen.
    """
    require(person, Right.OPERATOR)
    done = already(client_key, "batch made", person)
    if done is not None:
        return BrineBatch.objects.get(line=done)
    when.check("made_at")
    batch, temp = _checked(new)
    with act("batch made", person, when.recorded_at, client_key) as writing:
        _check_code(new.code)
        writing.say(code=new.code.strip(), method=batch.method, **when.said())
        return writing.write(
            BrineBatch(
                code=new.code.strip(),
                made_at=when.observed_at,
                entered_at=when.entered_at,
                content=canonical(content_of(batch)),
                as_read=new.as_read.strip() if temp is not None else None,
                unit=_side(new.unit) if temp is not None else None,
                temp=temp,
                note="; ".join(filter(None, [new.note.strip(), when.late_reason.strip()])),
            )
        )


def _side(unit: str) -> TempUnit:
    return "F" if unit == "F" else "C"


def _checked(new: NewBatch) -> tuple[Batch, int | None]:
    """The batch and its temperature, unless something in it cannot be or was not seen."""
    wrong: dict[str, str] = {}
    if new.method not in METHODS:
        wrong["method"] = "Choose whether it is a brine or a dry salting."
    if not new.parts:
        wrong[""] = "Type what went in: at least the water and the salt."
    parts = [part for typed in new.parts if (part := _part(typed, wrong)) is not None]
    temp = _temp(new, wrong)
    if wrong:
        raise Refused(wrong)
    batch = Batch(new.method, tuple(parts))
    _doubted(new, batch, SIXTY_F if temp is None else temp)
    return batch, temp


def _part(typed: Typed, wrong: dict[str, str]) -> Part | None:
    """The part; what is wrong with it is laid beside its field."""
    try:
        return part_from(
            typed.kind, typed.name, typed.amount, typed.unit, typed.per_measure, "g", typed.nitrite
        )
    except BadPart as error:
        wrong[f"{error.field}_{typed.number}"] = str(error)
        return None


def _temp(new: NewBatch, wrong: dict[str, str]) -> int | None:
    """The brine's temperature in ninths; a dry salting has none."""
    if new.method == "dry salt" and not new.as_read.strip():
        return None
    if not new.as_read.strip():
        wrong["as_read"] = "Type the temperature of the brine: salt dissolves by it."
        return None
    try:
        return to_ninths(new.as_read, _side(new.unit))
    except BadQuantity as error:
        wrong["as_read"] = str(error)
        return None


def _doubted(new: NewBatch, batch: Batch, temp: int) -> None:
    """Refuses what cannot be in the batch, and asks about what is odd until it was seen."""
    found = doubts(batch, temp)
    rows = {f"part_{n}": f"amount_{typed.number}" for n, typed in enumerate(new.parts, 1)}
    names = rows | {"parts": "", "temp": "as_read"}
    told: dict[str, str] = {}
    refused = [doubt for doubt in found if doubt.refused]
    for doubt in refused or found:
        name = names.get(doubt.field, "")
        told[name] = " ".join(filter(None, [told.get(name, ""), doubt.text]))
    if refused:
        raise Refused(told)
    if told and (asked := Unlikely(told)).mark != new.seen:
        raise asked


def _check_code(code: str) -> None:
    if not code.strip():
        raise Refused({"code": "Give the batch a code, such as B-12."})
    if BrineBatch.objects.filter(code=code.strip()).exists():
        raise Refused({"code": f"There is already a batch {code.strip()}. Give it another code."})


# --- its strength ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Strength:
    """A strength as an instrument showed it.  `reference` and `full_scale` are the instrument's own where
    it is registered with them, else as typed; `note` says why it is far from the recipe."""

    means: str
    as_read: str
    brine_as_read: str
    brine_unit: str
    instrument: Instrument | None = None
    reference: str = ""
    full_scale: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class _Corrected:
    brine_temp: int
    reference: str
    full_scale: str
    value: int  # millionths of a true °SAL


@taken_once
def check_batch(
    person: Person, batch: BrineBatch, typed: Strength, when: Moments, client_key: str | None = None
) -> BatchReading:
    """Keeps a batch's strength as read, corrected for the brine's temperature, for what the instrument was
    made for and for what sugar lifts a salometer by.  Further from the recipe than the rules allow, it goes in with the reason."""
    require(person, Right.OPERATOR)
    done = already(client_key, "batch read", person)
    if done is not None:
        return BatchReading.objects.get(line=done)
    when.check()
    found = _corrected(batch, typed)
    _check_against_recipe(batch, found, typed)
    with act("batch read", person, when.recorded_at, client_key) as writing:
        _check_time(batch, when)
        writing.say(batch=batch.code, **when.said())
        return writing.write(_reading(batch, typed, found, when))


def correct_batch_reading(
    person: Person, wrong: BatchReading, typed: Strength, reason: str, when: Moments
) -> BatchReading:
    """Puts a wrong reading of a batch right by a new row, and what loads took over of it; all rows stay,
    and the loads are judged anew."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say what was wrong."})
    found = _corrected(wrong.batch, typed)
    if found.value == wrong.value and typed.as_read.strip() == wrong.as_read:
        raise Refused({"as_read": "This is the figure that already stands."})
    seen = Moments(wrong.observed_at, when.entered_at, when.recorded_at, when.device_offset_ms)
    loads = {one.load for one in took_over(wrong)}
    notice_lapses([lot for load in loads for lot in _lots(load)], when.recorded_at)
    with act("batch reading corrected", person, when.recorded_at) as writing:
        if BatchReading.objects.filter(corrects=wrong).exists():
            raise Changed("This reading was already corrected. Correct the newer row instead.")
        row = _reading(wrong.batch, typed, found, seen)
        row.corrects, row.note = wrong, reason.strip()
        writing.say(batch=wrong.batch.code, corrects=wrong.pk, **when.said())
        writing.write(row)
        taken = took_over(wrong)
        put_right_measured(writing, taken, row, reason, when)
        again = [_fresh(load) for load in dict.fromkeys(one.load for one in taken)]
        writing.concerns(*(lot for load in again for lot in _lots(load)))
        judge_loads(writing, again, when.recorded_at)
        return row


def _reading(batch: BrineBatch, typed: Strength, found: _Corrected, when: Moments) -> BatchReading:
    return BatchReading(
        batch=batch,
        instrument=typed.instrument,
        means=typed.means,
        as_read=typed.as_read.strip(),
        unit=MEANS[typed.means],
        brine_as_read=typed.brine_as_read.strip(),
        brine_unit=_side(typed.brine_unit),
        brine_temp=found.brine_temp,
        reference=found.reference,
        full_scale=found.full_scale,
        value=found.value,
        observed_at=when.observed_at,
        entered_at=when.entered_at,
        note="; ".join(filter(None, [typed.note.strip(), when.late_reason.strip()])),
    )


def _check_time(batch: BrineBatch, when: Moments) -> None:
    batch = batches().get(pk=batch.pk)
    if when.observed_at < batch.made_at:
        raise Refused({"observed_at": f"{batch.code} was made later than this."})
    gone = getattr(batch, "discarded", None)
    if gone is not None and when.observed_at > gone.at:
        raise Refused({"observed_at": f"{batch.code} was discarded before this."})


def _corrected(batch: BrineBatch, typed: Strength) -> _Corrected:
    """The true strength of what was read.

    Raises:
        Refused: a figure, a temperature or an instrument's scale that cannot be.
    """
    if batch_value(batch).method != "brine":
        raise Refused(f"{batch.code} is a dry salting: it has no strength to read.")
    if typed.means not in MEANS:
        raise Refused({"means": "Choose what it was read with."})
    if typed.instrument is not None and typed.instrument.kind != typed.means:
        kind = f"{typed.instrument.name} is a {typed.instrument.kind}"
        raise Refused({"instrument": f"{kind}, not a {typed.means}."})
    if typed.means == "refractometer" and batch_value(batch).sugar_mg:
        raise Refused(
            {"means": f"A refractometer reads the sugar in {batch.code} as salt. Use a salometer."}
        )
    figure, temp, lift = _number("as_read", typed.as_read), _ninths(typed), Fraction(0)
    reference, full_scale = _made_for(typed)
    try:
        if typed.means == "salometer":
            pct_of_salometer(figure)  # the scale's end is told before the temperature's
            scale, at = _share(full_scale), _at(reference)
            true = true_salometer(figure, temp, at, scale)
            lift = _sugar_lift(batch_value(batch), temp, at, scale)
        else:
            itself = reference == CORRECTS_ITSELF
            at = SIXTY_F if itself else _at(reference)
            true = salometer_deg(refractometer(figure, temp, at, itself))
    except BadBrineTemp as error:
        raise Refused({"brine_as_read": str(error)}) from error
    except BadQuantity as error:
        raise Refused({"as_read": str(error)}) from error
    if not 0 <= true <= FULL_SCALE + 1:
        raise Refused(
            {
                "as_read": f"Corrected for its temperature this would be {show_number(true, 1)} °SAL, and a "
                "brine has 0 to 100. Read the salometer and the temperature again."
            }
        )
    strength = max(true - lift, Fraction(0))
    return _Corrected(temp, reference, full_scale, round_half_up(strength * MILLIONTHS))


def _sugar_lift(value: Batch, temp: int, reference: int, full_scale: Fraction) -> Fraction:
    """Degrees by which the batch's sugar lifts a salometer, and which are no salt."""
    if not value.sugar_mg:
        return Fraction(0)
    shows = min(expected_reading(value, temp, reference, full_scale), Fraction(FULL_SCALE))
    lifted = true_salometer(shows, temp, reference, full_scale)
    return max(lifted - brine_figures(value, temp).salometer_deg, Fraction(0))


def _number(field: str, text: str) -> Fraction:
    try:
        return read_number(text)
    except BadQuantity as error:
        raise Refused({field: str(error)}) from error


def _ninths(typed: Strength) -> int:
    try:
        return to_ninths(typed.brine_as_read, _side(typed.brine_unit))
    except BadQuantity as error:
        raise Refused({"brine_as_read": str(error)}) from error


def _made_for(typed: Strength) -> tuple[str, str]:
    """What the instrument was made for, as kept: its reference and, of a salometer, its full scale."""
    own = typed.instrument
    reference = (own.reference if own is not None else "") or typed.reference.strip()
    full_scale = (own.full_scale or "" if own is not None else "") or typed.full_scale.strip()
    if typed.means == "refractometer":
        return reference or CORRECTS_ITSELF, ""
    return reference or DEFAULT_REFERENCE, full_scale or DEFAULT_SCALE


DEFAULT_REFERENCE: Final = "60 °F"  # what most salometers are made for
DEFAULT_SCALE: Final = f"{show_number(SATURATED, 3)} %"


def _at(reference: str) -> int:
    try:
        return read_temperature(reference).f
    except BadQuantity as error:
        raise Refused({"reference": str(error)}) from error


def _share(full_scale: str) -> Fraction:
    try:
        return read_full_scale(full_scale)
    except BadQuantity as error:
        raise Refused({"full_scale": str(error)}) from error


def _check_against_recipe(batch: BrineBatch, found: _Corrected, typed: Strength) -> None:
    """Asks for the reason where the reading is far from what the weights give."""
    figures = brine_figures(batch_value(batch), found.brine_temp)
    off = Fraction(found.value, MILLIONTHS) - figures.salometer_deg
    allowed = rules().brining.strength_off
    if abs(off) * MILLIONTHS <= allowed or typed.note.strip():
        return
    read = show_number(Fraction(found.value, MILLIONTHS), 1)
    recipe = strength_words(figures.salometer_deg, figures.salt_pct)
    others = [part.name for part in batch_value(batch).parts if part.kind == "other"]
    lifts = f" {', '.join(others)} may lift a salometer too." if others else ""
    raise Refused(
        {
            "note": f"This is {read} °SAL, and the weights give {recipe}, more than "
            f"{show_quantity(allowed, 'brine strength')} away.{lifts} Check both; if it does read so, say why."
        }
    )


# --- the batch of a load --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Named:
    """The batch that a load lies in, said after it began; `seen`: the mark of the words shown."""

    batch: BrineBatch
    brine_g: int | None
    reason: str
    seen: str = ""


def name_batch(person: Person, load: Load, named: Named, when: Moments) -> BatchNamed:
    """Names the batch that a load already lies in, where none was named or a wrong one; what law or plan
    bar is a fact then, kept and judged.  What the wrong one told of strength and ratio is taken back."""
    require(person, Right.OPERATOR)
    if not named.reason.strip():
        raise Refused({"reason": "Say why it is named now, such as: forgotten at the start."})
    _check_name(load, named)
    lots = _lots(load)
    notice_lapses(lots, when.recorded_at)
    with act("batch named", person, when.recorded_at) as writing:
        load, ask = _check_name(load, named)  # again, under the lock
        writing.concerns(*lots)
        writing.say(place=load.place.name, batch=ask.batch.code, **when.said())
        row = writing.write(
            BatchNamed(
                load=load,
                batch=ask.batch,
                brine_g=named.brine_g,
                entered_at=when.entered_at,
                reason=named.reason.strip(),
            )
        )
        at_start = Moments(ask.at, when.entered_at, when.recorded_at, 0, named.reason, when.by)
        take_back_measured(writing, load, named.reason, when)
        write_measured(writing, load, ask, at_start)
        later = later_loads(load)
        forget_states([load, *later])
        judge_loads(writing, [_fresh(load), *later], when.recorded_at)
        return row


def _fresh(load: Load) -> Load:
    rows = Load.objects.select_related("place__within", "brine_batch", "batch_named__batch")
    return rows.prefetch_related("moves", "ends__accepted").get(pk=load.pk)


def _lots(load: Load) -> list[Lot]:
    parts = LoadPart.objects.filter(load=load).select_related("lot__plan_version")
    return [part.lot for part in parts.order_by("pk")]


def _check_name(load: Load, named: Named) -> tuple[Load, Ask]:
    load = _fresh(load)
    if load.step_kind not in METHOD_OF:
        raise Refused("Only a load that is brined or dry-salted lies in a batch.")
    standing = batch_of(load)
    if getattr(load, "batch_named", None) is not None:
        raise Changed(
            "The batch of this load was already named since it began. Write a note instead."
        )
    if standing is not None and standing.pk == named.batch.pk and load.brine_g == named.brine_g:
        raise Refused({"brine_batch": f"The load was already said to lie in {standing.code}."})
    parts = load.parts.select_related("lot__plan_version").order_by("pk")
    fish = tuple((part.lot, part.grams) for part in parts)
    batch = batches().get(pk=named.batch.pk)
    ask = Ask(batch, named.brine_g, fish, started_at(load), load=load.pk)
    check_batch_use(load.step_kind, ask, ask.at)
    check_before(ask, already=True, seen=named.seen)
    return load, ask


# --- away with it ---------------------------------------------------------------------------------


def discard_batch(person: Person, batch: BrineBatch, reason: str, when: Moments) -> BatchDiscarded:
    """Says that a batch was discarded: from then on no load is put into it."""
    require(person, Right.OPERATOR)
    if not reason.strip():
        raise Refused({"reason": "Say why it is discarded, such as: used three times."})
    when.check_to_come()
    with act("batch discarded", person, when.recorded_at) as writing:
        batch = batches().get(pk=batch.pk)
        if getattr(batch, "discarded", None) is not None:
            raise Changed(f"{batch.code} is already discarded.")
        if when.observed_at < batch.made_at:
            raise Refused({"observed_at": f"{batch.code} was made later than this."})
        _check_empty(batch, when)
        writing.say(code=batch.code, **when.said())
        return writing.write(
            BatchDiscarded(
                batch=batch,
                at=when.observed_at,
                entered_at=when.entered_at,
                reason=reason.strip(),
            )
        )


def _check_empty(batch: BrineBatch, when: Moments) -> None:
    """Refuses to discard a batch in which a load lies, or was put in later."""
    for load in uses_of([batch])[batch.pk]:
        if is_running(load):
            raise Refused(f"Load {load.pk} in {load.place.name} still lies in it. End it first.")
        if started_at(load) > when.observed_at:
            raise Refused({"observed_at": f"Load {load.pk} was put into it later than this."})
