"""Rows → what the record says of the lot's salt: batches, pieces, weights, samples sent; and of its pack."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction

from lots.core import record_salt as paper
from lots.core.moments import show_day
from lots.core.pieces import Spread, show_mg, show_um, spread
from lots.core.reckoned import batch_figures, use_figures
from lots.core.salting import PER_CENT
from lots.core.units import MILLIONTHS, show_number, show_span
from lots.core.weights import StageYield
from lots.models.lot import BrineBatch, LaboratorySent, Load, Lot
from lots.models.salt import BatchReading, PieceSample, StepWeight
from lots.queries.batches import batch_of, batch_value, brine_g_of, uses_of
from lots.queries.house import rules, say_weight
from lots.queries.judgements import Judged
from lots.queries.laboratory import awaited_of, wanted_of
from lots.queries.pack import Ingredient, PackSheet, ToFreezer, pack_sheet
from lots.queries.pieces import pieces_of, samples_of
from lots.queries.record_loads import initials_of
from lots.queries.yields import dried_share, mass_balance, yields

BATCH_PART = ("kind", "name", "as_read", "unit", "mg", "mg_per_measure", "nitrite_millionths")


def _say(share: Fraction) -> str:
    return f"{show_number(share * PER_CENT, 1)} %"


# --- batches --------------------------------------------------------------------------------------


def batches(loads: Iterable[Load]) -> tuple[paper.BatchFacts, ...]:
    """The batches that these loads lay in, in the order that they were made."""
    mine: dict[int, list[Load]] = {}
    rows: dict[int, BrineBatch] = {}
    for load in loads:
        row = batch_of(load)
        if row is not None:
            rows[row.pk] = row
            mine.setdefault(row.pk, []).append(load)
    all_loads = uses_of(rows.values())
    in_order = sorted(rows.values(), key=lambda row: (row.made_at, row.pk))
    return tuple(_batch(row, mine[row.pk], len(all_loads[row.pk])) for row in in_order)


def _batch(row: BrineBatch, loads: Sequence[Load], in_all: int) -> paper.BatchFacts:
    value, gone = batch_value(row), getattr(row, "discarded", None)
    return paper.BatchFacts(
        code=row.code,
        method=value.method,
        made_at=row.made_at,
        entered_at=row.entered_at,
        made_by=initials_of(row.line),
        brine_temp=row.temp or 0,
        temp_known=int(row.temp is not None),
        parts=tuple(
            paper.PartFacts(**{name: getattr(part, name) for name in BATCH_PART})
            for part in value.parts
        ),
        figures=batch_figures(value, row.temp),
        checks=tuple(_check(one) for one in _readings(row)),
        uses=tuple(_use(row, load) for load in loads),
        loads_in_all=in_all,
        discarded_at=gone.at if gone else 0,
        discarded_by=initials_of(gone.line) if gone else "",
        discarded_why=gone.reason if gone else "",
        note=row.note,
    )


def _readings(row: BrineBatch) -> Iterable[BatchReading]:
    found = row.readings.select_related("instrument", "line__person", "corrected_by")
    return found.order_by("id")


def _check(row: BatchReading) -> paper.BatchCheckFacts:
    return paper.BatchCheckFacts(
        number=row.pk,
        observed_at=row.observed_at,
        entered_at=row.entered_at,
        initials=initials_of(row.line),
        means=row.means,
        instrument=row.instrument.name if row.instrument else "",
        as_read=f"{row.as_read} {row.unit}",
        brine=f"{row.brine_as_read} °{row.brine_unit}",
        reference=row.reference,
        full_scale=row.full_scale,
        value=row.value,
        found=f"{show_number(Fraction(row.value, MILLIONTHS), 1, 1)} °SAL",
        note=row.note,
        corrects=row.corrects_id or 0,
        corrected_by=row.corrected_by.pk if hasattr(row, "corrected_by") else 0,
    )


def _use(row: BrineBatch, load: Load) -> paper.BatchUseFacts:
    named = getattr(load, "batch_named", None)
    fish_g = sum(part.grams for part in load.parts.all())
    brine_g = brine_g_of(load)
    moisture = round(rules().brining.raw_moisture_pct * MILLIONTHS)
    return paper.BatchUseFacts(
        load=load.pk,
        brine_g=brine_g or 0,
        fish_g=fish_g,
        moisture=moisture,
        declared=load.declared,
        named_late=named.reason if named else "",
        figures=use_figures(batch_value(row), brine_g, fish_g, moisture),
    )


# --- pieces and weights ---------------------------------------------------------------------------


def pieces(lot: Lot) -> tuple[paper.PieceSampleFacts, ...]:
    """Every sample of pieces, those put right before those that put them right."""
    rows = [row for shown in samples_of(lot) for row in (shown.row, *shown.past)]
    return tuple(_sample(row) for row in sorted(rows, key=lambda row: row.pk))


def _sample(row: PieceSample) -> paper.PieceSampleFacts:
    found = pieces_of(row)
    return paper.PieceSampleFacts(
        number=row.pk,
        load=row.load_id or 0,
        observed_at=row.observed_at,
        entered_at=row.entered_at,
        initials=initials_of(row.line),
        instrument=row.instrument.name if row.instrument else "",
        pieces=tuple(
            paper.PieceFacts(
                f"{one.thickness} {one.thickness_unit}" if one.um else "",
                f"{one.weight} {one.weight_unit}" if one.mg else "",
                one.um,
                one.mg,
            )
            for one in found
        ),
        figures=tuple(_spreads(row)),
        note=row.note,
        reason=row.reason,
        corrects=row.corrects_id or 0,
        corrected_by=row.corrected_by.pk if hasattr(row, "corrected_by") else 0,
    )


def _spreads(row: PieceSample) -> Iterator[paper.Reckoned]:
    found = pieces_of(row)
    yield from _spread("thickness", spread(one.um for one in found), show_um)
    yield from _spread("weight", spread(one.mg for one in found), show_mg)


def _spread(
    name: str, found: Spread | None, show: Callable[[int | Fraction], str]
) -> Iterator[paper.Reckoned]:
    if found is None:
        return
    words = f"{show(found.smallest)} to {show(found.largest)}, mean {show(found.mean)}"
    yield paper.Reckoned(name, words, f"{found.count} pieces")


def weights(lot: Lot) -> tuple[paper.WeightFacts, ...]:
    """Every weight that was entered, those put right too."""
    rows = StepWeight.objects.filter(lot=lot).select_related("line__person", "corrected_by")
    return tuple(
        paper.WeightFacts(
            number=row.pk,
            load=row.load_id or 0,
            stage=row.stage,
            as_read=row.as_read,
            unit=row.unit,
            grams=row.grams,
            observed_at=row.observed_at,
            entered_at=row.entered_at,
            initials=initials_of(row.line),
            note=row.note,
            reason=row.reason,
            corrects=row.corrects_id or 0,
            corrected_by=row.corrected_by.pk if hasattr(row, "corrected_by") else 0,
        )
        for row in rows.order_by("id")
    )


def yields_said(lot: Lot) -> tuple[paper.Reckoned, ...]:
    """What each stage left of the one before, and where the lot's weight went; none where nothing was
    weighed but what came in."""
    stages = yields(lot)
    if len(stages) < 2:
        return ()
    there = mass_balance(lot)
    how = (
        f"{say_weight(there.came_in)} came in; {say_weight(there.given)} went into other lots, "
        f"{say_weight(there.destroyed)} was destroyed, {say_weight(there.last)} {there.last_stage}"
    )
    name = "lost in the work" if there.lost >= 0 else "more than came in"
    return (
        *(one for stage in stages[1:] for one in _yield(stage)),
        paper.Reckoned(name, say_weight(abs(there.lost)), how),
    )


def _yield(one: StageYield) -> Iterator[paper.Reckoned]:
    if one.share is None or one.of_grams is None:
        yield paper.Reckoned(one.stage, say_weight(one.grams), one.partly)
        return
    how = f"{say_weight(one.grams)} of {say_weight(one.of_grams)} {one.before}"
    yield paper.Reckoned(one.stage, _say(one.share), how)


def salt_said(lot: Lot) -> tuple[paper.Reckoned, ...]:
    """What of the lot as a whole bears on its salt beside its batches."""
    share = dried_share(lot)
    if share is None:
        return ()
    how = "its weight as smoked over its weight as brined: water went, salt stayed"
    return (paper.Reckoned("left by drying and smoking", _say(share), how),)


# --- laboratory and pack --------------------------------------------------------------------------


def sent(lots: Sequence[Lot]) -> tuple[paper.SentFacts, ...]:
    """Samples of these lots that went to a laboratory; the lot is named where it is not the first."""
    rows = LaboratorySent.objects.filter(lot__in=lots).select_related("lot", "line__person")
    return tuple(
        paper.SentFacts(
            number=row.pk,
            of=f"of lot {row.lot.code}" if row.lot and row.lot_id != lots[0].pk else "",
            laboratory=row.laboratory,
            portion=row.portion,
            wanted=tuple(wanted_of(row)),
            sampled_at=row.sampled_at,
            entered_at=row.entered_at,
            initials=initials_of(row.line),
            answered=_answered(row),
            note=row.note,
        )
        for row in rows.prefetch_related("results").order_by("id")
    )


def _answered(row: LaboratorySent) -> str:
    waits = awaited_of(row)
    if not waits:
        return "has come"
    return "" if len(waits) == len(wanted_of(row)) else f"not yet: {', '.join(waits)}"


def pack(lot: Lot, at: int, judged: Sequence[Judged]) -> tuple[paper.PackFacts, ...]:
    """How the packs are to be kept and what must stand on them; none where nothing is packed yet."""
    if not hasattr(lot, "finish"):
        return ()
    return (_pack(pack_sheet(lot, at, judged)),)


def _pack(sheet: PackSheet) -> paper.PackFacts:
    fish = f"fish ({sheet.lot.species_name})"
    return paper.PackFacts(
        storage=sheet.storage.kind,
        why=sheet.storage.why,
        statement=sheet.statement.text,
        statement_source=". ".join(filter(None, [sheet.statement.source, sheet.statement.note])),
        allergens=(fish, *(one for one in sheet.allergens if one != fish)),
        additives=tuple(_additive(one) for one in sheet.ingredients),
        use_by=tuple(_dates(sheet)),
        thawed=tuple(
            paper.ThawFacts(
                part.row.grams, part.row.at, part.row.entered_at, initials_of(part.row.line), part.row.reason
            )
            for part in sheet.thawed
        ),
    )  # fmt: skip


def _additive(one: Ingredient) -> str:
    return one.name if one.on_plan else f"{one.name} (in a batch, not on the plan’s list)"


def _dates(sheet: PackSheet) -> Iterator[paper.Reckoned]:
    if sheet.use_by is None:
        yield paper.Reckoned("use by", "", sheet.not_yet)
    else:
        one = sheet.use_by
        how = f"{one.span} from {show_day(one.counted)}, {one.counted_from}"
        yield paper.Reckoned("use by", one.words, how)
    for part in sheet.thawed:
        how = f"{say_weight(part.row.grams)}: {part.use_by.span or 'no time in the plan'}"
        yield paper.Reckoned("use by, thawed", part.use_by.words, how)
    if sheet.to_freezer is not None:
        yield _to_freezer(sheet.to_freezer)


def _to_freezer(found: ToFreezer) -> paper.Reckoned:
    longest = found.longest_ms
    how = f"{say_weight(found.grams)} of {say_weight(found.of)} in loads that freeze"
    words = "not in a freezer yet" if longest is None else show_span(longest)
    return paper.Reckoned("from packing to the freezer", words, how)
