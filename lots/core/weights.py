"""A lot's weights through the stages of its work: what each stage left of the one before.

Weights are grams.  Fish that left the lot between two weighings (went into other lots, was destroyed) is
taken off what was there, so that a yield speaks of the fish that stayed.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from lots.core.units import BadQuantity, convert, read_number

RECEIVED: Final = "received"
TRIMMED: Final = "trimmed"
BRINED: Final = "brined"
SMOKED: Final = "smoked"
PACKED: Final = "packed"
STAGES: Final = (RECEIVED, TRIMMED, BRINED, SMOKED, PACKED)
WEIGHED_HERE: Final = (TRIMMED, BRINED, SMOKED)  # receiving and packing have entries of their own
LONGEST: Final = 20  # characters of a weight as read
HEAVIEST_G: Final = 1_000_000_000  # a thousand tonnes: a weight beyond it was mistyped
_WEIGHT: Final = re.compile(r"([\d.,\s]+)\s*(kg|g|lbs|lb|oz)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Typed:
    """A weight as typed: the figure, its unit, and grams."""

    as_read: str
    unit: str
    grams: int


def typed_weight(text: str, unit: str) -> Typed:
    """The weight that a person typed, to the nearest gram.

    Args:
        text: such as "12.5", "12,5 kg", "27 lb"; unit: the one meant where none is typed.
    Raises:
        BadQuantity: not a weight, or more than any smokehouse holds.
    """
    found = _WEIGHT.fullmatch(text.strip())
    if found is None:
        raise BadQuantity(f"“{text.strip()}” is not a weight. Type it as 12.5 {unit}.")
    said = (found[2] or unit).lower().removesuffix("s")
    grams = round(read_number(found[1]) * convert(f"1 {said}", "g"))
    if grams > HEAVIEST_G or len(found[1].strip()) > LONGEST:
        raise BadQuantity(f"“{text.strip()}” is more than any smokehouse holds. Check the figure.")
    return Typed(found[1].strip(), said, grams)


@dataclass(frozen=True, slots=True)
class Weighed:
    """What the lot weighed at a stage, and when; `partly` says why the figure is not of the whole lot."""

    stage: str
    grams: int
    at: int
    partly: str = ""


@dataclass(frozen=True, slots=True)
class Gone:
    """Grams that left the lot at a moment."""

    grams: int
    at: int


@dataclass(frozen=True, slots=True)
class StageYield:
    """A stage beside the one weighed before it.  `of_grams` is what was there of it, less what left the
    lot meanwhile; `share` what the stage left of that; `whole` what it left of the first.  None where it
    cannot be said."""

    stage: str
    grams: int
    at: int
    before: str = ""
    of_grams: int | None = None
    share: Fraction | None = None
    whole: Fraction | None = None
    partly: str = ""

    @property
    def gone_g(self) -> int:
        """Grams lost since the stage before; below nothing where more came out than went in."""
        return 0 if self.of_grams is None else self.of_grams - self.grams

    @property
    def more_g(self) -> int:
        """Grams by which more came out than went in; below nothing where less did."""
        return -self.gone_g

    @property
    def gained(self) -> bool:
        """Whether more came out than went in."""
        return self.of_grams is not None and self.grams > self.of_grams


def yields(weighed: Iterable[Weighed], gone: Iterable[Gone]) -> tuple[StageYield, ...]:
    """The stages in the order of the work, each with its yield.

    A stage of which only a part was weighed has no yield unless that part alone is more than was there,
    and the next one is held against the last that was weighed whole.

    Args:
        weighed: one a stage, of STAGES; gone: what left the lot, in any order.
    """
    left = list(gone)
    rows = sorted(weighed, key=lambda one: STAGES.index(one.stage))
    out: list[StageYield] = []
    base: StageYield | None = None
    for row in rows:
        one = _beside(row, base, left)
        out.append(one)
        if not one.partly:
            base = one
    return tuple(out)


def _beside(row: Weighed, base: StageYield | None, left: Sequence[Gone]) -> StageYield:
    if base is None:
        return StageYield(row.stage, row.grams, row.at, whole=Fraction(1), partly=row.partly)
    meanwhile = sum(one.grams for one in left if base.at < one.at <= row.at)
    there = max(0, base.grams - meanwhile)
    if row.partly:
        of_grams = there if row.grams > there else None
        return StageYield(row.stage, row.grams, row.at, base.stage, of_grams, partly=row.partly)
    share = Fraction(row.grams, there) if there else None
    whole = share * base.whole if share is not None and base.whole is not None else None
    return StageYield(row.stage, row.grams, row.at, base.stage, there, share, whole)


def between(stages: Iterable[StageYield], first: str, last: str) -> Fraction | None:
    """What the work from one stage to another left of the fish, e.g. from brined to smoked; None where
    one of them was not weighed whole.  Salt stays while water goes, so a smaller share is a stronger
    concentration."""
    by_stage = {one.stage: one for one in stages}
    begun, ended = by_stage.get(first), by_stage.get(last)
    if begun is None or ended is None or begun.partly or ended.partly:
        return None
    if not begun.whole or ended.whole is None:
        return None
    return ended.whole / begun.whole


@dataclass(frozen=True, slots=True)
class MassBalance:
    """Grams of a lot from what came in to what was packed; `lost` is the rest: trimmings, drip, water."""

    came_in: int
    given: int
    destroyed: int
    last: int
    last_stage: str

    @property
    def lost(self) -> int:
        """What is in none of the others; below nothing where more came out than went in."""
        return self.came_in - self.given - self.destroyed - self.last

    @property
    def more(self) -> int:
        """Grams by which more came out than went in; below nothing where less did."""
        return -self.lost

    @property
    def lost_share(self) -> Fraction | None:
        """The loss as a share of what came in and stayed."""
        stayed = self.came_in - self.given - self.destroyed
        return Fraction(self.lost, stayed) if stayed > 0 else None
