"""Fish put into a batch: what is refused and asked about it, and what of the batch counts as measured in
the load.  Shared by the entries."""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.limits import Measured
from lots.core.units import (
    MG_PER_G,
    MILLIONTHS,
    QUANTITIES,
    QUANTITY_DECIMALS,
    show_number,
    show_temperature,
)
from lots.entries.book import Act
from lots.entries.moments import Moments
from lots.entries.readings import Figure, write_reading
from lots.entries.refusals import Refused, Unlikely
from lots.models.lot import BrineBatch, Load, LoadPart
from lots.models.reading import Reading
from lots.models.salt import BatchReading
from lots.queries.batches import (
    METHOD_OF,
    Ask,
    Before,
    batch_value,
    before_load,
    counts_for,
    uses_of,
)
from lots.queries.house import say_weight
from lots.queries.plans import plan_value

STRENGTH, RATIO = "brine strength", "brine to fish ratio"
DECLARED = ("short", "long")
LOOK = "Look at what this batch is and can do for the fish, and say that you have."


@dataclass(frozen=True, slots=True)
class Salting:
    """What is said of a brining or dry salting at its start.

    `declared`: "short" or "long", as the plan counts it.  `already`: the fish lies in it, so that what may not be is
    a fact to be kept.  `seen`: the mark of the words that the person was shown (`Before.mark`).  `waited`:
    the entry lay on a tablet without network, where nothing could be shown and the fish went in.
    """

    declared: str = ""
    batch: BrineBatch | None = None
    brine_g: int | None = None
    filtered: bool = False
    already: bool = False
    seen: str = ""
    waited: bool = False


NOT_SALTED: Final = Salting()


def check_declared(kind: str, salting: Salting) -> None:
    """Refuses a brining of which nobody said how long it is to last, and a batch for a step without
    salting."""
    if kind not in METHOD_OF:
        if salting.batch is not None or salting.declared:
            raise Refused(
                {"brine_batch": "Only fish that is brined or dry-salted lies in a batch."}
            )
        return
    if salting.declared not in DECLARED:
        raise Refused({"declared": "Say how long the fish is to lie in it: short, or long."})


def check_batch_use(kind: str, ask: Ask, at: int) -> None:
    """Refuses a batch that the load cannot lie in, whatever anybody says.

    Args:
        at: when the load began, ms UTC.
    """
    row, total = ask.batch, batch_value(ask.batch).total_mg
    if batch_value(row).method != METHOD_OF.get(kind):
        what = "a brine" if batch_value(row).method == "brine" else "a dry salting"
        raise Refused({"brine_batch": f"{row.code} is {what}, and this step is “{kind}”."})
    if at < row.made_at:
        raise Refused({"brine_batch": f"{row.code} was made later than this."})
    gone = getattr(row, "discarded", None)
    if gone is not None and at > gone.at:
        raise Refused({"brine_batch": f"{row.code} was discarded before this: {gone.reason}."})
    if ask.brine_g is not None and ask.brine_g <= 0:
        raise Refused({"brine_g": f"Type how much of {row.code} goes on the fish."})
    if ask.brine_g is not None and ask.brine_g * MG_PER_G > total:
        most = say_weight(total // MG_PER_G)
        raise Refused({"brine_g": f"{row.code} weighs {most} in all: type that or less."})


def check_before(ask: Ask, already: bool, seen: str, waited: bool = False) -> Before:
    """What is said before the fish goes in, once the person has seen it or the fish lies in it anyway.

    Raises:
        Refused: law, plan or weights bar it, and the fish does not lie in it yet.
        Unlikely: the words as they stand now have not been seen.
    """
    before = before_load(ask, uses_of([ask.batch])[ask.batch.pk])
    if waited:
        return before
    if before.barred and not already:
        raise Refused({"brine_batch": " ".join(before.barred)})
    if seen != before.mark:
        raise Unlikely({"": LOOK})
    return before


def write_measured(writing: Act, load: Load, ask: Ask, when: Moments) -> list[Reading]:
    """Keeps as measured in the load what its limits ask for and the batch tells: its strength as last
    read, and the ratio from the weights; each says where it comes from."""
    asked = _asked(load.parts.select_related("lot__plan_version").order_by("pk"))
    if batch_value(ask.batch).method != "brine":
        return []
    found: list[tuple[Figure, Moments]] = []
    if STRENGTH in asked:
        uses = [one for one in uses_of([ask.batch])[ask.batch.pk] if one.pk != load.pk]
        row = counts_for(ask.batch, ask.at, uses)
        found += [(_strength(row, ask.batch), _as_read(row, when))] if row is not None else []
    if RATIO in asked:
        found.append((_ratio(ask), when))
    return [write_reading(writing, figure, load.place, load, at) for figure, at in found]


def _asked(parts: Iterable[LoadPart]) -> set[str]:
    """What the limits of the load's step want measured on the spot."""
    return {
        leaf.rule.quantity
        for part in parts
        for _, limit in plan_value(part.lot.plan_version).held_at(part.step)
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Measured) and not leaf.rule.laboratory
    }


def _floor(value: Fraction) -> str:
    """The figure with four decimals, cut downwards: nothing is rounded in the fish's favour."""
    scale = 10**QUANTITY_DECIMALS
    return show_number(Fraction(value * scale // 1, scale), QUANTITY_DECIMALS)


def _figure(quantity: str, value: Fraction, note: str, row: BatchReading | None = None) -> Figure:
    unit = next(iter(QUANTITIES[quantity]))
    instrument = None if row is None else row.instrument
    return Figure(_floor(value), unit, quantity=quantity, instrument=instrument, note=note)


def _strength(row: BatchReading, batch: BrineBatch) -> Figure:
    unit = "F" if row.brine_unit == "F" else "C"
    note = (
        f"{batch.code} by {row.means}: read {row.as_read} {row.unit}, brine at "
        f"{show_temperature(row.brine_temp, unit)}, corrected"
    )
    return _figure(STRENGTH, Fraction(row.value, MILLIONTHS), note, row)


def _as_read(row: BatchReading, when: Moments) -> Moments:
    """The moments of the batch's own reading: it was not entered late because the fish went in later."""
    reason = row.note if row.entered_at > row.observed_at else ""
    return Moments(row.observed_at, row.entered_at, when.recorded_at, 0, reason[:300], when.by)


def _ratio(ask: Ask) -> Figure:
    grams = sum(grams for _, grams in ask.fish)
    used_mg = batch_value(ask.batch).total_mg if ask.brine_g is None else ask.brine_g * MG_PER_G
    brine = say_weight(used_mg // MG_PER_G)
    note = f"From the weights: {brine} of {ask.batch.code} on {say_weight(grams)} of fish"
    return _figure(RATIO, Fraction(used_mg, grams * MG_PER_G), note)


def take_back_measured(writing: Act, load: Load, reason: str, when: Moments) -> None:
    """Takes back what the batch named at the load's start told of strength and ratio: it was another."""
    told = Reading.objects.filter(load=load, line=load.line_id, quantity__in=(STRENGTH, RATIO))
    for first in told.select_related("place", "instrument").order_by("pk"):
        row = _standing(first)
        if row.withdrawn:
            continue
        seen = Moments(row.observed_at, when.entered_at, when.recorded_at, when.device_offset_ms)
        figure = Figure(row.as_read, row.unit, row.probe, row.quantity, row.instrument)
        write_reading(writing, figure, row.place, load, seen, row, reason, withdrawn=True)


def _standing(row: Reading) -> Reading:
    """What a reading was put right to, as often as it was."""
    while (later := Reading.objects.filter(corrects=row).first()) is not None:
        row = later
    return row


def took_over(row: BatchReading) -> list[Reading]:
    """The readings of loads that are this reading of their batch."""
    loads = [load.pk for load in uses_of([row.batch])[row.batch_id]]
    found = Reading.objects.filter(
        load__in=loads,
        quantity=STRENGTH,
        observed_at=row.observed_at,
        entered_at=row.entered_at,
        corrected_by=None,
        withdrawn=False,
    )
    return list(found.select_related("place__within", "load").order_by("pk"))


def put_right_measured(
    writing: Act, wrong: Iterable[Reading], row: BatchReading, reason: str, when: Moments
) -> None:
    """Puts right what loads took over of a reading of their batch; `row` is the right one."""
    for one in wrong:
        seen = Moments(one.observed_at, when.entered_at, when.recorded_at, when.device_offset_ms)
        write_reading(writing, _strength(row, row.batch), one.place, one.load, seen, one, reason)
