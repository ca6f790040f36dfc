"""What must stand on a lot's packs and how they are kept: storage, statement, allergens, additives, dates."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from lots.core.limits import Limit, Measured, Verdict
from lots.core.plan import Plan, Product
from lots.core.statements import Statement, holds
from lots.core.use_by import listed
from lots.models.lot import BrineBatch, Load, LoadPart, Lot
from lots.queries.batches import batch_of, batch_value
from lots.queries.house import statements
from lots.queries.judgements import Judged, judge_lot
from lots.queries.lineage import balance, parts_of, through_steps
from lots.queries.plans import plan_value
from lots.queries.sight import started_at
from lots.queries.use_by import ThawedPart, UseBy, not_yet, thawed_parts, use_by, use_by_bars

__all__ = ["PackSheet", "pack_bars", "pack_sheet", "use_by_bars"]

SALT = "water-phase salt"
SALTING = ("brine", "dry-salt")


@dataclass(frozen=True)
class Storage:
    """How the packs are to be kept, why, and what is wanting before they may be kept as the plan says."""

    kind: str  # chilled or frozen
    why: str
    wanting: tuple[str, ...] = ()


@dataclass(frozen=True)
class Said:
    """The statement on the pack; `asked` is what the jurisdiction asks, `note` what is to be known."""

    text: str
    source: str
    asked: Statement | None
    note: str = ""


@dataclass(frozen=True)
class Ingredient:
    """What went in beside the fish: from which batches, whether the plan's list names it, and the
    allergens that its name betrays."""

    name: str
    batches: tuple[str, ...]
    on_plan: bool
    allergens: tuple[str, ...]


@dataclass(frozen=True)
class IntoFreezer:
    """A load of the freezing step, and how long after packing began it began."""

    load: Load
    at: int
    after_ms: int


@dataclass(frozen=True)
class ToFreezer:
    """From the start of packing, when the first pack may have been sealed, to the freezer."""

    sealed_at: int
    loads: tuple[IntoFreezer, ...]
    grams: int
    of: int

    @property
    def longest_ms(self) -> int | None:
        """The time of what stood longest; None where nothing is in the freezer yet."""
        return max((one.after_ms for one in self.loads), default=None)

    @property
    def missing(self) -> int:
        """Grams that the book has in no freezer yet."""
        return max(0, self.of - self.grams)


@dataclass(frozen=True)
class PackSheet:
    """All that a label must say, and how the packs are to be kept, as far as the book knows it."""

    lot: Lot
    product: Product
    storage: Storage
    statement: Said
    allergens: tuple[str, ...]
    ingredients: tuple[Ingredient, ...]
    unknown: tuple[LoadPart, ...]  # saltings of which no batch is in the book
    use_by: UseBy | None
    not_yet: str  # why there is no use-by date, in words
    thawed: tuple[ThawedPart, ...]
    to_freezer: ToFreezer | None

    @property
    def unnamed(self) -> tuple[Ingredient, ...]:
        """What a batch held and the plan's list does not name: a label printed from it would not either."""
        return tuple(one for one in self.ingredients if not one.on_plan)


def pack_sheet(lot: Lot, at: int, judged: Sequence[Judged] | None = None) -> PackSheet:
    """What must stand on the packs of a lot, as of a moment.

    Errs against the processor: what is not proven is kept frozen, the earliest date governs, and every
    batch counts that any of its fish lay in, that of lots it came from too.
    """
    plan, parts = plan_value(lot.plan_version), parts_of(lot)
    judged = judge_lot(lot, at) if judged is None else judged
    storage = storage_of(lot, plan, judged)
    ingredients = tuple(_ingredients(plan.product, parts))
    whole = use_by(lot, parts)
    return PackSheet(
        lot,
        plan.product,
        storage,
        _statement(plan.product, storage.kind),
        tuple(dict.fromkeys(name for one in ingredients for name in one.allergens)),
        ingredients,
        tuple(_without_batch(parts)),
        whole,
        "" if whole else not_yet(lot),
        tuple(thawed_parts(lot, whole)),
        _to_freezer(lot, parts),
    )


# --- storage and statement ------------------------------------------------------------------------


def storage_of(lot: Lot, plan: Plan, judged: Sequence[Judged]) -> Storage:
    """Whether the packs are to be kept frozen or may be kept chilled: a pack without air may only with a
    process study and water-phase salt that a laboratory has shown."""
    product = plan.product
    if product.storage == "frozen":
        return Storage("frozen", "the plan keeps it frozen, so nothing rests on its salt alone")
    if not product.reduced_oxygen:
        return Storage("chilled", "the pack lets air through, and the plan keeps it chilled")
    wanting = (*_study_wanting(lot, product), *_salt_wanting(plan, judged))
    if wanting:
        return Storage("frozen", "chilled it may not go out: " + "; ".join(wanting), wanting)
    shown = "; ".join(dict.fromkeys(one.finding.figure for one in _of_salt(judged)))
    study = product.process_study or "the one attached to the plan"
    return Storage("chilled", f"process study: {study}; {SALT}: {shown}")


def _study_wanting(lot: Lot, product: Product) -> Iterator[str]:
    if not product.process_study and lot.plan_version.study_id is None:
        yield "the plan names no process study"


def _salt_wanting(plan: Plan, judged: Sequence[Judged]) -> Iterator[str]:
    if not any(_asks_salt(limit) for point in plan.control_points for limit in point.limits):
        yield f"the plan has no limit on {SALT} that a laboratory shows"
        return
    found = _of_salt(judged)
    if not found:
        yield f"{SALT} is not yet shown"
    for one in found:
        if one.verdict not in (Verdict.MET, Verdict.ADJUST):
            yield f"{SALT} is not shown to be within its limit ({one.finding.figure})"


def _of_salt(judged: Sequence[Judged]) -> list[Judged]:
    return [one for one in judged if _asks_salt(one.limit)]


def _asks_salt(limit: Limit) -> bool:
    return any(
        isinstance(leaf.rule, Measured) and leaf.rule.quantity == SALT and leaf.rule.laboratory
        for leaf in limit.leaves()
    )


def pack_bars(
    lot: Lot, at: int, judged: Sequence[Judged], parts: Sequence[LoadPart] | None = None
) -> list[str]:
    """What the pack has against a release: a chilled pack without air and without proven salt, and a
    use-by date that is past."""
    plan = plan_value(lot.plan_version)
    wanting = storage_of(lot, plan, judged).wanting
    chilled = [f"a chilled pack without air may not go out: {words}" for words in wanting]
    return chilled + use_by_bars(lot, at, parts)


def _statement(product: Product, kind: str) -> Said:
    asked = statements().asked(product.jurisdiction, kind, product.reduced_oxygen)
    if kind != product.storage:
        text = asked.text if asked else "Keep frozen."
        source = asked.source if asked else "the plan names no jurisdiction: ask the authority"
        note = f"The plan's own statement, “{product.statement}”, is for packs that are kept {product.storage}."
        return Said(text, source, asked, note)
    note = ""
    if asked and not holds(product.statement, asked.text):
        why = product.statement_why or "the plan does not say why not"
        note = f"{product.jurisdiction} asks for “{asked.text}”; it need not stand because: {why}."
    return Said(product.statement, "the plan", asked, note)


# --- what went in ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Held:
    """Something that a batch held beside water; `also` is what a list may call it instead."""

    name: str
    also: str
    batch: str


def _ingredients(product: Product, parts: Sequence[LoadPart]) -> Iterator[Ingredient]:
    """What the plan's list names, then what only the batches do; with the batches that held it."""
    named, held = product.ingredients_listed, _held(parts)
    for name in named:
        yield _ingredient(name, [one for one in held if _names(name, one)], True)
    left = [one for one in held if not any(_names(name, one) for name in named)]
    for name in dict.fromkeys(one.name for one in left):
        yield _ingredient(name, [one for one in left if one.name == name], False)


def _ingredient(name: str, held: Sequence[_Held], on_plan: bool) -> Ingredient:
    batches = tuple(dict.fromkeys(one.batch for one in held))
    said = dict.fromkeys((name, *(one.name for one in held)))
    found = dict.fromkeys(each for one in said for each in statements().allergens_in(one))
    return Ingredient(name, batches, on_plan, tuple(found))


def _names(entry: str, one: _Held) -> bool:
    """Whether an entry of the plan's list names what a batch held: with all its words, or, of salt and
    sugar, as just that."""
    words = _words(entry)
    return _words(one.name) <= words or (bool(one.also) and one.also in words)


def _words(name: str) -> set[str]:
    return set("".join(c if c.isalnum() else " " for c in name.casefold()).split())


def _held(parts: Sequence[LoadPart]) -> list[_Held]:
    """What the batches held beside water, in order of the loads."""
    batches = {batch.pk: batch for part in parts if (batch := batch_of(part.load))}
    return [one for batch in batches.values() for one in _contents(batch)]


def _contents(batch: BrineBatch) -> Iterator[_Held]:
    for part in batch_value(batch).parts:
        kind, names = part.kind, listed(part.name)
        if kind == "curing salt":  # a cure is salt that brings nitrite, whatever its trade calls it
            yield _Held("salt", "salt", batch.code)
            yield _Held("sodium nitrite", "", batch.code)
        elif kind != "water":
            also = kind if kind in ("salt", "sugar") else ""
            yield from (_Held(name, also, batch.code) for name in names or (kind,))


def _without_batch(parts: Sequence[LoadPart]) -> Iterator[LoadPart]:
    for part in parts:
        if part.load.step_kind in SALTING and batch_of(part.load) is None:
            yield part


# --- to the freezer -------------------------------------------------------------------------------


def _to_freezer(lot: Lot, parts: Sequence[LoadPart]) -> ToFreezer | None:
    """From the start of packing to each load of the freezing step; None where there is no packing yet,
    or the plan freezes nothing."""
    plan = plan_value(lot.plan_version)
    freezing = [step.id for step in plan.steps if step.kind == "freeze"]
    starts = [started_at(part.load) for part in parts if part.load.step_kind == "pack"]
    if not freezing or not starts:
        return None
    sealed = min(starts)
    loads = [
        IntoFreezer(part.load, started_at(part.load), started_at(part.load) - sealed)
        for part in parts
        if part.step in freezing
    ]
    through = through_steps(lot)
    there = balance(lot)
    of = there.left if there.packed is None else there.packed
    grams = min(of, max((through.get(step, 0) for step in freezing), default=0))
    return ToFreezer(sealed, tuple(loads), grams, of)
