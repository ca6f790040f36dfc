"""Brine batches and dry saltings: what went in, which loads lay in them, what they promise a load."""

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import Any, Final

from django.db.models import Q, QuerySet

from lots.core.batch import Batch, batch_from
from lots.core.beforehand import Beforehand, FishIn, beforehand
from lots.core.brine import SIXTY_F, BrineFigures, brine_figures
from lots.core.cure import CureRule
from lots.core.limits import Cure, Declared, Measured, Rule
from lots.core.plan import Plan
from lots.core.reuse import Use, bars_use
from lots.core.units import MG_PER_G, MILLIONTHS, show_number, show_span
from lots.models.lot import BrineBatch, Load, Lot
from lots.models.salt import BatchReading
from lots.queries.house import cure_tables, rules, say_weight
from lots.queries.plans import plan_value
from lots.queries.sight import end_of, started_at

SALTING_KINDS: Final = ("brine", "dry-salt")  # kinds of step that fish is salted in
METHOD_OF: Final = {"brine": "brine", "dry-salt": "dry salt"}
OFFERED: Final = 40  # batches that a form offers, the newest first


@lru_cache(maxsize=256)
def _value(content: str) -> Batch:
    return batch_from(json.loads(content))


def batch_value(row: BrineBatch) -> Batch:
    """What went into the batch."""
    return _value(row.content)


def temp_of(row: BrineBatch) -> int:
    """The brine's temperature when it was made, ninths; 60 °F, at which brine is tabled, if not kept."""
    return SIXTY_F if row.temp is None else row.temp


def figures_of(row: BrineBatch) -> BrineFigures | None:
    """The figures of a brine at its temperature; None of a dry salting."""
    value = batch_value(row)
    return brine_figures(value, temp_of(row)) if value.method == "brine" else None


def batch_of(load: Load) -> BrineBatch | None:
    """The batch that the load lies in: as named since, or else at its start."""
    named = getattr(load, "batch_named", None)
    return load.brine_batch if named is None else named.batch


def brine_g_of(load: Load) -> int | None:
    """Grams of the batch on the load's fish; None: all of it (or no batch is named)."""
    named = getattr(load, "batch_named", None)
    return load.brine_g if named is None else named.brine_g


# --- which loads lay in it ------------------------------------------------------------------------


def uses_of(batches: Iterable[BrineBatch]) -> dict[int, list[Load]]:
    """The loads that lay in each batch, by batch, in the order that they began."""
    numbers = [row.pk for row in batches]
    match = Q(brine_batch__in=numbers) | Q(batch_named__batch__in=numbers)
    loads = Load.objects.filter(match).select_related("place", "batch_named")
    out: dict[int, list[Load]] = {number: [] for number in numbers}
    for load in loads.prefetch_related("parts__lot", "moves", "ends__accepted").order_by("pk"):
        named = getattr(load, "batch_named", None)
        number = load.brine_batch_id if named is None else named.batch_id
        if number in out:  # not one that was named for another batch since
            out[number].append(load)
    for each in out.values():
        each.sort(key=lambda load: (started_at(load), load.pk))
    return out


def use_value(load: Load) -> Use:
    """The load as the rules of using a batch again see it."""
    return Use(started_at(load), frozenset(part.lot.species for part in load.parts.all()))


def is_running(load: Load) -> bool:
    return end_of(load) is None


# --- readings of its strength ---------------------------------------------------------------------


def standing_readings(row: BrineBatch) -> QuerySet[BatchReading]:
    """The readings of the batch's strength that no other corrects, the newest first."""
    found = row.readings.filter(corrected_by=None).select_related("instrument", "line__person")
    return found.order_by("-observed_at", "-pk")


def counts_for(row: BrineBatch, at: int, uses: Sequence[Load]) -> BatchReading | None:
    """The reading that is the strength of a load beginning then: not older than the rules let it be, and
    not from before another load that weakened the brine; None: it is to be read anew."""
    earlier = [one for one in uses if started_at(one) <= at]
    since = max([at - rules().brining.read_within_ms, *(_weakened_until(one) for one in earlier)])
    return standing_readings(row).filter(observed_at__gte=since, observed_at__lte=at).first()


def _weakened_until(load: Load) -> int:
    """Up to when a load is known to have weakened the brine: its end, or its start while it lies there."""
    end = end_of(load)
    return started_at(load) if end is None else end.ended_at


# --- what is permitted and asked for, by plan -----------------------------------------------------


def _rules_of(plan: Plan) -> list[Rule]:
    limits = [limit for point in plan.control_points for limit in point.limits]
    return [leaf.rule for limit in limits for leaf in limit.leaves()]


def _cures(plan: Plan) -> list[Cure]:
    return [rule for rule in _rules_of(plan) if isinstance(rule, Cure)]


def cure_of(plan: Plan) -> tuple[tuple[CureRule, ...], str]:
    """The rows that permit nitrite under the plan, and the number of the rule that leaves out other fish."""
    found = _cures(plan)
    if not found:
        law = cure_tables()[0]
        return law.rules, law.rule
    return tuple(row for one in found for row in one.rows), found[0].rule


def opens_on_nitrite(plan: Plan) -> bool:
    """Whether a limit of the plan opens a deviation where nitrite is in a fish that may have none."""
    return bool(_cures(plan))


def salt_asked(plan: Plan) -> Fraction | None:
    """The water-phase salt that the plan's pack asks for, per cent; None where it asks for none."""
    lows = [
        leaf.rule.low.c
        for point in plan.control_points
        for limit in point.limits
        for leaf in limit.leaves()
        if isinstance(leaf.rule, Measured)
        and leaf.rule.quantity == "water-phase salt"
        and leaf.rule.low is not None
    ]
    if lows:
        return Fraction(max(lows), MILLIONTHS)
    chilled = plan.product.reduced_oxygen and plan.product.storage == "chilled"
    return rules().brining.chilled_vacuum_pct if chilled else None


def filtering_lifts(lot: Lot) -> bool:
    """Whether the lot's plan lets a filtered batch be used for longer."""
    brining = plan_value(lot.plan_version).brining
    return brining is not None and brining.filtering_lifts


def lengths(lots: Iterable[Lot]) -> dict[str, str]:
    """The words for a short and a long brining, by the plans of these lots: of several, the shortest time
    from which one of them counts it long.  Without a time where no plan states one."""
    plans = {lot.plan_version_id: plan_value(lot.plan_version) for lot in lots}
    found = [rule for plan in plans.values() for rule in _rules_of(plan)]
    longest = min((one.longer_than_ms for one in found if isinstance(one, Declared)), default=None)
    if longest is None:
        return {"short": "short", "long": "long, in a refrigerated place"}
    said = show_span(longest)
    return {
        "short": f"short: at most {said}",
        "long": f"long: longer than {said}, in a refrigerated place",
    }


# --- before the fish goes in ----------------------------------------------------------------------


@dataclass(frozen=True)
class Ask:
    """A load that is to lie in a batch: how much of the batch, which fish, when, and whether the brine was
    filtered since its last load; `load` is its number where it has begun."""

    batch: BrineBatch
    brine_g: int | None
    fish: tuple[tuple[Lot, int], ...]
    at: int
    filtered: bool = False
    load: int | None = None


@dataclass(frozen=True)
class Before:
    """What is said before the fish goes in.  `barred` holds also what the plan bars; `mark` names all of
    it, so that a yes to these words is never taken for a yes to others."""

    said: Beforehand
    asks: tuple[str, ...]
    barred: tuple[str, ...]
    opens: bool  # a deviation opens by itself where nitrite went into fish that may have none
    mark: str = field(default="")


def before_load(ask: Ask, uses: Sequence[Load] | None = None) -> Before:
    """What the batch is and can do for this fish, and what speaks against it."""
    if uses is None:
        uses = uses_of([ask.batch])[ask.batch.pk]
    uses = [load for load in uses if load.pk != ask.load]
    plans = {lot.plan_version_id: plan_value(lot.plan_version) for lot, _ in ask.fish}
    told = beforehand(
        batch_value(ask.batch),
        ask.brine_g,
        [_fish_in(lot, grams, plans[lot.plan_version_id]) for lot, grams in ask.fish],
        temp_of(ask.batch),
        rules().brining.raw_moisture_pct,
        say_weight,
    )
    asks = (*told.asks, *_also_in_use(ask, uses))
    barred = (*told.barred, *_barred_by_plans(ask, plans.values(), uses))
    words = json.dumps([told.facts, told.nitrite, told.salt, asks, barred, ask.batch.pk])
    mark = hashlib.sha256(words.encode()).hexdigest()[:16]
    return Before(told, asks, barred, all(opens_on_nitrite(plan) for plan in plans.values()), mark)


def _fish_in(lot: Lot, grams: int, plan: Plan) -> FishIn:
    permitted, rule = cure_of(plan)
    return FishIn(lot.code, lot.species_name, lot.species, grams, permitted, rule, salt_asked(plan))


def _barred_by_plans(ask: Ask, plans: Iterable[Plan], uses: Sequence[Load]) -> list[str]:
    before = [use_value(load) for load in uses if started_at(load) <= ask.at]
    now = Use(ask.at, frozenset(lot.species for lot, _ in ask.fish))
    names = {lot.species: lot.species_name for lot, _ in ask.fish}
    names |= {part.lot.species: part.lot.species_name for one in uses for part in one.parts.all()}
    found = [
        _named(text, names)
        for plan in plans
        if plan.brining is not None
        for text in bars_use(plan.brining, before, now, ask.filtered)
    ]
    return list(dict.fromkeys(found))


def _named(text: str, names: dict[str, str]) -> str:
    """The sentence with the fish's names for their codes."""
    for code, name in names.items():
        text = text.replace(code, name)
    return text


def _also_in_use(ask: Ask, uses: Sequence[Load]) -> list[str]:
    """Asked where loads that lie in it now have, with this one, more of the batch than there is."""
    total = batch_value(ask.batch).total_mg // MG_PER_G
    running = [load for load in uses if is_running(load)]
    taken = sum(total if (g := brine_g_of(load)) is None else g for load in running)
    if not running or taken + (total if ask.brine_g is None else ask.brine_g) <= total:
        return []
    where = ", ".join(f"load {load.pk} in {load.place.name}" for load in running)
    return [
        f"{ask.batch.code} weighs {say_weight(total)}, and {say_weight(taken)} of it is still on {where}: "
        "is this much of it left?"
    ]


def ask_of(load: Load) -> Ask | None:
    """A load that lies in a batch, as it would be asked about; None where no batch is named."""
    batch = batch_of(load)
    if batch is None:
        return None
    parts = load.parts.select_related("lot__plan_version").order_by("pk")
    fish = tuple((part.lot, part.grams) for part in parts)
    filtered = bool(load.filtered) and not hasattr(load, "batch_named")
    return Ask(batch, brine_g_of(load), fish, started_at(load), filtered, load.pk)


# --- pages ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class BatchLine:
    """A batch as the list shows it."""

    row: BrineBatch
    value: Batch
    figures: BrineFigures | None
    loads: list[Load]
    running: list[Load]
    read: BatchReading | None

    @property
    def state(self) -> str:
        """In a word: discarded, in use, used or fresh."""
        if getattr(self.row, "discarded", None) is not None:
            return "discarded"
        if self.running:
            return "in use"
        return "used" if self.loads else "fresh"


def batches() -> QuerySet[BrineBatch]:
    """Every batch, the newest first."""
    found = BrineBatch.objects.select_related("line__person", "discarded__line__person")
    return found.order_by("-made_at", "-pk")


def batch_lines(found: Sequence[BrineBatch]) -> list[BatchLine]:
    """The batches as a list shows them; asks the same few questions however many they are."""
    loads = uses_of(found)
    newest: dict[int, BatchReading] = {}
    read = BatchReading.objects.filter(batch__in=[row.pk for row in found], corrected_by=None)
    for one in read.order_by("observed_at", "pk"):
        newest[one.batch_id] = one
    return [
        BatchLine(
            row,
            batch_value(row),
            figures_of(row),
            loads[row.pk],
            [load for load in loads[row.pk] if is_running(load)],
            newest.get(row.pk),
        )
        for row in found
    ]


def usable_batches(method: str) -> list[BrineBatch]:
    """Batches of a method that a load may be put into, the newest first."""
    said = (
        f'"method":"{method}"'  # as canonical JSON has it; within a name its marks would be escaped
    )
    return list(batches().filter(discarded=None, content__contains=said)[:OFFERED])


def batch_words(row: BrineBatch) -> str:
    """A batch as a form offers it: its code, what it is, what it weighs."""
    value, figures = batch_value(row), figures_of(row)
    what = "dry salt" if figures is None else f"brine {show_number(figures.salometer_deg, 1)} °SAL"
    cure = ", with nitrite" if value.nitrite_mg else ""
    return f"{row.code}: {what}{cure}, {say_weight(value.total_mg // MG_PER_G)}"


def next_code() -> str:
    """A code for the next batch that no batch bears."""
    count = BrineBatch.objects.count() + 1
    while BrineBatch.objects.filter(code=f"B-{count}").exists():
        count += 1
    return f"B-{count}"


def batch_page(row: BrineBatch) -> dict[str, Any]:
    """Everything of one batch."""
    [line] = batch_lines([row])
    readings = row.readings.select_related(
        "instrument", "line__person", "corrects", "corrected_by"
    ).order_by("-observed_at", "-pk")
    return {"one": line, "batch": row, "value": line.value, "figures": line.figures,
            "temp": temp_of(row), "readings": list(readings)}  # fmt: skip
