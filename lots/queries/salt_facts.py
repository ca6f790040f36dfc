"""What limits on brining, cure, packing and laboratories are held against: what was declared, the nitrite
that went in, where the fish went on to, verifications of the process, samples whose result has not come.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any

from lots.core.batch import batch_from
from lots.core.cure import ingoing_of
from lots.core.judging import CureUse, Sample, Went
from lots.core.limits import Cure, Declared, Followed, Limit, Measured, Rule, asks_for_nitrite
from lots.core.units import MILLIONTHS, MS_PER_DAY
from lots.models.lot import (
    BrineBatch,
    LaboratoryResult,
    LaboratorySample,
    LaboratorySent,
    Load,
    LoadPart,
    Lot,
)
from lots.models.salt import BatchNamed
from lots.queries.house import rules
from lots.queries.plans import plan_value
from lots.queries.sight import ALL, Sight, start_is_late, started_at
from lots.queries.went_on import went_on

More = dict[str, Any]  # fields of the judging's Facts
Moments = dict[str, list[int]]  # quantity → when
Samples = dict[str, list[Sample]]


class SaltRows:
    """The rows that several steps' facts come from, each kind read at once and only when it is asked for."""

    def __init__(self, parts: Sequence[LoadPart], lots: Iterable[Lot], sight: Sight = ALL) -> None:
        self.loads = {part.load_id: part.load for part in parts}
        self.lots = {lot.pk for lot in lots} | {part.lot_id for part in parts}
        self.sight = sight

    def facts(
        self, part: LoadPart, limits: Iterable[Limit], lots: Sequence[Lot]
    ) -> tuple[More, More]:
        """What these limits of a step look at, as known and as monitored.

        Args:
            lots: those whose samples speak for the fish.
        """
        asked = [leaf.rule for limit in limits for leaf in limit.leaves()]
        known: More = {}
        if any(isinstance(rule, Cure) or asks_for_nitrite(rule) for rule in asked):
            known |= {"species": part.lot.species, "fish": part.lot.species_name}
        if any(isinstance(rule, Cure) for rule in asked):
            known["cures"] = self._cures(part.load)
        known |= self._laboratories(part, asked, lots)
        monitored = dict(known)
        if any(isinstance(rule, Declared) for rule in asked):
            known["declared"] = part.load.declared
            late = _declared_late(part.load, self.sight)
            monitored["declared"] = "" if late else part.load.declared
        if later := {rule.by for rule in asked if isinstance(rule, Followed)}:
            known |= {"grams": part.grams, "followed": self._followed(part, later, late=False)}
            monitored |= {"grams": part.grams, "followed": self._followed(part, later, late=True)}
        return known, monitored

    # --- nitrite that went in ---------------------------------------------------------------------

    @cached_property
    def _named(self) -> Mapping[int, BatchNamed]:
        """The batches that were named after the load had begun."""
        rows = self.sight.rows(BatchNamed.objects.filter(load__in=self.loads))
        return {row.load_id: row for row in rows.select_related("batch")}

    @cached_property
    def _batches(self) -> Mapping[int, BrineBatch]:
        numbers = {load.brine_batch_id for load in self.loads.values() if load.brine_batch_id}
        return BrineBatch.objects.in_bulk(numbers)

    @cached_property
    def _fish_in(self) -> Mapping[int, int]:
        """Grams of fish in each load."""
        out: dict[int, int] = {}
        for load, grams in LoadPart.objects.filter(load__in=self.loads).values_list(
            "load", "grams"
        ):
            out[load] = out.get(load, 0) + grams
        return out

    def _cures(self, load: Load) -> tuple[CureUse, ...]:
        """The batch that the fish lies in with the nitrite that it brought, whichever way it was named."""
        named = self._named.get(load.pk)
        batch = named.batch if named else self._batches.get(load.brine_batch_id or 0)
        if batch is None:
            return ()
        brine_g = named.brine_g if named else load.brine_g
        return (_use(batch, self._fish_in.get(load.pk, 0), brine_g, started_at(load, self.sight)),)

    # --- where it went on to ----------------------------------------------------------------------

    def _followed(
        self, part: LoadPart, steps: Iterable[str], late: bool
    ) -> dict[str, tuple[Went, ...]]:
        return {step: tuple(went_on(part, step, self.sight, late)) for step in sorted(steps)}

    # --- laboratories -----------------------------------------------------------------------------

    def _laboratories(self, part: LoadPart, asked: Sequence[Rule], lots: Sequence[Lot]) -> More:
        measured = [rule for rule in asked if isinstance(rule, Measured)]
        found: More = {}
        by_process = {r.quantity for r in measured if r.verified_within_ms is not None}
        if by_process:
            of_plan = self._verified.get(self._plan_of.get(part.lot_id, 0), {})
            found["verified"] = {q: tuple(of_plan.get(q, ())) for q in sorted(by_process)}
        sampled = {rule.quantity for rule in measured if rule.when_sampled}
        if sampled:
            each = [self.awaited.get(lot.pk, {}) for lot in lots]
            found["sampled"] = {
                quantity: tuple(at for one in each for at in one.get(quantity, ()))
                for quantity in sorted(sampled)
            }
        return found

    @cached_property
    def _plan_of(self) -> Mapping[int, int]:
        """The plan that each lot was made under, whatever version it is held against on trial."""
        rows = Lot.objects.filter(pk__in=self.lots)
        return dict(rows.values_list("pk", "plan_version__plan"))

    @cached_property
    def _verified(self) -> Mapping[int, Samples]:
        """What verifications of each plan's process found, in order of time."""
        return verified_by_plan(self._plan_of.values(), self.sight)

    @cached_property
    def awaited(self) -> Mapping[int, Moments]:
        """By lot and quantity, when samples were taken whose result has not come."""
        return awaited_by_lot(self.lots, self.sight)


def _declared_late(load: Load, sight: Sight) -> bool:
    """Whether it was said late how long the fish is to lie, and nobody has accepted that."""
    late = load.entered_at - started_at(load, sight) > rules().late_after_ms
    return late and start_is_late(load, sight)


def _use(batch: BrineBatch, fish_g: int, brine_g: int | None, at: int) -> CureUse:
    try:
        ingoing = ingoing_of(batch_from(json.loads(batch.content)), fish_g, brine_g)
    except ValueError:  # of a form that this version does not read: nothing is known
        return CureUse(f"{batch.code}, which cannot be read", 1, at)
    scaled = ingoing * MILLIONTHS
    return CureUse(batch.code, -(-scaled.numerator // scaled.denominator), at)


def verified_by_plan(plans: Iterable[int], sight: Sight = ALL) -> dict[int, Samples]:
    """What verifications of the plans' processes found, by plan and quantity, in order of time."""
    rows = LaboratorySample.objects.filter(result__lot=None, result__plan__in=set(plans))
    rows = sight.rows(rows.select_related("result__corrected_by"))
    out: dict[int, Samples] = {}
    for row in rows.order_by("result__sampled_at", "id"):
        result = row.result
        if not sight.sees(getattr(result, "corrected_by", None)):
            sample = Sample(row.value, result.sampled_at, laboratory=True)
            out.setdefault(result.plan_id, {}).setdefault(result.quantity, []).append(sample)
    return out


def awaited_by_lot(lots: Iterable[int], sight: Sight = ALL) -> dict[int, Moments]:
    """By lot and quantity, when samples were taken whose result has not come, in order of time."""
    sent = sight.rows(LaboratorySent.objects.filter(lot__in=set(lots))).order_by("sampled_at", "id")
    each = list(sent)
    results = sight.rows(LaboratoryResult.objects.filter(sent__in=[row.pk for row in each]))
    rows = results.select_related("corrected_by").prefetch_related("samples") if each else ()
    come = {(row.sent_id, row.quantity) for row in rows if answers(row, sight)}
    out: dict[int, Moments] = {}
    for row in each:
        for quantity in json.loads(row.wanted):
            if (row.pk, quantity) not in come:
                of_lot = out.setdefault(row.lot_id or 0, {})
                of_lot.setdefault(quantity, []).append(row.sampled_at)
    return out


def answers(row: LaboratoryResult, sight: Sight = ALL) -> bool:
    """Whether a result stands for the samples that were sent: none that was corrected or taken back does;
    one that says from the start that nothing will come does."""
    if sight.sees(getattr(row, "corrected_by", None)):
        return False
    return row.corrects_id is None or bool(row.samples.all())


def verified_by(limit: Limit, quantity: str) -> bool:
    """Whether verifications of the process, of this quantity, speak for a limit."""
    measured = [leaf.rule for leaf in limit.leaves() if isinstance(leaf.rule, Measured)]
    return any(
        rule.verified_within_ms is not None and rule.quantity == quantity for rule in measured
    )


def parts_verified(plan_id: int, quantity: str, sampled_at: int) -> list[LoadPart]:
    """The lots' steps that a verification of the plan's process speaks for: those begun after the
    verification before it and before the one after it.  Voided lots are left out."""
    moments = LaboratoryResult.objects.filter(
        lot=None, plan=plan_id, quantity=quantity, corrected_by=None
    ).values_list("sampled_at", flat=True)
    before = max((one for one in moments if one < sampled_at), default=0)
    after = min((one for one in moments if one > sampled_at), default=None)
    rows = LoadPart.objects.filter(lot__plan_version__plan=plan_id, lot__voided=None)
    # a start may have been moved back; the judging itself looks at the one that stands
    rows = rows.filter(load__started_at__gte=before)
    if after is not None:
        rows = rows.filter(load__started_at__lte=after + MS_PER_DAY)
    rows = rows.select_related("load__place__within", "lot__plan_version")
    rows = rows.prefetch_related("load__moves", "load__ends__accepted").order_by("id")
    return [part for part in rows if _asks_process(part, quantity)]


def _asks_process(part: LoadPart, quantity: str) -> bool:
    limits = plan_value(part.lot.plan_version).held_at(part.step)
    return any(verified_by(limit, quantity) for _, limit in limits)
