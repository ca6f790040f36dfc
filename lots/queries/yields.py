"""A lot's weights through the stages of its work: rows → yields, what drying left, and the mass balance."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

from lots.core.weights import (
    BRINED,
    PACKED,
    RECEIVED,
    SMOKED,
    STAGES,
    TRIMMED,
    Gone,
    MassBalance,
    StageYield,
    Weighed,
    between,
)
from lots.core.weights import yields as yields_of
from lots.models.lot import LoadPart, Lot, LotLink, PartDestroyed
from lots.models.salt import StepWeight
from lots.queries.house import rules
from lots.queries.lineage import balance

# The kinds of step whose loads a stage's weight comes out of.
KINDS: Final[dict[str, tuple[str, ...]]] = {
    TRIMMED: ("gut and trim",),
    BRINED: ("brine", "dry-salt"),
    SMOKED: ("smoke",),
}


@dataclass(frozen=True)
class WeightShown:
    """A weight as a page shows it, with those that it puts right, the newest first."""

    row: StepWeight
    past: list[StepWeight]
    in_g: int | None  # what went into its load, by the book

    @property
    def late(self) -> bool:
        return self.row.entered_at - self.row.observed_at > rules().late_after_ms

    @property
    def taken_back(self) -> bool:
        return not self.row.grams

    @property
    def share(self) -> Fraction | None:
        """What came out of the load of what went in."""
        return Fraction(self.row.grams, self.in_g) if self.in_g and self.row.grams else None


def weights_of(lot: Lot) -> list[WeightShown]:
    """The lot's weights by stage and moment; one that was taken back is shown for what it was."""
    rows = list(
        StepWeight.objects.filter(lot=lot)
        .select_related("lot", "load__place", "line__person", "corrected_by")
        .order_by("id")
    )
    by_number = {row.pk: row for row in rows}
    went_in = dict(LoadPart.objects.filter(lot=lot).values_list("load", "grams"))
    out = []
    for row in rows:
        if hasattr(row, "corrected_by"):
            continue
        past, older = [], row
        while older.corrects_id:
            older = by_number[older.corrects_id]
            past.append(older)
        out.append(WeightShown(row, past, went_in.get(row.load_id)))
    return sorted(
        out, key=lambda one: (STAGES.index(one.row.stage), one.row.observed_at, one.row.pk)
    )


def standing_weights(lot: Lot, but: StepWeight | None = None) -> list[StepWeight]:
    """The weights that count, in the order they were written; without one that is to be put right."""
    rows = StepWeight.objects.filter(lot=lot, corrected_by=None, grams__gt=0).order_by("id")
    return [row for row in rows if but is None or row.pk != but.pk]


def weighed(lot: Lot, rows: Iterable[StepWeight]) -> list[Weighed]:
    """The lot's weight at each stage: what came in, the sum of each stage's rows, what was packed."""
    out = [Weighed(RECEIVED, lot.quantity_g, lot.received_at)]
    by_stage: dict[str, list[StepWeight]] = {}
    for row in rows:
        by_stage.setdefault(row.stage, []).append(row)
    for stage, each in by_stage.items():
        last = max(row.observed_at for row in each)
        out.append(Weighed(stage, sum(row.grams for row in each), last, _partly(lot, stage, each)))
    finish = getattr(lot, "finish", None)
    if finish is not None:
        out.append(Weighed(PACKED, finish.packed_g, finish.finished_at))
    return out


def _partly(lot: Lot, stage: str, rows: Sequence[StepWeight]) -> str:
    """Why a stage's weight is not of the whole lot, where each row names its load and one has none."""
    named = {row.load_id for row in rows}
    if None in named:
        return ""
    parts = LoadPart.objects.filter(lot=lot, load__step_kind__in=KINDS.get(stage, ()))
    loads = set(parts.values_list("load", flat=True))
    if loads <= named:
        return ""
    return f"weighed out of {len(loads & named)} of its {len(loads)} loads"


def gone(lot: Lot) -> list[Gone]:
    """What left the lot before it was packed: went into other lots, or was destroyed."""
    given = LotLink.objects.filter(source=lot).values_list("grams", "at")
    destroyed = PartDestroyed.objects.filter(lot=lot).values_list("grams", "at")
    return [Gone(grams, at) for grams, at in (*given, *destroyed)]


def yields(lot: Lot) -> tuple[StageYield, ...]:
    """The lot's stages, each with what it left of the one before."""
    return yields_with(lot, standing_weights(lot))


def yields_with(lot: Lot, rows: Iterable[StepWeight]) -> tuple[StageYield, ...]:
    """The same as if these were the lot's weights."""
    return yields_of(weighed(lot, rows), gone(lot))


def dried_share(lot: Lot) -> Fraction | None:
    """What drying and smoking left of the brined fish: its weight as smoked over its weight as brined.
    Salt stays while water goes, so the smaller it is, the stronger the salt has become.

    A lot that came from others has it from where it was weighed: its own weights, or theirs before the
    fish came.  Of several sources the largest governs, which has the salt concentrated least.  None
    where it was not weighed.
    """
    found = _brined_and_smoked(lot)
    if found is not None:
        return found
    links = list(LotLink.objects.filter(target=lot).select_related("source"))
    shares = [_share_of(lot, link) for link in links]
    known = [share for share in shares if share is not None]
    return max(known) if known and len(known) == len(shares) else None


def _brined_and_smoked(lot: Lot) -> Fraction | None:
    return between(yields(lot), BRINED, SMOKED)


def _share_of(lot: Lot, link: LotLink) -> Fraction | None:
    """What drying left of the fish that came by a link: done before it came, or since."""
    before = {row.stage for row in standing_weights(link.source) if row.observed_at <= link.at}
    if SMOKED in before:
        return _brined_and_smoked(link.source)
    if BRINED in before:  # it came in as brined fish
        return between(yields(lot), RECEIVED, SMOKED)
    return dried_share(link.source) if not before and _came(link.source) else None


def _came(lot: Lot) -> bool:
    return LotLink.objects.filter(target=lot).exists()


def mass_balance(lot: Lot) -> MassBalance:
    """Where the lot's weight went: other lots, destroyed, packed or as last weighed, lost in the work."""
    there = balance(lot)
    last = next((one for one in reversed(yields(lot)) if not one.partly), None)
    assert last is not None  # what came in was weighed
    left = sum(one.grams for one in gone(lot) if one.at > last.at)
    if last.stage == RECEIVED:
        return MassBalance(there.came_in, there.given, there.destroyed, there.left, RECEIVED)
    return MassBalance(
        there.came_in, there.given, there.destroyed, max(0, last.grams - left), last.stage
    )


@dataclass(frozen=True)
class StageBar:
    """A stage as drawn: what it weighed, and in outline what was there before it, in the picture's units."""

    stage: StageYield
    y: int
    width: int
    before: int


WIDE: Final = 600  # of the heaviest stage
ROW: Final = 74  # of a stage's words and its bar


def bars(stages: Sequence[StageYield]) -> list[StageBar]:
    """The stages as bars under each other, all to one scale."""
    most = max([1, *(max(one.grams, one.of_grams or 0) for one in stages)])
    return [
        StageBar(
            one,
            number * ROW,
            round(one.grams * WIDE / most),
            round((one.of_grams or 0) * WIDE / most),
        )
        for number, one in enumerate(stages)
    ]


def weights_page(lot: Lot) -> dict[str, Any]:
    """Everything that the page of a lot's weights shows."""
    stages = yields(lot)
    drawn = bars(stages)
    return {
        "stages": stages,
        "bars": drawn,
        "height": len(drawn) * ROW,
        "wide": WIDE,
        "weights": weights_of(lot),
        "balance": mass_balance(lot),
        "dried": dried_share(lot),
        "came": _came(lot),
    }


def weights_line(lot: Lot) -> tuple[StageYield, ...]:
    """The stages for the lot's own page; none where nothing was weighed but what came in."""
    stages = yields(lot)
    return stages if len(stages) > 1 else ()
